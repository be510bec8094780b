"""A bench sheet's report: what each piece loses, which readings and meters to believe, what to measure next."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import partial

from linewright.core.formatting import (
    digits,
    frequencies,
    frequency,
    interval,
    quantity,
)
from linewright.core.messages import mark, say, say_many, together
from linewright.core.nouns.bench import BenchSheet
from linewright.core.nouns.bench_result import (
    BenchResult,
    LossFinding,
    MeterFinding,
    PieceFinding,
)
from linewright.present.charts.frame import in_order
from linewright.present.compose import figures
from linewright.present.compose.bench_words import DOUBT, exponent_cell, use_answer, use_name
from linewright.present.compose.prove import (
    MARKS,
    grounds,
    growth,
    judged,
    losses,
    other_bands,
    parts_by,
    readings,
    unchecked,
    uses,
    verdict,
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
    Row,
    Section,
    Table,
    Verdict,
    points,
    section,
    sections,
)

# Tables of a bench report: losses, what they rest on, uses, readings, meters, other bands

TRUST: dict[str, tuple[str, Mark]] = {
    "good": (mark("believe"), "good"),
    "doubtful": (mark("doubt"), "doubt"),
    "none": (mark("do not use"), "over"),
    "unknown": (mark("cannot tell"), "unknown"),
}


def loss_at(x: LossFinding) -> str:
    """Return a loss with its band, for a person who cannot see the drawing."""
    believed = interval(x.loss_db, x.loss_db_low, x.loss_db_high)
    return say("{loss} at {frequency}", loss=believed, frequency=frequency(x.frequency_hz))


def fitness(result: BenchResult) -> Table:
    """Return what each piece may serve for, a row a piece."""
    named = in_order(u.use for p in result.pieces for u in p.uses)
    columns = (Column(say("piece")), *(Column(use_name(use)) for use in named))
    rows = tuple(_fitness(p, named) for p in result.pieces if p.uses)
    return Table("", columns, (Part("", rows),) if rows else ())


def _fitness(p: PieceFinding, named: Sequence[str]) -> Row:
    found = {u.use: use_answer(u) for u in p.uses}
    return Row((p.piece, *(found.get(use, "") for use in named)), MARKS[p.verdict])


def doubtful(result: BenchResult) -> Table:
    """Return the readings that are doubted or worth another look, as ``readings`` has them."""
    return readings(r for r in result.readings if judged(r)[1] in ("doubt", "over"))


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


def limits_said(home_db: float, portable_db: float, receive_db: float) -> str:
    """Return the loss a use can bear, as the sheet sets it."""
    home, portable, receive = (quantity(digits(db), "dB") for db in (home_db, portable_db, receive_db))
    return say("A home station bears {home} of loss in a run, a portable one {portable}, reception alone {receive}"
               " (common practice, no source; the sheet may set its own).",
               home=home, portable=portable, receive=receive)  # fmt: skip


# A bench sheet's report: what each piece loses, which readings and meters to believe, what to measure next


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
            section(say("Where the loss comes from"), points(growth(result))),
            section(say("What each piece still serves for"), fitness(result)),
            section(say("Readings in doubt"), doubtful(result)),
            section(say("Which meter to believe"), meters_in_short(result)),
            section(say("Measure next"), points(together([n.action, n.why]) for n in result.next)),
            section(say("Remarks"), points(result.remarks)),
            made_again(made),
            section(say("What the losses rest on"), *grounds(result), appendix=True),
            section(say("Reasons for each use"), uses(result), appendix=True),
            section(
                say("Readings"),
                readings(result.readings, say("Readings in the order taken")),
                points(unchecked(result)),
                appendix=True,
            ),
            Section(say("Each meter band by band"), tuple(_meters(sheet, result)), appendix=True),
            section(say("Bands nobody measured"), *other_bands(result), appendix=True),
            workings_section(result.workings),
            _repeat(sheet, result, made),
        ),
        names=tuple(dict.fromkeys(_names(sheet, result))),
    )


def _names(sheet: BenchSheet, result: BenchResult) -> Iterator[str]:
    yield from (result.title, *(p.piece for p in result.pieces), *(x.piece for x in result.losses))
    yield from (*(m.name for m in sheet.meters), *(a.tag for a in sheet.attenuators))
    yield from (p.line.designator for p in sheet.pieces if p.line)


def _summary(sheet: BenchSheet, result: BenchResult) -> Iterator[Block]:
    for piece in result.pieces:
        yield verdict(piece)
    if not result.pieces:
        yield Verdict(say("There is nothing to judge."), say("The sheet holds no piece with readings."), "unknown")
    yield Paragraph(_counted(sheet, result))
    if result.cautions:
        yield Cautions(result.cautions)


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
