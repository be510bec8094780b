"""What is seen at the radio, the line it is seen through, and what stands behind: the antenna."""

from __future__ import annotations

from dataclasses import asdict, field, fields, replace
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from linewright.core.arrays import Complexes, Floats
from linewright.core.frozen import dataclass
from linewright.core.nouns.belief import Belief
from linewright.core.nouns.bench_result import Working


@dataclass(frozen=True, slots=True, eq=False)
class Seen:
    """What was seen at the radio: one reading, or a curve.

    Attributes
    ----------
    name : str
        What it is, in words: "SWR 1.3", a file's name.
    reflection : ndarray of complex, shape (f,)
        Referred to ``reference_ohm``; a magnitude alone where ``has_phase`` is False.
    low, high : ndarray, shape (f,)
        The magnitudes a reading stands for: half a step to either side.
    frequency_hz : ndarray, shape (f,), or None
        Rising; None for a single reading at a frequency nobody stated.
    swr_step : float
        The step of an SWR scale; 0 where the scale is another.
    directivity_db : float
        How far below a total reflection the bridge's own leak lies, at least.
    """

    name: str
    reflection: Complexes
    low: Floats
    high: Floats
    frequency_hz: Floats | None = None
    has_phase: bool = False
    swr_step: float = 0.0
    directivity_db: float = 25.0
    reference_ohm: float = 50.0

    @property
    def magnitude(self) -> Floats:
        """The magnitude of the reflection, shape (f,)."""
        return np.abs(self.reflection)

    @property
    def is_curve(self) -> bool:
        """Whether it has enough points to have a shape."""
        return self.frequency_hz is not None and len(self.frequency_hz) >= 3

    def taken(self, rows: NDArray[np.int_]) -> Seen:
        """Return some of its points."""
        f = None if self.frequency_hz is None else self.frequency_hz[rows]
        return replace(self, reflection=self.reflection[rows], low=self.low[rows], high=self.high[rows], frequency_hz=f)


@dataclass(frozen=True, slots=True, eq=False)
class LineBehind:
    """The line between radio and antenna: a belief about a piece, or draws of a loss somebody stated.

    A stated loss grows with √f around ``at_hz``; where no frequency is known it is alike everywhere.

    Attributes
    ----------
    name : str
        What it is, in words.
    belief : Belief or None
        Draws of a piece's law.
    stated_db : ndarray, shape (draws,), or None
        Draws of the stated loss.
    impedance_ohm, velocity_factor, length_m : float or None
        What taking out phase needs; None where only a loss is known.
    """

    name: str
    belief: Belief | None = None
    stated_db: Floats | None = None
    at_hz: float | None = None
    impedance_ohm: float | None = None
    velocity_factor: float | None = None
    length_m: float | None = None

    @property
    def has_phase(self) -> bool:
        """Whether its phase is known, so that an impedance can be carried through it."""
        return None not in (self.belief, self.impedance_ohm, self.velocity_factor, self.length_m)

    def loss_db(self, frequency_hz: ArrayLike) -> Floats:
        """Return draws of its matched loss, dB, shaped (*frequency, draws)."""
        if self.belief is not None:
            return self.belief.loss_db(frequency_hz)
        stated = np.zeros(1) if self.stated_db is None else self.stated_db
        f = np.asarray(frequency_hz, dtype=np.float64)
        growth = np.ones(f.shape) if self.at_hz is None else np.sqrt(f / self.at_hz)
        return np.asarray(growth[..., None] * stated)


@dataclass(frozen=True, slots=True)
class Estimate:
    """A value with its 95 % interval; None where it cannot be told, infinite where it has no bound."""

    value: float | None = None
    low: float | None = None
    high: float | None = None


@dataclass(frozen=True, slots=True)
class CurvePoint:
    """One point of a curve: what the radio shows, and the antenna behind it. Impedances need a complex curve."""

    frequency_hz: float
    radio_swr: float
    antenna_swr: Estimate
    antenna_return_loss_db: Estimate
    highest_swr_at_radio: float
    plain_swr: float | None
    antenna_resistance_ohm: Estimate = Estimate()
    antenna_reactance_ohm: Estimate = Estimate()


@dataclass(frozen=True, slots=True)
class FlatWarning:
    """Whether a curve is too flat to be true; None for "cannot tell".

    ``probability`` is how often a plausible resonant antenna behind the believed line shows so little movement.
    ``smallest_loss_db`` is the least loss, at the middle of the curve, that would make such a curve common.
    ``useful_from_hz`` and ``useful_to_hz`` bound the narrowest sweep on which the question can be answered.
    """

    is_flat: bool | None
    smallest_loss_db: float | None
    probability: float | None
    why: str
    alternatives: tuple[str, ...] = ()
    useful_from_hz: float | None = None
    useful_to_hz: float | None = None


@dataclass(frozen=True, slots=True)
class ThroughResult:
    """What stands behind a line, as far as a reading at the radio can say. Intervals are 95 %.

    ``plain_*`` is the formula without doubt, ``|Γ| 10^(loss/10)``; ``plain_swr`` is None where it is impossible.
    ``loss_db`` is what was believed of the line, ``updated_loss_db`` what is left of it when every loss is struck out
    that would need an antenna reflecting more than everything. ``contradiction`` says that next to nothing is left.
    """

    verdict: str
    line: str
    seen: str
    frequency_hz: float | None
    radio_swr: float
    antenna_swr: Estimate
    antenna_return_loss_db: Estimate
    antenna_reflection: Estimate
    antenna_resistance_ohm: Estimate
    antenna_reactance_ohm: Estimate
    plain_reflection: float
    plain_swr: float | None
    loss_db: Estimate
    updated_loss_db: Estimate
    largest_loss_db: float | None
    loss_tightened: bool
    contradiction: bool
    highest_swr_at_radio: Estimate
    curve: tuple[CurvePoint, ...] = ()
    best_swr: Estimate = Estimate()
    resonance_hz: Estimate = Estimate()
    zero_reactance_hz: Estimate = Estimate()
    bandwidth_hz: Estimate = Estimate()
    flat_warning: FlatWarning | None = None
    cautions: tuple[str, ...] = ()
    remarks: tuple[str, ...] = ()
    workings: tuple[Working, ...] = field(default=(), compare=False)

    def to_dict(self) -> dict[str, Any]:
        """Return the document of schema ``linewright/through/1``."""
        return {"schema": "linewright/through/1", **_plain(self)}


def _plain(noun: Any) -> dict[str, Any]:
    """Return a noun as plain data; an estimate becomes three keys."""
    out: dict[str, Any] = {}
    for item in fields(noun):
        value = getattr(noun, item.name)
        if isinstance(value, Estimate):
            out |= {item.name: value.value, f"{item.name}_low": value.low, f"{item.name}_high": value.high}
        elif isinstance(value, tuple):
            out[item.name] = [_entry(entry) for entry in value]
        else:
            out[item.name] = asdict(value) if isinstance(value, FlatWarning) else value
    return out


def _entry(value: Any) -> Any:
    if isinstance(value, CurvePoint):
        return _plain(value)
    return asdict(value) if isinstance(value, Working) else value
