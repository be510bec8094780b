"""Places along a line that is longer than the steps of its sweep can hold, unfolded by a delay that its length told.

In steps of Δf a reflection at the delay d stands also at d less any number of ranges 1/(2 Δf). The line's delay says
how many places there are. Swept through, the line shows each reflection from both ends: whatever reflects, the wave to
it loses ``e^(-2αd)`` from port 1 and ``e^(-2α(D - d))`` from port 2, so what comes back here and there stands in the
ratio ``e^(-2α(D - 2d))``, which tells the places apart where the line loses enough. Where it does not, all are named.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from linewright.core.arrays import Complexes, Floats
from linewright.core.formatting import metres, percent
from linewright.core.formulas.time_domain import kaiser_window
from linewright.core.messages import say, together
from linewright.core.nouns.sweep import Fault, Sweep
from linewright.inference.sweep.echoes import APART_CELLS, KAISER, EchoFit, Rate, columns, find_echoes
from linewright.inference.sweep.faults import blind_s
from linewright.inference.sweep.line_end import LineScale, SeenPair

MOST_FOLDS, MOST_CELLS = 4.0, 1000.0
"""So many ranges long a line may be: beyond, echoes lie upon each other; and so many cells: beyond, the search is long.
"""
ALIKE = 0.15
"""How far what comes back at both ends may stand off the line's loss, in nepers: what connectors keep, and what a shape
leaves over. Chosen here."""
SURE_PLACE, MAY_STAND = 0.95, 0.02
"""From the first chance on one place is named alone; below the second none is named."""


def seen_unfolded(sweep: Sweep, port: int, delay_s: float, rate: Rate, mismatch: float) -> SeenPair:
    """Return the echoes from one port all along a line of known delay, less those that show where an end does."""
    fit = find_echoes(sweep.frequency_hz, sweep.s[:, port, port], rate, delay_s, most_s=delay_s)
    near_s = blind_s(fit)
    clear = [e for e in fit.echoes if all(_apart(e.delay_s, end, fit.range_s) > near_s for end in (0.0, delay_s))]
    return SeenPair(replace(fit, echoes=tuple(clear)), None, 0, mismatch)


def _apart(delay_s: float, other_s: float, range_s: float) -> float:
    """Return how far apart two delays show, modulo the range."""
    away = abs(delay_s - other_s) % range_s
    return float(min(away, range_s - away))


def hidden(fit: EchoFit) -> list[float]:
    """Return the delays along a line that show where one of its ends does."""
    end = fit.end_delay_s or 0.0
    folds = fit.range_s * np.arange(1, int(end / fit.range_s) + 1)
    return sorted(float(delay) for delay in (*folds, *(end - folds)) if 0.0 < delay < end)


def placed(fault: Fault, seen: SeenPair, other: SeenPair, scale: LineScale) -> Fault | None:
    """Return a fault with every place along the line where it may stand; None where port 2 does not show it.

    Its interval holds all of them.
    """
    found = places(fault.distance_m / scale.m_per_s, seen.fit, other.fit)
    if found is None:
        return None
    at, chance = found[0] * scale.m_per_s, found[1]
    kept = [int(i) for i in np.argsort(-chance) if chance[i] > MAY_STAND]
    if chance[kept[0]] >= SURE_PLACE:
        kept = kept[:1]
        apart = metres(float(seen.fit.range_s * scale.m_per_s), 3)
        why = say("Of its places, {apart} apart, this one goes with what comes back at both ends.", apart=apart)
    else:
        named = (say("{place} ({chance})", place=metres(float(at[i]), 3), chance=percent(float(chance[i])))
                 for i in kept)  # fmt: skip
        why = say("The steps of the sweep fold its place: it stands at {places}.", places=together(named, say(" or ")))
    half, own = 0.5 * (fault.high_m - fault.low_m), [float(at[i]) for i in kept]
    low, high = max(0.0, min(own) - half), max(own) + half
    return replace(fault, distance_m=own[0], low_m=low, high_m=high, why=together([fault.why, why]))


def places(delay_s: float, fit: EchoFit, other: EchoFit) -> tuple[Floats, Floats] | None:
    """Return every delay at which a reflection may stand that shows at one of them, and the chance of each."""
    assert fit.end_delay_s
    first = delay_s % fit.range_s
    delays = first + fit.range_s * np.arange(int((fit.end_delay_s - first) / fit.range_s) + 1)
    here, there = (np.abs(_wave(x, at)) for x, at in ((fit, delay_s), (other, fit.end_delay_s - delay_s)))
    f = fit.frequency_hz
    weight = here * there * kaiser_window(f, KAISER, low_pass=fit.low_pass) ** 2
    if weight.sum() <= 0.0:
        return None
    heard = weight > 1e-3 * weight.max()
    ratio = np.log(there[heard] / here[heard])
    away = ratio - np.outer(fit.end_delay_s - 2.0 * delays, fit.rate.exponent(f[heard]).real)
    off = np.asarray(np.average(away**2, axis=1, weights=weight[heard]), dtype=np.float64)
    chance = np.exp(-0.5 * (off - off.min()) / ALIKE**2)
    return np.asarray(delays, dtype=np.float64), np.asarray(chance / chance.sum())


def _wave(fit: EchoFit, delay_s: float) -> Complexes:
    """Return what the fitted parts give that show at a delay; nothing where none does."""
    exponent, u = fit.rate.exponent(fit.frequency_hz), fit.frequency_hz / fit.frequency_hz[-1]
    near = [
        columns(part, u, exponent) @ share
        for part, share in fit.parts
        if part.kind not in ("near", "far") and _apart(part.delay, delay_s, fit.range_s) < APART_CELLS * fit.cell_s
    ]
    return np.asarray(sum(near, np.zeros(len(u), dtype=np.complex128)))


def once(fit: EchoFit, window: Floats, back: Complexes, delays: Floats) -> Complexes:
    """Return the waves turned back to each delay, every fitted part drawn once, where it was unfolded to."""
    exponent, u = fit.rate.exponent(fit.frequency_hz), fit.frequency_hz / fit.frequency_hz[-1]
    out = np.zeros(len(delays), dtype=np.complex128)
    for part, share in fit.parts:
        near = np.abs(delays - part.delay) < 0.5 * fit.range_s
        out[near] += ((columns(part, u, exponent) @ share) * window) @ back[:, near]
    return out
