"""How the figures of an antenna behind a line were worked out."""

from __future__ import annotations

from linewright.evidence.through.antenna import ANALYSER_SCALE, METER_SCALE
from linewright.evidence.through.words import hertz_words, swr_interval, swr_words
from linewright.model.result import Working
from linewright.model.through import LineBehind, Seen, ThroughResult

OWN = "our own; the bridge's model is common practice"
CLOSED = "lossy line with a mismatched load: D. M. Pozar, Microwave Engineering, 4th ed., pages 81 to 82"


def workings(r: ThroughResult, seen: Seen, line: LineBehind) -> tuple[Working, ...]:
    """Return the workings, the plain formula first."""
    found = [_plain(r), _ceiling(r), _posterior(r, seen)]
    if line.has_phase and seen.has_phase:
        found.append(_impedance(r, line))
    if r.curve:
        found += _curve(r)
    return tuple(found)


def _plain(r: ThroughResult) -> Working:
    said = "impossible" if r.plain_swr is None else f"SWR {swr_words(r.plain_swr)}"
    return Working(
        f"plain formula: |Γ| {r.plain_reflection:.3f}, {said}",
        "|Γ antenna| = |Γ radio| · 10^(loss/10); SWR = (1 + |Γ|)/(1 - |Γ|)",
        (("SWR at the radio", f"{r.radio_swr:.3f}"), ("loss", f"{r.loss_db.value or 0.0:.3f} dB")),
        CLOSED,
    )


def _ceiling(r: ThroughResult) -> Working:
    return Working(
        f"highest SWR a meter at the radio can show: {swr_interval(r.highest_swr_at_radio)}",
        "(1 + L)/(1 - L), L = 10^(-loss/10)",
        (("loss", _range(r.loss_db.low, r.loss_db.high)),),
        "ham.stackexchange.com question 9722",
    )


def _posterior(r: ThroughResult, seen: Seen) -> Working:
    scale = ANALYSER_SCALE if seen.has_phase else METER_SCALE
    row = int(seen.magnitude.argmin()) if r.curve else 0
    return Working(
        f"SWR at the antenna: {swr_interval(r.antenna_swr)}",
        "all g with low ≤ |g A (1 + t) + d| ≤ high; A = 10^(-loss/10); before the reading g = sin² φ, φ even",
        (
            ("reading stands for |Γ|", f"{seen.low[row]:.4f} to {seen.high[row]:.4f}"),
            ("leak d", f"anywhere within 10^(-{seen.directivity_db:g}/20), phase unknown"),
            ("scale error t", f"{100 * scale:g} % (one sigma)"),
            ("line", r.line),
            ("largest loss the reading allows", _bound(r)),
        ),
        OWN,
    )


def _impedance(r: ThroughResult, line: LineBehind) -> Working:
    return Working(
        f"antenna's impedance: {_range(r.antenna_resistance_ohm.low, r.antenna_resistance_ohm.high, 'ohm')} resistance,"
        f" {_range(r.antenna_reactance_ohm.low, r.antenna_reactance_ohm.high, 'ohm')} reactance",
        "ZL = Z0 (Zin - Z0 tanh γl)/(Z0 - Zin tanh γl); Z0 = R0 (1 - j (αc - αd)/β)",
        (
            ("R0", f"{line.impedance_ohm:g} ohm"),
            ("velocity factor", f"{line.velocity_factor:g}"),
            ("length", f"{line.length_m:g} m, electrically within 1 % (one sigma)"),
        ),
        "D. M. Pozar, Microwave Engineering, 4th ed., equation 2.91 solved for the load; section 2.7 for Z0",
    )


def _curve(r: ThroughResult) -> list[Working]:
    found = [
        Working(
            f"best SWR: {swr_interval(r.best_swr)}"
            + ("" if r.resonance_hz.value is None else f" at {hertz_words(r.resonance_hz)}"),
            "lowest point of a parabola through 1/(1 - |Γ|²) near the bottom of each draw's curve",
            (("points", str(len(r.curve))),),
            "series resonant circuit: 1/(1 - |Γ|²) = ((R + R0)² + X²)/(4 R R0)",
        )
    ]
    flat = r.flat_warning
    if flat is not None and flat.probability is not None:
        least = "none does" if flat.smallest_loss_db is None else f"{flat.smallest_loss_db:.1f} dB"
        found.append(
            Working(
                f"probability of a curve so flat: {flat.probability:.4f}",
                "share of plausible antennas behind the believed line whose |Γ| moves no more over the span",
                (
                    ("antennas", "series resonance in or near the band, Q 6 to 40, one in ten from 3; R around 50 ohm"),
                    ("loss that makes such a curve common (5 in 100)", least),
                ),
                "common practice for the antennas; the test is our own",
            )
        )
    return found


def _range(low: float | None, high: float | None, unit: str = "dB") -> str:
    return "cannot be told" if low is None or high is None else f"{low:.3g} to {high:.3g} {unit}"


def _bound(r: ThroughResult) -> str:
    return "no bound" if r.largest_loss_db is None else f"{r.largest_loss_db:.2f} dB"
