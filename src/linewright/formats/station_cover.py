"""Whether what a run is made of speaks of its frequencies: nothing is carried beyond what was stated or swept."""

from __future__ import annotations

from collections.abc import Iterator

from linewright.errors import InputError
from linewright.model.station import (
    Antenna,
    Curve,
    LinePart,
    LossPart,
    Part,
    Run,
    SplitterPart,
    SweepPart,
    TransformerPart,
)
from linewright.units.writing import frequency

MOST_DB = 400.0
"""No run loses more: a length or a frequency is wrong."""
NEAR = 0.05
"""An antenna's SWR or impedance holds within this share of a stated frequency: between bands it is anything."""


def uncovered(run: Run) -> Iterator[tuple[str, InputError]]:
    """Yield what is missing: the key of the run ("chain" or "antenna"), and the error."""
    for part in run.chain:
        for f in run.frequencies_hz:
            rule = _part_rule(part, f)
            if rule:
                yield "chain", InputError(f"{part.name} of run {run.name!r}", rule, cure="Plan inside it.")
    for f in run.frequencies_hz:
        lost_db = sum(_line_db(part, f) for part in run.chain)
        if lost_db > MOST_DB:
            rule = f"would lose {lost_db:.0f} dB at {frequency(f)}: no run does"
            yield "chain", InputError(f"chain of run {run.name!r}", rule, cure="Check its lengths and the frequency.")
    for f in run.frequencies_hz:
        rule = _antenna_rule(run.antenna, f)
        if rule:
            cure = "Add a point for this band, or take the frequency out."
            yield "antenna", InputError(f"antenna of run {run.name!r}", rule, cure=cure)


def _part_rule(part: Part, f: float) -> str:
    if isinstance(part, SweepPart):
        reach = part.sweep.frequency_hz
        return "" if part.sweep.covers(f) else _outside(f, float(reach[0]), float(reach[-1]), "swept")
    if isinstance(part, (LossPart, TransformerPart, SplitterPart)):
        return _curve_rule(part.loss_db, f)
    return ""


def _line_db(part: Part, f: float) -> float:
    """Return what a line should lose, matched; nothing for other parts and unknown types."""
    if not isinstance(part, LinePart) or part.piece.line is None:
        return 0.0
    return part.piece.length_m * float(part.piece.line.law.db_per_m(f))


def _curve_rule(curve: Curve, f: float) -> str:
    low, high = curve[0][0], curve[-1][0]
    return "" if len(curve) == 1 or low <= f <= high else _outside(f, low, high, "stated")


def _outside(f: float, low: float, high: float, how: str) -> str:
    return f"is {how} from {frequency(low)} to {frequency(high)} only; {frequency(f)} lies outside"


def _antenna_rule(antenna: Antenna, f: float) -> str:
    if antenna.sweep is not None:
        reach = antenna.sweep.frequency_hz
        return "" if antenna.sweep.covers(f) else _outside(f, float(reach[0]), float(reach[-1]), "swept")
    stated = antenna.swr or antenna.impedance_ohm or ()
    at = [point[0] for point in stated]
    if len(at) == 1 and at[0] == 0.0:
        return ""
    if not at[0] <= f <= at[-1] and len(at) > 1:
        return _outside(f, at[0], at[-1], "stated")
    near = min(at, key=lambda g: abs(g - f))
    if abs(near - f) <= NEAR * near:
        return ""
    return f"says nothing of {frequency(f)}: the nearest point is {frequency(near)}"
