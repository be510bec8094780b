"""Line types out of the data files: law, points and figures, each with its provenance."""

from __future__ import annotations

from collections.abc import Iterable
from functools import cache, lru_cache
from typing import Literal, cast

from linewright.catalogue.names import designators, find
from linewright.catalogue.tables import Row, by_designator, source_words
from linewright.core.frozen import dataclass
from linewright.core.nouns.line import AttenuationLaw, AttenuationPoint, Curve, Figure, Grade, LineType, Provenance

Kind = Literal["nominal", "max", "measured", "set aside"]


@dataclass(frozen=True, slots=True)
class PowerPoint:
    """A published mean power rating, watts at a frequency in hertz: matched line, 40 degrees Celsius ambient."""

    frequency_hz: float
    power_w: float
    provenance: Provenance


def line_type(name: str, own: Iterable[LineType] = ()) -> LineType:
    """Return the line type a written name stands for.

    Parameters
    ----------
    name : str
        The designator, or a spelling of it: case, spaces and punctuation do not matter. A short name stands for the
        common type of its family ("RG-58" is RG-58C/U).
    own : iterable of LineType
        A person's own types; they are searched first.

    Raises
    ------
    UnknownNameError
        If nothing answers to the name; the message names the nearest types.

    >>> line_type("rg213").designator
    'RG-213/U'
    >>> line_type("RG-58C/U").figures["outer_diameter_m"].value
    0.00495
    """
    mine = {line.designator: line for line in own}
    found = find(name, mine)
    return mine[found] if found in mine else _built(found)


def line_types() -> tuple[LineType, ...]:
    """Return every type of the catalogue, in its order.

    Returns
    -------
    tuple of LineType
        In the order of the catalogue.

    >>> len(line_types())
    102
    """
    return tuple(_built(name) for name in designators())


@lru_cache(maxsize=32)
def laws_near(impedance_ohm: float, within: float) -> tuple[tuple[str, AttenuationLaw], ...]:
    """Return designator and law of every type whose impedance is so near, as a share; in the order of the catalogue.

    Costs a third of building the types whole, with all their points and figures.

    >>> [name for name, _ in laws_near(93.0, 0.02)], len(laws_near(50.0, 0.1)) > 40
    (['RG-62A/U'], True)
    """
    return tuple(
        (name, _law(name))
        for name in designators()
        for r in by_designator("figures")[name]
        if r["figure"] == "impedance_ohm" and abs(float(r["value"]) / impedance_ohm - 1.0) < within
    )


def points_of(designator: str) -> tuple[AttenuationPoint, ...]:
    """Return every published attenuation point of a type, all tables together."""
    return tuple(
        AttenuationPoint(
            float(row["frequency_hz"]),
            float(row["attenuation_db_per_m"]),
            _provenance(row),
            row["table"],
            cast("Kind", row["kind"]),
        )
        for row in by_designator("points").get(designator, ())
    )


def power_points(name: str) -> tuple[PowerPoint, ...]:
    """Return the published power ratings of a type; empty where none is known.

    >>> power_points("RG-213/U")[0].power_w
    11000.0
    """
    rows = by_designator("power").get(find(name), ())
    return tuple(PowerPoint(float(r["frequency_hz"]), float(r["power_w"]), _provenance(r)) for r in rows)


@cache
def _built(designator: str) -> LineType:
    (row,) = by_designator("types")[designator]
    figures = {r["figure"]: Figure(_value(r["value"]), _provenance(r)) for r in by_designator("figures")[designator]}
    return LineType(
        designator=designator,
        impedance_ohm=float(figures["impedance_ohm"].value),
        velocity_factor=float(figures["velocity_factor"].value),
        law=_law(designator),
        points=points_of(designator),
        figures=figures,
        note=row["note"],
        balanced=row["balanced"] == "yes",
    )


@cache
def _law(designator: str) -> AttenuationLaw:
    (row,) = by_designator("laws")[designator]
    return AttenuationLaw(
        k1_db_per_m=float(row["k1_db_per_m"]),
        k2_db_per_m=float(row["k2_db_per_m"]),
        spread=float(row["spread"]),
        valid_hz=(float(row["valid_low_hz"]), float(row["valid_high_hz"])),
        curve=Curve(
            _numbers(row["conductor_db_per_m"]),
            _numbers(row["below"]),
            _numbers(row["above"]),
            (float(row["tangent_low"]), float(row["tangent_high"])),
        ),
    )


def _numbers(text: str) -> tuple[float, ...]:
    return tuple(map(float, text.split()))


@cache
def _known(grade: str, sources: str, note: str) -> Provenance:
    return Provenance(cast("Grade", grade), source_words(sources), note)


def _provenance(row: Row) -> Provenance:
    return _known(row["grade"], row["sources"], row.get("note", ""))


def _value(text: str) -> float | str:
    try:
        return float(text)
    except ValueError:
        return text
