"""An antenna's sweeps as a document: figures at the analyser and behind the line side by side, and what changed."""

from __future__ import annotations

from collections.abc import Iterator

from linewright.core.formatting import digits, frequency, interval, plain
from linewright.core.messages import mark, say, together
from linewright.core.nouns.antenna import AntennaChange, AntennaResult, AntennaSweep, SweptPoint
from linewright.core.nouns.through import Estimate
from linewright.present.compose.provenance import worked
from linewright.present.compose.through import megahertz, ohms, return_loss, swr_interval
from linewright.present.compose.through_words import swr_words
from linewright.present.document import (
    Cautions,
    Column,
    Document,
    Paragraph,
    Row,
    Table,
    points,
    section,
    sections,
    table,
)

MOST_ROWS = 21
FIGURES = {"resonance": mark("resonance"), "best_swr": mark("best SWR"), "width": mark("width at SWR 2")}
PLACES = {"analyser": mark("at the analyser"), "antenna": mark("behind the line")}


def antenna_document(result: AntennaResult) -> Document:
    """Return what sweeps of an antenna show."""
    names = together([x.name for x in result.sweeps], ", ")
    title = say("{names}: an antenna", names=names)
    if result.line:
        title = say("{names}: an antenna behind {line}", names=names, line=result.line)
    return Document("antenna", title, sections=sections(
        section("", Paragraph(result.verdict)),
        section(say("Figures"), *(figures(x, titled=len(result.sweeps) > 1) for x in result.sweeps)),
        section(say("What changed"), changes(result)),
        *(section(say("{name}, point by point", name=x.name), curve(x)) for x in result.sweeps),
        section(say("Remarks"), points(result.remarks)),
        section(say("Cautions"), Cautions(result.cautions)),
        worked(result.workings),
    ))  # fmt: skip


def verdict(result: AntennaResult) -> str:
    """Return what the sweeps show, in a sentence or two."""
    first, *later = result.sweeps
    if not later:
        return together([_one(first), *([first.behind.verdict] if first.behind else [])])
    return together([_one(first), *(_against(result, x) for x in later)])


def _one(x: AntennaSweep) -> str:
    if x.resonance_hz.value:
        said = say("{name}: best SWR {swr} at the analyser, resonant at {f}.", name=x.name,
                   swr=swr_interval(x.best_swr), f=megahertz(x.resonance_hz))  # fmt: skip
    else:
        said = say("{name}: best SWR {swr} at the analyser, at {f}; there is no resonance within the sweep.",
                   name=x.name, swr=swr_interval(x.best_swr), f=frequency(round(x.best_hz, -3)))  # fmt: skip
    width = next(w for w in x.widths if w.swr == 2.0)
    if width.width_hz.value:
        below = say("Below SWR 2 from {low} to {high} MHz.", low=_mhz(width.from_hz), high=_mhz(width.to_hz))
        return together([said, below])
    return said


def _mhz(e: Estimate) -> str:
    return plain((e.value or 0.0) / 1e6, 3)


def _against(result: AntennaResult, x: AntennaSweep) -> str:
    """Return what changed from the first sweep to this one, behind the line where that is known."""
    mine = [c for c in result.changes if c.later == x.name]
    place = "antenna" if any(c.at == "antenna" for c in mine) else "analyser"
    told = [_changed(c) for c in mine if c.at == place and c.told]
    if not told:
        return say("{later}: no change from {first} larger than its uncertainty.", later=x.name,
                   first=result.sweeps[0].name)  # fmt: skip
    return say("{later}, {place}: {changes}.", later=x.name, place=say(PLACES[place]), changes=together(told, ", "))


def _changed(c: AntennaChange) -> str:
    v = c.change.value or 0.0
    if c.figure == "resonance":
        return say("resonance {by} lower", by=kilohertz(c.change)) if v < 0 else say(
            "resonance {by} higher", by=kilohertz(c.change))  # fmt: skip
    if c.figure == "best_swr":
        return say(
            "best SWR from {before} to {after}", before=swr_words(c.before.value), after=swr_words(c.after.value)
        )
    wider = say("{by} narrower at SWR 2", by=kilohertz(c.change)), say("{by} wider at SWR 2", by=kilohertz(c.change))
    return wider[v > 0]


def kilohertz(change: Estimate) -> str:
    """Return by how much a frequency changed, without its sign: "120 kHz (90 to 150)"."""
    ends = sorted(abs(x or 0.0) for x in (change.low, change.high))
    value, low, high = abs(change.value or 0.0), *ends
    if (change.low or 0.0) < 0.0 < (change.high or 0.0):
        low = 0.0
    return interval(value / 1e3, low / 1e3, high / 1e3, "kHz")


def figures(x: AntennaSweep, *, titled: bool = False) -> Table:
    """Return each figure of one sweep: at the analyser, and behind the line where one is known."""
    columns = (Column(x.name if titled else ""), Column(say("at the analyser (95 %)")))
    behind = (Column(say("behind the line (95 %)")),) if x.behind else ()
    rows = ((name, at, *((there,) if x.behind else ())) for _, name, at, there in named_figures(x))
    return table((*columns, *behind), rows)


def named_figures(x: AntennaSweep) -> Iterator[tuple[str, str, str, str]]:
    """Yield each figure: what its working is of, its name, at the analyser, behind the line."""
    r = x.behind
    none = say("this line cannot give this reading") if r and r.contradiction else ""
    yield "best SWR", say("best SWR"), swr_interval(x.best_swr), none or (swr_interval(r.best_swr) if r else "")
    yield "best SWR", say("resonance"), _told(x.resonance_hz), _told(r.resonance_hz) if r and not none else ""
    blind = r is not None and r.antenna_resistance_ohm.value is None
    zero = "" if r is None or none else say("cannot be told") if blind else _told(r.zero_reactance_hz)
    here = say("cannot be told") if x.resistance_ohm.value is None else _told(x.zero_reactance_hz)
    yield "impedance", say("no reactance"), here, zero
    there = ohms(r.antenna_resistance_ohm) if r and not none else ""
    yield "impedance", say("resistance there"), ohms(x.resistance_ohm), there
    for w in x.widths:
        behind = _told(r.bandwidth_hz) if r and not none and w.swr == 2.0 else ""
        yield "width", say("width at SWR {swr}", swr=digits(w.swr)), _told(w.width_hz), behind
        if w.width_hz.value is not None:
            below = say("{low} to {high} MHz", low=_mhz(w.from_hz), high=_mhz(w.to_hz))
            yield "width", say("below SWR {swr}", swr=digits(w.swr)), below, ""


def _told(e: Estimate) -> str:
    return megahertz(e) if e.value else say("not certain to lie within the sweep")


def changes(result: AntennaResult) -> Table:
    """Return what changed from the first sweep to each later one."""
    columns = (
        Column(""), Column(""), Column(say("where")), Column(say("before")), Column(say("after")),
        Column(say("change (95 %)"), "figure"),
    )  # fmt: skip
    return table(columns, map(_change, result.changes))


def _change(c: AntennaChange) -> Row:
    pair = say("{first} to {later}", first=c.first, later=c.later)
    if c.figure == "best_swr":
        before, after = swr_words(c.before.value), swr_words(c.after.value)
        by = interval(c.change.value or 0.0, c.change.low or 0.0, c.change.high or 0.0, "")
    else:
        before, after = (say("{f} MHz", f=_mhz(e)) for e in (c.before, c.after))
        e = c.change
        by = interval((e.value or 0.0) / 1e3, (e.low or 0.0) / 1e3, (e.high or 0.0) / 1e3, "kHz")
    return Row((pair, say(FIGURES[c.figure]), say(PLACES[c.at]), before, after, by), "" if c.told else "unknown")


def curve_points(x: AntennaSweep) -> tuple[SweptPoint, ...]:
    """Return the points that have a row: all of a short sweep, evenly spaced ones of a long one."""
    return x.points[:: max(1, -(-len(x.points) // MOST_ROWS))]


def curve(x: AntennaSweep) -> Table:
    """Return one sweep point by point."""
    phase = any(p.resistance_ohm.value is not None for p in x.points)
    columns = (Column("", "right"), Column(say("SWR (95 %)"), "figure"), Column(say("return loss (95 %)"), "figure"))
    more = (Column(say("resistance (95 %)"), "figure"), Column(say("reactance (95 %)"), "figure")) if phase else ()
    rows = (
        (frequency(round(p.frequency_hz, -3)), swr_interval(p.swr), return_loss(p.return_loss_db),
         *((ohms(p.resistance_ohm), ohms(p.reactance_ohm)) if phase else ()))
        for p in curve_points(x)
    )  # fmt: skip
    return table((*columns, *more), rows)
