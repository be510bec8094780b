"""Exposure limits as their tables print them, duty factors of modes, and what the ground may add.

Where two rows of a table name the same edge, the stricter figure is taken. Local rules and licensed practice decide.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import cache
from math import nan
from typing import Literal, cast

from linewright.catalogue.names import key
from linewright.catalogue.tables import Row, placed, rows
from linewright.core.errors import InputError, UnknownNameError
from linewright.core.formatting import frequency
from linewright.core.formulas.exposure import equivalent_density_w_per_m2
from linewright.core.frozen import dataclass
from linewright.core.nouns.line import Figure, Grade, Provenance
from linewright.core.quantities import SPEED_OF_LIGHT_M_PER_S, TWO_PI

Who = Literal["public", "occupational"]
Quantity = Literal["e_v_per_m", "h_a_per_m", "s_w_per_m2"]


@dataclass(frozen=True, slots=True)
class LimitRow:
    """One figure of a table of limits, ``coefficient (f / unit)^exponent`` between two frequencies."""

    standard: str
    who: Who
    low_hz: float
    high_hz: float
    open: str
    quantity: Quantity
    coefficient: float
    exponent: float
    unit_hz: float
    averaging_s: float
    printed: str
    provenance: Provenance

    def holds(self, frequency_hz: float) -> bool:
        """Return whether a frequency lies in the row; an end the table excludes (">400") is not in it."""
        above = frequency_hz > self.low_hz or (frequency_hz == self.low_hz and self.open not in ("low", "both"))
        below = frequency_hz < self.high_hz or (frequency_hz == self.high_hz and self.open not in ("high", "both"))
        return above and below

    def value(self, frequency_hz: float) -> float:
        """Return the limit at a frequency, in the unit of the quantity's last word."""
        return float(self.coefficient * (frequency_hz / self.unit_hz) ** self.exponent)


@dataclass(frozen=True, slots=True)
class Limit:
    """The limits of one standard at one frequency, rms and averaged; None where the table has none.

    Below 30 MHz the electric and the magnetic limit must both be met, near or far from the antenna (ICNIRP 2020,
    note 4 of its tables). ``figures`` holds each limit with what is printed and where.
    """

    standard: str
    who: Who
    frequency_hz: float
    e_v_per_m: float | None
    h_a_per_m: float | None
    s_w_per_m2: float | None
    averaging_s: float
    provenance: Provenance
    figures: Mapping[str, Figure]

    @property
    def density_w_per_m2(self) -> float:
        """The power density of a plane wave that just reaches the strictest of the limits.

        >>> round(limits_at("ICNIRP 2020", "public", 14.2e6).density_w_per_m2, 2)
        5.82
        """
        given = (nan if x is None else x for x in (self.e_v_per_m, self.h_a_per_m, self.s_w_per_m2))
        return float(equivalent_density_w_per_m2(*given))


@dataclass(frozen=True, slots=True)
class Exemption:
    """The power below which a single source at a distance is exempt; ``applies`` only from λ/2π outwards."""

    frequency_hz: float
    distance_m: float
    erp_w: float
    least_distance_m: float
    applies: bool
    provenance: Provenance


@dataclass(frozen=True, slots=True)
class Factor:
    """A named factor in power: the duty of a mode, or what reflection from the ground may add.

    ``on_s`` and ``off_s`` are the overs and pauses that the rules of a mode lay down; None where they lay down none.
    """

    name: str
    factor: float
    provenance: Provenance
    on_s: float | None = None
    off_s: float | None = None


@cache
def exposure_limits() -> tuple[LimitRow, ...]:
    """Return every row of every table, as printed.

    >>> sorted({row.standard for row in exposure_limits()})
    ['47 CFR 1.1310', 'ICNIRP 2010', 'ICNIRP 2020', 'ICNIRP 2020 local']
    """
    return tuple(_row(row) for row in rows("exposure_limits"))


def limits_at(standard: str, who: str, frequency_hz: float) -> Limit:
    """Return the limits of a standard ("ICNIRP 2020", "ICNIRP 2020 local", "47 CFR 1.1310") at a frequency.

    Raises
    ------
    UnknownNameError
        If the standard is unknown, or ``who`` is neither "public" nor "occupational".
    InputError
        If the table has no row for the frequency; see ``covers``.

    >>> limit = limits_at("47 CFR 1.1310", "public", 144e6)
    >>> limit.e_v_per_m, limit.h_a_per_m, limit.s_w_per_m2, limit.averaging_s
    (27.5, 0.073, 2.0, 1800.0)
    """
    table = _table(standard, who)
    found = [row for row in table if row.holds(frequency_hz)]
    if not found:
        ends = f"{frequency(min(r.low_hz for r in table))} to {frequency(max(r.high_hz for r in table))}"
        raise InputError("frequency_hz", f"must lie within the table of {standard}, {ends}; got {frequency_hz!r}")
    figures = {row.quantity: row for row in sorted(found, key=lambda r: r.value(frequency_hz), reverse=True)}
    values = {q: row.value(frequency_hz) for q, row in figures.items()}
    return Limit(
        found[0].standard, found[0].who, frequency_hz,
        values.get("e_v_per_m"), values.get("h_a_per_m"), values.get("s_w_per_m2"),
        min(row.averaging_s for row in found), _least_sure(list(figures.values())),
        {q: Figure(values[q], row.provenance) for q, row in figures.items()},
    )  # fmt: skip


def covers(standard: str, who: str, frequency_hz: float) -> bool:
    """Return whether a standard has a limit at a frequency.

    >>> covers("47 CFR 1.1310", "public", 136e3), covers("ICNIRP 2020", "public", 136e3)
    (False, True)
    """
    return any(row.holds(frequency_hz) for row in _table(standard, who))


def exempt_erp_w(frequency_hz: float, distance_m: float) -> Exemption:
    """Return the effective radiated power up to which 47 CFR 1.1307(b)(3)(i)(C) exempts a single source.

    The distance is to the nearest person. Within λ/2π the rule does not apply and the answer says so.

    Raises
    ------
    InputError
        If the distance is not above zero, or the frequency is outside the table.

    >>> exemption = exempt_erp_w(144e6, 1.0)
    >>> exemption.erp_w, exemption.applies, round(exemption.least_distance_m, 3)
    (3.83, True, 0.331)
    """
    if not 0 < distance_m < float("inf"):
        raise InputError("distance_m", f"must be above zero and finite; got {distance_m!r}")
    found = [r for r in rows("exposure_exemptions") if float(r["low_hz"]) <= frequency_hz <= float(r["high_hz"])]
    if not found:
        raise InputError("frequency_hz", f"must lie within 300 kHz and 100 GHz; got {frequency_hz!r}")
    per_m2, row = min(((_per_m2(row, frequency_hz), row) for row in found), key=lambda pair: pair[0])
    least = SPEED_OF_LIGHT_M_PER_S / frequency_hz / TWO_PI
    return Exemption(frequency_hz, distance_m, per_m2 * distance_m**2, least, distance_m >= least, _provenance(row))


def mode_factor(name: str) -> Factor:
    """Return the duty factor of a mode: average over peak envelope power while transmitting.

    >>> mode_factor("ssb").factor, mode_factor("FM").factor
    (0.2, 1.0)
    >>> mode_factor("FT8").on_s, mode_factor("FT8").off_s
    (12.64, 17.36)
    """
    return _factor("mode", name)


def ground_factor(name: str) -> Factor:
    """Return by what reflection from the ground may multiply the power density: "none", "EPA" or "full".

    >>> ground_factor("EPA").factor
    2.56
    """
    return _factor("ground", name)


def factors(kind: Literal["mode", "ground"]) -> tuple[Factor, ...]:
    """Return every factor of a kind."""
    return tuple(_named(row) for row in rows("exposure_factors") if row["kind"] == kind)


def _table(standard: str, who: str) -> tuple[LimitRow, ...]:
    names = dict.fromkeys(row.standard for row in exposure_limits())
    if key(standard) not in {key(n) for n in names}:
        raise UnknownNameError("standard", f"must be one of {', '.join(names)}; got {standard!r}")
    if who not in ("public", "occupational"):
        raise UnknownNameError("who", f"must be 'public' or 'occupational'; got {who!r}")
    return tuple(row for row in exposure_limits() if key(row.standard) == key(standard) and row.who == who)


def _least_sure(found: Sequence[LimitRow]) -> Provenance:
    """Return the provenance of the figure that is known least surely."""
    return max((row.provenance for row in found), key=lambda known: known.grade != "read")


def _per_m2(row: Row, frequency_hz: float) -> float:
    return float(float(row["coefficient_w_per_m2"]) * (frequency_hz / 1e6) ** float(row["exponent"]))


def _factor(kind: Literal["mode", "ground"], name: str) -> Factor:
    for row in rows("exposure_factors"):
        if row["kind"] == kind and key(str(name)) in {key(n) for n in (row["name"], *row["aliases"].split("|"))} - {""}:
            return _named(row)
    cure = f"Known: {', '.join(f.name for f in factors(kind))}."
    raise UnknownNameError(kind, f"must be one that is known; got {name!r}", cure=cure)


def _named(row: Row) -> Factor:
    on_s, off_s = (float(row[key]) if row[key] else None for key in ("on_s", "off_s"))
    return Factor(row["name"], float(row["factor"]), _provenance(row), on_s, off_s)


def _provenance(row: Row) -> Provenance:
    note = row.get("note") or row.get("printed", "")
    return Provenance(cast("Grade", row["grade"]), placed(row["source"], row["place"]), note)


def _row(row: Row) -> LimitRow:
    return LimitRow(
        row["standard"], cast("Who", row["who"]), float(row["low_hz"]), float(row["high_hz"]), row["open"],
        cast("Quantity", row["quantity"]), float(row["coefficient"]), float(row["exponent"]), float(row["unit_hz"]),
        float(row["averaging_s"]), row["printed"], _provenance(row),
    )  # fmt: skip
