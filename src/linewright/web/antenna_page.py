"""The page of an antenna's sweeps: the document's words and tables, with figures that open, and its curves."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import partial

from linewright.core.messages import say
from linewright.core.nouns.antenna import AntennaResult, AntennaSweep
from linewright.core.nouns.bench_result import Key, Working
from linewright.present.compose import antenna as compose
from linewright.web.pictures import Drawable
from linewright.web.workings import OpenTable, open_table

OF_BEHIND: dict[str, Key] = {"best SWR": ("best SWR",), "impedance": ("impedance",), "width": ("width",)}


@dataclass(frozen=True, slots=True)
class AntennaShown:
    """All that sweeps of an antenna say, as their page shows it."""

    verdict: str
    charts: tuple[Drawable, ...]
    flat: tuple[str, ...]
    figures: tuple[tuple[str, OpenTable], ...]
    changes: OpenTable
    curves: tuple[tuple[str, OpenTable], ...]
    cautions: tuple[str, ...]
    remarks: tuple[str, ...]
    workings: tuple[Working, ...]


def antenna_shown(r: AntennaResult) -> AntennaShown:
    """Return what sweeps of an antenna say, as their page shows it."""
    of: list[tuple[Key, ...]] = [((), (), (), (), (), ("best SWR", c.later)) for c in r.changes]
    flat = tuple(
        x.behind.flat_warning.why for x in r.sweeps
        if x.behind and x.behind.flat_warning and x.behind.flat_warning.is_flat
    )  # fmt: skip
    return AntennaShown(
        r.verdict, tuple(_charts(r)), flat, tuple((x.name, _figures(r, x)) for x in r.sweeps),
        open_table(compose.changes(r), r.workings, of), tuple((x.name, _curve(r, x)) for x in r.sweeps), r.cautions,
        tuple(said for said in r.remarks if said not in flat), r.workings,
    )  # fmt: skip


def _figures(r: AntennaResult, x: AntennaSweep) -> OpenTable:
    keys: list[tuple[Key, ...]] = [
        ((), (of, x.name), ("behind", x.name, *OF_BEHIND[of])) for of, *_ in compose.named_figures(x)
    ]
    return open_table(compose.figures(x), r.workings, keys)


def _curve(r: AntennaResult, x: AntennaSweep) -> OpenTable:
    shown, there = ("best SWR", x.name), ("impedance", x.name)
    return open_table(compose.curve(x), r.workings, [((), shown, shown, there, there) for _ in compose.curve_points(x)])


def _charts(r: AntennaResult) -> Iterator[Drawable]:
    from linewright.present.charts.antenna import antenna_chart
    from linewright.present.charts.overlay import OverlaidCurve, overlay_chart

    drawn = [
        OverlaidCurve(x.name, [p.frequency_hz for p in x.points], [p.swr.value or 1e3 for p in x.points])
        for x in r.sweeps
    ]
    about = say("SWR against frequency at the analyser, the sweeps over each other; the tables have the figures.")
    yield Drawable("analyser", about, partial(overlay_chart, drawn, "swr", title=say("At the analyser")))
    behind = [x.behind for x in r.sweeps if x.behind is not None and not x.behind.contradiction]
    if len(behind) == 1:
        about = say(
            "SWR against frequency behind the line with its 95 % band, and at the radio; the table has the figures."
        )
        yield Drawable("behind", about, partial(antenna_chart, behind[0]))
    elif behind:
        seen = [OverlaidCurve(b.seen, [p.frequency_hz for p in b.curve], [p.antenna_swr.value or 1e3 for p in b.curve])
                for b in behind]  # fmt: skip
        about = say("SWR against frequency behind the line, the sweeps over each other; the tables have the figures.")
        yield Drawable("behind", about, partial(overlay_chart, seen, "swr", title=say("Behind the line")))
