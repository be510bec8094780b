"""What a chart says is what the result says."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given

from charts.made import CHARTS, benches, marks, texts
from examples import few
from linewright.present.charts.doubts import doubted, doubts_chart
from linewright.present.charts.exposure import exposure_chart
from linewright.present.charts.pull import pull_chart
from linewright.present.charts.render import to_svg
from linewright.present.charts.trust import WORDS, trust_chart
from linewright.verbs.exposure import exposure_of
from made_up_bench import made_up_bench


def _words(spec) -> str:
    return " | ".join(words for words, *_ in texts(to_svg(spec)))


def _rows(spec, style):
    return [row for mark in marks(spec) if mark["mark"]["style"] == style for row in mark["data"]["values"]]


@few(20)
@given(bench=benches())
def test_every_meter_and_band_is_told_in_words(bench):
    result, sheet = bench
    said = [row["word"] for row in _rows(trust_chart(result, sheet), "word") if row["trust"]]
    assert sorted(word.split(",")[0] for word in said) == sorted([WORDS[m.trust] for m in result.meters] * 2)


@few(20)
@given(bench=benches())
def test_every_believed_loss_lies_inside_its_drawn_interval(bench):
    result, sheet = bench
    rows = [row for row in _rows(pull_chart(result, sheet), "belief-dot") if "lane" in row]
    assert len(rows) == len(result.losses)
    assert all(row["low"] <= row["middle"] <= row["high"] for row in rows)


@few(20)
@given(bench=benches())
def test_every_doubted_reading_and_no_other_is_drawn(bench):
    result, sheet = bench
    rows = [row for row in _rows(doubts_chart(result, sheet), "doubt-cross") if "name" in row]
    assert {row["name"] for row in rows} <= {f"row {r.row}" for r in doubted(result)}
    assert len(doubted(result)) == min(40, sum(r.p_wrong >= 0.2 for r in result.readings))


def test_a_reading_of_nothing_is_written_not_placed():
    result, sheet = made_up_bench()
    wrong = replace(result.readings[1], reading=0.0, p_wrong=0.99)
    said = _words(doubts_chart(replace(result, readings=(wrong,)), sheet))
    assert "shows nothing" in said


def test_a_distance_without_a_figure_is_said_in_words_and_not_drawn():
    spec = exposure_chart(exposure_of(100.0, 2.15, [475e3, 14.2e6, 432e6]).budgets[0])
    far = {round(e.distance_m, 6) for e in exposure_of(100.0, 2.15, [432e6]).budgets[0].bands[0].exposure}
    drawn = [row for style in ("belief-dot", "alone-point") for row in _rows(spec, style) if "y_px" in row]
    assert {round(row["middle"], 6) for row in drawn} == far
    assert all(row["low"] == 0 < row["middle"] <= row["high"] for row in drawn)
    said = _words(spec)
    assert said.count("no figure") >= 6  # two bands, two groups, two standards; 475 kHz lies in both tables
    assert "near-field calculation" in said.replace(" | ", " ")
    nothing = exposure_chart(exposure_of(100.0, 2.15, [475e3]).budgets[0])
    assert not [r for style in ("belief-bar", "belief-dot", "alone-bar", "alone-point") for r in _rows(nothing, style)]
    assert "no figure" in _words(nothing)


def test_no_doubts_say_so():
    result, sheet = made_up_bench()
    calm = replace(result, readings=tuple(replace(r, p_wrong=0.0) for r in result.readings))
    assert "No reading on this sheet is doubted." in _words(doubts_chart(calm, sheet))


def test_a_meter_unused_on_a_band_leaves_its_row_and_says_so():
    result, sheet = made_up_bench(1, 3, 2)
    fewer = replace(result, meters=result.meters[1:])
    assert "not used" in _words(trust_chart(fewer, sheet))


def test_a_piece_of_unknown_type_is_drawn_against_its_estimate():
    result, sheet = made_up_bench(3, 2, 1)
    said = _words(pull_chart(result, sheet))
    assert "type unknown" in said
    assert "times what is believed" in said


@pytest.mark.parametrize("name", CHARTS)
def test_a_result_with_nothing_in_it_still_draws(name):
    result, sheet = made_up_bench()
    empty = replace(result, losses=(), pieces=(), readings=(), meters=(), predictions=())
    assert to_svg(CHARTS[name](empty, sheet)).startswith("<svg")
