"""From a line's trace to a finding: what two-ports and one-ports have in common."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from linewright.core.arrays import Floats
from linewright.core.errors import InputError
from linewright.core.formatting import (
    digits,
    frequency,
    interval,
    metres,
    near_frequency,
    percent,
    plain,
    quantity,
    signed,
)
from linewright.core.frozen import dataclass
from linewright.core.messages import mark, say, together
from linewright.core.nouns.bench_result import Working
from linewright.core.nouns.line import LineType
from linewright.core.nouns.sweep import (
    BandLoss,
    DelayCandidate,
    FarEnd,
    Health,
    Interval,
    Sweep,
    SweepFinding,
    SweepLaw,
)
from linewright.core.quantities import DB_PER_NEPER, SPEED_OF_LIGHT_M_PER_S
from linewright.inference.sweep.delays import Delays, LinePrior, delays, extent
from linewright.inference.sweep.impedance import DIRECTIVITY_OHM, ImpedanceFit, ImpedancePoints, Skin, fit_impedance
from linewright.inference.sweep.law import TRACKING_DB, LawFit, Means, asked, fit_law, outside, slowed_db
from linewright.inference.sweep.traces import Bins, Trace, bins, in_db, pilot

# What a person is told beside the figures of a sweep, and how each figure was worked out

THROUGH = say("2 √det/(A + B/Z0 + C Z0 + D) of the chain matrix, what connectors reflect given back")
BACK = say("the wave there and back, (Γ - r)/(1 - r Γ) with r the reflection of Z0")
NO_GAIN = say("No line has one: the calibration is bad, an amplifier is in the path, or files were swapped.")
GAIN_DB = 0.05
"""A law that falls this far below nothing does so by more than what a good calibration leaves."""
FEW, FEWEST = 0.01, 3
NEAR = 0.025
"""An insertion loss is the median over this share of its frequency either way."""


def noise_floor(found: Bins | None) -> tuple[Health, ...]:
    """Return where the wave is lost in noise."""
    if found is None or len(found.dropped_hz) < FEWEST:
        return ()
    low, high = near_frequency(float(found.dropped_hz.min())), near_frequency(float(found.dropped_hz.max()))
    why = say(
        "The wave is lost in noise, or in nearer reflections, between {low} and {high}: those points are left out.",
        low=low, high=high,
    )  # fmt: skip
    if low == high:
        why = say("The wave is lost in noise, or in nearer reflections, at {f}: those points are left out.", f=low)
    return (Health("noise floor", "doubt", float(len(found.dropped_hz)), why),)


def spikes(found: Bins | None) -> tuple[Health, ...]:
    """Return how many points stand far from their neighbours."""
    if found is None or found.spikes <= max(3.0, FEW * float(found.count.sum())):
        return ()
    why = say(
        "{count} points are far from their neighbours (interference, a loose contact): they are left out.",
        count=int(found.spikes),
    )
    return (Health("spikes", "note", float(found.spikes), why),)


def step(fitted: LawFit | None) -> tuple[Health, ...]:
    """Return the jump that was taken out of the loss."""
    if fitted is None or fitted.step is None:
        return ()
    height, where = fitted.step.height_db, near_frequency(fitted.step.frequency_hz)
    why = say(
        "The loss jumps by {height} dB at {f}: a contact or a cable moved during the sweep, or the analyser changed "
        "range there. Sweep again.",
        height=signed(height, 2), f=where,
    )  # fmt: skip
    return (Health("step", "doubt", abs(height), why),)


def gain(fitted: LawFit | None) -> tuple[Health, ...]:
    """Return the gain that a sweep shows where a line can only lose: at all frequencies alike, or at one end."""
    if fitted is None:
        return ()
    law = fitted.law
    if law.constant and law.k0_db.value < 0:
        up = -law.k0_db.value
        why = say("There is a gain of {gain}, the same at all frequencies.", gain=quantity(plain(up, 2), "dB"))
        return (Health("calibration", "doubt", up, together([why, NO_GAIN])),)
    k0 = law.k0_db.value if law.constant else 0.0
    ends = [(k0 + law.k1_db.value * (f / 1e6) ** 0.5 + law.k2_db.value * f / 1e6, f) for f in law.valid_hz]
    lowest, at = min(ends)
    if lowest > -GAIN_DB:
        return ()
    near = near_frequency(float(at))
    why = say("There is a gain of {gain} near {f}.", gain=quantity(plain(-lowest, 2), "dB"), f=near)
    return (Health("calibration", "doubt", -lowest, together([why, NO_GAIN])),)


def remarks(finding: SweepFinding, known: LinePrior, beyond_hz: tuple[float, ...]) -> tuple[str, ...]:
    """Return the remarks on a finding, the gravest first."""
    out = [h.why for h in finding.health]
    if beyond_hz:
        out.append(say("Outside the sweep, so not answered: {frequencies}.",
                       frequencies=together((frequency(f) for f in beyond_hz), ", ")))  # fmt: skip
    if finding.law is None:
        out.append(say("This sweep gives no loss."))
        return tuple(out)
    out += _law_remarks(finding)
    out += _delay(finding, known)
    return tuple(dict.fromkeys(out))


def _law_remarks(finding: SweepFinding) -> list[str]:
    law = finding.law
    assert law is not None
    out = []
    if law.constant and law.k0_db.value > 0:
        out.append(say(
            "A loss of {loss} is the same at all frequencies: a poor joint, a pad, a calibration that is off, or "
            "conductors too thin or too mixed for the skin effect (film, copper over steel). Plain cable has none.",
            loss=quantity(plain(law.k0_db.value, 2), "dB"),
        ))  # fmt: skip
    if law.draws[:, 1:].mean(axis=0).max() < 0:
        out.append(say("The loss falls with frequency: this is not a cable, or the calibration is off."))
    if law.departure_db > 0.1:
        out.append(say(
            "The loss wanders by {wander} about the law k1 √f + k2 f. Trust the losses at the bands, not the law: a"
            " fault, a connector or the calibration bends it.",
            wander=quantity(plain(law.departure_db, 2), "dB"),
        ))  # fmt: skip
    return out


def _delay(finding: SweepFinding, known: LinePrior) -> list[str]:
    if finding.delay_s is None and not finding.candidates:
        return [say("No delay that fits the phase agrees with the length and velocity factor given: check them.")]
    if finding.candidates:
        ways = (_candidate(c.delay_s, c.length_m, c.velocity_factor) for c in finding.candidates[:4])
        delays = together(ways, say(" or "))
        return [say(
            "The points are too far apart to give the delay: {delays}. Give the length or the type of the cable, or "
            "sweep again with more points.",
            delays=delays,
        )]  # fmt: skip
    factor = finding.velocity_factor
    if known.length_m is not None and factor is not None and not 0.5 <= factor.value <= 1.0:
        return [say("No cable has a velocity factor of {factor}: is the length right?", factor=plain(factor.value, 2))]
    return []


def _candidate(delay_s: float, length_m: float | None, factor: float | None) -> str:
    what = quantity(digits(delay_s * 1e9, 4), "ns")
    if length_m is not None:
        return say("{delay} ({length})", delay=what, length=metres(length_m))
    return what if factor is None else say("{delay} (velocity factor {factor})", delay=what, factor=plain(factor, 2))


def workings(finding: SweepFinding, trace: Trace | None, found: Bins | None, skin: Skin) -> tuple[Working, ...]:
    """Return how law, losses, impedance, delay, length and velocity factor were worked out."""
    law = finding.law
    out = []
    if trace is not None and found is not None and law is not None:
        out = [_law_worked(finding.name, law, trace, found), *(_loss(row, law) for row in finding.losses)]
    between = [_between(row.frequency_hz, row.insertion_loss_db) for row in finding.losses if row.insertion_loss_db]
    return (*out, *between, *_impedance(finding, skin), *_extent(finding, skin), *_delays(finding))


def _law_worked(name: str, law: SweepLaw, trace: Trace, found: Bins) -> Working:
    low, high = (frequency(f) for f in law.valid_hz)
    k0 = _number(law.k0_db, 4)
    return Working(
        say("law of {sweep}: {k1} √f + {k2} f dB, f in MHz",
            sweep=name, k1=_number(law.k1_db, 5), k2=_number(law.k2_db, 6)),
        say("k0 + k1 √f + k2 f, fitted to means over equal steps of √f whose errors may hang together"),
        (
            (say("wave"), THROUGH if trace.passes == 1 else BACK),
            (say("points, and means made of them"), f"{len(trace.frequency_hz)}, {len(found.frequency_hz)}"),
            (say("span"), say("{low} to {high}", low=low, high=high)),
            (say("constant k0"),
             say("{k0} dB, demanded", k0=k0) if law.constant else say("{k0} dB, not demanded", k0=k0)),
            (say("wander about the law"), quantity(plain(law.departure_db, 4), "dB")),
        ),
        "D. M. Pozar, Microwave Engineering, 4th ed., section 2.7, for the law; inference/sweep/correlated.py.",
        ("law",),
    )  # fmt: skip


def _loss(row: BandLoss, law: SweepLaw) -> Working:
    f, loss = row.frequency_hz / 1e6, row.matched_loss_db
    smooth = law.k0_db.value + law.k1_db.value * f**0.5 + law.k2_db.value * f
    k0, k1, k2 = plain(law.k0_db.value, 4), plain(law.k1_db.value, 5), plain(law.k2_db.value, 6)
    return Working(
        say("matched loss at {f}: {loss}",
            f=frequency(row.frequency_hz), loss=interval(loss.value, loss.low, loss.high)),
        say("k0 + k1 √f + k2 f + wander, f in MHz; what the calibration may be off by widens the interval"),
        (
            ("k0, k1, k2", say("{k0}, {k1}, {k2} dB", k0=k0, k1=k1, k2=k2)),
            (say("law here"), quantity(plain(smooth, 3), "dB")),
            (say("wander here"), quantity(signed(loss.value - smooth, 3), "dB")),
        ),
        say("The law and the wander about it: inference/sweep/law.py."),
        ("matched loss", row.frequency_hz),
    )  # fmt: skip


def _between(frequency_hz: float, loss: Interval) -> Working:
    low, high = (frequency(float(f"{frequency_hz * (1.0 + way * NEAR):.4g}")) for way in (-1, 1))
    return Working(
        say("between the ports at {f}: {loss}",
            f=frequency(frequency_hz), loss=interval(loss.value, loss.low, loss.high)),
        say("median of -20 lg |(S21 + S12)/2| near the frequency; interval by the spread about it, 0.02 dB at least"),
        ((say("looked at"), say("{low} to {high}, or the three nearest points", low=low, high=high)),
         (say("spread"), say("1.96 · 1.4826 · median of what they stand off"))),
        "P. J. Rousseeuw and C. Croux, JASA 88 (1993), for the spread (from memory)",
        ("insertion loss", frequency_hz),
    )  # fmt: skip


def _delays(finding: SweepFinding) -> list[Working]:
    """Return how each of several delays that fit was weighed."""
    shown = finding.candidates if len(finding.candidates) > 1 else ()
    return [Working(
        say("delay may be {delay}, {chance}",
            delay=_candidate(c.delay_s, c.length_m, c.velocity_factor), chance=percent(c.probability)),
        say("the best delay + n / step of frequency has the same phases; each weighed, the weights summed to 1"),
        ((say("weighed by"), say("phase at zero frequency, loss by the metre, length and velocity factor given")),),
        say("Sampling: steps of phase are told but for whole turns; inference/sweep/delays.py."),
        ("candidate", number),
    ) for number, c in enumerate(shown, start=1)]  # fmt: skip


def _impedance(finding: SweepFinding, skin: Skin) -> list[Working]:
    if finding.impedance_ohm is None:
        return []
    return [Working(
        say("impedance of {sweep}: {impedance} ohm", sweep=finding.name, impedance=_number(finding.impedance_ohm, 2)),
        say("Z0 = √(B/C), or √(Z open · Z short), = Zc (1 + (1 - j) u), u = k1 √f/(8.686 ω τ)"),
        (("k1", quantity(plain(skin.k1_db, 5), "dB")), ("τ", _nanoseconds(skin))),
        "D. M. Pozar, Microwave Engineering, 4th ed., table 4.1 and equation 2.7.",
        ("impedance",),
    )]  # fmt: skip


def _nanoseconds(skin: Skin) -> str:
    return quantity(plain(skin.delay_s * 1e9, 3), "ns")


def _extent(finding: SweepFinding, skin: Skin) -> list[Working]:
    if finding.delay_s is None:
        return []
    out = [Working(
        say("delay of {sweep}: {delay} ns one way", sweep=finding.name, delay=_number(finding.delay_s.times(1e9), 3)),
        say("-dφ/dω, φ = -(ω τ + k1 √f/8.686) but for a start and a wander"),
        ((say("τ, the skin effect left out"), _nanoseconds(skin)),),
        "D. M. Pozar, Microwave Engineering, 4th ed., section 2.7.",
        ("delay",),
    )]  # fmt: skip
    if finding.length_m is not None and finding.velocity_factor is not None:
        out.append(Working(
            say("length {length} m, velocity factor {factor}",
                length=_number(finding.length_m, 3), factor=_number(finding.velocity_factor, 4)),
            say("length = velocity factor · c · τ"),
            (("τ", _nanoseconds(skin)), ("c", "299792458 m/s")),
            say("The speed of light, by the definition of the metre."),
            ("length",),
        ))  # fmt: skip
    return out


def _number(x: Interval, places: int) -> str:
    value, low, high = (plain(v, places) for v in (x.value, x.low, x.high))
    return say("{value} ({low} to {high})", value=value, low=low, high=high)


# From a line's trace to a finding: what two-ports and one-ports have in common

LEAST_POINTS = 16
MOST = 1000.0
"""No cable, and hardly an amplifier, has a scattering parameter so large."""
LEAST_BINS, LEAST_IMPEDANCES = 8, 2
MENDED_SHARE = 0.3
"""How far the loss by reflection that was taken out may be off, as a share of it."""
MATCH = 0.015
"""What a calibration leaves of the ports' own reflection (36 dB): common practice, no source. It counts with all that
comes back, and so allows for ports of 28 dB, whose errors go with the mean of that."""
NOTHING_DB = 0.005
"""No calibration lets one say that a line loses less than this: where it came out so, there was a gain."""
MENDED_SEED = 20_240_224


@dataclass(frozen=True, slots=True)
class LineQuestion:
    """What is known of a cable beside its sweep, and at which frequencies, named by band, its loss is wanted."""

    known: LinePrior
    line: LineType | None
    wanted: tuple[tuple[str, float], ...]
    beyond_hz: tuple[float, ...]

    @property
    def at_hz(self) -> Floats:
        """The frequencies wanted, shape (f,)."""
        return np.array([f for _, f in self.wanted])


@dataclass(frozen=True, slots=True)
class SweepTraces:
    """What was made of a sweep's columns: the line's trace, bins of its impedance (or that itself), insertion loss."""

    name: str
    far_end: tuple[FarEnd, ...]
    health: tuple[Health, ...]
    trace: Trace | None = None
    points: ImpedancePoints | None = None
    impedance: ImpedanceFit | None = None
    insertion: Sequence[Interval | None] | None = None
    remarks: tuple[str, ...] = ()
    either_way: bool = False
    """Whether open and short may have been swapped, or taken for each other, for all that the sweeps show."""


SWAPPED_NATS = 4.0
"""By so much better must open and shorted fit the other way round."""
SURE_NATS = 1.5
"""By so much must what was said fit better than the other way round; else both are listed."""
MISREAD = mark(
    "The far end was stated as {end}, but it reads as {reads}: the line is broken, or the far end is not as stated. "
    "The answer goes by the measurement."
)
SWAPPED = say(
    "The file stated as open reads as shorted, and the one stated as shorted reads as open: they were swapped, and "
    "are read the other way round."
)


def _delay_of(heard: SweepTraces, found: Bins, law: SweepLaw, known: LinePrior) -> tuple[Delays, tuple[Health, ...]]:
    """Return the delay, of open and shorted files whichever way round they fit, and what to say if it is the other."""
    assert heard.trace is not None
    mine = delays(heard.trace, pilot(heard.trace), found, law, known)
    if not heard.either_way:
        return mine, ()
    turned = replace(heard.trace, wave=-heard.trace.wave)
    course = pilot(turned)
    both = bins(turned, course)
    other = delays(turned, course, both, law, known)
    # The length of a line that is not whole speaks for neither.
    bare = replace(known, length_m=None)
    part = other if known.length_m is None else delays(turned, course, both, law, bare)
    scores = (mine.score, other.score) if known.length_m is None else (
        delays(heard.trace, pilot(heard.trace), found, law, bare).score, part.score
    )  # fmt: skip
    if scores[1] < scores[0] + SWAPPED_NATS or other.group_s is None:
        return (
            mine if scores[0] > scores[1] + SURE_NATS or other.group_s is None else _either(mine, other, scores)
        ), ()
    if {"open", "short"} <= set(heard.far_end):
        return other, (Health("far end", "doubt", 1.0, SWAPPED),)
    ends = say("open"), say("short")
    said, reads = ends if "open" in heard.far_end else ends[::-1]
    return part, (Health("far end", "doubt", 1.0, say(MISREAD, end=said, reads=reads)),)


def _either(mine: Delays, other: Delays, scores: tuple[float, float]) -> Delays:
    """Return both delays of a line, as it was said to end and as if it ended the other way, each with its chance."""
    if mine.bare_s is None or other.bare_s is None:
        return mine
    p = 1.0 / (1.0 + float(np.exp(scores[1] - scores[0] - SWAPPED_NATS / 2.0)))
    both = ((float(np.median(x.bare_s)), chance) for x, chance in ((mine, p), (other, 1.0 - p)) if x.bare_s is not None)
    found = sorted((DelayCandidate(delay, chance, None, None) for delay, chance in both), key=lambda c: -c.probability)
    return Delays(None, None, tuple(found), score=mine.score)


def question(
    sweep: Sweep, length_m: float | None, velocity_factor: float | None, line: LineType | None, at_hz: Sequence[float]
) -> LineQuestion:
    """Return the question, its numbers checked; a type lends its velocity factor and its loss."""
    if length_m is not None and not (np.isfinite(length_m) and length_m > 0):
        raise InputError("length_m", say("must be above zero and finite; got {value}", value=format(length_m, "g")))
    if velocity_factor is not None and not 0.2 <= velocity_factor <= 1.0:
        cure = say("Write 66 % as 0.66.")
        raise InputError(
            "velocity_factor",
            say("must lie between 0.2 and 1; got {value}", value=format(velocity_factor, "g")),
            cure=cure,
        )
    factor = velocity_factor if velocity_factor is not None or line is None else line.velocity_factor
    known = LinePrior(length_m, factor, None if line is None else line.law)
    return LineQuestion(known, line, tuple(asked(sweep, at_hz)), tuple(outside(sweep, at_hz)))


def checked(sweep: Sweep, ports: int) -> None:
    """Refuse a sweep of another number of ports, of too few points, or with values that are not numbers."""
    if sweep.ports != ports:
        cure = say("A one-port is read with its far end named.") if ports == 2 else say("Take its first port alone.")
        raise InputError(
            "sweep",
            say("must have {ports} ports; {name} has {found}", ports=ports, name=sweep.name, found=sweep.ports),
            cure=cure,
        )
    if len(sweep.frequency_hz) < LEAST_POINTS:
        rule = say(
            "needs {least_points} points or more; {name} has {count}",
            least_points=LEAST_POINTS,
            name=sweep.name,
            count=len(sweep.frequency_hz),
        )
        raise InputError("sweep", rule, cure=say("Sweep again with more points."))
    most = float(np.abs(sweep.s).max())
    if most > MOST:
        rule = say(
            "must hold scattering parameters; {name} has values up to {most}", name=sweep.name, most=format(most, ".3g")
        )
        raise InputError("sweep", rule, cure=say("Are they decibels, or impedances, under the name of S?"))
    rising = np.all(np.diff(sweep.frequency_hz) > 0) and sweep.frequency_hz[0] >= 0
    if not (rising and np.all(np.isfinite(sweep.s))):
        raise InputError("sweep", say("must rise in frequency and hold numbers only; {name} does not", name=sweep.name))


def alike(sweeps: Sequence[Sweep]) -> Floats:
    """Return the frequencies all sweeps share, or refuse."""
    first, *rest = sweeps
    for other in rest:
        same = len(other.frequency_hz) == len(first.frequency_hz)
        if not (same and np.allclose(other.frequency_hz, first.frequency_hz, rtol=1e-6)):
            rule = say(
                "must be swept over the same frequencies; {one} and {other} are not", one=other.name, other=first.name
            )
            raise InputError(
                "sweeps", rule, cure=say("Sweep them again with the same start, stop and number of points.")
            )
    return first.frequency_hz


def read(heard: SweepTraces, ask: LineQuestion) -> SweepFinding:
    """Return all that the trace, the impedance and what is known say together."""
    if heard.trace is not None:
        trace = heard.trace.sound()
        heard = replace(heard, trace=trace if len(trace.wave) >= LEAST_POINTS else None)
    ask = _of_what_was_swept(heard, ask)
    fitted, found = _law(heard.trace, ask)
    delay, skin = Delays(None, None, ()), Skin(0.0, 0.0)
    if heard.trace is not None and fitted is not None and found is not None:
        delay, swapped = _delay_of(heard, found, fitted.law, ask.known)
        heard = replace(heard, health=(*heard.health, *swapped))
        ask = _of_what_was_swept(heard, ask)
        # Less than a fifth of what a calibration leaves is not worth a second fit.
        if delay.bare_s is not None and slowed_db(fitted.law.k1_db.value, _median(delay.bare_s)) > 0.2 * TRACKING_DB:
            fitted, found = _law(heard.trace, ask, _median(delay.bare_s))
            assert fitted is not None
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
        law=None if fitted is None or _gains(fitted) else fitted.law,
        losses=() if fitted is None or _gains(fitted) else _losses(fitted, heard, ask),
        impedance_ohm=impedance.ohm if impedance else None,
        impedances=impedance.rows if impedance else (),
        delay_s=Interval.of(delay.group_s) if delay.group_s is not None else None,
        candidates=delay.candidates,
        length_m=length,
        velocity_factor=factor,
        health=(
            *heard.health,
            *_disagreement(delay, ask.known),
            *noise_floor(found),
            *spikes(found),
            *step(fitted),
            *gain(fitted),
        ),
        line=ask.line,
    )
    return replace(
        finding,
        remarks=(*heard.remarks, *_unfolded(delay, ask.known), *remarks(finding, ask.known, ask.beyond_hz)),
        workings=workings(finding, heard.trace, found, skin),
    )


def _of_what_was_swept(heard: SweepTraces, ask: LineQuestion) -> LineQuestion:
    """Return the question without its length where the line ends as nobody said: it may then end anywhere.

    Open and shorted files that were swapped are of the whole line.
    """
    if {"open", "short"} <= set(heard.far_end) or all(h.check != "far end" for h in heard.health):
        return ask
    return replace(ask, known=replace(ask.known, length_m=None))


def _law(trace: Trace | None, ask: LineQuestion, delay_s: float = np.inf) -> tuple[LawFit | None, Bins | None]:
    """Return the law and the bins it rests on; no law where nearly all of the sweep lies in its noise.

    A delay that is known says what the skin effect's inner inductance takes off the loss.
    """
    if trace is None:
        return None, None
    course = pilot(trace)
    found = bins(trace, course)
    if len(found.frequency_hz) < LEAST_BINS:
        return None, found
    loss, noise = in_db(found, course, trace.passes)
    noise = np.hypot(noise, MENDED_SHARE * trace.mended_at(found.frequency_hz))
    off = float(np.hypot(TRACKING_DB, DB_PER_NEPER * trace.off / trace.passes))
    fitted = fit_law(Means(found.frequency_hz, loss, noise, off, trace.rippled, delay_s), ask.at_hz)
    return _unsure(fitted, trace.mended_at(ask.at_hz)), found


def _unsure(fitted: LawFit, mended_db: Floats) -> LawFit:
    """Return the law with what was given back for reflections believed only to a share."""
    away = np.random.default_rng(MENDED_SEED).standard_normal((len(fitted.loss_db), 1))
    return replace(fitted, loss_db=np.maximum(fitted.loss_db + away * MENDED_SHARE * mended_db, 0.0))


def _disagreement(found: Delays, known: LinePrior) -> tuple[Health, ...]:
    """Return what to say where the length given, and the velocity factor if there is one, do not go with the delay."""
    if not found.disagrees or found.bare_s is None or found.group_s is None or known.length_m is None:
        return ()
    delay = float(np.median(found.bare_s))
    factor = known.length_m / (delay * SPEED_OF_LIGHT_M_PER_S)
    given = {
        "length": metres(known.length_m), "delay": _told(found.group_s), "factor": plain(factor, 2),
    }  # fmt: skip
    if known.velocity_factor is None:
        why = say(
            "Over {length}, a delay of {delay} gives a velocity factor of {factor}, which no line has: this is not "
            "the length of the line that was swept.",
            **given,
        )
        return (Health("length", "doubt", factor, why),)
    why = say(
        "Over {length}, a delay of {delay} gives a velocity factor of {factor}, not {own}: the length or the type is "
        "not as stated. At {own} the line would be {long} long.",
        own=plain(known.velocity_factor, 2),
        long=metres(known.velocity_factor * SPEED_OF_LIGHT_M_PER_S * delay), **given,
    )  # fmt: skip
    return (Health("length", "doubt", factor, why),)


def _unfolded(found: Delays, known: LinePrior) -> tuple[str, ...]:
    """Return that a delay is told by the length given, where the sweep alone would have left several."""
    if not found.by_length or found.group_s is None or known.length_m is None:
        return ()
    return (say(
        "The points are too far apart to give the delay by themselves: of the delays that fit the phase, {delay} is "
        "the one that agrees with the length given, {length}.",
        delay=_told(found.group_s), length=metres(known.length_m),
    ),)  # fmt: skip


def _told(delay_s: Floats) -> str:
    """Return a delay as the figures of the line say it."""
    return quantity(plain(1e9 * float(np.median(delay_s)), 2), "ns")


def _gains(fitted: LawFit) -> bool:
    """Return whether a law gains all along the sweep: then it is no law of a line, and the gain alone is told."""
    return max(_law_at(fitted, f) for f in fitted.law.valid_hz) < -GAIN_DB


def _median(draws: Floats | None) -> float:
    return 0.0 if draws is None else float(np.median(draws))


def _losses(fitted: LawFit | None, heard: SweepTraces, ask: LineQuestion) -> tuple[BandLoss, ...]:
    """Return the losses wanted, as far as the trace stands above its noise and does not gain."""
    if fitted is None:
        return ()
    insertion = heard.insertion or [None] * len(ask.wanted)
    low, high = fitted.law.valid_hz
    return tuple(
        BandLoss(name, f, Interval.of(draws), seen)
        for (name, f), draws, seen in zip(ask.wanted, fitted.loss_db.T, insertion, strict=True)
        if 0.9 * low <= f <= 1.1 * high and np.quantile(draws, 0.975) > NOTHING_DB and _law_at(fitted, f) > -GAIN_DB
    )


def _law_at(fitted: LawFit, frequency_hz: float) -> float:
    """Return what the law itself says at a frequency, dB."""
    k0, k1, k2 = (float(k) for k in np.median(fitted.law.draws, axis=0))
    return k0 + k1 * float(np.sqrt(frequency_hz / 1e6)) + k2 * frequency_hz / 1e6
