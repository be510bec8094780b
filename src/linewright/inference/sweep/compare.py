"""Two or three sweeps against each other: a fixture taken away, two lengths of one line, an attenuator's difference."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from linewright.core.arrays import Complexes, Floats
from linewright.core.errors import InputError
from linewright.core.formulas.delay import phase_rad, slope_delay_s
from linewright.core.formulas.sparameters import abcd_from_s, s_from_abcd
from linewright.core.frozen import dataclass
from linewright.core.messages import say, together
from linewright.core.nouns.sweep import Sweep
from linewright.core.quantities import DB_PER_NEPER, SPEED_OF_LIGHT_M_PER_S, TWO_PI
from linewright.inference.sweep.health import completed
from linewright.inference.sweep.reading import alike


def _two_ports(*sweeps: Sweep) -> Floats:
    """Return the common frequencies of two-ports, or refuse."""
    for one in sweeps:
        if one.ports != 2:
            raise InputError("sweep", say("must have 2 ports; {name} has {ports}", name=one.name, ports=one.ports))
    return alike(sweeps)


def _chain(sweep: Sweep) -> Complexes:
    """Return the chain matrix; a two-port through which nothing comes has none."""
    if not np.all(sweep.s[:, 1, 0] != 0):
        raise InputError(
            "sweep", say("must let something through at every frequency; {name} does not", name=sweep.name)
        )
    return abcd_from_s(sweep.s, sweep.reference_ohm)


def _over(top: Complexes, bottom: Complexes) -> Complexes:
    """Return ``top · bottom⁻¹`` at every frequency."""
    turned = np.linalg.solve(bottom.swapaxes(1, 2), top.swapaxes(1, 2))
    return np.asarray(turned.swapaxes(1, 2), dtype=np.complex128)


def deembed(sweep: Sweep, left: Sweep | None = None, right: Sweep | None = None) -> Sweep:
    """Return what stands between two known two-ports: ``L⁻¹ M R⁻¹`` of the chain matrices.

    ``left`` has its port 2 towards the device, ``right`` its port 1. Exact for exact data; what the joints do
    differently from one sweep to the next stays in the answer. References carry over from the outer ports.

    Parameters
    ----------
    sweep : Sweep
        What was measured, ``s`` of shape (f, 2, 2).
    left, right : Sweep, optional
        What stands before and behind, over the same frequencies.

    Returns
    -------
    Sweep
        What is between them, over the same frequencies.

    Raises
    ------
    InputError
        If a sweep is no two-port, lets nothing through, or has other frequencies.

    References
    ----------
    Chain (ABCD) matrices of two-ports in series multiply: D. M. Pozar, Microwave Engineering, 4th ed., section 4.4.

    >>> f, ends = np.array([1e6, 2e6]), np.array([50.0 + 0j, 50.0])
    >>> def pad(name, t):
    ...     s = np.zeros((2, 2, 2), dtype=complex)
    ...     s[:, 1, 0] = s[:, 0, 1] = t
    ...     return Sweep(name, f, s, ends)
    >>> found = deembed(pad("pad and cable", 0.25), left=pad("cable", 0.5))
    >>> np.abs(found.transmission).round(6)
    array([0.5, 0.5])
    """
    parts = [one for one in (left, right) if one is not None]
    f = _two_ports(sweep, *parts)
    middle = _chain(sweep)
    if left is not None:
        middle = np.asarray(np.linalg.solve(_chain(left), middle), dtype=np.complex128)
    if right is not None:
        middle = _over(middle, _chain(right))
    taken = together((p.name for p in parts), say(" and "))
    name = say("{sweep} without {parts}", sweep=sweep.name, parts=taken) if parts else sweep.name
    said = say("Two-ports were taken off by calculation: what their joints do anew each time is still in it.")
    return Sweep(name, f, s_from_abcd(middle, sweep.reference_ohm), sweep.reference_ohm, (*sweep.remarks, said))


@dataclass(frozen=True, slots=True)
class LineStandard:
    """Propagation along a line from two lengths of it, every array shape (f,).

    ``velocity_factor`` is None where the difference of lengths is not known; then ``attenuation_db`` and ``delay_s``
    are those of the whole difference, else a metre's. ``certain`` marks where the difference is far enough from whole
    half waves for the phase, and the loss with it, to be worth its name.
    """

    frequency_hz: Floats
    propagation: Complexes
    attenuation_db: Floats
    delay_s: Floats
    velocity_factor: Floats | None
    certain: NDArray[np.bool_]


NEAR_HALF_WAVE_RAD = 0.35
"""Nearer than this to a whole half wave (20 degrees), launches that differ a little weigh much: common practice."""


def two_lengths(short: Sweep, long: Sweep, difference_m: float | None = None) -> LineStandard:
    """Return the propagation of a line from two lengths with the same ends: what the ends do cancels.

    ``M_long M_short⁻¹ = E T E⁻¹`` has the eigenvalues e^(±γ Δl) whatever the ends E are (the idea of the line standards
    of thru-reflect-line: G. F. Engen and C. A. Hoer, IEEE Trans. MTT-27, 1979; place from memory). The root that loses
    is taken; the phase is followed up from the first point, where the difference is less than half a wave.

    Parameters
    ----------
    short, long : Sweep
        Two-ports over the same frequencies.
    difference_m : float, optional
        By how much the longer is longer: gives figures a metre, and the velocity factor.

    Returns
    -------
    LineStandard
        Every array of shape (f,).

    Raises
    ------
    InputError
        If a sweep is no two-port, lets nothing through, has other frequencies, or the difference cannot be.

    References
    ----------
    G. F. Engen and C. A. Hoer, IEEE Trans. MTT-27, pages 987 to 993, 1979 (place from memory).

    >>> f, ends = np.array([10e6, 20e6]), np.array([50.0 + 0j, 50.0])
    >>> def line(length_m):
    ...     s = np.zeros((2, 2, 2), dtype=complex)
    ...     s[:, 1, 0] = s[:, 0, 1] = np.exp(-(0.01 + 2j * np.pi * f / 2e8) * length_m)
    ...     return Sweep(f"{length_m} m", f, s, ends)
    >>> found = two_lengths(line(1.0), line(4.0), 3.0)
    >>> found.attenuation_db.round(4), found.velocity_factor.round(3)
    (array([0.0869, 0.0869]), array([0.667, 0.667]))
    """
    f = _two_ports(short, long)
    if difference_m is not None and not (np.isfinite(difference_m) and difference_m > 0):
        raise InputError(
            "difference_m", say("must be above zero and finite; got {value}", value=format(difference_m, "g"))
        )
    both = _over(_chain(long), _chain(short))
    grown = _growing(both, long.transmission / short.transmission)
    phase = -phase_rad(f, 1.0 / grown, slope_delay_s(f, 1.0 / grown))
    phase -= TWO_PI * np.round(phase[0] / TWO_PI)
    gl = np.log(np.abs(grown)) + 1j * phase
    per = 1.0 if difference_m is None else difference_m
    certain = np.abs(np.sin(phase)) > np.sin(NEAR_HALF_WAVE_RAD)
    with np.errstate(divide="ignore", invalid="ignore"):
        delay = phase / (TWO_PI * f) / per
        factor = None if difference_m is None else 1.0 / (delay * SPEED_OF_LIGHT_M_PER_S)
    return LineStandard(f, gl / per, DB_PER_NEPER * gl.real / per, delay, factor, certain)


def _growing(both: Complexes, rough: Complexes) -> Complexes:
    """Return the eigenvalue e^(+γ Δl): of the two the one nearer to what the transmission says.

    The product of the two is 1 but for what is not reciprocal, which is shared out between them.
    """
    half = (both[:, 0, 0] + both[:, 1, 1]) / 2.0
    det = both[:, 0, 0] * both[:, 1, 1] - both[:, 0, 1] * both[:, 1, 0]
    root = np.sqrt(half * half - det)
    one, other = half + root, half - root
    near = np.abs(one * rough - 1.0) <= np.abs(other * rough - 1.0)
    return np.asarray(np.where(near, one, other) / np.sqrt(det))


def difference_db(through: Sweep, reference: Sweep) -> Floats:
    """Return by how much a sweep loses more than another, dB, shape (f,): an attenuator put between the same cables.

    ``20 log10 |T reference / T through|``, T the mean of both directions. What the attenuator's ports reflect against
    the cables is not taken out; ``deembed`` does that where both cables were swept alone.

    Parameters
    ----------
    through, reference : Sweep
        Two-ports over the same frequencies, ``s`` of shape (f, 2, 2).

    Returns
    -------
    ndarray, shape (f,)
        The difference of insertion losses, dB; above zero where ``through`` loses more.

    Raises
    ------
    InputError
        If a sweep is no two-port, or they have other frequencies.

    References
    ----------
    Insertion loss, ``-20 log10 |S21|``: D. M. Pozar, Microwave Engineering, 4th ed., section 4.3 (place from memory).

    >>> f = np.array([1e6, 2e6])
    >>> def sweep(name, t):
    ...     s = np.zeros((2, 2, 2), dtype=complex)
    ...     s[:, 1, 0] = s[:, 0, 1] = t, t / 2
    ...     return Sweep(name, f, s, np.array([50.0 + 0j, 50.0]))
    >>> difference_db(sweep("pad and cables", 0.05), sweep("cables", 0.5)).round(6)
    array([20., 20.])
    """
    _two_ports(through, reference)
    mine, other = ((one.s[:, 1, 0] + one.s[:, 0, 1]) / 2.0 for one in (completed(through), completed(reference)))
    if not (np.all(mine != 0) and np.all(other != 0)):
        raise InputError("sweep", say("must let something through at every frequency"))
    return np.asarray(20.0 * np.log10(np.abs(other / mine)))
