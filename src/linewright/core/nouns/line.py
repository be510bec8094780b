"""Feed lines as a catalogue knows them: types, their attenuation law, and where each figure came from."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, field, replace
from functools import lru_cache
from typing import TYPE_CHECKING, Any, Literal

from linewright.core.frozen import dataclass
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
    """One published attenuation, decibels per metre at a frequency in hertz.

    One that is ``set aside`` is kept for the record and bears on nothing; its note says why.
    """

    frequency_hz: float
    attenuation_db_per_m: float
    provenance: Provenance
    table: str = "A"
    kind: Literal["nominal", "max", "measured", "set aside"] = "nominal"


CURVE_HZ = tuple(1e5 * 2.0 ** (i / 2) for i in range(37))
"""Frequencies at which a curve is kept: half octaves from 100 kHz to 26 GHz."""
NORMAL_95 = 1.96
ABOUT_USUAL = 1.2
"""A doubt so many times the usual one counts as usual."""
WIDER = 1.5
"""A frequency is flagged where the doubt is more than so many times the usual one of its type."""


@dataclass(frozen=True, slots=True)
class Curve:
    """What physics says of a type's conductors at the frequencies of ``CURVE_HZ``, and of its loss the doubt.

    Attributes
    ----------
    conductor_db_per_m : tuple of float
        The conductor part.
    below, above : tuple of float
        Natural logs from the whole loss down and up to the ends of its 95 % interval, both positive.
    tangent : (float, float)
        By how much the dielectric part may be less and more, as factors (95 %).
    """

    conductor_db_per_m: tuple[float, ...]
    below: tuple[float, ...]
    above: tuple[float, ...]
    tangent: tuple[float, float] = (1.0, 1.0)


@dataclass(frozen=True, slots=True)
class AttenuationLaw:
    """Attenuation against frequency: a conductor part, by a curve or ``k0 + k1 √f``, and a dielectric part ``k2 f``.

    f is in MHz; all coefficients are decibels per metre at 1 MHz. Where there is a curve it rules, and k0 and k1 are
    its nearest description from 10 to 500 MHz. The shape of the two terms is the field's (D. M. Pozar, Microwave
    Engineering, 4th ed., section 2.7: conductor loss grows with √f, dielectric loss with f).

    Attributes
    ----------
    spread : float
        Relative standard deviation by which published tables and good pieces of this type lie from the law, 10 to
        500 MHz.
    valid_hz : (float, float)
        Frequencies the published points span; outside them a law without a curve is an extrapolation.
    sqrt_floor_hz : float
        Below this frequency a law without a curve no longer holds (copper-clad steel centres); 0 if not known to.
    curve : Curve or None
        The conductor part as physics has it, and the doubt at each frequency.
    """

    k1_db_per_m: float
    k2_db_per_m: float
    k0_db_per_m: float = 0.0
    spread: float = 0.05
    valid_hz: tuple[float, float] = (0.0, float("inf"))
    sqrt_floor_hz: float = 0.0
    curve: Curve | None = None

    def parts_db_per_m(self, frequency_hz: ArrayLike) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Return the conductor part (with any constant) and the dielectric part, dB/m, shaped as the input."""
        import numpy as np

        f_mhz = np.asarray(frequency_hz, dtype=np.float64) / 1e6
        if self.curve is None:
            return self.k0_db_per_m + self.k1_db_per_m * np.sqrt(f_mhz), self.k2_db_per_m * f_mhz
        return _on_curve(f_mhz * 1e6, self.curve.conductor_db_per_m), self.k2_db_per_m * f_mhz

    def db_per_m(self, frequency_hz: ArrayLike) -> NDArray[np.float64]:
        """Return the attenuation in dB/m, shaped as the input.

        >>> law = AttenuationLaw(k1_db_per_m=0.0070, k2_db_per_m=0.00005)
        >>> float(law.db_per_m(100e6).round(4))
        0.075
        """
        conductor, dielectric = self.parts_db_per_m(frequency_hz)
        return conductor + dielectric

    def doubt(self, frequency_hz: ArrayLike) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Return the natural logs from the loss down and up to the ends of its 95 % interval, shaped as the input.

        >>> law = AttenuationLaw(0.007, 0.00005, spread=0.05)
        >>> [float(side.round(3)) for side in law.doubt(100e6)]
        [0.098, 0.098]
        """
        import numpy as np

        f = np.asarray(frequency_hz, dtype=np.float64)
        if self.curve is None:
            level = np.full_like(f, NORMAL_95 * self.spread)
            return level, level
        grid = _logs(CURVE_HZ)
        return np.interp(np.log(f), grid, self.curve.below), np.interp(np.log(f), grid, self.curve.above)

    def interval_db_per_m(self, frequency_hz: ArrayLike) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Return the ends of the 95 % interval of what tables and good pieces of this type lose, dB/m."""
        import numpy as np

        loss, (below, above) = self.db_per_m(frequency_hz), self.doubt(frequency_hz)
        return loss * np.exp(-below), loss * np.exp(above)

    def beyond(self, frequency_hz: ArrayLike) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Return the standard deviations of the log, below and above, that a frequency adds to ``spread``.

        Nothing where the type is about as well known as usual; much at the low end of copper-clad steel, and upwards.
        """
        import numpy as np

        usual = (ABOUT_USUAL * self.spread) ** 2
        sides = (np.maximum((side / NORMAL_95) ** 2 - usual, 0.0) for side in self.doubt(frequency_hz))
        below, above = (np.sqrt(side) for side in sides)
        return below, above

    def dielectric_share(self, frequency_hz: ArrayLike) -> tuple[NDArray[np.float64], ...]:
        """Return which share of the loss the dielectric takes, and the ends of its 95 % interval."""
        conductor, dielectric = self.parts_db_per_m(frequency_hz)
        factors = (1.0, *(self.curve.tangent if self.curve else (1.0, 1.0)))
        return tuple(dielectric * k / (conductor + dielectric * k) for k in factors)

    def two_terms(self, low_hz: float = 10e6, high_hz: float = 500e6) -> AttenuationLaw:
        """Return the nearest ``k1 √f + k2 f`` between two frequencies, as a sweep over them would find it.

        Its k2 holds more than the dielectric: braid loses more than √f as well. A law without a curve is its own.
        """
        import numpy as np

        if self.curve is None:
            return self
        f = np.linspace(np.sqrt(low_hz), np.sqrt(high_hz), 40) ** 2
        columns = np.column_stack([np.sqrt(f / 1e6), f / 1e6]) / self.db_per_m(f)[:, None]
        (k1, k2), *_ = np.linalg.lstsq(columns, np.ones(len(f)))
        if k2 < 0:
            k1, k2 = float(columns[:, 0].sum() / (columns[:, 0] ** 2).sum()), 0.0
        return replace(self, k1_db_per_m=float(k1), k2_db_per_m=float(k2), curve=None)

    def covers(self, frequency_hz: float) -> bool:
        """Return whether a frequency is known about as well as the type usually is."""
        if self.curve is not None:
            below, above = self.doubt(frequency_hz)
            return float(below + above) <= 2.0 * NORMAL_95 * WIDER * self.spread
        low, high = self.valid_hz
        return max(low, self.sqrt_floor_hz) * 0.999 <= frequency_hz <= high * 1.001


def _on_curve(frequency_hz: NDArray[np.float64], values: tuple[float, ...]) -> NDArray[np.float64]:
    """Return a curve's values between its frequencies, straight on double logarithmic paper; beyond, as √f."""
    import numpy as np

    f = np.maximum(frequency_hz, 1e-9)
    inside = np.minimum(np.maximum(f, CURVE_HZ[0]), CURVE_HZ[-1])
    between = np.exp(np.interp(np.log(inside), _logs(CURVE_HZ), _logs(values)))
    return np.asarray(between * np.sqrt(f / inside), dtype=np.float64)


@lru_cache(maxsize=256)
def _logs(values: tuple[float, ...]) -> NDArray[np.float64]:
    """Return the logarithms of a curve's numbers, which are asked for again and again."""
    import numpy as np

    return np.log(values)


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

    @property
    def steel_centre(self) -> bool:
        """Whether its centre conductor, or its wires, are copper-clad steel."""
        centre = self.figures.get("centre")
        return self.law.sqrt_floor_hz > 0 or (centre is not None and "steel" in str(centre.value))

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
    """The loss at one frequency, with a 95 % interval of what tables and good pieces of the type lose.

    ``extrapolated`` says that the type is known less well there than it usually is; ``why`` says in which way.
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
    """The line types at hand, a person's own first; of a single one, its ``page`` as plain data."""

    types: tuple[LineType, ...]
    cautions: tuple[str, ...] = ()
    page: Mapping[str, Any] | None = None

    def to_dict(self) -> dict[str, Any]:
        """Return the document of schema ``linewright/lines/1``."""
        out: dict[str, Any] = {
            "schema": "linewright/lines/1",
            "lines": [line.to_dict() for line in self.types],
            "cautions": list(self.cautions),
        }
        return out if self.page is None else out | {"page": dict(self.page)}


@dataclass(frozen=True, slots=True)
class Dimensions:
    """What a line's dimensions make of it: its impedance, and the page of the line they make, as plain data."""

    impedance_ohm: float
    page: Mapping[str, Any]
    cautions: tuple[str, ...] = ()

    def to_dict(self) -> dict[str, Any]:
        """Return the document of schema ``linewright/impedance/1``."""
        head = {"schema": "linewright/impedance/1", "impedance_from_dimensions_ohm": self.impedance_ohm}
        rest = {k: v for k, v in self.page.items() if k != "impedance_from_dimensions_ohm"}
        return head | rest | {"cautions": list(self.cautions)}
