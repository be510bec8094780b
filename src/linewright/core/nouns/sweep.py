"""A sweep: scattering parameters against frequency, as an analyser wrote them down."""

from __future__ import annotations

from dataclasses import asdict, field
from typing import Any, Literal

import numpy as np

from linewright.core.arrays import Complexes, Floats
from linewright.core.frozen import dataclass
from linewright.core.messages import mark
from linewright.core.nouns.belief import Belief
from linewright.core.nouns.bench_result import Working
from linewright.core.nouns.line import LineType

# A sweep: scattering parameters against frequency, as an analyser wrote them down


@dataclass(frozen=True, slots=True, eq=False)
class Sweep:
    """Scattering parameters of a one-port or an n-port.

    Attributes
    ----------
    name : str
        Where it came from: a file's name, or words.
    frequency_hz : ndarray, shape (f,)
        Rising.
    s : ndarray, shape (f, ports, ports)
        ``s[:, i, j]`` goes out of port ``i+1`` for a unit wave into port ``j+1``; port 1 is the near end.
    reference_ohm : ndarray of complex, shape (ports,)
        What each port was referred to.
    remarks : tuple of str
        What a reader should know of the file: a mended flaw, noise data left aside.
    """

    name: str
    frequency_hz: Floats
    s: Complexes
    reference_ohm: Complexes
    remarks: tuple[str, ...] = field(default=(), compare=False)

    @property
    def ports(self) -> int:
        """Number of ports."""
        return int(self.s.shape[1])

    @property
    def reflection(self) -> Complexes:
        """The reflection at port 1, shape (f,)."""
        return self.s[:, 0, 0]

    @property
    def transmission(self) -> Complexes:
        """What comes out of port 2 for a unit wave into port 1, shape (f,)."""
        return self.s[:, 1, 0]

    def covers(self, frequency_hz: float) -> bool:
        """Return whether the sweep reaches over this frequency, to a part in a million."""
        return bool(self.frequency_hz[0] * (1 - 1e-6) <= frequency_hz <= self.frequency_hz[-1] * (1 + 1e-6))


# What a sweep of a cable says. A result is a value; showing it is someone else's work

FarEnd = Literal["through", "open", "short", "load"]
Severity = Literal["note", "doubt", "refuse"]
HealthCheck = Literal[
    "passivity", "reciprocity", "filler", "noise floor", "calibration", "step", "spikes", "far end", "length"
]
FAR_END_WORDS = (mark("through"), mark("open"), mark("short"), mark("load"))
SEVERITIES = (mark("note"), mark("doubt"), mark("refuse"))
HEALTH_CHECKS = (
    mark("passivity"), mark("reciprocity"), mark("filler"), mark("noise floor"), mark("calibration"), mark("step"),
    mark("spikes"), mark("far end"), mark("length"),
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


# What a sweep shows along a line: faults, landmarks, the impedance profile, and which type the line resembles

FaultKind = Literal["pinch", "gap", "water", "insert", "section", "step", "bad joint", "open", "short", "unclear"]
MarkKind = Literal["connector", "far end", "ghost", "unevenness"]
Likeness = Literal["as published", "worn", "none of these"]
FAULT_KINDS = (
    mark("pinch"), mark("gap"), mark("water"), mark("insert"), mark("section"), mark("step"), mark("bad joint"),
    mark("open"), mark("short"), mark("unclear"),
)  # fmt: skip
MARK_KINDS = (mark("connector"), mark("far end"), mark("ghost"), mark("unevenness"))
LIKENESSES = (mark("as published"), mark("worn"), mark("none of these"))


@dataclass(frozen=True, slots=True)
class Fault:
    """One discontinuity that a sound line would not have.

    Attributes
    ----------
    distance_m, low_m, high_m : float
        From the plane the analyser was calibrated at, with a 95 % interval; of a water section, its near edge.
    kind : str
        "pinch" (short and of lower impedance), "gap" (short and of higher), "water" (lower over a length, and it loses
        more or is no usual line's impedance), "insert" (other line over a length), "section" (lower over a length:
        water or other line, which cannot be told), "step" (the impedance changes and stays), "bad joint" (resistance in
        series, or a connector that reflects more than those in order), "open", "short", "unclear".
    size : float
        Largest reflection it makes within the sweep, magnitude, with the loss of the line before it taken back.
    confidence : float
        How sure it is that something is there at all, 0 to 1.
    why : str
        What was seen, in words.
    length_m, impedance_ohm, series_ohm : float or None
        How long it is; what impedance follows or fills it; what resistance stands in series.
    """

    distance_m: float
    low_m: float
    high_m: float
    kind: FaultKind
    size: float
    confidence: float
    why: str
    length_m: float | None = None
    impedance_ohm: float | None = None
    series_ohm: float | None = None

    def to_dict(self) -> dict[str, Any]:
        """Return the fault as plain data."""
        said = asdict(self)
        return {"distance_m": said.pop("distance_m"), "distance_m_low": said.pop("low_m"),
                "distance_m_high": said.pop("high_m"), **said}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Landmark:
    """Something on the line that is no fault: a connector, the far end, a re-reflection, a slight unevenness."""

    distance_m: float
    kind: MarkKind
    size: float
    why: str


@dataclass(frozen=True, slots=True)
class Profile:
    """Impedance along a line, or only where reflections stand if the sweep does not reach down near zero.

    Attributes
    ----------
    distance_m, reflection : ndarray, shape (points,)
        Size of the echo at each distance, the line's loss before it taken back.
    impedance_ohm : ndarray, shape (points,), or None
        By peeling the step response, layer by layer; None where the sweep starts too high to tell.
    window, why : str
        The window and the reason for it.
    cell_m, range_m : float
        Two things nearer than a cell are not told apart; beyond the range distances fold back.
    """

    distance_m: Floats
    reflection: Floats
    impedance_ohm: Floats | None
    window: str
    why: str
    cell_m: float
    range_m: float


@dataclass(frozen=True, slots=True)
class FaultFinding:
    """All that the reflections of a sweep say along the line.

    ``end_m`` is where the line ends, None if that is not seen. ``velocity_factor`` with its standard uncertainty turned
    delays into distances; ``assumed`` says that nothing told it. ``blind_m`` is how near to either end a fault hides
    behind the connectors, ``least_joints`` the least resistance in series that would be told at some distances, as
    (m, ohm).
    """

    faults: tuple[Fault, ...]
    landmarks: tuple[Landmark, ...]
    profile: Profile
    end_m: float | None
    end_delay_s: float | None
    velocity_factor: float
    velocity_factor_u: float
    cell_m: float
    blind_m: float
    least_size: float
    remarks: tuple[str, ...] = ()
    assumed: bool = False
    workings: tuple[Working, ...] = ()
    least_joints: tuple[tuple[float, float], ...] = ()


@dataclass(frozen=True, slots=True)
class Resemblance:
    """How well one type, or none, answers to what was measured; ``probability`` sums to 1 over all.

    ``kind`` says whether it is the type as published, the type worn (same shape, more loss by ``worn_ratio``), or none
    of the catalogue.
    """

    line: str
    kind: Likeness
    probability: float
    worn_ratio: float | None
    why: str

    def to_dict(self) -> dict[str, Any]:
        """Return it as plain data."""
        return asdict(self)


# All that a sweep says, in one value: law and extent, what lies along the line, and which type it is


@dataclass(frozen=True, slots=True)
class SweepQuestion:
    """What is known beside the files, and what is asked.

    Attributes
    ----------
    length_m, velocity_factor : float or None
    line : str or LineType or None
        The type the line is said to be.
    own : tuple of LineType
        The person's own types.
    option_line : str or None
        Stands in for the option line of files that lack theirs.
    at_hz : tuple of float
        Frequencies wanted beside the amateur bands.
    """

    length_m: float | None = None
    velocity_factor: float | None = None
    line: str | LineType | None = None
    own: tuple[LineType, ...] = ()
    option_line: str | None = None
    at_hz: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True)
class SweepReport:
    """What one or several sweeps of a line say.

    ``along`` is None where faults cannot be told; ``along_why`` then says why, and what would tell. ``jacket`` speaks
    of the type that was claimed, and is empty without one.
    """

    finding: SweepFinding
    along: FaultFinding | None
    along_why: str
    resembles: tuple[Resemblance, ...]
    jacket: str
    verdict: str
    cautions: tuple[str, ...] = ()
    remarks: tuple[str, ...] = ()
    workings: tuple[Working, ...] = field(default=(), compare=False)

    def to_dict(self) -> dict[str, Any]:
        """Return the document of schema ``linewright/sweep-result/1``: the finding's, with what lies along the line."""
        return {
            **self.finding.to_dict(),
            "verdict": self.verdict,
            **_along(self.along),
            "faults_why": self.along_why,
            "resembles": [r.to_dict() for r in self.resembles],
            "jacket": self.jacket,
            "cautions": list(self.cautions),
            "remarks": list(self.remarks),
            "workings": [
                {"figure": w.figure, "formula": w.formula, "inputs": [list(i) for i in w.inputs], "source": w.source}
                for w in self.workings
            ],
        }


def _along(found: FaultFinding | None) -> dict[str, Any]:
    """Return what lies along the line; ``faults`` is null where it cannot be told."""
    if found is None:
        return {"faults": None, "landmarks": None, "cell_m": None, "blind_m": None, "window": None}
    return {
        "faults": [fault.to_dict() for fault in found.faults],
        "landmarks": [
            {"distance_m": m.distance_m, "kind": m.kind, "size": m.size, "why": m.why} for m in found.landmarks
        ],
        "cell_m": found.cell_m,
        "blind_m": found.blind_m,
        "window": {"name": found.profile.window, "why": found.profile.why},
    }


@dataclass(frozen=True, slots=True)
class Agreement:
    """Two beliefs of one piece, from the bench and from a sweep, held against each other.

    Attributes
    ----------
    combined : Belief
        What both together say; where they contradict each other, widened until it covers both.
    contradicts : bool
    p_value : float
        Chance of two beliefs so far apart if both are right.
    cause, why : str
        The likeliest cause of a contradiction, short and in a sentence; empty without one.
    difference_db : tuple of (float, float)
        Frequency in hertz, and bench less sweep in dB.
    """

    combined: Belief
    contradicts: bool
    p_value: float
    cause: str
    why: str
    difference_db: tuple[tuple[float, float], ...]
