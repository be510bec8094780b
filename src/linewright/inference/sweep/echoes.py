"""Echoes in a reflection sweep: a sum of few reflections, each delayed and attenuated by the line before it.

The line is described per second of one-way delay, so nothing here needs a velocity factor:
``Γ(f) = Σ r_k(f) exp(-2 τ_k (A(f) + jω + j A1(f)))``. ``A`` is the line's attenuation in nepers per second, ``A1`` its
conductor part, which also slows the wave (the inner inductance of the skin effect equals its resistance). A step of
impedance reflects alike at every frequency; a short spot of other impedance acts as a lone capacitance or inductance
and reflects as ``jf``; what fits neither is a lump, a short power series.
"""

from __future__ import annotations

from typing import Literal

import numpy as np
from numpy.typing import NDArray

from linewright.core.arrays import Complexes, Floats
from linewright.core.formulas.time_domain import cell_s, kaiser_window
from linewright.core.frozen import dataclass
from linewright.core.quantities import TWO_PI

# Echoes in a reflection sweep: a sum of few reflections, each delayed and attenuated by the line before it

Shape = Literal["step", "spot"]
PLAIN: tuple[Shape, Shape] = ("step", "spot")

APART_CELLS = 1.3
"""Nearer to each other than this, two echoes are one lump; nearer to an end, they belong to the connector there."""

KAISER = 5.0
LOW_PASS = 0.05
"""A sweep that starts below this share of its top reaches down near zero."""


@dataclass(frozen=True, slots=True)
class Rate:
    """Attenuation in nepers per second of one-way delay at 1 MHz: the √f part and the f part."""

    conductor: float
    dielectric: float

    def parts(self, frequency_hz: Floats) -> tuple[Floats, Floats]:
        """Return both parts, nepers per second, shape (f,)."""
        mhz = frequency_hz / 1e6
        return self.conductor * np.sqrt(mhz), self.dielectric * mhz

    def exponent(self, frequency_hz: Floats) -> Complexes:
        """Return what a second of one-way delay, there and back, does to the logarithm of a wave, shape (f,)."""
        conductor, dielectric = self.parts(frequency_hz)
        return np.asarray(-2.0 * (conductor + dielectric + 1j * (TWO_PI * frequency_hz + conductor)))


@dataclass(frozen=True, slots=True)
class Echo:
    """One reflection.

    Attributes
    ----------
    delay_s, delay_u_s : float
        One-way delay and its standard uncertainty.
    shape : "step" or "spot"
        Which of the two it is nearer to; ``fits`` is the share of its energy that this shape explains.
    size : float
        Signed; for a spot, at the top of the sweep. The line's loss before it is taken back.
    strength : float
        How many times the noise it stands out.
    drop : float
        Largest reflection it makes within the sweep, magnitude.
    """

    delay_s: float
    delay_u_s: float
    shape: Shape
    size: float
    strength: float
    drop: float
    fits: float


@dataclass(slots=True)
class EchoPart:
    """One part of the model: a delay and how its reflection may depend on frequency."""

    delay: float
    kind: Literal["step", "spot", "lump", "near", "far"]


@dataclass(frozen=True, slots=True)
class EchoFit:
    """What was found in one reflection sweep.

    Attributes
    ----------
    frequency_hz, reflection, modelled : ndarray, shape (points,)
        What was looked at, and the model of it.
    echoes : tuple of Echo
        In order of delay, beyond the far end too: those are re-reflections.
    end : Echo or None
        The far end where its delay is known; ``near`` is the near end.
    cell_s : float
        One over twice the bandwidth: the delay that two echoes must differ by.
    range_s : float
        Delays beyond this fold back onto shorter ones.
    threshold, noise : float
        What strength an echo needs, and the noise it is counted in.
    series : float
        What a resistance in series reflects that the line's loss speaks for; 0 for none.
    """

    frequency_hz: Floats
    reflection: Complexes
    modelled: Complexes
    rate: Rate
    echoes: tuple[Echo, ...]
    near: Echo
    end: Echo | None
    cell_s: float
    range_s: float
    threshold: float
    noise: float
    low_pass: bool
    searched_s: float
    parts: tuple[tuple[EchoPart, Floats], ...]
    series: float = 0.0

    def model_at(self, frequency_hz: Floats) -> Complexes:
        """Return what the fitted parts give at other frequencies; to be trusted near the sweep's own only."""
        u, exponent = frequency_hz / self.frequency_hz[-1], self.rate.exponent(frequency_hz)
        out = np.zeros(len(frequency_hz), dtype=np.complex128)
        for part, share in self.parts:
            out += columns(part, u, exponent) @ share
        return out

    @property
    def end_delay_s(self) -> float | None:
        """Return the one-way delay of the far end, where it is known."""
        return self.end.delay_s if self.end else None


def waves(exponent: Complexes, delays: Floats) -> Complexes:
    """Return ``exp(delay · exponent)``, shape (f, delays): a coarse ladder times a fine one."""
    step = delays[1] - delays[0]
    fine = 32
    coarse = -(-len(delays) // fine)
    a = np.exp(np.outer(exponent, np.arange(coarse) * fine * step))
    b = np.exp(np.outer(exponent, np.arange(fine) * step))
    return np.asarray((a[:, :, None] * b[:, None, :]).reshape(len(exponent), -1)[:, : len(delays)])


def plain_form(shape: Shape, u: Floats) -> Complexes:
    """Return how a plain shape depends on frequency, given as shares of the top."""
    return np.asarray(u + 0j) * 1j if shape == "spot" else np.ones(len(u), dtype=np.complex128)


def columns(part: EchoPart, u: Floats, exponent: Complexes) -> Complexes:
    """Return the columns of one part at frequencies given as shares of the top, shape (f, columns)."""
    ju = 1j * u
    series = [ju**n for n in range(6)]
    forms = {
        "step": series[:1],
        "spot": series[1:2],
        "lump": [*series[:5], np.sqrt(ju), u + 0j],
        "near": [*series, 1.0 / np.sqrt(ju + 0.02)],
        "far": [*series, 1.0 / np.sqrt(ju + 0.02), np.sqrt(ju), u + 0j],
    }[part.kind]
    return np.asarray(np.stack(forms, axis=1) * np.exp(part.delay * exponent)[:, None])


# A growing set of echoes, fitted to a sweep as a whole by weighted least squares

PER_CELL = 4
"""Delays looked at per resolution cell."""

LEAST = 0.004
"""No echo of less than this (48 dB return loss) is taken: nothing on a line so small is anyone's business."""

SHADOWS = ((4.0, 0.04), (2.2, 0.2))
"""So many cells from a strong echo, one of less than this share of it may be what the model of the strong one left."""

NOTHING = 1e-30
"""A wave of which so little comes back is not there."""

CROWD_CELLS, MOVED_CELLS = 2.6, 4.0
"""Two lumps nearer than the first would explain each other away; an echo moves only if a new one is within the second.
"""


class EchoSet:
    """Weighted least squares over a growing set of parts."""

    def __init__(
        self, f: Floats, s: Complexes, rate: Rate, most_s: float, ends: list[float], fold_s: float = np.inf
    ) -> None:
        self.fold_s = fold_s
        self.low_pass = bool(f[0] < LOW_PASS * f[-1])
        self.f, self.s, self.u = f, s, f / f[-1]
        self.w = kaiser_window(f, KAISER, low_pass=self.low_pass)
        self.cell_s = cell_s(0.0 if self.low_pass else f[0], f[-1])
        self.exponent = rate.exponent(f)
        self.delays = np.arange(0.0, most_s + self.cell_s / PER_CELL, self.cell_s / PER_CELL)
        whole = waves(self.exponent, self.delays)
        power = np.abs(whole) ** 2
        self.waves = whole.astype(np.complex64)
        heard = {"step": self.w**2 @ power, "spot": (self.w * self.u) ** 2 @ power}
        self.seen = {shape: np.maximum(value, NOTHING) for shape, value in heard.items()}
        self.parts = [EchoPart(0.0, "near")]
        self.closed: list[float] = []
        self.target = np.concatenate([s.real * self.w, s.imag * self.w])
        self.blocks: dict[tuple[float, str], tuple[Complexes, Floats]] = {}
        self.parts += [EchoPart(delay, "far") for delay in self._apart(ends)]

    def away(self, delays: Floats, other: float) -> Floats:
        """Return how far delays show from another, in cells; on a line longer than the range, modulo the range."""
        away = np.abs(delays - other)
        return (away if np.isinf(self.fold_s) else np.minimum(away % self.fold_s, -away % self.fold_s)) / self.cell_s

    def _apart(self, ends: list[float]) -> list[float]:
        """Return the far end's delay and its multiples, less what folds back onto another or is lost on the way."""
        range_s = 1.0 / (2.0 * float(np.median(np.diff(self.f))))
        kept: list[float] = []
        for delay in ends:
            shown = [x % range_s for x in (0.0, *kept)]
            heard = float(np.average(np.exp(delay * self.exponent.real), weights=self.w))
            apart = min(abs(delay % range_s - x) for x in shown) > 3.0 * self.cell_s
            if not kept or (apart and heard > LEAST):
                kept.append(delay)
        return kept

    def columns(self, part: EchoPart) -> Complexes:
        """Return the columns of one part, shape (f, columns)."""
        return columns(part, self.u, self.exponent)

    def solve(self) -> tuple[list[Complexes], Complexes]:
        """Return what each part gives, and the residual."""
        given, residual, _ = self.solved()
        return given, residual

    def solved(self) -> tuple[list[Complexes], Complexes, list[Floats]]:
        """Return what each part gives, the residual, and each part's coefficients."""
        blocks = [self._block(part) for part in self.parts]
        a = np.hstack([weighted for _, weighted in blocks])
        scale = np.maximum(np.linalg.norm(a, axis=0), NOTHING)
        a = a / scale
        k = np.linalg.solve(a.T @ a + 1e-9 * np.eye(a.shape[1]), a.T @ self.target) / scale
        cuts = np.cumsum([block.shape[1] for block, _ in blocks])[:-1]
        shares = np.split(k, cuts)
        given = [block @ c for (block, _), c in zip(blocks, shares, strict=True)]
        return given, self.s - sum(given), shares

    def _block(self, part: EchoPart) -> tuple[Complexes, Floats]:
        """Return the columns of one part, plain, and weighted with real and imaginary parts one over the other."""
        found = self.blocks.get((part.delay, part.kind))
        if found is None:
            x = self.columns(part)
            w = self.w[:, None]
            found = self.blocks[part.delay, part.kind] = (x, np.vstack([x.real * w, x.imag * w]))
        return found

    def statistic(self, residual: Complexes) -> dict[str, Floats]:
        """Return how far the residual projects on an echo at each delay: χ² of one degree times the noise's square."""
        seen = np.conj(residual) * self.w**2
        step, spot = (np.stack([seen, seen * 1j * self.u]).astype(np.complex64) @ self.waves).real.astype(np.float64)
        return {"step": step**2 / self.seen["step"], "spot": spot**2 / self.seen["spot"]}

    def allowed(self, given: list[Complexes]) -> Floats:
        """Return, for each delay, the least amplitude an echo must have because of its strong neighbours."""
        least = np.full(len(self.delays), LEAST)
        for part, wave in zip(self.parts, given, strict=True):
            away = self.away(self.delays, part.delay)
            height = float(np.sqrt(np.average(np.abs(wave) ** 2, weights=self.w)))
            if part.kind in PLAIN:
                continue
            for reach, share in SHADOWS:
                least = np.maximum(least, np.where(away < reach, share * height, 0.0))
            least[away < APART_CELLS] = np.inf
        for delay in self.closed:
            least[self.away(self.delays, delay) < 1.0] = np.inf
        return least

    def add(self, delay: float, kind: Shape) -> None:
        """Add an echo, or widen the one that is too near to be told from it.

        Two wide ones side by side would explain each other away: then the place is closed instead.
        """
        for part in self.parts:
            if part.kind in PLAIN and self.away(np.array(part.delay), delay) < APART_CELLS:
                if self._crowded(part):
                    self.closed.append(delay)
                else:
                    part.kind = "lump"
                return
        self.parts.append(EchoPart(delay, kind))

    def hear_from_behind(self, end_delay_s: float, given: list[Complexes], least: float) -> bool:
        """Add what an open or shorted end throws back from behind echoes, where that is later than the search goes.

        It folds back onto the line, but has lost more than what stands where it shows. Returns whether one was added.
        """
        before = len(self.parts)
        for part, wave in zip(tuple(self.parts), given, strict=True):
            late = 2.0 * end_delay_s - part.delay
            if part.kind not in PLAIN or part.delay > end_delay_s or late < self.delays[-1]:
                continue
            heard = self.w * wave * np.exp((late - part.delay) * self.exponent.real)
            apart = all(self.away(np.array(late), p.delay) > APART_CELLS for p in self.parts)
            if apart and np.linalg.norm(heard) > least:
                self.parts.append(EchoPart(late, part.kind))
        return len(self.parts) > before

    def _crowded(self, part: EchoPart) -> bool:
        """Return whether a wide part is so near that another could not be told from it."""
        wide = [p for p in self.parts if p is not part and p.kind not in PLAIN]
        return any(self.away(np.array(p.delay), part.delay) < CROWD_CELLS for p in wide)

    def refine(self, about: list[float]) -> None:
        """Move each plain echo near the given delays to where its own wave fits best, the others held."""
        given, residual = self.solve()
        for part, wave in zip(self.parts, given, strict=True):
            if part.kind in PLAIN and min(abs(part.delay - delay) for delay in about) < MOVED_CELLS * self.cell_s:
                found = self.nearest(residual + wave, part.delay)
                part.delay, part.kind = found[0], found[1]
        self._merge()

    def _merge(self) -> None:
        """Make one lump of plain echoes that moved too near to each other to be told apart."""
        for part in [p for p in self.parts if p.kind in PLAIN]:
            for other in self.parts:
                if other is not part and self.away(np.array(other.delay), part.delay) < APART_CELLS:
                    self.parts.remove(part)
                    if other.kind in PLAIN and not self._crowded(other):
                        other.kind = "lump"
                    break

    def nearest(self, wave: Complexes, delay: float) -> tuple[float, Shape, float]:
        """Return the delay within a cell, and the plain shape, that fit a wave best; and what they explain."""
        at = delay + self.cell_s * np.linspace(-0.9, 0.9, 37)
        at = at[at >= 0.0]
        waves = np.exp(np.outer(self.exponent, at))
        power = np.abs(waves) ** 2
        best: tuple[float, Shape, float] = (delay, "step", -1.0)
        for shape in PLAIN:
            form = plain_form(shape, self.u)
            q = ((np.conj(wave) * self.w**2 * form) @ waves).real ** 2 / np.maximum(
                (self.w * np.abs(form)) ** 2 @ power, NOTHING
            )
            i = int(np.argmax(q))
            if q[i] > best[2]:
                best = (_vertex(at, q, i), shape, float(q[i]))
        return best


def _vertex(x: Floats, y: Floats, i: int) -> float:
    """Return where the parabola through three points about the largest has its vertex."""
    if not 0 < i < len(x) - 1:
        return float(x[i])
    left, middle, right = y[i - 1 : i + 2]
    bend = left - 2.0 * middle + right
    return float(x[i] + 0.5 * (x[1] - x[0]) * ((left - right) / bend if bend else 0.0))


FULL = 0.98
"""How much of the range before places fold back a line may fill."""

# The search for echoes: the strongest first, until nothing stands out of the sweep's own noise

FALSE_ALARM = 0.002
"""Chance that noise alone yields one echo anywhere on the line."""

MOST = 40
AT_ONCE, MOST_AT_ONCE = 0.2, 6
"""Echoes are taken a few at a time, none with less than this share of the strongest one's energy."""

QUIETEST = -60.0
"""No wave is taken for weaker than e to this."""

MULTIPLES = 4
BEYOND, BEYOND_TOTAL = 1.5, 2.4
"""How far beyond the far end re-reflections are looked for, as a multiple of its delay."""


def find_echoes(
    frequency_hz: Floats,
    reflection: Complexes,
    rate: Rate,
    end_delay_s: float | None,
    *,
    most_s: float | None = None,
    total: bool = False,
) -> EchoFit:
    """Return the echoes of a reflection sweep.

    They are taken one by one, the strongest first: a matched filter looks at every delay for a step and for a short
    spot, the found set is fitted again as a whole, and what is left is searched again, until nothing stands out of the
    noise of the sweep itself. Both ends of the line have a shape of their own, wide enough for a connector. Along a
    line longer than the range two echoes that show at one place are taken for one.

    Parameters
    ----------
    frequency_hz, reflection : ndarray, shape (f,)
        The sweep, thinned to some 1500 points or fewer.
    rate : Rate
        The line's attenuation.
    end_delay_s : float or None
        One-way delay of the far end, where known.
    most_s : float, optional
        How far to look, one way, where the end is not known; or that end's delay, to look all along a line longer than
        the range.
    total : bool
        Whether the far end throws all back: the wave then goes to and fro, and shows at multiples of its delay.
    """
    range_s = 1.0 / (2.0 * float(np.median(np.diff(frequency_hz))))
    beyond = BEYOND_TOTAL if total else BEYOND
    folded = end_delay_s is not None and most_s == end_delay_s > FULL * range_s
    most = min(beyond * end_delay_s if end_delay_s else (most_s or 0.5 * range_s), FULL * range_s)
    most = end_delay_s if folded and end_delay_s else most
    ends = [n * end_delay_s for n in range(1, (MULTIPLES if total else 1) + 1)] if end_delay_s else []
    behind_s = end_delay_s if total and end_delay_s and 2.0 * end_delay_s > most else None
    search = EchoSet(frequency_hz, reflection, rate, most, ends, range_s if folded or behind_s else np.inf)
    inside = search.delays <= (end_delay_s or search.delays[-1])
    cells = max(4.0, float(search.delays[inside][-1] / search.cell_s))
    threshold = float(np.sqrt(2.0 * np.log(4.0 * cells / FALSE_ALARM)))
    noise = _greedy(search, inside, threshold, behind_s)
    given, residual, shares = search.solved()
    echoes = [
        _echo(search, part, wave, residual, noise)
        for part, wave in zip(search.parts, given, strict=True)
        if part.kind in ("step", "spot", "lump")
    ]
    borders = [
        _echo(search, part, wave, residual, noise)
        for part, wave in zip(search.parts, given, strict=True)
        if part.kind in ("near", "far")
    ]
    return EchoFit(
        search.f, search.s, search.s - residual, rate, tuple(sorted(echoes, key=lambda e: e.delay_s)), borders[0],
        borders[1] if len(borders) > 1 else None, search.cell_s, range_s, threshold, noise, search.low_pass,
        most, tuple(zip(search.parts, shares, strict=True)),
    )  # fmt: skip


def _greedy(search: EchoSet, inside: NDArray[np.bool_], threshold: float, behind_s: float | None) -> float:
    """Take the strongest echoes, a few far from each other at a time; return the noise at the end.

    ``behind_s`` is the delay of an end that throws them back from behind, too late for the search to reach.
    """
    noise = np.inf
    for _ in range(MOST):
        given, residual = search.solve()
        seen = search.statistic(residual)
        noise = _noise(seen, inside)
        if behind_s is not None and search.hear_from_behind(behind_s, given, float(noise)):
            continue
        least = search.allowed(given)
        for shape in PLAIN:
            amplitude = np.sqrt(seen[shape] / search.seen[shape])
            seen[shape] = np.where(amplitude < least, 0.0, seen[shape])
        found = _strongest(search, seen, (threshold * noise) ** 2)
        if not found:
            break
        for delay, shape in found:
            search.add(delay, shape)
        search.refine([delay for delay, _ in found])
    return float(noise)


def _strongest(search: EchoSet, seen: dict[str, Floats], least: float) -> list[tuple[float, Shape]]:
    """Return the highest peaks that stand far from each other, none much lower than the highest."""
    whole = np.maximum(seen["step"], seen["spot"])
    least = max(least, AT_ONCE * float(whole.max()))
    found: list[tuple[float, Shape]] = []
    while (i := int(np.argmax(whole))) >= 0 and whole[i] >= least and len(found) < MOST_AT_ONCE:
        found.append((float(search.delays[i]), "step" if seen["step"][i] >= seen["spot"][i] else "spot"))
        whole[search.away(search.delays, float(search.delays[i])) < MOVED_CELLS] = 0.0
    return found


def _noise(seen: dict[str, Floats], inside: NDArray[np.bool_]) -> float:
    """Return the noise an echo must rise above: what the quiet part of the line itself shows, in the worse shape.

    The median of a χ² of one degree is 0.455 of its mean.
    """
    return max(float(np.sqrt(np.median(seen[shape][inside]) / 0.455)) for shape in PLAIN)


def _echo(search: EchoSet, part: EchoPart, wave: Complexes, residual: Complexes, noise: float) -> Echo:
    """Return a part as an echo: the plain shape nearest to it, its size and how sure its delay is."""
    alone = wave + residual if part.kind in PLAIN else wave
    ends: tuple[float, Shape, float] = (part.delay, "step", 0.0)
    delay, shape, q = ends if part.kind in ("near", "far") else search.nearest(alone, part.delay)
    turned = delay * search.exponent
    gone = np.exp(np.maximum(turned.real, QUIETEST) + 1j * turned.imag)
    form = plain_form(shape, search.u)
    local = wave / gone
    size = float((search.w**2 * np.abs(gone) ** 2 * (np.conj(form) * local).real).sum()
                 / ((search.w * np.abs(gone) * np.abs(form)) ** 2).sum())  # fmt: skip
    slope = 2.0 * TWO_PI * search.f * np.abs(size * form * gone) * search.w
    energy = float(((search.w * np.abs(alone)) ** 2).sum())
    weight = search.w * np.abs(gone)
    heard = weight > 0.15 * weight.max() if part.kind == "lump" else np.abs(gone) > 0.2 * np.abs(gone).max()
    most = (
        np.abs(local[heard]) if part.kind != "spot" else np.abs(local[heard]) / np.sqrt(1 + np.abs(local[heard]) ** 2)
    )
    return Echo(
        float(delay), float(noise / np.sqrt((slope**2).sum() + 1e-300)), shape, size,
        float(np.sqrt((search.w**2 * np.abs(wave) ** 2).sum()) / max(noise, 1e-12)),
        float(min(1.0, np.quantile(most, 0.95))), q / energy if energy else 0.0,
    )  # fmt: skip
