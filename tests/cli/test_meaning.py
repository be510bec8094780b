"""What a decibel means: the command, its page, its JSON and its refusals."""

from __future__ import annotations

import json

import pytest
from click.testing import CliRunner
from hypothesis import given
from hypothesis import strategies as st

from cli.doors import words_of
from linewright.cli.main import Door
from linewright.cli.meaning import meaning
from linewright.core.errors import InputError, UnitError
from linewright.files.tables import to_json
from linewright.present.writers.terminal import width
from linewright.verbs.meaning import level_of, meaning_of, radiated_at, read_change_db, what_it_means

DOOR = Door("linewright", commands=[meaning])


def ask(*words):
    return CliRunner().invoke(DOOR, ["meaning", *words])


@pytest.mark.parametrize(
    ("words", "change"),
    [
        (["3dB"], -3.0), (["3 dB"], -3.0), (["3", "dB"], -3.0), (["-3dB"], -3.0), (["-3", "dB"], -3.0),
        (["+6dB"], 6.0), (["+6 dB"], 6.0), (["2.5dB", "--power", "10 W"], -2.5), (["--power", "5W", "-1dB"], -1.0),
        (["−3 dB"], -3.0), (["0,5dB"], -0.5),
    ],
)  # fmt: skip
def test_a_change_without_a_sign_is_a_loss(words, change):
    done = ask(*words, "--json")
    assert done.exit_code == 0, done.output
    assert json.loads(done.stdout)["change_db"] == change


def test_the_json_is_the_librarys():
    given_ = json.loads(ask("2dB", "--power", "50 W", "--at", "144 MHz", "--signal", "S7", "--json").stdout)
    assert next(iter(given_)) == "schema"
    assert given_["schema"] == "linewright/meaning/1"
    assert given_ == json.loads(to_json(meaning_of(-2.0, 50.0, 144e6, "S7")))
    assert given_["signal_before"]["level_dbm"] == -105.0


def test_the_page_shows_the_sentence_every_remark_and_when_asked_every_working():
    found = meaning_of(-3.0, 100.0, 50e6, "S9+10")
    words = ("3dB", "--at", "50 MHz", "--signal", "S9+10")
    plain, explained = ask(*words).stdout, ask(*words, "--explain").stdout
    assert found.text in words_of(plain)
    assert all(remark in words_of(plain) for remark in found.remarks)
    for working in found.workings:
        assert working.formula in words_of(explained)
        assert working.source in words_of(explained)
        assert working.formula not in words_of(plain)


@given(st.floats(-200, 200), st.sampled_from(["S0", "S5", "S9+60", "-120 dBm"]), st.floats(1e-3, 1e5))
def test_no_page_is_wider_than_the_screen(change, signal, power):
    from linewright.present.compose.meaning import meaning_document
    from linewright.present.writers.terminal import terminal

    page = terminal(meaning_document(meaning_of(change, power, 144e6, signal)), explain=True)
    assert max(map(width, page.replace("\x1b[1m", "").replace("\x1b[2m", "").replace("\x1b[0m", "").split("\n"))) <= 100


def test_the_sentence_says_what_people_say():
    # Common practice, no source: 3 dB is half, 6 dB a quarter; 2 dB is like turning 100 W down to 63 W.
    assert "leaves 50 % of the power" in meaning_of(-3.0).text
    assert "half an S unit less" in meaning_of(-3.0).text
    assert "leaves 25 % of the power" in meaning_of(-6.0).text
    assert "1 S unit less" in meaning_of(-6.0).text
    assert "turning 100 W down to 63 W" in meaning_of(-2.0).text
    assert "10 times the power, like turning 100 W up to 1 kW" in meaning_of(10.0).text
    assert meaning_of(0.0).text == "0 dB changes nothing."


@pytest.mark.parametrize(
    ("signal", "change", "after"),
    [
        ("S7", -3.0, "S6.5"), ("s7", -6.0, "S6"), ("S9+20", -20.0, "S9"), ("S9+20 dB", -26.0, "S8"),
        ("S8", 12.0, "S9+6 dB"), ("S1", -12.0, "below S0"), ("S0", 0.0, "S0"),
    ],
)  # fmt: skip
def test_a_reading_changes_alike_on_every_band(signal, change, after):
    for frequency in (None, 14.2e6, 144e6):
        assert meaning_of(change, 100.0, frequency, signal).signal_after.reading == after


def test_a_level_becomes_a_reading_of_its_band():
    assert meaning_of(-3.0, 100.0, 14.2e6, "-85 dBm").signal_before.reading == "S7"
    assert meaning_of(-3.0, 100.0, 144e6, "-85dBm").signal_before.reading == "S9+8 dB"
    assert meaning_of(-3.0, 100.0, None, "S7").signal_before.level_dbm is None


def test_the_gap_between_30_and_144_megahertz_is_spoken_of():
    assert any("older wording" in said for said in meaning_of(-3.0, 100.0, 50e6).remarks)
    assert not any("older wording" in said for said in meaning_of(-3.0, 100.0, 144e6).remarks)


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["3"], "needs a unit"),
        (["loud"], "change is not a number"),
        (["3dB", "--signal", "S12"], "s_reading"),
        (["3dB", "--signal", "S5+10"], "S9"),
        (["3dB", "--signal", "loud"], "signal is no S reading"),
        (["3dB", "--signal", "-97 dBm"], "--at"),
        (["3dB", "--power", "0 W"], "power_w"),
        (["3dB", "--power", "100"], "--power needs a unit"),
        (["3dB", "--at", "20 m"], "--at has the unit"),
        (["999dB"], "change_db"),
        (["3dB", "--loud"], "No such option"),
        ([], "Missing argument"),
    ],
)
def test_what_cannot_be_read_is_refused_with_its_cure(words, said):
    done = ask(*words)
    assert done.exit_code == 2
    assert said in words_of(done.stderr)
    assert "Traceback" not in done.output


@pytest.mark.parametrize("change", [float("nan"), float("inf"), 201.0])
def test_the_library_refuses_a_change_no_station_knows(change):
    with pytest.raises(InputError, match="change_db"):
        meaning_of(change)


def test_a_change_needs_its_unit():
    with pytest.raises(UnitError):
        read_change_db("3")


# Both ways: from one figure to another, a signal by itself, an EIRP at a distance


@pytest.mark.parametrize(
    ("asked", "change"),
    [
        ("100 W to 25 W", -6.0206), ("25 W to 100 W", 6.0206), ("5 W to 100 W", 13.0103), ("1 kW to 500 mW", -33.0103),
        ("S9 to S7", -12.0), ("S7 to S9+10", 22.0), ("-97 dBm to -73 dBm", 24.0), ("2 µV to 20 µV", 20.0),
        ("2 uV to 1 mV", 53.9794), ("10 km to 20 km", -6.0206), ("20 mm to 2 mm", 20.0),
        ("50W 100W", 3.0103), ("50 W 100 W", 3.0103), ("S9 S7", -12.0),
    ],
)  # fmt: skip
def test_a_way_from_one_figure_to_another_is_a_change(asked, change):
    done = ask(*asked.split(), "--json")
    assert json.loads(done.stdout)["change_db"] == pytest.approx(change, abs=1e-4)


@given(st.floats(0.01, 1e4), st.floats(0.01, 1e4))
def test_there_and_back_is_no_change(first, then):
    there, back = (what_it_means(f"{a} W to {b} W").change_db for a, b in ((first, then), (then, first)))
    assert there == pytest.approx(-back)
    assert what_it_means(f"{first} W to {then} W").equivalent_power_w == pytest.approx(then)


@given(st.floats(-141, -20), st.sampled_from([7e6, 144e6]))
def test_a_level_is_the_same_signal_in_every_unit(level_dbm, frequency_hz):
    shown = level_of(f"{level_dbm:.6f} dBm", frequency_hz)
    signal = shown.below_30_mhz or shown.from_30_mhz
    again = level_of(f"{signal.voltage_v * 1e6:.9f} µV", frequency_hz)
    assert (again.below_30_mhz or again.from_30_mhz).level_dbm == pytest.approx(level_dbm, abs=1e-4)


def test_a_signal_without_a_band_is_told_for_both_levels_of_s9():
    # IARU Region 1, R.1: S9 is 50 µV below 30 MHz and 5 µV from there up.
    found = level_of("S9")
    assert (found.below_30_mhz.level_dbm, found.from_30_mhz.level_dbm) == (-73.0, -93.0)
    assert found.text == "S9 is 50.1 µV across 50 ohm (-73.0 dBm) below 30 MHz, 5.01 µV (-93.0 dBm) from there up."
    assert level_of("5 µV").from_30_mhz.reading == "S9"
    assert level_of("5 µV", 7e6).from_30_mhz is None
    assert level_of("5 µV", 144e6).below_30_mhz is None


def test_an_eirp_at_a_distance_is_field_density_and_level():
    found = radiated_at(100.0, 10.0)
    assert found.field_v_per_m == pytest.approx(5.477, abs=0.0005)  # √(30 p)/d, ITU-R P.525-2, equation 1
    assert found.density_w_per_m2 == pytest.approx(found.field_v_per_m**2 / 376.73, rel=1e-3)
    assert found.received is None
    assert found.cautions
    heard = what_it_means("100 W EIRP", 100.0, 144e6, None, 10e3, 2.15)
    assert heard.path_loss_db == pytest.approx(95.57, abs=0.05)  # P.525 prints its constant as 32.4
    assert heard.received.level_dbm == pytest.approx(50.0 - heard.path_loss_db + 2.15)
    assert what_it_means("100 W ERP", distance_m=10.0).eirp_w == pytest.approx(164.0)


def test_the_page_of_an_eirp_carries_its_caution_and_every_figure():
    shown = words_of(ask("100 W EIRP", "--distance", "10 km", "--at", "144 MHz").stdout)
    for figure in ("5.48 mV/m", "79.6 nW/m²", "95.6 dB", "-45.6 dBm", "Exposure figures are estimates"):
        assert figure in shown


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["50 W to 3 m"], "of its kind"),
        (["S9 to 10 µV"], "frequency is needed"),
        (["100 W EIRP"], "distance is needed"),
        (["3dB", "--distance", "3 m"], "goes with an EIRP"),
        (["5 W ERP", "--distance", "0.1 m", "--at", "14 MHz"], "must lie beyond λ/2π, 3.41 m"),
        (["100 W to 0 W"], "above zero"),
        (["S9 to S7", "--signal", "S8"], "stands beside"),
        (["100 W EIRP", "--distance", "0 m"], "above zero"),
        (["3dB", "--gain", "2 dB"], "--gain"),
    ],
)
def test_what_does_not_go_together_is_refused_with_its_cure(words, said):
    done = ask(*words)
    assert done.exit_code == 2
    assert said in words_of(done.stderr)
