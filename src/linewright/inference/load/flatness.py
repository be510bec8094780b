"""Too flat to be true: a curve's movement against what plausible resonant antennas show through the same line."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from linewright.catalogue.bands import bands
from linewright.core.arrays import Complexes, Floats
from linewright.core.formatting import frequency, plain
from linewright.core.formulas.mismatch import reflection_from_swr, swr_from_reflection
from linewright.core.frozen import dataclass
from linewright.core.messages import say, together
from linewright.core.nouns.belief import LEAST_DB
from linewright.core.nouns.through import FlatWarning, LineBehind, Seen
from linewright.core.quantities import TWO_PI
from linewright.inference.load.antenna import ANALYSER_SCALE, METER_SCALE

# Plausible resonant antennas, and how much their curves move as a bridge at the radio shows them

ANTENNAS = 900
Q_FROM, Q_TO, Q_BROADEST, BROAD = 6.0, 40.0, 3.0, 0.1
RESISTANCE_OHM, RESISTANCE_SPREAD = 50.0, 0.35
BESIDE, AT_HOME = 0.02, 0.5
DUMMY_REFLECTS = 0.03


@dataclass(frozen=True, slots=True)
class Plausible:
    """Draws of plausible antennas and of the bridge, shaped (antennas,)."""

    q: Floats
    resonance_hz: Floats
    resistance_ohm: Floats
    leak: Complexes
    leak_delay_s: Floats
    scale: Floats


def plausible(seen: Seen, rng: np.random.Generator) -> Plausible:
    """Return plausible antennas for a curve, and as many bridges."""
    f = np.asarray(seen.frequency_hz)
    low, high = _band_of(float(f[0] + f[-1]) / 2)
    away = (low * (1 - BESIDE), high * (1 + BESIDE))
    home = (max(low, float(f[0])), min(high, float(f[-1])))
    home = home if home[0] < home[1] else away
    broad = rng.random(ANTENNAS) < BROAD
    u = rng.random(ANTENNAS)
    q = np.where(broad, Q_BROADEST * (Q_FROM / Q_BROADEST) ** u, Q_FROM * (Q_TO / Q_FROM) ** u)
    leak = np.sqrt(rng.random(ANTENNAS)) * 10.0 ** (-seen.directivity_db / 20.0)
    return Plausible(
        q,
        np.where(rng.random(ANTENNAS) < AT_HOME, rng.uniform(*home, ANTENNAS), rng.uniform(*away, ANTENNAS)),
        RESISTANCE_OHM * np.exp(RESISTANCE_SPREAD * rng.standard_normal(ANTENNAS)),
        leak * np.exp(1j * TWO_PI * rng.random(ANTENNAS)),
        rng.uniform(2e-8, 3e-7, ANTENNAS),
        np.exp((ANALYSER_SCALE if seen.has_phase else METER_SCALE) * rng.standard_normal(ANTENNAS)),
    )


def _band_of(middle_hz: float) -> tuple[float, float]:
    band = next((b for b in bands() if b.low_hz * (1 - BESIDE) <= middle_hz <= b.high_hz * (1 + BESIDE)), None)
    return (middle_hz, middle_hz) if band is None else (band.low_hz, band.high_hz)


@dataclass(frozen=True, slots=True)
class PlausibleSpread:
    """Plausible antennas and bridges over some frequencies, (f, antennas): what each reflects itself, and its leak."""

    bare: Complexes
    leak: Complexes
    scale: Floats


def spread_over(some: Plausible, f: Floats) -> PlausibleSpread:
    """Return the antennas and bridges at some frequencies in hertz."""
    ratio = f[:, None] / some.resonance_hz
    z = some.resistance_ohm * (1.0 + 1j * some.q * (ratio - 1.0 / ratio))
    turned = np.exp(1j * TWO_PI * f[:, None] * some.leak_delay_s)
    return PlausibleSpread(np.asarray((z - 50.0) / (z + 50.0)), np.asarray(some.leak * turned), some.scale)


def shown_by(over: PlausibleSpread, loss_db: Floats) -> Floats:
    """Return the magnitudes a bridge shows of each antenna; ``loss_db`` is shaped (f, antennas or 1)."""
    return np.asarray(np.abs(over.bare * (10.0 ** (-loss_db / 10.0) * over.scale) + over.leak))


def dummies_by(over: PlausibleSpread, loss_db: Floats) -> Floats:
    """Return the magnitudes each bridge shows of a dummy load: its leak against the little that reflects."""
    return np.asarray(np.abs(DUMMY_REFLECTS * (10.0 ** (-loss_db / 10.0) * over.scale) + over.leak))


def moves(shown: Floats, seen: Seen) -> Floats:
    """Return by how much each curve of magnitudes moves, as the scale shows it."""
    low, high = _as_read(seen, np.stack([shown.min(axis=0), shown.max(axis=0)]))
    return np.asarray(high - low)


def shapes(shown: Floats) -> Floats:
    """Return the shape of each curve, (2, antennas): how much of the span its lower half takes, and around where.

    A loss cuts a curve down and leaves its shape. A broad antenna's curve is wide at half its height, a sharp one's
    narrow, so curves of one shape tell what loss has cut them down.
    """
    low, high = shown.min(axis=0), shown.max(axis=0)
    below = shown <= (low + high) / 2.0
    count = below.sum(axis=0)
    place = (below * np.linspace(0.0, 1.0, len(shown))[:, None]).sum(axis=0) / count
    return np.stack([count / len(shown), place])


def _as_read(seen: Seen, shown: Floats) -> Floats:
    """Return magnitudes as the scale shows them: an SWR scale rounds to its step."""
    if seen.swr_step <= 0:
        return shown
    swr = swr_from_reflection(np.minimum(shown, 0.99))
    return reflection_from_swr(np.maximum(np.round(swr / seen.swr_step) * seen.swr_step, 1.0))


# Too flat to be true: a curve's movement against what plausible resonant antennas show through the same line

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
