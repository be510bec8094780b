"""Faults of a line from its reflection: what echoes mean, and which of them are not faults."""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import combinations_with_replacement

import numpy as np

from linewright.evidence.sweeps.echoes import APART_CELLS, Complexes, Echo, EchoFit, Floats, Rate, find_echoes
from linewright.evidence.sweeps.line_end import LineEnd, end_by_reflection, means
from linewright.model.faults import Fault, FaultKind, Landmark, MarkKind
from linewright.units.constants import SPEED_OF_LIGHT_M_PER_S

LEAST_SIZE = 0.015
"""A reflection below this (36 dB return loss) is the unevenness of ordinary line. Common practice, no source."""

DYNAMIC = 0.05
AWAY = 0.15
"""A section's far edge leads back to the impedance before it, to e^(2 · 0.15)."""

NEAR_END_CELLS = 3.0
TRIPS = 6
"""So many times a wave is followed to and fro."""

MOST_FOLDED = 0.25
CLEAR = 0.55
"""An echo of whose energy a plain shape explains less is of no clear shape."""
SHOULDER_CELLS = 2.5
FOLDED = "The wave went to and fro along the whole line; the sweep's steps are so wide that it folds back to here."

MODEL_CELLS = 0.07
"""Standard uncertainty of a delay through what its shape may hide, in resolution cells; chosen from synthetic lines."""

MOST_POINTS = 1000
WIDER = 4.0
"""A thinned sweep keeps a range so many times as long as the line."""


@dataclass(frozen=True, slots=True)
class Scale:
    """How delays become metres: velocity factor, its relative standard uncertainty."""

    velocity_factor: float
    relative_u: float

    @property
    def m_per_s(self) -> float:
        """Return the speed of the wave."""
        return self.velocity_factor * SPEED_OF_LIGHT_M_PER_S


@dataclass(frozen=True, slots=True)
class Seen:
    """The echoes from one port, where the line ends, and whether that end is total (sign of it) or not (0)."""

    fit: EchoFit
    end: LineEnd | None
    total: int


def look(
    frequency_hz: Floats,
    reflection: Complexes,
    through: LineEnd | None,
    rate: Rate | None,
    end_delay_s: float | None,
    *,
    most_s: float | None = None,
) -> Seen:
    """Return the echoes seen from one port.

    Parameters
    ----------
    through : LineEnd or None
        The end as a sweep through the line shows it.
    rate : Rate or None
        The line's attenuation if known; else the sweep's own, if it shows one, or none.
    end_delay_s : float or None
        Delay of the far end if known from elsewhere; used where the sweep does not show the end itself.
    most_s : float, optional
        How far to look, one way, where no end is known.
    """
    mirror = None if through else end_by_reflection(frequency_hz, reflection)
    end = through or mirror
    delay = end.delay_s if end else end_delay_s
    own = end.rate if end else rate
    f, s = thinned(frequency_hz, reflection, delay or most_s)
    fit = find_echoes(f, s, own or Rate(0.0, 0.0), delay, most_s=most_s, total=mirror is not None)
    sign = 0 if mirror is None else (1 if mirror.reflection > 0 else -1)
    return Seen(fit, end, sign)


def thinned(f: Floats, s: Complexes, delay_s: float | None) -> tuple[Floats, Complexes]:
    """Return a sweep of at most some thousand points, or of so many that its range stays well beyond the line."""
    points = MOST_POINTS
    if delay_s:
        points = max(points, int(np.ceil(2.0 * WIDER * delay_s * (f[-1] - f[0]))))
    return means(f, s, delay_s or 0.0, points)


def discontinuities(seen: Seen, scale: Scale, impedance_ohm: float) -> tuple[list[Fault], list[Landmark]]:
    """Return the faults along a line and what is no fault, in order of distance, the ends left out."""
    fit = seen.fit
    last = fit.end_delay_s
    near_s = APART_CELLS * fit.cell_s
    on_line = [e for e in fit.echoes if near_s < e.delay_s < (last - near_s if last else np.inf)]
    most = max((e.drop for e in on_line), default=0.0)
    marks: list[Landmark] = []
    clear: list[Echo] = []
    for echo in on_line:
        kind, why = _no_fault(echo, on_line, clear, most, fit)
        if kind:
            marks.append(Landmark(echo.delay_s * scale.m_per_s, kind, echo.drop, why))
        else:
            clear.append(_upright(echo, clear))
    return _named(clear, seen, scale, impedance_ohm), marks


def _no_fault(
    echo: Echo, on_line: list[Echo], clear: list[Echo], most: float, fit: EchoFit
) -> tuple[MarkKind | None, str]:
    """Return what an echo is that is no fault, and why; nothing if it is one."""
    if echo.drop < LEAST_SIZE or echo.strength < fit.threshold:
        return "unevenness", "Too small to matter."
    if echo.fits < CLEAR and echo.drop < 2.0 * LEAST_SIZE:
        return "unevenness", "Small, and of no clear shape."
    if echo.drop < DYNAMIC * most:
        return "unevenness", "Too small beside the strongest reflection on the line to be told from what that leaves."
    if any(_shoulder(echo, other, fit.cell_s) for other in on_line if other is not echo):
        return "unevenness", "Part of the stronger reflection next to it."
    return ("ghost", why) if (why := _ghost(echo, clear, fit)) else (None, "")


def _shoulder(echo: Echo, other: Echo, cell_s: float) -> bool:
    """Return whether an echo is what the model of a much stronger neighbour left over."""
    away = abs(echo.delay_s - other.delay_s) / cell_s
    plain = echo.shape == other.shape == "step" and min(echo.fits, other.fits) > 0.9
    share = 0.1 if plain else (1.0 if away < APART_CELLS else 0.5)
    return away < SHOULDER_CELLS and echo.drop < share * other.drop


def _upright(echo: Echo, before: list[Echo]) -> Echo:
    """Return an echo with what earlier ones turned back added again: (1 - r²) is let through each way."""
    through = np.prod([1.0 - min(e.size**2 if e.shape == "step" else 0.0, 0.8) for e in before]) if before else 1.0
    return replace(echo, size=float(echo.size / through), drop=float(min(1.0, echo.drop / through)))


def _ghost(echo: Echo, before: list[Echo], fit: EchoFit) -> str:
    """Return why an echo is a re-reflection of known ones, folded back or not; empty if it is not."""
    sources = [fit.near, *before]
    for i, first in enumerate(sources):
        ways: list[tuple[Echo, ...]] = list(combinations_with_replacement(sources[i + 1 :], 2))
        ways += [(second,) * (n + 1) for second in sources[i + 1 :] for n in range(2, TRIPS)]
        for way in ways:
            delay = sum(turn.delay_s for turn in way) - (len(way) - 1) * first.delay_s
            reach = float(np.prod([turn.drop for turn in way])) * first.drop ** (len(way) - 1)
            if abs(delay - echo.delay_s) < APART_CELLS * fit.cell_s and echo.drop < 2.0 * reach:
                return "The wave went to and fro between two nearer reflections."
    return FOLDED if _folded(echo, fit) else ""


def _folded(echo: Echo, fit: EchoFit) -> bool:
    """Return whether a wave that went several times to the far end shows here: beyond the range, delays fold back."""
    if fit.end is None or echo.drop > MOST_FOLDED:
        return False
    end, turns = fit.end, [fit.near, *(e for e in fit.echoes if e is not echo)]
    ways = [(a, b) for a, b in combinations_with_replacement(turns, 2)] + [
        (a,) * n for a in turns for n in range(3, TRIPS + 1)
    ]
    for way in ways:
        delay = end.delay_s + sum(end.delay_s - turn.delay_s for turn in way)
        reach = end.drop ** (len(way) + 1) * float(np.prod([turn.drop for turn in way]))
        away = abs(delay % fit.range_s - echo.delay_s)
        if delay > fit.range_s and away < APART_CELLS * fit.cell_s and echo.drop < 3.0 * reach:
            return True
    return False


def _named(echoes: list[Echo], seen: Seen, scale: Scale, z0: float) -> list[Fault]:
    """Return echoes as faults; two steps that lead away from an impedance and back are the edges of one section."""
    faults: list[Fault] = []
    z, i = z0, 0
    while i < len(echoes):
        if i + 1 < len(echoes) and _edges(echoes[i], echoes[i + 1], seen.fit):
            faults.append(_section((echoes[i], echoes[i + 1]), seen, scale, z))
            i += 2
            continue
        fault = _single(echoes[i], seen, scale, z)
        faults.append(fault)
        z = fault.impedance_ohm or z
        i += 1
    return faults


def _edges(first: Echo, second: Echo, fit: EchoFit) -> bool:
    """Return whether two echoes are the edges of one section: away from an impedance and back.

    Of an edge close to the far end only the sign can be told: the end takes part of its shape.
    """
    if first.shape != "step" or first.size * second.size >= 0:
        return False
    if fit.end_delay_s and fit.end_delay_s - second.delay_s < NEAR_END_CELLS * fit.cell_s:
        return True
    left = np.arctanh(np.clip(first.size, -0.9, 0.9)) + np.arctanh(np.clip(second.size, -0.9, 0.9))
    return second.shape == "step" and bool(abs(left) < AWAY)


def _section(edges: tuple[Echo, Echo], seen: Seen, scale: Scale, z0: float) -> Fault:
    first, second = edges
    kind: FaultKind = "water" if first.size < 0 else "insert"
    z = z0 * (1 + first.size) / (1 - first.size)
    long = (second.delay_s - first.delay_s) * scale.m_per_s
    words = {
        "water": f"About {z:.0f} ohm over some {long:.2g} m: water in the line, or a length of other line let in.",
        "insert": f"About {z:.0f} ohm over some {long:.2g} m: a length of other line let in, or a jacket pulled apart.",
    }[kind]
    return _placed(first, kind, words, seen, scale, length_m=long, impedance_ohm=z)


def _single(echo: Echo, seen: Seen, scale: Scale, z0: float) -> Fault:
    if echo.fits < CLEAR:
        return _placed(
            echo, "unclear", "Fits neither a step nor a short spot: several things close together.", seen, scale
        )
    if echo.shape == "spot":
        pinch = "A short spot of lower impedance: a pinch or kink, or a joint whose connectors do not match the line."
        gap = "A short spot of higher impedance: a braid opened or pulled, or a joint with too long a gap."
        return _placed(echo, "pinch" if echo.size < 0 else "gap", pinch if echo.size < 0 else gap, seen, scale)
    back = behind(echo, seen)
    if back > 0 and echo.size > 0:
        series = 2.0 * z0 * echo.size / (1.0 - echo.size)
        words = f"About {series:.0f} ohm in series: it reflects alike from both sides. A corroded or loose joint."
        return _placed(echo, "bad joint", words, seen, scale, series_ohm=series)
    z = z0 * (1 + echo.size) / (1 - echo.size)
    words = f"The impedance changes to about {z:.0f} ohm and stays: another line is joined on."
    if back == 0 and echo.size > 0:
        words += " Or resistance in series; from this end alone the two look alike."
    return _placed(echo, "step", words, seen, scale, impedance_ohm=z)


def behind(echo: Echo, seen: Seen) -> int:
    """Return the sign, relative to the front, of what an echo reflects from behind; 0 if that does not show.

    With the far end total, the wave that comes back from it meets the same spot from behind, and its echo stands
    beyond the end by as much as the spot is before it. A step of impedance reflects the other way from behind, a
    resistance in series the same way.
    """
    fit = seen.fit
    if seen.total == 0 or fit.end_delay_s is None:
        return 0
    mirror = 2.0 * fit.end_delay_s - echo.delay_s
    near = [e for e in fit.echoes if abs(e.delay_s - mirror) < 0.8 * fit.cell_s and e.shape == "step"]
    if not near or abs(near[0].size) < 0.4 * abs(echo.size):
        return 0
    return 1 if near[0].size * echo.size > 0 else -1


def _placed(echo: Echo, kind: FaultKind, why: str, seen: Seen, scale: Scale, **more: float) -> Fault:
    fit = seen.fit
    at = echo.delay_s * scale.m_per_s
    u = np.hypot(np.hypot(echo.delay_u_s, MODEL_CELLS * fit.cell_s) * scale.m_per_s, scale.relative_u * at)
    cells = max(4.0, (fit.end_delay_s or fit.range_s) / fit.cell_s)
    chance = 4.0 * cells * float(np.exp(-0.5 * min(echo.strength, 40.0) ** 2))
    low, high = max(0.0, float(at - 1.96 * u)), float(at + 1.96 * u)
    return Fault(float(at), low, high, kind, float(echo.drop), float(np.clip(1.0 - chance, 0.0, 0.99)), why, **more)
