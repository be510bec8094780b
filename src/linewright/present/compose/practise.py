"""An invented bench to practise on, in words: what lies on it, what is said of it, what was true and why."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from linewright.core.formatting import (
    digits,
    frequencies,
    frequency,
    interval,
    metres,
    percent,
    plain,
    quantity,
)
from linewright.core.formulas.faults import series_resistance_db
from linewright.core.messages import listed, mark, say, say_many, together
from linewright.core.nouns.bench import REFERENCE, Meter, Reading
from linewright.core.nouns.bench_result import SCALE_UNIT, BenchResult
from linewright.core.nouns.practice import (
    LEVELS,
    PAD,
    BestReading,
    Claim,
    HandFigure,
    HiddenFault,
    Marked,
    Match,
    PracticeBench,
    PracticeOutcome,
    PracticeShown,
    Said,
    Score,
    Truth,
)
from linewright.present.document import (
    Cautions,
    Column,
    Document,
    Facts,
    Paragraph,
    Row,
    Section,
    Table,
    Verdict,
    points,
    section,
    sections,
    table,
)

# Words for what may be wrong

CLAIMS: Mapping[Said, str] = {
    "misread": mark("reading {of} was misread"),
    "detector": mark("the {of} is bent"),
    "water": mark("{of} is wet"),
    "resistive joint": mark("{of} is badly connected"),
    "other type": mark("{of} is of another type than is written on it"),
    "other length": mark("{of} has another length than is written on it"),
    "nothing": mark("nothing is wrong"),
    "cannot tell": mark("these readings cannot tell"),
}
LIKELY: Mapping[Said, str] = {
    "misread": mark("likely reading {of} was misread"),
    "detector": mark("likely the {of} is bent"),
    "water": mark("likely {of} is wet"),
    "resistive joint": mark("likely {of} is badly connected"),
    "other type": mark("likely {of} is of another type than is written on it"),
    "other length": mark("likely {of} has another length than is written on it"),
    "nothing": mark("likely nothing is wrong"),
    "cannot tell": mark("these readings cannot tell"),
}
LOOKS: Mapping[Said, tuple[str, ...]] = {
    "misread": (
        mark("A slip stands alone: the same reading on another meter, on another band, or taken again shows nothing of"
             " it. A bad cable shows on every meter and band, a bent meter in every reading of that meter."),
        mark("If the slip is in a reference, all pieces read against it are off by the same decibels. That is why the"
             " reference is read at both ends."),
    ),
    "detector": (
        mark("A bent detector stretches every decibel by the same factor: on that meter all pieces seem worse than"
             " their types in the same proportion, on every band, and the others show them right."),
        mark("An attenuator of known loss tells on its own: its decibels do not depend on the band."),
    ),
    "water": (
        mark("Water makes the dielectric lossy, and that loss grows in proportion to frequency. The piece is nearly"
             " right on the lowest band and far too lossy on the highest."),
    ),
    "resistive joint": (
        mark("A resistance in series takes the same decibels on every band. It stands out on the lowest, where a good"
             " piece loses next to nothing; on the highest it hides in the loss of the line."),
    ),
    "other type": (
        mark("Another type has another law: the loss is off by nearly the same factor on every band, for every piece of"
             " the drum."),
    ),
    "other length": (
        mark("Another length scales the loss: the same factor on every band, for this piece alone. A second piece of"
             " the drum that is right tells length from type; without one, a tape does."),
    ),
    "nothing": (
        mark("A good bench scatters too: a step of the scale, a little drift, a few hundredths from mismatch, and"
             " pieces that lie some percent from their type. A fault is more than that, and has a shape."),
    ),
    "cannot tell": (),
}  # fmt: skip
MATCHES: Mapping[Match, str] = {
    "right": mark("right"),
    "right piece": mark("the right piece, another fault"),
    "wrong": mark("wrong"),
    "open": mark("right: they did not hold enough"),
    "could be told": mark("they held enough"),
}


def claim_words(claim: Claim) -> str:
    """Return a claim in words.

    >>> claim_words(Claim("water", "blue 7")), claim_words(Claim("misread", "4", "likely"))
    ('blue 7 is wet', 'likely reading 4 was misread')
    """
    return say((LIKELY if claim.sureness == "likely" else CLAIMS)[claim.kind], of=claim.of)


def fault_words(fault: HiddenFault, bench: PracticeBench) -> str:
    """Return what is wrong, with its size."""
    of = listed(fault.of)
    if fault.kind == "misread":
        size = quantity(plain(abs(fault.size), 1), "dB")
        high, low = (
            mark("Reading {of} was misread, {size} too high."),
            mark("Reading {of} was misread, {size} too low."),
        )
        return say(high if fault.size > 0 else low, of=of, size=size)
    if fault.kind == "detector":
        return say(
            "The {of} is bent: it shows {size} for every decibel.", of=of, size=quantity(plain(fault.size, 2), "dB")
        )
    if fault.kind == "water":
        return say("{of} is wet: at 144.3 MHz water adds {share} to the loss of its line, below less, above more.",
                   of=of, share=percent(fault.size))  # fmt: skip
    if fault.kind == "resistive joint":
        takes = quantity(plain(float(series_resistance_db(fault.size)), 1), "dB")
        ohms = quantity(plain(fault.size, 0), "ohms")
        return say(
            "{of} is badly connected: {ohms} in series take {takes} on every band.", of=of, ohms=ohms, takes=takes
        )
    stated = bench.sheet.piece(fault.of[0])
    if fault.kind == "other type":
        claimed = stated.line.designator if stated.line else ""
        one, many = mark("{of} is {line}, not {claimed}."), mark("{of} are {line}, not {claimed}.")
        return say(many if len(fault.of) > 1 else one, of=of, line=fault.line or "", claimed=claimed)
    true = metres(round(stated.length_m * fault.size, 1))
    return say("{of} is {true} long, not {stated}.", of=of, true=true, stated=metres(stated.length_m))


def truth_words(truth: Truth, bench: PracticeBench) -> str:
    """Return all that is wrong, in sentences."""
    return together([fault_words(f, bench) for f in truth.faults]) or say("Nothing is wrong with this bench.")


def lessons(truth: Truth) -> tuple[str, ...]:
    """Return why what is wrong looks as it does, a sentence or two for each fault."""
    kinds: Sequence[Said] = [f.kind for f in truth.faults] or ["nothing"]
    return tuple(say(words) for kind in kinds for words in LOOKS[kind])


# The bench


def level_words(level: int) -> str:
    """Return what a level may hide."""
    return say(LEVELS[level])


def meter_words(meter: Meter) -> str:
    """Return how fine a meter's scale is."""
    step = digits(meter.division or 0.0)
    if meter.scale == "card":
        return say("a bare scale to {end} with its card, steps of {step}", end=digits(meter.card[-1][0]), step=step)
    return say("{unit}, steps of {step}", unit=say("watts"), step=quantity(step, "W"))


def reading_words(bench: PracticeBench, reading: Reading, *, with_unit: bool = True) -> str:
    """Return a reading as it is written down; a needle on its stop lies below the first mark."""
    meter = bench.sheet.meter(reading.meter)
    unit = SCALE_UNIT[meter.scale] if with_unit else ""
    if reading.reading <= 0.0:
        first = digits(reading.high or 0.0)
        return say("below {mark}", mark=quantity(first, unit) if unit else first)
    shown = plain(reading.reading, len(f"{meter.division or 1.0:g}".partition(".")[2]))
    return quantity(shown, unit) if unit else shown


def meters_table(bench: PracticeBench) -> Table:
    """Return the meters of a bench."""
    return table(
        (Column(say("meter")), Column(say("scale")), Column(say("used at"))),
        ((m.name, meter_words(m), frequencies(bench.bands[m.name])) for m in bench.sheet.meters),
    )


def pieces_table(bench: PracticeBench) -> Table:
    """Return the pieces of a bench, as their tags say."""
    columns = (Column(say("piece")), Column(say("type")), Column(say("length"), "right"), Column(say("cut from")))
    return table(columns, (
        (p.tag, p.line.designator if p.line else "", metres(p.length_m), p.stock or say("a drum of its own"))
        for p in bench.sheet.pieces
    ))  # fmt: skip


def beside(bench: PracticeBench) -> str:
    """Return what else lies there: transmitter, reference, attenuator."""
    sheet = bench.sheet
    return say(
        "A carrier of {power}, a reference jumper of {jumper} {line} that the piece replaces, and a pad of {pad}.",
        power=quantity(digits(sheet.source.power_w or 0.0), "W"), jumper=metres(sheet.reference.length_m),
        line=sheet.reference.line.designator if sheet.reference.line else "",
        pad=quantity(digits(sheet.attenuators[0].loss_db), "dB"),
    )  # fmt: skip


def drum_words(bench: PracticeBench) -> str:
    """Return which pieces were cut from one drum."""
    drums: dict[str, list[str]] = {}
    for piece in bench.sheet.pieces:
        drums.setdefault(piece.stock_name, []).append(piece.tag)
    return together([say("{pieces} are of one drum.", pieces=listed(tags)) for tags in drums.values() if len(tags) > 1])


def readings_table(bench: PracticeBench) -> Table:
    """Return the readings so far, those that stood on the sheet first."""
    columns = (
        Column("", "right"), Column(say("meter")), Column(say("at"), "right"), Column(say("through")),
        Column(say("reading"), "right"),
    )  # fmt: skip
    rows = [
        (str(r.row), r.meter, frequency(r.frequency_hz), r.path_name, reading_words(bench, r))
        for r in bench.sheet.readings
    ]
    return table(columns, rows, notes=[given_words(bench)])


def given_words(bench: PracticeBench) -> str:
    """Return which readings were handed over."""
    more = len(bench.sheet.readings) - bench.given
    begun = say("Readings 1 to {given} stood on the sheet; somebody else wrote them.", given=bench.given)
    return together([begun, say_many("{count} was taken since.", "{count} were taken since.", more) if more else ""])


def bench_document(found: PracticeShown) -> Document:
    """Return a bench as it stands; with the truth where that is told."""
    bench = found.bench
    told: list[Section] = []
    if found.truth is not None:
        told = [section(say("The truth"), Paragraph(truth_words(found.truth, bench)), true_losses(found.truth),
                        points(lessons(found.truth)))]  # fmt: skip
    return Document("practise", title(bench), sections=sections(
        section("", Facts(((say("code"), bench.code), (say("hidden at this level"), level_line(bench.level))))),
        section(say("Meters"), meters_table(bench)),
        section(say("Pieces"), pieces_table(bench), Paragraph(beside(bench))),
        section(say("Readings"), readings_table(bench)),
        *told,
        section(say("On a real bench"), Cautions(found.cautions)),
    ))  # fmt: skip


def by_hand_document(bench: PracticeBench, figures: Sequence[HandFigure]) -> Document:
    """Return the figures by hand: the mean reference over each reading, in decibels, and what that should be."""
    columns = (
        Column(say("through")), Column(say("at"), "right"), Column(say("meter")), Column(say("by hand"), "right"),
        Column(say("should lose"), "right"), Column(say("times that"), "right"),
    )  # fmt: skip
    rows = (
        (
            f.path, frequency(f.frequency_hz), f.meter, quantity(plain(f.loss_db, 2), "dB"),
            quantity(plain(f.should_db, 2), "dB"), plain(f.loss_db / f.should_db, 2),
        )
        for f in figures
    )  # fmt: skip
    return Document("practise", title(bench), sections=sections(section(say("Figures by hand"), table(columns, rows))))


def title(bench: PracticeBench) -> str:
    """Return what a bench is called."""
    return bench.sheet.title


def level_line(level: int) -> str:
    """Return a level by its number, and what it may hide."""
    return say("{level}, {words}", level=level, words=level_words(level))


def true_losses(truth: Truth) -> Table:
    """Return what every piece loses in truth beside what it should."""
    columns = (
        Column(say("piece")), Column(say("at"), "right"), Column(say("loses"), "right"),
        Column(say("should lose"), "right"), Column(say("times that"), "right"),
    )  # fmt: skip
    return table(columns, (
        (t.piece, frequency(t.frequency_hz), quantity(plain(t.loss_db, 2), "dB"),
         quantity(plain(t.catalogue_db, 2), "dB"), plain(t.loss_db / t.catalogue_db, 2))
        for t in truth.losses
    ))  # fmt: skip


# What it earned


def points_words(points_: int) -> str:
    """Return points with their sign.

    >>> points_words(-4), points_words(1)
    ('-4 points', '1 point')
    """
    return say_many("{count} point", "{count} points", points_)


def score_words(score: Score, most: int) -> str:
    """Return what was earned, of what."""
    return say("{points} of {most}", points=points_words(score.points), most=most)


def marked_rows(score: Score, bench: PracticeBench) -> Iterator[tuple[str, str, str]]:
    """Yield each claim, how it stands, its points; then what was missed, and what asking cost."""
    for m in score.claims:
        yield claim_words(m.claim), match_words(m), str(m.points)
    for fault in score.missed:
        yield fault_words(fault, bench), say("not stated"), str(score.missed_points // len(score.missed))
    if score.asked_cost:
        yield say("the engine was asked first"), "", str(score.asked_cost)


def match_words(marked: Marked) -> str:
    """Return how a claim stands to the truth."""
    return say(MATCHES[marked.match])


def others_rows(outcome: PracticeOutcome) -> Iterator[tuple[str, str, str, str]]:
    """Yield who said what with the same readings, their points, and how far their figures were off."""
    for who, score, error in (
        (say("you"), outcome.score, None),
        (say("figures by hand"), outcome.by_hand, outcome.by_hand_error_db),
        (say("the engine"), outcome.engine, outcome.engine_error_db),
    ):
        said = listed([claim_words(m.claim) for m in score.claims])
        off = "" if error is None else quantity(plain(error, 2), "dB")
        yield who, said, str(score.points), off


def odds_words(outcome: PracticeOutcome) -> str:
    """Return what the readings held, for one who knows how such benches are made."""
    first = outcome.odds[0]
    said = listed([claim_words(Claim(kind, of)) for kind, of in first.faults]) or say(CLAIMS["nothing"])
    if outcome.knowable:
        return say("The readings held the answer: to one who knows how such benches are made, the odds are {p} that"
                   " {said}.", p=_share(first.p), said=said)  # fmt: skip
    return say('The readings did not hold the answer: the likeliest, that {said}, has odds of {p} only. "Cannot tell"'
               " was right.", said=said, p=_share(first.p))  # fmt: skip


def _share(p: float) -> str:
    return say("over {limit}", limit=percent(0.99)) if p > 0.99 else percent(p)


def best_words(best: BestReading | None) -> str:
    """Return which reading should have been next."""
    if best is None:
        return say("No further reading would have told more.")
    return say(
        "The best next reading: {path} at {frequency} on the {meter}.",
        path=path_words(best.path), frequency=frequency(best.frequency_hz), meter=best.meter,
    )  # fmt: skip


def path_name(path: str) -> str:
    """Return what a path is called on the sheet."""
    return {"reference": say(REFERENCE), PAD: say("pad")}.get(path, path)


def path_words(path: str) -> str:
    """Return what is put in line."""
    return {"reference": say("the reference"), PAD: say("the pad")}.get(path, path)


def used_words(bench: PracticeBench) -> str:
    """Return how many readings were used."""
    return say("{all} readings were used, {yours} of them taken since the sheet was handed over.",
               all=len(bench.sheet.readings),
               yours=len(bench.sheet.readings) - bench.given)  # fmt: skip


def figures_table(outcome: PracticeOutcome) -> Table:
    """Return the figures beside each other where there was a reading: truth, by hand, the engine."""
    columns = (
        Column(say("piece")), Column(say("at"), "right"), Column(say("truth"), "right"),
        Column(say("should lose"), "right"), Column(say("by hand"), "right"),
        Column(say("the engine (95 %)"), "figure"),
    )  # fmt: skip
    rows = []
    for f in outcome.figures:
        if f.loss_db is None or f.loss_db_low is None or f.loss_db_high is None or not f.by_hand:
            continue
        hands = together([plain(db, 2) for _, db in f.by_hand], " / ")
        rows.append(Row((
            f.piece, frequency(f.frequency_hz), quantity(plain(f.true_db, 2), "dB"),
            quantity(plain(f.catalogue_db, 2), "dB"), hands, interval(f.loss_db, f.loss_db_low, f.loss_db_high),
        )))  # fmt: skip
    return table(columns, rows)


def outcome_document(outcome: PracticeOutcome) -> Document:
    """Return the truth and what the answer earned."""
    bench = outcome.bench
    answers = table(
        (Column(say("said")), Column(""), Column(say("points"), "right")), marked_rows(outcome.score, bench)
    )
    others = table(
        (Column(""), Column(say("said")), Column(say("points"), "right"), Column(say("figures off by"), "right")),
        others_rows(outcome),
    )
    return Document("practise", title(bench), sections=sections(
        section("", Verdict(truth_words(outcome.truth, bench), score_words(outcome.score, outcome.most))),
        section(say("Your answer"), answers, Paragraph(together([used_words(bench), odds_words(outcome)])),
                Paragraph(best_words(outcome.best))),
        section(say("With the same readings"), others),
        section(say("Why it looks so"), points(lessons(outcome.truth))),
        section(say("Losses"), figures_table(outcome)),
        section("", Facts(((say("code"), bench.code),))),
        section(say("On a real bench"), Cautions(outcome.cautions)),
    ))  # fmt: skip


# What the engine says when asked


def engine_sentences(judged: BenchResult) -> tuple[str, ...]:
    """Return what the engine says of pieces, of readings it doubts, of meters, and what it would read next."""
    pieces = [say("{piece}: {verdict}. {why}", piece=p.piece, verdict=say(p.verdict), why=p.why) for p in judged.pieces]
    doubted = [say("Reading {row}: {why}", row=r.row, why=r.why) for r in judged.readings if r.p_wrong > 0.5]
    meters = [
        say("{meter} at {frequency}: {why}", meter=m.meter, frequency=frequency(m.frequency_hz), why=m.why)
        for m in judged.meters if m.trust in ("doubtful", "none")
    ]  # fmt: skip
    following = [n.action for n in judged.next[:1]]
    return (*pieces, *doubted, *meters, *following)
