"""Every field wrong in every way: whatever stands in a sheet, the answer is a sheet or a clear error, never a crash."""

from __future__ import annotations

import contextlib
import math

from hypothesis import given
from hypothesis import strategies as st

from linewright.core import quantities
from linewright.core.errors import InputError, SheetError
from linewright.files import read_bench_sheet_text
from linewright.files.own_lines import attenuation_db_per_m, impedance_ohm
from linewright.files.tables import SourceText, TomlTable

HEAD = "meter,frequency,path,reading,step,swr,low,high,note\n"
KEYS = {
    "source": ("power", "swr"),
    "reference": ("line", "length", "in_place"),
    "meter": ("name", "rated", "scale", "division", "card", "swr"),
    "piece": ("tag", "line", "length", "connectors", "stock"),
    "attenuator": ("tag", "loss", "tolerance"),
    "limits": ("home", "portable", "receive"),
    "line": ("name", "impedance", "velocity_factor", "points", "steel_centre"),
    "reading": ("meter", "frequency", "path", "reading", "step", "swr", "low", "high", "note"),
}
SINGLE = {"source", "reference", "limits"}

written = st.sampled_from([
    '"7.2 m"', '"24 ft"', '"144 MHz"', '"5 W"', '"37 dBm"', '"3.0 dB"', '"1.8 MHz to 60 MHz"', '"blue 7"', '"watts"',
    "7", "-1", "0", "1e400", "nan", "-inf", '""', '" "', '"reference"', '"a+b"', '"RG-58C/U"', '"1 dB/100m"', "true",
    "[]", "{}", '[[0, "0 W"], [10, "1 W"]]', '[["10 MHz", "1 dB/100m"], ["1 GHz", "1 dB/100m"]]', "1979-05-27",
    "99999999999999999999", '"∞ W"', '"1e999 W"', '"--3 m"', '"3 m m"', '"\\u0000"', '"é"',
])  # fmt: skip


def _quoted(text: str) -> str:
    """Return any text as a TOML string, whatever is in it."""
    return '"' + "".join(c if c.isalnum() or c == " " else f"\\U{ord(c):08x}" for c in text) + '"'


readable = st.text(st.characters(exclude_categories=["Cs"]), max_size=12)
anything = st.one_of(written, st.integers().map(str), st.floats().map(repr), readable.map(_quoted))


@st.composite
def sheets(draw: st.DrawFn) -> str:
    """Draw a sheet of known tables and keys with any values at all, a few keys of nobody's among them."""
    lines = []
    for name in draw(st.lists(st.sampled_from(sorted(KEYS)), max_size=6, unique=True)):
        lines.append(f"[{name}]" if (name in SINGLE) != draw(st.sampled_from([False] * 9 + [True])) else f"[[{name}]]")
        for key in draw(st.lists(st.sampled_from([*KEYS[name], "colour"]), max_size=8, unique=True)):
            lines.append(f"{key} = {draw(anything)}")
    return "\n".join(lines)


def _clear(error: InputError) -> None:
    """An error says what, where and by which rule."""
    for one in (error, *(error.problems if isinstance(error, SheetError) else ())):
        assert one.argument
        assert one.rule
        assert one.where.file
        assert "Traceback" not in str(one)
        assert one.to_dict()["message"] == str(one)


@given(sheets())
def test_any_sheet_is_read_or_refused_clearly(text: str) -> None:
    try:
        sheet = read_bench_sheet_text(text, {})
    except InputError as error:
        _clear(error)
    else:
        assert all(math.isfinite(p.length_m) and p.length_m > 0 for p in sheet.pieces)


@given(st.text(max_size=200))
def test_any_text_is_read_or_refused_clearly(text: str) -> None:
    try:
        read_bench_sheet_text(text, {})
    except InputError as error:
        _clear(error)


SOUND = """
[[meter]]
name = "m"
scale = "{scale}"
{card}
[[piece]]
tag = "a"
length = "7 m"
[[piece]]
tag = "b"
length = "3 m"
[readings]
file = "r.csv"
"""
cell = st.one_of(
    st.sampled_from([
        "m", "a", "b", "a+b", "a+", "+", "reference", "14 MHz", "14", "1 W", "0", "-3", "1e9", "nan", "inf", "", "#",
        '"', '""', "1,5", "1.2.3", "5 dBm", "0.5", "1_0", "٣",
    ]),
    st.text(max_size=8),
)  # fmt: skip


@given(
    st.sampled_from(["watts", "milliwatts", "dBm", "dB", "volts", "card"]),
    st.lists(st.lists(cell, max_size=10).map(",".join), max_size=8),
    st.sampled_from(
        [HEAD, "", "\n\n# x\n" + HEAD, HEAD.replace(",", ";"), "meter,path\n", HEAD.upper(), "\ufeff" + HEAD]
    ),
)
def test_any_readings_are_read_or_refused_clearly(scale: str, rows: list[str], head: str) -> None:
    card = 'card = [[0, "0 W"], [10, "1 W"]]' if scale == "card" else ""
    try:
        sheet = read_bench_sheet_text(SOUND.format(scale=scale, card=card), {"r.csv": head + "\n".join(rows)})
    except InputError as error:
        _clear(error)
    else:
        assert all(math.isfinite(r.reading) and set(r.path) <= {"a", "b"} for r in sheet.readings)


@given(
    st.one_of(
        st.text(max_size=20), st.floats(), st.integers(), st.none(), st.booleans(), st.lists(st.integers(), max_size=2)
    )
)
def test_any_quantity_is_read_or_refused_clearly(value: object) -> None:
    readers = (
        quantities.length_m, quantities.frequency_hz, quantities.power_w, quantities.ratio_db, quantities.loss_ratio_db,
        quantities.frequency_range_hz, attenuation_db_per_m, impedance_ohm,
    )  # fmt: skip
    for read in readers:
        with contextlib.suppress(InputError):
            found = read(value, "it")
            assert all(math.isfinite(f) for f in (found if isinstance(found, tuple) else (found,)))


@given(st.text(max_size=60), st.sampled_from(["meter", "a", ""]), st.integers(0, 3), st.text(max_size=5))
def test_looking_for_a_row_never_fails(text: str, table: str, index: int, key: str) -> None:
    row = SourceText("x", text).row(table, index if table else None, key)
    assert row is None or 1 <= row <= text.count("\n") + 1


def test_a_table_that_is_no_table_is_refused() -> None:
    source = SourceText("x", "")
    TomlTable(source, "source", 3).close()
    assert [e.argument for e in source.problems] == ["source"]
