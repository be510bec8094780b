"""From a reflection against frequency to a reflection along a line: windows, resolution, peeling."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from linewright.core.arrays import Floats
from linewright.core.errors import InputError

HELD = 1e9


def kaiser_window(frequency_hz: ArrayLike, beta: float, *, low_pass: bool) -> Floats:
    """Return Kaiser's window over a sweep, ``I0(β √(1 - x²)) / I0(β)``, 1 at its highest.

    A low-pass sweep (one that reaches down near zero) takes the falling half: x runs from 0 to 1, for the response is
    that of the sweep and its mirror image at negative frequencies. A band-pass one takes all, x from -1 to 1.
    Source: J. F. Kaiser and R. W. Schafer, IEEE Trans. ASSP-28 (1980), page 105, equation 2 (from memory).

    >>> kaiser_window([0.0, 1e9, 2e9], 4.0, low_pass=True).round(3)
    array([1.   , 0.633, 0.088])
    """
    f = np.asarray(frequency_hz, dtype=np.float64)
    x = f / f[-1] if low_pass else 2.0 * (f - f[0]) / (f[-1] - f[0]) - 1.0
    return np.asarray(np.i0(beta * np.sqrt(np.maximum(0.0, 1.0 - x**2))) / np.i0(beta))


def cell_s(low_hz: float, high_hz: float) -> float:
    """Return the resolution of a sweep as one-way delay, seconds: one over twice the bandwidth.

    Times the speed of the wave it is the trade's v/(2B). A window widens what one reflection looks like, to about
    twice that.

    >>> cell_s(0.0, 500e6)
    1e-09
    """
    if not high_hz > low_hz >= 0.0:
        raise InputError("high_hz", f"must lie above low_hz, which is not negative; got {low_hz:g} and {high_hz:g}")
    return 1.0 / (2.0 * (high_hz - low_hz))


def peel(impulse: ArrayLike) -> Floats:
    """Return the reflection at every layer of a lossless layered line, re-reflections taken out.

    Layer peeling: the first value back is the first boundary; the waves are carried through it, and what is then the
    first value is the next boundary. ``u' = u - r d``, ``d' = d - r u``, but for a common factor.
    Source: A. M. Bruckstein and T. Kailath, SIAM Review 29 (1987), pages 359-389, the Schur recursion (from memory).

    Parameters
    ----------
    impulse : array_like, shape (n,)
        What comes back at 0, T, 2T ..., T being the way there and back through one layer.

    Returns
    -------
    ndarray, shape (n,)
        The boundary's own reflection, held within ±0.999.

    >>> abs(peel([0.2, 0.96 * 0.2, -0.96 * 0.2 * 0.04]).round(6))
    array([0.2, 0.2, 0. ])
    """
    up = np.asarray(impulse, dtype=np.float64).copy()
    down = np.zeros_like(up)
    down[0] = 1.0
    out = np.zeros_like(up)
    for i in range(len(out)):
        r = float(np.clip(up[0] / down[0], -0.999, 0.999)) if down[0] else 0.0
        out[i] = r
        up, down = (up - r * down)[1:], (down - r * up)[:-1]
        # Only their ratio counts; what is not passive may grow without end, and is held.
        scale = max(abs(float(down[0])), 1e-9) if len(down) else 1.0
        up, down = np.clip(up / scale, -HELD, HELD), np.clip(down / scale, -HELD, HELD)
    return out


def impedance_of_layers(boundary: ArrayLike, reference_ohm: float) -> Floats:
    """Return the impedance after each boundary, ohms: each multiplies by ``(1 + r)/(1 - r)``.

    >>> impedance_of_layers([0.2, -0.2], 50.0).round(6)
    array([75., 50.])
    """
    r = np.asarray(boundary, dtype=np.float64)
    return np.asarray(reference_ohm * np.exp(np.cumsum(2.0 * np.arctanh(np.clip(r, -0.999, 0.999)))))
