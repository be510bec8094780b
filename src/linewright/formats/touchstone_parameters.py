"""Impedance, admittance and hybrid parameters to scattering parameters."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from linewright.model.sweep import Complexes

DRIVEN = {"z": (1, 1), "y": (-1, -1), "h": (1, -1), "g": (-1, 1)}
"""What stands on the right of the equations at port 1 and at the others: 1 a current, -1 a voltage."""


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
        Normalised to the (real) references.

    Returns
    -------
    ndarray of complex, shape (f, n, n)
        Not finite where no scattering parameters exist.

    >>> through = np.array([[[0, 1], [-1, 0]]], dtype=complex)
    >>> np.abs(scattering("h", through)).tolist()
    [[[0.0, 1.0], [1.0, 0.0]]]
    """
    ports = values.shape[1]
    one = np.eye(ports)
    sign = _signs(parameter, ports)
    try:
        found = np.linalg.solve((values + one).transpose(0, 2, 1), (values - one).transpose(0, 2, 1))
    except np.linalg.LinAlgError:
        found = np.stack([_solved(m, one) for m in values])
    result: Complexes = sign[:, None] * found.transpose(0, 2, 1)
    return result


def normalised(parameter: str, values: Complexes, reference_ohm: NDArray[np.float64]) -> Complexes:
    """Return Z, Y, H or G parameters in ohms and siemens as pure numbers, each port by its own reference."""
    root = np.sqrt(reference_ohm) ** _signs(parameter, values.shape[1])
    result: Complexes = values / root[:, None] / root[None, :]
    return result


def _signs(parameter: str, ports: int) -> NDArray[np.float64]:
    first, other = DRIVEN[parameter]
    return np.array([first] + [other] * (ports - 1), dtype=float)


def _solved(matrix: Complexes, one: NDArray[np.float64]) -> NDArray[Any]:
    try:
        return np.linalg.solve((matrix + one).T, (matrix - one).T)
    except np.linalg.LinAlgError:
        return np.full_like(matrix, np.nan)
