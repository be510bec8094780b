"""Every chart there is: inside its frame, in the manner asked for, legible without colour, its names literal."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from functools import cache
from itertools import combinations

import pytest

from charts.made import CHARTS, marks, size, texts
from charts.made_all import RUNGS, made_history, makers
from charts.made_choice import made_choice
from linewright.core.errors import CannotError
from linewright.core.locale import Manner
from linewright.present.charts.ladder import ladder_chart
from linewright.present.charts.piece import years_chart
from linewright.present.charts.render import render, to_svg
from linewright.present.charts.theme import DARK, config
from linewright.present.charts.trade_off import trade_off_chart
from made_up_bench import made_up_bench
from wordless import Wordless

NAMES = list(makers())
NAMED = ("profile", "antenna", "trade-off", "flow", "reception", "exposure", "ladder", "years")
PLAIN, FEET = Manner(), Manner(decimal=",", lengths="ft")
HOSTILE = {
    "markup": ' <script>alert(1)</script> & "*bold*" {{7*7}} ${x} \\u0041',
    "right to left": " כבל ארוך وصلة",
    "emoji": " \N{RADIO}\N{VARIATION SELECTOR-16} \N{SATELLITE ANTENNA}",
    "long": " of the long grey cable with the green end from the old mast" * 4,
    "braces": " {name} {0} %(x)s datum.value",
}


@pytest.fixture(scope="module", params=NAMES)
def made(request):
    return makers()[request.param]


@pytest.fixture(scope="module")
def drawn(made):
    """Return what draws the chart, each width and manner once."""
    return cache(lambda width_px, manner=PLAIN: to_svg(made(width_px=width_px, manner=manner)))


@pytest.mark.parametrize("width_px", [360, 660])
@pytest.mark.parametrize("manner", [PLAIN, FEET], ids=["metres", "feet"])
def test_no_text_leaves_the_frame(drawn, width_px, manner):
    svg = drawn(width_px, manner)
    wide, high = size(svg)
    assert wide <= width_px + 6
    said = texts(svg)
    assert said
    assert not [row for row in said if row[1] < -2 or row[2] > wide + 2 or not 0 <= row[3] <= high]


@pytest.mark.parametrize("width_px", [360, 660])
def test_no_two_texts_lie_on_each_other(drawn, width_px):
    said = texts(drawn(width_px))
    for (one, left, right, y), (other, left2, right2, y2) in combinations(said, 2):
        apart = abs(y - y2) > 6 or right <= left2 + 6 or right2 <= left + 6
        assert apart, f"{one!r} lies on {other!r}"


@pytest.mark.parametrize("kind", HOSTILE)
@pytest.mark.parametrize(
    "name", ["profile", "antenna", "trade-off", "flow", "reception", "exposure", "ladder", "years"]
)
def test_a_name_is_drawn_as_it_is_written(name, kind):
    svg = to_svg(makers(HOSTILE[kind])[name](width_px=360))
    wide, _ = size(svg)
    assert wide <= 366
    assert "<script" not in svg
    said = "".join(words for words, *_ in texts(svg)).replace(" ", "")
    assert HOSTILE[kind].strip()[:12].replace(" ", "") in said


def _drawn_with(chart, name):
    """Return a chart of something of this name, drawn."""
    if chart in CHARTS:
        return to_svg(CHARTS[chart](*made_up_bench(3, 4, 2, name=name)))
    others = {
        "years": lambda: years_chart(made_history(tag=name)),
        "ladder": lambda: ladder_chart(name, RUNGS, 144.3e6),
        "trade-off": lambda: trade_off_chart(replace(made_choice(), run=name, currency=name)),
    }
    return to_svg(others[chart]())


@pytest.mark.parametrize(
    "name",
    [
        "constructor",
        "__proto__",
        *(pytest.param(n, marks=pytest.mark.slow) for n in ("toString", "valueOf", "hasOwnProperty")),
    ],
)
@pytest.mark.parametrize("chart", [*CHARTS, "years", "ladder", "trade-off"])
def test_a_name_that_scripts_know_is_a_name_like_any_other(chart, name, capfd):
    ordinary = "coaxialwithoutend"[: len(name)]
    svg, like = _drawn_with(chart, name), _drawn_with(chart, ordinary)
    assert capfd.readouterr().err == ""
    assert [svg.count(f"<{kind} ") for kind in ("path", "g", "text")] == [
        like.count(f"<{kind} ") for kind in ("path", "g", "text")
    ]
    said = [words.strip() for words, *_ in texts(svg)]
    assert sum(name in words for words in said) == sum(ordinary in words for words, *_ in texts(like)) > 0


def _texts_of(part):
    """Yield every text a person reads, in a specification."""
    if isinstance(part, list):
        for inner in part:
            yield from _texts_of(inner)
    if not isinstance(part, dict):
        return
    if isinstance(part.get("mark"), dict) and part["mark"]["type"] == "text":
        field = part["encoding"]["text"]["field"]
        yield from (row[field] for row in part["data"]["values"])
    for name, inner in part.items():
        if name in ("title", "text", "subtitle", "description"):
            lines = inner if isinstance(inner, list) else [inner]
            yield from ([" ".join(lines)] if all(isinstance(line, str) for line in lines) else [])
        if name == "labelExpr":
            yield from re.findall(r"'[^']*'|\"[^\"]*\"", inner)
        if name != "data":
            yield from _texts_of(inner)


KNOWN = re.compile(
    r"RG-\w+/\w+|RG-8X|UHF|\d+ mm foam|[\d/]+ inch corrugated|blue \d|grey \d|short tail \d|old \d|long \d|run \d|drum"
    r"|beam|desk meter|pocket meter|card meter|multiband wire|portable mast|mast|vhf|EUR|ICNIRP|CFR|MHz|kHz|dBm?|[mW]\b"
    r"|ohm|shack jumper|pairs? of \w+ connectors|surge arrestor|choke balun|balanced tuner|windowed line|a sweep"
    r"|(spring|autumn) at the bench|stub|tv drop|p ="
)


def test_every_word_is_a_message_but_names_and_units(made):
    spec = made(width_px=2000, manner=Wordless())
    found = [text for text in _texts_of(spec) if text]
    assert any("⟦" in text for text in found)
    for text in found:
        assert not re.search(r"[^\W\d_]{2,}", KNOWN.sub("", text)), text


def test_a_decimal_comma_stands_in_every_figure(drawn):
    said = " ".join(words for words, *_ in texts(drawn(660, FEET)))
    assert not re.search(r"\d\.\d", said.replace("1.1310", ""))


def test_feet_stand_wherever_metres_do(drawn):
    plain = " ".join(words for words, *_ in texts(drawn(660)))
    feet = " ".join(words for words, *_ in texts(drawn(660, FEET)))
    assert not re.search(r"\d m\b(?! foam)", feet)
    assert bool(re.search(r"\d m\b", plain)) == bool(re.search(r"\d ft\b", feet))


GUIDES = {"hair", "base", "tick", "joint", "rated", "belief-mark"}
"""What only guides the eye, and a stroke that goes with the line it stands on."""


def _look(style):
    """Return what is left of a style in black-and-white print; strokes alike to the eye are alike."""
    width = round(2 * style.get("strokeWidth", 0)) / 2
    kept = ("strokeDash", "filled", "shape", "fillOpacity", "fontStyle", "fontWeight")
    return (width, *(str(style.get(name)) for name in kept))


def test_marks_of_a_chart_differ_without_their_colour(made):
    styles, found = config()["style"], {}
    everything = marks(made())
    stems = {m["mark"]["style"].split("-")[0] for m in everything if m["mark"]["type"] == "point"}
    for m in everything:
        kind, name = m["mark"]["type"], m["mark"]["style"]
        carried = kind == "rule" and name.split("-")[0] in stems
        if kind in ("point", "area", "line", "rule") and not carried and name not in GUIDES:
            found.setdefault(kind, {})[name] = _look(styles[name] | m["mark"])
    for looks in found.values():
        assert len(set(looks.values())) == len(looks), looks


def test_a_specification_is_plain_data_and_the_same_every_time(made):
    first = made(manner=FEET)
    assert json.loads(json.dumps(first, allow_nan=False)) == first == made(manner=FEET)


def test_a_chart_names_styles_and_leaves_the_colours_to_the_palette(made):
    light, dark = made(), made(palette=DARK)
    assert {**light, "config": dark["config"]} == dark
    for mark in marks(light):
        assert mark["mark"]["style"] in config()["style"]
        assert not {"color", "fill", "stroke"} & (set(mark["mark"]) | set(mark["encoding"]))


def test_the_manner_of_one_chart_does_not_stay_for_the_next(made):
    before = made()
    made(manner=FEET)
    assert made() == before


def test_it_compiles_without_a_warning(made, capfd):
    import vl_convert

    vl_convert.vegalite_to_vega(made(), vl_version="6.4", show_warnings=True)
    said = capfd.readouterr()
    assert "WARN" not in said.err + said.out


class Wordy(Manner):
    """A language that takes half as much room again."""

    def message(self, pattern: str, many: str | None = None, count: int = 1) -> str:
        text = pattern if many is None or count == 1 else many
        return text + "".join(" nn" for _ in range(len(text) // 6))


@pytest.mark.parametrize("width_px", [360, 660])
def test_a_language_of_long_words_stays_in_the_frame(made, width_px):
    svg = to_svg(made(width_px=width_px, manner=Wordy()))
    wide, high = size(svg)
    assert wide <= width_px + 6
    assert not [row for row in texts(svg) if row[1] < -2 or row[2] > wide + 2 or not 0 <= row[3] <= high]


@pytest.mark.parametrize("form", ["svg", "png", "pdf"])
@pytest.mark.parametrize("broken", ["datum.a.b.c", "nosuch(1)"])
def test_a_chart_that_could_not_be_drawn_is_an_error(form, broken):
    spec = ladder_chart("blue 7", RUNGS, 144.3e6)
    assert render(spec, form)
    last = list(marks(spec))[-1]
    last["transform"] = [*last.get("transform", ()), {"calculate": broken, "as": "q"}]
    with pytest.raises(CannotError, match="could not be drawn"):
        render(spec, form)
