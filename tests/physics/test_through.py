"""Looking through a line: published values, an independent engine, and the way there and back."""

from __future__ import annotations

import numpy as np
import pytest
import skrf
from hypothesis import given
from hypothesis import strategies as st

from linewright.core.errors import InputError
from linewright.core.formulas import deembedding as th
from linewright.core.formulas import mismatch as mm
from linewright.core.formulas.deembedding import loss_from_reflection_db
from linewright.core.formulas.lossy_line import input_impedance_ohm
from published.reader import agrees, checks, label

FOOT_M = 0.3048


def _window_line(load):
    length, f = 100 * FOOT_M, 1.83e6
    neper, beta = 0.095 / 8.685889638, th.phase_constant_rad_per_m(f, 0.915) * length
    z0 = th.lossy_impedance_ohm(402.75, neper, 0.0, beta)
    return input_impedance_ohm(complex(*load), z0, neper + 1j * beta)


def _near(i):
    return input_impedance_ohm(complex(*i["load_ohm"]), complex(*i["line_ohm"]), 2j * np.pi * i["wavelengths"])


def _far(i):
    return th.far_impedance_ohm(complex(*i["near_ohm"]), complex(*i["line_ohm"]), 2j * np.pi * i["wavelengths"])


def _lossy(i):
    beta = th.phase_constant_rad_per_m(i["frequency_hz"], i["velocity_factor"])
    return th.lossy_impedance_ohm(i["impedance_ohm"], i["db_per_m"] / 8.685889638, 0.0, beta)


FUNCTIONS = {
    "highest_swr": lambda i: th.highest_swr(i["matched_loss_db"]),
    "ceiling_of_half": lambda i: th.highest_swr(-10 * np.log10(i["delivered"])),
    "largest_loss_at_swr_db": lambda i: loss_from_reflection_db(mm.reflection_from_swr(i["swr"])),
    "swr_at_antenna": lambda i: mm.swr_from_reflection(
        th.plain_far_reflection(i["matched_loss_db"], mm.reflection_from_swr(i["swr_at_radio"]))
    ),
    "reflection_at_antenna": lambda i: th.plain_far_reflection(i["matched_loss_db"], i["reflection_at_radio"]),
    "near_resistance_ohm": lambda i: _near(i).real,
    "near_reactance_ohm": lambda i: _near(i).imag,
    "far_resistance_ohm": lambda i: _far(i).real,
    "far_reactance_ohm": lambda i: _far(i).imag,
    "lossy_reactance_ohm": lambda i: _lossy(i).imag,
    "window_line_near_resistance_ohm": lambda i: _window_line(i["load_ohm"]).real,
    "window_line_near_reactance_ohm": lambda i: _window_line(i["load_ohm"]).imag,
}


@pytest.mark.parametrize("check", checks("through"), ids=label)
def test_agrees_with_print(check):
    assert agrees(FUNCTIONS[check["function"]](check["inputs"]), check)


ohms = st.floats(1.0, 2000.0)
reactances = st.floats(-2000.0, 2000.0)
lines = st.builds(
    lambda r0, lean, db, turns: (r0 * (1 + 1j * lean), db / 8.685889638 + 2j * np.pi * turns),
    st.floats(25.0, 600.0), st.floats(-0.05, 0.05), st.floats(0.0, 15.0), st.floats(0.01, 12.0),
)  # fmt: skip


def _by_scikit_rf(load, z0, gl):
    """The impedance seen into a metre of line, by another engine, through its chain matrix."""
    f = skrf.Frequency(1, 1, 1, unit="MHz")
    media = skrf.media.DefinedGammaZ0(f, gamma=gl, z0=z0)
    (a, b), (c, d) = media.line(1.0, unit="m").a[0]
    return (a * load + b) / (c * load + d)


@given(lines, ohms, reactances)
def test_another_engine_forward_and_ours_back_gives_the_load_again(line, r, x):
    z0, gl = line
    load = complex(r, x)
    near = _by_scikit_rf(load, z0, gl)
    # Rounding at the near end is multiplied by the way back, and by how far the load stands from the line.
    gamma = (load - z0) / (load + z0)
    worth = 2 * abs(z0) / abs(1 - gamma) ** 2 * np.exp(2 * gl.real) / abs(load)
    assert abs(th.far_impedance_ohm(near, z0, gl) / load - 1) < 1e-9 * max(1.0, worth / 1e3)


@given(lines, ohms, reactances)
def test_forward_agrees_with_another_engine(line, r, x):
    z0, gl = line
    ours, theirs = input_impedance_ohm(complex(r, x), z0, gl), _by_scikit_rf(complex(r, x), z0, gl)
    assert abs(ours / theirs - 1) < 1e-9


@given(st.floats(0.0, 20.0), st.floats(0.0, 1.0))
def test_no_reflection_behind_a_line_shows_more_than_its_ceiling(loss_db, reflection):
    shown = mm.swr_from_reflection(mm.input_reflection(loss_db, reflection))
    assert shown <= th.highest_swr(loss_db) * (1 + 1e-12)


def test_an_open_end_is_known_behind_a_line():
    near = 50.0 / np.tanh(0.1 + 0.7j)
    assert np.abs(th.far_impedance_ohm(near, 50.0, 0.1 + 0.7j)) > 1e12


def test_equal_loss_in_conductors_and_dielectric_leaves_a_real_impedance():
    """Heaviside's condition, R/L = G/C: no distortion (any textbook on lines)."""
    assert th.lossy_impedance_ohm(50.0, 0.2, 0.2, 7.0) == pytest.approx(50.0)


def test_first_order_impedance_is_close_to_the_square_root():
    r, inductance, g, c, w = 1.2, 250e-9, 2e-4, 100e-12, 2 * np.pi * 14e6
    exact = np.sqrt((r + 1j * w * inductance) / (g + 1j * w * c))
    r0 = np.sqrt(inductance / c)
    ours = th.lossy_impedance_ohm(r0, r / (2 * r0), g * r0 / 2, w * np.sqrt(inductance * c))
    assert abs(ours - exact) < 1e-3 * abs(exact)


@pytest.mark.parametrize(
    "call",
    [
        lambda: th.plain_far_reflection(-1.0, 0.1),
        lambda: th.phase_constant_rad_per_m(1e6, 1.2),
        lambda: th.lossy_impedance_ohm(0.0, 0.1, 0.1, 1.0),
    ],
)
def test_what_cannot_be_is_refused(call):
    with pytest.raises(InputError):
        call()
