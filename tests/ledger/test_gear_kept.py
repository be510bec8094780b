"""Gear in the ledger: attenuators, loads, radios and antennas, kept once and named by the runs that use them."""

from __future__ import annotations

import pytest

from cli.doors import DEMO_SHEET
from ledger.gear import BY, FILE_FIRST, NOON, stock_up
from linewright.core.errors import InputError
from linewright.files.station import read_station_text
from linewright.verbs import shelf
from linewright.verbs.shelf import open_ledger

GEAR = """
[[radio]]
name = "desk rig"
power = "50 W"
mode = "SSB"
fold_back = [[2, "100 %"], [3, "50 %"]]
receiver = {noise_figure = "4 dB"}

[[antenna]]
name = "yagi"
swr = [["144.3 MHz", 1.4], ["145.5 MHz", 2.0]]
gain = "11 dBi"
size = "4.2 m"
"""
RUN = """
[[run]]
name = "beam"
frequencies = ["144.3 MHz"]
radio = "desk rig"
chain = [{piece = "black 20"}]
antenna = "yagi"
"""
SITE = '[station]\nname = "Hut"\nlimits = "ICNIRP 2020"\n'
MORE = """
[[attenuator]]
tag = "pad"
loss = "3.0 dB"

[[load]]
tag = "half"
impedance = "25 ohm"

[[piece]]
tag = "red 5"
line = "RG-213/U"
length = "5 m"
"""
LINE = RUN.replace('{piece = "black 20"}', '{line = "RG-213/U", length = "20 m"}')


@pytest.fixture
def ledger(where, tmp_path):
    with open_ledger(where, at=NOON) as found:
        stock_up(found)
        yield found


def taken_in(ledger, tmp_path, text):
    path = tmp_path / "form.toml"
    path.write_text(text)
    return shelf.file_any(ledger, path, by=BY)


def test_a_run_has_what_its_radio_its_antenna_and_its_site_say():
    (run,) = read_station_text(SITE + GEAR + LINE, {}).runs
    assert (run.power_w, run.gain_dbi, run.receiver.noise_figure_db) == (50.0, 11.0, 4.0)
    assert run.fold_back == ((2.0, 1.0), (3.0, 0.5))
    assert run.antenna.swr == ((144.3e6, 1.4), (145.5e6, 2.0))
    assert (run.exposure.antenna_size_m, run.exposure.standards) == (4.2, ("ICNIRP 2020",))


def test_what_the_run_says_itself_goes_before():
    own = 'power = "5 W"\ngain = "2 dBi"\nexposure = {limits = "47 CFR 1.1310", antenna_size = "1 m"}\n'
    (run,) = read_station_text(SITE + GEAR + LINE + own, {}).runs
    assert (run.power_w, run.gain_dbi) == (5.0, 2.0)
    assert (run.exposure.antenna_size_m, run.exposure.standards) == (1.0, ("47 CFR 1.1310",))


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (GEAR + LINE.replace('"yagi"', '"jagi"'), 'run 1 antenna must be named by a .*"yagi"'),
        (GEAR + LINE.replace('"desk rig"', '"disk rig"'), 'run 1 radio must be named by a .*"desk rig"'),
        (GEAR.replace("gain", "gian") + LINE, "antenna 1: gian means nothing here"),
        (GEAR + GEAR + LINE, "must be different for each"),
        (GEAR.replace('"50 W"', '"50"') + LINE, "power"),
    ],
)
def test_gear_nobody_can_use_is_told(text, said):
    with pytest.raises(InputError, match=said):
        read_station_text(text, {})


def test_gear_that_comes_with_a_station_is_kept_by_itself_and_goes_out_with_it(ledger, tmp_path):
    taken_in(ledger, tmp_path, SITE + GEAR + RUN)
    assert [(i.kind, i.key) for i in shelf.kept_gear(ledger).gear] == [
        ("meter", "desk meter"), ("radio", "desk rig"), ("antenna", "yagi"),
    ]  # fmt: skip
    before = shelf.station_of(ledger, "Hut")
    form = shelf.export_station(ledger, tmp_path / "out.toml")
    with open_ledger(tmp_path / "other.sqlite", at=NOON) as other:
        shelf.file_any(other, form, by=BY)
        assert shelf.station_of(other, "Hut").runs == before.runs
    shelf.change(ledger, "radio", "desk rig", {"power": "10 W"}, by=BY)
    assert shelf.station_of(ledger, "Hut").run("beam").power_w == 10.0
    (change,) = shelf.changes(ledger, kind="radio", most=1).changes
    shelf.undo(ledger, change.id, by=BY)
    assert shelf.station_of(ledger, "Hut").runs == before.runs


def test_an_antenna_put_away_is_missed_by_its_run(ledger, tmp_path):
    taken_in(ledger, tmp_path, SITE + GEAR + RUN)
    shelf.archive(ledger, "antenna", "yagi", by=BY)
    with pytest.raises(InputError, match="yagi"):
        shelf.station_of(ledger, "Hut")


def test_a_form_of_gear_is_kept_and_kept_anew(ledger, tmp_path):
    taken_in(ledger, tmp_path, MORE)
    assert shelf.kept(ledger, "load", "half").body["impedance"] == "25 ohm"
    assert shelf.kept(ledger, "piece", "red 5").version == 1
    taken_in(ledger, tmp_path, MORE.replace("25 ohm", "100 ohm"))
    assert shelf.kept(ledger, "load", "half").version == 2
    assert shelf.kept(ledger, "attenuator", "pad").version == 1


@FILE_FIRST
@pytest.mark.parametrize(
    ("kind", "body", "said"),
    [
        ("attenuator", {"tag": "pad", "loss": "3"}, "loss needs a unit"),
        ("load", {"tag": "half"}, "must state its impedance or its SWR"),
        ("load", {"tag": "half", "impedance": "-5 ohm"}, "impedance"),
        ("radio", {"name": "rig", "power": "fifty"}, "power"),
        ("radio", {"name": "rig", "colour": "grey"}, "colour means nothing here"),
        ("antenna", {"name": "wire", "gain": "2 dBi"}, "swr, impedance, touchstone"),
    ],
)
def test_gear_that_breaks_a_rule_is_not_kept(ledger, kind, body, said):
    with pytest.raises(InputError, match=said):
        shelf.add(ledger, kind, body, by=BY)


def test_the_pads_of_a_sheet_join_the_shelf(ledger):
    shelf.file_sheet(ledger, DEMO_SHEET, by=BY)
    assert shelf.kept(ledger, "attenuator", "pad").body["loss"] == "3.0 dB"


def test_gear_comes_through_an_export_and_a_merge(ledger, tmp_path):
    taken_in(ledger, tmp_path, SITE + GEAR + RUN)
    taken_in(ledger, tmp_path, MORE)
    shelf.export_ledger(ledger, tmp_path / "all.zip")
    with open_ledger(tmp_path / "empty.sqlite", at=NOON) as empty:
        shelf.merge_ledger(empty, tmp_path / "all.zip", by=BY)
        assert shelf.kept_gear(empty).gear == shelf.kept_gear(ledger).gear
    with open_ledger(tmp_path / "other.sqlite", at=NOON) as other:
        shelf.add(other, "load", {"tag": "half", "swr": 2}, by=BY)
        shelf.merge_ledger(other, tmp_path / "all.zip", clash="both", by=BY)
        assert shelf.kept(other, "load", "half (2)").body["tag"] == "half (2)"
