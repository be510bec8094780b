"""Exposure limits, densities and distances against published values."""

from __future__ import annotations

import tomllib
from math import log10
from pathlib import Path

import pytest

from linewright.catalogue.exposure_limits import exempt_erp_w, limits_at, mode_factor
from linewright.core.formulas import exposure as x
from linewright.core.nouns.exposure import Over
from linewright.link.exposure import Emitter, share_of_peak
from published.reader import agrees, checks, label

CFR, ICNIRP = "47 CFR 1.1310", "ICNIRP 2020"
FILE = Path(__file__).parents[1] / "published" / "exposure.toml"


def _limit(standard, i):
    return limits_at(standard, i["who"], i["frequency_mhz"] * 1e6)


def _distance_m(i):
    eirp = x.eirp_w(i["power_w"], i["gain_dbi"])
    return x.compliance_distance_m(eirp, _limit(CFR, i).density_w_per_m2, i["ground_factor"])


def _erp_at_public_limit_w(i):
    """The ERP whose far field, all of it reflected, is at the public limit at a distance."""
    limit = limits_at(CFR, "public", i["frequency_mhz"] * 1e6).density_w_per_m2
    watt = x.power_density_w_per_m2(x.DIPOLE_GAIN, i["distance_m"], 4.0)
    return limit / watt


def _field_v_per_m(i):
    return x.electric_field_v_per_m(x.power_density_w_per_m2(i["eirp_w"], i["distance_m"]))


def _exempt_distance_m(i):
    return (i["erp_w"] / exempt_erp_w(i["frequency_mhz"] * 1e6, 1.0).erp_w) ** 0.5


def _low(i):
    return limits_at("ICNIRP 2010", i["who"], i["frequency_mhz"] * 1e6)


def _average_over_w(i):
    """The average in the worst averaging time, as exposure counts it."""
    over = Over(60.0 * i["on_min"], 60.0 * i["off_min"])
    factor = mode_factor(i["mode"]).factor
    emitter = Emitter(14e6, i["power_w"], i["power_w"], mode_factor=factor, over=over)
    return i["power_w"] * share_of_peak(emitter, 60.0 * i["averaging_min"])


def _average_power_w(i):
    """The same of a share of any averaging time."""
    factor = mode_factor(i["mode"]).factor
    emitter = Emitter(14e6, i["power_w"], i["power_w"], mode_factor=factor, duty=i["transmit_share"])
    return i["power_w"] * share_of_peak(emitter, 360.0)


def _exempt_coefficient(i):
    return exempt_erp_w(i["frequency_mhz"] * 1e6, 1.0).erp_w / i["frequency_mhz"] ** i["power_of_f"]


FUNCTIONS = {
    "icnirp_2010_e_kv_per_m": lambda i: _low(i).e_v_per_m / 1e3,
    "icnirp_2010_h_a_per_m": lambda i: _low(i).h_a_per_m,
    "average_over_w": _average_over_w,
    "exempt_coefficient": _exempt_coefficient,
    "cfr_mw_per_cm2": lambda i: _limit(CFR, i).s_w_per_m2 / 10,
    "icnirp_e_v_per_m": lambda i: _limit(ICNIRP, i).e_v_per_m,
    "icnirp_h_a_per_m": lambda i: _limit(ICNIRP, i).h_a_per_m,
    "icnirp_s_w_per_m2": lambda i: _limit(ICNIRP, i).s_w_per_m2,
    "cfr_e_v_per_m": lambda i: _limit(CFR, i).e_v_per_m,
    "cfr_h_a_per_m": lambda i: _limit(CFR, i).h_a_per_m,
    "erp_at_public_limit_w": _erp_at_public_limit_w,
    "field_v_per_m": _field_v_per_m,
    "cfr_density_distance_m": _distance_m,
    "near_field_m": lambda i: x.reactive_near_field_m(i["frequency_mhz"] * 1e6),
    "exempt_erp_w": lambda i: exempt_erp_w(i["frequency_mhz"] * 1e6, i["distance_m"]).erp_w,
    "exempt_distance_m": _exempt_distance_m,
    "average_power_w": _average_power_w,
    "distance_multiplier": lambda i: x.compliance_distance_m(i["share"], 1.0) / x.compliance_distance_m(1.0, 1.0),
    "mode_factor": lambda i: mode_factor(i["mode"]).factor,
    "dbd": lambda i: i["gain_dbi"] - 10 * log10(x.DIPOLE_GAIN),
}


@pytest.mark.parametrize("check", checks("exposure"), ids=label)
def test_agrees_with_print(check):
    assert agrees(FUNCTIONS[check["function"]](check["inputs"]), check)


OF_PROGRAMS = ("page image", "program", "calculator", "wenxuecity", "w3zr")


def test_no_check_is_the_printout_of_a_program():
    told = [f"{c['source']} {c.get('place', '')} {c.get('why', '')}".lower() for c in checks("exposure")]
    assert len(told) > 40
    assert [t for t in told if any(word in t for word in OF_PROGRAMS)] == []
    assert [t for t in told if "worked distances" in t] == []


@pytest.mark.parametrize("wrong", tomllib.loads(FILE.read_text(encoding="utf-8"))["misprint"], ids=lambda w: w["place"])
def test_a_misprint_is_not_followed_and_is_the_figure_of_the_other_row(wrong):
    inputs = wrong["inputs"]
    assert not agrees(FUNCTIONS["cfr_mw_per_cm2"](inputs), wrong)
    assert agrees(FUNCTIONS["cfr_mw_per_cm2"]({**inputs, "who": "public"}), wrong)
