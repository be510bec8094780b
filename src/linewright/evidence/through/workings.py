"""How the figures of an antenna behind a line were worked out."""

from __future__ import annotations

from math import log10

from linewright.evidence.through.antenna import ANALYSER_SCALE, METER_SCALE
from linewright.evidence.through.words import hertz_words, swr_interval, swr_words
from linewright.model.result import Working
from linewright.model.through import CurvePoint, LineBehind, Seen, ThroughResult
from linewright.physics.mismatch import reflection_from_swr
from linewright.units.said import say
from linewright.units.writing import digits, frequency, metres, plain, quantity

OWN = say("our own; the bridge's model is common practice")
CLOSED = "lossy line with a mismatched load: D. M. Pozar, Microwave Engineering, 4th ed., pages 81 to 82"


def workings(r: ThroughResult, seen: Seen, line: LineBehind) -> tuple[Working, ...]:
    """Return the workings, the plain formula first."""
    found = [_plain(r), _ceiling(r), _posterior(r, seen)]
    found.append(_return_loss(r))
    if line.has_phase and seen.has_phase:
        found.append(_impedance(r, line))
    if r.curve:
        found += _curve(r)
    return tuple(found)


def _plain(r: ThroughResult) -> Working:
    said = say("impossible") if r.plain_swr is None else say("SWR {swr}", swr=swr_words(r.plain_swr))
    return Working(
        say("plain formula: |Γ| {reflection}, {swr}", reflection=plain(r.plain_reflection, 3), swr=said),
        say("|Γ antenna| = |Γ radio| · 10^(loss/10); SWR = (1 + |Γ|)/(1 - |Γ|)"),
        (
            (say("SWR at the radio"), plain(r.radio_swr, 3)),
            (say("loss"), quantity(plain(r.loss_db.value or 0.0, 3), "dB")),
        ),
        CLOSED,
    )


def _ceiling(r: ThroughResult) -> Working:
    return Working(
        say("highest SWR a meter at the radio can show: {swr}", swr=swr_interval(r.highest_swr_at_radio)),
        say("(1 + L)/(1 - L), L = 10^(-loss/10)"),
        ((say("loss"), _range(r.loss_db.low, r.loss_db.high)),),
        "ham.stackexchange.com question 9722",
    )


def _posterior(r: ThroughResult, seen: Seen) -> Working:
    scale = ANALYSER_SCALE if seen.has_phase else METER_SCALE
    row = int(seen.magnitude.argmin()) if r.curve else 0
    return Working(
        say("SWR at the antenna: {swr}", swr=swr_interval(r.antenna_swr)),
        say("all g with low ≤ |g A (1 + t) + d| ≤ high; A = 10^(-loss/10); before the reading g = sin² φ, φ even"),
        (
            (
                say("reading stands for |Γ|"),
                say("{low} to {high}", low=plain(float(seen.low[row]), 4), high=plain(float(seen.high[row]), 4)),
            ),
            (
                say("leak d"),
                say("anywhere within 10^(-{directivity}/20), phase unknown", directivity=digits(seen.directivity_db)),
            ),
            (say("scale error t"), say("{share} % (one sigma)", share=digits(100 * scale))),
            (say("line"), r.line),
            (say("largest loss the reading allows"), _bound(r)),
        ),
        OWN,
    )


def _return_loss(r: ThroughResult) -> Working:
    return Working(
        say("return loss at the antenna"),
        say("-20 lg |Γ antenna|, draw by draw"),
        ((say("SWR at the antenna"), swr_interval(r.antenna_swr)),),
        CLOSED,
    )


def point_workings(p: CurvePoint) -> tuple[Working, ...]:
    """Return the workings of one point of a curve: what is believed, the plain formula, the most the radio can show."""
    at, through = frequency(round(p.frequency_hz, -1)), reflection_from_swr(p.highest_swr_at_radio)
    loss = (say("loss"), quantity(plain(-10.0 * log10(float(through)), 3), "dB"))
    radio = (say("SWR at the radio"), plain(p.radio_swr, 3))
    unmended = say("impossible") if p.plain_swr is None else swr_words(p.plain_swr)
    return (
        Working(
            say("SWR at the antenna at {f}: {swr}", f=at, swr=swr_interval(p.antenna_swr)),
            say("all g with low ≤ |g A (1 + t) + d| ≤ high; A = 10^(-loss/10); before the reading g = sin² φ, φ even"),
            (radio, loss), OWN,
        ),
        Working(
            say("plain formula at {f}: {swr}", f=at, swr=unmended),
            say("|Γ antenna| = |Γ radio| · 10^(loss/10); SWR = (1 + |Γ|)/(1 - |Γ|)"),
            (radio, loss), CLOSED,
        ),
        Working(
            say("highest SWR a meter at the radio can show at {f}: {swr}", f=at, swr=swr_words(p.highest_swr_at_radio)),
            say("(1 + L)/(1 - L), L = 10^(-loss/10)"),
            (loss,), "ham.stackexchange.com question 9722",
        ),
    )  # fmt: skip


def _impedance(r: ThroughResult, line: LineBehind) -> Working:
    return Working(
        say(
            "antenna's impedance: {resistance} resistance, {reactance} reactance",
            resistance=_range(r.antenna_resistance_ohm.low, r.antenna_resistance_ohm.high, "ohm"),
            reactance=_range(r.antenna_reactance_ohm.low, r.antenna_reactance_ohm.high, "ohm"),
        ),
        say("ZL = Z0 (Zin - Z0 tanh γl)/(Z0 - Zin tanh γl); Z0 = R0 (1 - j (αc - αd)/β)"),
        (
            ("R0", say("{impedance} ohm", impedance=digits(line.impedance_ohm or 0.0))),
            (say("velocity factor"), digits(line.velocity_factor or 0.0)),
            (
                say("length"),
                say("{length}, electrically within 1 % (one sigma)", length=metres(line.length_m or 0.0, 6)),
            ),
        ),
        "D. M. Pozar, Microwave Engineering, 4th ed., equation 2.91 solved for the load; section 2.7 for Z0",
    )


def _curve(r: ThroughResult) -> list[Working]:
    found = [
        Working(
            say("best SWR: {swr}", swr=swr_interval(r.best_swr))
            if r.resonance_hz.value is None
            else say("best SWR: {swr} at {f}", swr=swr_interval(r.best_swr), f=hertz_words(r.resonance_hz)),
            say("lowest point of a parabola through 1/(1 - |Γ|²) near the bottom of each draw's curve"),
            ((say("points"), str(len(r.curve))),),
            say("series resonant circuit: 1/(1 - |Γ|²) = ((R + R0)² + X²)/(4 R R0)"),
        )
    ]
    if r.bandwidth_hz.value is not None:
        found.append(_width())
    flat = r.flat_warning
    if flat is not None and flat.probability is not None:
        least = say("none does")
        if flat.smallest_loss_db is not None:
            least = quantity(plain(flat.smallest_loss_db, 1), "dB")
        found.append(
            Working(
                say("probability of a curve so flat: {probability}", probability=plain(flat.probability, 4)),
                say("share of plausible antennas behind the believed line whose |Γ| moves no more over the span"),
                (
                    (
                        say("antennas"),
                        say("series resonance in or near the band, Q 6 to 40, one in ten from 3; R around 50 ohm"),
                    ),
                    (say("loss that makes such a curve common (5 in 100)"), least),
                ),
                say("common practice for the antennas; the test is our own"),
            )
        )
    return found


def _width() -> Working:
    return Working(
        say("width at SWR 2"),
        say("from where each draw's curve rises through SWR 2 on one side of its bottom to where it does on the other"),
        (),
        say("common practice"),
    )


def _range(low: float | None, high: float | None, unit: str = "dB") -> str:
    if low is None or high is None:
        return say("cannot be told")
    return say("{low} to {high} {unit}", low=digits(low, 3), high=digits(high, 3), unit=unit)


def _bound(r: ThroughResult) -> str:
    return say("no bound") if r.largest_loss_db is None else quantity(plain(r.largest_loss_db, 2), "dB")
