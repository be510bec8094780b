"""Bench sheets: what the contract allows is read as meant, and what is wrong is named with its row and its cure."""

from __future__ import annotations

from pathlib import Path

import pytest

from linewright.core.errors import InputError, SheetError, UnitError, UnknownNameError
from linewright.core.nouns.bench import BenchSheet
from linewright.files import read_bench_sheet, read_bench_sheet_text

CONTRACT = """\
title = "Spring check"
[source]
power = "10 W"
swr = 1.3
[reference]
line = "RG-58C/U"
length = "0.9 m"
in_place = "replaced"
[[meter]]
name = "desk meter"
rated = "1.8 MHz to 60 MHz"
scale = "watts"
division = "0.2 W"
[[meter]]
name = "card meter"
rated = "100 MHz to 470 MHz"
scale = "card"
card = [[0, "0 W"], [25, "0.8 W"], [50, "3.2 W"], [80, "8 W"], [100, "12.5 W"]]
division = 1
[[piece]]
tag = "blue 7"
line = "RG-58C/U"
length = "7.2 m"
connectors = 2
stock = "blue drum"
[[piece]]
tag = "blue 18"
length = "24 ft"
[[attenuator]]
tag = "pad"
loss = "3.0 dB"
[readings]
file = "spring.csv"
"""
READINGS = """\
meter,frequency,path,reading,step,swr,low,high,note
desk meter,14.2 MHz,reference,9.8,,,,,
desk meter,14.2 MHz,blue 7,8.6,,1.2,,,
card meter,144 MHz,blue 7+blue 18,40,,,39,41,"needle, shaky"
desk meter,14.2 MHz,pad,4.9,7,,,,
"""


def _read(sheet: str = CONTRACT, readings: str = READINGS) -> BenchSheet:
    return read_bench_sheet_text(sheet, {"spring.csv": readings})


def _problems(sheet: str = CONTRACT, readings: str = READINGS) -> list[InputError]:
    with pytest.raises(InputError) as caught:
        _read(sheet, readings)
    error = caught.value
    return list(error.problems) if isinstance(error, SheetError) and error.problems else [error]


def test_the_sheet_of_the_contract_is_read_as_meant() -> None:
    sheet = _read()
    assert sheet.title == "Spring check"
    assert (sheet.source.power_w, sheet.source.swr) == (10.0, 1.3)
    assert sheet.reference.line is not None
    assert (sheet.reference.line.designator, sheet.reference.length_m) == ("RG-58C/U", 0.9)
    desk, card = sheet.meters
    assert (desk.scale, desk.division, desk.rated_hz) == ("watts", 0.2, (1.8e6, 60e6))
    assert card.card == ((0.0, 0.0), (25.0, 0.8), (50.0, 3.2), (80.0, 8.0), (100.0, 12.5))
    assert card.division == 1.0
    blue, unknown = sheet.pieces
    assert (blue.length_m, blue.connectors, blue.stock) == (7.2, 2, "blue drum")
    assert unknown.line is None
    assert unknown.length_m == pytest.approx(24 * 0.3048)
    assert (sheet.attenuators[0].tag, sheet.attenuators[0].loss_db) == ("pad", 3.0)
    first, second, joined, pad = sheet.readings
    assert (first.row, first.path, first.reading, first.frequency_hz) == (2, (), 9.8, 14.2e6)
    assert second.swr == 1.2
    assert (joined.path, joined.low, joined.high, joined.note) == (("blue 7", "blue 18"), 39.0, 41.0, "needle, shaky")
    assert (pad.step, pad.path) == (7.0, ("pad",))


def test_limits_and_own_lines_may_stand_in_the_sheet() -> None:
    own = """
[limits]
home = "1.5 dB"
receive = "4 dB"
[[line]]
name = "club drum"
impedance = "50 ohm"
velocity_factor = 0.8
points = [["10 MHz", "1.5 dB/100m"], ["100 MHz", "1.554 dB/100ft"], ["1 GHz", "0.18 dB/m"]]
[[piece]]
tag = "new"
line = "club drum"
length = "10 m"
"""
    sheet = _read(CONTRACT + own)
    assert (sheet.limits.home_db, sheet.limits.portable_db, sheet.limits.receive_db) == (1.5, 3.0, 4.0)
    line = sheet.pieces[-1].line
    assert line is not None
    assert [round(p.attenuation_db_per_m, 3) for p in line.points] == [0.015, 0.051, 0.18]


def test_readings_may_stand_in_the_sheet_itself() -> None:
    inline = CONTRACT.replace('[readings]\nfile = "spring.csv"\n', "") + (
        '[[reading]]\nmeter = "desk meter"\nfrequency = "14.2 MHz"\npath = "reference"\nreading = 9.8\n'
    )
    sheet = _read(inline)
    assert [(r.meter, r.reading) for r in sheet.readings] == [("desk meter", 9.8)]
    assert inline.splitlines()[sheet.readings[0].row - 1] == "[[reading]]"


@pytest.mark.parametrize(
    "text",
    [
        READINGS.replace("\n", "\r\n"),
        "\ufeff" + READINGS,
        READINGS.replace(",", ";").replace('"needle; shaky"', '"needle, shaky"').replace("9.8", "9,8"),
        READINGS.replace(",", "\t").replace('"needle\t shaky"', "needle, shaky"),
        "# taken in May\n\n" + READINGS + "\n\n# done\n",
        READINGS.replace("meter,frequency,path", " Meter , FREQUENCY,Path"),
        READINGS.replace("9.8", '"9,8"').replace("8.6", "8.6 W"),
    ],
    ids=["windows", "mark", "semicolons", "tabs", "comments", "headings", "units"],
)  # fmt: skip
def test_readings_are_read_however_a_spreadsheet_writes_them(text: str, tmp_path: Path) -> None:
    (tmp_path / "spring.csv").write_text(text, encoding="utf-8", newline="")
    (tmp_path / "spring.toml").write_text(CONTRACT, encoding="utf-8")
    found, plain = read_bench_sheet(tmp_path / "spring.toml"), _read()
    assert [(r.path, r.reading, r.low, r.note) for r in found.readings] == [
        (r.path, r.reading, r.low, r.note) for r in plain.readings
    ]


def test_old_western_letters_are_read(tmp_path: Path) -> None:
    sheet = CONTRACT.replace("blue 7", "grün 7").encode("cp1252")
    (tmp_path / "spring.csv").write_bytes(READINGS.replace("blue 7", "grün 7").encode("cp1252"))
    (tmp_path / "spring.toml").write_bytes(sheet)
    assert read_bench_sheet(tmp_path / "spring.toml").pieces[0].tag == "grün 7"


def test_a_row_number_is_the_line_an_editor_shows() -> None:
    bad = "# note\n\n" + READINGS.replace("9.8", "much")
    (error,) = _problems(readings=bad)
    assert (error.where.file, error.where.row) == ("spring.csv", 4)
    assert bad.splitlines()[3].startswith("desk meter,14.2 MHz,reference,much")


def test_every_bad_row_is_named_at_once() -> None:
    bad = READINGS.replace("9.8", "-9.8").replace("card meter,144 MHz", "card metre,144 MHz").replace("pad", "blue 8")
    found = _problems(readings=bad)
    assert [e.where.row for e in found] == [2, 4, 5]
    assert "card meter" in found[1].cure
    assert "blue 7" in found[2].cure or "blue 18" in found[2].cure


BAD_KEYS = [
    ('power = "10 W"', "power = 10", UnitError, "source power", 3),
    ("swr = 1.3", "swr = 0.8", InputError, "source swr", 4),
    ('line = "RG-58C/U"\nlength = "0.9 m"', 'line = "RG-85"\nlength = "0.9 m"', UnknownNameError, "reference line", 6),
    ('length = "0.9 m"', "length = 0.9", UnitError, "reference length", 7),
    ('in_place = "replaced"', 'in_place = "replace"', InputError, "reference in_place", 8),
    ('rated = "1.8 MHz to 60 MHz"', 'rated = "60 MHz to 1.8 MHz"', InputError, "meter 1 rated", 11),
    ('scale = "watts"', 'scale = "watt"', InputError, "meter 1 scale", 12),
    ('division = "0.2 W"', "division = 0.2", UnitError, "meter 1 division", 13),
    ('[50, "3.2 W"]', '[50, "0.2 W"]', InputError, "meter 2 card", 18),
    ('[0, "0 W"], [25', "[0, 0], [25", UnitError, "meter 2 card", 18),
    ("division = 1\n", 'division = "1 W"\n', InputError, "meter 2 division", 19),
    ('length = "7.2 m"', 'length = "7.2 MHz"', UnitError, "piece 1 length", 23),
    ("connectors = 2", "connectors = -2", InputError, "piece 1 connectors", 24),
    ('tag = "blue 18"', 'tag = "blue+18"', InputError, "piece 2 tag", 27),
    ('loss = "3.0 dB"', 'loss = "-3.0 dB"', InputError, "attenuator 1 loss", 31),
    ("stock =", "drum =", InputError, "piece 1: drum", 25),
    ("[source]", "[sauce]", InputError, "sauce", 2),
]


@pytest.mark.parametrize(("good", "bad", "kind", "argument", "row"), BAD_KEYS, ids=[b[3] for b in BAD_KEYS])
def test_a_wrong_key_is_named_with_its_row_and_nothing_else_is(
    good: str, bad: str, kind: type[InputError], argument: str, row: int
) -> None:
    assert good in CONTRACT
    error, *rest = _problems(CONTRACT.replace(good, bad, 1))
    assert not rest or "tag" in argument  # a reading of the old tag is a problem too
    assert argument in error.argument
    assert isinstance(error, kind)
    assert error.where.file == "sheet"
    assert error.where.row == row


def test_near_misses_name_what_was_meant() -> None:
    assert "RG-58" in _problems(CONTRACT.replace('"RG-58C/U"\nlength = "7.2', '"RG-58X/U"\nlength = "7.2'))[0].cure
    assert "stock" in _problems(CONTRACT.replace("stock =", "stok ="))[0].cure
    assert "replaced" in _problems(CONTRACT.replace('"replaced"', '"replace"'))[0].cure
    assert "frequency" in _problems(readings=READINGS.replace("frequency", "frequencies"))[0].cure


def test_names_that_stand_twice_are_refused() -> None:
    assert "stands twice" in str(_problems(CONTRACT.replace('"card meter"', '"desk meter"'))[0])
    assert "stands twice" in str(_problems(CONTRACT.replace('"blue 18"', '"blue 7"'))[0])
    assert "piece's tag" in str(_problems(CONTRACT.replace('tag = "pad"', 'tag = "blue 7"'))[0])


def test_what_is_no_toml_is_named_with_its_row() -> None:
    (error,) = _problems('title = "x"\n[[meter]\n')
    assert error.where.row == 2


def test_files_that_are_not_there_are_named(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="can be read"):
        read_bench_sheet(tmp_path / "none.toml")
    (tmp_path / "spring.toml").write_text(CONTRACT)
    with pytest.raises(InputError) as caught:
        read_bench_sheet(tmp_path / "spring.toml")
    assert caught.value.where.file == str(tmp_path / "spring.csv")
    with pytest.raises(InputError):
        read_bench_sheet(tmp_path)


@pytest.mark.parametrize(
    ("cells", "rule"),
    [
        ("desk meter,14.2,reference,9.8", "needs a unit"),
        ("desk meter,14.2 GHz,reference,9.8", ""),
        ("desk meter,142 GHz,reference,9.8", "between 10 kHz and 100 GHz"),
        ("desk meter,14.2 MHz,,9.8", "is missing"),
        ("desk meter,14.2 MHz,blue 7+blue 7,9.8", "twice"),
        ("desk meter,14.2 MHz,reference,nan", "finite"),
        ("desk meter,14.2 MHz,reference,9.8 dBm", "own scale"),
        ("card meter,144 MHz,reference,130", "ends at 100"),
        ("desk meter,14.2 MHz,reference,9.8,,0.5", "at least 1"),
        ("desk meter,14.2 MHz,reference,9.8,,,10", "must not be above the reading"),
        ("desk meter,14.2 MHz,reference,9.8,,,,,a,b,c", "cells where the headings have"),
    ],
)
def test_a_wrong_cell_says_what_is_wrong(cells: str, rule: str) -> None:
    text = READINGS.splitlines()[0] + "\n" + cells + "\n"
    if rule:
        assert rule in str(_problems(readings=text)[0])
    else:
        _read(readings=text)


def test_ten_thousand_rows_are_read_in_order() -> None:
    rows = "".join(f"desk meter,{7 + i % 9}.1 MHz,blue 7,{1 + i % 97 / 10:.1f},,,,,\n" for i in range(10_000))
    sheet = _read(readings=READINGS.splitlines()[0] + "\n" + rows)
    assert [r.row for r in sheet.readings] == list(range(2, 10_002))
