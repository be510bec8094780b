"""Every chart there is, each of a made-up thing; a maker takes ``width_px``, ``palette`` and ``manner``."""

from __future__ import annotations

from dataclasses import replace
from functools import cache, partial
from importlib.resources import files

import numpy as np

from charts.made import CHARTS
from charts.made_choice import made_choice, made_lengths, made_shared
from linewright.core.messages import say
from linewright.core.nouns.shelf import Drift, Evidence, HistoryPoint, PieceHistory, ShelfPiece
from linewright.core.nouns.sweep import Fault, FaultFinding, Landmark, Profile
from linewright.core.nouns.wire_antenna import Vertical
from linewright.inference.load.seen import seen_swr
from linewright.link.near_exposure import Levels, radiating_w
from linewright.link.zone import Demand, zone
from linewright.present.charts.antenna import antenna_chart
from linewright.present.charts.assignment import assignment_chart
from linewright.present.charts.exposure import exposure_chart
from linewright.present.charts.flow import flow_chart
from linewright.present.charts.ladder import LadderStep, ladder_chart
from linewright.present.charts.law import law_chart
from linewright.present.charts.longest_run import longest_run_chart
from linewright.present.charts.overlay import OverlaidCurve, overlay_chart
from linewright.present.charts.piece import years_chart
from linewright.present.charts.profile import WORDS, profile_chart
from linewright.present.charts.reception import reception_chart
from linewright.present.charts.trade_off import trade_off_chart
from linewright.present.charts.zone import zone_chart
from linewright.verbs.plan import plan_station
from linewright.verbs.through import line_behind, see_through
from made_up_bench import made_up_bench

RUNGS = (
    LadderStep("RG-58C/U", "", (1.9, 2.5, 3.3)),
    LadderStep("spring at the bench", "2023-04-02", (2.4, 2.8, 3.2), (2.2, 3.0, 3.9)),
    LadderStep("a sweep", "2024-05-01", (2.75, 2.85, 2.95), (2.7, 2.9, 3.1)),
    LadderStep("autumn at the bench", "2026-09-10", (3.3, 3.5, 3.7), (3.2, 3.6, 4.0)),
)


@cache
def budgets():
    """Return the runs of the invented station as planned, by name."""
    path = files("linewright.verbs.demo_data").joinpath("harbour-ridge-station.toml")
    return {b.run: b for b in plan_station(str(path)).budgets}


def made_history(tests=3, *, tag="blue 7", drift=True):
    """Return a piece over the years, of as many tests as there are rungs of evidence at most."""
    piece = ShelfPiece(tag, "RG-58C/U", 7.2, 2, None, "", 1, False, "", tests, None, ())
    points = tuple(
        HistoryPoint(Evidence("sheet", "k", r.on, r.what), 144.3e6, r.alone[1], r.alone[0], r.alone[2])
        for r in RUNGS[1 : 1 + tests]
    )
    moved = Drift(144.3e6, 5.1, 0.7, 9.8, 0.99, "rising", "") if drift and tests > 1 else None
    return PieceHistory(piece, points, moved, None, (), (), ())


def made_faults(faults=5, *, impedance=True):
    """Return a line with so many faults and both its ends."""
    d = np.linspace(0, 31.8, 400)
    kinds = list(WORDS)
    along = tuple(
        Fault(2.0 + 3.1 * i, 1.9 + 3.1 * i, 2.1 + 3.1 * i, kinds[i % len(kinds)], 0.1, 0.99, "made up", 1.0)
        for i in range(faults)
    )
    ends = (Landmark(0.0, "connector", 0.02, "near"), Landmark(30.0, "far end", 0.9, "The far end: open."))
    ohm = np.where(d < 30, 50 + 3 * np.sin(d), 500.0) if impedance else None
    picture = Profile(d, np.abs(0.02 * np.sin(d)) + 0.001, ohm, "Kaiser", "why", 0.2, 300.0)
    return FaultFinding(along, ends, picture, 30.0, 1.5e-7, 0.66, 0.005, 0.2, 0.3, 0.015)


@cache
def law_finding():
    """Return what a sweep of 30 m of line, made by its law, says."""
    from linewright.catalogue import line_type
    from linewright.core.nouns.sweep import Sweep, SweepQuestion
    from linewright.verbs.sweep import read_sweep

    line = line_type("RG-213/U")
    f = np.linspace(1e6, 500e6, 400)
    loss = 30.0 * line.law.db_per_m(f)
    s21 = 10 ** (-loss / 20) * np.exp(-2j * np.pi * f * 30.0 / (0.66 * 299_792_458.0))
    s = np.zeros((len(f), 2, 2), complex)
    s[:, 0, 1] = s[:, 1, 0] = s21
    asked = SweepQuestion(length_m=30.0, line="RG-213/U")
    return read_sweep([Sweep("drum", f, s, np.full(2, 50.0 + 0j))], (), asked).finding


def _through():
    f = np.linspace(134e6, 156e6, 45)
    swr = np.round(1.1 + 0.08 * np.abs(f - 145e6) / 1e6, 1)
    return see_through(seen_swr(swr, frequency_hz=f, name="beam"), line_behind(loss_db=2.0, at_hz=145e6))


def made_zone():
    """Return the zone about a loaded vertical, wide where people stand."""
    antenna, level = Vertical(10.0, top_m=10.0), Levels(83.0, 21.0)
    power = radiating_w(antenna, 475e3, 100.0, 30.0)
    return zone(antenna, 475e3, [Demand(tuple(power), level)], 5.7)


def _two_curves(tail):
    shown = (("blue 7", 1.2), ("grey 7", 1.5))
    return [OverlaidCurve(f"{name}{tail}", [140e6, 145e6, 150e6], [2.5, least, 2.7]) for name, least in shown]


def makers(tail=""):
    """Return every maker by name; ``tail`` stands behind every name a person could have given."""
    result, sheet = made_up_bench(3, 4, 2)
    shared, choice, run = made_shared(), made_choice(), budgets()["portable mast"]
    wire = replace(budgets()["multiband wire"], run=f"multiband wire{tail}")
    return {
        **{name: partial(chart, result, sheet) for name, chart in CHARTS.items()},
        "profile": partial(profile_chart, made_faults(), f"drum{tail}"),
        "law": partial(law_chart, law_finding()),
        "antenna": partial(antenna_chart, replace(_through(), seen=f"beam{tail}", line="RG-213/U")),
        "overlay": partial(overlay_chart, _two_curves(tail), "swr", title=say("At the analyser")),
        "assignment": partial(assignment_chart, shared, made_lengths(shared)),
        "trade-off": partial(trade_off_chart, replace(choice, run=f"vhf beam{tail}")),
        "longest-run": partial(longest_run_chart, choice),
        "flow": partial(flow_chart, wire),
        "reception": partial(reception_chart, replace(run, run=f"mast{tail}"), budgets()["repeater link"]),
        "exposure": partial(exposure_chart, wire),
        "zone": partial(zone_chart, made_zone(), f"multiband wire{tail}", frequency_hz=475e3),
        "ladder": partial(ladder_chart, f"blue 7{tail}", RUNGS, 144.3e6),
        "years": partial(years_chart, made_history(tag=f"blue 7{tail}")),
    }
