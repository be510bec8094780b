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
from dataclasses import replace
from math import inf, isfinite, pi
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from linewright.core.arrays import Complexes, Floats, Integers
from linewright.core.errors import InputError
from linewright.core.frozen import dataclass
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
    same, across = _overlaps(segments)
    resistance = segments.resistance_ohm_per_m[:, None]
    wires = at_a.T @ (resistance * same * at_a) + at_b.T @ (resistance * same * at_b)
    wires = wires + at_a.T @ (resistance * across * at_b) + at_b.T @ (resistance * across * at_a)
    direct = _tested(segments, segments, None)[0]
    image = segments.image()
    soils = [ground for ground in dict.fromkeys(grounds) if ground is not None]
    mirrored = dict(zip(soils, _tested(segments, image, *soils), strict=True)) if soils else {}
    matrices = []
    for ground in grounds:
        # The current of an image turns round.
        found = direct if ground is None else direct - mirrored[ground]
        tested = [f.T @ found[i, j] @ g for i, f in enumerate((at_a, at_b)) for j, g in enumerate((at_a, at_b))]
        matrices.append(wires - sum(tested))
    return matrices


def _tested(segments: _Segments, sources: _Segments, *grounds: Ground | None) -> list[Complexes]:
    """Return ``∫ f u·E ds`` on each segment for each source, (2, 2, segments, sources): both shapes f, both of E.

    Pairs that lie alike have the same integral; on a straight wire of n segments there are 2n - 1 of them, not n². Over
    soil the field of a source counts as that of an image, weighted by the reflection coefficients.
    """
    n = len(segments)
    first, back = _alike(segments, sources)
    tests = first // n
    along, weight = _quadrature(segments)
    k, length = segments.k, segments.length_m[:, None]
    shapes = np.stack([np.sin(k * (length - along)), np.sin(k * along)]) * weight / np.sin(k * length)
    found = [np.empty((2, 2, len(first)), dtype=np.complex128) for _ in grounds]
    for rows in _chunks(len(first), along.shape[1]):
        i, j = tests[rows], first[rows] % n
        pair = _Pair.of(segments, sources, i, j, along[i])
        for e, ground in zip(found, grounds, strict=True):
            for basis, field in enumerate(pair.fields(ground)):
                e[:, basis, rows] = np.einsum("fpq,pq->fp", shapes[:, i], field)
    return [e[:, :, back].reshape(2, 2, n, n) for e in found]


def _alike(segments: _Segments, sources: _Segments) -> tuple[Integers, Integers]:
    """Return the first pair of each kind as ``segment * n + source``, and the kind of each pair."""
    n = len(segments)
    grain_m = 1e-7 * float(np.min(segments.length_m))
    kinds = []
    for some in (segments, sources):
        shape = np.column_stack([some.direction * 1e9, some.length_m / grain_m, some.radius_m / grain_m])
        kinds.append(np.unique(np.rint(shape).astype(np.int64), axis=0, return_inverse=True)[1].reshape(-1))
    apart = np.rint((segments.start_m[:, None] - sources.start_m) / grain_m).astype(np.int64).reshape(-1, 3)
    rows = np.column_stack([np.add.outer(kinds[0] * n, kinds[1]).reshape(-1), apart])
    _, first, back = np.unique(rows, axis=0, return_index=True, return_inverse=True)
    return first, back.reshape(-1)


@dataclass(frozen=True, slots=True)
class _Pair:
    """Sources seen from points on segments, arrays (pairs, points): what their field along the segments is made of."""

    k: float
    rho: Floats
    zeta: tuple[Floats, Floats]
    length_m: Floats
    u_u: Floats
    u_across: Floats
    path: Floats
    n_u: Floats
    n_source: Floats
    n_across: Floats

    @classmethod
    def of(cls, segments: _Segments, sources: _Segments, i: Integers, j: Integers, along: Floats) -> _Pair:
        """Return segments ``i`` with points ``along`` them before sources ``j``."""
        u, v = segments.direction[i], sources.direction[j]
        apart = (segments.start_m[i] - sources.start_m[j])[:, None, :] + along[..., None] * u[:, None, :]
        z = np.einsum("pqx,px->pq", apart, v)
        across = apart - z[..., None] * v[:, None, :]
        rho = np.sqrt(np.einsum("pqx,pqx->pq", across, across) + sources.radius_m[j][:, None] ** 2)
        length = sources.length_m[j][:, None]
        path = apart - (v * length / 2.0)[:, None, :]
        n_x, n_y = _level_normal(path[..., 0], path[..., 1])
        return cls(
            segments.k, rho, (-z, length - z), length, np.einsum("px,px->p", u, v)[:, None],
            np.einsum("pqx,px->pq", across, u), path,
            n_x * u[:, :1] + n_y * u[:, 1:2], n_x * v[:, :1] + n_y * v[:, 1:2],
            n_x * across[..., 0] + n_y * across[..., 1],
        )  # fmt: skip

    def fields(self, ground: Ground | None) -> Iterator[Complexes]:
        """Yield the field along the segment of a unit of current at the start of the source, and at its end."""
        k, kl = self.k, self.k * self.length_m
        sine, cosine = k / np.sin(kl), np.cos(kl)
        ends = []
        for sign, zeta in zip((-1.0, 1.0), self.zeta, strict=True):
            r = np.sqrt(self.rho**2 + zeta**2)
            wave, lean = sign * np.exp(-1j * k * r), zeta / r
            charge = wave * (1j * k + 1.0 / r) / r
            of_current = lean * charge, 1j * k * wave / self.rho - self.rho / r * charge
            ends.append((of_current, (wave / r, wave * lean / self.rho)))
        (i_1, s_1), (i_2, s_2) = ends
        scale = 1j * VACUUM_IMPEDANCE_OHM / (4.0 * pi * k)
        for e_z, e_rho in (
            # A unit at the start has the slopes -cot kL and -csc kL times k, one at the end csc kL and cot kL.
            (one - sine * cosine * near - sine * far for one, near, far in zip(i_1, s_1, s_2, strict=True)),
            (one + sine * near + sine * cosine * far for one, near, far in zip(i_2, s_1, s_2, strict=True)),
        ):
            yield self._along(np.asarray(scale * e_z), np.asarray(scale * e_rho / self.rho), ground)

    def _along(self, e_z: Complexes, e_rho: Complexes, ground: Ground | None) -> Complexes:
        """Return the component along the segments of a field given along and across the sources."""
        whole = e_z * self.u_u + e_rho * self.u_across
        if ground is None or ground.is_perfect:
            return whole
        vertical, horizontal = _coefficients(self.path, self.k, ground)
        normal = (e_z * self.n_source + e_rho * self.n_across) * self.n_u
        return vertical * (whole - normal) - horizontal * normal


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
            apart = _soil(points[rows], image, mirrored, ground)
        elif ground is not None:
            apart = _summed(points[rows], image, mirrored)
        if ground is not None:
            fields = [own + other for own, other in zip(fields, apart, strict=True)]
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


def _soil(points: Floats, images: _Segments, ends: _Ends, ground: Ground) -> list[Complexes]:
    """Return E and H of images weighted by the reflection coefficients of soil, (points, 3), wire by wire.

    ``n`` is the horizontal normal of the plane through an image segment's middle and the point. Field vectors in that
    plane take the vertical coefficient, along ``n`` the horizontal one, its sign reversed; for H the two change places.
    """
    k = images.k
    electric, magnetic = (np.zeros((len(points), 3), dtype=np.complex128) for _ in range(2))
    for first, last in zip(images.first, [*images.first[1:], len(images)], strict=True):
        own = slice(first, last)
        u = images.direction[first]
        apart = points - images.start_m[first]
        z = apart @ u
        across = apart - z[:, None] * u
        rho = np.sqrt(np.einsum("px,px->p", across, across) + images.radius_m[first] ** 2)
        across /= rho[:, None]
        node = np.concatenate([[0.0], np.cumsum(images.length_m[own])])
        zeta = node - z[:, None]
        r = np.sqrt(rho[:, None] ** 2 + zeta**2)
        wave, lean = np.exp(-1j * k * r), zeta / r
        charge = wave * (1j * k + 1.0 / r) / r
        over, thin = wave / r, wave * lean / rho[:, None]
        along, out = lean * charge, 1j * k * wave / rho[:, None] - rho[:, None] / r * charge
        i_1, s_1, i_2, s_2 = (x[own] for x in _values(ends))
        near, far = slice(0, -1), slice(1, None)
        e_z = i_2 * along[:, far] - i_1 * along[:, near] + s_2 * over[:, far] - s_1 * over[:, near]
        e_rho = i_2 * out[:, far] - i_1 * out[:, near] + s_2 * thin[:, far] - s_1 * thin[:, near]
        turn = lean * wave
        h_phi = i_2 * turn[:, far] - i_1 * turn[:, near] - (1j / k) * (s_2 * wave[:, far] - s_1 * wave[:, near])
        middle = (node[1:] + node[:-1]) / 2.0
        path = apart[:, None, :] - middle[:, None] * u
        v, h = _coefficients(path, k, ground)
        n_x, n_y = _level_normal(path[..., 0], path[..., 1])
        b = np.cross(u, across)
        scale = 1j * VACUUM_IMPEDANCE_OHM / (4.0 * pi * k)
        e_n = (v + h) * (e_z * (n_x * u[0] + n_y * u[1]) + e_rho * (n_x * across[:, :1] + n_y * across[:, 1:2]))
        h_n = (v + h) * h_phi * (n_x * b[:, :1] + n_y * b[:, 1:2])
        electric += scale * ((v * e_z).sum(axis=1)[:, None] * u + (v * e_rho).sum(axis=1)[:, None] * across)
        magnetic -= ((h * h_phi).sum(axis=1) / (4.0 * pi * rho))[:, None] * b
        for x, n in enumerate((n_x, n_y)):
            electric[:, x] -= scale * (e_n * n).sum(axis=1)
            magnetic[:, x] += (h_n * n).sum(axis=1) / (4.0 * pi * rho)
    return [electric, magnetic]


def _values(ends: _Ends) -> tuple[Complexes, ...]:
    return ends.current_1, ends.slope_1, ends.current_2, ends.slope_2


def _level_normal(x: Floats, y: Floats) -> tuple[Floats, Floats]:
    """Return the horizontal unit vector square to (x, y); that of y where both are zero."""
    level = np.hypot(x, y)
    on_axis = level == 0.0
    level = np.where(on_axis, 1.0, level)
    return -y / level, np.where(on_axis, 1.0, x / level)


def _coefficients(path: Floats, k: float, ground: Ground) -> tuple[Complexes, Complexes]:
    """Return the vertical and the horizontal reflection coefficient of soil for paths that rise from images."""
    epsilon = ground.permittivity - 1j * ground.conductivity_s_per_m / (
        k * SPEED_OF_LIGHT_M_PER_S * _PERMITTIVITY_F_PER_M
    )
    c = path[..., 2] / np.sqrt(np.einsum("...x,...x->...", path, path))
    q = np.sqrt(epsilon - 1.0 + c**2)
    return (epsilon * c - q) / (epsilon * c + q), (c - q) / (c + q)
