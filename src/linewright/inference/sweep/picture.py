"""The picture along a line: size of the echo, and impedance where the sweep reaches down near zero."""

from __future__ import annotations

import numpy as np

from linewright.core.arrays import Complexes, Floats
from linewright.core.formatting import digits
from linewright.core.formulas.time_domain import impedance_of_layers, kaiser_window, peel
from linewright.core.messages import say, together
from linewright.core.nouns.sweep import Profile
from linewright.core.quantities import TWO_PI
from linewright.inference.sweep.echoes import FULL, KAISER, EchoFit, waves
from linewright.inference.sweep.line_end import TOTAL
from linewright.inference.sweep.unfold import once

PER_CELL = 4
MOST_POINTS = 1600
MOST_NEPERS = 2.3
"""The line's loss is taken back up to 20 dB; beyond, noise would be all that grows."""

WIDEST_OHM = (5.0, 500.0)


def profile(fit: EchoFit, m_per_s: float, reference_ohm: float) -> Profile:
    """Return the profile along a line, from a little before the near end to a little beyond the far one.

    The loss of the line is taken back along the distance. Impedance comes from peeling the impulse response layer by
    layer, so that what two reflections throw to and fro is not mistaken for a third. It needs the response at zero
    frequency: below the sweep's first point the fitted echoes stand in for it.
    """
    far = 1.06 * fit.end_delay_s if fit.end_delay_s else fit.searched_s
    points = int(min(MOST_POINTS, max(64, PER_CELL * far / fit.cell_s)))
    delays = np.linspace(0.0, far, points)
    folded = bool(fit.end_delay_s and fit.end_delay_s > FULL * fit.range_s)
    f, s = _down_to_zero(fit) if fit.low_pass and not folded else (fit.frequency_hz, fit.reflection)
    window = kaiser_window(f, KAISER, low_pass=fit.low_pass)
    back = _undone(fit, f, delays)
    heard = once(fit, window, back, delays) if folded else (s * window) @ back
    envelope = np.abs(heard) / window.sum()
    impedance = None
    if fit.low_pass and not folded and (delays[1] - delays[0]) <= 0.75 * fit.cell_s:
        impedance = _impedance(f, (s - _skin(fit, f)) * window, back, delays, reference_ohm)
    return Profile(
        delays * m_per_s, envelope, impedance, _window(fit),
        _why(fit), fit.cell_s * m_per_s, fit.range_s * m_per_s,
    )  # fmt: skip


def _why(fit: EchoFit) -> str:
    """Return why this window and this way of looking."""
    first, last = fit.frequency_hz[0] / 1e6, fit.frequency_hz[-1] / 1e6
    if fit.end_delay_s and fit.end_delay_s > FULL * fit.range_s:
        return say(
            "The steps of the sweep are too wide for the line: each reflection is drawn once, where it was unfolded to."
        )
    sides = say(
        "Side lobes 37 dB down, so that a strong end does not paint faults; one reflection looks about two cells wide."
    )
    if fit.low_pass:
        starts = say("The sweep starts at {f} MHz, near enough to zero to tell the sign of a step.", f=digits(first, 4))
        return together([sides, starts])
    high = say(
        "The sweep starts at {first} MHz of {last} MHz, too high to tell impedance along the line; only where"
        " reflections stand is shown.",
        first=digits(first, 4), last=digits(last, 4),
    )  # fmt: skip
    return together([sides, high])


def _window(fit: EchoFit) -> str:
    if fit.low_pass:
        return say("Kaiser, β {shape}, falling half", shape=digits(KAISER))
    return say("Kaiser, β {shape}", shape=digits(KAISER))


def _undone(fit: EchoFit, f: Floats, delays: Floats) -> Complexes:
    """Return what turns a wave back to each delay and lifts it by the loss up to there, shape (f, delays)."""
    exponent = -fit.rate.exponent(f)
    turned = waves(np.asarray(1j * exponent.imag), delays)
    lift = np.exp(np.minimum(np.outer(exponent.real, delays), MOST_NEPERS))
    return np.asarray(turned * lift)


def _impedance(f: Floats, heard: Complexes, back: Complexes, delays: Floats, reference_ohm: float) -> Floats:
    """Return the impedance along the line by peeling."""
    width = np.gradient(f)
    width[0] *= 0.5
    layer = 2.0 * (delays[1] - delays[0])
    impulse = 2.0 * layer * ((heard * width) @ back).real
    return np.clip(impedance_of_layers(peel(impulse), reference_ohm), *WIDEST_OHM)


def _skin(fit: EchoFit, f: Floats) -> Complexes:
    """Return what the skin effect's own part of the characteristic impedance reflects, at both ends, to first order.

    ``Zc = Z∞ √(1 + 2 A1 (1 + j) / (jω))`` rises toward low frequencies; left in, a sound line would seem to grow in
    impedance along its length.
    """
    if fit.end_delay_s is None:
        return np.zeros(len(f), dtype=np.complex128)
    conductor = fit.rate.parts(f)[0]
    omega = TWO_PI * np.maximum(f, max(0.25 * f[f > 0][0], 1.0))
    root = np.sqrt(1.0 + 2.0 * conductor * (1 + 1j) / (1j * omega))
    trips = 2.0 if fit.end and fit.end.drop > TOTAL else 1.0
    return np.asarray((root - 1) / (root + 1) * (1.0 - np.exp(trips * fit.end_delay_s * fit.rate.exponent(f))))


def _down_to_zero(fit: EchoFit) -> tuple[Floats, Complexes]:
    """Return the sweep with points added from zero up to its first: what the fitted echoes give there."""
    f = fit.frequency_hz
    step = float(np.median(np.diff(f)))
    count = min(max(1, int(np.ceil(f[0] / step))), len(f)) if f[0] > 0 else 0
    share = np.arange(count) / max(count, 1)
    low = share * f[0]
    left_over = (fit.reflection[0] - fit.modelled[0]) * share
    return np.concatenate([low, f]), np.concatenate([fit.model_at(low) + left_over, fit.reflection])
