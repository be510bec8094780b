"""Feed lines as a catalogue knows them: types, their attenuation law, and where each figure came from."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from typing import TYPE_CHECKING, Any, Literal

from linewright.core.messages import mark, say
from linewright.core.nouns.bench_result import Working

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import ArrayLike, NDArray

# Feed lines as a catalogue knows them: types, their attenuation law, and where each figure came from

Grade = Literal["read", "memory", "class", "person"]
"""How a figure is known: read in a public text, from memory, typical of its class, or given by the person."""
TOLD: dict[Grade, str] = {
    "read": mark("read: {source}"), "memory": mark("memory: {source}"), "class": mark("class: {source}"),
    "person": mark("person: {source}"),
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Provenance:
    """Where a figure came from."""

    grade: Grade
    source: str
    note: str = ""

    @property
    def told(self) -> str:
        """How it is known and by what, in a row."""
        return say(TOLD[self.grade], source=self.source)


@dataclass(frozen=True, slots=True)
class Figure:
    """One value of a data sheet with its provenance; the unit is the last word of its key."""

    value: float | str
    provenance: Provenance


@dataclass(frozen=True, slots=True)
class AttenuationPoint:
    """One published attenuation, decibels per metre at a frequency in hertz."""

    frequency_hz: float
    attenuation_db_per_m: float
    provenance: Provenance
    table: str = "A"
    kind: Literal["nominal", "max", "measured"] = "nominal"


@dataclass(frozen=True, slots=True)
class AttenuationLaw:
    """Attenuation against frequency, ``k0 + k1 √(f / 1 MHz) + k2 (f / 1 MHz)``.

    All three coefficients are decibels per metre: k1 and k2 are what the √f part (conductors) and the f part
    (dielectric) lose at 1 MHz. The shape is the field's two-term fit (D. M. Pozar, Microwave Engineering,
    4th ed., section 2.7: conductor loss grows with √f, dielectric loss with f).

    Attributes
    ----------
    spread : float
        Relative standard deviation by which published tables of this type differ from the law and each other.
    valid_hz : (float, float)
        Frequencies the published points span; outside them the law is an extrapolation.
    sqrt_floor_hz : float
        Below this frequency the conductors no longer follow √f (copper-clad steel centres); 0 if not known to.
    """

    k1_db_per_m: float
    k2_db_per_m: float
    k0_db_per_m: float = 0.0
    spread: float = 0.05
    valid_hz: tuple[float, float] = (0.0, float("inf"))
    sqrt_floor_hz: float = 0.0

    def parts_db_per_m(self, frequency_hz: ArrayLike) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Return the conductor part (with any constant) and the dielectric part, dB/m, shaped as the input."""
        import numpy as np

        f_mhz = np.asarray(frequency_hz, dtype=np.float64) / 1e6
        return self.k0_db_per_m + self.k1_db_per_m * np.sqrt(f_mhz), self.k2_db_per_m * f_mhz

    def db_per_m(self, frequency_hz: ArrayLike) -> NDArray[np.float64]:
        """Return the attenuation in dB/m, shaped as the input.

        >>> law = AttenuationLaw(k1_db_per_m=0.0070, k2_db_per_m=0.00005)
        >>> float(law.db_per_m(100e6).round(4))
        0.075
        """
        conductor, dielectric = self.parts_db_per_m(frequency_hz)
        return conductor + dielectric

    def covers(self, frequency_hz: float) -> bool:
        """Return whether published points surround this frequency and √f may be trusted there."""
        low, high = self.valid_hz
        return max(low, self.sqrt_floor_hz) * 0.999 <= frequency_hz <= high * 1.001


@dataclass(frozen=True, slots=True)
class LineType:
    """A feed line as sold: its generic designator, its law and what else is known of it.

    ``figures`` holds every other figure by name (``outer_diameter_m``, ``mass_kg_per_m``, ``voltage_v`` ...).
    """

    designator: str
    impedance_ohm: float
    velocity_factor: float
    law: AttenuationLaw
    points: tuple[AttenuationPoint, ...] = ()
    figures: Mapping[str, Figure] = field(default_factory=dict)
    note: str = ""
    balanced: bool = False

    def to_dict(self) -> dict[str, Any]:
        """Return the type as plain data."""
        return {
            "line": self.designator,
            "impedance_ohm": self.impedance_ohm,
            "velocity_factor": self.velocity_factor,
            "k0_db_per_m": self.law.k0_db_per_m,
            "k1_db_per_m": self.law.k1_db_per_m,
            "k2_db_per_m": self.law.k2_db_per_m,
            "spread": self.law.spread,
            "valid_hz": list(self.law.valid_hz),
            "figures": {
                name: {"value": f.value, "grade": f.provenance.grade, "source": f.provenance.source}
                for name, f in self.figures.items()
            },
            "note": self.note,
        }


# What a length of line loses, by the catalogue


@dataclass(frozen=True, slots=True)
class LossRow:
    """The loss at one frequency, with a 95 % interval from the spread of published tables.

    ``extrapolated`` says that no published point stands on this side of the frequency; ``why`` says which way.
    """

    frequency_hz: float
    loss_db: float
    loss_db_low: float
    loss_db_high: float
    delivered_fraction: float
    conductor_db: float
    dielectric_db: float
    extrapolated: bool = False
    why: str = ""


@dataclass(frozen=True, slots=True)
class LossTable:
    """The loss of a length of one line, connectors not included."""

    line: LineType
    length_m: float
    rows: tuple[LossRow, ...]
    remarks: tuple[str, ...] = ()
    workings: tuple[Working, ...] = ()
    cautions: tuple[str, ...] = ()

    def to_dict(self) -> dict[str, Any]:
        """Return the document of schema ``linewright/line-loss/1``."""
        return {
            "schema": "linewright/line-loss/1",
            "length_m": self.length_m,
            "losses": [asdict(row) for row in self.rows],
            "line": self.line.to_dict(),
            "remarks": list(self.remarks),
            "workings": [asdict(w) for w in self.workings],
            "cautions": list(self.cautions),
        }


@dataclass(frozen=True, slots=True)
class LineList:
    """The line types at hand, a person's own first."""

    types: tuple[LineType, ...]
    cautions: tuple[str, ...] = ()

    def to_dict(self) -> dict[str, Any]:
        """Return the document of schema ``linewright/lines/1``."""
        return {"schema": "linewright/lines/1", "lines": [line.to_dict() for line in self.types],
                "cautions": list(self.cautions)}  # fmt: skip
