"""Too flat to be true: a curve's movement against what plausible resonant antennas show through the same line."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from linewright.evidence.through.plausible import (
    ANTENNAS,
    Plausible,
    dummies_by,
    moves,
    plausible,
    shapes,
    shown_by,
    spread_over,
)
from linewright.model.belief import LEAST_DB
from linewright.model.through import FlatWarning, Floats, LineBehind, Seen
from linewright.physics.mismatch import swr_from_reflection
from linewright.units.said import say, together
from linewright.units.writing import frequency, plain

SURE, OPEN = 0.01, 0.10
"""Below the first a curve is called too flat; between the two nobody can tell."""
MISSING_DB = 1.0
"""A curve that hardly more loss than believed would explain is not called too flat."""
COMMON = 0.05
"""A loss explains a curve when so many of its antennas move no more."""
NEAREST, SLACK, RARE = 120, 0.88, 0.3
"""So many curves nearest in shape are compared with, where curves of any shape that move so little are rarer than the
last; the compared may move a little less than they do, as real antennas are not quite series circuits."""
ALIKE = np.array([0.1, 0.2])
"""Differences of shape that count alike: in width at half height, in place, both as shares of the span."""
MOST_DB = 40.0
MOST_POINTS = 31
REFLECTS = 0.8
"""A curve this near to the line's ceiling all over has next to nothing at its far end."""
WIDEST = 0.6
"""The widest span tried, relative to its middle."""
ALTERNATIVES = (
    say("a dummy load, or a terminated or wide-band antenna, would look the same"),
    say("a resistive or lossy antenna (a poor earth, a wet or corroded joint, a lossy balun or trap)"),
    say("a wrong calibration, or a meter out of its range"),
)


def flat_warning(seen: Seen, line: LineBehind, rng: np.random.Generator) -> FlatWarning:
    """Say whether a curve is too flat for a resonant antenna behind the believed line.

    Parameters
    ----------
    seen : Seen
        A curve of three points or more.
    line : LineBehind
        With one or more draws of its loss.
    """
    seen = _spaced(seen)
    f = np.asarray(seen.frequency_hz)
    some = plausible(seen, rng)
    over, drawn = spread_over(some, f), _loss_of(line, f, ANTENNAS)
    moved, shape = float(np.ptp(seen.magnitude)), shapes(seen.magnitude[:, None])
    still = moved <= float(np.quantile(moves(dummies_by(over, drawn), seen), 0.95)) + 1e-9
    near = None if still else shape
    chance = _chance(shown_by(over, drawn), seen, moved, near)
    middle_db = float(np.median(drawn[len(f) // 2]))
    law = np.median(drawn, axis=1, keepdims=True) / max(middle_db, LEAST_DB)
    least = _smallest_db(lambda db: _chance(shown_by(over, db * law), seen, moved, near) >= COMMON)
    useful = _useful(some, seen, line)
    if _shows_all(seen, drawn):
        return FlatWarning(False, least, chance, _NOTHING_THERE, (), *useful)
    flat = _is_flat(chance, still, MOST_DB if least is None else least - middle_db)
    why = together([_why(seen, flat, still, chance, least, middle_db), _wider(useful) if flat is None else ""])
    return FlatWarning(flat, least, chance, why, _alternatives(seen) if flat is not False else (), *useful)


def _is_flat(chance: float, still: bool, missing_db: float) -> bool | None:
    """Judge a curve; one that moves no more than a dummy load's, yet is common, tells nothing."""
    if chance < SURE:
        return True if missing_db > MISSING_DB else None
    return False if chance >= OPEN and not still else None


_NOTHING_THERE = say(
    "It is nearly as high all over as this line lets anything show: an antenna far from resonance, an open or shorted"
    " end, or none at all. Its flatness says nothing of the line."
)


def _why(seen: Seen, flat: bool | None, still: bool, chance: float, least: float | None, middle_db: float) -> str:
    said = {
        "low": _swr(seen.magnitude.min()), "high": _swr(seen.magnitude.max()), "share": _share(chance),
        "loss": plain(middle_db, 1),
    }  # fmt: skip
    if flat:
        explains = "" if least is None else say("A loss of {loss} dB would explain it.", loss=plain(least, 1))
        return together([
            say("It moves from SWR {low} to {high}; {share} of plausible resonant antennas behind {loss} dB move so"
                " little.", **said),
            explains,
        ])  # fmt: skip
    if flat is False:
        return say("It moves from SWR {low} to {high}; {share} of plausible resonant antennas behind {loss} dB move so"
                   " little: nothing odd.", **said)  # fmt: skip
    if still:
        return say("It moves from SWR {low} to {high}; {share} of plausible resonant antennas behind {loss} dB move so"
                   " little, and a dummy load no more: the sweep is too narrow to say.", **said)  # fmt: skip
    return say("It moves from SWR {low} to {high}; {share} of plausible resonant antennas behind {loss} dB move so"
               " little: not too few.", **said)  # fmt: skip


def _share(chance: float) -> str:
    if chance >= 0.095:
        return say("{share} in 100", share=plain(100 * chance, 0))
    return say("{share} in 1000", share=plain(max(1000 * chance, 1), 0))


def _wider(useful: tuple[float | None, float | None]) -> str:
    low, high = useful
    if low is None or high is None:
        return say("Through this line no sweep would tell: measure at the antenna, or through a shorter line.")
    return say("Sweep {low} to {high} or wider.", low=frequency(round(low, -5)), high=frequency(round(high, -5)))


def _swr(reflection: float) -> str:
    return plain(float(swr_from_reflection(min(float(reflection), 1.0))), 2)


def _alternatives(seen: Seen) -> tuple[str, ...]:
    """Return what else would look so; a total reflection behind loss only where such a loss is to be thought of."""
    bound_db = float(-10.0 * np.log10(max(float(seen.magnitude.max()), 1e-4)))
    if bound_db < MOST_DB / 3:
        return (
            *ALTERNATIVES,
            say("nothing resonant at the far end at all, behind about {loss} dB", loss=plain(bound_db, 1)),
        )
    return ALTERNATIVES


def _shows_all(seen: Seen, drawn_db: Floats) -> bool:
    ceiling = 10.0 ** (-np.median(drawn_db, axis=1) / 10.0)
    return bool(np.all(seen.magnitude >= REFLECTS * ceiling))


def _chance(shown: Floats, seen: Seen, moved: float, shape: Floats | None) -> float:
    """Return the share of curves that move no more; never nought, as they are counted.

    With a shape, of the curves nearest to it: that tells a broad antenna from a sharp one cut down by loss.
    """
    all_of_them = moves(shown, seen) <= moved + 1e-9
    share = float((1 + np.sum(all_of_them)) / (len(all_of_them) + 1))
    if shape is None or share > RARE:
        return share
    away = np.sum(((shapes(shown) - shape) / ALIKE[:, None]) ** 2, axis=0)
    near = np.argpartition(away, NEAREST)[:NEAREST]
    return float((1 + np.sum(SLACK * moves(shown[:, near], seen) <= moved + 1e-9)) / (NEAREST + 1))


def _smallest_db(explains: Callable[[float], bool]) -> float | None:
    """Return the least loss at the middle that explains a curve; None where no loss does."""
    if explains(0.0):
        return 0.0
    low, high = 0.0, MOST_DB
    if not explains(high):
        return None
    for _ in range(7):
        middle = (low + high) / 2
        low, high = (low, middle) if explains(middle) else (middle, high)
    return high


def _useful(some: Plausible, seen: Seen, line: LineBehind) -> tuple[float | None, float | None]:
    """Return the narrowest span, around the curve's middle, on which a dummy load would be called too flat."""
    own = np.asarray(seen.frequency_hz)
    middle = float(own[0] + own[-1]) / 2

    def tells(span: float) -> bool:
        f = middle * np.linspace(1 - span / 2, 1 + span / 2, 15)
        over, loss = spread_over(some, f), np.median(line.loss_db(f), axis=1, keepdims=True)
        still = float(np.median(moves(dummies_by(over, loss), seen)))
        return float(np.mean(moves(shown_by(over, loss), seen) <= still)) < SURE

    if not tells(WIDEST):
        return None, None
    low, high = 0.0, WIDEST
    for _ in range(7):
        span = (low + high) / 2
        low, high = (low, span) if tells(span) else (span, high)
    return middle * (1 - high / 2), middle * (1 + high / 2)


def _loss_of(line: LineBehind, f: Floats, draws: int) -> Floats:
    loss = line.loss_db(f)
    return loss[:, np.arange(draws) % loss.shape[1]]


def _spaced(seen: Seen) -> Seen:
    count = len(seen.magnitude)
    if count <= MOST_POINTS:
        return seen
    return seen.taken(np.unique(np.linspace(0, count - 1, MOST_POINTS).round().astype(int)))
