"""What a decibel means, against published tables and question pools."""

from __future__ import annotations

import numpy as np
import pytest

from linewright.core.formulas import meaning as m
from published.reader import agrees, checks, label


def _hz(i):
    return i["frequency_mhz"] * 1e6


FUNCTIONS = {
    "lost_percent": lambda i: 100 * (1 - m.power_ratio(-i["loss_db"])),
    "delivered_percent": lambda i: 100 * m.power_ratio(-i["loss_db"]),
    "radiated_w": lambda i: m.equivalent_power_w(i["power_w"], i["change_db"]),
    "equivalent_power_w": lambda i: m.equivalent_power_w(i["power_w"], i["change_db"]),
    "s_reading_dbm": lambda i: m.s_reading_dbm(i["s_reading"], i["over_db"], _hz(i)),
    "s_microvolt": lambda i: 1e6 * np.sqrt(50 * 10 ** (m.s_reading_dbm(i["s_reading"], 0.0, _hz(i)) / 10 - 3)),
    "s9_microvolt": lambda i: 1e6 * np.sqrt(50 * 10 ** (m.s9_dbm(_hz(i)) / 10 - 3)),
    "s_level_voltage_microvolt": lambda i: 1e6 * m.level_voltage_v(m.s_reading_dbm(i["s_reading"], 0.0, _hz(i))),
    "voltage_watt": lambda i: m.level_voltage_v(i["level_dbm"]) ** 2 / 50.0,
    "s_units": lambda i: m.s_units(i["change_db"]),
    "free_space_loss_db": lambda i: m.free_space_loss_db(_hz(i), i["distance_km"] * 1e3),
    "field_strength_v_per_m": lambda i: m.field_strength_v_per_m(i["eirp_w"], i["distance_m"]),
}


@pytest.mark.parametrize("check", checks("meaning"), ids=label)
def test_agrees_with_print(check):
    assert agrees(FUNCTIONS[check["function"]](check["inputs"]), check)
