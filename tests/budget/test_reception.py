"""Reception by hand: each part where it stands and as warm as it is, remedies where they apply, sentences that hold."""

from __future__ import annotations

import re

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from linewright.core.errors import InputError
from linewright.core.formulas import sky
from linewright.files.station import read_station_text
from linewright.link.plan import plan_run
from linewright.link.reception import LEAST_WON_DB, UNHEARD_DB

HEAD = """
[[run]]
name = "beam"
frequencies = ["{frequency}"]
power = "100 W"
antenna = {{swr = 1}}
receiver = {{{receiver}}}
chain = [{chain}]
{more}
"""


def heard(chain, receiver='noise_figure = "6 dB"', more='sky_temperature = "30 K"', frequency="432 MHz", site=""):
    text = HEAD.format(frequency=frequency, receiver=receiver, chain=chain, more=more) + site
    station = read_station_text(text, {})
    return plan_run(station.runs[0], {}, noise=station.noise).bands[0].reception


def figure_kelvin(db):
    return 290.0 * (10 ** (db / 10) - 1)


def loss_kelvin(db, kelvin=293.15):
    return kelvin * (10 ** (db / 10) - 1)


LNA = '{preamplifier = "lna", gain = "20 dB", noise_figure = "0.5 dB"}'


def test_what_stands_before_a_preamplifier_counts_whole_and_what_follows_by_its_gain():
    # Reckoned with a pencil: relay 0.05 dB and line 0.3 dB before the preamplifier, 3 dB of line behind it.
    before = '{part = "tail", loss = "0.3 dB"}, {part = "relay", loss = "0.05 dB"}'
    r = heard(f'{{part = "line", loss = "3 dB"}}, {LNA}, {before}')
    relay, tail, lna, line, receiver = (
        loss_kelvin(0.05), loss_kelvin(0.3), figure_kelvin(0.5), loss_kelvin(3.0), figure_kelvin(6.0),
    )  # fmt: skip
    after = 10**0.005 * (tail + 10**0.03 * (lna + (line + 10**0.3 * receiver) / 100.0))
    assert r.noise_temperature_kelvin == pytest.approx(relay + after)
    assert r.system_noise_kelvin == pytest.approx(30.0 + relay + after)
    assert [s.name for s in r.sources] == ["relay", "tail", "lna", "line", "receiver"]
    assert sum(s.noise_kelvin for s in r.sources) == pytest.approx(r.noise_temperature_kelvin)
    at_the_antenna = heard('{part = "line", loss = "3 dB"}', more='sky_temperature = "30 K"\n'
                           'preamplifier = {gain = "20 dB", noise_figure = "0.5 dB"}')  # fmt: skip
    assert r.system_noise_kelvin - at_the_antenna.system_noise_kelvin > 20.0


def test_each_part_is_as_warm_as_it_is_stated():
    chain = '{part = "filter", loss = "1 dB", temperature = "77 K"}, {connector = "N", temperature = "-50 °C"}'
    r = heard(chain)
    by_name = {s.name: s for s in r.sources}
    assert by_name["filter"].noise_temperature_kelvin == pytest.approx(loss_kelvin(1.0, 77.0))
    assert by_name["1 pair of N connectors"].temperature_kelvin == pytest.approx(223.15)


def test_a_receiver_and_a_preamplifier_may_be_stated_in_kelvin():
    by_figure, by_kelvin = (
        heard("", 'noise_figure = "3 dB"'),
        heard("", f'noise_temperature = "{figure_kelvin(3.0)} K"'),
    )
    assert by_kelvin.system_noise_kelvin == pytest.approx(by_figure.system_noise_kelvin)
    cold = heard(LNA.replace('noise_figure = "0.5 dB"', 'noise_temperature = "35 K"'))
    assert cold.sources[0].noise_temperature_kelvin == pytest.approx(35.0)


@pytest.mark.parametrize("receiver", ['noise_figure = "1 dB", noise_temperature = "75 K"', ""])
def test_a_receiver_is_stated_once(receiver):
    with pytest.raises(InputError, match="noise_figure"):
        heard("", receiver)


def test_noise_figure_and_figure_of_merit_follow_from_the_temperatures():
    r = heard('{part = "line", loss = "2 dB"}', more='sky_temperature = "100 K"\ngain = "20 dBi"')
    assert r.noise_figure_db == pytest.approx(10 * np.log10(1 + r.noise_temperature_kelvin / 290))
    assert r.g_over_t_db_per_kelvin == pytest.approx(20 - 10 * np.log10(100 + r.noise_temperature_kelvin))
    assert heard("").g_over_t_db_per_kelvin is None


def test_at_290_kelvin_a_loss_adds_its_decibels_to_the_noise_figure():
    r = heard('{part = "line", loss = "2 dB", temperature = "16.85 °C"}')
    assert r.noise_figure_db == pytest.approx(8.0)


def test_a_stated_loss_keeps_the_interval_of_the_noise():
    stated = heard('{part = "line", loss = "2 dB"}', more="", site='[station]\nnoise = "rural"', frequency="144 MHz")
    assert stated.external_noise_kelvin_high > 2.0 * stated.external_noise_kelvin
    assert stated.reception_loss_db_high > stated.reception_loss_db + 0.1


def test_no_line_no_remedy_by_a_line():
    kinds = {m.kind for m in heard('{part = "filter", loss = "2 dB"}').remedies}
    assert kinds == {"mast", "shack"}
    with_line = {m.kind for m in heard('{line = "RG-58C/U", length = "20 m"}').remedies}
    assert {"line", "route", "mast"} <= with_line
    assert heard('{line = "RG-58C/U", length = "20 m"}', frequency="3.6 MHz", more="",
                 site='[station]\nnoise = "city"').remedies == ()  # fmt: skip


def test_a_preamplifier_that_has_loss_before_it_may_move_and_one_at_the_antenna_may_not():
    low = heard(f'{LNA}, {{part = "line", loss = "3 dB"}}')
    assert [m.kind for m in low.remedies] == ["moved"]
    assert "lna moved to the antenna" in low.remedies[0].what
    assert heard(f'{{part = "line", loss = "3 dB"}}, {LNA}').remedies == ()


def test_every_preamplifier_that_is_offered_says_what_it_needs():
    for chain in ('{part = "line", loss = "3 dB"}', f'{LNA}, {{part = "line", loss = "3 dB"}}'):
        for remedy in heard(chain).remedies:
            assert any("bypass" in need for need in remedy.needs)
            mast = remedy.kind in ("mast", "moved")
            assert any("supply up the mast" in need for need in remedy.needs) is mast
            assert any("lightning" in need for need in remedy.needs) is mast


def test_a_remedy_is_offered_where_it_wins_and_leaves_what_a_plan_with_it_leaves():
    station = read_station_text(HEAD.format(
        frequency="432 MHz", receiver='noise_figure = "6 dB"', chain='{part = "line", loss = "3 dB"}',
        more='sky_temperature = "30 K"'), {})  # fmt: skip
    run = station.runs[0]
    before = plan_run(run, {}).bands[0].reception
    mast = next(m for m in before.remedies if m.kind == "mast")
    with_it = read_station_text(HEAD.format(
        frequency="432 MHz", receiver='noise_figure = "6 dB"', chain='{part = "line", loss = "3 dB"}',
        more='sky_temperature = "30 K"\npreamplifier = {gain = "20 dB", noise_figure = "1 dB"}'), {})  # fmt: skip
    after = plan_run(with_it.runs[0], {}).bands[0].reception
    won_db = 10 * np.log10(before.system_noise_kelvin / after.system_noise_kelvin)
    assert before.reception_loss_db - mast.reception_loss_db == pytest.approx(won_db)


def test_a_bypassed_preamplifier_loses_what_its_relays_lose_on_transmit():
    with_relays = LNA.replace("}", ', loss = "0.2 dB", power = "50 W", voltage = "100 V"}')
    text = HEAD.format(frequency="432 MHz", receiver='noise_figure = "6 dB"', chain=with_relays, more="")
    band = plan_run(read_station_text(text, {}).runs[0], {}).bands[0]
    assert band.total_loss_db == pytest.approx(0.2)
    assert band.parts[0].kind == "preamplifier"
    assert band.parts[0].heat_margin == pytest.approx(0.5)


# The sky


def test_a_dish_hears_the_sky_and_the_ground_behind_it():
    r = heard("", more='sky = {elevation = "30 deg", ground = "10 %"}', frequency="1296 MHz")
    expected = 0.9 * float(sky.sky_kelvin(1.296e9, 30.0)) + 0.1 * 290.0
    assert r.antenna_temperature_kelvin == pytest.approx(expected)
    assert 30.0 < expected < 45.0
    assert any("30° above the horizon" in s and "10 %" in s for s in r.assumed)


@pytest.mark.parametrize("frequency", ["144 MHz", "432 MHz", "1296 MHz"])
def test_lower_looks_hear_more_air_and_more_ground_hears_more(frequency):
    def kelvin(elevation, ground):
        more = f'sky = {{elevation = "{elevation} deg", ground = "{ground} %"}}'
        return heard("", more=more, frequency=frequency).antenna_temperature_kelvin

    if frequency != "144 MHz":  # there the galaxy is warmer than the air
        assert kelvin(5, 10) > kelvin(60, 10)
        assert kelvin(30, 30) > kelvin(30, 10)


def test_sky_and_sky_temperature_exclude_each_other():
    with pytest.raises(InputError, match="stands beside sky_temperature"):
        heard("", more='sky = {elevation = "5 deg", ground = "50 %"}\nsky_temperature = "100 K"')


# Sentences hold at both ends of the scale


@given(
    kelvin=st.floats(5.0, 1e6), loss_db=st.floats(0.0, 15.0), figure_db=st.floats(0.2, 20.0),
    amplified=st.booleans(), place=st.booleans(),
)  # fmt: skip
def test_what_is_said_of_reception_is_so(kelvin, loss_db, figure_db, amplified, place):
    line = f'{{part = "line", loss = "{loss_db:.3f} dB"}}'
    chain = line if not amplified else f"{line}, {LNA}" if place else f"{LNA}, {line}"
    r = heard(chain, f'noise_figure = "{figure_db:.3f} dB"', more=f'sky_temperature = "{kelvin:.3f} K"')
    said = {
        "heard": "of noise and the run adds", "hidden": "louder than all the noise that the run adds",
        "amplified": "makes up for", "little": "Little is lost", "no loss": "nothing between antenna and receiver",
    }  # fmt: skip
    assert said[r.state] in r.why
    assert (r.state == "heard") == (r.reception_loss_db >= UNHEARD_DB)
    if r.state == "hidden":
        assert r.external_noise_kelvin > r.noise_temperature_kelvin
    if r.state == "amplified":
        assert amplified
    if r.state == "no loss":
        assert loss_db < 0.06
    assert "little noise comes in" not in r.why
    for remedy in r.remedies:
        assert r.reception_loss_db - remedy.reception_loss_db >= LEAST_WON_DB - 1e-9
    if won := re.search(r"The best remedy is (.*?)(?:: |, which)", r.why):
        assert won[1] == min(r.remedies, key=lambda m: m.reception_loss_db).what


def test_thirty_kelvin_outside_hides_nothing():
    # 30 K come in, the run adds as much again: nobody may say that noise from outside hides the line.
    r = heard(f'{{part = "line", loss = "1 dB"}}, {LNA}')
    assert r.external_noise_kelvin == 30.0
    assert r.noise_temperature_kelvin > 30.0
    assert r.state == "amplified"
    assert "outside" not in r.why
