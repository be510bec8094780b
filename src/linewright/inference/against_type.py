"""The verdict on a line by what it loses over what its type should lose, and the sentence that gives it."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

from linewright.core.arrays import Floats
from linewright.core.formatting import frequency, plain
from linewright.core.frozen import dataclass
from linewright.core.messages import say, together
from linewright.core.nouns.bench_result import Verdict

# Verdict thresholds, and the confidence they need

SURE, HARDLY = 0.95, 0.05
SECOND_LOOK, WORN, BAD, IMPOSSIBLE = 1.25, 1.1, 1.5, 0.8
"""Multiples of the type's loss: from 1.25 look twice, from 1.5 no home-station cable (common practice, no source)."""

BORNE_OUT = 0.85
"""How sure the other bands together must be of a loss above the type's, for one band not to speak alone."""

# The verdict on a line by what it loses over what its type should lose, and the sentence that gives it


@dataclass(frozen=True, slots=True)
class Multiple:
    """Quantiles of the multiple of the type's loss, and the chance of one above a limit.

    ``loss`` and ``frequency`` are where the line loses most, as written; ``lone`` is the band that alone makes it look
    worn, or empty.
    """

    line: str
    low: float
    middle: float
    high: float
    above: Callable[[float], float]
    loss: str
    frequency: str
    lone: str = ""


def lone_band(log_times: Floats, frequencies_hz: Sequence[float]) -> str:
    """Return the band that alone makes a line look worn, as written; empty where the others bear it out.

    Wear, water and a bad contact take something on every band. What stands out on one is as likely to be how the plug
    sat while that band was read, or a resonance.

    Parameters
    ----------
    log_times : array, (draws, bands)
        Log of the loss over what the type should lose.
    frequencies_hz : sequence of float
        The bands, in hertz.
    """
    bands = len(frequencies_hz)
    if bands < 2:
        return ""
    rest = (log_times.sum(axis=1, keepdims=True) - log_times) / (bands - 1)
    borne_out = np.mean(rest > np.log(WORN), axis=0)
    least = int(borne_out.argmin())
    return frequency(frequencies_hz[least]) if borne_out[least] < BORNE_OUT else ""


def against_type(m: Multiple, *, too_good: str, open_yet: str = "") -> tuple[Verdict, str]:
    """Return the verdict and its sentence.

    ``too_good`` says what to check where it loses less than its type can; ``open_yet`` what to do where both good and
    worn stay open.
    """
    times = {
        "ratio": plain(m.middle, 2), "low": plain(m.low, 2), "high": plain(m.high, 2),
        "line": m.line, "loss": m.loss, "frequency": m.frequency,
    }  # fmt: skip
    if m.above(IMPOSSIBLE) < HARDLY:
        better = say(
            "It reads {ratio} times what {line} should lose ({low} to {high}); {loss} at {frequency}: better than "
            "its type can be.",
            **times,
        )
        return "cannot tell", together([better, too_good])
    verdict = _word(m.above)
    if verdict in ("worn", "bad") and m.lone:
        alone = say(
            "It loses {ratio} times what {line} should lose ({low} to {high}), but only {lone} says so, and the "
            "other bands do not confirm it: unplug it, plug it in, and read it there again.",
            lone=m.lone, **times,
        )  # fmt: skip
        return "cannot tell", alone
    if verdict != "cannot tell":
        return verdict, say(
            "It loses {ratio} times what {line} should lose ({low} to {high}); {loss} at {frequency}.", **times
        )
    both = say(
        "It loses {ratio} times what {line} should lose ({low} to {high}); {loss} at {frequency}: on these readings "
        "it could be good or worn.",
        **times,
    )
    return verdict, together([both, open_yet])


def _word(above: Callable[[float], float]) -> Verdict:
    if above(BAD) > SURE:
        return "bad"
    if above(WORN) > SURE:
        return "worn"
    return "good" if above(SECOND_LOOK) < HARDLY else "cannot tell"
