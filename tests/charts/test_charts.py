"""Every chart, of any bench: drawn whole, inside its frame, and never told by colour alone."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from charts.made import CHARTS, WIDTHS, benches, drawn, marks, size, texts
from examples import few
from linewright.core.errors import InputError
from linewright.present.charts.render import render, to_svg
from linewright.present.charts.theme import DARK, LIGHT, config
from made_up_bench import made_up_bench

rarely = few(6)


@pytest.mark.parametrize("name", CHARTS)
@rarely
@given(bench=benches(), width_px=st.sampled_from(WIDTHS))
def test_no_text_leaves_the_frame_and_the_figure_keeps_its_width(name, bench, width_px):
    svg = to_svg(CHARTS[name](*bench, width_px=width_px))
    wide, high = size(svg)
    assert wide <= width_px + 6
    said = texts(svg)
    assert said
    outside = [row for row in said if row[1] < -2 or row[2] > wide + 2 or not 0 <= row[3] <= high]
    assert not outside


@pytest.mark.parametrize("name", CHARTS)
@rarely
@given(bench=benches())
def test_a_specification_is_plain_data_and_the_same_every_time(name, bench):
    first, second = CHARTS[name](*bench), CHARTS[name](*bench)
    assert json.loads(json.dumps(first, allow_nan=False)) == second


@pytest.mark.parametrize("name", CHARTS)
@rarely
@given(bench=benches())
def test_every_row_handed_to_the_converter_is_drawn(name, bench):
    """A slip in a specification is not refused by the converter: it drops the mark without a word."""
    spec = CHARTS[name](*bench)
    svg = to_svg(spec)
    for mark, kind in (("point", "symbol"), ("rule", "rule"), ("text", "text")):
        rows = sum(len(view["data"]["values"]) for view in marks(spec) if view["mark"]["type"] == mark)
        assert drawn(svg, kind) == rows


def test_the_same_chart_is_the_same_text_whatever_was_drawn_before():
    spec = CHARTS["loss"](*made_up_bench())
    assert to_svg(spec) == to_svg(spec)


#: Signs beyond Latin-1 that the font carried by the converter has: any other would turn a whole line to another face.
SIGNS = set("–−√·…▲◄►")


@pytest.mark.parametrize("name", CHARTS)
def test_every_letter_drawn_is_one_the_font_has(name):
    result, sheet = made_up_bench(meters=4)
    nothing = [replace(r, reading=0.0, p_wrong=0.9) if r.path != "reference" else r for r in result.readings]
    far = [replace(x, by_hand=tuple(replace(h, loss_db=90.0) for h in x.by_hand)) for x in result.losses]
    drawn = to_svg(CHARTS[name](replace(result, readings=tuple(nothing), losses=tuple(far)), sheet))
    strange = {c for words, *_ in texts(drawn) for c in words if ord(c) > 255} - SIGNS
    assert not strange


@pytest.mark.parametrize("name", CHARTS)
def test_every_mark_names_a_style_that_the_look_defines_and_no_colour(name):
    styles = config()["style"]
    for mark in marks(CHARTS[name](*made_up_bench())):
        assert mark["mark"]["style"] in styles
        assert not {"color", "fill", "stroke"} & (set(mark["mark"]) | set(mark["encoding"]))


def _drawn_as(style: dict) -> tuple:
    """Return all that is left of a style in black-and-white print."""
    inks = ("color", "stroke", "fill")
    left = {k: v for k, v in style.items() if k not in inks}
    return tuple(sorted((k, str(v)) for k, v in left.items()))


def test_marks_that_mean_different_things_differ_without_their_colour():
    styles = config()["style"]
    points = (
        "belief-dot",
        "belief-mark",
        "hand-point",
        "doubt-point",
        "doubt-cross",
        "spec-point",
        "alone-point",
        "tick",
    )
    assert len({_drawn_as(styles[name]) for name in points}) == len(points)
    lines = ("belief-line", "spec-line", "spec-edge", "limit-rule", "spec-bar", "unknown-bar")
    assert len({_drawn_as(styles[name]) for name in lines}) == len(lines)


def _luminance(ink: str) -> float:
    """Return relative luminance (WCAG 2.2, definition of relative luminance)."""
    parts = [int(ink[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    red, green, blue = (c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


@pytest.mark.parametrize("palette", [LIGHT, DARK], ids=["light", "dark"])
@pytest.mark.parametrize("ink", ["ink", "quiet", "teal", "ochre", "brick"])
def test_every_ink_that_writes_words_stands_out_from_the_paper(palette, ink):
    """WCAG 2.2, success criterion 1.4.3: at least 4.5 to 1 for text."""
    light, dark = sorted((_luminance(palette.paper), _luminance(getattr(palette, ink))), reverse=True)
    assert (light + 0.05) / (dark + 0.05) >= 4.5


@pytest.mark.parametrize(
    ("form", "head"), [("svg", b"<svg"), (".png", b"\x89PNG"), ("a.pdf", b"%PDF"), ("vl.json", b"{")]
)
def test_every_form_is_drawn(form, head):
    spec = CHARTS["trust"](*made_up_bench(1, 2, 1))
    assert render(spec, form).startswith(head)


@pytest.mark.parametrize("form", ["gif", "chart", ""])
def test_an_unknown_form_is_refused_by_name(form):
    with pytest.raises(InputError, match=r"must end in \.svg, \.png, \.pdf or \.vl\.json"):
        render({}, form)
