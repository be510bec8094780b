"""What is said of an antenna behind a line."""

from __future__ import annotations

import numpy as np

from linewright.evidence.through.deembedding import DELAY_SPREAD
from linewright.model.through import Estimate, LineBehind, Seen, ThroughResult
from linewright.physics.through import phase_constant_rad_per_m
from linewright.units.writing import frequency, interval

HIDDEN = 0.7
"""When the antenna's |Γ| may lie anywhere over so much of its range, the line hides it."""
MATCHED_SWR = 1.15
FAR_SWR = 20.0
DUMMY = "A dummy load would look the same."


def swr_words(value: float | None) -> str:
    """Write an SWR.

    >>> swr_words(1.0312), swr_words(7.41), swr_words(None), swr_words(33.0)
    ('1.03', '7.4', 'beyond telling', 'over 20')
    """
    if value is None:
        return "beyond telling"
    if value > FAR_SWR:
        return f"over {FAR_SWR:g}"
    return f"{value:.2f}" if value < 2 else f"{value:.1f}"


def swr_interval(swr: Estimate) -> str:
    """Write an SWR with its interval.

    >>> swr_interval(Estimate(1.7, 1.4, 2.3))
    '1.70 (1.40 to 2.3)'
    """
    return f"{swr_words(swr.value)} ({swr_words(swr.low)} to {swr_words(swr.high)})"


def verdict(r: ThroughResult) -> str:
    """Return the answer in words."""
    if r.contradiction:
        return (
            f"What was seen cannot come through this line: SWR {swr_words(r.radio_swr)} at the radio leaves room for"
            f" {_most(r)}, not {_db(r.loss_db)}. One of the two is wrong."
        )
    if r.flat_warning is not None and r.flat_warning.is_flat:
        return f"Too flat to be true. {DUMMY} {_curve(r)}"
    if r.curve:
        return _curve(r)
    return _single(r)


def _single(r: ThroughResult) -> str:
    g = r.antenna_reflection
    if (g.high or 0.0) - (g.low or 0.0) > HIDDEN:
        return (
            f"Cannot tell: the line hides the antenna. SWR {swr_words(r.radio_swr)} at the radio fits anything from"
            f" {swr_words(r.antenna_swr.low)} to {swr_words(r.antenna_swr.high)} at the antenna."
        )
    said = f"SWR {swr_interval(r.antenna_swr)} at the antenna, where the radio shows {swr_words(r.radio_swr)}."
    return f"{said} {DUMMY}" if (r.antenna_swr.low or 9.0) < MATCHED_SWR else said


def _curve(r: ThroughResult) -> str:
    best = swr_words(min(p.radio_swr for p in r.curve))
    said = f"At its best the antenna has SWR {swr_interval(r.best_swr)}, where the radio shows {best}."
    if r.resonance_hz.value is None:
        return f"{said} Where its bottom lies the curve does not show: sweep wider."
    return f"{said} Resonance at {hertz_words(r.resonance_hz)}."


def hertz_words(f: Estimate) -> str:
    """Write a frequency with its interval, rounded to the interval's first figure.

    >>> hertz_words(Estimate(145.0312e6, 144.92e6, 145.15e6))
    '145 MHz (144.9 to 145.2)'
    """
    if f.value is None or f.low is None or f.high is None:
        return "beyond telling"
    step = 10.0 ** np.floor(np.log10(max((f.high - f.low) / 2, 1.0)))
    value, low, high = (frequency(round(v / step) * step) for v in (f.value, f.low, f.high))
    return f"{value} ({low.partition(' ')[0]} to {high.partition(' ')[0]})"


def _most(r: ThroughResult) -> str:
    return "no bound" if r.largest_loss_db is None else f"at most {r.largest_loss_db:.1f} dB of loss"


def _db(e: Estimate) -> str:
    return "nothing" if e.value is None or e.low is None or e.high is None else interval(e.value, e.low, e.high)


def remarks(r: ThroughResult, seen: Seen, line: LineBehind) -> tuple[str, ...]:
    """Return what a reader should know besides: the ceiling, the plain formula, the bound, what limits the answer."""
    said = [_ceiling(r), _plain(r)]
    if r.loss_tightened and not r.contradiction:
        said.append(
            f"No antenna reflects more than everything: losses that would need it are struck out, which leaves the line"
            f" {_db(r.updated_loss_db)} of {_db(r.loss_db)}."
        )
    if r.flat_warning is not None:
        said += _flat(r)
    said += _shape(r)
    if r.antenna_reactance_ohm.value is not None and r.frequency_hz is not None:
        said.append(_turn(r.frequency_hz, line))
    if line.impedance_ohm is not None and abs(line.impedance_ohm / seen.reference_ohm - 1.0) > 0.02:
        said.append(_other_impedance(line, seen))
    if r.curve and line.belief is None and line.at_hz is not None:
        said.append(f"The stated loss is taken to grow with √f around {frequency(line.at_hz)}.")
    return tuple(said)


def _ceiling(r: ThroughResult) -> str:
    return (
        f"Through {_db(r.loss_db)} a meter at the radio can never show more than SWR"
        f" {swr_interval(r.highest_swr_at_radio)}, whatever the antenna."
    )


def _plain(r: ThroughResult) -> str:
    if r.plain_swr is None:
        return (
            f"The plain formula gives |Γ| {r.plain_reflection:.2f}, more than everything: it is impossible, so the loss"
            " or the reading is not what it is taken for."
        )
    return f"The plain formula, with no doubt in loss or meter, gives SWR {swr_words(r.plain_swr)}."


def _flat(r: ThroughResult) -> list[str]:
    flat = r.flat_warning
    assert flat is not None
    said = {True: "Too flat: ", False: "Not too flat: ", None: "Too flat? Cannot tell: "}[flat.is_flat]
    others = f" Else: {'; '.join(flat.alternatives)}." if flat.is_flat and flat.alternatives else ""
    return [said + flat.why[0].lower() + flat.why[1:] + others]


def _shape(r: ThroughResult) -> list[str]:
    if not r.curve or r.contradiction or r.bandwidth_hz.value is not None:
        return []
    if (r.best_swr.value or 1.0) > 2.0:
        return ["The antenna's SWR falls nowhere to 2 within the curve."]
    if (r.best_swr.high or 1.0) > 2.0:
        return ["Whether the antenna's SWR falls to 2 the curve does not show for sure, nor so its bandwidth."]
    return ["The bandwidth at SWR 2 reaches beyond the curve: sweep further to find its ends."]


def _turn(frequency_hz: float, line: LineBehind) -> str:
    """Say how far doubt about the line's electrical length turns the impedance."""
    radians = phase_constant_rad_per_m(frequency_hz, line.velocity_factor or 1.0) * (line.length_m or 0.0)
    turn = 2.0 * 1.96 * DELAY_SPREAD * np.degrees(radians)
    return (
        f"Resistance and reactance hang on the line's electrical length: within 2 % of {np.degrees(radians) / 360:.1f}"
        f" wavelengths it turns the reflection by up to {turn:.0f} degrees. The SWR does not hang on it."
    )


def _other_impedance(line: LineBehind, seen: Seen) -> str:
    if seen.has_phase and line.has_phase:
        return f"The reading was carried into the line's own {line.impedance_ohm:g} ohm and back exactly."
    return (
        f"The line has {line.impedance_ohm:g} ohm and the meter {seen.reference_ohm:g}: the SWR shown for the antenna"
        " is the one on the line, and the step between the two is part of its interval."
    )
