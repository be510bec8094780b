"""The flow of power: what it draws is what the plan says."""

from __future__ import annotations

from dataclasses import replace
from importlib.resources import files
from itertools import pairwise

import pytest

from charts.made import drawn, marks, size, texts
from linewright.core.locale import Manner
from linewright.core.nouns.plan import Budget
from linewright.present.charts.flow import DEEP_PX, MOST_ROWS, edges, flow_chart, left_along, returned
from linewright.present.charts.render import to_svg
from linewright.verbs.plan import plan_station


@pytest.fixture(scope="module")
def budgets() -> dict[str, Budget]:
    path = files("linewright.verbs.demo_data").joinpath("harbour-ridge-station.toml")
    return {b.run: b for b in plan_station(str(path)).budgets}


def _named(budget: Budget, name: str) -> Budget:
    parts = tuple(replace(p, name=f"{name}{i}") for i, p in enumerate(budget.bands[0].parts))
    return replace(budget, run=name, bands=tuple(replace(x, parts=parts) for x in budget.bands))


@pytest.mark.parametrize("width_px", [360, 660])
@pytest.mark.parametrize("run", ["multiband wire", "portable mast"])
def test_no_text_leaves_the_frame(budgets, run, width_px):
    for budget in (budgets[run], _named(budgets[run], "the long grey one with the green end from the old mast " * 3)):
        svg = to_svg(flow_chart(budget, width_px=width_px))
        wide, high = size(svg)
        assert wide <= width_px + 6
        assert not [row for row in texts(svg) if row[1] < -1 or row[2] > wide + 1 or not 0 <= row[3] <= high]


def test_the_band_ends_as_wide_as_the_power_that_arrives(budgets):
    budget = budgets["multiband wire"]
    spec = flow_chart(budget)
    (perhaps,) = (m for m in marks(spec) if m["mark"]["style"] == "power-edge" and m["mark"]["type"] == "area")
    (sure,) = (m for m in marks(spec) if m["mark"]["style"] == "power" and m["mark"]["type"] == "area")
    most_w = max(x.power_w for x in budget.bands)
    for x in budget.bands:
        edge = [row for row in perhaps["data"]["values"] if row["shape"] == f"{x.frequency_hz}"][-1]
        top_px = next(row["y_px"] for row in sure["data"]["values"] if row["shape"] == f"{x.frequency_hz}")
        ends_w = [(edge[end] - top_px) * most_w / DEEP_PX for end in ("y_px", "middle_px", "foot_px")]
        meant_w = (x.power_at_antenna_w_low, x.power_at_antenna_w, x.power_at_antenna_w_high)
        assert ends_w == pytest.approx(meant_w, rel=2e-3)


def test_lines_lie_as_long_as_they_are_and_every_part_can_be_seen(budgets):
    parts = budgets["two-metre beam"].bands[0].parts
    places = edges(parts)
    widths = [b - a for a, b in pairwise(places)]
    assert places[0] == 0.0
    assert places[-1] == 1.0
    assert min(widths) > 0.07
    lengths = {p.length_m: w for p, w in zip(parts, widths, strict=True) if p.length_m}
    assert [lengths[m] for m in sorted(lengths)] == sorted(lengths.values())


def test_power_only_falls_along_a_run_and_never_leaves_its_interval(budgets):
    for x in (x for b in budgets.values() for x in b.bands):
        along = [at for part in left_along(x, edges(x.parts)) for at in part]
        assert all(at.low_w <= at.power_w <= at.high_w for at in along)
        assert all(b.power_w <= a.power_w * (1 + 1e-9) for a, b in pairwise(along))


def test_what_comes_back_follows_the_standing_wave_ratio(budgets):
    x = replace(budgets["portable mast"].bands[0], parts=(), swr_at_antenna=3.0, swr_at_radio=1.0)
    assert returned(x) == pytest.approx([0.0, 0.25])  # SWR 3: half the wave's voltage, a quarter of its power


def test_bands_beyond_the_most_are_named_not_drawn(budgets):
    (one, *_) = budgets["portable mast"].bands
    many = tuple(replace(one, frequency_hz=1e6 * (i + 1), total_loss_db=20.0 - i) for i in range(MOST_ROWS + 2))
    spec = flow_chart(Budget("many", many))
    said = " ".join(words for words, *_ in texts(to_svg(spec)))
    assert "not drawn: 9, 10 MHz" in said
    assert drawn(to_svg(spec), "area") == 3 * MOST_ROWS + MOST_ROWS * len(one.parts)


def test_a_run_with_nothing_in_it_still_draws():
    assert to_svg(flow_chart(Budget("empty", ()))).startswith("<svg")


def test_words_are_written_in_the_manner_asked_for(budgets):
    spec = flow_chart(budgets["multiband wire"], manner=Manner(decimal=","))
    assert "3,65 MHz: 49 W" in " ".join(words for words, *_ in texts(to_svg(spec)))
    assert spec["config"]["locale"]["number"]["decimal"] == ","
