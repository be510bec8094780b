"""Scattering, chain and impedance parameters, and back, with any reference impedance.

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


def z_from_s(s: ArrayLike, reference_ohm: ArrayLike = 50.0) -> Complexes:
    """Return impedance parameters of n ports in ohms, shape as given.

    A network without them (a bare through) raises ``numpy.linalg.LinAlgError``.

    >>> complex(z_from_s([[0.2j]])[0, 0].round(2))
    (46.15+19.23j)
    """
    a = _square("s", s)
    z, one = _reference(reference_ohm, a.shape[-1]), np.eye(a.shape[-1])
    # From the definition of the waves: V = (Z* a + Z b)/√R, I = (a - b)/√R.
    raw = _over(z.conj()[..., None] * one + z[..., None] * a, one - a)
    root = np.sqrt(z.real)
    return np.asarray(raw * (root[..., None, :] / root[..., :, None]))


def s_from_z(z: ArrayLike, reference_ohm: ArrayLike = 50.0) -> Complexes:
    """Return scattering parameters of n ports from impedance parameters in ohms, shape as given.

    >>> complex(s_from_z([[100.0]])[0, 0].round(4))
    (0.3333+0j)
    """
    m = _square("z", z)
    r, one = _reference(reference_ohm, m.shape[-1]), np.eye(m.shape[-1])
    raw = _over(m - r.conj()[..., None] * one, m + r[..., None] * one)
    root = np.sqrt(r.real)
    return np.asarray(raw * (root[..., None, :] / root[..., :, None]))


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


def line_abcd(propagation: ArrayLike, impedance_ohm: ArrayLike) -> Complexes:
    """Return the chain matrix of a line, shaped (*input, 2, 2), from γl (nepers + j radians) and Z0 in ohms.

    D. M. Pozar, Microwave Engineering, 4th ed., table 4.1, with γl for jβl (place from memory).

    >>> line_abcd(0.5j * np.pi, 50.0).round(6)[0, 1]  # a quarter wave
    np.complex128(50j)
    """
    gl, z0 = np.broadcast_arrays(np.asarray(propagation, np.complex128), np.asarray(impedance_ohm, np.complex128))
    return _matrix([[np.cosh(gl), z0 * np.sinh(gl)], [np.sinh(gl) / z0, np.cosh(gl)]])


def line_from_abcd(abcd: ArrayLike) -> tuple[Complexes, Complexes]:
    """Return γl (nepers + j radians, radians within ±π) and Z0 in ohms of a uniform line from its chain matrix.

    ``e^γl = (A + D)/2 + √(((A + D)/2)² - 1)``, the root of growing magnitude, and ``Z0 = √(B/C)`` with a real part of
    zero or more. Near whole half waves B and C vanish together and Z0 is ill-determined; γl suffers there as well, for
    a root of a small difference is taken.

    >>> gl, z0 = line_from_abcd(line_abcd(0.1 + 0.7j, 48.0))
    >>> complex(gl.round(6)), complex(z0.round(6))
    ((0.1+0.7j), (48+0j))
    """
    m = _square("abcd", abcd, 2)
    a, b, c, d = m[..., 0, 0], m[..., 0, 1], m[..., 1, 0], m[..., 1, 1]
    mean = (a + d) / 2.0
    # √(m² - 1) as a product of two roots keeps its digits near m = ±1.
    root = np.sqrt(mean - 1.0) * np.sqrt(mean + 1.0)
    grown = np.where(np.abs(mean + root) >= np.abs(mean - root), mean + root, mean - root)
    with np.errstate(divide="ignore", invalid="ignore"):
        z0 = np.sqrt(b / c)
        return np.log(grown), np.where(z0.real < 0, -z0, z0)


def line_from_open_short(
    opened: ArrayLike, shorted: ArrayLike, reference_ohm: float = 50.0
) -> tuple[Complexes, Complexes]:
    """Return γl (nepers + j radians, radians within ±π/2) and Z0 in ohms of a line from its reflections at one end.

    The far end is open in one and shorted in the other: ``Z0² = Zo Zs`` and ``tanh² γl = Zs/Zo`` (D. M. Pozar,
    Microwave Engineering, 4th ed., section 2.3, with γl for jβl), here by ``e^(-2γl) = (Γ - r)/(1 - r Γ)`` with r the
    reflection of Z0, which has no poles at whole quarter waves. Exact for any uniform line, however lossy.

    >>> gl, z0 = line_from_open_short(0.6 - 0.3j, -0.6 + 0.3j)
    >>> complex(gl.round(4)), float(z0.real.round(4))
    ((0.1996+0.2318j), 50.0)
    """
    o, s = np.asarray(opened, dtype=np.complex128), np.asarray(shorted, dtype=np.complex128)
    _reference(reference_ohm, 1)
    with np.errstate(divide="ignore", invalid="ignore"):
        root = np.sqrt((1.0 + o) * (1.0 + s) / ((1.0 - o) * (1.0 - s)))
        r = (root - 1.0) / (root + 1.0)
        gl = np.asarray(-0.5 * np.log((o - r) / (1.0 - r * o)), dtype=np.complex128)
    return gl, np.asarray(reference_ohm * root, dtype=np.complex128)
