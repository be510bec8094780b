"""Scattering and chain parameters, and back, with any reference impedance.

Power waves (K. Kurokawa, Power waves and the scattering matrix, IEEE Trans. MTT-13, 1965): with a reference Z of real
part R, ``a = (V + Z I)/(2 √R)`` goes into a port and ``b = (V - Z* I)/(2 √R)`` comes out. Where the reference is real
these are the waves of any textbook. Matrices stand in the last two axes; a reference is one impedance for all
ports, or one a port, last axis. The chain matrix relates port 1 to port 2 as ``(V1, I1) = M (V2, -I2)``: networks in
a row multiply.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from linewright.core.arrays import Complexes
from linewright.core.errors import InputError


def _square(name: str, value: ArrayLike, ports: int | None = None) -> Complexes:
    """Return an array of square matrices."""
    array = np.asarray(value, dtype=np.complex128)
    if array.ndim < 2 or array.shape[-1] != array.shape[-2] or ports not in (None, array.shape[-1]):
        wanted = "square matrices" if ports is None else f"{ports}x{ports} matrices"
        raise InputError(name, f"must be {wanted} in its last two axes; got shape {array.shape}")
    return array


def _reference(value: ArrayLike, ports: int) -> Complexes:
    """Return one reference impedance a port, in the last axis."""
    z = np.asarray(value, dtype=np.complex128)
    if not np.all(np.isfinite(z) & (z.real > 0)):
        raise InputError("reference_ohm", "must be finite, with a real part above zero", cure="Usual is 50 ohms.")
    if z.ndim and z.shape[-1] not in (1, ports):
        raise InputError("reference_ohm", f"must be one impedance, or one for each of {ports} ports; got {z.shape[-1]}")
    return np.broadcast_to(z, (*z.shape[:-1], ports))


def impedance_from_reflection(reflection: ArrayLike, reference_ohm: complex = 50.0) -> Complexes:
    """Return the impedance in ohms behind a reflection, ``(Z* + Γ Z)/(1 - Γ)``; infinite for Γ = 1.

    >>> complex(impedance_from_reflection(0.2j).round(2))
    (46.15+19.23j)
    """
    g, z = np.asarray(reflection, dtype=np.complex128), complex(reference_ohm)
    _reference(z, 1)
    with np.errstate(divide="ignore", invalid="ignore"):
        out = (z.conjugate() + g * z) / (1.0 - g)
    return np.where(g == 1.0, complex(np.inf), out)


def reflection_from_impedance(impedance_ohm: ArrayLike, reference_ohm: complex = 50.0) -> Complexes:
    """Return the reflection of an impedance in ohms, ``(Zl - Z*)/(Zl + Z)``; an infinite one (open) gives 1.

    >>> complex(reflection_from_impedance(100.0).round(4)), complex(reflection_from_impedance(np.inf))
    ((0.3333+0j), (1+0j))
    """
    load, z = np.asarray(impedance_ohm, dtype=np.complex128), complex(reference_ohm)
    _reference(z, 1)
    far = ~np.isfinite(load)
    near = np.where(far, 0.0, load)
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(far, 1.0 + 0.0j, (near - z.conjugate()) / (near + z))


def renormalise(s: ArrayLike, from_ohm: ArrayLike, to_ohm: ArrayLike) -> Complexes:
    """Return scattering parameters of n ports in another reference, shape as given.

    Waves of the new reference are sums of those of the old one; no impedance matrix is formed, so a bare through is as
    good as any other network.

    >>> s = renormalise([[0.0, 1.0], [1.0, 0.0]], 50.0, 75.0)  # a through stays one
    >>> bool(np.allclose(s, [[0.0, 1.0], [1.0, 0.0]]))
    True
    """
    a = _square("s", s)
    ports = a.shape[-1]
    old, new = _reference(from_ohm, ports), _reference(to_ohm, ports)
    one = np.eye(ports)
    out = (old.conj() - new.conj())[..., None] * one + (old + new.conj())[..., None] * a
    into = (old.conj() + new)[..., None] * one + (old - new)[..., None] * a
    raw = _over(out, into)
    weight = np.sqrt(old.real * new.real)
    return np.asarray(raw * (weight[..., None, :] / weight[..., :, None]))


def _over(top: Complexes, bottom: Complexes) -> Complexes:
    """Return ``top · bottom⁻¹``."""
    return np.asarray(np.linalg.solve(bottom.swapaxes(-1, -2), top.swapaxes(-1, -2)).swapaxes(-1, -2))


def abcd_from_s(s: ArrayLike, reference_ohm: ArrayLike = 50.0) -> Complexes:
    """Return the chain (ABCD) matrix of two-ports, shape as given; B is in ohms, C in siemens.

    D. A. Frickey, Conversions between S, Z, Y, h, ABCD and T parameters which are valid for complex source and load
    impedances, IEEE Trans. MTT-42, 1994, table I (place from memory). Where nothing comes through, entries are infinite
    or not numbers.

    >>> abcd_from_s([[0.0, 1.0], [1.0, 0.0]]).real  # a through
    array([[1., 0.],
           [0., 1.]])
    """
    a = _square("s", s, 2)
    z = _reference(reference_ohm, 2)
    z1, z2 = z[..., 0], z[..., 1]
    s11, s12, s21, s22 = a[..., 0, 0], a[..., 0, 1], a[..., 1, 0], a[..., 1, 1]
    left, right, both = z1.conj() + s11 * z1, z2.conj() + s22 * z2, s12 * s21
    rows = [
        [left * (1 - s22) + both * z1, left * right - both * z1 * z2],
        [(1 - s11) * (1 - s22) - both, (1 - s11) * right + both * z2],
    ]
    with np.errstate(divide="ignore", invalid="ignore"):
        return _matrix(rows) / (2.0 * s21 * np.sqrt(z1.real * z2.real))[..., None, None]


def s_from_abcd(abcd: ArrayLike, reference_ohm: ArrayLike = 50.0) -> Complexes:
    """Return scattering parameters of two-ports from their chain matrix, shape as given. Source: as ``abcd_from_s``.

    >>> s = s_from_abcd([[1.0, 50.0], [0.0, 1.0]])  # 50 ohms in series
    >>> s[0].real.round(4)
    array([0.3333, 0.6667])
    """
    m = _square("abcd", abcd, 2)
    z = _reference(reference_ohm, 2)
    z1, z2 = z[..., 0], z[..., 1]
    a, b, c, d = m[..., 0, 0], m[..., 0, 1], m[..., 1, 0], m[..., 1, 1]
    root = 2.0 * np.sqrt(z1.real * z2.real) * np.ones_like(a)
    rows = [
        [a * z2 + b - c * z1.conj() * z2 - d * z1.conj(), (a * d - b * c) * root],
        [root, b - a * z2.conj() - c * z1 * z2.conj() + d * z1],
    ]
    return _matrix(rows) / (a * z2 + b + c * z1 * z2 + d * z1)[..., None, None]


def _matrix(rows: list[list[Complexes]]) -> Complexes:
    """Return 2x2 matrices in the last two axes from four arrays."""
    return np.stack([np.stack(np.broadcast_arrays(*row), axis=-1) for row in rows], axis=-2)
