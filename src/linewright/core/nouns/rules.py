"""Rules of one's own country and licence: limits of exposure, and how much power a band allows."""

from __future__ import annotations

from typing import Literal

from linewright.core.frozen import dataclass

Who = Literal["public", "occupational"]
FieldQuantity = Literal["e_v_per_m", "h_a_per_m", "s_w_per_m2"]
PowerQuantity = Literal["eirp", "erp", "power"]


@dataclass(frozen=True, slots=True)
class ExposureRule:
    """One figure of a set of limits, ``coefficient f^exponent`` with f in MHz, from ``low_hz`` to ``high_hz``.

    ``averaging_s`` is 0 where every moment counts. ``printed`` is the figure as it was written.
    """

    name: str
    who: Who
    low_hz: float
    high_hz: float
    quantity: FieldQuantity
    coefficient: float
    exponent: float
    averaging_s: float
    printed: str
    source: str


@dataclass(frozen=True, slots=True)
class LicenceRule:
    """The most a band allows: EIRP, ERP (over a half-wave dipole), or power at the transmitter; peak envelope power."""

    low_hz: float
    high_hz: float
    quantity: PowerQuantity
    limit_w: float
    source: str

    def holds(self, frequency_hz: float) -> bool:
        """Return whether a frequency lies in the band."""
        return self.low_hz <= frequency_hz <= self.high_hz


@dataclass(frozen=True, slots=True)
class Rules:
    """A person's own rules, as their file has them."""

    exposure: tuple[ExposureRule, ...] = ()
    licence: tuple[LicenceRule, ...] = ()

    @property
    def names(self) -> tuple[str, ...]:
        """The names of the sets of exposure limits, in their order."""
        return tuple(dict.fromkeys(rule.name for rule in self.exposure))
