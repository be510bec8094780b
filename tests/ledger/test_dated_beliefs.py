"""One belief per piece and per meter, dated: the same figure at every door, in whatever order tests were filed."""

from __future__ import annotations

import json
import re
from datetime import date

import numpy as np
import pytest
from click.testing import CliRunner

import linewright as lw
from ledger.gear import sweep_bytes
from linewright.catalogue import line_type
from linewright.cli.shelf import shelf as commands
from linewright.verbs import combine, history, shelf, shelf_evidence
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


def test_a_piece_is_shown_with_the_day_its_figures_are_of(tmp_path, opened, years):
    shelf.file_sheet(opened, years[2020], on=date(2020, 5, 1))
    asked = ["show", "black 20", "--date", "2023-05-01", "--ledger", str(tmp_path / "ledger.sqlite")]
    assert "For 2023-05-01, from: sheet 2020-05-01 Yearly check." in CliRunner().invoke(commands, asked).stdout
    assert shelf.history_of(opened, "black 20", on=date(2023, 5, 1)).to_dict()["day"] == "2023-05-01"


def test_each_test_alone_is_the_figure_of_its_sheets_own_page(tmp_path, opened):
    """A sheet by itself knows less of the meter than its page in the ledger: the history has the page's figure."""
    bent, plain = write(tmp_path / "bent", exponent=1.38, pads=True), write(tmp_path / "next", exponent=1.38)
    shelf.file_sheet(opened, bent, on=date(2025, 5, 1))
    shelf.file_sheet(opened, plain, on=date(2025, 6, 1))
    found = shelf.history_of(opened, "black 20").points
    assert len(found) == 2
    for x in found:
        page = next(y for y in shelf.prove_session(opened, x.evidence.key).losses if y.frequency_hz == x.frequency_hz)
        assert (x.loss_db_low, x.loss_db, x.loss_db_high) == pytest.approx(
            (page.loss_db_low, page.loss_db, page.loss_db_high), rel=1e-12
        )
    alone = next(y for y in prove_cable(plain).losses if y.frequency_hz == found[1].frequency_hz)
    assert alone.loss_db > 1.05 * found[1].loss_db


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


@pytest.mark.parametrize("bend", [0.7, 0.8, 1.2, 1.38])
def test_a_meter_that_pads_proved_is_known_at_the_next_session(tmp_path, opened, bend):
    bent, plain = write(tmp_path / "bent", exponent=bend, pads=True), write(tmp_path / "next", exponent=bend)
    alone = prove_cable(plain).losses[-1]
    shelf.file_sheet(opened, bent, on=date(2025, 5, 1))
    shelf.file_sheet(opened, plain, on=date(2025, 6, 1))
    key = "2025-06-01 Yearly check"
    known = {round(k.frequency_hz / 1e6, 1): k for k in shelf.sheet_of(opened, key).known_exponents}
    assert known[432.1].log_mean == pytest.approx(np.log(bend), abs=0.05)
    told = next(x for x in shelf.prove_session(opened, key).losses if x.frequency_hz == 432.1e6)
    true = NEW_DB["432.1 MHz"]
    assert told.loss_db_low < true < told.loss_db_high
    assert abs(told.loss_db - true) < 0.5 * abs(alone.loss_db - true)


def test_a_new_piece_read_with_a_meter_that_pads_proved_bent_is_not_worn(tmp_path, opened):
    bent, plain = write(tmp_path / "bent", exponent=1.38, pads=True), write(tmp_path / "next", exponent=1.38)
    assert prove_cable(plain).losses[-1].loss_db_low > NEW_DB["432.1 MHz"]  # by itself it seems worn
    for sheet, month in ((bent, 5), (plain, 6)):
        for old, new in (("black 20", "red 5"),) if sheet == bent else ():
            for path in (sheet, sheet.parent / "readings.csv"):
                path.write_text(path.read_text().replace(old, new))
        shelf.file_sheet(opened, sheet, on=date(2025, month, 1))
    told = shelf.show_piece(opened, "black 20", on=date(2025, 6, 1))
    assert told.tests == 1
    assert told.standing != "worn"
    assert told.ratio_low < 1.0 < told.ratio_high


def test_pads_filed_later_are_known_to_a_session_that_came_after_them(tmp_path):
    found = []
    sheets = [("2025-05-01", write(tmp_path / "bent", exponent=1.38, pads=True)),
              ("2025-06-01", write(tmp_path / "next", exponent=1.38))]  # fmt: skip
    for name, order in (("in time", sheets), ("late", sheets[::-1])):
        with shelf.open_ledger(tmp_path / f"{name}.sqlite") as ledger:
            for day, sheet in order:
                shelf.file_sheet(ledger, sheet, on=date.fromisoformat(day))
            known = shelf.sheet_of(ledger, "2025-06-01 Yearly check").known_exponents
            found.append((known, shelf.show_piece(ledger, "black 20", on=date(2025, 6, 1)).losses))
    assert found[0] == found[1]


def test_a_sheet_that_reads_exactly_as_predicted_widens_nothing(tmp_path, opened):
    for i, times in enumerate((1.10, 1.11)):
        shelf.file_sheet(opened, write(tmp_path / str(i), times), on=date(2020 + 2 * i, 5, 1))
    day = date(2024, 5, 1)
    before = shelf.show_piece(opened, "black 20", on=day).losses
    predicted = np.mean([x.loss_db / NEW_DB[f"{x.frequency_hz / 1e6:.1f} MHz"] for x in before])
    shelf.file_sheet(opened, write(tmp_path / "as predicted", predicted), on=day)
    for x, y in zip(before, shelf.show_piece(opened, "black 20", on=day).losses, strict=True):
        assert y.loss_db_high - y.loss_db_low <= x.loss_db_high - x.loss_db_low
        assert y.loss_db == pytest.approx(x.loss_db, rel=0.02)


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
    assert "over-reads dB differences" in band["why"]
    listed = json.loads(CliRunner().invoke(commands, ["meters", *asked]).stdout)
    assert [m["meter"] for m in listed["meters"]] == ["pocket"]
    words = " ".join(CliRunner().invoke(commands, ["meters", *asked[1:]]).stdout.split())
    assert "over-reads" in words
    assert "sheets before that stay as they were" in words


def test_a_meter_that_nothing_shows_says_what_would(tmp_path, opened, years):
    shelf.file_sheet(opened, years[2020], on=date(2020, 5, 1))
    told = CliRunner().invoke(commands, ["meter", "pocket", "--ledger", str(tmp_path / "ledger.sqlite")]).stdout
    assert "measure known attenuators with it" in told


def test_a_step_of_the_ladder_is_worked_out_once_and_a_further_test_costs_one(opened, years, monkeypatch):
    joined, worked = [], combine._joined
    monkeypatch.setattr(combine, "_joined", lambda digest, *told: joined.append(digest) or worked(digest, *told))
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


def test_of_a_long_history_the_tests_of_one_day_are_one_step(opened, years, monkeypatch):
    monkeypatch.setattr(history, "MOST_STEPS", 1)
    *same, last = years.values()
    for path in same:
        shelf.file_sheet(opened, path, on=date(2019, 5, 1))
    shelf.file_sheet(opened, last, on=date(2020, 5, 1))
    joined, worked = [], combine._joined
    monkeypatch.setattr(combine, "_joined", lambda digest, *told: joined.append(digest) or worked(digest, *told))
    steps = ladder_of(opened, "black 20", 144.3e6)[1]
    assert len(set(joined)) == 2
    assert [r.on for r in steps] == ["", "2019-05-01", "2020-05-01"]
    assert (steps[1].what, steps[1].alone) == ("2 tests of one day", None)
    assert steps[2].alone is not None


def test_what_cannot_be_remembered_is_told_all_the_same(opened, years, monkeypatch):
    from linewright.core.errors import CannotError
    from linewright.store import items

    def full(*_):
        raise CannotError("the disk is full")

    shelf.file_sheet(opened, years[2020], on=date(2020, 5, 1))
    monkeypatch.setattr(items, "remember", full)
    assert shelf.show_piece(opened, "black 20").tests == 1
    assert len(ladder_of(opened, "black 20", 144.3e6)[1]) == 2


def at_hand(result, tag="black 20"):
    return {x.frequency_hz: (x.loss_db, x.loss_db_low, x.loss_db_high) for x in result.losses if x.piece == tag}


def test_a_sheet_proved_beside_a_ledger_says_what_the_shelf_says_once_it_is_filed(opened, years):
    shelf.file_sheet(opened, years[2020], on=date(2020, 5, 1))
    shelf.file_sheet(opened, years[2021], on=date(2021, 5, 1))
    beside = prove_cable(years[2022], ledger=opened, on=date(2022, 5, 1))
    assert len(shelf.all_kept(opened, "sheet")) == 2
    assert at_hand(beside) != at_hand(prove_cable(years[2022]))
    shelf.file_sheet(opened, years[2022], on=date(2022, 5, 1))
    shown = shelf.show_piece(opened, "black 20", on=date(2022, 5, 1))
    assert at_hand(beside) == {x.frequency_hz: (x.loss_db, x.loss_db_low, x.loss_db_high) for x in shown.losses}
    (found,) = beside.pieces
    assert (found.verdict, found.ratio, found.ratio_low) == (shown.standing, shown.ratio, shown.ratio_low)
    # Filed, it is one test of the ledger and not two.
    assert at_hand(prove_cable(years[2022], ledger=opened, on=date(2022, 5, 1))) == at_hand(beside)


def test_a_sheet_proved_beside_a_ledger_is_read_with_what_pads_proved_of_its_meter(tmp_path, opened):
    pads = write(tmp_path / "pads", exponent=1.38, pads=True)
    shelf.file_sheet(opened, pads, on=date(2024, 5, 1))
    for item in shelf.all_kept(opened, "piece"):
        shelf.archive(opened, "piece", item.key)
    bare = write(tmp_path / "bare", exponent=1.38)
    text = bare.read_text().replace("black 20", "red 5")
    bare.write_text(text)
    rows = bare.parent / "readings.csv"
    rows.write_text(rows.read_text().replace("black 20", "red 5"))
    alone, beside = prove_cable(bare), prove_cable(bare, ledger=opened, on=date(2024, 6, 1))
    assert alone.pieces[0].ratio > 1.15
    assert 0.9 < beside.pieces[0].ratio < 1.1
    assert any("is taken to show" in remark for remark in beside.remarks)
    # An earlier day knows nothing of it.
    assert prove_cable(bare, ledger=opened, on=date(2024, 4, 1)).pieces == alone.pieces


def test_what_a_sheet_only_names_is_as_the_ledger_keeps_it(tmp_path, opened, years):
    shelf.file_sheet(opened, write(tmp_path / "pads", pads=True), on=date(2024, 5, 1))
    path = write(tmp_path / "short", pads=True)
    text = path.read_text()
    whole = prove_cable(path)
    for kind, name, rest in (
        ("meter", 'name = "pocket"', '\nscale = "milliwatts"\ndivision = "1 mW"\nrated = "1 MHz to 500 MHz"'),
        ("piece", 'tag = "black 20"', '\nline = "RG-213/U"\nlength = "20 m"'),
        ("attenuator", 'tag = "pad 3"', '\nloss = "3.0 dB"'),
        ("attenuator", 'tag = "pad 6"', '\nloss = "6.0 dB"'),
    ):
        assert f"[[{kind}]]\n{name}{rest}" in text
        text = text.replace(name + rest, name)
    path.write_text(text)
    with pytest.raises(lw.InputError, match="is missing"):
        prove_cable(path)
    beside = prove_cable(path, ledger=opened, on=date(2023, 5, 1))
    assert at_hand(beside) == at_hand(whole)
    shelf.file_sheet(opened, path, on=date(2023, 5, 1))
    kept = shelf.sheet_of(opened, "2023-05-01 Yearly check")
    told = lw.read_bench_sheet(tmp_path / "pads" / "sheet.toml")
    assert (kept.attenuators, kept.meters, kept.pieces) == (told.attenuators, told.meters, told.pieces)


def test_a_sheet_of_nouns_has_no_ledger_beside_it(opened, years):
    with pytest.raises(lw.InputError, match="must be a file"):
        prove_cable(lw.read_bench_sheet(years[2020]), ledger=opened)


LIMIT = (432.1e6, 6.0)


@pytest.fixture
def ageing(tmp_path, opened):
    """A ledger of a piece that ages 11 % a year, tested in five springs; the day of the last."""
    for n in range(5):
        shelf.file_sheet(opened, write(tmp_path / f"spring {n}", 1.11**n), on=date(2020 + n, 5, 1))
    return date(2024, 5, 1)


def test_a_piece_that_ages_passes_its_limit_when_its_rate_says(opened, ageing):
    (found,) = shelf.history_of(opened, "black 20", on=ageing, limits=[LIMIT]).passes
    now = 1.11**4 * NEW_DB["432.1 MHz"]
    true = np.log(LIMIT[1] / now) / np.log(1.11)
    assert 0 < found.years_low < true < found.years_high < 6
    assert found.p_now < 0.01 < found.p_1_year < 0.2  # in truth after 1.9 years
    assert found.p_5_years > 0.95
    assert found.why.startswith("It will pass 6 dB on 432.1 MHz in ")


def test_when_it_passes_agrees_with_what_is_believed_of_that_day(opened, ageing):
    (found,) = shelf.history_of(opened, "black 20", on=ageing, limits=[LIMIT]).passes
    for years, chance in ((0, found.p_now), (1, found.p_1_year), (5, found.p_5_years)):
        later = shelf.belief_of_piece(opened, "black 20", on=date(2024 + years, 5, 1)).belief
        assert np.mean(later.loss_db(LIMIT[0]) > LIMIT[1]) == pytest.approx(chance, abs=0.06)


def test_what_is_over_its_limit_is_over_and_what_is_far_below_hardly_passes(opened, ageing, tmp_path):
    over, under = shelf.history_of(opened, "black 20", on=ageing, limits=[(432.1e6, 2.0), (14.2e6, 6.0)]).passes
    assert (over.years_low, over.years_high, over.p_now) == (0.0, 0.0, 1.0)
    assert over.why == "It already loses more than 2 dB on 432.1 MHz."
    assert under.years_low is None or under.p_5_years < 0.1
    (next_one,) = shelf.history_of(opened, "black 20", on=ageing).passes
    assert (next_one.frequency_hz, next_one.limit_db) == (144.3e6, 3.0)


def test_the_command_says_when_a_limit_is_passed(opened, ageing, tmp_path):
    where = ["--ledger", str(tmp_path / "ledger.sqlite"), "--date", "2024-05-01"]
    asked = ["show", "black 20", *where, "--limit", "6 dB", "--at", "432.1 MHz"]
    (told,) = json.loads(CliRunner().invoke(commands, [*asked, "--json"]).stdout)["passes"]
    assert told["why"] in " ".join(CliRunner().invoke(commands, asked).stdout.split())
    refused = CliRunner().invoke(commands, ["show", "black 20", *where, "--limit", "6 dB"])
    assert refused.exit_code == 2
    assert "go together" in refused.stderr


# Sessions share their meters: what all pieces show is the meter's

STOCK = (("black 20", "RG-213/U", 20.0), ("grey 3", "RG-58C/U", 8.0), ("white 4", "RG-213/U", 12.0))


def write_bench(folder, exponent=1.0, times=(1.0, 1.0, 1.0), stock=STOCK):
    """Write a sheet of some pieces read with one meter that shows every decibel ``exponent`` times."""
    folder.mkdir()
    rows = ["meter,frequency,path,reading"]
    for f, hz in BANDS_HZ.items():
        plug = 0.0034 * (hz / 1e6) ** 0.5
        for _ in range(2):
            rows.append(f"pocket,{f},reference,1000")
            for (tag, line, metres), grown in zip(stock, times, strict=True):
                db = grown * (metres * float(line_type(line).law.db_per_m(hz)) + plug) - JUMPER_DB[f]
                rows.append(f"pocket,{f},{tag},{1000 * 10 ** (-exponent * db / 10):.0f}")
    tables = "".join(f'[[piece]]\ntag = "{tag}"\nline = "{line}"\nlength = "{m} m"\n' for tag, line, m in stock)
    head, rest = SHEET.format(pads="").split("[[piece]]")
    (folder / "sheet.toml").write_text(head + tables + rest[rest.index("[readings]") :])
    (folder / "readings.csv").write_text("\n".join(rows) + "\n")
    return folder / "sheet.toml"


def kept(path, sheets):
    """File sheets by year in a ledger of their own; return what it says of the first piece in 2024."""
    with shelf.open_ledger(path) as ledger:
        for year, sheet in sheets:
            shelf.file_sheet(ledger, sheet, on=date(year, 5, 1))
        found = shelf.history_of(ledger, "black 20", on=date(2024, 5, 1))
        return found.piece.losses, found.changes


def test_a_dropped_meter_changes_no_piece_and_one_piece_alone_changes_by_itself(tmp_path):
    # No two sheets are the same to the last reading: the ledger would take them for one.
    quiet = [(2020 + i, write_bench(tmp_path / f"quiet {i}", times=(t,) * 3)) for i, t in enumerate((1.0, 1.01, 0.99))]
    dropped = (2023, write_bench(tmp_path / "dropped", exponent=1.35))
    losses, changes = kept(tmp_path / "dropped.sqlite", [*quiet, dropped])
    assert changes[0].kind == "steady"
    for x in losses:
        true = NEW_DB[f"{x.frequency_hz / 1e6:.1f} MHz"]
        assert x.loss_db_low < true < x.loss_db_high
    worn = (2023, write_bench(tmp_path / "worn", times=(1.5, 1.0, 1.0)))
    losses, changes = kept(tmp_path / "worn.sqlite", [*quiet, worn])
    assert changes[0].kind == "step"
    assert losses[1].loss_db_low < 1.5 * NEW_DB["144.3 MHz"] < losses[1].loss_db_high


def test_what_the_pieces_of_a_session_share_is_the_same_in_any_order_of_filing(tmp_path):
    sheets = [(2020 + i, write_bench(tmp_path / str(i), exponent=e)) for i, e in enumerate((1.0, 1.02, 1.35))]
    in_time = kept(tmp_path / "a.sqlite", sheets)
    assert kept(tmp_path / "b.sqlite", [sheets[k] for k in (2, 0, 1)]) == in_time
    assert kept(tmp_path / "c.sqlite", sheets[::-1]) == in_time


def test_a_piece_first_read_with_a_dropped_meter_hears_of_it_from_the_others(tmp_path):
    worn = [(2020 + i, write_bench(tmp_path / str(i), times=(t,) * 3)) for i, t in enumerate((1.5, 1.51, 1.49))]
    stock = (*STOCK, ("red 9", "RG-8/U", 15.0))
    dropped = (2023, write_bench(tmp_path / "dropped", 1.35, (1.5, 1.5, 1.5, 1.0), stock))
    found = []
    for name, sheets in (("alone", [dropped]), ("in time", [*worn, dropped]), ("late", [dropped, *worn[::-1]])):
        with shelf.open_ledger(tmp_path / f"{name}.sqlite") as ledger:
            for year, sheet in sheets:
                shelf.file_sheet(ledger, sheet, on=date(year, 5, 1))
            found.append(shelf.show_piece(ledger, "red 9", on=date(2023, 5, 1)))
    alone, heard, late = found
    assert heard.tests == 1
    assert late == heard
    line = line_type("RG-8/U")
    for x, y in zip(alone.losses, heard.losses, strict=True):
        true = 15.0 * float(line.law.db_per_m(x.frequency_hz)) + 0.0034 * (x.frequency_hz / 1e6) ** 0.5
        assert y.loss_db_low < true < y.loss_db_high
        assert abs(y.loss_db - true) < 0.5 * abs(x.loss_db - true)
    told = re.search(r"shows the loss of all its pieces about (\d+) % too high", heard.remarks[0])
    assert told
    assert float(told[1]) == pytest.approx(35.0, abs=10.0)


def test_what_is_read_on_one_day_is_heard_of_from_the_next(tmp_path):
    """Else each reading of a day would have all the others of that day judged anew."""
    sheet = write_bench(tmp_path / "dropped", 1.35, (1.5, 1.5, 1.5, 1.0), (*STOCK, ("red 9", "RG-8/U", 15.0)))
    beside = write_bench(tmp_path / "beside", times=(1.5, 1.51, 1.49))
    said = []
    for name, day in (("before", date(2023, 4, 30)), ("on", date(2023, 5, 1)), ("never", None)):
        with shelf.open_ledger(tmp_path / f"{name}.sqlite") as ledger:
            shelf.file_sheet(ledger, sheet, on=date(2023, 5, 1))
            if day is not None:
                shelf.file_sheet(ledger, beside, on=day)
            with ledger.reads() as snapshot:
                shelved = shelf_evidence.Shelved.of(snapshot)
                (evidence,) = shelved.evidence("red 9")
                said.append({e.measured_on for _, e in shelf_evidence.neighbours(shelved, "red 9", evidence)})
    assert said == [{"2023-04-30"}, set(), set()]


def test_the_limits_of_what_others_tell_are_those_the_page_names():
    assert (combine.SAYS_TRUE, shelf_evidence.MOST_OF_ONE) == (0.9, 6)


def test_an_answer_is_worked_out_anew_when_a_piece_beside_it_is_told_of(tmp_path):
    quiet = [write_bench(tmp_path / f"quiet {i}", times=(t,) * 3) for i, t in enumerate((1.5, 1.51, 1.49))]
    dropped = write_bench(tmp_path / "dropped", 1.35, (1.5, 1.5, 1.5, 1.0), (*STOCK, ("red 9", "RG-8/U", 15.0)))
    with shelf.open_ledger(tmp_path / "ledger.sqlite") as ledger:
        shelf.file_sheet(ledger, dropped, on=date(2023, 5, 1))
        before = shelf.show_piece(ledger, "red 9").losses
        for i, sheet in enumerate(quiet):
            shelf.file_sheet(ledger, sheet, on=date(2020 + i, 5, 1))
        remembered = shelf.show_piece(ledger, "red 9").losses
        assert remembered != before
    with shelf.open_ledger(tmp_path / "anew.sqlite") as ledger:
        for i, sheet in enumerate((*quiet, dropped)):
            shelf.file_sheet(ledger, sheet, on=date(2020 + i, 5, 1))
        assert shelf.show_piece(ledger, "red 9").losses == remembered


# The bottom of a scale is carried forward

SLEEPY = """title = "Spring check"
[source]
power = "10 W"
[[meter]]
name = "pocket"
scale = "milliwatts"
division = "20 mW"
rated = "1 MHz to 500 MHz"
[[piece]]
tag = "long 60"
line = "RG-213/U"
length = "60 m"
connectors = 0
[[piece]]
tag = "grey 3"
line = "RG-58C/U"
length = "6 m"
connectors = 0
{pads}
[readings]
file = "readings.csv"
"""
WAKES_MW = 150.0
LONG_DB = 60.0 * float(line_type("RG-213/U").law.db_per_m(432.1e6))
GREY_DB = 6.0 * float(line_type("RG-58C/U").law.db_per_m(432.1e6))


def write_sleepy(folder, pads):
    """Write a sheet on 432.1 MHz whose meter shows nothing below ``WAKES_MW``, of pads of known loss too where told."""
    folder.mkdir()
    told = {"reference": 0.0, "long 60": LONG_DB, "grey 3": GREY_DB, **{f"pad {db}": float(db) for db in pads}}
    rows = ["meter,frequency,path,reading"]
    for _ in range(2):
        for path, db in told.items():
            mw = 1000.0 * 10 ** (-db / 10)
            rows.append(f"pocket,432.1 MHz,{path},{20 * round(mw / 20) if mw > WAKES_MW else 0}")
    tables = "".join(f'[[attenuator]]\ntag = "pad {db}"\nloss = "{db} dB"\n' for db in pads)
    (folder / "sheet.toml").write_text(SLEEPY.format(pads=tables))
    (folder / "readings.csv").write_text("\n".join(rows) + "\n")
    return folder / "sheet.toml"


def test_a_meter_that_slept_through_known_pads_is_known_to_sleep_at_the_next_session(tmp_path, opened):
    assert 1000.0 * 10 ** (-LONG_DB / 10) < WAKES_MW
    shelf.file_sheet(opened, write_sleepy(tmp_path / "pads", (3, 6, 9, 10, 12)), on=date(2025, 5, 1))
    plain = write_sleepy(tmp_path / "next", ())
    alone = prove_cable(plain)
    beside = prove_cable(plain, ledger=opened, on=date(2025, 6, 1))
    assert any("show nothing below" in r for r in beside.remarks)
    shelf.file_sheet(opened, plain, on=date(2025, 6, 1))
    key = "2025-06-01 Spring check"
    (bottom,) = shelf.sheet_of(opened, key).known_bottoms
    assert 110.0 < 1000.0 * 10 ** (bottom.level_db / 10) < 260.0
    told = shelf.prove_session(opened, key)
    loss = next(x for x in told.losses if x.piece == "long 60")
    assert loss.loss_db_low < LONG_DB < loss.loss_db_high
    # By itself the reading of nothing looks wrong: so much is not lost. Known to sleep, the meter is believed.
    doubts = [max(r.p_wrong for r in found.readings if r.reading == 0.0) for found in (alone, told)]
    assert doubts[1] < 0.1
    assert doubts[0] > 0.3
    band = lw.show_meter(opened, "pocket", on=date(2025, 6, 1)).bands[-1]
    assert band.bottom_low < WAKES_MW < band.bottom_high
    assert "shows nothing below" in band.why
