"""Currents on thin straight wires, and the electric and magnetic field beside them: a small method of moments.

Each wire is cut into segments. On a segment the current is ``I(s) = (Ia sin k(L-s) + Ib sin ks)/sin kL``, and its field
is known in closed form at any distance. Testing the field with the same shapes (Galerkin) gives the currents, the feed
impedance, and what is radiated; the fields follow by adding the segments up. ``e^{jωt}``, amplitudes are peak values.

The field of a segment along z from z1 to z2, with end currents I, slopes I', ``ζ = z' - z``, ``R = √(ρ² + ζ²)``,
``G = e^{-jkR}/R`` and [ ] for the value at z2 less that at z1::

    E_z = -(jη/4πk) [ -I (ζ/R)(jk + 1/R) G - I' G ]
    E_ρ =  (jη/4πk) { [ -I (ρ/R)(jk + 1/R) G ] + (1/ρ) [ e^{-jkR} ((ζ/R) I' + jk I) ] }
    H_φ =  (1/4πρ) [ e^{-jkR} ((ζ/R) I - (j/k) I') ]

They follow from integrating ``(d²/dz² + k²) I G`` twice by parts. The radius a of the wire enters as ``√(ρ² + a²)``
for ρ. Ground: none, perfect (every segment has an image), or soil by the reflection coefficient of a plane wave, for
wires that do not touch it. ``docs/near-field-equations.md`` derives the lines and says how often they were checked.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from math import inf, isfinite, pi
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from linewright.core.arrays import Complexes, Floats
from linewright.core.errors import InputError
from linewright.core.quantities import (
    ANNEALED_COPPER_CONDUCTIVITY_S_PER_M,
    SPEED_OF_LIGHT_M_PER_S,
    TWO_PI,
    VACUUM_IMPEDANCE_OHM,
    VACUUM_PERMEABILITY_H_PER_M,
)

Point = tuple[float, float, float]

MAX_SEGMENTS: Final = 400
"""Time grows a little faster than the square: 100 segments take 0.2 s, 400 some 4 s on one core."""
GAUSS_POINTS: Final = 8
"""A half segment. With 4 the feed resistances of the twelve check antennas are up to 0.2 % off those with 16; with 8,
0.001 %."""
PAIRS_AT_ONCE: Final = 60_000
"""Field points times segments worked on together: some 40 MB."""
_PERMITTIVITY_F_PER_M: Final = 1.0 / (VACUUM_IMPEDANCE_OHM * SPEED_OF_LIGHT_M_PER_S)


@dataclass(frozen=True, slots=True)
class Wire:
    """A straight round wire. Wires whose ends coincide are joined; an end at z = 0 over perfect ground is grounded."""

    start_m: Point
    end_m: Point
    radius_m: float
    segments: int
    conductivity_s_per_m: float = ANNEALED_COPPER_CONDUCTIVITY_S_PER_M

    @property
    def length_m(self) -> float:
        """The distance between its ends."""
        return float(np.linalg.norm(np.subtract(self.end_m, self.start_m)))


@dataclass(frozen=True, slots=True)
class Load:
    """An impedance in series with a wire, at its start; ``resonates`` sets its reactance so that the feed has none."""

    wire: int
    impedance_ohm: complex
    resonates: bool = False


@dataclass(frozen=True, slots=True)
class Ground:
    """What lies below z = 0. ``conductivity_s_per_m`` infinite is a perfect conductor."""

    permittivity: float = 1.0
    conductivity_s_per_m: float = inf

    @property
    def is_perfect(self) -> bool:
        """Whether it reflects everything."""
        return not isfinite(self.conductivity_s_per_m)


PERFECT_GROUND: Final = Ground()
AVERAGE_GROUND: Final = Ground(13.0, 0.005)
"""Relative permittivity 13, 5 mS/m: what antenna handbooks call average ground. Common practice, no source."""


@dataclass(frozen=True, slots=True)
class _Segments:
    """Segments as arrays, one row each; ``first`` holds the first of each wire."""

    start_m: Floats
    direction: Floats
    length_m: Floats
    radius_m: Floats
    resistance_ohm_per_m: Floats
    first: tuple[int, ...]
    k: float

    def __len__(self) -> int:
        return len(self.length_m)

    def image(self) -> _Segments:
        """Return them mirrored in z = 0; their currents turn round."""
        flip = np.array([1.0, 1.0, -1.0])
        return replace(self, start_m=self.start_m * flip, direction=self.direction * flip)


@dataclass(frozen=True, slots=True)
class _Ends:
    """Currents and their slopes at both ends of each segment, on axes that broadcast over points and segments."""

    current_1: Complexes
    slope_1: Complexes
    current_2: Complexes
    slope_2: Complexes


@dataclass(frozen=True, slots=True)
class Solution:
    """A solved antenna at 1 W into its terminals, what is lost in loads and wires included.

    Attributes
    ----------
    impedance_ohm : complex
        At the feed, with everything in series there.
    feed_a : float
        Feed current, rms, at 1 W.
    radiated_fraction : float
        Share of the power that is not lost in wires and loads. Over perfect ground and in free space it is radiated;
        over soil the ground takes a share of it.
    """

    impedance_ohm: complex
    feed_a: float
    radiated_fraction: float
    ground: Ground | None
    _segments: _Segments
    _ends: _Ends

    def fields(self, points_m: ArrayLike) -> tuple[Floats, Floats]:
        """Return E (V/m) and H (A/m) at points (n, 3): rms resultants at 1 W, ``√(Σ|component|²/2)``.

        Both grow with the square root of the power. Nothing holds inside a wire, below ground, or within some 0.2 m of
        the feed, where the shape of the gap decides.
        """
        points = np.atleast_2d(np.asarray(points_m, dtype=np.float64))
        if points.ndim != 2 or points.shape[1] != 3 or not np.all(np.isfinite(points)):
            raise InputError("points_m", "must be rows of x, y and z, all finite")
        return _resultants(points, self._segments, self._ends, self.ground)


def solve(
    wires: Sequence[Wire],
    frequency_hz: float,
    *,
    feed: int = 0,
    loads: Sequence[Load] = (),
    ground: Ground | None = PERFECT_GROUND,
) -> Solution:
    """Return the currents of an antenna, scaled to 1 W into its terminals.

    Parameters
    ----------
    wires : sequence of Wire
        Above ground, or touching a perfect one with an end.
    frequency_hz : float
        Frequency, Hz.
    feed : int
        The wire whose start is fed. The source lies between that end and all other wires that meet there (or ground).
    loads : sequence of Load
        Impedances in series at starts of wires; one at the feed is a loss in series with it. One may resonate.
    ground : Ground or None
        None is free space.

    Raises
    ------
    InputError
        If a wire dips below ground, touches soil, is no longer than it is thick, or the fed end hangs free.

    Notes
    -----
    Piecewise sinusoids as basis and test, after J. H. Richmond (from memory); at a junction of m wires stand m - 1
    modes, at a grounded end half a mode. Over soil the reflection coefficient of a plane wave stands for the ground:
    close above it that is some dB off an exact half space.

    >>> arms = [Wire((0, 0, 10), (x, 0, 10), 0.001, 20) for x in (-5.05, 5.05)]
    >>> abs(solve(arms, 14.1e6, feed=1).impedance_ohm - (69.4 - 48.5j)) < 1.0
    True
    """
    return solve_over(wires, frequency_hz, (ground,), feed=feed, loads=loads)[0]


def solve_over(
    wires: Sequence[Wire],
    frequency_hz: float,
    grounds: Sequence[Ground | None],
    *,
    feed: int = 0,
    loads: Sequence[Load] = (),
) -> tuple[Solution, ...]:
    """Return the same antenna over each of several grounds; what they have in common is worked out once.

    An end at z = 0 counts as grounded over all of them, unless there is only free space.
    """
    for ground in grounds:
        segments = _split(wires, frequency_hz, ground)
    at_a, at_b = _modes(segments, grounded=any(ground is not None for ground in grounds))
    matrices = _impedances(segments, at_a, at_b, grounds)
    return tuple(
        _solution(segments, (at_a, at_b), z, ground, feed, loads) for z, ground in zip(matrices, grounds, strict=True)
    )


def _solution(
    segments: _Segments,
    modes_at: tuple[Floats, Floats],
    z: Complexes,
    ground: Ground | None,
    feed: int,
    loads: Sequence[Load],
) -> Solution:
    (at_a, at_b), first = modes_at, segments.first
    drive = at_a[first[feed]].astype(np.complex128)
    if not np.any(drive):
        raise InputError("feed", "must meet another wire or ground; the fed end of this wire hangs free")
    tuned = [_tuned(load, z, drive, at_a[first[load.wire]]) for load in loads]
    for load in tuned:
        z += load.impedance_ohm * np.outer(at_a[first[load.wire]], at_a[first[load.wire]])
    modes = np.linalg.solve(z, drive)
    feed_a = drive @ modes
    if not feed_a.real > 0:
        raise InputError("wires", "must take power; this shape, cut into these segments, gives none")
    modes = modes * np.sqrt(2.0 / feed_a.real)  # 1 V drives it, so this makes Re(V I*)/2 one watt
    i_a, i_b = at_a @ modes, at_b @ modes
    lost_w = 0.5 * float(_heat(segments, i_a, i_b))
    lost_w += sum(0.5 * load.impedance_ohm.real * abs(i_a[first[load.wire]]) ** 2 for load in tuned)
    return Solution(
        complex(1.0 / feed_a), float(np.abs(i_a[first[feed]]) / np.sqrt(2.0)), 1.0 - lost_w, ground, segments,
        _ends_of(segments, i_a, i_b),
    )  # fmt: skip


def fields_of(
    wires: Sequence[Wire], frequency_hz: float, start_a: ArrayLike, end_a: ArrayLike, points_m: ArrayLike
) -> tuple[Floats, Floats]:
    """Return E (V/m) and H (A/m) in free space of currents that are given, not solved: rms resultants at points (n, 3).

    ``start_a`` and ``end_a`` are peak phasors at both ends of each segment, along its wire, in order.

    >>> h = fields_of([Wire((0, 0, -9), (0, 0, 9), 1e-6, 18)], 1e3, [2**0.5] * 18, [2**0.5] * 18, [(1, 0, 0)])[1]
    >>> bool(abs(h[0] - 1 / (2 * 3.14159) * 9 / 82**0.5) < 1e-5)  # Biot and Savart's law, 1 A rms on 18 m
    True
    """
    segments = _split(wires, frequency_hz, None)
    i_a, i_b = (np.asarray(x, dtype=np.complex128) for x in (start_a, end_a))
    if not len(i_a) == len(i_b) == len(segments):
        raise InputError("start_a", f"must have a current for each of {len(segments)} segments, and so must end_a")
    points = np.atleast_2d(np.asarray(points_m, dtype=np.float64))
    return _resultants(points, segments, _ends_of(segments, i_a, i_b), None)


def _split(wires: Sequence[Wire], frequency_hz: float, ground: Ground | None) -> _Segments:
    """Return the segments of all wires, wire after wire."""
    if not (isfinite(frequency_hz) and frequency_hz > 0):
        raise InputError("frequency_hz", f"must be above zero and finite; got {frequency_hz!r}")
    for i, wire in enumerate(wires, start=1):
        _check(wire, f"wire {i}", ground)
    counts = [wire.segments for wire in wires]
    if not 1 <= sum(counts) <= MAX_SEGMENTS:
        raise InputError("wires", f"must have from 1 to {MAX_SEGMENTS} segments together; got {sum(counts)}")
    starts, directions = [], []
    for wire in wires:
        span = np.subtract(wire.end_m, wire.start_m)
        steps = np.arange(wire.segments)[:, None] / wire.segments
        starts.append(np.asarray(wire.start_m) + steps * span)
        directions.append(np.broadcast_to(span / wire.length_m, (wire.segments, 3)))
    skin = [np.sqrt(pi * frequency_hz * VACUUM_PERMEABILITY_H_PER_M / wire.conductivity_s_per_m) for wire in wires]
    segments = _Segments(
        np.concatenate(starts),
        np.concatenate(directions),
        np.repeat([wire.length_m / wire.segments for wire in wires], counts),
        np.repeat([wire.radius_m for wire in wires], counts),
        np.repeat([r / (TWO_PI * wire.radius_m) for r, wire in zip(skin, wires, strict=True)], counts),
        tuple(int(x) for x in np.cumsum([0, *counts[:-1]])),
        TWO_PI * frequency_hz / SPEED_OF_LIGHT_M_PER_S,
    )
    if np.any(segments.k * segments.length_m > pi / 4.0):
        raise InputError("wires", "must be cut finer: a segment is longer than an eighth of a wavelength")
    return segments


def _check(wire: Wire, name: str, ground: Ground | None) -> None:
    numbers = (*wire.start_m, *wire.end_m, wire.radius_m, wire.conductivity_s_per_m)
    if not all(map(isfinite, numbers)) or min(wire.radius_m, wire.conductivity_s_per_m) <= 0 or wire.segments < 1:
        raise InputError(name, "must have finite ends, a radius and conductivity above zero, and a segment")
    if wire.length_m < 2.0 * wire.radius_m * wire.segments:
        raise InputError(name, "must be cut into segments longer than the wire is thick")
    lowest = min(wire.start_m[2], wire.end_m[2])
    if ground is not None and (lowest < 0 or wire.start_m[2] == wire.end_m[2] == 0):
        raise InputError(name, "must lie above ground; only an end may touch it")
    if ground is not None and not ground.is_perfect and lowest == 0:
        raise InputError(name, "must not touch soil: the reflection coefficient says nothing of wires that do")


def _modes(segments: _Segments, *, grounded: bool) -> tuple[Floats, Floats]:
    """Return the current at the start and at the end of each segment (rows) for a unit of each mode (columns)."""
    n = len(segments)
    tips = np.concatenate([segments.start_m, segments.start_m + segments.direction * segments.length_m[:, None]])
    nodes: dict[tuple[int, ...], list[int]] = {}
    grain_m = 1e-4 * float(np.min(segments.length_m))
    for i, tip in enumerate(tips):
        nodes.setdefault(tuple(int(x) for x in np.round(tip / grain_m)), []).append(i)
    columns: list[Floats] = []
    for tip, meeting in nodes.items():
        # Toward the node counts as positive at an end, away from it at a start.
        toward = {i: (1.0 if i >= n else -1.0) for i in meeting}
        reference = None if grounded and tip[2] == 0 else meeting[0]
        for i in meeting:
            if i != reference:
                column = np.zeros(2 * n)
                column[i] = -toward[i]
                if reference is not None:
                    column[reference] = toward[reference]
                columns.append(column)
    modes = np.array(columns).T if columns else np.zeros((2 * n, 0))
    return modes[:n], modes[n:]


def _impedances(segments: _Segments, at_a: Floats, at_b: Floats, grounds: Sequence[Ground | None]) -> list[Complexes]:
    """Return ``Z_mn = -∫ f_m u·E_n ds`` plus the resistance of the wires, modes by modes, over each ground."""
    n, k, length = len(segments), segments.k, segments.length_m
    along, weight = _quadrature(segments)
    points = (segments.start_m[:, None] + along[..., None] * segments.direction[:, None]).reshape(-1, 3)
    unit = np.repeat(segments.direction, along.shape[1], axis=0)
    sin_kl = np.sin(k * length)[:, None]
    tests = [weight * np.sin(k * (length[:, None] - along)) / sin_kl, weight * np.sin(k * along) / sin_kl]
    one, none = np.ones(n, dtype=np.complex128), np.zeros(n, dtype=np.complex128)
    same, across = _overlaps(segments)
    resistance = segments.resistance_ohm_per_m[:, None]
    wires = at_a.T @ (resistance * same * at_a) + at_b.T @ (resistance * same * at_b)
    wires = wires + at_a.T @ (resistance * across * at_b) + at_b.T @ (resistance * across * at_a)
    matrices = [wires.astype(np.complex128) for _ in grounds]
    per_segment = along.shape[1]
    for basis, current in ((at_a, (one, none)), (at_b, (none, one))):
        ends = _ends_of(segments, *current)
        fields = np.empty((len(grounds), len(points), n), dtype=np.complex128)
        for rows in _chunks(len(points), n, per_segment):
            for field, electric in zip(fields, _electric(points[rows], segments, ends, grounds), strict=True):
                field[rows] = np.einsum("pnx,px->pn", electric, unit[rows])
        for i, field in enumerate(fields):
            for modes, test in zip((at_a, at_b), tests, strict=True):
                tested = np.einsum("sq,sqn->sn", test, field.reshape(n, per_segment, n))
                matrices[i] = matrices[i] - modes.T @ tested @ basis
    return matrices


def _overlaps(segments: _Segments) -> tuple[Floats, Floats]:
    """Return ∫f² and ∫f g of the two shapes on each segment, as columns."""
    kl, k = segments.k * segments.length_m, segments.k
    same = (kl / 2.0 - np.sin(2.0 * kl) / 4.0) / (k * np.sin(kl) ** 2)
    across = (np.sin(kl) - kl * np.cos(kl)) / (2.0 * k * np.sin(kl) ** 2)
    return same[:, None], across[:, None]


def _heat(segments: _Segments, i_a: Complexes, i_b: Complexes) -> float:
    """Return the sum of ``R' ∫|I|²`` over all segments."""
    same, across = (x[:, 0] for x in _overlaps(segments))
    squares = same * (np.abs(i_a) ** 2 + np.abs(i_b) ** 2) + 2.0 * across * (i_a * i_b.conj()).real
    return float(np.sum(segments.resistance_ohm_per_m * squares))


def _quadrature(segments: _Segments) -> tuple[Floats, Floats]:
    """Return places along each segment and their weights, graded toward both ends, where fields vary over a radius."""
    node, weight = np.polynomial.legendre.leggauss(GAUSS_POINTS)
    reach = np.arcsinh(segments.length_m / (2.0 * segments.radius_m))[:, None]
    t = reach * (node + 1.0) / 2.0
    radius = segments.radius_m[:, None]
    near, share = radius * np.sinh(t), radius * np.cosh(t) * reach * weight / 2.0
    return np.hstack([near, segments.length_m[:, None] - near]), np.hstack([share, share])


def _tuned(load: Load, z: Complexes, drive: Complexes, at: Floats) -> Load:
    """Return a load that resonates with its reactance found: the root of ``Im(Z11 - Z12²/(Z22 + R + jX)) = 0``.

    Of the two roots the series resonance counts, the one with the smaller resistance at the feed.
    """
    if not load.resonates:
        return load
    ports = np.stack([drive, at.astype(np.complex128)], axis=1)
    port = np.linalg.inv(ports.T @ np.linalg.solve(z, ports))
    r = port[1, 1].real + load.impedance_ohm.real
    square = port[0, 1] * port[1, 0]
    x11 = port[0, 0].imag
    roots = [y.real for y in np.roots([x11, square.real, x11 * r**2 - r * square.imag]) if abs(y.imag) < 1e-9 * abs(y)]
    if not roots:
        raise InputError("load", "must be able to bring the feed to resonance; here no reactance does")
    best = min(roots, key=lambda y: (port[0, 0] - square / (r + 1j * y)).real)
    return replace(load, impedance_ohm=complex(load.impedance_ohm.real, best - port[1, 1].imag))


def _chunks(points: int, segments: int, whole: int = 1) -> Iterator[slice]:
    """Yield slices of the points that keep the arrays small, each a multiple of ``whole``."""
    step = max(PAIRS_AT_ONCE // (segments * whole), 1) * whole
    for start in range(0, points, step):
        yield slice(start, start + step)


def _ends_of(segments: _Segments, i_a: Complexes, i_b: Complexes) -> _Ends:
    """Return currents and slopes at both ends of segments whose current is a piecewise sinusoid."""
    k, kl = segments.k, segments.k * segments.length_m
    slope_1 = k * (i_b - i_a * np.cos(kl)) / np.sin(kl)
    slope_2 = k * (i_b * np.cos(kl) - i_a) / np.sin(kl)
    return _Ends(i_a, slope_1, i_b, slope_2)


def _resultants(points: Floats, segments: _Segments, ends: _Ends, ground: Ground | None) -> tuple[Floats, Floats]:
    """Return the rms resultants of E and H of all segments together."""
    found = np.empty((2, len(points)))
    soil = ground is not None and not ground.is_perfect
    below, below_ends = _merged(segments, ends) if soil else (segments, ends)
    image, mirrored = below.image(), _Ends(*(-x for x in _values(below_ends)))
    for rows in _chunks(len(points), len(segments)):
        fields = _summed(points[rows], segments, ends)
        if ground is not None and soil:
            apart = _reflected(points[rows], image, ground, _direct(points[rows], image, mirrored, magnetic=True))
            fields = [own + other.sum(axis=1) for own, other in zip(fields, apart, strict=True)]
        elif ground is not None:
            fields = [own + other for own, other in zip(fields, _summed(points[rows], image, mirrored), strict=True)]
        found[:, rows] = [np.sqrt(np.sum(np.abs(field) ** 2, axis=-1) / 2.0) for field in fields]
    return found[0], found[1]


def _merged(segments: _Segments, ends: _Ends) -> tuple[_Segments, _Ends]:
    """Return longer segments with the same currents at their ends, to stand for images: those are never near.

    A segment grows to a sixteenth of a wavelength, and no longer than half the height of its wire: from there up its
    angle changes little along it, and the angle is what the reflection depends on.
    """
    kept: list[int] = []
    last: list[int] = []
    first: list[int] = []
    for start, stop in zip(segments.first, [*segments.first[1:], len(segments)], strict=True):
        low = segments.start_m[start:stop, 2].min()
        longest = min(pi / 8.0 / segments.k, low / 2.0)
        step = max(int(longest / segments.length_m[start]), 1)
        first.append(len(kept))
        kept += range(start, stop, step)
        last += [*range(start + step - 1, stop - 1, step), stop - 1][: len(kept) - len(last)]
    lengths = np.array([segments.length_m[a : b + 1].sum() for a, b in zip(kept, last, strict=True)])
    longer = replace(
        segments, start_m=segments.start_m[kept], direction=segments.direction[kept], length_m=lengths,
        radius_m=segments.radius_m[kept], resistance_ohm_per_m=segments.resistance_ohm_per_m[kept], first=tuple(first),
    )  # fmt: skip
    return longer, _ends_of(longer, ends.current_1[kept], ends.current_2[last])


def _summed(points: Floats, segments: _Segments, ends: _Ends) -> list[Complexes]:
    """Return E and H of all segments together, (points, 3), the three lines of the module's docstring wire by wire.

    Where two segments of a wire meet, the terms in I cancel and the steps of I' are left, so that one exponential
    serves both. What is left over at the ends of the wire follows in the second half.
    """
    k = segments.k
    electric, magnetic = (np.zeros((len(points), 3), dtype=np.complex128) for _ in range(2))
    for first, last in zip(segments.first, [*segments.first[1:], len(segments)], strict=True):
        own = slice(first, last)
        u = segments.direction[first]
        apart = points - segments.start_m[first]
        z = apart @ u
        across = apart - z[:, None] * u
        rho = np.sqrt(np.einsum("px,px->p", across, across) + segments.radius_m[first] ** 2)
        node = np.concatenate([[0.0], np.cumsum(segments.length_m[own])])
        step = np.concatenate([[0.0], ends.slope_2[own]]) - np.concatenate([ends.slope_1[own], [0.0]])
        zeta = node - z[:, None]
        r = np.sqrt(rho[:, None] ** 2 + zeta**2)
        wave = np.exp(-1j * k * r)
        lean = zeta / r
        e_z, e_rho, h_phi = (wave / r) @ step, (wave * lean) @ step / rho, wave @ step * (-1j / k)
        for end, current in ((0, -ends.current_1[first]), (-1, ends.current_2[last - 1])):
            tip = current * wave[:, end]
            charge = tip * (1j * k + 1.0 / r[:, end]) / r[:, end]
            e_z += lean[:, end] * charge
            e_rho += 1j * k * tip / rho - rho / r[:, end] * charge
            h_phi += lean[:, end] * tip
        scale = 1j * VACUUM_IMPEDANCE_OHM / (4.0 * pi * k)
        electric += scale * (e_z[:, None] * u + (e_rho / rho)[:, None] * across)
        magnetic += (h_phi / (4.0 * pi * rho**2))[:, None] * np.cross(u, across)
    return [electric, magnetic]


def _electric(
    points: Floats, segments: _Segments, ends: _Ends, grounds: Sequence[Ground | None]
) -> Iterator[Complexes]:
    """Yield E of each segment with each ground at each point, (points, segments, 3)."""
    direct = _direct(points, segments, ends, magnetic=False)[0]
    image = segments.image()
    mirrored: list[Complexes] = []
    for ground in grounds:
        if ground is None:
            yield direct
            continue
        mirrored = mirrored or _direct(points, image, _Ends(*(-x for x in _values(ends))), magnetic=False)
        yield direct + (mirrored if ground.is_perfect else _reflected(points, image, ground, mirrored))[0]


def _values(ends: _Ends) -> tuple[Complexes, ...]:
    return ends.current_1, ends.slope_1, ends.current_2, ends.slope_2


def _direct(points: Floats, segments: _Segments, ends: _Ends, *, magnetic: bool) -> list[Complexes]:
    """Return the fields of segments alone: the three lines of the module's docstring."""
    k, u = segments.k, segments.direction
    apart = points[:, None, :] - segments.start_m
    z = np.einsum("pnx,nx->pn", apart, u)
    across = apart - z[..., None] * u
    rho = np.sqrt(np.einsum("pnx,pnx->pn", across, across) + segments.radius_m**2)
    e_z, e_rho, h_phi = (np.zeros(z.shape, dtype=np.complex128) for _ in range(3))
    for sign, zeta, current, slope in (
        (-1.0, -z, ends.current_1, ends.slope_1),
        (1.0, segments.length_m - z, ends.current_2, ends.slope_2),
    ):
        r = np.sqrt(rho**2 + zeta**2)
        wave = sign * np.exp(-1j * k * r)
        lean = zeta / r
        charge = current * ((1j * k + 1.0 / r) / r) * wave
        e_z = e_z + lean * charge + slope * wave / r
        e_rho = e_rho + (wave * (lean * slope + 1j * k * current) / rho - (rho / r) * charge)
        h_phi = h_phi + wave * (lean * current - (1j / k) * slope)
    outward = across / rho[..., None]
    scale = 1j * VACUUM_IMPEDANCE_OHM / (4.0 * pi * k)
    found = [scale * (e_z[..., None] * u + e_rho[..., None] * outward)]
    if magnetic:
        found.append((h_phi / (4.0 * pi * rho))[..., None] * np.cross(u, outward))
    return found


def _reflected(points: Floats, image: _Segments, ground: Ground, fields: Sequence[Complexes]) -> list[Complexes]:
    """Return the fields of images weighted by the reflection coefficients of soil at the angle of each path.

    ``n`` is the horizontal normal of the plane through the image and the point, ``c`` the cosine of the angle from the
    vertical. Field vectors in that plane take the vertical coefficient, along ``n`` the horizontal one.
    """
    epsilon = ground.permittivity - 1j * ground.conductivity_s_per_m / (
        image.k * SPEED_OF_LIGHT_M_PER_S * _PERMITTIVITY_F_PER_M
    )
    path = points[:, None, :] - (image.start_m + image.direction * (image.length_m / 2.0)[:, None])
    level = np.hypot(path[..., 0], path[..., 1])
    safe = np.where(level > 0, level, 1.0)
    n = np.stack([-path[..., 1] / safe, np.where(level > 0, path[..., 0] / safe, 1.0), np.zeros_like(level)], axis=-1)
    c = path[..., 2] / np.hypot(level, path[..., 2])
    q = np.sqrt(epsilon - (1.0 - c**2))
    vertical, horizontal = (epsilon * c - q) / (epsilon * c + q), (c - q) / (c + q)

    def weighted(field: Complexes, in_plane: Complexes, normal: Complexes) -> Complexes:
        along = np.einsum("pnx,pnx->pn", field, n)[..., None] * n
        return np.asarray(in_plane[..., None] * (field - along) + normal[..., None] * along)

    electric = weighted(fields[0], vertical, -horizontal)
    return [electric, *(weighted(field, -horizontal, vertical) for field in fields[1:])]
