"""What a type's figures come to: impedance, velocity factor, capacitance, delay and power, each with its interval.

A nominal figure says what the maker aims at; the interval says what a piece in hand may have (95 %). Where a type's
figures do not agree with each other or with its dimensions, ``contradictions`` says so.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from linewright.catalogue.construction import (
    Construction,
    capacitance_f_per_m,
    construction_of,
    impedance_from_dimensions_ohm,
)
from linewright.catalogue.own import make_in
from linewright.catalogue.tables import by_designator
from linewright.core.errors import InputError
from linewright.core.formatting import plain, quantity
from linewright.core.formulas.coax import LOSS_PER_KELVIN
from linewright.core.formulas.heating import ambient_factor, bearable_heat_w_per_m, hot_spot_factor
from linewright.core.frozen import dataclass
from linewright.core.messages import mark, say
from linewright.core.nouns.line import LineType
from linewright.core.quantities import SPEED_OF_LIGHT_M_PER_S

AGREED: Final = 0.02
"""Figures that differ by less agree."""

SOLID, FOAM, PAIR = 0.015, 0.03, 0.03
"""Spread of a piece's velocity factor (95 %): solid dielectric, foam, pair of wires. Common practice, no source."""

OHM_SHARE: Final = 0.04
"""Spread of a piece's impedance (95 %): 50 ± 2 ohm (a post of 2004-April quoting the military sheets)."""

PAIR_OHM_SHARE: Final = 0.07
"""Spread of a pair's impedance: sold as 450 ohm, measured from 360 to 400 by gauge (lists.contesting.com 2017-02)."""

HEAT_SHARE: Final = 0.35
"""Spread of the heat a line bears (95 %): the computed figure lies 27 % below to 36 % above recalled tables."""

SUN_FACTOR: Final = 0.85
"""What full sun leaves of a rating. Common practice, 0.8 to 0.85; no source."""


@dataclass(frozen=True, slots=True)
class StatedFigure:
    """A figure with the ends of its 95 % interval, and where it comes from, in words."""

    value: float
    low: float
    high: float
    source: str


def impedance(kind: LineType) -> StatedFigure:
    """Return a type's impedance in ohms.

    >>> from linewright.catalogue import line_type
    >>> found = impedance(line_type("RG-213/U"))
    >>> found.value, round(found.low, 1), round(found.high, 1)
    (50.0, 48.0, 52.0)
    """
    share = PAIR_OHM_SHARE if kind.balanced else OHM_SHARE
    return _about(kind.impedance_ohm, share, _told(kind, "impedance_ohm"))


def velocity_factor(kind: LineType) -> StatedFigure:
    """Return a type's velocity factor."""
    share = PAIR if kind.balanced else SOLID if kind.velocity_factor < 0.72 else FOAM
    found = _about(kind.velocity_factor, share, _told(kind, "velocity_factor"))
    return StatedFigure(found.value, found.low, min(found.high, 1.0), found.source)


def capacitance(kind: LineType) -> StatedFigure:
    """Return a type's capacitance in farads per metre, from its impedance and velocity factor: ``1/(c VF Z0)``.

    >>> from linewright.catalogue import line_type
    >>> round(capacitance(line_type("RG-58C/U")).value * 1e12, 1)
    101.1
    """
    ohm, factor = impedance(kind), velocity_factor(kind)
    share = float(np.hypot(ohm.high / ohm.value - 1.0, factor.high / factor.value - 1.0))
    return _about(
        capacitance_f_per_m(ohm.value, factor.value), share, say("computed from impedance and velocity factor")
    )


def delay_s_per_m(kind: LineType) -> StatedFigure:
    """Return a type's delay in seconds per metre."""
    factor = velocity_factor(kind)
    middle, low, high = (1.0 / (SPEED_OF_LIGHT_M_PER_S * v) for v in (factor.value, factor.high, factor.low))
    return StatedFigure(middle, low, high, factor.source)


def loss_db_per_m(kind: LineType, frequency_hz: float, celsius: float = 20.0) -> StatedFigure:
    """Return a type's loss in dB per metre at a temperature: conductors lose 0.2 % more per kelvin, dielectrics do not.

    >>> from linewright.catalogue import line_type
    >>> hot, cool = (loss_db_per_m(line_type("RG-213/U"), 14e6, t).value for t in (50.0, 20.0))
    >>> round(hot / cool, 3)
    1.057
    """
    conductor, dielectric = (float(part) for part in kind.law.parts_db_per_m(frequency_hz))
    loss = conductor * (1.0 + LOSS_PER_KELVIN * (celsius - 20.0)) + dielectric
    below, above = (float(side) for side in kind.law.doubt(frequency_hz))
    return StatedFigure(
        loss,
        loss * float(np.exp(-below)),
        loss * float(np.exp(above)),
        say("its law, {celsius} °C", celsius=plain(celsius, 0)),
    )


def power_rating_w(
    kind: LineType, frequency_hz: float, *, ambient_celsius: float = 40.0, sun: bool = False, swr: float = 1.0
) -> StatedFigure | None:
    """Return the mean power a type bears by heat, or None where neither its heat nor its make is known.

    The heat that a metre bears is shared out over what it loses there: so the rating follows the law at every
    frequency, steel and all. Full sun leaves 0.85 of it; at an SWR the hottest spot of a long line decides.

    Parameters
    ----------
    kind : LineType
        The type.
    frequency_hz, ambient_celsius, swr : float
        Where, how hot it is around, and how the line is matched.
    sun : bool
        Whether full sun shines on it.

    >>> from linewright.catalogue import line_type
    >>> line = line_type("RG-213/U")
    >>> cool, hot = (power_rating_w(line, 14e6, ambient_celsius=t) for t in (20.0, 60.0))
    >>> round(cool.value / hot.value, 6)
    2.6
    """
    heat = heat_w_per_m(kind)
    if heat is None:
        return None
    most = _number(kind, "max_temperature_celsius") or 80.0
    factor = float(ambient_factor(ambient_celsius, most)) * (SUN_FACTOR if sun else 1.0)
    factor /= float(hot_spot_factor(swr)[0])
    loss = loss_db_per_m(kind, frequency_hz, most)

    def bears(watts: float, db: float) -> float:
        return factor * watts / float(1.0 - 10.0 ** (-db / 10.0))

    return StatedFigure(
        bears(heat.value, loss.value), bears(heat.low, loss.high), bears(heat.high, loss.low), heat.source
    )


def heat_w_per_m(kind: LineType) -> StatedFigure | None:
    """Return the heat a metre of a type bears at 40 degrees Celsius, watts: as stated, else by its make."""
    stated = _number(kind, "heat_w_per_m")
    if stated is not None:
        return _about(stated, HEAT_SHARE, _known_by(kind, "heat_w_per_m"))
    jacket, most = _number(kind, "outer_diameter_m"), _number(kind, "max_temperature_celsius")
    inner, core = _number(kind, "centre_diameter_m"), _number(kind, "dielectric_diameter_m")
    if None in (jacket, most, inner, core):
        return None
    assert jacket is not None and most is not None and inner is not None and core is not None  # noqa: PT018
    ptfe = "PTFE" in str(kind.figures["dielectric"].value)
    found = bearable_heat_w_per_m(inner, core, jacket, most, ptfe=ptfe)
    return _about(found, HEAT_SHARE, say("computed from its make by convection and radiation"))


def contradictions(kind: LineType) -> tuple[str, ...]:
    """Return where a type's figures contradict each other or its dimensions by more than 2 %, in words.

    >>> from linewright.catalogue import line_type
    >>> contradictions(line_type("RG-213/U"))
    ()
    """
    out = []
    farads = _number(kind, "capacitance_f_per_m")
    if farads is not None:
        ohm = 1.0 / (SPEED_OF_LIGHT_M_PER_S * kind.velocity_factor * farads)
        if abs(ohm / kind.impedance_ohm - 1.0) > AGREED:
            out.append(say(
                "Its {capacitance} at velocity factor {factor} would be {ohm}, not {nominal}.",
                capacitance=quantity(plain(1e12 * farads, 1), "pF/m"), factor=plain(kind.velocity_factor, 3),
                ohm=quantity(plain(ohm, 1), "ohm"), nominal=quantity(plain(kind.impedance_ohm, 0), "ohm"),
            ))  # fmt: skip
    make = make_of(kind)
    if make is not None:
        ohm = impedance_from_dimensions_ohm(make)
        if abs(ohm / kind.impedance_ohm - 1.0) > AGREED:
            out.append(say("Its dimensions give {ohm}, not {nominal}.", ohm=quantity(plain(ohm, 1), "ohm"),
                           nominal=quantity(plain(kind.impedance_ohm, 0), "ohm")))  # fmt: skip
    return tuple(out)


def make_of(kind: LineType) -> Construction | None:
    """Return a type's make, if the catalogue knows it."""
    mine = make_in(kind)
    if mine is not None or any(p.provenance.grade == "person" for p in kind.points):
        return mine
    return construction_of(kind.designator) if kind.designator in by_designator("constructions") else None


def _about(value: float, share: float, source: str) -> StatedFigure:
    if not value > 0:
        raise InputError("value", f"must be above zero; got {value:g}")
    return StatedFigure(value, value * (1.0 - share), value * (1.0 + share), source)


def _told(kind: LineType, figure: str) -> str:
    known = kind.figures.get(figure)
    return known.provenance.told if known else say("stated")


GRADES: Final = {
    "read": mark("read"), "memory": mark("from memory"), "class": mark("typical of its class"),
    "person": mark("given by you"),
}  # fmt: skip


def _known_by(kind: LineType, figure: str) -> str:
    return say(GRADES[kind.figures[figure].provenance.grade])


def _number(kind: LineType, figure: str) -> float | None:
    known = kind.figures.get(figure)
    return float(known.value) if known is not None else None
