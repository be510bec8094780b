"""All line types at once: a few numbers of how lines are made, and every type's own, from every published point.

What is asked of the data is little: how much more than smooth metal strands, braid, foil and corrugation lose, the
loss tangents of the materials within their bounds, one number a core (how far its make lies from the usual one), and
the thickness of the copper on steel. Every source has an error of its own, each of its tables another, each printed
figure a third; figures from memory count little. Gaussian about the likeliest values (Laplace), heavy tails by
weights found again at each step.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from math import erf, sqrt
from typing import Final

import numpy as np

from linewright.catalogue.construction import DIELECTRICS, Construction, dielectric_db_per_m, smooth_parts_ohm_per_m
from linewright.catalogue.tables import rows
from linewright.core.arrays import Floats
from linewright.core.frozen import dataclass
from linewright.core.nouns.line import CURVE_HZ, NORMAL_95, AttenuationLaw, AttenuationPoint, Curve
from linewright.core.quantities import DB_PER_NEPER

COMMON: Final[dict[str, tuple[float, float]]] = {
    "braid": (np.log(0.80), 0.5),
    "braid slope": (0.16, 0.06),
    "two braids": (np.log(0.865), 0.04),
    "strands 7": (np.log(0.30), 0.4),
    "strands 19": (np.log(0.30), 0.4),
    "foil": (np.log(0.30), 0.5),
    "foil slope": (0.0, 0.05),
    "corrugation": (np.log(0.10), 0.5),
    "deep corrugation": (np.log(0.50), 0.5),
    "surface": (np.log(0.03), 0.5),
    "tin": (0.0, 0.4),
    "PE": (0.0, 1.0),
    "PTFE": (0.0, 1.0),
    "foam PE": (0.0, 1.0),
    "gas-foamed PE": (0.0, 1.0),
    "air-spaced PE": (0.0, 1.0),
    "PE web": (0.0, 1.0),
    "wet PE web": (0.0, 1.0),
    "air": (0.0, 1.0),
}
"""The common numbers with their prior mean and spread: logs of what is lost beyond smooth metal at 10 MHz, its power of
frequency, and where each loss tangent lies in its bounds (a normal deviate). Braid: 1.5 + 0.083 D/mm times smooth, and
strands 1.25, by a maker's formula (360docs.net/doc/8b2830627.html); the rest is common practice."""

CORE_SPREAD: Final = 0.45
"""Spread of the log by which a core's losses beyond smooth metal differ from those of its make."""

CLAD_SPREAD: Final = 0.40
"""Spread of the log of a cladding's usual thickness: 8 to 25 µm on cable of television, no sheet prints it."""

TANGENT_SPREAD: Final = 0.5
"""Spread of the normal deviate by which a core's loss tangent lies elsewhere within its material's bounds."""

WET: Final = (np.log(4.0), 0.45)
"""Log by which wetness multiplies a windowed line's loss: two to ten times. Hosed: three to four and a half (lists.
contesting.com 2009-September/112412); "may be ten times" (pa3fwm.nl/technotes/tn33b)."""


TURNS: Final = 100
SETTLED: Final = 0.01
"""Most steps of the search; it has settled when no number moves by more than this share of its prior spread."""


@dataclass(frozen=True, slots=True)
class Errors:
    """How published figures err: spreads of logs.

    Attributes
    ----------
    source, table, figure : float
        What one source has over all its types, one of its tables, and one figure in it.
    memory : float
        A table's from memory, or typical of a class: so wide that it hints, and decides nothing.
    maximum : (float, float)
        By how much a specified maximum lies above a good piece, and its spread.
    freedom : float
        Student's degrees of freedom of one figure: misprints are met.
    unread, steep : float
        What is added for a make of which no table was read, and per decade above 300 MHz, where makes and tables part.
    """

    source: float = 0.04
    table: float = 0.055
    figure: float = 0.03
    memory: float = 0.15
    maximum: tuple[float, float] = (0.10, 0.10)
    freedom: float = 4.0
    unread: float = 0.06
    steep: float = 0.08


ERRORS: Final = Errors()


@dataclass(frozen=True, slots=True)
class QuotedPoint:
    """A published point with whose it is."""

    designator: str
    point: AttenuationPoint
    source: str


@dataclass(frozen=True)
class Numbers:
    """Where each number stands in the vector: the common ones, one a core, one a clad type."""

    cores: tuple[str, ...]
    clads: tuple[str, ...]

    @property
    def size(self) -> int:
        """How many there are."""
        return len(COMMON) + 2 * len(self.cores) + len(self.clads)

    def of(self, core: str, designator: str) -> tuple[int, int, int | None]:
        """Return where a type's own numbers stand: its core's conductors and dielectric, its cladding if it has one."""
        first, count = len(COMMON), len(self.cores)
        clad = first + 2 * count + self.clads.index(designator) if designator in self.clads else None
        return first + self.cores.index(core), first + count + self.cores.index(core), clad

    def prior(self, common: Mapping[str, tuple[float, float]] = COMMON) -> tuple[Floats, Floats]:
        """Return the means and spreads before any point is seen."""
        count = len(self.cores)
        mean = [common[name][0] for name in COMMON] + [0.0] * (2 * count + len(self.clads))
        spread = [common[name][1] for name in COMMON] + [CORE_SPREAD] * count + [TANGENT_SPREAD] * count
        return np.array(mean), np.array(spread + [CLAD_SPREAD] * len(self.clads))


STEEP_HZ: Final = 300e6
"""Above it tables of one type part the more."""

COMMON_AT: Final = {name: i for i, name in enumerate(COMMON)}


class MakeGrid:
    """One make at fixed frequencies, its smooth losses kept: what a vector of numbers makes of it."""

    def __init__(self, make: Construction, frequency_hz: Floats, own: tuple[int, int, int | None]) -> None:
        self.make, self.f, (self.core, self.tangent, self.clad) = make, np.asarray(frequency_hz, dtype=np.float64), own
        self.felt = [COMMON_AT[n] for n in felt_by(make)] + [i for i in own if i is not None]
        bare, tinned = (smooth_parts_ohm_per_m(make, self.f, tin=tin) for tin in (False, make.tinned))
        self._tin = [more - less for more, less in zip(tinned, bare, strict=True)]
        self._per_tangent = dielectric_db_per_m(make, self.f, 1.0)
        self._kept: dict[float, tuple[Floats, Floats]] = {}

    def _smooth(self, cladding: float) -> tuple[Floats, Floats]:
        if self.clad is None:
            cladding = 1.0
        if cladding not in self._kept:
            if len(self._kept) > 8:
                self._kept.clear()
            self._kept[cladding] = smooth_parts_ohm_per_m(self.make, self.f, cladding)
        return self._kept[cladding]

    def parts_db_per_m(self, x: Floats, article: float = 0.0) -> tuple[Floats, Floats]:
        """Return the conductor and the dielectric part; ``article`` moves the log of the cladding's thickness."""
        clad = 0.0 if self.clad is None else float(x[self.clad])
        wire, screen = self._smooth(float(np.exp(clad + article)))
        if self.make.tinned:
            share = float(np.exp(x[COMMON_AT["tin"]]))
            wire, screen = (bare + share * more for bare, more in zip((wire, screen), self._tin, strict=True))
        inner, outer = excess(self.make, self.f, x)
        grown = float(np.exp(x[self.core]))
        ohm = wire * (1.0 + grown * inner) + screen * (1.0 + grown * outer)
        conductor = DB_PER_NEPER * ohm / (2.0 * self.make.impedance_ohm)
        return conductor, self._per_tangent * self.loss_tangent(x)

    def loss_tangent(self, x: Floats) -> float:
        """Return the loss tangent of its dielectric."""
        return loss_tangent(self.make.dielectric, x, float(x[self.tangent]))


def felt_by(make: Construction) -> list[str]:
    """Return the common numbers that a make feels."""
    names = ["surface", make.dielectric, *(["tin"] if make.tinned else [])]
    names += ["strands 7" if make.strands <= 7 else "strands 19"] if make.strands > 1 else []
    if "foil" in make.screen:
        return [*names, "foil", "foil slope"]
    if "braid" in make.screen:
        return [*names, "braid", "braid slope", *(["two braids"] if "two" in make.screen else [])]
    if "corrugated" in make.screen:
        return [*names, "deep corrugation" if "deep" in make.screen else "corrugation"]
    return names


def excess(make: Construction, f: Floats, x: Floats) -> tuple[Floats, Floats]:
    """Return what the usual centre and screen of a make lose beyond smooth metal, as shares of that; never negative."""

    def number(name: str) -> float:
        return float(x[COMMON_AT[name]])

    surface = float(np.exp(number("surface")))
    inner = surface + (
        float(np.exp(number("strands 7" if make.strands <= 7 else "strands 19"))) if make.strands > 1 else 0.0
    )
    screen = make.screen
    if "foil" in screen:
        outer = np.exp(number("foil")) * (f / 1e7) ** number("foil slope")
    elif "braid" in screen:
        outer = np.exp(number("braid")) * (f / 1e7) ** number("braid slope")
        if "two" in screen:
            outer = np.maximum((1.0 + outer) * np.exp(number("two braids")) - 1.0, 0.0)
    elif "corrugated" in screen:
        outer = np.full_like(f, np.exp(number("deep corrugation" if "deep" in screen else "corrugation")))
    else:
        outer = np.zeros_like(f)
    return np.full_like(f, inner), surface + outer


def loss_tangent(material: str, x: Floats, own: float = 0.0) -> float:
    """Return a material's loss tangent, within its bounds; ``own`` is a core's departure."""
    low, high = DIELECTRICS[material].tangent
    return low + (high - low) * 0.5 * (1.0 + erf((float(x[COMMON_AT[material]]) + own) / sqrt(2.0)))


@dataclass(frozen=True)
class Joint:
    """The likeliest numbers and their covariance, with the errors they were found under."""

    numbers: Numbers
    makes: dict[str, Construction]
    x: Floats
    covariance: Floats
    errors: Errors
    biases: dict[tuple[str, str], float]

    def line(self, designator: str, frequency_hz: Floats) -> MakeGrid:
        """Return a type at frequencies."""
        make = self.makes[designator]
        return MakeGrid(make, frequency_hz, self.numbers.of(make.core, designator))

    def spread_of(self, name: str) -> float:
        """Return the standard deviation of a common number."""
        return float(np.sqrt(self.covariance[COMMON_AT[name], COMMON_AT[name]]))

    def draws(self, count: int, seed: int = 7) -> Floats:
        """Return draws of the numbers, (count, size), the same every time."""
        root = np.linalg.cholesky(self.covariance + 1e-12 * np.eye(len(self.x)))
        return np.asarray(self.x + np.random.default_rng(seed).standard_normal((count, len(self.x))) @ root.T)


def numbers_of(makes: Mapping[str, Construction]) -> Numbers:
    """Return the numbers that types of these makes have."""
    cores = tuple(dict.fromkeys(make.core for make in makes.values()))
    clads = tuple(name for name, make in makes.items() if "clad steel" in make.centre)
    return Numbers(cores, clads)


def fit(
    readings: Sequence[QuotedPoint],
    makes: Mapping[str, Construction],
    *,
    errors: Errors = ERRORS,
    common: Mapping[str, tuple[float, float]] = COMMON,
    start: Floats | None = None,
) -> Joint:
    """Return the likeliest numbers, given readings: Gauss-Newton with Student weights, biases of sources beside them.

    Parameters
    ----------
    readings : sequence of Reading
        Published points, each of a type in ``makes``.
    makes : mapping of str to Construction
        Every type's make, by its designator.
    errors : Errors
        The spreads of sources, tables and figures.
    common : mapping of str to (float, float)
        What is believed of the common numbers beforehand, mean and spread.
    start : ndarray, optional
        Numbers near which the search begins.
    """
    numbers = numbers_of(makes)
    mean, spread = numbers.prior(common)
    x = mean.copy() if start is None else start.copy()
    if not readings:
        return Joint(numbers, dict(makes), x, np.diag(spread**2), errors, {})
    groups = _grouped(readings, makes, numbers, errors)
    target = np.concatenate([g.log_db for g in groups])
    sigma, shift = np.concatenate([g.sigma for g in groups]), np.concatenate([g.shift for g in groups])
    design, bias_spread, keys = _biases(groups, errors)
    reels = _reels(groups)
    bias_spread = np.concatenate([bias_spread, reels.spread])
    weight, bias = np.ones_like(target), np.zeros(len(bias_spread))
    prior = 1.0 / np.concatenate([spread, bias_spread]) ** 2
    calm, last = 1.0, np.zeros(len(prior))
    for turn in range(TURNS):
        value, slope = _model(groups, x, numbers)
        felt = np.hstack([design, reels.felt(slope)])
        columns = np.hstack([slope, felt])
        precision = weight / sigma**2
        gap = target - shift - value - felt @ bias
        hessian = (columns * precision[:, None]).T @ columns + np.diag(prior)
        state = np.concatenate([x - mean, bias])
        step = np.linalg.solve(hessian, columns.T @ (precision * gap) - prior * state)
        calm = 0.5 * calm if step @ last < 0 else min(1.2 * calm, 1.0)  # swinging to and fro: go half the way
        step *= min(calm, 0.7 / max(np.abs(step[: len(x)]).max(), 1e-9))
        last = step
        x, bias = x + step[: len(x)], bias + step[len(x) :]
        left = gap - columns @ step
        weight = (errors.freedom + 1.0) / (errors.freedom + (left / sigma) ** 2)
        if turn > 1 and np.abs(step[: len(x)] / spread).max() < SETTLED * calm:
            break
    covariance = np.linalg.inv(hessian)[: len(x), : len(x)]
    return Joint(numbers, dict(makes), x, covariance, errors, dict(zip(keys, bias.tolist(), strict=False)))


@dataclass(frozen=True)
class _Group:
    """One type's readings, and the line at their frequencies."""

    designator: str
    line: MakeGrid
    log_db: Floats
    sigma: Floats
    shift: Floats
    sources: tuple[str, ...]
    memory: tuple[bool, ...]


def _grouped(
    readings: Sequence[QuotedPoint], makes: Mapping[str, Construction], numbers: Numbers, errors: Errors
) -> list[_Group]:
    by_type: dict[str, list[QuotedPoint]] = {}
    for r in readings:
        by_type.setdefault(r.designator, []).append(r)
    out = []
    for name, found in by_type.items():
        make = makes[name]
        line = MakeGrid(make, np.array([r.point.frequency_hz for r in found]), numbers.of(make.core, name))
        wet = WET[0] if make.dielectric == "wet PE web" else 0.0
        maximum = np.array([r.point.kind == "max" for r in found])
        memory = tuple(r.point.provenance.grade in ("memory", "class") for r in found)
        sigma = np.where(maximum, errors.maximum[1], np.where(memory, 2 * errors.figure, errors.figure))
        out.append(_Group(
            name, line, np.log([r.point.attenuation_db_per_m for r in found]), sigma,
            np.where(maximum, errors.maximum[0], 0.0) + wet, tuple(r.source for r in found), memory,
        ))  # fmt: skip
    return out


def _biases(groups: Sequence[_Group], errors: Errors) -> tuple[Floats, Floats, list[tuple[str, str]]]:
    """Return which bias each reading feels: its source's over all types (named with ""), and its table's."""
    flat = [(s, g.designator, m) for g in groups for s, m in zip(g.sources, g.memory, strict=True)]
    keys = list(dict.fromkeys([(s, "") for s, _, m in flat if not m] + [(s, d) for s, d, _ in flat]))
    at = {key: i for i, key in enumerate(keys)}
    design = np.zeros((len(flat), len(keys)))
    spread = np.zeros(len(keys))
    for i, (s, d, m) in enumerate(flat):
        design[i, at[s, d]] = 1.0
        spread[at[s, d]] = errors.memory if m else errors.table
        if not m:
            design[i, at[s, ""]] = 1.0
            spread[at[s, ""]] = errors.source
    return design, spread, keys


@dataclass(frozen=True)
class _Reels:
    """Tables of clad steel: each speaks of a reel of its own, whose copper is thicker or thinner than its type's.

    ``table`` is the column of each reading, -1 of what is not clad; ``clad`` the number that it moves like.
    """

    table: tuple[int, ...]
    clad: tuple[int, ...]
    spread: Floats

    def felt(self, slope: Floats) -> Floats:
        """Return how each reading moves with the log of its reel's thickness: as the model with its type's."""
        out = np.zeros((len(self.table), len(self.spread)))
        for i, (k, n) in enumerate(zip(self.table, self.clad, strict=True)):
            if k >= 0:
                out[i, k] = slope[i, n]
        return out


def _reels(groups: Sequence[_Group]) -> _Reels:
    """Return the reels that the tables of clad steel speak of, each spread as its make says."""
    at: dict[tuple[str, str], int] = {}
    table, clad, spread = [], [], []
    for g in groups:
        for source in g.sources:
            if g.line.clad is None:
                table.append(-1)
                clad.append(-1)
                continue
            if (source, g.designator) not in at:
                at[source, g.designator] = len(at)
                spread.append(g.line.make.cladding_spread)
            table.append(at[source, g.designator])
            clad.append(g.line.clad)
    return _Reels(tuple(table), tuple(clad), np.array(spread, dtype=np.float64))


def _model(groups: Sequence[_Group], x: Floats, numbers: Numbers, slopes: bool = True) -> tuple[Floats, Floats]:
    """Return the logs of the computed losses, and how they move with each number."""
    value = np.concatenate([np.log(sum(g.line.parts_db_per_m(x))) for g in groups])
    slope = np.zeros((len(value), numbers.size if slopes else 0))
    if not slopes:
        return value, slope
    first = 0
    for g in groups:
        span = slice(first, first + len(g.log_db))
        first = span.stop
        for i in g.line.felt:
            moved = x.copy()
            moved[i] += 1e-4
            slope[span, i] = (np.log(sum(g.line.parts_db_per_m(moved))) - value[span]) / 1e-4
    return value, slope


def drawn(post: Joint, designator: str, frequency_hz: Floats, *, read: bool, count: int = 400) -> tuple[Floats, Floats]:
    """Return the log of a type's loss as it should be, and draws of the log of what another table or piece would say.

    ``read`` tells whether any table of its core was read. Shapes (frequency) and (count, frequency); the errors of one
    draw are alike at all frequencies, but for what is steep.
    """
    make, errors = post.makes[designator], post.errors
    line = post.line(designator, frequency_hz)
    middle = np.log(sum(line.parts_db_per_m(post.x)))
    rng = np.random.default_rng(11)
    reel = rng.standard_normal(count) * (make.cladding_spread if "clad steel" in make.centre else 0.0)
    logs = np.array([
        np.log(sum(line.parts_db_per_m(x, float(r)))) for x, r in zip(post.draws(count), reel, strict=True)
    ])  # fmt: skip
    level = float(np.hypot(errors.source, errors.table))
    level = level if read else float(np.hypot(level, errors.unread))
    noise = level * rng.standard_normal(count) + errors.figure * rng.standard_t(errors.freedom, count)
    above = np.maximum(np.log10(frequency_hz / STEEP_HZ), 0.0)
    logs += noise[:, None] + errors.steep * rng.standard_normal(count)[:, None] * above
    if make.dielectric == "wet PE web":
        return middle + WET[0], logs + WET[0] + WET[1] * rng.standard_normal(count)[:, None]
    return middle, logs


USUAL_HZ: Final = (9.9e6, 510e6)
"""Where a law's one spread and its two terms are taken."""


def law_from(post: Joint, designator: str, *, read: bool, valid_hz: tuple[float, float]) -> AttenuationLaw:
    """Return a type's law out of a joint fit: its curve, its doubt, its nearest two terms.

    ``read`` tells whether any table of its core was read, ``valid_hz`` what frequencies its points span.
    """
    f = np.array(CURVE_HZ)
    middle, draws = drawn(post, designator, f, read=read)
    line = post.line(designator, f)
    conductor, dielectric = line.parts_db_per_m(post.x)
    wet = float(np.exp(middle - np.log(conductor + dielectric))[0])
    low, high = np.quantile(draws - middle, [0.025, 0.975], axis=0)
    below, above = np.maximum(-low, 0.01), np.maximum(high, 0.01)
    usual = (f > USUAL_HZ[0]) & (f < USUAL_HZ[1])
    spread = float(np.mean((below + above)[usual])) / (2.0 * NORMAL_95)
    root = np.sqrt(f[usual] / 1e6)
    k1 = float(np.sum(root / conductor[usual]) / np.sum((root / conductor[usual]) ** 2)) * wet
    tangents = np.array([line.loss_tangent(x) for x in post.draws(400)])
    lowest, highest = np.quantile(tangents, [0.025, 0.975]) / line.loss_tangent(post.x)
    conductors, down, up = (tuple(v.tolist()) for v in (conductor * wet, below, above))
    curve = Curve(conductors, down, up, (float(lowest), float(highest)))
    k2 = float(dielectric[0] / f[0] * 1e6) * wet
    return AttenuationLaw(k1, k2, 0.0, spread, valid_hz, curve=curve)


def stored_common() -> dict[str, tuple[float, float]]:
    """Return the common numbers as fitted to the catalogue's types, mean and spread."""
    return {row["number"]: (float(row["mean"]), float(row["spread"])) for row in rows("common")}
