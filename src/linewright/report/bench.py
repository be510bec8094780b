"""A bench sheet's report: what each piece loses, which readings and meters to believe, what to measure next."""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial

from linewright.charts.parts import in_order
from linewright.model.bench import BenchSheet
from linewright.model.result import BenchResult, PieceFinding
from linewright.report import bench_tables as tables
from linewright.report import figures
from linewright.report.document import (
    Block,
    Cautions,
    Document,
    Drawing,
    Mark,
    Panel,
    Paragraph,
    Points,
    Section,
    Table,
    Verdict,
    sections,
)
from linewright.report.made import Made, repeat_section, workings_section
from linewright.units.said import mark, say, say_many, together

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
            Section(say("What the losses rest on"), tuple(_filled(tables.grounds(result)))),
            Section(say("Where the loss comes from"), tuple(_growth(result))),
            Section(say("What each piece still serves for"), tuple(_filled(tables.uses(result)))),
            Section(say("Readings"), tuple(_readings(result))),
            Section(say("Which meter to believe"), tuple(_meters(sheet, result))),
            Section(say("Bands nobody measured"), tuple(_filled(tables.other_bands(result)))),
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
    doubted = sum(r.p_wrong > tables.DOUBT for r in result.readings)
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
    yield Drawing(caption, panels, tables.losses(result))


def _about(result: BenchResult, tag: str) -> str:
    found = [x for x in result.losses if x.piece == tag]
    said = [tables.loss_at(x) for x in found]
    return say("Loss of {piece} against frequency: {losses}.", piece=tag, losses=together(said, "; "))


def _growth(result: BenchResult) -> Iterator[Block]:
    worse = {p.piece for p in result.pieces if p.verdict != "good" and p.ratio is not None}
    yield from _points(*(together([g.sentence, g.check]) for g in result.growth if g.piece in worse))


def _readings(result: BenchResult) -> Iterator[Block]:
    if result.readings:
        yield tables.readings(result)
    yield from _points(*tables.unchecked(result))


def _meters(sheet: BenchSheet, result: BenchResult) -> Iterator[Block]:
    meters = in_order(m.meter for m in result.meters)
    if not meters:
        return
    panels = tuple(Panel(partial(figures.trust, result, sheet, name), tables.trust_of(result, name)) for name in meters)
    caption = say("The exponent of each detector by band with its 95 % interval: 1 reads true ratios, 1.2 makes every"
                  " decibel a fifth too large. A bar at the left marks the bands a meter is rated for.")  # fmt: skip
    yield Drawing(caption, panels, tables.meters(result))


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
        tables.limits_said(limits.home_db, limits.portable_db, limits.receive_db),
    )
    sources = [*(w.source for w in result.workings), *(p.provenance.source for k in lines for p in k.points)]
    return repeat_section(made, method, assumptions, sources)
