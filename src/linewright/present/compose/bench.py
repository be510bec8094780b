"""A bench sheet's report: what each piece loses, which readings and meters to believe, what to measure next."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import replace
from functools import partial
from typing import TypeVar

from linewright.core.formatting import (
    chance,
    digits,
    frequencies,
    frequency,
    interval,
    metres,
    plain,
    quantity,
)
from linewright.core.messages import listed, mark, say, say_many, together
from linewright.core.nouns.bench import BenchSheet
from linewright.core.nouns.bench_result import (
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
from linewright.present.compose.bench_words import (
    ANSWER,
    DOUBT,
    LEADS,
    LOOK,
    alone_cells,
    beyond_note,
    expected_cell,
    exponent_cell,
    loss_cells,
    path_cell,
    read_cell,
)
from linewright.present.compose.provenance import Made, made_again, repeat_section, workings_section
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
    section,
    sections,
)

# Tables of a bench report: losses, what they rest on, uses, readings, meters, other bands

X = TypeVar("X")

SCRAP = "scrap"

TRUST: dict[str, tuple[str, Mark]] = {
    "good": (mark("believe"), "good"),
    "doubtful": (mark("doubt"), "doubt"),
    "none": (mark("do not use"), "over"),
    "unknown": (mark("cannot tell"), "unknown"),
}
FITS: dict[bool | None, Mark] = {True: "good", False: "over", None: "unknown"}


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
    notes = (beyond_note(),) if any(x.extrapolated for x in result.losses) else ()
    parts = parts_by(result.losses, lambda x: titles.get(x.piece, x.piece), lambda x: Row(loss_cells(x)))
    return Table(say("Loss of each piece"), columns, parts, notes)


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
    return Row((frequency(x.frequency_hz), together(hands, "; "), *alone_cells(x)))


def uses(result: BenchResult) -> Table:
    """Return what each piece may serve for, with the reason."""
    columns = (Column(say("use")), Column(say("fit")), Column(say("because"), "wide"))
    parts = tuple(Part(p.piece, tuple(map(_use, p.uses))) for p in result.pieces if p.uses)
    return Table(say("Uses of each piece"), columns, parts)


def _use(u: UseFinding) -> Row:
    sign = ("over" if u.ok else "") if u.use == SCRAP else FITS[u.ok]
    return Row((say(u.use), say(ANSWER[u.ok]), u.why), sign)


def fitness(result: BenchResult) -> Table:
    """Return what each piece may serve for, a row a piece."""
    named = in_order(u.use for p in result.pieces for u in p.uses)
    columns = (Column(say("piece")), *(Column(say(use)) for use in named))
    rows = tuple(_fitness(p, named) for p in result.pieces if p.uses)
    return Table("", columns, (Part("", rows),) if rows else ())


def _fitness(p: PieceFinding, named: Sequence[str]) -> Row:
    found = {u.use: say(ANSWER[u.ok]) for u in p.uses}
    return Row((p.piece, *(found.get(use, "") for use in named)), MARKS[p.verdict])


def doubtful(result: BenchResult) -> Table:
    """Return the readings that are doubted or worth another look, as ``readings`` has them."""
    found = tuple(r for r in result.readings if _judged(r)[1] in ("doubt", "over"))
    return replace(readings(replace(result, readings=found)), caption="")


def meters_in_short(result: BenchResult) -> Table:
    """Return on which bands to believe each meter, a row a meter; why it is not believed elsewhere stands below it."""
    judged = in_order(TRUST[m.trust][0] for m in result.meters)
    columns = (Column(say("meter")), *(Column(say(said)) for said in judged))
    rows = tuple(_meter_in_short(name, result, judged) for name in in_order(m.meter for m in result.meters))
    return Table("", columns, (Part("", rows),) if rows else ())


def _meter_in_short(meter: str, result: BenchResult, judged: Sequence[str]) -> Row:
    found = [m for m in result.meters if m.meter == meter]
    hertz = ([m.frequency_hz for m in found if TRUST[m.trust][0] == said] for said in judged)
    why = [
        say("{frequency}: {why}", frequency=frequency(m.frequency_hz), why=m.why)
        for m in found if m.trust in ("doubtful", "none")
    ]  # fmt: skip
    sign: Mark = "over" if any(m.trust == "none" for m in found) else "doubt" if why else "good"
    return Row((meter, *(frequencies(some) if some else "" for some in hertz)), sign, together(why))


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
    cells = (str(r.row), r.meter, frequency(r.frequency_hz), path_cell(r), read_cell(r), expected_cell(r))
    wrong = chance(r.p_wrong) if r.checked else ""
    return Row((*cells, wrong, said), sign, r.why if sign in ("doubt", "over") else "")


def _judged(r: ReadingFinding) -> tuple[str, Mark]:
    if r.p_wrong > DOUBT:
        return say("doubted"), "over"
    if not r.checked:
        return say("not checked"), "unknown"
    return (say("look again"), "doubt") if r.p_wrong >= LOOK else ("", "")


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
    return Row((frequency(m.frequency_hz), say(said), exponent_cell(m), m.why), sign)


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
            Section(say("Where the loss comes from"), tuple(_growth(result))),
            section(say("What each piece still serves for"), fitness(result)),
            section(say("Readings in doubt"), doubtful(result)),
            section(say("Which meter to believe"), meters_in_short(result)),
            Section(say("Measure next"), _points(*(together([n.action, n.why]) for n in result.next))),
            Section(say("Remarks"), _points(*result.remarks)),
            made_again(made),
            section(say("What the losses rest on"), grounds(result), appendix=True),
            section(say("Reasons for each use"), uses(result), appendix=True),
            Section(say("Readings"), tuple(_readings(result)), appendix=True),
            Section(say("Each meter band by band"), tuple(_meters(sheet, result)), appendix=True),
            section(say("Bands nobody measured"), other_bands(result), appendix=True),
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
        return say("No reading stands out from the rest.")
    return say("Nothing could be checked: no reading has others to compare it with.")


def _losses(sheet: BenchSheet, result: BenchResult) -> Iterator[Block]:
    pieces = in_order(x.piece for x in result.losses)
    if not pieces:
        return
    meters = in_order(hand.meter for x in result.losses for hand in x.by_hand)
    about = say("Key to the drawings of loss against frequency")
    legend = Panel(partial(figures.loss_key, meters), about, legend=True)
    abreast = figures.abreast(len(pieces))
    draw = partial(figures.loss, result, sheet, abreast=abreast)
    caption = say("Loss of each piece against frequency, on a square-root axis: a cable's √f law is a straight line.")
    bears = limits_said(sheet.limits.home_db, sheet.limits.portable_db, sheet.limits.receive_db)
    yield Drawing(together([caption, bears]), (legend,), columns=1)
    yield Drawing("", tuple(Panel(partial(draw, tag), _about(result, tag)) for tag in pieces), losses(result), abreast)


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
