"""The verdict on a line by what it loses over what its type should lose, and the sentence that gives it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from linewright.core.formatting import plain
from linewright.core.messages import say, together
from linewright.core.nouns.bench_result import Verdict

# From where on a verdict is given, and how sure one must be of it

SURE, HARDLY = 0.95, 0.05
SECOND_LOOK, WORN, BAD, IMPOSSIBLE = 1.25, 1.1, 1.5, 0.8
"""Multiples of the type's loss: from 1.25 look twice, from 1.5 no home-station cable (common practice, no source)."""

# The verdict on a line by what it loses over what its type should lose, and the sentence that gives it


@dataclass(frozen=True, slots=True)
class Multiple:
    """Quantiles of the multiple of the type's loss, and the chance of one above a limit.

    ``loss`` and ``frequency`` are where the line loses most, as written.
    """

    line: str
    low: float
    middle: float
    high: float
    above: Callable[[float], float]
    loss: str
    frequency: str


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
            "It reads {ratio} times what {line} should lose ({low} to {high}); {loss} at {frequency}: better than its"
            " type allows.",
            **times,
        )
        return "cannot tell", together([better, too_good])
    verdict = _word(m.above)
    if verdict != "cannot tell":
        return verdict, say(
            "It loses {ratio} times what {line} should lose ({low} to {high}); {loss} at {frequency}.", **times
        )
    both = say(
        "It loses {ratio} times what {line} should lose ({low} to {high}); {loss} at {frequency}: the readings leave"
        " both good and worn open.",
        **times,
    )
    return verdict, together([both, open_yet])


def _word(above: Callable[[float], float]) -> Verdict:
    if above(BAD) > SURE:
        return "bad"
    if above(WORN) > SURE:
        return "worn"
    return "good" if above(SECOND_LOOK) < HARDLY else "cannot tell"
