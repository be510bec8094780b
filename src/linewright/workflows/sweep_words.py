"""What a sweep says, in sentences."""

from __future__ import annotations

from collections.abc import Sequence

from linewright.model.faults import Fault, FaultFinding, Resemblance
from linewright.model.result import Working
from linewright.model.sweep_result import SweepFinding
from linewright.units.said import say, say_many, together
from linewright.units.writing import decimals_for, frequency, length, metres, plain, quantity

PREFERRED_HZ = 144.3e6

SHOWN = 3
"""So many faults are named; the rest are counted."""


def verdict(finding: SweepFinding, along: FaultFinding | None, likely: Sequence[Resemblance], jacket: str) -> str:
    """Return the answer first: loss, faults, and what the line is."""
    return together([_refused(finding), _loss(finding), _faults(along), jacket or _likeliest(likely)])


def _refused(finding: SweepFinding) -> str:
    """Return the gravest flaw of the sweep itself, where it makes all else doubtful."""
    grave = [h for h in finding.health if h.severity == "refuse"]
    if grave:
        return say("Do not go by this sweep. {why}", why=grave[0].why)
    doubts = [h for h in finding.health if h.severity == "doubt"]
    return say("Doubtful sweep: {why}", why=doubts[0].why) if doubts else ""


def _loss(finding: SweepFinding) -> str:
    if not finding.losses:
        return say("The loss cannot be told from this.")
    row = min(finding.losses, key=lambda x: abs(x.frequency_hz - PREFERRED_HZ))
    loss, f = row.matched_loss_db, frequency(row.frequency_hz)
    value, low, high = (plain(x, 2) for x in (loss.value, loss.low, loss.high))
    if not finding.length_m or finding.length_m.value <= 0:
        return say("It loses {loss} dB at {f} ({low} to {high}).", loss=value, f=f, low=low, high=high)
    return say(
        "It loses {loss} dB at {f} ({low} to {high}) over {length}.",
        loss=value, f=f, low=low, high=high, length=metres(finding.length_m.value),
    )  # fmt: skip


def _faults(along: FaultFinding | None) -> str:
    if along is None:
        return ""
    if not along.faults:
        return say("No fault shows along it.")
    shown = along.faults[:SHOWN]
    said = together([_first(shown[0]), *(_further(fault) for fault in shown[1:])], "; ")
    more = len(along.faults) - SHOWN
    if more > 0:
        return say_many("{faults} and {count} more.", "{faults} and {count} more.", more, faults=said)
    return say("{faults}.", faults=said)


def _first(fault: Fault) -> str:
    """Return a fault at the head of a sentence."""
    begin = {
        "pinch": say("A pinch or poor joint at {place}", place=_place(fault)),
        "gap": say("A gap or opened braid at {place}", place=_place(fault)),
        "water": say("Water, or other line let in, at {place}", place=_place(fault)),
        "insert": say("Other line let in at {place}", place=_place(fault)),
        "step": say("A step of impedance at {place}", place=_place(fault)),
        "bad joint": say("A bad joint at {place}", place=_place(fault)),
        "open": say("An open at {place}", place=_place(fault)),
        "short": say("A short at {place}", place=_place(fault)),
        "unclear": say("Something unclear at {place}", place=_place(fault)),
    }
    return begin[fault.kind]


def _further(fault: Fault) -> str:
    """Return a fault after another."""
    further = {
        "pinch": say("a pinch or poor joint at {place}", place=_place(fault)),
        "gap": say("a gap or opened braid at {place}", place=_place(fault)),
        "water": say("water, or other line let in, at {place}", place=_place(fault)),
        "insert": say("other line let in at {place}", place=_place(fault)),
        "step": say("a step of impedance at {place}", place=_place(fault)),
        "bad joint": say("a bad joint at {place}", place=_place(fault)),
        "open": say("an open at {place}", place=_place(fault)),
        "short": say("a short at {place}", place=_place(fault)),
        "unclear": say("something unclear at {place}", place=_place(fault)),
    }
    return further[fault.kind]


def _place(fault: Fault) -> str:
    places = decimals_for(fault.high_m - fault.low_m)
    return length(fault.distance_m, places, fault.low_m, fault.high_m)


def _likeliest(likely: Sequence[Resemblance]) -> str:
    if not likely:
        return ""
    best = likely[0]
    if best.probability < 0.3:
        return say("Several types would answer to it.")
    if best.kind == "none of these":
        return say("It is like no type of the catalogue.")
    chance = _share(best.probability)
    if not best.worn_ratio:
        return say("Most like {line} ({chance}).", line=best.line, chance=chance)
    return say("Most like worn {line}, {times} times the loss ({chance}).",
               line=best.line, times=plain(best.worn_ratio, 1), chance=chance)  # fmt: skip


def _share(probability: float) -> str:
    return quantity(plain(100 * probability, 0), "%")


def _named(r: Resemblance) -> str:
    return say("none of these") if r.kind == "none of these" else r.line


def likeness(likely: Sequence[Resemblance]) -> tuple[Working, ...]:
    """Return how the resemblance was worked out."""
    if not likely:
        return ()
    rows = tuple(
        (say("{line}, {kind}, {chance}", line=_named(r), kind=say(r.kind), chance=_share(r.probability)), r.why)
        for r in likely[:4]
    )
    best = likely[0]
    return (
        Working(
            say("resemblance: {line} ({chance})", line=_named(best), chance=_share(best.probability)),
            say("prior · likelihood of ln loss at five frequencies, velocity factor and impedance; summed to 1"),
            rows,
            say("catalogue tables with their spread; Bayes' rule"),
        ),
    )
