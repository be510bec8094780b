"""Whatever is in a file: a sweep comes out, or an error that says what is wrong; never another exception."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from linewright.core.errors import InputError, SheetError
from linewright.files.touchstone import read_touchstone_text

FOLDER = Path(__file__).parents[1] / "data" / "touchstone" / "format"
#: The heads of real files, short enough to be changed anywhere.
LEGAL = [path.read_bytes()[:1500] for path in sorted(FOLDER.iterdir())]
LINES = [
    b"# GHz S MA R 50", b"#", b"# R", b"# Hz S RI R 0", b"[Version] 2.0", b"[Number of Ports] 2",
    b"[Number of Ports] 9",
    b"[Two-Port Data Order] 12_21", b"[Number of Frequencies] 1", b"[Reference]", b"[Reference] 50 75", b"[End]",
    b"[Matrix Format] Lower", b"[Network Data]", b"[Noise Data]", b"[Begin Information]", b"[End Information]",
    b"[Mixed-Mode Order] S1 S2", b"1 0 0", b"1 .1 .2 .3 .4 .5 .6 .7 .8", b".5 1 .2 30 .1", b"0 0 0", b"! Gamma 1 2",
    b"! Port Impedance 50 0", b"1e308 1e308 1e308", b"nan nan nan", b"# MHz Z RI R 50", b"# kHz G DB", b"-1 -1 -1",
]  # fmt: skip
names = st.sampled_from(["x.s1p", "x.s2p", "x.s3p", "x.s4p", "x.ts", "x.y2p", "x", "x.s32p", "x.s99p"])
ports = st.none() | st.integers(-1, 40)
options = st.none() | st.sampled_from(["# GHz S RI R 50", "Hz Z MA R 75", "#", "", "#\n", "# R", "# R (1+1j) DB"])


def clear(error):
    """An error says what and by which rule, in one line that any terminal can show."""
    for one in (error, *(error.problems if isinstance(error, SheetError) else ())):
        assert one.argument
        assert one.rule
        assert str(one).isprintable()
        assert len(str(one)) < 500


def answered(content, name="x.s2p", **more):
    """Read, and check what comes out."""
    try:
        sweep = read_touchstone_text(content, name, **more)
    except InputError as error:
        clear(error)
        return
    f, s = sweep.frequency_hz, sweep.s
    assert f.size > 0
    assert s.shape == (f.size, sweep.ports, sweep.ports)
    assert np.isfinite(f).all()
    assert np.isfinite(s).all()
    assert (np.diff(f) > 0).all()
    assert f[0] >= 0
    assert sweep.reference_ohm.shape == (sweep.ports,)
    assert (sweep.reference_ohm.real > 0).all()
    assert all(remark.isprintable() for remark in sweep.remarks)


@given(st.binary(max_size=300) | st.text(max_size=300), names, ports, options)
def test_any_bytes_are_answered(content, name, ports, option_line):
    answered(content, name, ports=ports, option_line=option_line)


@given(st.lists(st.sampled_from(LINES) | st.binary(max_size=20), max_size=14), names, ports, options)
def test_any_lines_are_answered(lines, name, ports, option_line):
    answered(b"\n".join(lines), name, ports=ports, option_line=option_line)


@given(st.lists(st.floats(width=32), max_size=40), st.sampled_from("SYZHG"), st.sampled_from(["RI", "MA", "DB"]), names)
def test_any_numbers_are_answered(numbers, parameter, layout, name):
    rows = "\n".join(" ".join(map(str, numbers[i : i + 9])) for i in range(0, len(numbers), 9))
    answered(f"# GHz {parameter} {layout} R 50\n{rows}", name)


@given(st.data())
def test_any_change_of_a_legal_file_is_answered(data):
    content = bytearray(data.draw(st.sampled_from(LEGAL)))
    for _ in range(data.draw(st.integers(1, 6))):
        start = data.draw(st.integers(0, len(content)))
        stop = min(len(content), start + data.draw(st.integers(0, 12)))
        put = data.draw(st.binary(max_size=6) | st.sampled_from([*LINES, b"\n", b" ", b"-", b"e999", b"!", b"#", b"["]))
        content[start:stop] = put
    answered(bytes(content), data.draw(names), option_line=data.draw(options))


@given(st.sampled_from(LEGAL), st.integers(0, 1500), names)
def test_any_file_cut_short_is_answered(content, length, name):
    answered(content[:length], name)
