"""The catalogue against sources left out: two in turn every day, and what was kept of all of them."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest

from linewright.catalogue.joint import fit
from linewright.catalogue.refit import makes, readings
from sources_left_out import HERE, asked_of, several

KEPT = (Path(HERE) / "sources_left_out_results.md").read_text(encoding="utf-8")
ROWS = {
    m[1]: tuple(float(v) for v in m.groups()[1:])
    for m in re.finditer(r"^\| ([^|]+) \| (\d+) \| ([\d.]+) \| ([\d.]+) \| (\d+) \|$", KEPT, re.MULTILINE)
}


@pytest.fixture(scope="module")
def whole():
    given = readings()
    return given, fit(given, makes())


@pytest.mark.parametrize("source", ["S03", "P04"])
def test_a_source_left_out_is_told_again_as_it_was_kept(whole, source):
    given, post = whole
    asked = asked_of(source, given, post)
    number, inside, departure, _ = ROWS[source]
    assert len(asked) == number
    assert 100 * np.mean([a.inside for a in asked]) == pytest.approx(inside, abs=3.0)
    assert 100 * np.median([abs(a.printed - a.law) for a in asked]) == pytest.approx(departure, abs=0.5)
    assert several(asked) == []  # one source alone never makes several


def test_the_intervals_hold_what_each_source_prints():
    _, inside, departure, _ = ROWS["types of several sources"]
    assert 92.0 <= inside <= 98.0
    assert departure <= 5.0
    for band in ("of these, to 30 MHz", "of these, clad steel and windowed line"):
        assert 92.0 <= ROWS[band][1] <= 98.0
    assert 92.0 <= ROWS["all"][1] <= 98.0


def test_the_intervals_are_no_wider_than_half_as_much_again_as_the_sources_differ():
    ratio = float(re.search(r"cases of a type in a band: median (\d+\.\d+)", KEPT)[1])
    assert ratio <= 1.5
