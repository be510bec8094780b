"""What a sweep says, in sentences."""

from __future__ import annotations

from collections.abc import Sequence

from linewright.model.faults import Fault, FaultFinding, Resemblance
from linewright.model.result import Working
from linewright.model.sweep_result import SweepFinding
from linewright.units.writing import decimals_for, frequency, metres

PREFERRED_HZ = 144.3e6

NAMES = {
    "pinch": "a pinch or poor joint", "gap": "a gap or opened braid", "water": "water, or other line let in,",
    "insert": "other line let in", "step": "a step of impedance", "bad joint": "a bad joint", "open": "an open",
    "short": "a short", "unclear": "something unclear",
}  # fmt: skip


def verdict(finding: SweepFinding, along: FaultFinding | None, likely: Sequence[Resemblance], jacket: str) -> str:
    """Return the answer first: loss, faults, and what the line is."""
    return " ".join(s for s in (_refused(finding), _loss(finding), _faults(along), jacket or _likeliest(likely)) if s)


def _refused(finding: SweepFinding) -> str:
    """Return the gravest flaw of the sweep itself, where it makes all else doubtful."""
    grave = [h for h in finding.health if h.severity == "refuse"]
    if grave:
        return f"Do not go by this sweep. {grave[0].why}"
    doubts = [h for h in finding.health if h.severity == "doubt"]
    return f"Doubtful sweep: {doubts[0].why}" if doubts else ""


def _loss(finding: SweepFinding) -> str:
    if not finding.losses:
        return "The loss cannot be told from this."
    row = min(finding.losses, key=lambda x: abs(x.frequency_hz - PREFERRED_HZ))
    loss = row.matched_loss_db
    long = f" over {metres(finding.length_m.value)}" if finding.length_m and finding.length_m.value > 0 else ""
    return f"It loses {loss.value:.2f} dB at {frequency(row.frequency_hz)} ({loss.low:.2f} to {loss.high:.2f}){long}."


def _faults(along: FaultFinding | None) -> str:
    if along is None:
        return ""
    if not along.faults:
        return "No fault shows along it."
    said = [f"{NAMES[fault.kind]} at {_place(fault)}" for fault in along.faults[:3]]
    more = f" and {len(along.faults) - 3} more" if len(along.faults) > 3 else ""
    text = f"{'; '.join(said)}{more}."
    return text[:1].upper() + text[1:]


def _place(fault: Fault) -> str:
    places = decimals_for(fault.high_m - fault.low_m)
    return f"{fault.distance_m:.{places}f} m ({fault.low_m:.{places}f} to {fault.high_m:.{places}f})"


def _likeliest(likely: Sequence[Resemblance]) -> str:
    if not likely:
        return ""
    best = likely[0]
    if best.probability < 0.3:
        return "Several types would answer to it."
    if best.kind == "none of these":
        return "It is like no type of the catalogue."
    worn = f"worn {best.line}, {best.worn_ratio:.1f} times the loss" if best.worn_ratio else best.line
    return f"Most like {worn} ({100 * best.probability:.0f} %)."


def likeness(likely: Sequence[Resemblance]) -> tuple[Working, ...]:
    """Return how the resemblance was worked out."""
    if not likely:
        return ()
    rows = tuple((f"{r.line}, {r.kind}, {100 * r.probability:.0f} %", r.why) for r in likely[:4])
    return (
        Working(
            f"resemblance: {likely[0].line} ({100 * likely[0].probability:.0f} %)",
            "prior · likelihood of ln loss at five frequencies, velocity factor and impedance; summed to 1",
            rows,
            "catalogue tables with their spread; Bayes' rule",
        ),
    )
