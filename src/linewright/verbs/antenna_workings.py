"""How the figures of an antenna's sweeps were worked out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from linewright.core.formatting import digits, plain
from linewright.core.messages import say
from linewright.core.nouns.antenna import AntennaSweep
from linewright.core.nouns.bench_result import Working

ENGINE = "inference/load/at_analyser.py, inference/load/curve.py"


def workings(sweeps: Sequence[AntennaSweep]) -> tuple[Working, ...]:
    """Return how each figure was worked out, at the analyser and behind the line."""
    return tuple(w for x in sweeps for w in (*_one(x), *_behind(x)))


def _one(x: AntennaSweep) -> list[Working]:
    drawn = say("draws of Γ shown - D, D a leak all points share; 1/(1 - |Γ|²) is a parabola at a dip")
    best = (say("lowest point shown"), say("{f} MHz", f=plain(x.best_hz / 1e6, 3)))
    points = (say("points"), digits(len(x.points)))
    out = [
        Working(say("{sweep} at the analyser", sweep=x.name), drawn, (best, points), ENGINE, ("best SWR", x.name)),
        Working(say("{sweep}: resistance and reactance", sweep=x.name), "Z = 50 (1 + Γ)/(1 - Γ)", (points,),
                "D. M. Pozar, Microwave Engineering, 4th ed., equation 2.35 (from memory).", ("impedance", x.name)),
    ]  # fmt: skip
    for w in x.widths:
        name = say("{sweep}: width at SWR {swr}", sweep=x.name, swr=digits(w.swr))
        how = say("where each draw of the curve first rises through it, both ways from its lowest point")
        out.append(Working(name, how, (best,), ENGINE, ("width", x.name, w.swr)))
    return out


def _behind(x: AntennaSweep) -> list[Working]:
    if x.behind is None:
        return []
    return [replace(w, key=("behind", x.name, *w.key)) for w in x.behind.workings]
