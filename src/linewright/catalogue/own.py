"""A person's own line type: from the points of a data sheet or a measurement, from how it is made, or from both."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from itertools import pairwise
from typing import Any, Final

import numpy as np

from linewright.catalogue.construction import Construction
from linewright.catalogue.fit import check, fit_law
from linewright.core.errors import InputError
from linewright.core.messages import say
from linewright.core.nouns.line import CURVE_HZ, AttenuationLaw, AttenuationPoint, Figure, LineType, Provenance

MOST_DB_PER_M: Final = 30.0
"""No feed line loses more per metre; a larger figure is in other units."""

MOST_HZ: Final = 110e9
LEAST_HZ: Final = 1e3

ONE_POINT = (
    "One point only: the shape of the law is taken from braided solid-polyethylene line. Add a second point, far away"
    " in frequency, to know it."
)


def own_type(
    designator: str,
    points: Iterable[tuple[float, float]],
    *,
    impedance_ohm: float = 50.0,
    velocity_factor: float = 0.66,
    steel_centre: bool = False,
    source: str = "given by the person",
) -> LineType:
    """Return a line type built from attenuation points.

    Parameters
    ----------
    designator : str
        The name it goes by.
    points : iterable of (float, float)
        Frequency in hertz and attenuation in dB per metre. Two points or more fit a law; one is given the usual shape
        of braided line, a wide spread of 0.25, and a note that says so.
    impedance_ohm, velocity_factor : float
        Characteristic impedance, 1 to 1000 ohm, and velocity factor, above 0 and at most 1.
    steel_centre : bool
        Whether the centre conductor is copper-clad steel: its law is then not trusted below 5 MHz.
    source : str
        Where the points come from, in words.

    Raises
    ------
    InputError
        If a value is not finite, out of range, or given twice with different attenuations; the message names the point.

    References
    ----------
    ``α = k0 + k1 √f + k2 f``, fitted by least squares in relative units: ``docs/catalogue.md``, "The law".

    >>> mine = own_type("club drum", [(10e6, 0.015), (100e6, 0.051), (1000e6, 0.18)], velocity_factor=0.8)
    >>> float(mine.law.db_per_m(144e6).round(4)), mine.law.spread
    (0.061, 0.04)
    """
    name = _name(designator)
    ohm = _between("impedance_ohm", impedance_ohm, 1.0, 1000.0)
    velocity = _between("velocity_factor", velocity_factor, 0.05, 1.0)
    known = Provenance("person", source)
    table = tuple(_point(i, pair, known) for i, pair in enumerate(points, start=1))
    check(table)
    _sane(table)
    return LineType(
        designator=name,
        impedance_ohm=ohm,
        velocity_factor=velocity,
        law=fit_law(table, steel_centre=steel_centre),
        points=table,
        figures={
            "impedance_ohm": Figure(ohm, known),
            "velocity_factor": Figure(velocity, known),
        },
        note=ONE_POINT if len(table) == 1 else "",
    )


def made_type(
    designator: str,
    make: Construction,
    points: Iterable[tuple[float, float]] = (),
    *,
    source: str = "given by the person",
) -> LineType:
    """Return a line type built from how it is made; points, if there are any, move its law as far as the make allows.

    Parameters
    ----------
    designator : str
        The name it goes by.
    make : Construction
        Its metals, dimensions and dielectric.
    points : iterable of (float, float)
        Frequency in hertz and attenuation in dB per metre.
    source : str
        Where all this comes from, in words.

    Raises
    ------
    InputError
        If a value is not finite or out of range; the message names the point.

    References
    ----------
    Losses from the make: ``docs/catalogue.md``, "The law", with its sources.

    >>> from linewright.catalogue.construction import construction_of
    >>> mine = made_type("drum", construction_of("RG-213/U"))
    >>> float(mine.law.db_per_m(144e6).round(2)), mine.law.spread > 0.1
    (0.09, True)
    """
    name = _name(designator)
    ohm = _between("impedance_ohm", make.impedance_ohm, 1.0, 1000.0)
    known = Provenance("person", source)
    table = tuple(_point(i, pair, known) for i, pair in enumerate(points, start=1))
    if table:
        check(table)
        _sane(table)
    said = {"impedance_ohm": ohm, "velocity_factor": make.velocity_factor, **made_figures(make)}
    return LineType(
        designator=name,
        impedance_ohm=ohm,
        velocity_factor=make.velocity_factor,
        law=_built_law(name, make, table),
        points=table,
        figures={figure: Figure(value, known) for figure, value in said.items()},
        balanced=make.balanced,
    )


def _built_law(name: str, make: Construction, table: tuple[AttenuationPoint, ...]) -> AttenuationLaw:
    """Return the law that a make and a person's own points give, by the catalogue's common numbers."""
    from linewright.catalogue.joint import QuotedPoint, fit, law_from, stored_common

    given = [QuotedPoint(name, point, "own") for point in table]
    post = fit(given, {name: replace(make, core=name)}, common=stored_common())
    hertz = [p.frequency_hz for p in table] or [CURVE_HZ[0], CURVE_HZ[-1]]
    return law_from(post, name, read=bool(table), valid_hz=(min(hertz), max(hertz)))


MADE: Final[Mapping[str, str]] = {
    "centre": "centre", "centre_diameter_m": "centre_diameter_m", "strand_count": "strands", "cladding_m": "cladding_m",
    "dielectric": "dielectric", "dielectric_diameter_m": "dielectric_diameter_m", "shield": "screen",
    "wire_spacing_m": "spacing_m",
}  # fmt: skip
"""The figures that a make is kept in, with the names of its fields."""


def made_figures(make: Construction) -> dict[str, float | str]:
    """Return a make as figures, those it has."""
    values = {figure: getattr(make, field) for figure, field in MADE.items()}
    return {figure: float(v) if isinstance(v, int) else v for figure, v in values.items() if v is not None}


def make_in(kind: LineType) -> Construction | None:
    """Return the make in a person's own type, None where only its points are known.

    >>> from linewright.catalogue.construction import construction_of
    >>> mine = made_type("drum", construction_of("RG-213/U"))
    >>> make_in(mine).screen, make_in(own_type("other", [(1e7, 0.02)]))
    ('braid', None)
    """
    if "strand_count" not in kind.figures:
        return None
    found: dict[str, Any] = {field: kind.figures[f].value for f, field in MADE.items() if f in kind.figures}
    found["strands"] = int(found["strands"])
    return Construction(kind.impedance_ohm, kind.velocity_factor, **found)


def _name(designator: object) -> str:
    if not isinstance(designator, str) or not any(c.isalnum() for c in designator):
        raise InputError(
            "designator", say("must be a name with a letter or a digit in it; got {value}", value=repr(designator))
        )
    return " ".join(designator.split())


def _number(argument: str, value: object) -> float:
    if isinstance(value, bool) or not isinstance(value, (int, float, np.number)):
        raise InputError(argument, say("must be a number; got {value}", value=repr(value)))
    return float(value)


def _between(argument: str, value: object, low: float, high: float) -> float:
    number = _number(argument, value)
    if not low <= number <= high:
        raise InputError(
            argument,
            say(
                "must lie between {low} and {high}; got {value}",
                low=format(low, "g"),
                high=format(high, "g"),
                value=format(number, "g"),
            ),
        )
    return number


def _point(i: int, pair: object, known: Provenance) -> AttenuationPoint:
    if not (isinstance(pair, (tuple, list)) and len(pair) == 2):
        raise InputError(
            "points",
            say("must be pairs of frequency and attenuation; point {number} is {pair}", number=i, pair=repr(pair)),
        )
    frequency_hz = _number(f"frequency_hz of point {i}", pair[0])
    attenuation_db_per_m = _number(f"attenuation_db_per_m of point {i}", pair[1])
    return AttenuationPoint(frequency_hz, attenuation_db_per_m, known, "own")


def _sane(table: tuple[AttenuationPoint, ...]) -> None:
    seen: dict[float, float] = {}
    for i, p in enumerate(table, start=1):
        if not LEAST_HZ <= p.frequency_hz <= MOST_HZ:
            raise InputError(
                "frequency_hz",
                say(
                    "must lie between 1 kHz and 110 GHz; got {value} Hz in point {number}",
                    value=format(p.frequency_hz, "g"),
                    number=i,
                ),
                cure=say("Write frequencies with their unit, such as 144 MHz."),
            )
        if p.attenuation_db_per_m > MOST_DB_PER_M:
            raise InputError(
                "attenuation_db_per_m",
                say(
                    "must be at most {most}; got {value} in point {number}",
                    most=format(MOST_DB_PER_M, "g"),
                    value=format(p.attenuation_db_per_m, "g"),
                    number=i,
                ),
                cure=say("Is the figure per 100 m or per 100 ft? Say so with its unit."),
            )
        if seen.setdefault(p.frequency_hz, p.attenuation_db_per_m) != p.attenuation_db_per_m:
            raise InputError(
                "points",
                say(
                    "must not give two attenuations at {frequency_hz} Hz (point {number})",
                    frequency_hz=format(p.frequency_hz, "g"),
                    number=i,
                ),
            )
    _rising(sorted(seen.items()))


def _rising(pairs: list[tuple[float, float]]) -> None:
    for (f1, a1), (f2, a2) in pairwise(pairs):
        if a2 < 0.8 * a1:
            raise InputError(
                "points",
                say(
                    "must not fall as frequency rises; {a1} dB/m at {f1} Hz, then {a2} at {f2} Hz",
                    a1=format(a1, "g"),
                    f1=format(f1, "g"),
                    a2=format(a2, "g"),
                    f2=format(f2, "g"),
                ),
                cure=say("A line loses more at higher frequencies: look for a slipped digit or swapped columns."),
            )
