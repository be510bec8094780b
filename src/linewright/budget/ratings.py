"""What the parts of a run bear, by the catalogue or by whoever stated it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cache
from math import sqrt

from linewright.catalogue.connectors import connector
from linewright.catalogue.lines import PowerPoint, power_points
from linewright.errors import UnknownNameError
from linewright.model.line import LineType
from linewright.model.station import ConnectorPart, LinePart, Part
from linewright.physics.heating import RATED_AT_CELSIUS, ambient_factor, rating_at_w
from linewright.units.constants import DB_PER_NEPER
from linewright.units.said import say
from linewright.units.writing import digits, plain

MOST_CELSIUS = 80.0
"""What solid polyethylene bears (common practice), where a type does not say."""


@dataclass(frozen=True, slots=True)
class Rating:
    """What one part bears at one frequency. ``voltage_v`` is peak; ``power_w`` is the mean power into a match.

    Either is None where nobody states it. The sources say how they come about.
    """

    voltage_v: float | None = None
    power_w: float | None = None
    voltage_source: str = ""
    power_source: str = ""


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
        return Rating(sqrt(2.0) * family.voltage_v, None, _peak_of(known.told))
    said = part.ratings
    peak = None if said.voltage_v is None else sqrt(2.0) * said.voltage_v
    source = said.source or say("stated for the part")
    return Rating(peak, said.power_w, _peak_of(source), source)


def _line(part: LinePart, frequency_hz: float, ambient_celsius: float | None) -> Rating:
    kind = part.piece.line
    if kind is None:
        return Rating()
    celsius = ambient_celsius if part.temperature_celsius is None else part.temperature_celsius
    volts = kind.figures.get("voltage_v")
    peak = None if volts is None else sqrt(2.0) * float(volts.value)
    source = "" if volts is None else _peak_of(volts.provenance.told)
    power, power_source = _power(kind, frequency_hz)
    if power is None:
        return Rating(peak, None, source)
    if celsius is None:
        as_published = say("{source}; as published for {celsius} °C: no temperature is stated",
                           source=power_source, celsius=digits(RATED_AT_CELSIUS))  # fmt: skip
        return Rating(peak, power, source, as_published)
    most = kind.figures.get("max_temperature_celsius")
    hottest = MOST_CELSIUS if most is None else float(most.value)
    factor = float(ambient_factor(celsius, hottest))
    corrected = say("{source}; times {factor} at {celsius} °C",
                    source=power_source, factor=plain(factor, 2), celsius=digits(celsius))  # fmt: skip
    return Rating(peak, power * factor, source, corrected)


def _peak_of(source: str) -> str:
    return say("{source} (rms times √2)", source=source)


def _power(kind: LineType, frequency_hz: float) -> tuple[float | None, str]:
    """Return the mean power rating into a match at 40 degrees Celsius, and where it comes from."""
    points = _points(kind.designator)
    if points:
        known = points[0].provenance
        rated = rating_at_w(frequency_hz, [p.frequency_hz for p in points], [p.power_w for p in points])
        return float(rated), say("{source}, between its frequencies", source=known.told)
    heat = kind.figures.get("heat_w_per_m")
    if heat is None:
        return None, ""
    nepers_per_m = float(kind.law.db_per_m(frequency_hz)) / DB_PER_NEPER
    over = say("{heat} W/m of heat over 2 α", heat=digits(float(heat.value)))
    return float(heat.value) / (2.0 * nepers_per_m), replace(heat.provenance, source=over).told


@cache
def _points(designator: str) -> tuple[PowerPoint, ...]:
    """Return the published ratings of a type by rising frequency; none for a person's own type."""
    try:
        return tuple(sorted(power_points(designator), key=lambda p: p.frequency_hz))
    except UnknownNameError:
        return ()
