"""Noise of receiving chains and sites against published and independently worked values."""

from __future__ import annotations

import numpy as np
import pytest

from linewright.catalogue.noise_sites import galactic_noise, noise_site
from linewright.core.formulas import noise as n
from linewright.core.formulas import sky
from linewright.files.station import read_station_text
from linewright.link.plan import plan_run
from published.reader import agrees, checks, label

AMPLIFIER = n.Stage(np.asarray(50.0), np.asarray(150.0))
CABLE = n.passive_stage(5.0)
RECEIVER = n.active_stage(0.0, 12.0)
POZAR = (n.active_stage(10.0, 2.0), n.passive_stage(1.0), n.active_stage(-3.0, 4.0))


def _site(i):
    return galactic_noise() if i["site"] == "galactic" else noise_site(i["site"])


def _masthead():
    return n.system_temperature_kelvin(35.0, (AMPLIFIER, CABLE, RECEIVER))


def _shack():
    return n.system_temperature_kelvin(35.0, (CABLE, AMPLIFIER, RECEIVER))


def _line_first(i):
    return n.cascade_temperature_kelvin((n.passive_stage(i["loss_db"]), n.active_stage(20.0, i["noise_figure_db"])))


def _external(i):
    return n.external_temperature_kelvin(i["external_db"])


def _chain(i, *, lossless=False):
    return n.passive_stage(0.0 if lossless else i["loss_db"]), n.active_stage(0.0, i["noise_figure_db"])


def _run_figure_db(i):
    """Return the noise figure of a whole run, planned from a station file; every part at 290 K."""
    station = read_station_text(
        '[[run]]\nname = "r"\nfrequencies = "145 MHz"\npower = "5 W"\nantenna = {swr = 1}\n'
        f'chain = [{{part = "line", loss = "{i["loss_db"]} dB", temperature = "290 K"}}]\n'
        f'receiver = {{noise_figure = "{i["receiver_db"]} dB"}}\nsky_temperature = "200 K"\n'
        f'preamplifier = {{gain = "{i["gain_db"]} dB", noise_figure = "{i["noise_figure_db"]} dB",'
        f' at = "{i["at"]}"}}\n',
        {},
    )
    return plan_run(station.runs[0], {}).bands[0].reception.noise_figure_db


def _mhz(i):
    return i["frequency_mhz"] * 1e6


FUNCTIONS = {
    "run_figure_db": _run_figure_db,
    "sum_kelvin": lambda i: n.system_temperature_kelvin(
        i["external_kelvin"], [n.active_stage(24.0, i["noise_figure_db"])]
    ),
    "zenith_kelvin": lambda i: sky.sky_kelvin(_mhz(i), 90.0),
    "sky_without_air_kelvin": lambda i: sky.galactic_kelvin(_mhz(i)) + sky.COSMIC_KELVIN,
    "galactic_kelvin": lambda i: sky.galactic_kelvin(_mhz(i)),
    "site_median_db": lambda i: _site(i).median_db(i["frequency_mhz"] * 1e6),
    "site_slope_db_per_decade": lambda i: _site(i).median_db(1e6) - _site(i).median_db(10e6),
    "site_upper_decile_db": lambda i: _site(i).upper_decile_db,
    "site_lower_decile_db": lambda i: _site(i).lower_decile_db,
    "masthead_kelvin": lambda i: _masthead(),
    "shack_kelvin": lambda i: _shack(),
    "masthead_gain_db": lambda i: 10 * np.log10(_shack() / _masthead()),
    "noise_temperature_kelvin": lambda i: n.noise_temperature_kelvin(i["noise_figure_db"]),
    "pozar_factor": lambda i: 1 + n.cascade_temperature_kelvin(POZAR) / 290,
    "pozar_figure_db": lambda i: n.noise_figure_db(n.cascade_temperature_kelvin(POZAR)),
    "pozar_kelvin": lambda i: n.cascade_temperature_kelvin(POZAR),
    "loss_kelvin": lambda i: n.passive_stage(i["loss_db"]).temperature_kelvin,
    "line_first_figure_db": lambda i: n.noise_figure_db(_line_first(i)),
    "shack_loss_db": lambda i: 10 * np.log10(_line_first(i) / n.noise_temperature_kelvin(i["other_figure_db"])),
    "two_amplifiers_kelvin": lambda i: n.cascade_temperature_kelvin(
        (
            n.Stage(10 * np.log10(i["gain"]), np.asarray(i["first_kelvin"])),
            n.Stage(np.asarray(1.0), np.asarray(i["second_kelvin"])),
        )
    ),
    "hf_over_external_db": lambda i: 10 * np.log10(n.system_temperature_kelvin(_external(i), _chain(i)) / _external(i)),
    "reception_loss_db": lambda i: n.reception_loss_db(_external(i), _chain(i), _chain(i, lossless=True)),
}


@pytest.mark.parametrize("check", checks("noise"), ids=label)
def test_agrees_with_print(check):
    assert agrees(FUNCTIONS[check["function"]](check["inputs"]), check)
