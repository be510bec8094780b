"""Windows of a sweep and peeling, against lines worked out exactly."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from linewright.core.errors import InputError
from linewright.core.formulas.time_domain import (
    cell_s,
    impedance_of_layers,
    kaiser_window,
    peel,
)


@given(st.lists(st.floats(-0.7, 0.7), min_size=1, max_size=12))
def test_peeling_gives_back_every_boundary(boundaries):
    z = np.exp(2j * np.pi * np.arange(4096) / 4096)
    # The exact reflection of the whole stack, from the last boundary back to the first (Möbius recursion).
    whole = np.zeros(4096, dtype=complex)
    for r in reversed(boundaries):
        inner = whole / z
        whole = (r + inner) / (1 + r * inner)
    # ``whole`` is a power series in 1/z, so its coefficients stand at negative turns.
    impulse = np.array([np.mean(whole * z**k).real for k in range(len(boundaries))])
    assert peel(impulse) == pytest.approx(boundaries, abs=1e-6)


def test_layers_multiply_the_impedance():
    z = [50.0, 75.0, 30.0, 50.0]
    r = [(b - a) / (b + a) for a, b in pairwise(z)]
    assert impedance_of_layers(r, 50.0) == pytest.approx(z[1:])


def test_a_kaiser_window_is_that_of_numpy():
    assert kaiser_window(np.arange(11.0), 6.0, low_pass=False) == pytest.approx(np.kaiser(11, 6.0))
    assert kaiser_window(np.arange(6.0), 6.0, low_pass=True) == pytest.approx(np.kaiser(11, 6.0)[5:])


@pytest.mark.parametrize(
    "call",
    [
        lambda: cell_s(1e9, 1e9),
        lambda: cell_s(-1.0, 1e9),
    ],
)
def test_what_cannot_be_is_refused(call):
    with pytest.raises(InputError):
        call()


@pytest.mark.parametrize("back", [1.2, -1.2])
def test_a_boundary_that_sends_back_more_than_all_is_held_at_nearly_all(back):
    assert peel([back, 0.0])[0] == pytest.approx(np.copysign(0.999, back))
