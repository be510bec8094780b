"""The antenna's curve behind a line: every row drawn, inside its frame, the same every time."""

from __future__ import annotations

import json

import numpy as np
import pytest

from charts.made import drawn, marks, size, texts
from linewright.inference.load.seen import seen_swr
from linewright.present.charts.antenna import antenna_chart
from linewright.present.charts.render import to_svg
from linewright.verbs.through import line_behind, see_through

F = np.linspace(134e6, 156e6, 45)
BOWL = np.round(1.1 + 0.08 * np.abs(F - 145e6) / 1e6, 1)


def _result(swr=BOWL, loss_db=2.0, name="beam.csv"):
    return see_through(seen_swr(swr, frequency_hz=F, name=name), line_behind(loss_db=loss_db, at_hz=145e6))


CASES = {
    "bowl": _result(),
    "flat": _result(np.full(45, 1.1)),
    "hidden": _result(np.full(45, 1.1), 15.0),
    "contradicted": _result(np.full(45, 6.0), 5.0),
    "long name": _result(name="a sweep of the two-metre beam on the north mast after the storm " * 3),
}


@pytest.mark.parametrize("case", CASES)
@pytest.mark.parametrize("width_px", [360, 660])
def test_no_text_leaves_the_frame(case, width_px):
    svg = to_svg(antenna_chart(CASES[case], width_px=width_px))
    wide, high = size(svg)
    assert wide <= width_px + 6
    said = texts(svg)
    assert said
    assert not [row for row in said if row[1] < -2 or row[2] > wide + 2 or not 0 <= row[3] <= high]


def test_resonance_and_rules_are_drawn():
    spec = antenna_chart(CASES["bowl"])
    svg = to_svg(spec)
    for mark, kind in (("rule", "rule"), ("text", "text")):
        rows = sum(len(view["data"]["values"]) for view in marks(spec) if view["mark"]["type"] == mark)
        assert drawn(svg, kind) == rows
    assert "resonance" in svg
    assert "resonance" not in to_svg(antenna_chart(CASES["contradicted"]))


@pytest.mark.parametrize("case", CASES)
def test_a_specification_is_plain_data_and_the_same_every_time(case):
    first, second = antenna_chart(CASES[case]), antenna_chart(CASES[case])
    assert json.loads(json.dumps(first, allow_nan=False)) == second
