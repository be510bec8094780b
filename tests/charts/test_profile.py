"""The picture along a line says what was found."""

from __future__ import annotations

import json

import numpy as np
import pytest

from charts.made import marks, size, texts
from linewright.core.nouns.sweep import Fault, FaultFinding, Landmark, Profile
from linewright.present.charts.profile import WORDS, profile_chart
from linewright.present.charts.render import to_svg
from linewright.present.charts.theme import DARK, config

D = np.linspace(0, 31.8, 400)


def _fault(at: float, kind: str, long: float | None) -> Fault:
    return Fault(at, at - 0.1, at + 0.1, kind, 0.1, 0.99, "made up", long)


def _finding(faults: int = 3, *, impedance: bool = True, end: bool = True) -> FaultFinding:
    kinds = list(WORDS)
    along = tuple(_fault(2.0 + 3.1 * i, kinds[i % len(kinds)], 1.0 if i else None) for i in range(faults))
    ends = (Landmark(0.0, "connector", 0.02, "near"), Landmark(30.0, "far end", 0.9, "The far end: open."))
    ohm = np.where(D < 30, 50 + 3 * np.sin(D), 500.0) if impedance else None
    picture = Profile(D, np.abs(0.02 * np.sin(D)) + 0.001, ohm, "Kaiser", "why", 0.2, 300.0)
    at = (30.0, 1.5e-7) if end else (None, None)
    return FaultFinding(along, ends if end else ends[:1], picture, *at, 0.66, 0.005, 0.2, 0.3, 0.015)


@pytest.mark.parametrize("width_px", [360, 660])
@pytest.mark.parametrize("faults", [0, 1, 3, 9])
@pytest.mark.parametrize("impedance", [True, False])
def test_no_word_leaves_the_frame_and_every_fault_is_named(width_px, faults, impedance):
    finding = _finding(faults, impedance=impedance)
    svg = to_svg(profile_chart(finding, "a drum of line", width_px=width_px))
    wide, high = size(svg)
    assert wide <= width_px + 6
    said = texts(svg)
    assert [row for row in said if row[1] < -2 or row[2] > wide + 2 or not 0 <= row[3] <= high] == []
    words = [row[0] for row in said]
    for fault in finding.faults:
        assert any(word.startswith(WORDS[fault.kind]) and word.endswith(" m") for word in words)


def test_words_of_neighbours_stand_in_lanes_of_their_own():
    drawn = texts(to_svg(profile_chart(_finding(9))))
    said = [row for row in drawn if row[0].startswith(tuple(WORDS.values()))]
    for i, (_, left, right, y) in enumerate(said):
        for _, other_left, other_right, other_y in said[i + 1 :]:
            assert abs(y - other_y) > 5 or right <= other_left + 3 or other_right <= left + 3


@pytest.mark.parametrize("impedance", [True, False])
def test_a_specification_is_plain_data_with_known_styles(impedance):
    spec = profile_chart(_finding(impedance=impedance), palette=DARK)
    assert json.loads(json.dumps(spec, allow_nan=False)) == spec
    assert {mark["mark"]["style"] for mark in marks(spec)} <= set(config()["style"])


def test_an_open_end_does_not_flatten_the_line():
    spec = profile_chart(_finding())
    (curve,) = [m for m in marks(spec) if m["mark"]["style"] == "belief-line"]
    low, high = curve["encoding"]["y"]["scale"]["domain"]
    assert 35 < low < 47
    assert 53 < high < 65


def test_a_line_whose_end_does_not_show_is_drawn():
    words = [row[0] for row in texts(to_svg(profile_chart(_finding(0, end=False))))]
    assert "No fault. Two things less than 0.2 m apart cannot be told apart." in words
    assert not any("far end" in word for word in words)
