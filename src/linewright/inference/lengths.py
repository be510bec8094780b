"""Electrical lengths put to use: velocity factor and ends of a line, how lines differ, and where to cut them.

A line of length l with n connectors is ``τ = l/(v c) + n ε`` long, as delay at one frequency. Lines of one stock or
type share v, and all lines share what a connector adds, ε. Both are known roughly beforehand, and by least squares from
the lines that were measured and taped: with one line the two cannot be told apart, with two lengths they can.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence

import numpy as np

from linewright.core.arrays import Complexes, Floats
from linewright.core.formulas.lossy_line import input_impedance_ohm, swr_in
from linewright.core.frozen import dataclass
from linewright.core.nouns.cut import (
    CutPiece,
    CutTo,
    CutWay,
    ElectricalLine,
    Leftover,
    LengthDifference,
    MatchedSet,
    Phase,
    Purpose,
    StubLoss,
    Transformed,
    Trim,
)
from linewright.core.nouns.sweep import Interval
from linewright.core.quantities import DB_PER_NEPER, SPEED_OF_LIGHT_M_PER_S, TWO_PI

NORMAL_95 = 1.959964
TAPED, TAPED_M = 0.005, 0.01
"""A length by tape: half a percent and a centimetre, standard uncertainty. Common practice, no source."""
TYPICAL = 0.013
"""By how much the velocity factor of a drum may lie off its type's, relative. Common practice, no source."""
ANY_FACTOR, ANY_FACTOR_U = 0.77, 0.09
"""Velocity factor of cable in general, and its spread."""
CONNECTOR_M = 0.012
"""How much line in air a connector may add or lack against where the tape was laid: common practice, no source."""
SAW_M, REFIT_M = 0.001, 0.002
"""How far off a cut is, and a connector that is fitted again: common practice, no source."""
STUB_END_M = 0.004
"""Diameter of a dielectric nobody states; an open or a shorted end is a quarter of it longer, give or take another
quarter: common practice, no source."""
SYSTEM_OHM = 50.0
DRAWS = 2000
SEED = 20_260_411
HARMONICS = (0.5, 1.0, 2.0, 3.0)
MOST_TRIMMED = 0.5
"""Where more than so much of a piece comes off, what stays is measured, not what goes."""


# What a metre of line and a connector add


@dataclass(frozen=True, slots=True)
class Slowness:
    """Delay of a metre of bare line and of one connector, seconds, with their covariance."""

    per_m_s: float
    end_s: float
    covariance: Floats

    def delay_s(self, length_m: float, connectors: float) -> tuple[float, float]:
        """Return the delay of a length with so many connectors, and its standard uncertainty."""
        row = np.array([length_m, connectors])
        return self.per_m_s * length_m + self.end_s * connectors, float(np.sqrt(row @ self.covariance @ row))

    @property
    def per_m_u_s(self) -> float:
        """Standard uncertainty of the delay of a metre."""
        return float(np.sqrt(self.covariance[0, 0]))

    @property
    def end_u_s(self) -> float:
        """Standard uncertainty of the delay of a connector."""
        return float(np.sqrt(self.covariance[1, 1]))


def slowness(lines: Sequence[ElectricalLine], at: int) -> Mapping[str, Slowness]:
    """Return what a metre and a connector add, for each family of lines, at frequency number ``at``.

    Least squares with what is known beforehand as further observations. Two rounds: a length by tape weighs by the
    delay of a metre.
    """
    families = list(dict.fromkeys(x.family for x in lines))
    before = [_usual([x for x in lines if x.family == name]) for name in families]
    end_u = CONNECTOR_M / SPEED_OF_LIGHT_M_PER_S
    count = len(families)
    prior = np.diag([*(1.0 / u**2 for _, u in before), 1.0 / end_u**2])
    middle = np.array([*(s for s, _ in before), 0.0])
    measured = [x for x in lines if x.basis != "its type" and x.length_m is not None]
    found, normal = middle, prior
    for _ in range(2):
        normal, right = prior.copy(), prior @ middle
        for x in measured:
            row, delay, u = _observed(x, at, families.index(x.family), found)
            normal += np.outer(row, row) / u**2
            right = right + row * delay / u**2
        found = np.linalg.solve(normal, right)
    spread = np.linalg.inv(normal)
    out = {}
    for i, name in enumerate(families):
        pick = [i, count]
        out[name] = Slowness(float(found[i]), float(found[count]), spread[np.ix_(pick, pick)])
    return out


def _usual(lines: Sequence[ElectricalLine]) -> tuple[float, float]:
    """Return the delay of a metre that is expected of a family, and its standard uncertainty."""
    kind = next((x.line for x in lines if x.line is not None), None)
    v, u = (kind.velocity_factor, TYPICAL * kind.velocity_factor) if kind else (ANY_FACTOR, ANY_FACTOR_U)
    per_m = 1.0 / (v * SPEED_OF_LIGHT_M_PER_S)
    return per_m, per_m * u / v


def _observed(x: ElectricalLine, at: int, family: int, found: Floats) -> tuple[Floats, float, float]:
    assert x.length_m is not None
    row = np.zeros(len(found))
    row[family], row[-1] = x.length_m, x.connectors
    omega = TWO_PI * x.frequency_hz[at]
    taped = float(np.hypot(TAPED * x.length_m, TAPED_M)) * found[family]
    return row, float(x.phase_rad[at] / omega), float(np.hypot(x.phase_u_rad[at] / omega, taped))


def piece_of(x: ElectricalLine, slow: Slowness) -> CutPiece:
    """Return one line as it is."""
    factor = 1.0 / (slow.per_m_s * SPEED_OF_LIGHT_M_PER_S)
    reach = NORMAL_95 * factor * slow.per_m_u_s / slow.per_m_s
    ends = x.connectors * slow.end_s / slow.per_m_s
    ends_u = NORMAL_95 * x.connectors * slow.end_u_s / slow.per_m_s
    ohm = x.impedance_ohm
    phases = tuple(_phase(f, p, u) for f, p, u in zip(x.frequency_hz, x.phase_rad, x.phase_u_rad, strict=True))
    return CutPiece(
        x.name, x.line.designator if x.line else None, x.basis, x.length_m, factor, factor - reach, factor + reach,
        ends, ends - ends_u, ends + ends_u, *_of(ohm), phases,
        x.why,
    )  # fmt: skip


def _of(x: Interval | None) -> tuple[float | None, float | None, float | None]:
    return (None, None, None) if x is None else (x.value, x.low, x.high)


def _phase(frequency_hz: float, phase: float, u: float) -> Phase:
    value, reach = float(np.degrees(phase)), float(np.degrees(NORMAL_95 * u))
    return Phase(float(frequency_hz), value, value - reach, value + reach)


# How lines differ, and which go together


def difference(one: ElectricalLine, other: ElectricalLine, slow: Mapping[str, Slowness], at: int) -> LengthDifference:
    """Return by how much the longer of two lines is longer, and what to trim from it, at frequency number ``at``."""
    longer, shorter = (one, other) if one.phase_rad[at] >= other.phase_rad[at] else (other, one)
    apart = float(longer.phase_rad[at] - shorter.phase_rad[at])
    u = _apart_u(longer, shorter, slow, at)
    trim, trim_u = _trimmed(apart, u, longer, slow[longer.family], at)
    omega = TWO_PI * longer.frequency_hz
    left = longer.phase_rad - shorter.phase_rad - omega * slow[longer.family].per_m_s * trim
    degrees, reach = np.degrees([apart, NORMAL_95 * u])
    return LengthDifference(
        longer.name, shorter.name, float(longer.frequency_hz[at]), float(degrees), float(degrees - reach),
        float(degrees + reach), float((degrees + 180.0) % 360.0 - 180.0), trim, trim - NORMAL_95 * trim_u,
        trim + NORMAL_95 * trim_u, _left_deg(apart, u, longer, slow[longer.family], at), bool(apart > NORMAL_95 * u),
        tuple(Leftover(float(f), float(np.degrees(d))) for f, d in zip(longer.frequency_hz, left, strict=True)),
    )  # fmt: skip


def _apart_u(one: ElectricalLine, other: ElectricalLine, slow: Mapping[str, Slowness], at: int) -> float:
    """Return the standard uncertainty of what two lines differ by, radians.

    Two lines of one family that nobody measured differ by their tape lengths alone: the velocity factor is shared.
    """
    u = float(np.hypot(one.phase_u_rad[at], other.phase_u_rad[at]))
    both = one.basis == other.basis == "its type" and one.family == other.family
    if not both or one.length_m is None or other.length_m is None:
        return u
    per_m = TWO_PI * one.frequency_hz[at] * slow[one.family].per_m_s
    taped = [np.hypot(TAPED * x, TAPED_M) * per_m for x in (one.length_m, other.length_m)]
    ends = TWO_PI * one.frequency_hz[at] * CONNECTOR_M / SPEED_OF_LIGHT_M_PER_S
    return float(np.sqrt(taped[0] ** 2 + taped[1] ** 2 + (one.connectors + other.connectors) * ends**2))


def _trimmed(apart: float, u: float, x: ElectricalLine, slow: Slowness, at: int) -> tuple[float, float]:
    """Return the length that holds a phase, and its standard uncertainty, metres."""
    per_m = TWO_PI * float(x.frequency_hz[at]) * slow.per_m_s
    trim = apart / per_m
    return trim, float(np.hypot(u / per_m, trim * slow.per_m_u_s / slow.per_m_s))


def _left_deg(apart: float, u: float, x: ElectricalLine, slow: Slowness, at: int, cut_u_m: float = 0.0) -> float:
    """Return how far off the target a line may be, either way, once so much phase was cut off it: 95 %."""
    per_m = TWO_PI * float(x.frequency_hz[at]) * slow.per_m_s
    saw = float(np.hypot(cut_u_m or SAW_M, REFIT_M)) * per_m
    scale = apart * slow.per_m_u_s / slow.per_m_s
    return float(np.degrees(NORMAL_95 * np.sqrt(u**2 + scale**2 + saw**2)))


def matched_sets(
    lines: Sequence[ElectricalLine], size: int, slow: Mapping[str, Slowness], at: int
) -> tuple[tuple[MatchedSet, ...], tuple[str, ...]]:
    """Return the sets of ``size`` lines that need the least trimming in all, and the names of lines left over.

    Each set is trimmed to its shortest line. In order of length the best sets are neighbours; which lines are left out
    is found by going through the order once (dynamic programming).
    """
    order = sorted(range(len(lines)), key=lambda i: float(lines[i].phase_rad[at]))
    phase = [float(lines[i].phase_rad[at]) for i in order]
    n, spare = len(lines), len(lines) % size
    best: list[dict[int, tuple[float, tuple[int, ...]]]] = [{} for _ in range(n + 1)]
    best[0][0] = 0.0, ()
    for i in range(n):
        for skipped, (cost, begins) in best[i].items():
            if skipped < spare:
                _better(best[i + 1], skipped + 1, cost, begins)
            if i + size <= n:
                more = sum(p - phase[i] for p in phase[i : i + size])
                _better(best[i + size], skipped, cost + more, (*begins, i))
    _, begins = best[n][spare]
    used = [i for b in begins for i in range(b, b + size)]
    sets = tuple(_set([lines[order[i]] for i in range(b, b + size)], slow, at) for b in begins)
    return sets, tuple(lines[order[i]].name for i in range(n) if i not in used)


def _better(row: dict[int, tuple[float, tuple[int, ...]]], skipped: int, cost: float, begins: tuple[int, ...]) -> None:
    if skipped not in row or cost < row[skipped][0]:
        row[skipped] = cost, begins


def _set(chosen: Sequence[ElectricalLine], slow: Mapping[str, Slowness], at: int) -> MatchedSet:
    shortest, *others = chosen
    found = [difference(x, shortest, slow, at) for x in others]
    trims = (Trim(shortest.name, 0.0, 0.0, 0.0),
             *(Trim(d.longer, d.trim_m, max(d.trim_m_low, 0.0), d.trim_m_high) for d in found))  # fmt: skip
    spread = max((d.difference_deg for d in found), default=0.0)
    left = max((d.left_deg for d in found), default=0.0)
    return MatchedSet(tuple(x.name for x in chosen), float(shortest.frequency_hz[at]), spread, trims, left)


# Where to cut one line


def cut_to(  # noqa: PLR0913 - a line, what is known of it, and what it is to be
    x: ElectricalLine, slow: Slowness, at: int, target_rad: float, purpose: Purpose, *,
    target_u_rad: float = 0.0, beyond: str | None = None,
) -> CutTo:  # fmt: skip
    """Return where to cut a line so that it is ``target_rad`` long at frequency number ``at``.

    Of a line with connectors at both ends the far one is fitted again. A stub keeps the near one alone; its open or
    shorted end counts a quarter of the dielectric's diameter more.
    """
    omega = TWO_PI * float(x.frequency_hz[at])
    per_m = omega * slow.per_m_s
    end_m, end_u_m = _end_m(x, purpose)
    lost = 0.0 if purpose == "line" else omega * slow.end_s * (x.connectors - 1)
    lost_u = 0.0 if purpose == "line" else omega * slow.end_u_s * max(x.connectors - 1, 0)
    apart = float(x.phase_rad[at]) - lost + per_m * end_m - target_rad
    u_whole = float(np.sqrt(x.phase_u_rad[at] ** 2 + lost_u**2 + (per_m * end_u_m) ** 2 + target_u_rad**2))
    trim, trim_u = _trimmed(apart, u_whole, x, slow, at)
    kept, kept_u = _stays(target_rad, target_u_rad, slow, omega, (purpose, x.connectors, end_m, end_u_m))
    way: CutWay = "trim"
    if apart < -NORMAL_95 * u_whole:
        way = "too short"
    elif apart > MOST_TRIMMED * float(x.phase_rad[at]) or x.basis == "its type":
        way = "measure"
    if way == "measure":
        off = per_m * float(np.sqrt(kept_u**2 + SAW_M**2 + REFIT_M**2))
        left_deg = float(np.degrees(NORMAL_95 * off))
        trim, trim_u = _off_by_tape(x, kept, kept_u, (trim, trim_u))
    else:
        left_deg = _left_deg(abs(apart), u_whole, x, slow, at)
        if x.length_m is not None:
            kept, kept_u = x.length_m - trim, float(np.hypot(trim_u, np.hypot(TAPED * x.length_m, TAPED_M)))
    share = np.radians(left_deg) / target_rad
    f = float(x.frequency_hz[at])
    stays = Interval(*_reach(kept, kept_u)) if x.length_m is not None or way == "measure" else None
    return CutTo(
        x.name, purpose, float(np.degrees(target_rad)), f, way, *_reach(trim, trim_u),
        *_of(stays),
        max(trim - NORMAL_95 * float(np.hypot(trim_u, SAW_M)), 0.0) if way == "trim" else None,
        left_deg, f, f * (1.0 - share), f * (1.0 + share), beyond,
    )  # fmt: skip


def _stays(
    target: float, target_u: float, slow: Slowness, omega: float, how: tuple[Purpose, int, float, float]
) -> tuple[float, float]:
    """Return how long what stays is by tape, and its standard uncertainty: ``l = (θ/ω - n ε)/(1/(v c)) - end``."""
    purpose, connectors, end_m, end_u_m = how
    n = min(connectors, 2) if purpose == "line" else min(connectors, 1)
    kept = (target / omega - n * slow.end_s) / slow.per_m_s - end_m
    _, u = slow.delay_s(kept, n)
    return kept, float(np.sqrt((u / slow.per_m_s) ** 2 + end_u_m**2 + (target_u / omega / slow.per_m_s) ** 2))


def _end_m(x: ElectricalLine, purpose: Purpose) -> tuple[float, float]:
    """Return by how much the bare end of a stub is longer than its line, and its standard uncertainty, metres."""
    if purpose == "line":
        return 0.0, 0.0
    known = x.line.figures.get("dielectric_diameter_m") if x.line else None
    diameter = STUB_END_M if known is None else float(known.value)
    return diameter / 4.0, diameter / 4.0 / NORMAL_95


def _off_by_tape(x: ElectricalLine, kept: float, kept_u: float, measured: tuple[float, float]) -> tuple[float, float]:
    """Return what comes off where what stays is measured: by the tape where the whole was taped."""
    if x.length_m is None:
        return measured
    return x.length_m - kept, float(np.hypot(kept_u, np.hypot(TAPED * x.length_m, TAPED_M)))


def _reach(value: float, u: float) -> tuple[float, float, float]:
    return value, value - NORMAL_95 * u, value + NORMAL_95 * u


# What the line does once it is cut


def stub_losses(x: ElectricalLine, cut: CutTo) -> tuple[StubLoss, ...]:
    """Return the attenuation of a stub across a 50-ohm line, at its frequency and its harmonics.

    ``20 lg |1 + Z0/(2 Zs)|`` with ``Zs = Zc coth γl`` open and ``Zc tanh γl`` shorted (D. M. Pozar, Microwave
    Engineering, 4th ed., table 4.1: a shunt admittance; equation 2.91 for a lossy line; places from memory). Nothing
    where the loss of the line is not known, which sets the depth of every notch.
    """
    if x.loss_db is None or cut.way == "too short":
        return ()
    f = cut.frequency_hz * np.array(HARMONICS)
    gamma = _propagation(x, cut, f)
    far: Complexes = np.array(1e12 + 0j) if cut.purpose == "open stub" else np.array(0j)
    seen = input_impedance_ohm(far, _impedance(x, gamma.shape[1])[None, :], gamma)
    loss = 20.0 * np.log10(np.abs(1.0 + SYSTEM_OHM / (2.0 * seen)))
    return tuple(StubLoss(float(at), *_spread(row)) for at, row in zip(f, loss, strict=True))


def transformed(x: ElectricalLine, cut: CutTo, load_ohm: complex, written: str, lines: int = 1) -> Transformed | None:
    """Return what a line of the length asked for makes of a load, ``lines`` alike ones side by side.

    ``Z = Zc (Zl + Zc tanh γl)/(Zc + Zl tanh γl)`` (D. M. Pozar, Microwave Engineering, 4th ed., equation 2.91; place
    from memory). None where the impedance of the line is not known.
    """
    if x.impedance_ohm is None or cut.way == "too short":
        return None
    gamma = _propagation(x, cut, np.array([cut.frequency_hz]))
    z = input_impedance_ohm(load_ohm, _impedance(x, gamma.shape[1])[None, :], gamma)[0] / lines
    swr = swr_in(z, SYSTEM_OHM)
    return Transformed(written, lines, *_spread(z.real), *_spread(z.imag), *_spread(swr))


def _propagation(x: ElectricalLine, cut: CutTo, f: Floats) -> Complexes:
    """Return draws of γl of the line once cut, shaped (f, draws)."""
    rng = np.random.default_rng(SEED)
    theta = np.radians(cut.target_deg)
    off = np.radians(cut.left_deg) / NORMAL_95 * rng.standard_normal(DRAWS)
    phase = (theta + off)[None, :] * (f / cut.frequency_hz)[:, None]
    if x.loss_db is None:
        return np.asarray(1j * phase)
    share = theta / float(np.interp(cut.frequency_hz, x.frequency_hz, x.phase_rad))
    loss = x.loss_db(f)
    picked = loss[:, rng.integers(0, loss.shape[1], DRAWS)]
    return np.asarray(np.maximum(picked, 0.0) * share / DB_PER_NEPER + 1j * phase)


def _impedance(x: ElectricalLine, draws: int) -> Floats:
    ohm = x.impedance_ohm or Interval(SYSTEM_OHM, SYSTEM_OHM, SYSTEM_OHM)
    sd = max(ohm.high - ohm.low, 0.0) / (2.0 * NORMAL_95)
    return np.asarray(ohm.value + sd * np.random.default_rng(SEED + 1).standard_normal(draws))


def _spread(draws: Floats) -> tuple[float, float, float]:
    low, value, high = (float(q) for q in np.quantile(draws, [0.025, 0.5, 0.975]))
    return value, low, high


# How long a line is that nobody swept


def by_type(
    length_m: float, connectors: int, per_m: tuple[float, float], at_hz: Sequence[float]
) -> tuple[Floats, Floats]:
    """Return the phase of a line by its tape length and the velocity factor of its type, and its uncertainty, radians.

    ``per_m`` holds the velocity factor and its standard uncertainty.
    """
    factor, factor_u = per_m
    f = np.asarray(at_hz, dtype=np.float64)
    omega = TWO_PI * f
    delay = length_m / (factor * SPEED_OF_LIGHT_M_PER_S)
    relative = np.sqrt((factor_u / factor) ** 2 + TAPED**2 + (TAPED_M / length_m) ** 2)
    ends = np.sqrt(connectors) * CONNECTOR_M / SPEED_OF_LIGHT_M_PER_S
    return omega * delay, omega * np.hypot(delay * relative, ends)


RESONANCE_U = 0.005
"""How well the dip of a bridge is found, as a share of its frequency: common practice, no source."""
SURE = 4.0
"""The right count of quarter waves is so many times likelier than any other, or the resonance tells nothing."""


@dataclass(frozen=True, slots=True)
class Resonance:
    """A resistance at resonance: where, whether it is low against the line's own impedance, and the far end."""

    frequency_hz: float
    low: bool
    open_end: bool


def from_resonances(found: Iterable[Resonance], delay_s: tuple[float, float]) -> tuple[float, float] | None:
    """Return the delay of a line that resonances tell, and its standard uncertainty; None where they tell nothing.

    A low resistance is an odd number of quarter waves from an open end, an even one from a short; a high one the other
    way round. ``delay_s`` is what tape and type expect, with its standard uncertainty: it counts the quarter waves.
    """
    expected, u = delay_s
    told = [d for r in found if (d := _one_resonance(r, expected, u)) is not None]
    if not told:
        return None
    weight = np.array([1.0 / d_u**2 for _, d_u in told])
    return float(np.dot([d for d, _ in told], weight) / weight.sum()), float(
        max(1.0 / np.sqrt(weight.sum()), RESONANCE_U * told[0][0] / 2.0)
    )


def _one_resonance(r: Resonance, expected: float, u: float) -> tuple[float, float] | None:
    first = 1 if r.low == r.open_end else 2
    counts = np.arange(first, 400, 2)
    delays = counts / (4.0 * r.frequency_hz)
    spread = np.hypot(u, RESONANCE_U * delays)
    score = -0.5 * ((delays - expected) / spread) ** 2
    order = np.argsort(-score)
    best, second = int(order[0]), int(order[1])
    if score[best] - score[second] < np.log(SURE) or score[best] < -0.5 * 4.0**2:
        return None
    return float(delays[best]), float(RESONANCE_U * delays[best])


def pairs_of(lines: Sequence[ElectricalLine], slow: Mapping[str, Slowness], at: int) -> Iterator[LengthDifference]:
    """Yield how each line differs from the shortest of them, the longest first."""
    order = sorted(lines, key=lambda x: -float(x.phase_rad[at]))
    yield from (difference(x, order[-1], slow, at) for x in order[:-1])


__all__ = [
    "Resonance", "Slowness", "by_type", "cut_to", "difference", "from_resonances", "matched_sets", "pairs_of",
    "piece_of", "slowness", "stub_losses", "transformed",
]  # fmt: skip
