"""What a sweep of a cable says. A result is a value; showing it is someone else's work."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from linewright.model.line import LineType
from linewright.model.result import Working
from linewright.units.said import mark

Floats = NDArray[np.float64]
FarEnd = Literal["through", "open", "short", "load"]
Severity = Literal["note", "doubt", "refuse"]
HealthCheck = Literal["passivity", "reciprocity", "filler", "noise floor", "calibration", "step", "spikes"]
FAR_END_WORDS = (mark("through"), mark("open"), mark("short"), mark("load"))
SEVERITIES = (mark("note"), mark("doubt"), mark("refuse"))
HEALTH_CHECKS = (
    mark("passivity"), mark("reciprocity"), mark("filler"), mark("noise floor"), mark("calibration"), mark("step"),
    mark("spikes"),
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Interval:
    """A value with its 95 % interval, in the unit its holder names."""

    value: float
    low: float
    high: float

    @classmethod
    def of(cls, draws: Floats) -> Interval:
        """Return the median of draws and the interval that holds 95 % of them.

        >>> Interval.of(np.linspace(0.0, 1.0, 1001))
        Interval(value=0.5, low=0.025, high=0.975)
        """
        low, value, high = (float(q) for q in np.quantile(draws, [0.025, 0.5, 0.975]))
        return cls(value, low, high)

    def times(self, factor: float) -> Interval:
        """Return the interval of a multiple; the factor is positive."""
        return Interval(self.value * factor, self.low * factor, self.high * factor)

    def holds(self, value: float) -> bool:
        """Return whether a value lies inside."""
        return self.low <= value <= self.high

    def under(self, name: str) -> dict[str, float]:
        """Return ``name``, ``name_low`` and ``name_high``."""
        return {name: self.value, f"{name}_low": self.low, f"{name}_high": self.high}


@dataclass(frozen=True, slots=True)
class BandLoss:
    """Loss of the whole piece at one frequency, dB. ``band`` is empty for a frequency that was asked for.

    Matched loss is heat alone. Insertion loss is what the analyser shows between its two ports, None for a one-port.
    """

    band: str
    frequency_hz: float
    matched_loss_db: Interval
    insertion_loss_db: Interval | None = None

    def to_dict(self) -> dict[str, Any]:
        """Return the row as plain data."""
        out: dict[str, Any] = {"band": self.band, "frequency_hz": self.frequency_hz}
        out |= self.matched_loss_db.under("matched_loss_db")
        if self.insertion_loss_db is not None:
            out |= self.insertion_loss_db.under("insertion_loss_db")
        return out


@dataclass(frozen=True, slots=True)
class BandImpedance:
    """Characteristic impedance near one frequency, ohms; its reactance is that of the conductors' skin."""

    frequency_hz: float
    resistance_ohm: Interval
    reactance_ohm: Interval

    def to_dict(self) -> dict[str, Any]:
        """Return the row as plain data."""
        return {
            "frequency_hz": self.frequency_hz,
            **self.resistance_ohm.under("resistance_ohm"),
            **self.reactance_ohm.under("reactance_ohm"),
        }


@dataclass(frozen=True, slots=True)
class DelayCandidate:
    """A one-way delay that would give the same phases, how likely it is, and what it would mean.

    ``length_m`` stands where a velocity factor is known, ``velocity_factor`` where a length is.
    """

    delay_s: float
    probability: float
    length_m: float | None = None
    velocity_factor: float | None = None

    def to_dict(self) -> dict[str, Any]:
        """Return the candidate as plain data."""
        return {
            "delay_s": self.delay_s,
            "probability": self.probability,
            "length_m": self.length_m,
            "velocity_factor": self.velocity_factor,
        }


@dataclass(frozen=True, slots=True)
class Health:
    """One thing that is wrong, or odd, with the sweep itself."""

    check: HealthCheck
    severity: Severity
    size: float
    why: str

    def to_dict(self) -> dict[str, Any]:
        """Return the finding as plain data."""
        return {"check": self.check, "severity": self.severity, "size": self.size, "why": self.why}


@dataclass(frozen=True, slots=True)
class SweepLaw:
    """The loss of the whole piece, ``k0 + k1 √(f / 1 MHz) + k2 (f / 1 MHz)`` dB, connectors included.

    ``draws`` is (draws, 3), columns k0, k1, k2, dB: what the intervals are read from. ``constant`` says whether the
    data demand k0; where they do not it stays within what a calibration may be off. ``departure_db`` is the standard
    deviation by which the loss wanders about the law.
    """

    k0_db: Interval
    k1_db: Interval
    k2_db: Interval
    constant: bool
    departure_db: float
    valid_hz: tuple[float, float]
    draws: Floats = field(compare=False, repr=False)


@dataclass(frozen=True, slots=True)
class SweepFinding:
    """All that a sweep of a cable says of it. Intervals are 95 %; what cannot be told is None, and ``remarks`` say why.

    ``delay_s`` is one way, the group delay over the sweep. ``candidates`` lists the delays that fit where the sweep is
    too coarse to tell. ``impedance_ohm`` is the real part where the skin effect no longer matters.
    """

    name: str
    far_end: tuple[FarEnd, ...]
    law: SweepLaw | None
    losses: tuple[BandLoss, ...]
    impedance_ohm: Interval | None
    impedances: tuple[BandImpedance, ...]
    delay_s: Interval | None
    candidates: tuple[DelayCandidate, ...]
    length_m: Interval | None
    velocity_factor: Interval | None
    health: tuple[Health, ...]
    line: LineType | None = None
    remarks: tuple[str, ...] = ()
    workings: tuple[Working, ...] = field(default=(), compare=False)

    def to_dict(self) -> dict[str, Any]:
        """Return the document of schema ``linewright/sweep-result/1``."""
        return {
            "schema": "linewright/sweep-result/1",
            "name": self.name,
            "far_end": list(self.far_end),
            "line": None if self.line is None else self.line.designator,
            **self._law(),
            "matched_loss_db": [row.to_dict() for row in self.losses],
            **_under("impedance_ohm", self.impedance_ohm),
            "impedances": [row.to_dict() for row in self.impedances],
            **_under("delay_s", self.delay_s),
            "delay_candidates": [c.to_dict() for c in self.candidates],
            **_under("length_m", self.length_m),
            **_under("velocity_factor", self.velocity_factor),
            "health": [h.to_dict() for h in self.health],
            "remarks": list(self.remarks),
            "workings": [_working(w) for w in self.workings],
        }

    def _law(self) -> dict[str, Any]:
        law, length = self.law, self.length_m
        out = _under("k0_db", law.k0_db if law is not None and law.constant else None)
        for name in ("k1_db", "k2_db"):
            whole: Interval | None = None if law is None else getattr(law, name)
            out |= _under(name, whole)
            out |= _under(f"{name}_per_m", whole.times(1.0 / length.value) if whole and length else None)
        return out


def _under(name: str, interval: Interval | None) -> dict[str, float | None]:
    """Return an interval under its name; nulls where it cannot be told."""
    if interval is None:
        return {name: None, f"{name}_low": None, f"{name}_high": None}
    return dict(interval.under(name))


def _working(w: Working) -> dict[str, Any]:
    return {"figure": w.figure, "formula": w.formula, "inputs": [list(i) for i in w.inputs], "source": w.source}
