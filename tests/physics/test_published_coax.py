"""Losses of metal and dielectric against published and independently worked values."""

from __future__ import annotations

import numpy as np
import pytest

from linewright.core.formulas import coax
from linewright.core.formulas.coax import COPPER, Layer, Metal, sheet_resistance_ohm
from published.reader import agrees, checks, label

THICK_M = 5e-3
"""Many skin depths: what lies deeper carries nothing."""


def _surface_ohm(i, metal=COPPER):
    return float(sheet_resistance_ohm(i["frequency_mhz"] * 1e6, [Layer(metal, THICK_M)]))


def _skin_depth_um(i, metal=COPPER):
    # A thick metal resists as a sheet of one skin depth does at direct current.
    return 1e6 / (metal.conductivity_s_per_m * _surface_ohm(i, metal))


FUNCTIONS = {
    "skin_depth_um": _skin_depth_um,
    "skin_depth_of_um": lambda i: _skin_depth_um(i, Metal(i["conductivity_ms_per_m"] * 1e6)),
    "surface_resistance_ohm": _surface_ohm,
    "dielectric_loss_db_per_m": lambda i: coax.dielectric_loss_db_per_m(
        i["frequency_mhz"] * 1e6, i["permittivity"], i["loss_tangent"]
    ),
    "loss_when_warm_db": lambda i: i["loss_db"] * coax.temperature_factor((i["temperature_fahrenheit"] - 32) / 1.8),
}


@pytest.mark.parametrize("check", checks("coax"), ids=label)
def test_agrees_with_print(check):
    assert agrees(FUNCTIONS[check["function"]](check["inputs"]), check)


@pytest.mark.parametrize("inch", [0.035, 0.089, 0.195])
def test_the_hand_formula_in_inches_agrees_within_one_percent(inch):
    # 0.435 √f(MHz) / (Z0 d(in)) dB per 100 ft per conductor: a cable-assembly page on design criteria (read).
    by_hand_ohm = 0.435 * np.sqrt(100.0) / inch / 8.685889638 * 2 / 30.48
    ours_ohm = _surface_ohm({"frequency_mhz": 100.0}) / (np.pi * inch * 0.0254)
    assert ours_ohm == pytest.approx(by_hand_ohm, rel=0.01)
