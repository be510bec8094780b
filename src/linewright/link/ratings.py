"""What the parts of a run bear, by the catalogue or by whoever stated it."""

from __future__ import annotations

from functools import cache
from math import sqrt
from typing import Literal

import numpy as np

from linewright.catalogue.connectors import connector
from linewright.catalogue.lines import PowerPoint, power_points
from linewright.catalogue.properties import heat_w_per_m
from linewright.core.arrays import Floats
from linewright.core.errors import UnknownNameError
from linewright.core.formatting import digits, per_metre, plain
from linewright.core.formulas.heating import RATED_AT_CELSIUS, ambient_factor, rating_at_w
from linewright.core.formulas.lossy_line import greatest
from linewright.core.formulas.two_port import VoltageCurrent
from linewright.core.frozen import dataclass
from linewright.core.messages import say
from linewright.core.nouns.line import Grade, LineType
from linewright.core.nouns.station import ConnectorPart, Curve, LinePart, Part
from linewright.core.quantities import DB_PER_NEPER
from linewright.link.chain import Walk
from linewright.link.sections import Line

# What the parts of a run bear, by the catalogue or by whoever stated it

MOST_CELSIUS = 80.0
"""What solid polyethylene bears (common practice), where a type does not say."""


@dataclass(frozen=True, slots=True)
class Rating:
    """What one part bears at one frequency. ``voltage_v`` is peak; ``power_w`` is the mean power into a match.

    Either is None where nobody states it. The sources say how they come about, the grades how they are known.
    """

    voltage_v: float | None = None
    power_w: float | None = None
    voltage_source: str = ""
    power_source: str = ""
    voltage_grade: Grade | Literal[""] = ""
    power_grade: Grade | Literal[""] = ""


def rating_of(part: Part, frequency_hz: float, ambient_celsius: float | None = None) -> Rating:
    """Return what a part bears at a frequency. Stated voltages are rms.

    A line's power rating is carried to the ambient temperature where one is stated, of the run or of the line itself;
    without one it stands as published, for 40 degrees Celsius, however cool the day may be.
    """
    if isinstance(part, LinePart):
        return _line(part, frequency_hz, ambient_celsius)
    if isinstance(part, ConnectorPart):
        family = connector(part.family)
        known = family.figures["voltage_v"].provenance
        return Rating(sqrt(2.0) * family.voltage_v, None, _peak_of(known.told), "", known.grade)
    said = part.ratings
    source = said.source or say("stated for the part")
    peak = None if said.voltage_v is None else sqrt(2.0) * _stated(said.voltage_v, frequency_hz)
    power = None if said.power_w is None else _stated(said.power_w, frequency_hz)
    return Rating(
        peak, power, "" if peak is None else _peak_of(source), "" if power is None else _average(source),
        "" if peak is None else "person", "" if power is None else "person",
    )  # fmt: skip


def _stated(curve: Curve, frequency_hz: float) -> float:
    """Return a stated rating at a frequency: between its points by straight lines on double logarithmic paper."""
    if len(curve) == 1:
        return curve[0][1]
    return float(rating_at_w(frequency_hz, *zip(*curve, strict=True)))


def _average(source: str) -> str:
    return say("{source}; taken as average power into a match, at whatever temperature it is", source=source)


def _line(part: LinePart, frequency_hz: float, ambient_celsius: float | None) -> Rating:
    kind = part.piece.line
    if kind is None:
        return Rating()
    celsius = ambient_celsius if part.temperature_celsius is None else part.temperature_celsius
    volts = kind.figures.get("voltage_v")
    peak = None if volts is None else sqrt(2.0) * float(volts.value)
    source = "" if volts is None else _peak_of(volts.provenance.told)
    known = "" if volts is None else volts.provenance.grade
    power, power_source, grade = _power(kind, frequency_hz)
    if power is None:
        return Rating(peak, None, source, "", known)
    if celsius is None:
        as_published = say("{source}; as published for {celsius} °C: no temperature is stated",
                           source=power_source, celsius=digits(RATED_AT_CELSIUS))  # fmt: skip
        return Rating(peak, power, source, as_published, known, grade)
    most = kind.figures.get("max_temperature_celsius")
    hottest = MOST_CELSIUS if most is None else float(most.value)
    factor = float(ambient_factor(celsius, hottest))
    corrected = say("{source}; times {factor} at {celsius} °C",
                    source=power_source, factor=plain(factor, 2), celsius=digits(celsius))  # fmt: skip
    return Rating(peak, power * factor, source, corrected, known, grade)


def _peak_of(source: str) -> str:
    return say("{source} (rms times √2)", source=source)


def _power(kind: LineType, frequency_hz: float) -> tuple[float | None, str, Grade | Literal[""]]:
    """Return the mean power rating into a match at 40 degrees Celsius, where it comes from, and how it is known."""
    by_heat, told = _by_heat(kind, frequency_hz)
    heat = kind.figures.get("heat_w_per_m")
    grade: Grade | Literal[""] = "" if by_heat is None else "class" if heat is None else heat.provenance.grade
    points = _points(kind.designator)
    if not points:
        return by_heat, told, grade
    rated = float(rating_at_w(frequency_hz, [p.frequency_hz for p in points], [p.power_w for p in points]))
    if kind.steel_centre and by_heat is not None and by_heat < rated:
        return by_heat, told, grade
    source = say("{source}, between its frequencies", source=points[0].provenance.told)
    return rated, source, points[0].provenance.grade


def _by_heat(kind: LineType, frequency_hz: float) -> tuple[float | None, str]:
    """Return what the heat a metre bears lets a type carry, by its loss there, and how that is known.

    It follows the loss where a table of ratings forgets the steel of a clad centre.
    """
    heat = heat_w_per_m(kind)
    if heat is None:
        return None, ""
    nepers_per_m = float(kind.law.db_per_m(frequency_hz)) / DB_PER_NEPER
    told = say("{heat} of heat, {source}, over 2 α", heat=per_metre(heat.value, 1, "W"), source=heat.source)
    return heat.value / (2.0 * nepers_per_m), told


@cache
def _points(designator: str) -> tuple[PowerPoint, ...]:
    """Return the published ratings of a type by rising frequency; none for a person's own type."""
    try:
        return tuple(sorted(power_points(designator), key=lambda p: p.frequency_hz))
    except UnknownNameError:
        return ()


# What the parts of a run must bear: peak voltage, and heat at the hottest place of a line


TINY_DB = 1e-300
"""Keeps 0/0 out for a line without loss."""


@dataclass(frozen=True, slots=True)
class Stress:
    """The load on one part per watt of transmitter power, (f, draws) or (f, 1).

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
        _line_stress(section.line, walked.states[i + 1], into) if section.line else _ports(walked, i, into)
        for i, section in enumerate(walked.sections)
    )


def _peak(voltage: Floats, into: Floats) -> Floats:
    """Return the peak voltage for one watt, ``|V| √(2/P)``: power is ``Re(V I*)/2`` of peak values."""
    return np.asarray(voltage * np.sqrt(2.0 / into))


def _ports(walked: Walk, i: int, into: Floats) -> Stress:
    near, far = (np.abs(walked.states[k].voltage) for k in (i, i + 1))
    return Stress(_peak(np.maximum(near, far), into))


def _line_stress(line: Line, far: VoltageCurrent, into: Floats) -> Stress:
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
