"""What the parts of a run must bear: peak voltage, and heat at the hottest place of a line."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from linewright.budget.chain import Walk
from linewright.budget.sections import Line
from linewright.physics.standing_wave import greatest
from linewright.physics.two_port import State

Floats = NDArray[np.float64]

TINY_DB = 1e-300
"""A line without loss heats nowhere, whichever way it leans."""


@dataclass(frozen=True, slots=True)
class Stress:
    """What one part bears while the transmitter gives a watt, (f, draws) or (f, 1).

    Attributes
    ----------
    voltage_v : ndarray
        Peak voltage, the greatest along a line, for one watt into the run; it grows with the root of power.
    heat_per_m : ndarray or None
        Heat per metre at the hottest place of a line, watts for one watt into the run.
    alike_w : ndarray or None
        Power into a match that would heat the line so, for one watt into the run.
    """

    voltage_v: Floats
    heat_per_m: Floats | None = None
    alike_w: Floats | None = None


def stresses(walked: Walk) -> tuple[Stress, ...]:
    """Return what each part bears for one watt into the run.

    A splitter's branches share the current: the states of the walk are those of one branch.
    """
    into = walked.states[0].power
    return tuple(
        _line(section.line, walked.states[i + 1], into) if section.line else _ports(walked, i, into)
        for i, section in enumerate(walked.sections)
    )


def _peak(voltage: Floats, into: Floats) -> Floats:
    """Return the peak voltage for one watt, ``|V| √(2/P)``: power is ``Re(V I*)/2`` of peak values."""
    return np.asarray(voltage * np.sqrt(2.0 / into))


def _ports(walked: Walk, i: int, into: Floats) -> Stress:
    near, far = (np.abs(walked.states[k].voltage) for k in (i, i + 1))
    return Stress(_peak(np.maximum(near, far), into))


def _line(line: Line, far: State, into: Floats) -> Stress:
    """Return what a line bears, standing wave and all, from R and G along it.

    Heat at a place is ``(R |I|² + G |V|²)/2`` with ``R = 2 αc R0`` and ``G = 2 αd/(R0 (1 + x²))``.
    """
    state = line.end(far)
    skew = line.skew
    zi = line.impedance_ohm * (1.0 - 1j * skew) * state.current
    forth, back = (state.voltage + zi) / 2.0, (state.voltage - zi) / 2.0
    reflection, size = back / forth, np.abs(forth)
    nepers = line.nepers
    highest = size * np.sqrt(greatest(reflection, nepers, line.phase_rad))
    lean = (line.conductor_db - line.dielectric_db) / np.maximum(line.conductor_db + line.dielectric_db, TINY_DB)
    hottest = greatest(reflection, nepers, line.phase_rad, -lean)
    alike = hottest * size**2 / (line.impedance_ohm * (1.0 + skew**2)) / into
    per_m = nepers / line.belief.piece.length_m
    return Stress(_peak(highest, into), 2.0 * per_m * alike, alike)
