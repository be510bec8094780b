"""A growing set of echoes, fitted to a sweep as a whole by weighted least squares."""

from __future__ import annotations

import numpy as np

from linewright.evidence.sweeps import echoes as model
from linewright.evidence.sweeps.echoes import (
    APART_CELLS,
    KAISER,
    LOW_PASS,
    PLAIN,
    Complexes,
    Floats,
    Part,
    Rate,
    Shape,
    plain_form,
    waves,
)
from linewright.physics.time_domain import cell_s, kaiser_window

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

    def __init__(self, f: Floats, s: Complexes, rate: Rate, most_s: float, ends: list[float]) -> None:
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
        self.parts = [Part(0.0, "near")]
        self.closed: list[float] = []
        self.target = np.concatenate([s.real * self.w, s.imag * self.w])
        self.blocks: dict[tuple[float, str], tuple[Complexes, Floats]] = {}
        self.parts += [Part(delay, "far") for delay in self._apart(ends)]

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

    def columns(self, part: Part) -> Complexes:
        """Return the columns of one part, shape (f, columns)."""
        return model.columns(part, self.u, self.exponent)

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

    def _block(self, part: Part) -> tuple[Complexes, Floats]:
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
            away = np.abs(self.delays - part.delay) / self.cell_s
            height = float(np.sqrt(np.average(np.abs(wave) ** 2, weights=self.w)))
            if part.kind in PLAIN:
                continue
            for reach, share in SHADOWS:
                least = np.maximum(least, np.where(away < reach, share * height, 0.0))
            least[away < APART_CELLS] = np.inf
        for delay in self.closed:
            least[np.abs(self.delays - delay) < self.cell_s] = np.inf
        return least

    def add(self, delay: float, kind: Shape) -> None:
        """Add an echo, or widen the one that is too near to be told from it.

        Two wide ones side by side would explain each other away: then the place is closed instead.
        """
        for part in self.parts:
            if part.kind in PLAIN and abs(part.delay - delay) < APART_CELLS * self.cell_s:
                if self._crowded(part):
                    self.closed.append(delay)
                else:
                    part.kind = "lump"
                return
        self.parts.append(Part(delay, kind))

    def _crowded(self, part: Part) -> bool:
        """Return whether a wide part stands so near that another would not be told from it."""
        wide = [p for p in self.parts if p is not part and p.kind not in PLAIN]
        return any(abs(p.delay - part.delay) < CROWD_CELLS * self.cell_s for p in wide)

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
                if other is not part and abs(other.delay - part.delay) < APART_CELLS * self.cell_s:
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
