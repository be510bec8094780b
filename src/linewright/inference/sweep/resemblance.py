"""Which line type a measured line resembles: loss slope, velocity factor and impedance against the catalogue."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from math import lgamma

import numpy as np

from linewright.catalogue.lines import line_types
from linewright.catalogue.names import seldom_met
from linewright.core.arrays import Floats
from linewright.core.formatting import digits, frequency, percent, plain
from linewright.core.frozen import dataclass
from linewright.core.messages import mark, say, together
from linewright.core.nouns.line import LineType
from linewright.core.nouns.sweep import Resemblance

Figure = tuple[float, float]
"""A value and its standard uncertainty."""

VELOCITY_U, IMPEDANCE_U = 0.013, 0.025
"""How far good pieces lie from what their type states: velocity factor, and impedance relative (a specification of
50 ± 2 ohm is usual). Common practice, no source."""

USUAL_VELOCITY = 0.76
"""Velocity factor of a line of no known type: between solid and foamed polyethylene. Common practice, no source."""

SHAPE_SHARE = 0.5
"""How much of a type's spread may change the slope of its loss and not only its level; chosen here."""

ANY_LEVEL, ANY_POWER, ANY_BEND = 1.1, 0.22, 0.05
"""Of a line of no type: the log spread of its loss, that of the power of frequency it grows by, and how fast that power
may change with the logarithm of frequency. Thin film hardly grows, a board's dielectric grows in proportion."""

LEAST_U = 0.02
NEW, WORN, NONE = 0.6, 0.4, 0.4
"""Before anything is measured: a line is as published or worn, and two in seven are of no type in the catalogue."""

TEMPER = 0.8
"""What a likelihood counts for: types differ from their tables in more ways than their spread says. By simulated lines
of known type and of none (``benchmarks/sweep_lines.py``)."""

TAILS = 12.0
"""Degrees of freedom of velocity factor and impedance about a type's: now and then a line is far off."""

WORN_RATIOS = np.exp(np.linspace(np.log(1.12), np.log(3.0), 25))
WORN_WEIGHTS = WORN_RATIOS**-2.5 / (WORN_RATIOS**-2.5).sum()
"""Line worn a little is met more often than line worn much. Common practice, no source."""

COMMON = frozenset(
    ("RG-58C/U", "RG-58/U", "RG-8X type", "RG-213/U", "RG-8/U", "RG-174/U", "RG-59B/U", "RG-6 type", "RG-316/U",
     "foam low-loss 5 mm", "foam low-loss 6 mm", "foam low-loss 10 mm")
)  # fmt: skip
"""Types an amateur's shelf holds three times as often as others. Common practice, no source."""

LEAST_PROBABILITY = 1e-3
AS_PUBLISHED, WORN_KIND, NONE_OF_THESE = mark("as published"), mark("worn"), mark("none of these")
UNLIKELY = 0.03
"""A claimed type less probable than this is not what the line is."""


@dataclass(frozen=True, slots=True)
class Measured:
    """What was measured of a line: values with standard uncertainty; each may be missing and then does not count.

    Attributes
    ----------
    k1_db_per_m, k2_db_per_m : (float, float) or None
        The √f part and the f part of the loss, dB/m at 1 MHz.
    velocity_factor, impedance_ohm : (float, float) or None
    law_covariance : 2 by 2, optional
        Covariance of k1 and k2; without it they count as independent.
    valid_hz : (float, float)
        Frequencies over which the loss was measured.
    reckoned_at : float, optional
        Where only the delay was measured and no length: the velocity factor that made metres of it. Each type is then
        compared with the metres its own velocity factor makes.
    """

    k1_db_per_m: Figure | None = None
    k2_db_per_m: Figure | None = None
    velocity_factor: Figure | None = None
    impedance_ohm: Figure | None = None
    law_covariance: Sequence[Sequence[float]] | None = None
    valid_hz: tuple[float, float] = (10e6, 500e6)
    reckoned_at: float | None = None

    @property
    def law(self) -> Floats | None:
        """Return k1 and k2; None where they were not measured, or lose nothing somewhere in their range."""
        if self.k1_db_per_m is None:
            return None
        law = np.array([self.k1_db_per_m[0], self.k2_db_per_m[0] if self.k2_db_per_m else 0.0])
        ends = np.array(self.valid_hz) / 1e6
        return law if float((law[0] * np.sqrt(ends) + law[1] * ends).min()) > 0.0 else None

    @property
    def covariance(self) -> Floats:
        """Return the covariance of k1 and k2."""
        if self.law_covariance is not None:
            return np.asarray(self.law_covariance, dtype=np.float64)
        return np.diag([u[1] ** 2 if u else 0.0 for u in (self.k1_db_per_m, self.k2_db_per_m)])


SELDOM = 0.1
"""How often a type that clubs seldom own is met, against an ordinary one. Common practice, no source."""


def resembles(seen: Measured, own: Iterable[LineType] = ()) -> tuple[Resemblance, ...]:
    """Return which types a measured line may be, likeliest first; the probabilities of all, told or not, sum to 1.

    Every type is tried twice, as published and worn (the same shape, 1.1 to 3 times the loss, a little rather than
    much), with one possibility more: none of these. Losses are compared at five frequencies of the sweep, as
    logarithms; published tables of a type differ by its ``spread``, mostly in level and partly in slope, and that much
    the measured line may differ too.

    Parameters
    ----------
    seen : Measured
        What was measured.
    own : iterable of LineType
        A person's own types; they compete beside the catalogue's.

    Returns
    -------
    tuple of Resemblance
        Those of at least 0.001, and "none of these" always.

    >>> best = resembles(Measured((0.0142, 0.0005), (0.00013, 0.00002), (0.66, 0.01), (50.0, 1.0)))[0]
    >>> best.line, best.kind
    ('RG-58C/U', 'as published')
    """
    types = [*own, *line_types()]
    shelf = sum(_common(kind) for kind in types)
    rows: list[tuple[float, str, str, float | None, LineType | None]] = []
    for kind in types:
        fresh, worn, ratio = _scores(kind, seen)
        prior = float(np.log(_common(kind) / shelf))
        rows.append((TEMPER * fresh + prior + np.log(NEW), kind.designator, "as published", None, kind))
        if seen.law is not None:
            rows.append((TEMPER * worn + prior + np.log(WORN), kind.designator, "worn", ratio, kind))
    rows.append((TEMPER * _stranger(seen) + np.log(NONE), NONE_OF_THESE, NONE_OF_THESE, None, None))
    scores = np.array([row[0] for row in rows])
    chance = np.exp(scores - scores.max())
    chance /= chance.sum()
    found = [_said(row, float(p), seen) for row, p in zip(rows, chance, strict=True)]
    kept = [r for r in found if r.probability >= LEAST_PROBABILITY or r.kind == "none of these"]
    return tuple(sorted(kept, key=lambda r: -r.probability))


def jacket_words(found: Sequence[Resemblance], claimed: str, *, ended: bool = False) -> str:
    """Return what to say of the type printed on the jacket: it fits, it is worn, or it is not that.

    ``ended`` says that the line ends before its far end, or not as stated.

    >>> jacket_words(resembles(Measured((0.0142, 0.0005), None, (0.84, 0.01))), "RG-58C/U")[:26]
    'Not what the jacket says: '
    """
    if not found and ended:
        return say(
            "Cannot tell whether it is {line}: the line is broken, or its far end is not as stated, so its loss per "
            "metre is not known.", line=claimed,
        )  # fmt: skip
    if not found:
        return say("Cannot tell whether it is {line}: that needs a measurable loss, and a delay.", line=claimed)
    total: dict[str, float] = {}
    for r in found:
        total[r.line] = total.get(r.line, 0.0) + r.probability
    mine, likeliest = total.get(claimed, 0.0), max(total, key=lambda name: total[name])
    if mine < UNLIKELY:
        return _another(claimed, None if likeliest == NONE_OF_THESE else likeliest)
    parts = {"line": claimed, "chance": percent(mine)}
    if likeliest == NONE_OF_THESE:
        return say("It matches no type in the catalogue better ({none}); {line} has {chance}.",
                   none=percent(total[likeliest]), **parts)  # fmt: skip
    if likeliest != claimed:
        return say("It is more like {nearer} ({more}); {line} has {chance}.",
                   nearer=likeliest, more=percent(total[likeliest]), **parts)  # fmt: skip
    kinds = {r.kind: r for r in found if r.line == claimed}
    worn = kinds.get("worn")
    if worn and worn.probability > 2.0 / 3.0 * mine:
        said = say("Like worn {line}: the right shape, {times} times the loss ({chance}).",
                   times=plain(worn.worn_ratio or 1.0, 2), **parts)  # fmt: skip
    else:
        said = say("It may well be {line} ({chance}).", **parts)
    return together([said, "" if mine > 0.5 else say("So may others.")])


def _another(claimed: str, nearer: str | None) -> str:
    chance = plain(100 * UNLIKELY, 0)
    if nearer is None:
        return say(
            "Not what the jacket says: {line} has a probability below {chance} %, and no type in the catalogue "
            "fits.",
                   line=claimed, chance=chance)  # fmt: skip
    return say("Not what the jacket says: {line} has a probability below {chance} %; {nearer} is closer.",
               line=claimed, chance=chance, nearer=nearer)  # fmt: skip


def _common(kind: LineType) -> float:
    """Return how often a type is met, against an ordinary one."""
    if kind.designator in COMMON:
        return 3.0
    return SELDOM if kind.designator in seldom_met() else 1.0


def _scores(kind: LineType, seen: Measured) -> tuple[float, float, float]:
    """Return the log likelihood of a type as published, of it worn, and by how much it then is worn."""
    base = 0.0
    if seen.velocity_factor:
        base += _tailed(seen.velocity_factor[0] - kind.velocity_factor, np.hypot(seen.velocity_factor[1], VELOCITY_U))
    if seen.impedance_ohm:
        u = np.hypot(seen.impedance_ohm[1], IMPEDANCE_U * kind.impedance_ohm)
        base += _tailed(seen.impedance_ohm[0] - kind.impedance_ohm, u)
    if seen.law is None:
        return base, -np.inf, 1.0
    each = _gaussian(*_losses(kind, seen, np.concatenate([[1.0], WORN_RATIOS])))
    fresh, each = float(each[0]), each[1:] + np.log(WORN_WEIGHTS)
    weight = np.exp(each - each.max())
    worn = float(each.max() + np.log(weight.sum()))
    return base + fresh, base + worn, float(np.exp(np.average(np.log(WORN_RATIOS), weights=weight)))


def _own(kind: LineType, seen: Measured) -> Floats:
    """Return what a type loses at five frequencies, dB/m, in the metres that were measured."""
    f = _frequencies(seen)
    own = np.maximum(kind.law.two_terms(float(f[0]), float(f[-1])).db_per_m(f), 1e-9)
    return np.asarray(own * kind.velocity_factor / seen.reckoned_at if seen.reckoned_at else own)


def _losses(kind: LineType, seen: Measured, times: Floats | float = 1.0) -> tuple[Floats, Floats]:
    """Return by how much the loss is off so many times the type's at five frequencies, softened, and its covariance.

    Shapes (..., 5) and (..., 5, 5) for ``times`` of shape (...).
    """
    f = _frequencies(seen)
    loss, e, design = _loss(f, seen)
    own = np.multiply.outer(times, _own(kind, seen))
    off = _softened(loss, e) - _softened(own, e)
    # The slope between both losses, not that at either, keeps errors of two frequencies together as the law has them.
    apart = loss - own
    alike = np.abs(apart) < 1e-6 * loss
    turn = design * np.where(alike, _felt(loss, e), off / np.where(alike, 1.0, apart))[..., None]
    x = np.log(f / np.sqrt(f[0] * f[-1]))
    level = np.ones((len(f), len(f)))
    slope = np.outer(x, x) / max(float(x[-1]) ** 2, 1e-9)
    tables = kind.law.spread**2 * (level + SHAPE_SHARE**2 * slope)
    beyond = np.array([0.0 if kind.law.covers(float(v)) or kind.law.curve else 0.1 for v in f]) ** 2
    beyond += sum(side**2 for side in kind.law.beyond(f)) / 2.0
    share = own * _felt(own, e)
    free = share[..., :, None] * share[..., None, :] * (tables + np.diag(beyond))
    return off, turn @ seen.covariance @ np.swapaxes(turn, -1, -2) + free + LEAST_U**2 * np.eye(len(f))


def _loss(f: Floats, seen: Measured) -> tuple[Floats, Floats, Floats]:
    """Return the loss measured, dB/m, its standard uncertainty, and what multiplies k1 and k2, shape (f, 2)."""
    assert seen.law is not None
    design = np.column_stack([np.sqrt(f / 1e6), f / 1e6])
    e = np.sqrt(np.maximum(np.einsum("fi,ij,fj->f", design, seen.covariance, design), 1e-24))
    return np.maximum(design @ seen.law, 1e-9), e, design


def _softened(loss: Floats, e: Floats) -> Floats:
    """Return the logarithm of a loss where it is well above its error, and a straight line of it where it is not.

    An error is then as wide under a type that loses next to nothing as under one that loses much: ``ln((x + √(x² +
    4 e²))/2)`` (B. P. Durbin et al., Bioinformatics 18 (2002), from memory).
    """
    return np.asarray(np.log((loss + np.hypot(loss, 2.0 * e)) / 2.0))


def _felt(loss: Floats, e: Floats) -> Floats:
    """Return by how much a softened loss rises with the loss itself."""
    return np.asarray(1.0 / np.hypot(loss, 2.0 * e))


def _frequencies(seen: Measured) -> Floats:
    low, high = max(seen.valid_hz[0], 1e6), min(seen.valid_hz[1], 3e9)
    return np.geomspace(min(low, high), high, 5)


def _stranger(seen: Measured) -> float:
    """Return the log likelihood of a line unlike any in the catalogue: broad in loss, velocity factor and impedance."""
    score = 0.0
    if seen.velocity_factor:
        score -= float(np.log(0.45))
    if seen.impedance_ohm:
        score += _normal(np.log(seen.impedance_ohm[0] / 60.0), 0.6) - float(np.log(seen.impedance_ohm[0]))
    if seen.law is None:
        return score
    f = _frequencies(seen)
    loss, e, design = _loss(f, seen)
    middle = 0.008 * np.sqrt(f / 1e6) + 4e-5 * f / 1e6
    middle = middle * USUAL_VELOCITY / seen.reckoned_at if seen.reckoned_at else middle
    turn = design * _felt(loss, e)[:, None]
    x = np.log(f / np.sqrt(f[0] * f[-1]))
    bend = x**2 - np.mean(x**2)
    broad = ANY_LEVEL**2 * np.ones((5, 5)) + ANY_POWER**2 * np.outer(x, x) + ANY_BEND**2 * np.outer(bend, bend)
    most = np.maximum(loss, middle)
    share = most * _felt(most, e)
    spread = turn @ seen.covariance @ turn.T + np.outer(share, share) * broad + LEAST_U**2 * np.eye(5)
    return score + float(_gaussian(_softened(loss, e) - _softened(middle, e), spread))


def _normal(off: float, u: float) -> float:
    return float(-0.5 * (off / u) ** 2 - np.log(u * np.sqrt(2.0 * np.pi)))


def _tailed(off: float, u: float) -> float:
    """Return the log density of Student's t of TAILS degrees of freedom, scaled."""
    t = TAILS
    return float(lgamma((t + 1.0) / 2.0) - lgamma(t / 2.0) - 0.5 * np.log(t * np.pi) - np.log(u)
                 - (t + 1.0) / 2.0 * np.log1p((off / u) ** 2 / t))  # fmt: skip


def _gaussian(off: Floats, covariance: Floats) -> Floats:
    """Return the log density of a normal distribution, shape (...) for (..., n) and (..., n, n)."""
    _, size = np.linalg.slogdet(2.0 * np.pi * covariance)
    solved = np.linalg.solve(covariance, off[..., None])[..., 0]
    return np.asarray(-0.5 * (off * solved).sum(axis=-1) - 0.5 * size)


def _said(row: tuple[float, str, str, float | None, LineType | None], p: float, seen: Measured) -> Resemblance:
    _, name, kind, ratio, line = row
    if line is None:
        return Resemblance(name, "none of these", p, None, NO_TYPE)
    return Resemblance(name, "worn" if kind == "worn" else "as published", p, ratio, _measured(seen, line))


NO_TYPE = say("No type in the catalogue fits all the measurements.")


def _measured(seen: Measured, line: LineType) -> str:
    """Return how what was measured stands to a type: the loss first where there is one."""
    parts = []
    factor = seen.velocity_factor and (plain(seen.velocity_factor[0], 3), digits(line.velocity_factor, 3))
    ohm = seen.impedance_ohm and (plain(seen.impedance_ohm[0], 1), digits(line.impedance_ohm, 3))
    if seen.law is not None:
        f = _frequencies(seen)
        off = _loss(f, seen)[0] / _own(line, seen)
        low, high = (frequency(float(f"{x:.2g}")) for x in (f[0], f[-1]))
        times, above = plain(float(off[0]), 2), plain(float(off[-1]), 2)
        parts.append(say("Loss {times} times its own at {low}, {above} times at {high}",
                         times=times, low=low, above=above, high=high))  # fmt: skip
    if factor and not parts:
        parts.append(say("Velocity factor {factor}, its own {own}", factor=factor[0], own=factor[1]))
    elif factor:
        parts.append(say("velocity factor {factor}, its own {own}", factor=factor[0], own=factor[1]))
    if ohm:
        parts.append(say("{impedance} ohm, its own {own}", impedance=ohm[0], own=ohm[1]))
    return say("{findings}.", findings=together(parts, "; "))
