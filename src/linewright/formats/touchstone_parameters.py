"""Pairs of numbers to complex ones, and impedance, admittance and hybrid parameters to scattering parameters."""

from __future__ import annotations

import numpy as np

from linewright.model.sweep import Complexes, Floats

DRIVEN = {"z": (1.0, 1.0), "y": (-1.0, -1.0), "h": (1.0, -1.0), "g": (-1.0, 1.0)}
"""What stands on the right of the equations at port 1 and at the others: 1 a current, -1 a voltage."""


def from_pairs(layout: str, first: Floats, second: Floats) -> Complexes:
    """Return complex numbers from pairs: real and imaginary part, or magnitude (plain or in dB) and angle in degrees.

    What overflows is not finite.

    >>> complex(from_pairs("db", np.array(-20.0), np.array(90.0)).round(6))
    0.1j
    """
    if layout == "ri":
        return np.asarray(first + 1j * second)
    with np.errstate(all="ignore"):
        magnitude = first if layout == "ma" else np.asarray(10 ** (first / 20))
        return np.asarray(magnitude * np.exp(1j * np.radians(second)))


def normalised(parameter: str, values: Complexes, reference_ohm: Floats) -> Complexes:
    """Return Z, Y, H or G parameters in ohms and siemens as pure numbers, each port by its own reference.

    >>> normalised("h", np.array([[[75, 1], [1, 0.02]]], dtype=complex), np.array([75.0, 50.0])).real.round(3).tolist()
    [[[1.0, 0.816], [0.816, 1.0]]]
    """
    root = np.sqrt(reference_ohm) ** _signs(parameter, values.shape[1])
    result: Complexes = values / root[:, None] / root[None, :]
    return result


def scattering(parameter: str, values: Complexes) -> Complexes:
    """Return the scattering parameters of normalised Z, Y, H or G parameters.

    With the waves ``a = (v + i)/2`` and ``b = (v - i)/2`` of normalised voltage and current, and ``w = M u`` where each
    port's ``u`` is its current (sign 1) or its voltage (sign -1): ``a = (M + 1) u / 2`` and ``b = sign (M - 1) u / 2``,
    so ``S = sign (M - 1) (M + 1)^-1``. One formula serves all four; it needs no step through Z, which many a sound
    two-port does not have (a through has no Z parameters).

    Parameters
    ----------
    parameter : str
        ``z``, ``y``, ``h`` or ``g``; the last two for two ports only.
    values : ndarray of complex, shape (f, n, n)
        Normalised to real references.

    Returns
    -------
    ndarray of complex, shape (f, n, n)
        Not finite where no scattering parameters exist.

    >>> through = np.array([[[0, 1], [-1, 0]]], dtype=complex)
    >>> np.abs(scattering("h", through)).tolist()
    [[[0.0, 1.0], [1.0, 0.0]]]
    """
    one = np.eye(values.shape[1])
    above, below = (values - one).transpose(0, 2, 1), (values + one).transpose(0, 2, 1)
    with np.errstate(all="ignore"):
        try:
            turned = np.linalg.solve(below, above)
        except np.linalg.LinAlgError:
            turned = np.stack([_solved(b, a) for b, a in zip(below, above, strict=True)])
        result: Complexes = _signs(parameter, values.shape[1])[:, None] * turned.transpose(0, 2, 1)
    return result


def _signs(parameter: str, ports: int) -> Floats:
    first, other = DRIVEN[parameter]
    return np.array([first] + [other] * (ports - 1))


def _solved(below: Complexes, above: Complexes) -> Complexes:
    try:
        return np.asarray(np.linalg.solve(below, above), dtype=np.complex128)
    except np.linalg.LinAlgError:
        return np.full_like(above, np.nan)
