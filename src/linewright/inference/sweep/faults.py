"""Faults of a line from its reflection: what echoes mean, and which of them are not faults."""

from __future__ import annotations

from bisect import bisect_left
from dataclasses import replace
from itertools import combinations_with_replacement

import numpy as np

from linewright.core.arrays import Complexes, Floats
from linewright.core.formatting import metres, plain
from linewright.core.formulas.time_domain import kaiser_window
from linewright.core.messages import say, together
from linewright.core.nouns.sweep import Fault, FaultKind, Landmark, MarkKind, Sweep
from linewright.core.quantities import DB_PER_NEPER
from linewright.inference.sweep.echoes import APART_CELLS, KAISER, NOTHING, QUIETEST, Echo, EchoFit, columns
from linewright.inference.sweep.line_end import LineScale, SeenPair, look

# Echoes that are no thing of their own: what two or three known reflections throw to and fro

TRIPS = 6
"""So many times a wave is followed to and fro."""

MOST_FOLDED = 0.25
BEHIND_CELLS = 6.0
"""What comes from behind a total end and folds back trails so far after its place: skin effect draws it out. By
simulated wet lines."""
FOLDED = say(
    "The wave went back and forth along the whole line; the sweep's steps are so wide that it folds back to here."
)


def ghost(echo: Echo, before: list[Echo], fit: EchoFit) -> str:
    """Return why an echo is a re-reflection of known ones, folded back or not; empty if it is not."""
    sources = [fit.near, *before]
    for i, first in enumerate(sources):
        ways: list[tuple[Echo, ...]] = list(combinations_with_replacement(sources[i + 1 :], 2))
        ways += [(second,) * (n + 1) for second in sources[i + 1 :] for n in range(2, TRIPS)]
        for way in ways:
            delay = sum(turn.delay_s for turn in way) - (len(way) - 1) * first.delay_s
            reach = float(np.prod([turn.drop for turn in way])) * first.drop ** (len(way) - 1)
            if abs(delay - echo.delay_s) < APART_CELLS * fit.cell_s and echo.drop < 2.0 * reach:
                return say("The wave went back and forth between two nearer reflections.")
    return FOLDED if _folded(echo, fit) else ""


def _folded(echo: Echo, fit: EchoFit) -> bool:
    """Return whether a wave that went several times to the far end shows here: beyond the range, delays fold back.

    An open or shorted end throws all back, and what stands before it is heard again from behind, weaker for the longer
    way: one turn is enough, and at the near end it is spread over all that its connectors reach.
    """
    if fit.end is None:
        return False
    end, turns = fit.end, [fit.near, *(e for e in fit.echoes if e is not echo)]
    ways: list[tuple[Echo, ...]] = []
    if end.drop > MOST_MISMATCH:
        ways += [(a,) for a in turns if a is fit.near or a.strength > echo.strength]
    if echo.drop <= MOST_FOLDED:
        ways += [*combinations_with_replacement(turns, 2), *((a,) * n for a in turns for n in range(3, TRIPS + 1))]
    for way in ways:
        delay = end.delay_s + sum(end.delay_s - turn.delay_s for turn in way)
        reach = end.drop ** (len(way) + 1) * float(np.prod([turn.drop for turn in way]))
        early = blind_s(fit) if way == (fit.near,) else 0.0
        trail = (BEHIND_CELLS if len(way) == 1 else APART_CELLS) * fit.cell_s
        late = (echo.delay_s - delay + early + 0.5 * fit.range_s) % fit.range_s - 0.5 * fit.range_s
        shows = -APART_CELLS * fit.cell_s < late < early + trail
        if delay > fit.range_s and shows and echo.drop < 3.0 * reach:
            return True
    return False


# Faults of a line from its reflection: what echoes mean, and which of them are not faults

LEAST_SIZE = 0.015
"""A reflection below this (36 dB return loss) is the unevenness of ordinary line. Common practice, no source."""

# How sure a fault is: sound lines of ``benchmarks/sweep_lines.py`` show so much of their own. What is told at 0.9
# stands just above it; what is less sure is no fault, and is listed as unevenness.
SURE_SIZE, SURE_STRENGTH = 0.03, 15.0
"""Clear size and strength from which a fault far from either end is told."""
BY_SIZE, BY_STRENGTH = 1.5, 0.7
"""By which powers of them the doubt falls."""
LEAST_SURE, MOST_SURE = 0.9, 0.99
CALIBRATED = 0.04
"""What a cheap calibration leaves (28 dB): a line of another impedance than the analyser's must show as much more as
that grows in its own. Common practice, no source."""
NEAR_ENDS, NEAR_REACH = 2.0, 1.0
"""How much more it must be next to connectors, and over how many of their reaches that fades."""

AS_MUCH, WITNESSED = 0.4, 0.25
"""Where an echo is that of the resistance which a loss alike at all frequencies makes, to so much (log), it is doubted
so many times less: two witnesses of one joint."""

DYNAMIC = 0.05
AWAY = 0.15
"""A section's far edge leads back to the impedance before it, to e^(2 · 0.15)."""

MOST_EDGE = 0.9
NEAR_END_CELLS = 3.0
CLEAR = 0.55
"""An echo of whose energy a plain shape explains less is of no clear shape."""
SHOULDER_CELLS = 2.5
MODEL_CELLS = 0.1
"""Standard uncertainty of a delay through what its shape may hide, in resolution cells; chosen from synthetic lines."""


CONNECTORS_S, CONNECTORS_SHARE = 1.2e-9, 0.15
"""Connectors and adapters reach so far into a line from either end, as delay (0.25 m of solid polyethylene), but over
no more than this share of it. Common practice, no source."""


STRONG, MOST_MISMATCH, FURTHER = 0.3, 0.6, 2.5
"""Where so much comes back from an end, waves go to and fro within its connectors: they reach so much further. More
than the second is an open or a short, and no connector."""


def blind_s(fit: EchoFit) -> float:
    """Return how near to either end, as delay, a fault hides behind connectors and adapters."""
    return max(APART_CELLS * fit.cell_s, connectors_s(fit))


def connectors_s(fit: EchoFit) -> float:
    """Return how far, as delay, connectors and adapters may reach into a line from either end."""
    strong = max(fit.near.drop, 0.0 if fit.end is None or fit.end.drop > MOST_MISMATCH else fit.end.drop)
    reach = CONNECTORS_S * (FURTHER if strong > STRONG else 1.0)
    return reach if fit.end_delay_s is None else min(reach, CONNECTORS_SHARE * fit.end_delay_s)


SIZES = 300
"""Among so many sizes the least that is told is looked for: each is 1.4 % above the one before."""


def discontinuities(
    seen: SeenPair, scale: LineScale, impedance_ohm: float, constant_db: float = 0.0
) -> tuple[list[Fault], list[Landmark]]:
    """Return the faults along a line and what is no fault, in order of distance, the ends left out.

    A loss ``constant_db`` that is there at all frequencies alike speaks for the echo that resistance of so much makes.
    """
    fit = replace(seen.fit, series=in_series(constant_db, impedance_ohm))
    seen = replace(seen, fit=fit)
    last = fit.end_delay_s
    near_s = blind_s(fit)
    on_line = [e for e in fit.echoes if near_s < e.delay_s < (last - near_s if last else np.inf)]
    most = max((e.drop for e in on_line), default=0.0)
    marks: list[Landmark] = []
    clear: list[Echo] = []
    for echo in on_line:
        kind, why = _no_fault(echo, on_line, clear, most, seen)
        if kind:
            marks.append(Landmark(echo.delay_s * scale.m_per_s, kind, echo.drop, why))
        else:
            clear.append(_upright(echo, clear))
    return _named(clear, seen, scale, impedance_ohm), marks


def _no_fault(
    echo: Echo, on_line: list[Echo], clear: list[Echo], most: float, seen: SeenPair
) -> tuple[MarkKind | None, str]:
    """Return what an echo is that is no fault, and why; nothing if it is one."""
    fit = seen.fit
    if echo.drop < LEAST_SIZE or echo.strength < fit.threshold:
        return "unevenness", say("Too small to matter.")
    if echo.fits < CLEAR and echo.drop < 2.0 * LEAST_SIZE:
        return "unevenness", say("Small, and of no clear shape.")
    if echo.fits < CLEAR and _from_end(echo, fit) < connectors_s(fit) + APART_CELLS * fit.cell_s:
        return "unevenness", say("Of no clear shape, and not told from the connectors next to it.")
    if echo.drop < DYNAMIC * most:
        return "unevenness", say("Too small to be told from the remainder of the strongest reflection on the line.")
    if any(_shoulder(echo, other, fit.cell_s) for other in on_line if other is not echo):
        return "unevenness", say("Part of the stronger reflection next to it.")
    if why := ghost(echo, clear, fit):
        return "ghost", why
    if confidence(echo, seen) < LEAST_SURE:
        return "unevenness", say("Sound lines sometimes show as much, from connectors, braid and calibration.")
    return None, ""


def confidence(echo: Echo, seen: SeenPair) -> float:
    """Return how sure an echo is to be more than what sound lines, connectors and calibrations show, 0 to 0.99."""
    fit = seen.fit
    away, reach = _from_end(echo, fit), blind_s(fit)
    wanted = (SURE_SIZE + CALIBRATED * (grown(seen.mismatch) - 1.0)) * (
        1.0 + NEAR_ENDS * float(np.exp(-max(away - reach, 0.0) / (NEAR_REACH * reach)))
    )
    size = echo.drop * float(np.sqrt(max(echo.fits, 0.0)))
    doubt = (wanted / max(size, 1e-6)) ** BY_SIZE * (SURE_STRENGTH / max(echo.strength, 1e-6)) ** BY_STRENGTH
    # Of no clear shape, it may be the resistance's as well as a spot's.
    heard = echo.size if echo.shape == "step" else echo.drop if echo.fits < CLEAR else 0.0
    if fit.series > LEAST_SIZE and abs(np.log(max(heard, 1e-6) / fit.series)) < AS_MUCH:
        doubt *= WITNESSED
    # What a calibration leaves is no noise: no strength speaks against it.
    doubt = max(doubt, (CALIBRATED * (grown(seen.mismatch) - 1.0) / max(size, 1e-6)) ** BY_SIZE)
    return float(np.clip(1.0 - (1.0 - LEAST_SURE) * doubt, 0.0, MOST_SURE))


def least_told(delay_s: float, seen: SeenPair) -> float | None:
    """Return the least reflection, alike at all frequencies, that is told as a fault at a delay; None if none is.

    It takes ``LEAST_SURE`` of what ``confidence`` makes of an echo that only noise keeps from a plain shape, above the
    threshold of the search.
    """
    fit = replace(seen.fit, series=0.0)
    seen = replace(seen, fit=fit)
    w = kaiser_window(fit.frequency_hz, KAISER, low_pass=fit.low_pass)
    passed = np.exp(np.maximum(delay_s * fit.rate.exponent(fit.frequency_hz).real, QUIETEST))
    noise = max(fit.noise, NOTHING)
    heard = float(np.linalg.norm(w * passed)) / noise
    rest = float(np.linalg.norm(w * (fit.reflection - fit.modelled))) / noise

    def told(size: float) -> bool:
        strength = size * heard
        fits = strength**2 / (strength**2 + rest**2)
        echo = Echo(delay_s, 0.0, "step", size, strength, size, fits)
        clear = fits >= CLEAR or size >= 2.0 * LEAST_SIZE
        return clear and strength >= fit.threshold and confidence(echo, seen) >= LEAST_SURE

    sizes: list[float] = np.geomspace(LEAST_SIZE, MOST_EDGE, SIZES).tolist()
    least = bisect_left(sizes, True, key=told)
    return sizes[least] if least < SIZES else None


def _from_end(echo: Echo, fit: EchoFit) -> float:
    """Return how far, as delay, an echo stands from the nearer end."""
    return echo.delay_s if fit.end_delay_s is None else min(echo.delay_s, fit.end_delay_s - echo.delay_s)


def grown(mismatch: float) -> float:
    """Return how many times larger what a calibration leaves is in a line's own impedance, at most.

    From ``r' = (r - m)/(1 - m r)`` follows ``dr'/dr = (1 - m²)/(1 - m r)²``: where all comes back in phase with m, that
    is the SWR of the line in the analyser's impedance, ``(1 + m)/(1 - m)``.

    >>> round(grown(0.2), 3)
    1.5
    """
    return (1.0 + mismatch) / (1.0 - mismatch)


def in_series(constant_db: float, impedance_ohm: float) -> float:
    """Return what a resistance in series reflects that loses so much, both by itself: ``R = 2 Z0 (10^(A/20) - 1)``.

    >>> round(in_series(0.83, 50.0), 3)
    0.091
    """
    ohm = 2.0 * impedance_ohm * float(np.expm1(max(constant_db, 0.0) / DB_PER_NEPER))
    return ohm / (2.0 * impedance_ohm + ohm)


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


def _named(echoes: list[Echo], seen: SeenPair, scale: LineScale, z0: float) -> list[Fault]:
    """Return echoes as faults; two steps that lead away from an impedance and back are the edges of one section."""
    faults: list[Fault] = []
    z, i = z0, 0
    while i < len(echoes):
        if _begins(echoes, i, seen.fit):
            faults.append(_section((echoes[i], echoes[i + 1]), seen, scale, z))
            i += 2
            continue
        fault = _single(echoes[i], seen, scale, z)
        faults.append(fault)
        z = fault.impedance_ohm or z
        i += 1
    return faults


def _begins(echoes: list[Echo], i: int, fit: EchoFit) -> bool:
    """Return whether an echo begins a section that ends at the next one, which does not answer better to the third."""
    if i + 1 >= len(echoes) or not edges(echoes[i], echoes[i + 1], fit):
        return False
    rival = i + 2 < len(echoes) and edges(echoes[i + 1], echoes[i + 2], fit)
    return not rival or _left(echoes[i], echoes[i + 1]) <= _left(echoes[i + 1], echoes[i + 2])


def _left(first: Echo, second: Echo) -> float:
    """Return how far two steps together leave the impedance from where it was, half the logarithm of the ratio."""
    return float(abs(np.arctanh(np.clip([first.size, second.size], -0.9, 0.9)).sum()))


def edges(first: Echo, second: Echo, fit: EchoFit) -> bool:
    """Return whether two echoes are the edges of one section: away from an impedance and back.

    Of an edge close to the far end only the sign can be told: the end takes part of its shape.
    """
    if first.shape != "step" or first.size * second.size >= 0:
        return False
    if fit.end_delay_s and fit.end_delay_s - second.delay_s < NEAR_END_CELLS * fit.cell_s:
        return True
    return second.shape == "step" and _left(first, second) < AWAY


def _section(edges: tuple[Echo, Echo], seen: SeenPair, scale: LineScale, z0: float) -> Fault:
    first, second = edges
    z = _after(z0, first)
    long = (second.delay_s - first.delay_s) * scale.m_per_s
    ohm, over = plain(float(z), 0), metres(float(long), 2)
    kind: FaultKind = "insert"
    words = say(
        "About {impedance} ohm over about {length}: a length of other line spliced in, or a jacket pulled apart.",
                impedance=ohm, length=over)  # fmt: skip
    if first.size < 0:
        kind, words = _filled(first, second, (z, z0), seen, ohm=ohm, over=over)
    return _placed(first, kind, words, seen, scale, length_m=long, impedance_ohm=z)


# What fills a section of lower impedance: water, which loses much, or other line, whose impedance is a usual one

LINES_OHM = {25.0: 1.0, 35.0: 1.0, 50.0: 10.0, 62.0: 1.0, 75.0: 10.0, 93.0: 2.0}
"""Impedances that coax is made in, and how often each is met. Common practice, no source."""
OWN_OHM = 0.12
"""A section bends what is read of the line's own impedance by so much at most, relative: a usual one near it counts."""
NEAR_OHM, ANY_OHM = 0.025, 0.1
"""How near to one of them a length of other line is read, relative; and the share of lines of any other impedance."""
WET = (0.62, 0.98)
"""Water lowers an impedance to such shares, all alike likely: a permittivity up to 2.6 times as large."""
WET_TIMES, LINE_TIMES = (3.0, 0.6), (1.0, 0.4)
"""How many times a line's own loss water loses, and other line: the middle and its log spread. Chosen here."""
TIMES = np.geomspace(0.3, 12.0, 28)
EDGE_SIZE = 0.006
"""By how much the far edge may reflect less or more than the near one for reasons of its own: braid, a bend."""
HEARD = 2.0
"""So many times the noise counts in a section: what its edges leave over hangs together. By simulated lines."""
TOLD_APART = 0.9


def _filled(
    first: Echo, second: Echo, ohms: tuple[float, float], seen: SeenPair, *, ohm: str, over: str
) -> tuple[FaultKind, str]:
    """Return whether water fills a section, or other line, and what to say; neither where the sweep cannot tell."""
    times, weight = _loses(first, second, seen)
    wet, line = (float(weight @ _about(times, *middle)) for middle in (WET_TIMES, LINE_TIMES))
    by_wet, by_line = _ohm_odds(*ohms)
    chance = wet * by_wet / max(wet * by_wet + line * by_line, 1e-300)
    given = {"impedance": ohm, "length": over}
    if max(chance, 1.0 - chance) < TOLD_APART:
        return "section", say(
            "About {impedance} ohm over about {length}: water in the line, or a length of other line spliced in; one "
            "sweep cannot tell which. Water moves and dries: sweep again after a dry week.", **given,
        )  # fmt: skip
    if chance < TOLD_APART:
        return "insert", say(
            "About {impedance} ohm over about {length}: a length of other line spliced in. Water would lose more, or "
            "give another impedance.", **given,
        )  # fmt: skip
    if wet > 2.0 * line:
        return "water", say(
            "About {impedance} ohm over about {length}, which loses more than the line does: water in the line, "
            "rather than other line.", **given,
        )  # fmt: skip
    return "water", say(
        "About {impedance} ohm over about {length}: water in the line, because no usual line has such an impedance. "
        "Crushed or tightly coiled line may look the same.", **given,
    )  # fmt: skip


def _about(times: Floats, middle: float, spread: float) -> Floats:
    """Return a log-normal prior over a grid of multiples, its weights summed to 1."""
    height = np.exp(-0.5 * (np.log(times / middle) / spread) ** 2)
    return np.asarray(height / height.sum())


def _ohm_odds(z: float, z0: float) -> tuple[float, float]:
    """Return how likely an impedance, per unit of its logarithm, is in a wet section and in one of other line."""
    share = z / z0
    wet = 1.0 / float(np.log(WET[1] / WET[0])) if WET[0] < share < WET[1] else 1e-3
    own = min(LINES_OHM, key=lambda x: abs(np.log(x / z0)))
    own = own if abs(np.log(own / z0)) < OWN_OHM else z0
    usual = {x: met for x, met in LINES_OHM.items() if abs(np.log(x / own)) > 2.0 * NEAR_OHM}
    off = np.log(share * own / np.array(list(usual))) / NEAR_OHM
    near = np.average(np.exp(-0.5 * off**2), weights=list(usual.values())) / (NEAR_OHM * np.sqrt(2.0 * np.pi))
    return wet, float((1.0 - ANY_OHM) * near + ANY_OHM / np.log(5.0))


def _loses(first: Echo, second: Echo, seen: SeenPair) -> tuple[Floats, Floats]:
    """Return multiples of the line's own loss that a section may have, and how likely the sweep makes each.

    The far edge throws back what the near one did, turned over, less ``r²`` at each pass and less what the section
    loses there and back. Where the line's own loss is not known every multiple is as likely as any other.
    """
    fit = seen.fit
    alike: Floats = np.full(len(TIMES), 1.0 / len(TIMES))
    if seen.end is None or fit.rate.conductor + fit.rate.dielectric <= 0.0:
        return TIMES, alike
    exponent, u = fit.rate.exponent(fit.frequency_hz), fit.frequency_hz / fit.frequency_hz[-1]
    edge = fit.reflection - fit.modelled
    for part, share in fit.parts:
        if min(abs(part.delay - e.delay_s) for e in (first, second)) < APART_CELLS * fit.cell_s and part.kind in EDGES:
            edge = edge + columns(part, u, exponent) @ share
    w = kaiser_window(fit.frequency_hz, KAISER, low_pass=fit.low_pass)
    noise = max(HEARD * fit.noise, 1e-9)
    near = np.exp(first.delay_s * exponent) * w
    passed = -(1.0 - min(first.size**2, 0.8))
    scores = np.full(len(TIMES), -np.inf)
    for away in np.linspace(-0.4, 0.4, 5) * fit.cell_s:
        late = second.delay_s + away
        for i, times in enumerate(TIMES):
            more = 2.0 * (times - 1.0) * (late - first.delay_s) * np.add(*fit.rate.parts(fit.frequency_hz))
            far = np.exp(late * exponent - more) * w
            scores[i] = max(scores[i], _edge_score(edge * w, near + passed * far, far, noise))
    weight = np.exp(scores - scores.max())
    # The line's loss was read with the section in it.
    of_all = float(np.clip((second.delay_s - first.delay_s) / seen.end.delay_s, 0.0, 0.9))
    alone = TIMES * (1.0 - of_all) / np.maximum(1.0 - of_all * TIMES, 0.05)
    return alone, np.asarray(weight / weight.sum())


EDGES = ("step", "spot", "lump")
FILLED = ("water", "insert", "section")
"""What fills a section; the last where that cannot be told."""


def _edge_score(heard: Complexes, both: Complexes, far: Complexes, noise: float) -> float:
    """Return the log likelihood of two edges of one size, the far one a little free, that size being anything."""
    a = np.column_stack([np.concatenate([x.real, x.imag]) for x in (both, far)])
    y = np.concatenate([heard.real, heard.imag])
    tight = np.diag([0.0, (noise / EDGE_SIZE) ** 2])
    gram, seen = a.T @ a + tight, a.T @ y
    return float(0.5 * seen @ np.linalg.solve(gram + 1e-12 * np.trace(gram) * np.eye(2), seen) / noise**2)


def _single(echo: Echo, seen: SeenPair, scale: LineScale, z0: float) -> Fault:
    if echo.fits < CLEAR:
        return _placed(
            echo, "unclear", say("Fits neither a step nor a short spot: several things close together."), seen, scale
        )
    if echo.shape == "spot":
        pinch = say(
            "A short spot of lower impedance: a pinch or kink, or a joint whose connectors do not match the line."
        )
        gap = say("A short spot of higher impedance: a braid opened or pulled, or a joint with too long a gap.")
        return _placed(echo, "pinch" if echo.size < 0 else "gap", pinch if echo.size < 0 else gap, seen, scale)
    back = behind(echo, seen)
    if back > 0 and echo.size > 0:
        series = 2.0 * z0 * echo.size / (1.0 - echo.size)
        words = say(
            "About {resistance} ohm in series: it reflects the same from both sides. A corroded or loose joint.",
                    resistance=plain(float(series), 0))  # fmt: skip
        return _placed(echo, "bad joint", words, seen, scale, series_ohm=series)
    z = _after(z0, echo)
    words = stepped(z)
    if back == 0 and echo.size > 0:
        words = together([words, say("Or series resistance; from this end alone the two look alike.")])
    return _placed(echo, "step", words, seen, scale, impedance_ohm=z)


def _after(z0: float, echo: Echo) -> float:
    """Return the impedance behind an edge, ohms; what reflects all or more counts as nearly all."""
    size = float(np.clip(echo.size, -MOST_EDGE, MOST_EDGE))
    return z0 * (1.0 + size) / (1.0 - size)


def stepped(impedance_ohm: float) -> str:
    """Return what is said of a step of impedance."""
    return say(
        "The impedance changes to about {impedance} ohm: another line is joined on, or a section of it begins or ends.",
        impedance=plain(impedance_ohm, 0),
    )


def behind(echo: Echo, seen: SeenPair) -> int:
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


def _placed(echo: Echo, kind: FaultKind, why: str, seen: SeenPair, scale: LineScale, **more: float) -> Fault:
    fit = seen.fit
    at = echo.delay_s * scale.m_per_s
    u = np.hypot(np.hypot(echo.delay_u_s, MODEL_CELLS * fit.cell_s) * scale.m_per_s, scale.relative_u * at)
    low, high = max(0.0, float(at - 1.96 * u)), float(at + 1.96 * u)
    return Fault(float(at), low, high, kind, float(echo.drop), confidence(echo, seen), why, **more)


# Faults seen from both ends of a line, joined


def from_both(
    faults: list[Fault], seen: SeenPair, sweep: Sweep, scale: LineScale, z0: float, constant_db: float = 0.0
) -> list[Fault]:
    """Return faults as seen from port 1 joined with those seen from port 2."""
    back = sweep.s[:, 1, 1]
    if float(np.ptp(np.abs(back))) < 1e-9:
        return faults
    other = replace(look(sweep.frequency_hz, back, seen.end, seen.fit.rate, None), mismatch=seen.mismatch)
    if other.fit.end_delay_s is None:
        return faults
    end = other.fit.end_delay_s * scale.m_per_s
    mirrored = [_turned(x, end, scale.relative_u) for x in discontinuities(other, scale, z0, constant_db)[0]]
    cell = seen.fit.cell_s * scale.m_per_s
    joined: list[Fault] = []
    for fault in faults:
        twins = [x for x in mirrored if abs(x.distance_m - fault.distance_m) < 2 * cell + (x.length_m or 0.0) * 0.5]
        lone = sum(x.kind in ("step", "bad joint") for x in faults) == 1
        joined.append(_joined(fault, twins[0], z0 if lone else None) if twins else fault)
        mirrored = [x for x in mirrored if x not in twins]
    return joined + mirrored


def _turned(fault: Fault, end_m: float, relative_u: float) -> Fault:
    """Return a fault seen from the far end as seen from the near one; a section begins at its other edge."""
    at = end_m - fault.distance_m - (fault.length_m or 0.0)
    own = 0.5 * (fault.high_m - fault.low_m)
    square = own**2 + (1.96 * relative_u) ** 2 * (at**2 - fault.distance_m**2)
    half = float(np.sqrt(max(square, (0.2 * own) ** 2)))
    return replace(fault, distance_m=at, low_m=max(0.0, at - half), high_m=at + half)


def _joined(near: Fault, far: Fault, z0: float | None) -> Fault:
    """Return one fault from two views. A step turns its sign round when seen from behind; a resistance does not.

    ``z0`` is None where other steps stand beside it: then the view from behind is of another impedance.
    """
    best = near if near.high_m - near.low_m <= far.high_m - far.low_m else far
    kinds = {near.kind, far.kind}
    if z0 and kinds <= {"step", "bad joint"} and near.impedance_ohm and far.impedance_ohm:
        up, down = near.impedance_ohm > z0, far.impedance_ohm > z0
        if up and down:
            series = 2.0 * z0 * near.size / max(1e-3, 1.0 - near.size)
            why = say(
                "About {resistance} ohm in series: it reflects the same from both ends. A corroded or loose joint.",
                resistance=plain(series, 0),
            )
            return replace(best, kind="bad joint", why=why, series_ohm=series, impedance_ohm=None)
        if up != down:
            why = stepped(near.impedance_ohm) if near.kind == "step" else near.why
            return replace(best, why=why, impedance_ohm=near.impedance_ohm)
    told = near.kind in FILLED[:2] or far.kind not in FILLED
    named = near if near.kind != "unclear" and (told or near.kind not in FILLED) else far
    return replace(best, kind=named.kind, why=named.why, impedance_ohm=named.impedance_ohm, length_m=named.length_m)
