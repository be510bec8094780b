"""From a line's trace to a finding: what two-ports and one-ports have in common."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from linewright.errors import InputError
from linewright.evidence.sweeps import said
from linewright.evidence.sweeps.delays import Delays, Known, delays, extent
from linewright.evidence.sweeps.frequencies import asked, outside
from linewright.evidence.sweeps.impedance import DIRECTIVITY_OHM, ImpedanceFit, Points, Skin, fit_impedance
from linewright.evidence.sweeps.law import TRACKING_DB, LawFit, Means, fit_law
from linewright.evidence.sweeps.traces import Bins, Trace, bins, in_db, pilot
from linewright.model.line import LineType
from linewright.model.sweep import Sweep
from linewright.model.sweep_result import BandLoss, FarEnd, Floats, Health, Interval, SweepFinding
from linewright.units.constants import DB_PER_NEPER

LEAST_POINTS = 16
MOST = 1000.0
"""No cable, and hardly an amplifier, has a scattering parameter so large."""
LEAST_BINS, LEAST_IMPEDANCES = 8, 2
MENDED_SHARE = 0.3
"""How far the loss by reflection that was taken out may be off, as a share of it."""
MATCH = 0.015
"""What a calibration leaves of the ports' own reflection (36 dB): common practice, no source."""
NOTHING_DB = 0.005
"""No calibration lets one say that a line loses less than this: where it came out so, there was a gain."""
MENDED_SEED = 20_240_224


@dataclass(frozen=True, slots=True)
class Question:
    """What is known of a cable beside its sweep, and at which frequencies, named by band, its loss is wanted."""

    known: Known
    line: LineType | None
    wanted: tuple[tuple[str, float], ...]
    beyond_hz: tuple[float, ...]

    @property
    def at_hz(self) -> Floats:
        """The frequencies wanted, shape (f,)."""
        return np.array([f for _, f in self.wanted])


@dataclass(frozen=True, slots=True)
class Heard:
    """What was made of a sweep's columns: the line's trace, bins of its impedance (or that itself), insertion loss."""

    name: str
    far_end: tuple[FarEnd, ...]
    health: tuple[Health, ...]
    trace: Trace | None = None
    points: Points | None = None
    impedance: ImpedanceFit | None = None
    insertion: Sequence[Interval | None] | None = None
    remarks: tuple[str, ...] = ()


def question(
    sweep: Sweep, length_m: float | None, velocity_factor: float | None, line: LineType | None, at_hz: Sequence[float]
) -> Question:
    """Return the question, its numbers checked; a type lends its velocity factor and its loss."""
    if length_m is not None and not (np.isfinite(length_m) and length_m > 0):
        raise InputError("length_m", f"must be above zero and finite; got {length_m:g}")
    if velocity_factor is not None and not 0.2 <= velocity_factor <= 1.0:
        cure = "Write 66 % as 0.66."
        raise InputError("velocity_factor", f"must lie between 0.2 and 1; got {velocity_factor:g}", cure=cure)
    factor = velocity_factor if velocity_factor is not None or line is None else line.velocity_factor
    known = Known(length_m, factor, None if line is None else line.law)
    return Question(known, line, tuple(asked(sweep, at_hz)), tuple(outside(sweep, at_hz)))


def checked(sweep: Sweep, ports: int) -> None:
    """Refuse a sweep of another number of ports, of too few points, or with values that are not numbers."""
    if sweep.ports != ports:
        cure = "A one-port is read with its far end named." if ports == 2 else "Take its first port alone."
        raise InputError("sweep", f"must have {ports} ports; {sweep.name} has {sweep.ports}", cure=cure)
    if len(sweep.frequency_hz) < LEAST_POINTS:
        rule = f"needs {LEAST_POINTS} points or more; {sweep.name} has {len(sweep.frequency_hz)}"
        raise InputError("sweep", rule, cure="Sweep again with more points.")
    most = float(np.abs(sweep.s).max())
    if most > MOST:
        rule = f"must hold scattering parameters; {sweep.name} has values up to {most:.3g}"
        raise InputError("sweep", rule, cure="Are they decibels, or impedances, under the name of S?")
    rising = np.all(np.diff(sweep.frequency_hz) > 0) and sweep.frequency_hz[0] >= 0
    if not (rising and np.all(np.isfinite(sweep.s))):
        raise InputError("sweep", f"must rise in frequency and hold numbers only; {sweep.name} does not")


def alike(sweeps: Sequence[Sweep]) -> Floats:
    """Return the frequencies all sweeps share, or refuse."""
    first, *rest = sweeps
    for other in rest:
        same = len(other.frequency_hz) == len(first.frequency_hz)
        if not (same and np.allclose(other.frequency_hz, first.frequency_hz, rtol=1e-6)):
            rule = f"must be swept over the same frequencies; {other.name} and {first.name} are not"
            raise InputError("sweeps", rule, cure="Sweep them again with the same start, stop and number of points.")
    return first.frequency_hz


def read(heard: Heard, ask: Question) -> SweepFinding:
    """Return all that the trace, the impedance and what is known say together."""
    if heard.trace is not None:
        trace = heard.trace.sound()
        heard = replace(heard, trace=trace if len(trace.wave) >= LEAST_POINTS else None)
    fitted, found = _law(heard.trace, ask)
    delay, skin = Delays(None, None, ()), Skin(0.0, 0.0)
    if heard.trace is not None and fitted is not None and found is not None:
        delay = delays(heard.trace, pilot(heard.trace), found, fitted.law, ask.known)
        skin = Skin(max(fitted.law.k1_db.value, 0.0), _median(delay.bare_s))
    impedance = heard.impedance
    if heard.points is not None and len(heard.points.frequency_hz) >= LEAST_IMPEDANCES:
        # From one end the analyser's directivity weighs as much as that of both its ports together.
        off = DIRECTIVITY_OHM * (np.sqrt(2.0) if "through" not in heard.far_end else 1.0)
        impedance = fit_impedance(heard.points, skin, ask.at_hz, off)
    length, factor = extent(delay, ask.known)
    finding = SweepFinding(
        name=heard.name,
        far_end=heard.far_end,
        law=fitted.law if fitted else None,
        losses=_losses(fitted, heard, ask),
        impedance_ohm=impedance.ohm if impedance else None,
        impedances=impedance.rows if impedance else (),
        delay_s=Interval.of(delay.group_s) if delay.group_s is not None else None,
        candidates=delay.candidates,
        length_m=length,
        velocity_factor=factor,
        health=(*heard.health, *said.noise_floor(found), *said.spikes(found), *said.step(fitted), *said.gain(fitted)),
        line=ask.line,
    )
    return replace(
        finding,
        remarks=(*heard.remarks, *said.remarks(finding, ask.known, ask.beyond_hz)),
        workings=said.workings(finding, heard.trace, found, skin),
    )


def _law(trace: Trace | None, ask: Question) -> tuple[LawFit | None, Bins | None]:
    """Return the law and the bins it rests on; no law where nearly all of the sweep lies in its noise."""
    if trace is None:
        return None, None
    course = pilot(trace)
    found = bins(trace, course)
    if len(found.frequency_hz) < LEAST_BINS:
        return None, found
    loss, noise = in_db(found, course, trace.passes)
    noise = np.hypot(noise, MENDED_SHARE * trace.mended_at(found.frequency_hz))
    off = float(np.hypot(TRACKING_DB, DB_PER_NEPER * trace.off / trace.passes))
    fitted = fit_law(Means(found.frequency_hz, loss, noise, off, trace.rippled), ask.at_hz)
    return _unsure(fitted, trace.mended_at(ask.at_hz)), found


def _unsure(fitted: LawFit, mended_db: Floats) -> LawFit:
    """Return the law with what was given back for reflections believed only to a share."""
    away = np.random.default_rng(MENDED_SEED).standard_normal((len(fitted.loss_db), 1))
    return replace(fitted, loss_db=np.maximum(fitted.loss_db + away * MENDED_SHARE * mended_db, 0.0))


def _median(draws: Floats | None) -> float:
    return 0.0 if draws is None else float(np.median(draws))


def _losses(fitted: LawFit | None, heard: Heard, ask: Question) -> tuple[BandLoss, ...]:
    """Return the losses wanted, as far as the trace stands above its noise and does not gain."""
    if fitted is None:
        return ()
    insertion = heard.insertion or [None] * len(ask.wanted)
    low, high = fitted.law.valid_hz
    return tuple(
        BandLoss(name, f, Interval.of(draws), seen)
        for (name, f), draws, seen in zip(ask.wanted, fitted.loss_db.T, insertion, strict=True)
        if 0.9 * low <= f <= 1.1 * high and np.quantile(draws, 0.975) > NOTHING_DB
    )
