"""What a person is told beside the figures of a sweep, and how each figure was worked out."""

from __future__ import annotations

from linewright.evidence.sweeps.delays import Known
from linewright.evidence.sweeps.impedance import Skin
from linewright.evidence.sweeps.law import LawFit
from linewright.evidence.sweeps.traces import Bins, Trace
from linewright.model.result import Working
from linewright.model.sweep_result import BandLoss, Health, Interval, SweepFinding, SweepLaw
from linewright.units.constants import SPEED_OF_LIGHT_M_PER_S
from linewright.units.writing import frequency, interval, metres

THROUGH = "2 √det/(A + B/Z0 + C Z0 + D) of the chain matrix, what connectors reflect given back"
BACK = "the wave there and back, (Γ - r)/(1 - r Γ) with r the reflection of Z0"
FEW, FEWEST = 0.01, 3


def noise_floor(found: Bins | None) -> tuple[Health, ...]:
    """Return where the wave is lost in noise."""
    if found is None or len(found.dropped_hz) < FEWEST:
        return ()
    low, high = frequency(float(found.dropped_hz.min())), frequency(float(found.dropped_hz.max()))
    where = f"at {low}" if low == high else f"between {low} and {high}"
    why = f"The wave drowns in noise, or in nearer reflections, {where}: those points are left out."
    return (Health("noise floor", "doubt", float(len(found.dropped_hz)), why),)


def spikes(found: Bins | None) -> tuple[Health, ...]:
    """Return how many points stand far from their neighbours."""
    if found is None or found.spikes <= max(3.0, FEW * float(found.count.sum())):
        return ()
    why = f"{found.spikes} points stand far from their neighbours (interference, a loose contact): they are left out."
    return (Health("spikes", "note", float(found.spikes), why),)


def step(fitted: LawFit | None) -> tuple[Health, ...]:
    """Return the jump that was taken out of the loss."""
    if fitted is None or fitted.step is None:
        return ()
    height, where = fitted.step.height_db, frequency(fitted.step.frequency_hz)
    why = (
        f"The loss jumps by {height:+.2f} dB at {where}: a contact or a cable moved during the sweep, or the analyser"
        " changed its range there. Sweep again."
    )
    return (Health("step", "doubt", abs(height), why),)


def remarks(finding: SweepFinding, known: Known, beyond_hz: tuple[float, ...]) -> tuple[str, ...]:
    """Return the remarks on a finding, the gravest first."""
    out = [h.why for h in finding.health]
    if beyond_hz:
        out.append(f"Outside the sweep, so not answered: {', '.join(frequency(f) for f in beyond_hz)}.")
    if finding.law is None:
        out.append("There is no loss to read from this sweep.")
        return tuple(out)
    out += _law(finding)
    out += _delay(finding, known)
    return tuple(dict.fromkeys(out))


def _law(finding: SweepFinding) -> list[str]:
    law = finding.law
    assert law is not None
    out = []
    if law.constant:
        out.append(
            f"A loss of {law.k0_db.value:.2f} dB is there at all frequencies alike: a poor joint, a pad, or a"
            " calibration that is off. A cable alone has none."
        )
    if law.draws[:, 1:].mean(axis=0).max() < 0:
        out.append("The loss falls with frequency: this is no cable, or the calibration is off.")
    if law.departure_db > 0.1:
        out.append(
            f"The loss wanders by {law.departure_db:.2f} dB about the law k1 √f + k2 f. Trust the losses at the bands,"
            " not the law: a fault, a connector or the calibration bends it."
        )
    return out


def _delay(finding: SweepFinding, known: Known) -> list[str]:
    if finding.delay_s is None and not finding.candidates:
        return ["No delay that fits the phase agrees with the length and velocity factor given: check them."]
    if finding.candidates:
        ways = " or ".join(_candidate(c.delay_s, c.length_m, c.velocity_factor) for c in finding.candidates[:4])
        return [
            f"The points lie too far apart to tell the delay: {ways}. Give the length or the type of the cable, or"
            " sweep again with more points."
        ]
    factor = finding.velocity_factor
    if known.length_m is not None and factor is not None and not 0.5 <= factor.value <= 1.0:
        return [f"A velocity factor of {factor.value:.2f} is no cable's: is the length right?"]
    return []


def _candidate(delay_s: float, length_m: float | None, factor: float | None) -> str:
    what = f"{delay_s * 1e9:.4g} ns"
    if length_m is not None:
        return f"{what} ({metres(length_m)})"
    return what if factor is None else f"{what} (velocity factor {factor:.2f})"


def workings(finding: SweepFinding, trace: Trace | None, found: Bins | None, skin: Skin) -> tuple[Working, ...]:
    """Return how law, losses, impedance, delay, length and velocity factor were worked out."""
    law = finding.law
    out = []
    if trace is not None and found is not None and law is not None:
        out = [_law_worked(finding.name, law, trace, found), *(_loss(row, law) for row in finding.losses)]
    return (*out, *_impedance(finding, skin), *_extent(finding, skin))


def _law_worked(name: str, law: SweepLaw, trace: Trace, found: Bins) -> Working:
    low, high = (frequency(f) for f in law.valid_hz)
    return Working(
        f"law of {name}: {_number(law.k1_db, 5)} √f + {_number(law.k2_db, 6)} f dB, f in MHz",
        "k0 + k1 √f + k2 f, fitted to means over equal steps of √f whose errors may hang together",
        (
            ("wave", THROUGH if trace.passes == 1 else BACK),
            ("points, and means made of them", f"{len(trace.frequency_hz)}, {len(found.frequency_hz)}"),
            ("span", f"{low} to {high}"),
            ("constant k0", f"{_number(law.k0_db, 4)} dB, {'demanded' if law.constant else 'not demanded'}"),
            ("wander about the law", f"{law.departure_db:.4f} dB"),
        ),
        "D. M. Pozar, Microwave Engineering, 4th ed., section 2.7, for the law; evidence/sweeps/correlated.py.",
    )


def _loss(row: BandLoss, law: SweepLaw) -> Working:
    f, loss = row.frequency_hz / 1e6, row.matched_loss_db
    plain = law.k0_db.value + law.k1_db.value * f**0.5 + law.k2_db.value * f
    return Working(
        f"matched loss at {frequency(row.frequency_hz)}: {interval(loss.value, loss.low, loss.high)}",
        "k0 + k1 √f + k2 f + wander, f in MHz; what the calibration may be off by widens the interval",
        (
            ("k0, k1, k2", f"{law.k0_db.value:.4f}, {law.k1_db.value:.5f}, {law.k2_db.value:.6f} dB"),
            ("law here", f"{plain:.3f} dB"),
            ("wander here", f"{loss.value - plain:+.3f} dB"),
        ),
        "The law and the wander about it: evidence/sweeps/law.py.",
    )


def _impedance(finding: SweepFinding, skin: Skin) -> list[Working]:
    if finding.impedance_ohm is None:
        return []
    return [Working(
        f"impedance of {finding.name}: {_number(finding.impedance_ohm, 2)} ohm",
        "Z0 = √(B/C), or √(Z open · Z short), = Zc (1 + (1 - j) u), u = k1 √f/(8.686 ω τ)",
        (("k1", f"{skin.k1_db:.5f} dB"), ("τ", f"{skin.delay_s * 1e9:.3f} ns")),
        "D. M. Pozar, Microwave Engineering, 4th ed., table 4.1 and equation 2.7.",
    )]  # fmt: skip


def _extent(finding: SweepFinding, skin: Skin) -> list[Working]:
    if finding.delay_s is None:
        return []
    out = [Working(
        f"delay of {finding.name}: {_number(finding.delay_s.times(1e9), 3)} ns one way",
        "-dφ/dω, φ = -(ω τ + k1 √f/8.686) but for a start and a wander",
        (("τ, the skin effect left out", f"{skin.delay_s * 1e9:.3f} ns"),),
        "D. M. Pozar, Microwave Engineering, 4th ed., section 2.7.",
    )]  # fmt: skip
    if finding.length_m is not None and finding.velocity_factor is not None:
        out.append(Working(
            f"length {_number(finding.length_m, 3)} m, velocity factor {_number(finding.velocity_factor, 4)}",
            "length = velocity factor · c · τ",
            (("τ", f"{skin.delay_s * 1e9:.3f} ns"), ("c", f"{SPEED_OF_LIGHT_M_PER_S:.0f} m/s")),
            "The speed of light, by the definition of the metre.",
        ))  # fmt: skip
    return out


def _number(x: Interval, places: int) -> str:
    return f"{x.value:.{places}f} ({x.low:.{places}f} to {x.high:.{places}f})"
