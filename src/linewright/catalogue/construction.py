"""What a line is made of, and what physics makes of that: its losses, its impedance, its capacitance.

A line's conductors lose what smooth ones of the same dimensions lose, times factors of at least one for strands, braid
and corrugation; its dielectric loses what its material's loss tangent says, within the bounds published for it.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from linewright.catalogue.tables import by_designator
from linewright.core.arrays import Floats
from linewright.core.errors import InputError
from linewright.core.formulas.coax import (
    ALUMINIUM,
    COPPER,
    SILVER,
    STEEL,
    TIN,
    Layer,
    Metal,
    dielectric_loss_db_per_m,
    sheet_resistance_ohm,
    wire_resistance_ohm_per_m,
)
from linewright.core.frozen import dataclass
from linewright.core.quantities import SPEED_OF_LIGHT_M_PER_S, VACUUM_IMPEDANCE_OHM

PLATING_M: Final = 1e-6
"""Silver on strands and braid: 40 microinch, the least of silvered wire (from memory). From 0.5 to 2 µm a line moves by
0.4 % at 30 MHz, 5 % at 3 GHz (dxdlw.com/ShowPost.aspx?ThreadID=14169)."""

TIN_M: Final = 1.8e-6
"""Tin on strands and braid. How much of its effect is there is one of the numbers fitted to all types."""

CENTRES: Final = (
    "copper", "tinned copper", "silvered copper", "clad steel", "silvered clad steel", "clad aluminium", "copper tube",
)  # fmt: skip

SCREENS: Final = (
    "braid", "tinned braid", "silvered braid", "two braids", "two silvered braids", "foil and braid", "tube",
    "aluminium tube", "corrugated", "deep corrugated", "none",
)  # fmt: skip

EFFECTIVE: Final = {1: 1.0, 7: 0.939, 19: 0.970}
"""Diameter that strands have for the impedance, against the circle round them. From memory; "about 0.94" for seven
strands: 360docs.net/doc/8b2830627.html."""


@dataclass(frozen=True, slots=True)
class Dielectric:
    """A material between the conductors: bounds of its loss tangent, and where they are printed."""

    tangent: tuple[float, float]
    source: str


DIELECTRICS: Final[Mapping[str, Dielectric]] = {
    "PE": Dielectric((2e-4, 5e-4), "3e-4: radiopolyus.ru/spravka; 5e-4: a formula, 360docs.net/doc/8b2830627.html"),
    "PTFE": Dielectric((2e-4, 5e-4), "2e-4 at radiopolyus.ru/spravka; 4e-4: Pozar, 4th ed., appendix G (from memory)"),
    "foam PE": Dielectric((0.4e-4, 3e-4), "solid polyethylene's, times its share of the volume"),
    "gas-foamed PE": Dielectric((0.3e-4, 1.5e-4), "solid polyethylene's, times its share of the volume"),
    "air-spaced PE": Dielectric((0.4e-4, 3e-4), "solid polyethylene's, times its share of the volume"),
    "PE web": Dielectric((0.2e-4, 2e-4), "solid polyethylene's, times the share of the field in the web"),
    "wet PE web": Dielectric((0.2e-4, 2e-4), "dry; what water adds comes on top"),
    "air": Dielectric((0.0, 0.1e-4), "spacers only"),
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Construction:
    """A line's make, lengths in metres.

    ``core`` names the make of conductor and dielectric that several types share. ``cladding_m`` is the usual thickness
    of the copper on steel or aluminium, ``cladding_spread`` the spread of its log from one reel to another.
    ``dielectric_diameter_m`` belongs to coaxial lines, ``spacing_m``, between the middles of the wires, to balanced
    ones.
    """

    impedance_ohm: float
    velocity_factor: float
    centre: str
    centre_diameter_m: float
    dielectric: str
    screen: str
    strands: int = 1
    cladding_m: float | None = None
    cladding_spread: float = 0.2
    dielectric_diameter_m: float | None = None
    spacing_m: float | None = None
    core: str = ""

    def __post_init__(self) -> None:
        """Refuse what cannot be a line."""
        for name, value, known in (
            ("centre", self.centre, CENTRES), ("screen", self.screen, SCREENS),
            ("dielectric", self.dielectric, tuple(DIELECTRICS)),
        ):  # fmt: skip
            if value not in known:
                raise InputError(name, f"must be one of {', '.join(known)}; got {value!r}")
        if not 0 < self.velocity_factor <= 1:
            raise InputError("velocity_factor", f"must be above 0 and at most 1; got {self.velocity_factor:g}")
        outer = self.spacing_m if self.balanced else self.dielectric_diameter_m
        if outer is None or not 0 < self.centre_diameter_m < outer:
            raise InputError(
                "centre_diameter_m", "must be above zero and less than the dielectric's diameter or the wires' spacing",
                cure="Are the two swapped, or in different units?",
            )  # fmt: skip
        if "clad" in self.centre and not 0 < (self.cladding_m or 0.0) < self.centre_diameter_m / 2:
            raise InputError("cladding_m", "must be above zero and less than half the centre's diameter")

    @property
    def balanced(self) -> bool:
        """Whether it is a pair of wires."""
        return self.screen == "none"

    @property
    def tinned(self) -> bool:
        """Whether there is tin on its conductors."""
        return "tinned" in self.centre or "tinned" in self.screen

    @property
    def permittivity(self) -> float:
        """The relative permittivity that its velocity factor says."""
        return 1.0 / self.velocity_factor**2


def construction_of(designator: str) -> Construction:
    """Return the make of a type of the catalogue, by its designator.

    >>> construction_of("RG-213/U").core
    'RG-213'
    """
    (row,) = by_designator("constructions")[designator]

    def number(name: str) -> float | None:
        return float(row[name]) if row[name] else None

    return Construction(
        impedance_ohm=float(row["impedance_ohm"]), velocity_factor=float(row["velocity_factor"]),
        centre=row["centre"], centre_diameter_m=float(row["centre_diameter_m"]), dielectric=row["dielectric"],
        screen=row["screen"], strands=int(row["strands"]), cladding_m=number("cladding_m"),
        cladding_spread=number("cladding_spread") or 0.2,
        dielectric_diameter_m=number("dielectric_diameter_m"), spacing_m=number("spacing_m"), core=row["core"],
    )  # fmt: skip


def wire_layers(make: Construction, cladding: float = 1.0, *, tin: bool = False) -> list[Layer]:
    """Return the layers of the centre conductor, its cladding times a factor; strands count as the wire round them.

    Tin is left out unless asked for: it only ever adds to what copper loses.
    """
    radius = make.centre_diameter_m / 2
    if make.centre == "copper tube":
        return [Layer(None, 0.9 * radius), Layer(COPPER, radius)]
    plated: dict[str, tuple[Metal, float]] = {"tinned": (TIN, TIN_M), "silvered": (SILVER, PLATING_M)}
    plating, thick = plated.get(make.centre.split()[0], (COPPER, 0.0))
    thick = 0.0 if plating is TIN and not tin else thick
    under = radius - thick
    layers = []
    if "clad" in make.centre:
        base = STEEL if "steel" in make.centre else ALUMINIUM
        layers.append(Layer(base, max(under - (make.cladding_m or 0.0) * cladding, 0.05 * under)))
    layers.append(Layer(COPPER, under))
    return [*layers, Layer(plating, radius)] if thick else layers


def screen_sheets(make: Construction, *, tin: bool = False) -> list[Layer]:
    """Return the sheets of the screen, flat and smooth; a braid counts as a sheet of its wires' thickness."""
    wire = braid_wire_m(make.dielectric_diameter_m or 0.0)
    return {
        "tinned braid": [*([Layer(TIN, TIN_M)] if tin else []), Layer(COPPER, wire)],
        "silvered braid": [Layer(SILVER, PLATING_M), Layer(COPPER, wire)],
        "two silvered braids": [Layer(SILVER, PLATING_M), Layer(COPPER, 2 * wire)],
        "two braids": [Layer(COPPER, 2 * wire)],
        "foil and braid": [Layer(ALUMINIUM, 20e-6), Layer(COPPER, wire)],
        "aluminium tube": [Layer(ALUMINIUM, 0.6e-3)],
        "tube": [Layer(COPPER, 0.25e-3)],
    }.get(make.screen, [Layer(COPPER, max(wire, 0.2e-3) if "corrugated" in make.screen else wire)])


def braid_wire_m(dielectric_diameter_m: float) -> float:
    """Return the usual thickness of a braid's wires: 0.12 mm on a core of 3 mm, 0.19 mm on one of 7.3 mm (memory)."""
    return 0.08e-3 + 0.0145 * dielectric_diameter_m


def smooth_parts_ohm_per_m(
    make: Construction, frequency_hz: ArrayLike, cladding: float = 1.0, *, tin: bool = False
) -> tuple[Floats, Floats]:
    """Return the resistance of the centre and of the screen, smooth and of these dimensions, in ohms per metre.

    Of a balanced line the first is both wires', crowded by each other's field by ``1/√(1 - (d/s)²)`` (from memory),
    and the second is nothing.
    """
    wire = wire_resistance_ohm_per_m(frequency_hz, wire_layers(make, cladding, tin=tin))
    if make.spacing_m is not None and make.balanced:
        return 2.0 * wire / np.sqrt(1.0 - (make.centre_diameter_m / make.spacing_m) ** 2), np.zeros_like(wire)
    assert make.dielectric_diameter_m is not None
    sheet = sheet_resistance_ohm(frequency_hz, screen_sheets(make, tin=tin))
    return wire, sheet / (np.pi * make.dielectric_diameter_m)


def dielectric_db_per_m(make: Construction, frequency_hz: ArrayLike, loss_tangent: float) -> Floats:
    """Return what its dielectric loses at a loss tangent, dB per metre."""
    return dielectric_loss_db_per_m(frequency_hz, make.permittivity, loss_tangent)


def impedance_from_dimensions_ohm(make: Construction) -> float:
    """Return the impedance that its dimensions and velocity factor give.

    Strands count with their effective diameter, a braid with that of its middle: the core and 1.5 braid wires
    (360docs.net/doc/8b2830627.html). A pair of wires: ``η0/π acosh(s/d)`` (Pozar, 4th ed., table 2.1).

    >>> round(impedance_from_dimensions_ohm(construction_of("RG-58C/U")), 1)
    50.6
    """
    inner = make.centre_diameter_m * EFFECTIVE.get(make.strands, 0.97)
    if make.balanced:
        assert make.spacing_m is not None
        return float(VACUUM_IMPEDANCE_OHM / np.pi * np.arccosh(make.spacing_m / inner) * make.velocity_factor)
    assert make.dielectric_diameter_m is not None
    braided = "braid" in make.screen and "foil" not in make.screen
    outer = make.dielectric_diameter_m + (1.5 * braid_wire_m(make.dielectric_diameter_m) if braided else 0.0)
    return float(VACUUM_IMPEDANCE_OHM / (2.0 * np.pi) * np.log(outer / inner) * make.velocity_factor)


def capacitance_f_per_m(impedance_ohm: float, velocity_factor: float) -> float:
    """Return the capacitance per metre of a line of this impedance and velocity factor: ``1/(c VF Z0)``.

    >>> round(capacitance_f_per_m(50.0, 0.66) * 1e12, 1)
    101.1
    """
    return 1.0 / (SPEED_OF_LIGHT_M_PER_S * velocity_factor * impedance_ohm)


@cache
def core_mates(designator: str) -> tuple[str, ...]:
    """Return the other types made on the same core.

    >>> core_mates("RG-58A/U")
    ('RG-58C/U',)
    """
    core = construction_of(designator).core
    every = ((name, rows[0]["core"]) for name, rows in by_designator("constructions").items())
    return tuple(name for name, theirs in every if theirs == core and name != designator)
