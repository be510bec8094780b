"""A bench sheet's report: what each piece loses, which readings and meters to believe, what to measure next."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from functools import partial
from typing import TypeVar

from linewright.core.formatting import chance, digits, frequency, interval, metres, percent, plain, quantity, signed
from linewright.core.messages import listed, mark, say, say_many, together
from linewright.core.nouns.bench import REFERENCE, BenchSheet
from linewright.core.nouns.bench_result import (
    SCALE_UNIT,
    BenchResult,
    LossFinding,
    MeterFinding,
    PieceFinding,
    Prediction,
    ReadingFinding,
    UseFinding,
)
from linewright.present.charts.frame import in_order
from linewright.present.compose import figures
from linewright.present.compose.provenance import Made, repeat_section, workings_section
from linewright.present.document import (
    Block,
    Cautions,
    Column,
    Document,
    Drawing,
    Mark,
    Panel,
    Paragraph,
    Part,
    Points,
    Row,
    Section,
    Table,
    Verdict,
    sections,
)

# Tables of a bench report: losses, what they rest on, uses, readings, meters, other bands

X = TypeVar("X")

DOUBT, LOOK = 0.5, 0.2
"""From which chance of being wrong a reading is doubted, and from which it is worth a second look."""
NOTHING = 25.0
"""An interval whose ends lie so many times apart says next to nothing."""
BEYOND = "*"
SCRAP = "scrap"

TRUST: dict[str, tuple[str, Mark]] = {
    "good": (mark("believe"), "good"),
    "doubtful": (mark("doubt"), "doubt"),
    "none": (mark("do not use"), "over"),
    "unknown": (mark("cannot tell"), "unknown"),
}
ANSWERS: dict[bool | None, tuple[str, Mark]] = {
    True: (mark("yes"), "good"),
    False: (mark("no"), "over"),
    None: (mark("cannot tell"), "unknown"),
}


def parts_by(rows: Iterable[X], title: Callable[[X], str], row: Callable[[X], Row]) -> tuple[Part, ...]:
    """Return rows gathered under titles, in the order they first stand."""
    found: dict[str, list[Row]] = {}
    for x in rows:
        found.setdefault(title(x), []).append(row(x))
    return tuple(Part(name, tuple(some)) for name, some in found.items())


def _titles(result: BenchResult) -> dict[str, str]:
    """Return what each piece is called over its rows: its tag, with its length where that is known."""
    return {p.piece: say("{piece}, {length}", piece=p.piece, length=metres(p.length_m)) for p in result.pieces}


def losses(result: BenchResult) -> Table:
    """Return what every piece loses on every band, beside what its type should lose."""
    titles = _titles(result)
    columns = (
        Column(say("frequency"), "right"), Column(say("loss (95 %)"), "figure"), Column(say("arrives"), "right"),
        Column(say("should lose"), "figure"), Column(say("times that (95 %)"), "figure"),
    )  # fmt: skip
    note = say("{sign} The type is known less well on this band than it usually is.", sign=BEYOND)
    notes = (note,) if any(x.extrapolated for x in result.losses) else ()
    parts = parts_by(result.losses, lambda x: titles.get(x.piece, x.piece), _loss)
    return Table(say("Loss of each piece"), columns, parts, notes)


def _loss(x: LossFinding) -> Row:
    new = "" if x.catalogue_db is None else quantity(plain(x.catalogue_db, 2), "dB")
    new = together([new, BEYOND], "") if x.extrapolated and new else new
    known = x.ratio is not None and x.ratio_low is not None and x.ratio_high is not None
    times = interval(x.ratio or 0.0, x.ratio_low or 0.0, x.ratio_high or 0.0, "") if known else ""
    believed = interval(x.loss_db, x.loss_db_low, x.loss_db_high)
    return Row((frequency(x.frequency_hz), believed, percent(x.delivered_fraction), new, times))


def loss_at(x: LossFinding) -> str:
    """Return a loss with its band, for a person who cannot see the drawing."""
    believed = interval(x.loss_db, x.loss_db_low, x.loss_db_high)
    return say("{loss} at {frequency}", loss=believed, frequency=frequency(x.frequency_hz))


def grounds(result: BenchResult) -> Table:
    """Return what the losses rest on: by hand on each meter, and the readings without the catalogue."""
    titles = _titles(result)
    columns = (
        Column(say("frequency"), "right"), Column(say("by hand, dB ± standard uncertainty"), "wide"),
        Column(say("readings alone (95 %)"), "figure"), Column(say("moved by the catalogue"), "right"),
    )  # fmt: skip
    notes = (
        say("By hand is each meter's plain ratio. Readings alone is what all readings say together when no catalogue is"
            " listened to; the catalogue moves that to the loss believed."),
    )  # fmt: skip
    parts = parts_by(result.losses, lambda x: titles.get(x.piece, x.piece), _ground)
    return Table(say("Grounds of each loss"), columns, parts, notes if parts else ())


def _ground(x: LossFinding) -> Row:
    hands = [
        say("{meter} {loss} ± {u}", meter=h.meter, loss=plain(h.loss_db, 2), u=plain(h.loss_db_u, 2))
        for h in x.by_hand
    ]  # fmt: skip
    return Row((frequency(x.frequency_hz), together(hands, "; "), *_alone(x)))


def _alone(x: LossFinding) -> tuple[str, str]:
    alone, low, high = x.without_catalogue_db, x.without_catalogue_db_low, x.without_catalogue_db_high
    if alone is None or low is None or high is None or high > NOTHING * low:
        return say("cannot tell"), say("rests on it")
    pull = say("rests on it") if x.catalogue_pull_db is None else quantity(signed(x.catalogue_pull_db, 2), "dB")
    return interval(alone, low, high), pull


def uses(result: BenchResult) -> Table:
    """Return what each piece may serve for, with the reason."""
    columns = (Column(say("use")), Column(say("fit")), Column(say("because"), "wide"))
    parts = tuple(Part(p.piece, tuple(map(_use, p.uses))) for p in result.pieces if p.uses)
    return Table(say("Uses of each piece"), columns, parts)


def _use(u: UseFinding) -> Row:
    answer, sign = ANSWERS[u.ok]
    if u.use == SCRAP:
        sign = "over" if u.ok else ""
    return Row((say(u.use), say(answer), u.why), sign)


def readings(result: BenchResult) -> Table:
    """Return every reading beside what the rest of the bench expects of it; the reason under a doubted one."""
    columns = (
        Column(say("row"), "right"), Column(say("meter")), Column(say("frequency"), "right"), Column(say("path")),
        Column(say("read"), "figure"), Column(say("expected (95 %)"), "figure"), Column(say("wrong"), "right"),
        Column(say("judged")),
    )  # fmt: skip
    return Table(say("Readings in the order taken"), columns, (Part("", tuple(map(_reading, result.readings))),))


def _reading(r: ReadingFinding) -> Row:
    said, sign = _judged(r)
    read = together([digits(r.reading), SCALE_UNIT[r.scale]])
    path = say(REFERENCE) if r.path == REFERENCE else r.path
    cells = (str(r.row), r.meter, frequency(r.frequency_hz), path, read, _expected(r))
    wrong = chance(r.p_wrong) if r.checked else ""
    return Row((*cells, wrong, said), sign, r.why if sign in ("doubt", "over") else "")


def _judged(r: ReadingFinding) -> tuple[str, Mark]:
    if r.p_wrong > DOUBT:
        return say("doubted"), "over"
    if not r.checked:
        return say("not checked"), "unknown"
    return (say("look again"), "doubt") if r.p_wrong >= LOOK else ("", "")


def _expected(r: ReadingFinding) -> str:
    if r.expected is None or r.expected_low is None or r.expected_high is None:
        return say("cannot tell")
    return interval(r.expected, r.expected_low, r.expected_high, "")


def unchecked(result: BenchResult) -> Iterator[str]:
    """Yield why readings could not be checked, each reason once with its rows."""
    blind: dict[str, list[str]] = {}
    for r in result.readings:
        if not r.checked:
            blind.setdefault(r.why, []).append(str(r.row))
    for why, rows in blind.items():
        said = say_many("Row {rows}: {why}", "Rows {rows}: {why}", len(rows), rows=listed(rows), why=why)
        yield said


def meter_table(result: BenchResult) -> Table:
    """Return which meter to believe on which band, and why."""
    columns = (
        Column(say("frequency"), "right"), Column(say("judged")), Column(say("exponent (95 %)"), "figure"),
        Column(say("because"), "wide"),
    )  # fmt: skip
    return Table(say("Meters by band"), columns, parts_by(result.meters, lambda m: m.meter, _meter))


def _meter(m: MeterFinding) -> Row:
    said, sign = TRUST[m.trust]
    return Row((frequency(m.frequency_hz), say(said), _exponent(m), m.why), sign)


def _exponent(m: MeterFinding) -> str:
    if m.exponent is None or m.exponent_low is None or m.exponent_high is None:
        return ""
    return interval(m.exponent, m.exponent_low, m.exponent_high, "")


def trust_of(result: BenchResult, meter: str) -> str:
    """Return how far to believe a meter, for a person who cannot see the drawing."""
    said = [
        say("{trust} at {frequency}", trust=say(TRUST[m.trust][0]), frequency=frequency(m.frequency_hz))
        for m in result.meters
        if m.meter == meter
    ]
    return say("How far to believe the {meter}: {bands}.", meter=meter, bands=together(said, "; "))


def other_bands(result: BenchResult) -> Table:
    """Return the losses believed on bands nobody measured."""
    columns = (Column(say("frequency"), "right"), Column(say("loss (95 %)"), "figure"))
    return Table(
        say("Loss by the law found, where nothing was measured"), columns,
        parts_by(result.predictions, lambda p: p.piece, _prediction),
    )  # fmt: skip


def _prediction(p: Prediction) -> Row:
    return Row((frequency(p.frequency_hz), interval(p.loss_db, p.loss_db_low, p.loss_db_high)))


def limits_said(home_db: float, portable_db: float, receive_db: float) -> str:
    """Return the loss a use can bear, as the sheet sets it."""
    home, portable, receive = (quantity(digits(db), "dB") for db in (home_db, portable_db, receive_db))
    return say("A home station bears {home} of loss in a run, a portable one {portable}, reception alone {receive}"
               " (common practice, no source; the sheet may set its own).",
               home=home, portable=portable, receive=receive)  # fmt: skip


# A bench sheet's report: what each piece loses, which readings and meters to believe, what to measure next

LEADS = {
    "good": mark("{piece} is good."),
    "worn": mark("{piece} is worn."),
    "bad": mark("{piece} is bad."),
    "cannot tell": mark("{piece}: cannot tell."),
}
MARKS: dict[str, Mark] = {"good": "good", "worn": "doubt", "bad": "over", "cannot tell": "unknown"}


def bench_report(sheet: BenchSheet, result: BenchResult, made: Made) -> Document:
    """Return the report of a bench sheet.

    Parameters
    ----------
    sheet : BenchSheet
        The sheet: it names types, meters and limits.
    result : BenchResult
        What it says.
    made : Made
        The date, the files that went in, the command.

    Returns
    -------
    Document
        A document that holds the figures of the result and no others.
    """
    return Document(
        kind="bench",
        title=result.title,
        subtitle=say("Bench report, {day}", day=made.day),
        day=made.day,
        maker=made.maker,
        sections=sections(
            Section(say("Summary"), tuple(_summary(sheet, result))),
            Section(say("Loss against frequency"), tuple(_losses(sheet, result))),
            Section(say("What the losses rest on"), tuple(_filled(grounds(result)))),
            Section(say("Where the loss comes from"), tuple(_growth(result))),
            Section(say("What each piece still serves for"), tuple(_filled(uses(result)))),
            Section(say("Readings"), tuple(_readings(result))),
            Section(say("Which meter to believe"), tuple(_meters(sheet, result))),
            Section(say("Bands nobody measured"), tuple(_filled(other_bands(result)))),
            Section(say("Measure next"), _points(*(together([n.action, n.why]) for n in result.next))),
            Section(say("Remarks"), _points(*result.remarks)),
            workings_section(result.workings),
            _repeat(sheet, result, made),
        ),
        names=tuple(dict.fromkeys(_names(sheet, result))),
    )


def _names(sheet: BenchSheet, result: BenchResult) -> Iterator[str]:
    yield from (result.title, *(p.piece for p in result.pieces), *(x.piece for x in result.losses))
    yield from (*(m.name for m in sheet.meters), *(a.tag for a in sheet.attenuators))
    yield from (p.line.designator for p in sheet.pieces if p.line)


def _points(*items: str) -> tuple[Block, ...]:
    return (Points("", items),) if items else ()


def _filled(table: Table) -> Iterator[Block]:
    if table.parts:
        yield table


def _summary(sheet: BenchSheet, result: BenchResult) -> Iterator[Block]:
    for piece in result.pieces:
        yield _verdict(piece)
    if not result.pieces:
        yield Verdict(say("There is nothing to judge."), say("The sheet holds no piece with readings."), "unknown")
    yield Paragraph(_counted(sheet, result))
    if result.cautions:
        yield Cautions(result.cautions)


def _verdict(p: PieceFinding) -> Verdict:
    return Verdict(say(LEADS[p.verdict], piece=p.piece), p.why, MARKS[p.verdict])


def _counted(sheet: BenchSheet, result: BenchResult) -> str:
    bands = len({r.frequency_hz for r in result.readings})
    return together([
        say("Judged from {readings} of {pieces}, by {meters}, on {bands}.",
            readings=say_many("{count} reading", "{count} readings", len(result.readings)),
            pieces=say_many("{count} piece", "{count} pieces", len(result.pieces)),
            meters=say_many("{count} meter", "{count} meters", len(sheet.meters)),
            bands=say_many("{count} band", "{count} bands", bands)),
        _doubted(result),
        say("Intervals in brackets hold the true value with 95 % probability."),
    ])  # fmt: skip


def _doubted(result: BenchResult) -> str:
    doubted = sum(r.p_wrong > DOUBT for r in result.readings)
    if doubted:
        return say_many("{count} reading is doubted.", "{count} readings are doubted.", doubted)
    if any(r.checked for r in result.readings):
        return say("No reading stands out against the rest.")
    return say("Nothing could be checked: no reading has others to be held against.")


def _losses(sheet: BenchSheet, result: BenchResult) -> Iterator[Block]:
    pieces = in_order(x.piece for x in result.losses)
    if not pieces:
        return
    meters = in_order(hand.meter for x in result.losses for hand in x.by_hand)
    panels = (
        Panel(partial(figures.loss_key, meters), say("Key to the drawings of loss against frequency")),
        *(Panel(partial(figures.loss, result, sheet, tag), _about(result, tag)) for tag in pieces),
    )
    caption = say("Loss of each piece against frequency, on a square-root axis: a cable's √f law is a straight line.")
    yield Drawing(caption, panels, losses(result))


def _about(result: BenchResult, tag: str) -> str:
    found = [x for x in result.losses if x.piece == tag]
    said = [loss_at(x) for x in found]
    return say("Loss of {piece} against frequency: {losses}.", piece=tag, losses=together(said, "; "))


def _growth(result: BenchResult) -> Iterator[Block]:
    worse = {p.piece for p in result.pieces if p.verdict != "good" and p.ratio is not None}
    yield from _points(*(together([g.sentence, g.check]) for g in result.growth if g.piece in worse))


def _readings(result: BenchResult) -> Iterator[Block]:
    if result.readings:
        yield readings(result)
    yield from _points(*unchecked(result))


def _meters(sheet: BenchSheet, result: BenchResult) -> Iterator[Block]:
    meters = in_order(m.meter for m in result.meters)
    if not meters:
        return
    panels = tuple(Panel(partial(figures.trust, result, sheet, name), trust_of(result, name)) for name in meters)
    caption = say("The exponent of each detector by band with its 95 % interval: 1 reads true ratios, 1.2 makes every"
                  " decibel a fifth too large. A bar at the left marks the bands a meter is rated for.")  # fmt: skip
    yield Drawing(caption, panels, meter_table(result))


def _repeat(sheet: BenchSheet, result: BenchResult, made: Made) -> Section:
    lines = [p.line for p in sheet.pieces if p.line is not None]
    method = (
        say("All readings are judged at once: each piece's law of loss, each meter's detector and each reading's chance"
            " of being wrong are found together, from what the types specify and what was read."),
        say("A figure is the middle of what is believed; its interval holds 95 % of it."),
        say("By hand: the ratio of one meter's readings without and with the piece, nothing else listened to."),
    )  # fmt: skip
    limits = sheet.limits
    assumptions = (
        say("Loss follows k0 + k1 √f + k2 f along a line, and connectors and joints come on top."),
        say("The carrier keeps its power between a reference reading and the readings after it, but for slow drift."),
        limits_said(limits.home_db, limits.portable_db, limits.receive_db),
    )
    sources = [*(w.source for w in result.workings), *(p.provenance.source for k in lines for p in k.points)]
    return repeat_section(made, method, assumptions, sources)
