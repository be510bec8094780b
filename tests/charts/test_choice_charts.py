"""Charts of choosing and sharing: drawn whole, inside their frame, and never told by colour alone."""

from __future__ import annotations

from dataclasses import replace
from importlib import resources

import pytest
from click.testing import CliRunner

from charts.made import drawn, marks, size, texts
from charts.made_choice import made_choice, made_lengths, made_shared
from linewright.cli.share import share
from linewright.present.charts.assignment import assignment_chart
from linewright.present.charts.longest_run import longest_run_chart
from linewright.present.charts.render import to_svg
from linewright.present.charts.trade_off import trade_off_chart

SIGNS = set("–−√·…▲◄►")


def _assigned(shared, **look):
    return assignment_chart(shared, made_lengths(shared), **look)


#: The plain ones first: test_all_charts holds those in their frames.
CASES = {
    "shared": (_assigned, made_shared()),
    "trade-off": (trade_off_chart, made_choice()),
    "longest": (longest_run_chart, made_choice()),
    "shared by twenty": (_assigned, made_shared(20, long_names=True, gap_db=1.7)),
    "shared, lengths unknown": (assignment_chart, made_shared()),
    "nothing shared": (_assigned, made_shared(0)),
    "trade-off of many": (trade_off_chart, made_choice(12, long_names=True)),
    "trade-off of one, reception unknown": (trade_off_chart, made_choice(1, reception=False)),
    "no trade-off": (trade_off_chart, made_choice(0)),
    "longest of many": (longest_run_chart, made_choice(lines=7, long_names=True)),
    "longest on one band": (longest_run_chart, made_choice(bands=1, lines=1)),
    "no longest": (longest_run_chart, made_choice(lines=0)),
}


@pytest.mark.parametrize("case", [*CASES][3:])
def test_at_its_extremes_a_chart_stays_in_a_narrow_frame_and_in_its_font(case):
    chart, noun = CASES[case]
    svg = to_svg(chart(noun, width_px=360))
    wide, high = size(svg)
    assert wide <= 366
    said = texts(svg)
    assert said
    assert not [row for row in said if row[1] < -2 or row[2] > wide + 2 or not 0 <= row[3] <= high]
    assert not {c for line, *_ in said for c in line if ord(c) > 255} - SIGNS


@pytest.mark.parametrize("case", CASES)
def test_every_row_handed_to_the_converter_is_drawn(case):
    chart, noun = CASES[case]
    spec = chart(noun)
    svg = to_svg(spec)
    for mark, kind in (("point", "symbol"), ("rule", "rule"), ("rect", "rect"), ("text", "text")):
        rows = sum(len(view["data"]["values"]) for view in marks(spec) if view["mark"]["type"] == mark)
        assert drawn(svg, kind) == rows


def _rows(spec, style, mark):
    return [row for m in marks(spec) if (m["mark"]["style"], m["mark"]["type"]) == (style, mark)
            for row in m["data"]["values"]]  # fmt: skip


def test_bars_end_where_the_pieces_do():
    shared = made_shared()
    bars = [row for row in _rows(_assigned(shared), "alone-bar", "rect") if "from_m" in row]
    for fed in shared.fed:
        mine = [bar for bar in bars if bar["name"] in fed.pieces]
        bought = fed.bought.length_m if fed.bought else 0.0
        reach = sum(bar["to_m"] - bar["from_m"] for bar in mine) + bought
        assert reach == pytest.approx(fed.route_m + fed.spare_m - fed.short_m)
    (buy,) = [row for row in _rows(_assigned(shared), "spec-line", "rect") if "from_m" in row]
    assert buy["to_m"] - buy["from_m"] == pytest.approx(17.0)


def test_pieces_of_unknown_length_are_one_bar_that_names_both():
    bars = [row for row in _rows(assignment_chart(made_shared()), "alone-bar", "rect") if "from_m" in row]
    assert "grey 1 + short tail 1" in [bar["name"] for bar in bars]


def test_what_is_missing_or_cut_short_stands_in_words_even_on_a_narrow_page():
    said = [line for line, *_ in texts(to_svg(_assigned(made_shared(), width_px=360)))]
    assert "run 4, 34.5 m; short by 9 m" in said
    assert any("short tail 1" in line for line in said)
    assert "not fed" in said


def test_the_gap_and_what_is_left_are_said():
    said = " ".join(line for line, *_ in texts(to_svg(_assigned(made_shared(gap_db=1.7)))))
    assert "at most 1.70 dB from the best" in said
    assert "stub, tv drop" in said


def test_choices_that_break_a_limit_are_crossed_out_and_the_cheapest_is_named():
    choice = made_choice()
    spec = trade_off_chart(choice)
    crossed = {row["name"] for row in _rows(spec, "none-mark", "point") if "name" in row}
    assert crossed == {o.name for o in choice.trade_off if not o.meets}
    said = [row["said"] for row in _rows(spec, "small", "text") if row.get("name") == choice.cheapest.name]
    assert said[0].endswith("cheapest that meets")


@pytest.mark.parametrize("width_px", [340, 760])
@pytest.mark.parametrize("options", [1, 6, 16, 40])
def test_no_number_lies_on_another_and_none_is_missing(options, width_px):
    choice = made_choice(options)
    close = replace(choice, trade_off=tuple(replace(o, price=40 + 3.0 * i) for i, o in enumerate(choice.trade_off)))
    for one in (choice, close):
        spec = trade_off_chart(one, width_px=width_px)
        bare = {**spec, "config": spec["config"] | {"axis": spec["config"]["axis"] | {"labels": False}}}
        svg = to_svg(bare)
        (numbers,) = [m["data"]["values"] for m in marks(spec) if m["mark"].get("fontWeight") == "bold"]
        said = [row["number"] for row in numbers]
        covered = [n for text in said for first, *last in [text.split("–")]
                   for n in range(int(first), int((last or [first])[0]) + 1)]  # fmt: skip
        assert covered == list(range(1, options + 1))
        boxes = [row for row in texts(svg) if row[0] in said][: len(said)]
        assert len(boxes) == len(said)
        for i, a in enumerate(boxes):
            for b in boxes[:i]:
                assert a[1] >= b[2] or b[1] >= a[2] or abs(a[3] - b[3]) > 11, (a, b)


def test_the_list_names_every_choice_whole_on_a_narrow_page():
    choice = made_choice(16)
    spec = trade_off_chart(choice, width_px=340)
    for o in choice.trade_off:
        lines = [row["line"] for row in _rows(spec, "word", "text") if row.get("name") == o.name and "line" in row]
        assert " ".join(lines) == o.name


def test_a_line_too_short_for_the_run_is_crossed_out():
    choice = made_choice(lines=2)
    crossed = [row for row in _rows(longest_run_chart(choice), "none-mark", "point") if "middle" in row]
    assert len(crossed) == sum(x.length_m < choice.length_m for x in choice.longest)
    only = longest_run_chart(choice, ["RG-8X"])
    assert [panel["title"]["text"] for panel in only["vconcat"][1]["concat"]] == [["RG-8X"]]


def test_the_command_draws_its_plan(tmp_path):
    written = tmp_path / "plan.svg"
    with resources.as_file(resources.files("linewright.verbs") / "demo_data") as demo:
        said = CliRunner().invoke(share, [str(demo / "harbour-ridge-field-day.toml"), "--chart", str(written)])
    assert said.exit_code == 0
    plan = [line for line, *_ in texts(written.read_text(encoding="utf-8"))]
    assert "Who gets which piece" in plan
    assert "grey 12" in plan
