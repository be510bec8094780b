"""The page on writing a sheet names the keys that a sheet may hold, all of them and no other."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

import pytest

from linewright.core.errors import InputError
from linewright.files import read_bench_sheet_text, read_lines

PAGE = (Path(__file__).parents[2] / "docs" / "how-the-bench-works.md").read_text(encoding="utf-8")
WHOLE = """
title = "All keys"
lines = "own.toml"
frequencies = ["14.2 MHz", "144 MHz"]
joined = ["blue 7+pad"]
[source]
power = "10 W"
swr = 1.3
[reference]
line = "RG-58C/U"
length = "0.9 m"
in_place = "stays"
[[meter]]
name = "card meter"
rated = "100 MHz to 470 MHz"
scale = "card"
division = 1
card = [[0, "0 W"], [50, "3.2 W"], [100, "12.8 W"]]
swr = 1.2
[[piece]]
tag = "blue 7"
line = "RG-58C/U"
length = "7.2 m"
connectors = 2
stock = "blue drum"
[[attenuator]]
tag = "pad"
loss = "3.0 dB"
tolerance = "0.1 dB"
[limits]
home = "1 dB"
portable = "3 dB"
receive = "6 dB"
[readings]
file = "all.csv"
[one_end]
file = "mast.csv"
[analyser]
directivity = "30 dB"
swr = 1.1
[[line]]
name = "club drum"
points = [["10 MHz", "1.5 dB/100m"]]
"""
READINGS = """meter,frequency,path,reading,step,swr,low,high,note
card meter,144 MHz,reference,90,1,1.1,89,91,a note
card meter,144 MHz,blue 7+pad,40,2,,,,
"""


OWN = '[[line]]\nname = "other drum"\npoints = [["10 MHz", "1.5 dB/100m"], ["100 MHz", "5.1 dB/100m"]]\n'
MAST = """piece,frequency,far_end,swr,return_loss,resistance,direct,step,note
blue 7,144 MHz,open,9.1,,,,0.1,
blue 7,144 MHz,load:3,,8.2 dB,,6.2 dB,,a note
"""
FILES = {"all.csv": READINGS, "own.toml": OWN, "mast.csv": MAST}


def documented() -> set[str]:
    """Return the keys of the page's table, as "table.key"."""
    found = set()
    for cell in re.findall(r"^\| (`.*?) \|", PAGE, re.MULTILINE):
        keys = re.findall(r"`([^`]+)`", cell)
        table = re.match(r"\[+(\w+)\]+", keys[0])
        names = [re.sub(r"\[+\w+\]+ ?", "", key) for key in keys]
        found |= {f"{table[1]}.{name}" if table and name else table[1] if table else name for name in names}
    return found


def used() -> set[str]:
    """Return the keys of the sheet above, as "table.key"."""
    found = set()
    for key, value in tomllib.loads(WHOLE).items():
        inner = value[0] if isinstance(value, list) else value
        whole = not isinstance(inner, dict) or key == "line"
        found |= {key} if whole else {f"{key}.{name}" for name in inner}
    return found


def test_the_page_names_every_key_of_a_whole_sheet_and_no_other():
    assert documented() == used()


def test_a_sheet_with_every_key_is_read():
    sheet = read_bench_sheet_text(WHOLE, FILES)
    assert sheet.readings[1].path == ("blue 7", "pad")
    assert [r.far_end for r in sheet.one_end[0].readings] == ["open", "load"]
    assert (sheet.readings[0].low, sheet.readings[0].high, sheet.readings[0].note) == (89, 91, "a note")


@pytest.mark.parametrize("key", ["colour", "title2"])
def test_a_key_that_is_not_on_the_page_is_refused(key):
    with pytest.raises(InputError, match=key):
        read_bench_sheet_text(f'{key} = "x"\n{WHOLE}', FILES)


def test_the_example_of_an_own_line_type_is_read(tmp_path):
    example = re.search(r"```toml\n(\[\[line\]\].*?)```", PAGE, re.DOTALL)[1]
    (tmp_path / "own.toml").write_text(example, encoding="utf-8")
    (line,) = read_lines(tmp_path / "own.toml")
    assert line.designator == "club drum"
    assert line.law.db_per_m(100e6) == pytest.approx(0.051, rel=0.05)
