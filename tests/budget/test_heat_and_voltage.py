"""Heat and voltage: the highest voltage is named, ratings hold by frequency, one from memory never heads an answer."""

from __future__ import annotations

import numpy as np
import pytest

from linewright.core.errors import InputError
from linewright.files.station import read_station_text
from linewright.link.findings import HIGH_V
from linewright.link.plan import plan_run

HEAD = """
[[run]]
name = "wire"
frequencies = [{frequencies}]
power = "{power}"
duty = {duty}
chain = [{chain}]
antenna = {antenna}
"""


def bands(chain, power="100 W", antenna="{swr = 1}", frequencies='"14 MHz"', duty=1):
    text = HEAD.format(chain=chain, power=power, antenna=antenna, frequencies=frequencies, duty=duty)
    return plan_run(read_station_text(text, {}).runs[0], {}).bands


def test_a_pad_is_as_hot_as_the_power_it_takes_up():
    # 0.3 dB before an SWR of 5 in 50 ohm, 100 W into the run: |Γ| = 2/3 behind it, by hand.
    (band,) = bands('{part = "pad", loss = "0.3 dB", power = "100 W"}', antenna='{impedance = "250"}')
    (pad,) = band.parts
    ratio, reflected = 10**-0.03, 4 / 9
    heat_w = 100.0 * (1 - ratio * (1 - reflected) / (1 - ratio**2 * reflected))
    allowed_w = 100.0 * (1 - ratio)
    assert pad.heat_w == pytest.approx(heat_w)
    assert (heat_w, allowed_w) == pytest.approx((15.4, 6.67), abs=0.05)
    assert 1.0 / pad.heat_margin == pytest.approx(heat_w / allowed_w)
    assert pad.load_w == pytest.approx(231.0, abs=1.0)
    assert "pad gets 2.3 times the heat that its rating allows." in band.weakest


def test_every_band_names_its_highest_voltage_and_where_it_stands():
    (band,) = bands('{part = "relay", loss = "0 dB"}, {line = "450-ohm windowed", length = "18 m", name = "ladder"}',
                    antenna='{impedance = "2900-1500j"}')  # fmt: skip
    most = max(band.parts, key=lambda p: p.peak_voltage_v)
    assert (band.peak_voltage_v, band.peak_voltage_part) == (most.peak_voltage_v, most.name)
    # At the antenna V = √(2 P |Z|²/R): the power that arrives tells it.
    at_the_end = np.sqrt(2.0 * band.power_at_antenna_w_high * abs(2900 - 1500j) ** 2 / 2900)
    assert band.peak_voltage_v == pytest.approx(at_the_end, rel=0.02)
    assert f"The highest voltage is {band.peak_voltage_v:.0f} V peak, on ladder; no rating is stated" in band.weakest


@pytest.mark.parametrize(("power", "told"), [("2400 W", False), ("2600 W", True)])
def test_a_voltage_heads_an_answer_where_it_is_high(power, told):
    # √(2 · 2500 W · 50 ohm) = 500 V.
    (band,) = bands('{part = "switch", loss = "0 dB", voltage = "2 kV"}', power)
    assert (band.peak_voltage_v >= HIGH_V) is told
    assert ("The highest voltage is" in band.weakest) is told


RELAY = '{part = "relay", loss = "0.1 dB", power = [["10 MHz", "400 W"], ["40 MHz", "200 W"]], voltage = "500 V"}'


def test_a_stated_rating_may_hang_on_frequency():
    low, middle, high = bands(RELAY, frequencies='"10 MHz", "20 MHz", "40 MHz"')
    assert [b.parts[0].power_rating_w for b in (low, middle, high)] == pytest.approx([400.0, 400 / np.sqrt(2), 200.0])
    assert high.parts[0].heat_margin == pytest.approx(2.0)
    with pytest.raises(InputError, match="rated by power from 10 MHz to 40 MHz only; 50 MHz lies outside"):
        bands(RELAY, frequencies='"50 MHz"')


@pytest.mark.parametrize("duty", [1, 0.5, 0.1])
def test_a_power_rating_is_held_against_the_average(duty):
    (band,) = bands('{part = "relay", loss = "0.1 dB", power = "100 W", voltage = "100 V"}', duty=duty)
    assert band.parts[0].heat_margin == pytest.approx(1.0 / duty)
    assert band.parts[0].voltage_margin == pytest.approx(np.sqrt(2.0))  # peaks stay whatever the duty


def test_a_rating_says_where_it_comes_from_and_what_was_assumed():
    (band,) = bands('{line = "RG-213/U", length = "20 m"}, {part = "relay", loss = "0.1 dB", power = "100 W"}')
    line, relay = band.parts
    assert line.voltage_rating_grade == "read"
    assert line.power_rating_grade == "memory"
    assert "as published for 40 °C: no temperature is stated" in line.power_rating_by
    assert relay.power_rating_grade == "person"
    assert "average power into a match" in relay.power_rating_by
    assert relay.voltage_rating_by == relay.voltage_rating_grade == ""


def test_a_rating_from_memory_never_heads_an_answer():
    (band,) = bands('{line = "RG-58C/U", length = "20 m"}', "2 kW", frequencies='"144 MHz"')
    (line,) = band.parts
    assert line.power_rating_grade == "memory"
    assert line.heat_margin < 1.0
    assert line.beyond("known") == ()
    assert line.beyond("memory") == ("heat",)
    assert "times the heat" not in band.weakest
    assert f"{line.power_rating_w:.0f}" not in band.weakest
    assert "look up its maker's rating" in band.weakest


def test_a_stated_rating_heads_it():
    (band,) = bands('{part = "relay", loss = "0.1 dB", power = "50 W", voltage = "50 V"}')
    assert set(band.parts[0].beyond("known")) == {"voltage", "heat"}
    assert "relay sees 100 V peak and is rated for 71 V." in band.weakest
    assert "relay gets 2.0 times the heat" in band.weakest
