"""What a station file says of exposure: the antenna's lengths, overs, windows, people, one's own rules."""

from __future__ import annotations

import pytest

from linewright.core.errors import InputError
from linewright.core.nouns.exposure import Over
from linewright.core.nouns.wire_antenna import Dipole
from linewright.files.station import read_station, read_station_text
from linewright.verbs.changes import changed

RULES = """
[[limit]]
name = "National 2019"
who = "public"
from = "100 kHz"
to = "30 MHz"
electric_field = "61 V/m"
averaging = "6 min"
[[licence]]
band = "40 m"
power = "100 W"
"""


def text(*more, antenna="swr = 1.5", head=""):
    return "\n".join((
        head, "[[run]]", 'name = "wire"', 'frequencies = ["7.1 MHz"]', 'power = "100 W"',
        'chain = [{line = "RG-213/U", length = "20 m"}]', f"antenna = {{{antenna}}}", *more,
    ))  # fmt: skip


def the_run(*more, **given):
    return read_station_text(text(*more, **given), {"rules.toml": RULES}).runs[0]


def test_an_antenna_has_a_shape_beside_its_match():
    run = the_run(antenna='swr = 1.5, kind = "dipole", length = "20.2 m", height = "10 m", loss = "2 ohm"')
    assert run.antenna.shape == Dipole(20.2, 10.0)
    assert run.antenna.loss_ohm == 2.0
    assert run.antenna.swr == ((0.0, 1.5),)


def test_a_shape_alone_is_no_match():
    with pytest.raises(InputError, match="one of swr, impedance, touchstone"):
        the_run(antenna='kind = "dipole", length = "20.2 m", height = "10 m"')


def test_overs_and_pauses_stand_instead_of_a_duty():
    assert the_run('over = {on = "3 min", off = "5 min"}').over == Over(180.0, 300.0)
    with pytest.raises(InputError, match="beside duty"):
        the_run('over = {on = "3 min", off = "5 min"}', "duty = 0.5")


def test_a_mode_with_slots_brings_its_overs_unless_a_duty_is_stated():
    assert the_run('mode = "FT8"').over == Over(12.64, 17.36)
    assert the_run('mode = "FT8"', "duty = 0.5").over is None
    assert the_run('mode = "FT8"', 'over = {on = "3 min", off = "5 min"}').over == Over(180.0, 300.0)
    assert the_run('mode = "SSB"').over is None


def test_windows_and_people_are_lengths():
    exposure = the_run('exposure = {window = "5 m", people = "24 ft"}').exposure
    assert (exposure.window_m, exposure.people_m) == (5.0, 7.3152)


def test_ones_own_rules_are_read_beside_the_station(tmp_path):
    (tmp_path / "rules.toml").write_text(RULES)
    (tmp_path / "station.toml").write_text(
        text('exposure = {limits = ["National 2019", "ICNIRP 2020"]}', head='rules = "rules.toml"')
    )
    station = read_station(tmp_path / "station.toml")
    assert station.rules.names == ("National 2019",)
    assert station.rules.licence[0].limit_w == 100.0
    assert station.runs[0].exposure.standards == ("National 2019", "ICNIRP 2020")


def test_limits_that_no_rules_name_are_refused():
    with pytest.raises(InputError, match="National 2019"):
        the_run('exposure = {limits = ["National 2019"]}')


def test_what_is_wrong_in_the_rules_names_their_file_and_row():
    with pytest.raises(InputError, match="power of f") as caught:
        read_station_text(text(head='rules = "rules.toml"'), {"rules.toml": RULES.replace("61 V/m", "61")})
    assert (caught.value.where.file, caught.value.where.row) == ("rules.toml", 7)


def test_another_match_leaves_the_shape_of_the_antenna():
    shaped = text(antenna='swr = 1.5, kind = "dipole", length = "20.2 m", height = "10 m"')
    station = read_station_text(shaped, {})
    run = changed(station, ["antenna swr = 2", "antenna loss = 5 ohm", "window = 6 m"]).runs[0]
    assert run.antenna.swr == ((0.0, 2.0),)
    assert (run.antenna.shape, run.antenna.loss_ohm) == (Dipole(20.2, 10.0), 5.0)
    assert run.exposure.window_m == 6.0


def test_another_mode_has_its_own_overs_and_a_duty_has_none():
    station = read_station_text(text('mode = "FT8"'), {})
    assert changed(station, ["mode = WSPR"]).runs[0].over == Over(110.6, 9.4)
    assert changed(station, ["mode = SSB"]).runs[0].over is None
    assert changed(station, ["duty = 50 %"]).runs[0].over is None


def test_limits_and_a_licence_of_ones_own_stand_in_the_head_of_a_station():
    head = (
        '[station]\nown_limits = "electric field 28 V/m, averaging 6 min"\nlicence = ["40 m: 100 W power", "1 kW EIRP"]'
    )
    found = read_station_text(text(head=head), {})
    assert found.rules.names == ("Your own limits",)
    assert [(r.quantity, r.limit_w) for r in found.rules.licence] == [("power", 100.0), ("eirp", 1000.0)]
    assert "Your own limits" in found.runs[0].exposure.standards
    narrow = read_station_text(text(head=f'{head}\nlimits = ["ICNIRP 2020"]'), {})
    assert narrow.runs[0].exposure.standards == ("ICNIRP 2020", "Your own limits")
    with pytest.raises(InputError, match="station own_limits"):
        read_station_text(text(head='[station]\nown_limits = "a lot"'), {})
