"""A cable swept from end to end: loss, impedance and delay with their intervals."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from linewright.core.arrays import Complexes, Floats
from linewright.core.formatting import plain, quantity
from linewright.core.formulas.sparameters import renormalise
from linewright.core.messages import mark, say
from linewright.core.nouns.line import LineType
from linewright.core.nouns.sweep import Health, Interval, Sweep, SweepFinding
from linewright.inference.sweep import health
from linewright.inference.sweep.impedance import ImpedancePoints, Skin, along, course, points, through_terms
from linewright.inference.sweep.reading import MATCH, NEAR, SweepTraces, checked, question, read
from linewright.inference.sweep.traces import Trace, pilot

ROUNDS = 4
LOW_HZ = 15e6
"""Up to here plugs reflect next to nothing: 0.003 each, of 0.08 at 432 MHz (common practice, no source)."""
SYSTEM_OHM = 50.0


def read_two_port(
    sweep: Sweep,
    *,
    length_m: float | None = None,
    velocity_factor: float | None = None,
    line: LineType | None = None,
    at_hz: Sequence[float] = (),
) -> SweepFinding:
    """Return what a sweep through a cable says of it: law, matched loss at the bands, impedance, delay, extent.

    Parameters
    ----------
    sweep : Sweep
        A two-port of at least 16 points, cable between the ports.
    length_m, velocity_factor : float, optional
        What is known of the cable; either gives the other.
    line : LineType, optional
        The type it is claimed to be: gives a velocity factor, and helps to choose between delays.
    at_hz : sequence of float
        Frequencies wanted beside the amateur bands; those outside the sweep are named in a remark.

    Raises
    ------
    InputError
        If it is no two-port, has too few points, or a length or velocity factor cannot be.
    """
    checked(sweep, 2)
    ask = question(sweep, length_m, velocity_factor, line, at_hz)
    # What divides by nothing comes out as no number, and no number is left out where means are made.
    with np.errstate(all="ignore"):
        return read(heard(sweep, ask.at_hz), ask)


LEAKS, THROWN_BACK = 0.02, 0.4
"""Where less comes through at the bottom of a sweep, and more comes back, the line is not whole."""
NOT_THROUGH = mark(
    "Next to nothing comes through ({loss}) and most of the wave comes back: the line is open or shorted somewhere, "
    "or the second port is not connected to it. There is no loss to read."
)
NO_LOSS = say("Nothing was measured from one port to the other: there is no loss to read.")


def heard(sweep: Sweep, at_hz: Floats) -> SweepTraces:
    """Return the line's trace, its impedance and the insertion losses of a two-port, as far as they were measured."""
    f, empty = sweep.frequency_hz, health.filler(sweep)
    base = SweepTraces(sweep.name, ("through",), health.checked(sweep))
    if empty[0, 1] and empty[1, 0]:
        return replace(base, remarks=(NO_LOSS,))
    s, reference = _evened(health.completed(sweep))
    wave = (s[:, 1, 0] + s[:, 0, 1]) / 2.0
    if (lost := _not_through(s, wave)) is not None:
        why = say(NOT_THROUGH, loss=quantity(plain(lost, 0), "dB"))
        return replace(base, health=(*base.health, Health("far end", "doubt", lost, why)))
    insertion = _insertion(f, wave, at_hz)
    if empty[0, 0] and empty[1, 1]:
        said = say("The reflections were not measured: the figure for matched loss still includes mismatch.")
        return replace(base, trace=Trace(f, wave, 1), insertion=insertion, remarks=(said,))
    found = points(f, *through_terms(s, reference))
    z0 = _rough_z0(Trace(f, wave, 1), found, reference)
    matched, mended = travelling(f, s, wave, z0 / reference)
    # An analyser is of 50 ohm, whatever its file is written in; what comes back from both ends goes round once more.
    seen = s if reference == SYSTEM_OHM else renormalise(s, reference, SYSTEM_OHM)
    reflected = float(np.sqrt(np.mean(np.abs(seen[:, 0, 0]) ** 2 + np.abs(seen[:, 1, 1]) ** 2)))
    off = MATCH * reflected * (1.0 + reflected)
    return replace(base, trace=Trace(f, matched, 1, mended, off), points=found, insertion=insertion)


def _not_through(s: Complexes, wave: Complexes) -> float | None:
    """Return the loss between the ports, dB, of a line that throws the wave back instead; None where it comes through.

    A line loses least at the bottom of a sweep, and a pad reflects nothing.
    """
    low = slice(0, max(4, len(wave) // 10))
    through, back = float(np.median(np.abs(wave[low]))), float(np.median(np.abs(s[low, 0, 0])))
    return -20.0 * float(np.log10(max(through, 1e-10))) if through < LEAKS and back > THROWN_BACK else None


def _evened(sweep: Sweep) -> tuple[Complexes, complex]:
    """Return S with one reference at both ports, and that reference."""
    one, other = sweep.reference_ohm
    if one == other and one.imag == 0:
        return sweep.s, complex(one)
    return renormalise(sweep.s, sweep.reference_ohm, 50.0), 50.0 + 0.0j


def _rough_z0(trace: Trace, found: ImpedancePoints, reference: complex) -> Complexes:
    """Return Z0 along the sweep from a first look at loss and delay; the reference itself where nothing can be said."""
    if len(found.frequency_hz) < 4:
        return np.full(len(trace.frequency_hz), reference)
    rough = pilot(trace)
    skin = Skin(float(max(rough.loss[1], 0.0)), rough.delay_s)
    return along(course(found, skin), skin, trace.frequency_hz)


def travelling(f: Floats, s: Complexes, wave: Complexes, ratio: Complexes) -> tuple[Complexes, Floats]:
    """Return the wave along a line whose Z0 is ``ratio`` times the reference, and the mismatch given back in dB.

    ``2 √det/(A + B/Z0 + C Z0 + D)`` of the chain matrix is e^(-γl) for the line alone, whatever the reference. What
    connectors still reflect is given back: of two reflections with a line of matched transmission T between them the
    squares seen from both ends sum to ``(r1² + r2²)(1 + |T|⁴)`` on average over the ripple; a network without loss
    (T = 1) gets back all it reflects, exactly. What is reflected up to ``LOW_HZ`` already is not given back: plugs are
    too short to reflect there, so it comes from a resistance, which loses that for good.
    """
    s11, s22, both = s[:, 0, 0], s[:, 1, 1], wave**2
    a, d = (1 + s11) * (1 - s22) + both, (1 - s11) * (1 + s22) + both
    b, c = ((1 + s11) * (1 + s22) - both) / ratio, ((1 - s11) * (1 - s22) - both) * ratio
    whole = a + b + c + d
    t = 4.0 * wave / whole
    power = (np.abs(a - d + b - c) ** 2 + np.abs(d - a + b - c) ** 2) / np.abs(whole) ** 2
    lost = np.minimum(power / 2.0, 0.99)
    for _ in range(ROUNDS):
        within = np.abs(t) ** 2 / (1.0 - lost)
        lost = np.minimum(power / (1.0 + np.minimum(within, 1.0) ** 2), 0.99)
    low = f <= LOW_HZ
    lasting = np.fmin.reduce(lost[low]) if low.any() else 0.0
    lost = np.maximum(lost - lasting, 0.0)
    return np.asarray(t / np.sqrt(1.0 - lost)), np.asarray(-10.0 * np.log10(1.0 - lost))


def _insertion(frequency_hz: Floats, wave: Complexes, at_hz: Floats) -> list[Interval]:
    """Return the insertion loss near each frequency: the median of its neighbourhood, 95 % of a robust spread."""
    db = -20.0 * np.log10(np.maximum(np.abs(wave), 1e-12))
    out = []
    for f in at_hz:
        near = db[np.abs(frequency_hz - f) <= NEAR * f]
        if len(near) < 3:
            near = db[np.argsort(np.abs(frequency_hz - f))[:3]]
            middle = float(np.interp(f, frequency_hz, db))
        else:
            middle = float(np.median(near))
        half = float(np.hypot(1.96 * 1.4826 * np.median(np.abs(near - middle)), 0.02))
        out.append(Interval(middle, middle - half, middle + half))
    return out
