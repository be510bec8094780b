"""One belief per piece and per meter, dated: the same figure at every door, in whatever order tests were filed."""

from __future__ import annotations

import json
from datetime import date

import numpy as np
import pytest
from click.testing import CliRunner

from ledger.gear import sweep_bytes
from linewright.catalogue import line_type
from linewright.cli.shelf import shelf as commands
from linewright.verbs import combine, history, shelf
from linewright.verbs.history import ladder_of
from linewright.verbs.label import label_pieces
from linewright.verbs.prove import prove_cable

SHEET = """title = "Yearly check"
[source]
power = "10 W"
[reference]
line = "RG-58C/U"
length = "0.9 m"
[[meter]]
name = "pocket"
scale = "milliwatts"
division = "1 mW"
rated = "1 MHz to 500 MHz"
[[piece]]
tag = "black 20"
line = "RG-213/U"
length = "20 m"
{pads}
[readings]
file = "readings.csv"
"""
PADS = '[[attenuator]]\ntag = "pad 3"\nloss = "3.0 dB"\n[[attenuator]]\ntag = "pad 6"\nloss = "6.0 dB"\n'
BANDS_HZ = {"14.2 MHz": 14.2e6, "144.3 MHz": 144.3e6, "432.1 MHz": 432.1e6}
NEW_DB = {name: 20.0 * float(line_type("RG-213/U").law.db_per_m(f)) + 0.0034 * (f / 1e6) ** 0.5
          for name, f in BANDS_HZ.items()}  # fmt: skip
JUMPER_DB = {name: 0.9 * float(line_type("RG-58C/U").law.db_per_m(f)) + 0.0034 * (f / 1e6) ** 0.5
             for name, f in BANDS_HZ.items()}  # fmt: skip
"""What 20 m of new line loses, and the jumper that it takes the place of; two connectors each."""


def write(folder, times=1.0, exponent=1.0, pads=False):
    """Write a sheet whose meter shows every decibel ``exponent`` times; return its path."""
    folder.mkdir()
    rows = ["meter,frequency,path,reading"]

    def row(f, path, db):
        rows.append(f"pocket,{f},{path},{1000 * 10 ** (-exponent * db / 10):.0f}")

    for f, db in NEW_DB.items():
        for _ in range(2):
            row(f, "reference", 0.0)
            row(f, "black 20", times * db - JUMPER_DB[f])
            for tag, loss in (("pad 3", 3.0), ("pad 6", 6.0)) if pads else ():
                row(f, tag, loss - JUMPER_DB[f])
    (folder / "sheet.toml").write_text(SHEET.format(pads=PADS if pads else ""))
    (folder / "readings.csv").write_text("\n".join(rows) + "\n")
    return folder / "sheet.toml"


@pytest.fixture
def opened(tmp_path):
    with shelf.open_ledger(tmp_path / "ledger.sqlite") as found:
        yield found


@pytest.fixture
def years(tmp_path):
    return {2020 + i: write(tmp_path / str(i), times) for i, times in enumerate((1.0, 1.12, 1.25))}


def filed(folder, years, order):
    with shelf.open_ledger(folder) as ledger:
        for year in order:
            shelf.file_sheet(ledger, years[year], on=date(year, 5, 1))
        return shelf.show_piece(ledger, "black 20", on=date(2023, 5, 1)).losses


def test_evidence_filed_in_any_order_gives_the_same_belief(tmp_path, years):
    in_time = filed(tmp_path / "a.sqlite", years, (2020, 2021, 2022))
    assert filed(tmp_path / "b.sqlite", years, (2022, 2020, 2021)) == in_time


def test_a_belief_at_a_day_knows_only_what_was_tested_until_then(tmp_path, opened, years):
    shelf.file_sheet(opened, years[2020], on=date(2020, 5, 1))
    then = shelf.show_piece(opened, "black 20", on=date(2020, 6, 1)).losses
    shelf.file_sheet(opened, years[2022], on=date(2022, 5, 1))
    assert shelf.show_piece(opened, "black 20", on=date(2020, 6, 1)).losses == then
    assert shelf.show_piece(opened, "black 20", on=date(2019, 6, 1)).basis == "catalogue, taken as new"


def test_on_the_day_of_its_only_test_a_piece_loses_what_the_bench_says(opened, years):
    shelf.file_sheet(opened, years[2021], on=date(2021, 5, 1))
    bench = {x.frequency_hz: x for x in prove_cable(years[2021]).losses}
    for x in shelf.show_piece(opened, "black 20", on=date(2021, 5, 1)).losses:
        told = bench[x.frequency_hz]
        assert (x.loss_db, x.loss_db_low, x.loss_db_high) == pytest.approx(
            (told.loss_db, told.loss_db_low, told.loss_db_high), rel=1e-9
        )


def test_every_door_gives_the_same_figure_of_a_day(tmp_path, opened, years):
    for year, path in years.items():
        shelf.file_sheet(opened, path, on=date(year, 5, 1))
    day = date(2023, 5, 1)
    losses = shelf.show_piece(opened, "black 20", on=day).losses
    assert shelf.history_of(opened, "black 20", on=day).piece.losses == losses
    (listed,) = shelf.list_shelf(opened, on=day).pieces
    assert listed.losses == losses
    (label,) = label_pieces(opened, ["black 20"], on=day, bands_hz=[x.frequency_hz for x in losses]).labels
    assert [x.loss_db for x in label.losses] == [x.loss_db for x in losses]
    assert [x.ratio for x in label.losses] == pytest.approx([x.ratio for x in losses], rel=1e-12)
    draws = shelf.belief_of_piece(opened, "black 20", on=day).belief.loss_db([x.frequency_hz for x in losses])
    assert [x.loss_db for x in losses] == pytest.approx(np.median(draws, axis=1), rel=1e-12)
    _, rungs = ladder_of(opened, "black 20", 144.3e6, on=day)
    believed = rungs[-1].believed
    told = losses[1]
    assert sorted(believed) == pytest.approx([told.loss_db_low, told.loss_db, told.loss_db_high], rel=1e-12)


def test_the_command_says_the_same_as_the_verb_for_a_day(tmp_path, opened, years):
    for year, path in years.items():
        shelf.file_sheet(opened, path, on=date(year, 5, 1))
    asked = ["show", "black 20", "--json", "--date", "2025-05-01", "--ledger", str(tmp_path / "ledger.sqlite")]
    told = json.loads(CliRunner().invoke(commands, asked).stdout)
    assert told == json.loads(json.dumps(shelf.history_of(opened, "black 20", on=date(2025, 5, 1)).to_dict()))
    assert told["changes"][0]["kind"] == "ageing"
    assert {"piece", "frequency_hz", "loss_db", "loss_db_low", "loss_db_high"} <= told["losses"][0].keys()


def test_ageing_goes_on_after_the_last_test(opened, years):
    for year, path in years.items():
        shelf.file_sheet(opened, path, on=date(year, 5, 1))
    last, later = (shelf.show_piece(opened, "black 20", on=date(y, 5, 1)).losses[1].loss_db for y in (2022, 2025))
    assert later > 1.15 * last


def test_the_same_sheet_with_other_readings_is_another_session(tmp_path, opened, years):
    first = shelf.file_sheet(opened, years[2020], on=date(2020, 5, 1))
    second = shelf.file_sheet(opened, years[2021], on=date(2021, 5, 1))
    assert years[2020].read_bytes() == years[2021].read_bytes()
    assert first.item.key != second.item.key
    assert shelf.show_piece(opened, "black 20").tests == 2
    again = shelf.file_sheet(opened, years[2021], on=date(2021, 6, 1))
    assert again.item.key == second.item.key


def test_a_meter_that_pads_proved_is_known_at_the_next_session(tmp_path, opened):
    bent, plain = write(tmp_path / "bent", exponent=1.38, pads=True), write(tmp_path / "next", exponent=1.38)
    alone = prove_cable(plain).losses[-1]
    assert alone.loss_db_low > NEW_DB["432.1 MHz"]  # by itself the new piece seems worn
    shelf.file_sheet(opened, bent, on=date(2025, 5, 1))
    shelf.file_sheet(opened, plain, on=date(2025, 6, 1))
    key = "2025-06-01 Yearly check"
    known = {round(k.frequency_hz / 1e6, 1): k for k in shelf.sheet_of(opened, key).known_exponents}
    assert known[432.1].log_mean == pytest.approx(np.log(1.38), abs=0.05)
    told = next(x for x in shelf.prove_session(opened, key).losses if x.frequency_hz == 432.1e6)
    true = NEW_DB["432.1 MHz"]
    assert told.loss_db_low < true < told.loss_db_high
    assert abs(told.loss_db - true) < 0.5 * abs(alone.loss_db - true)


def test_a_session_is_not_told_of_its_meters_by_a_later_one(tmp_path, opened):
    shelf.file_sheet(opened, write(tmp_path / "next", exponent=1.38), on=date(2025, 5, 1))
    shelf.file_sheet(opened, write(tmp_path / "bent", exponent=1.38, pads=True), on=date(2025, 6, 1))
    assert shelf.sheet_of(opened, "2025-05-01 Yearly check").known_exponents == ()


def test_a_sweep_of_another_cable_moves_a_piece_of_three_tests_by_little(tmp_path, opened, years):
    for i in range(3):
        shelf.file_sheet(opened, write(tmp_path / f"same {i}", 1.1 + 0.01 * i, pads=True), on=date(2020 + i, 5, 1))
    day = date(2023, 5, 1)
    before = shelf.show_piece(opened, "black 20", on=day).losses[1]
    shelf.file_sweep_bytes(opened, "other.s2p", sweep_bytes(loss=2.9, metres=7.2), "black 20", on=date(2021, 8, 1))
    after = shelf.show_piece(opened, "black 20", on=day)
    assert abs(after.losses[1].loss_db - before.loss_db) < 0.1 * (before.loss_db_high - before.loss_db_low)
    assert any("does not fit the other tests" in r for r in after.remarks)
    assert shelf.history_of(opened, "black 20", on=day).changes[0].kind == "other piece"


def test_a_meter_is_shown_as_the_bench_takes_it(tmp_path, opened):
    shelf.file_sheet(opened, write(tmp_path / "bent", exponent=1.38, pads=True), on=date(2025, 5, 1))
    asked = ["--json", "--ledger", str(tmp_path / "ledger.sqlite")]
    told = json.loads(CliRunner().invoke(commands, ["meter", "pocket", "--date", "2025-06-01", *asked]).stdout)
    assert (told["schema"], told["meter"]) == ("linewright/meter/1", "pocket")
    band = told["bands"][-1]
    assert band["exponent_low"] < 1.38 < band["exponent_high"]
    assert (band["since"], band["sources"]) == ("2025-05-01", ["2025-05-01 Yearly check"])
    assert "stretches every decibel" in band["why"]
    listed = json.loads(CliRunner().invoke(commands, ["meters", *asked]).stdout)
    assert [m["meter"] for m in listed["meters"]] == ["pocket"]
    assert "stretches" in CliRunner().invoke(commands, ["meters", *asked[1:]]).stdout


def test_a_meter_that_nothing_shows_says_what_would(tmp_path, opened, years):
    shelf.file_sheet(opened, years[2020], on=date(2020, 5, 1))
    told = CliRunner().invoke(commands, ["meter", "pocket", "--ledger", str(tmp_path / "ledger.sqlite")]).stdout
    assert "read known attenuators with it" in told


def test_a_step_of_the_ladder_is_worked_out_once_and_a_further_test_costs_one(opened, years, monkeypatch):
    joined, worked = [], combine._joined
    monkeypatch.setattr(combine, "_joined", lambda asked: joined.append(asked.digest) or worked(asked))
    *first, (last, newest) = years.items()
    for year, path in first:
        shelf.file_sheet(opened, path, on=date(year, 5, 1))
    before = ladder_of(opened, "black 20", 144.3e6)[1]
    assert len(set(joined)) == len(first) - 1  # one test alone joins nothing
    joined.clear()
    assert ladder_of(opened, "black 20", 144.3e6)[1] == before
    assert joined == []
    shelf.file_sheet(opened, newest, on=date(last, 5, 1))
    after = ladder_of(opened, "black 20", 144.3e6)[1]
    assert len(set(joined)) == 2  # the newest, and the one before on its own day instead of today
    assert after[: len(first)] == before[:-1]
    assert (len(after), after[-1].on) == (len(before) + 1, f"{last}-05-01")


def test_of_a_long_history_the_early_tests_are_one_step(opened, years, monkeypatch):
    for year, path in years.items():
        shelf.file_sheet(opened, path, on=date(year, 5, 1))
    whole = ladder_of(opened, "black 20", 144.3e6)[1]
    monkeypatch.setattr(history, "MOST_STEPS", 1)
    short = ladder_of(opened, "black 20", 144.3e6)[1]
    assert (short[0], short[-1]) == (whole[0], whole[-1])
    assert short[1].what == f"{len(years) - 1} earlier tests, from {min(years)}-05-01 on"
    assert (short[1].believed, short[1].alone) == (whole[-2].believed, None)
    assert len(short) == 3


def test_what_cannot_be_remembered_is_told_all_the_same(opened, years, monkeypatch):
    from linewright.core.errors import CannotError
    from linewright.store import items

    def full(*_):
        raise CannotError("the disk is full")

    shelf.file_sheet(opened, years[2020], on=date(2020, 5, 1))
    monkeypatch.setattr(items, "remember", full)
    assert shelf.show_piece(opened, "black 20").tests == 1
    assert len(ladder_of(opened, "black 20", 144.3e6)[1]) == 2
