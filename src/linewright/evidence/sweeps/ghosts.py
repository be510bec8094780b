"""Echoes that are no thing of their own: what two or three known reflections throw to and fro."""

from __future__ import annotations

from itertools import combinations_with_replacement

import numpy as np

from linewright.evidence.sweeps.echoes import APART_CELLS, Echo, EchoFit
from linewright.units.said import say

TRIPS = 6
"""So many times a wave is followed to and fro."""

MOST_FOLDED = 0.25
FOLDED = say("The wave went to and fro along the whole line; the sweep's steps are so wide that it folds back to here.")


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
                return say("The wave went to and fro between two nearer reflections.")
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
