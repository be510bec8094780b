"""The search for echoes: the strongest first, until nothing stands out of the sweep's own noise."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from linewright.evidence.sweeps.echo_set import MOVED_CELLS, EchoSet
from linewright.evidence.sweeps.echoes import PLAIN, Complexes, Echo, EchoFit, Floats, Part, Rate, Shape, plain_form
from linewright.units.constants import TWO_PI

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
    noise of the sweep itself. Both ends of the line have a shape of their own, wide enough for a connector.

    Parameters
    ----------
    frequency_hz, reflection : ndarray, shape (f,)
        The sweep, thinned to some 1500 points or fewer.
    rate : Rate
        The line's attenuation.
    end_delay_s : float or None
        One-way delay of the far end, where known.
    most_s : float, optional
        How far to look, one way, where the end is not known.
    total : bool
        Whether the far end throws all back: the wave then goes to and fro, and shows at multiples of its delay.
    """
    range_s = 1.0 / (2.0 * float(np.median(np.diff(frequency_hz))))
    beyond = BEYOND_TOTAL if total else BEYOND
    most = min(beyond * end_delay_s if end_delay_s else (most_s or 0.5 * range_s), 0.98 * range_s)
    ends = [n * end_delay_s for n in range(1, (MULTIPLES if total else 1) + 1)] if end_delay_s else []
    search = EchoSet(frequency_hz, reflection, rate, most, ends)
    inside = search.delays <= (end_delay_s or search.delays[-1])
    cells = max(4.0, float(search.delays[inside][-1] / search.cell_s))
    threshold = float(np.sqrt(2.0 * np.log(4.0 * cells / FALSE_ALARM)))
    noise = _greedy(search, inside, threshold)
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


def _greedy(search: EchoSet, inside: NDArray[np.bool_], threshold: float) -> float:
    """Take the strongest echoes, a few far from each other at a time; return the noise at the end."""
    noise = np.inf
    for _ in range(MOST):
        given, residual = search.solve()
        seen = search.statistic(residual)
        noise = _noise(seen, inside)
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
        whole[np.abs(search.delays - search.delays[i]) < MOVED_CELLS * search.cell_s] = 0.0
    return found


def _noise(seen: dict[str, Floats], inside: NDArray[np.bool_]) -> float:
    """Return the noise an echo must rise above: what the quiet part of the line itself shows, in the worse shape.

    The median of a χ² of one degree is 0.455 of its mean.
    """
    return max(float(np.sqrt(np.median(seen[shape][inside]) / 0.455)) for shape in PLAIN)


def _echo(search: EchoSet, part: Part, wave: Complexes, residual: Complexes, noise: float) -> Echo:
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
