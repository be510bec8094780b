"""Exposure limits, densities and distances against published values."""

from __future__ import annotations

import tomllib
from math import log10
from pathlib import Path

import pytest

from linewright.catalogue.exposure_limits import exempt_erp_w, limits_at, mode_factor
from linewright.physics import exposure as x
from published.reader import agrees, checks, label

FT = 0.3048
CFR, ICNIRP = "47 CFR 1.1310", "ICNIRP 2020"
FILE = Path(__file__).parents[1] / "published" / "exposure.toml"


def _limit(standard, i):
    return limits_at(standard, i["who"], i["frequency_mhz"] * 1e6)


def _distance_m(i):
    eirp = x.eirp_w(i["power_w"], i["gain_dbi"])
    return x.compliance_distance_m(eirp, _limit(CFR, i).density_w_per_m2, i["ground_factor"])


def _dipole_m(i):
    limit = limits_at(CFR, i["who"], 145e6)
    return x.compliance_distance_m(i["power_w"] * x.DIPOLE_GAIN, limit.density_w_per_m2, i["ground_factor"])


def _density_mw_per_cm2(i):
    eirp = x.eirp_w(i["power_w"], i["gain_dbi"])
    return x.power_density_w_per_m2(eirp, i["distance_ft"] * FT, i["ground_factor"]) / 10


def _exempt_distance_m(i):
    return (i["erp_w"] / exempt_erp_w(i["frequency_mhz"] * 1e6, 1.0).erp_w) ** 0.5


FUNCTIONS = {
    "cfr_mw_per_cm2": lambda i: _limit(CFR, i).s_w_per_m2 / 10,
    "icnirp_e_v_per_m": lambda i: _limit(ICNIRP, i).e_v_per_m,
    "icnirp_h_a_per_m": lambda i: _limit(ICNIRP, i).h_a_per_m,
    "icnirp_s_w_per_m2": lambda i: _limit(ICNIRP, i).s_w_per_m2,
    "density_mw_per_cm2": _density_mw_per_cm2,
    "cfr_distance_ft": lambda i: _distance_m(i) / FT,
    "cfr_density_distance_m": _distance_m,
    "dipole_distance_m": _dipole_m,
    "near_field_m": lambda i: x.reactive_near_field_m(i["frequency_mhz"] * 1e6),
    "exempt_erp_w": lambda i: exempt_erp_w(i["frequency_mhz"] * 1e6, i["distance_m"]).erp_w,
    "exempt_distance_m": _exempt_distance_m,
    "average_power_w": lambda i: x.average_power_w(i["power_w"], mode_factor(i["mode"]).factor, i["transmit_share"]),
    "distance_multiplier": lambda i: x.compliance_distance_m(i["share"], 1.0) / x.compliance_distance_m(1.0, 1.0),
    "mode_factor": lambda i: mode_factor(i["mode"]).factor,
    "dbd": lambda i: i["gain_dbi"] - 10 * log10(x.DIPOLE_GAIN),
}


@pytest.mark.parametrize("check", checks("exposure"), ids=label)
def test_agrees_with_print(check):
    assert agrees(FUNCTIONS[check["function"]](check["inputs"]), check)


def _added_ft(check):
    return float(check["printed"]) - float(_distance_m(check["inputs"])) / FT


@pytest.mark.parametrize(
    "check", [c for c in checks("exposure", "cfr_distance_ft") if "0.05 ft" in c["why"]], ids=label
)
def test_one_program_adds_the_same_twentieth_of_a_foot_to_every_distance(check):
    assert _added_ft(check) == pytest.approx(0.05, abs=0.0051)


@pytest.mark.parametrize("wrong", tomllib.loads(FILE.read_text(encoding="utf-8"))["misprint"], ids=lambda w: w["place"])
def test_a_misprint_is_not_followed_and_is_the_figure_of_the_other_row(wrong):
    inputs = wrong["inputs"]
    assert not agrees(FUNCTIONS["cfr_mw_per_cm2"](inputs), wrong)
    assert agrees(FUNCTIONS["cfr_mw_per_cm2"]({**inputs, "who": "public"}), wrong)
