"""Whether a sweep can be believed at all: no power from nowhere, the same both ways, real numbers in every column."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from linewright.core.arrays import Complexes, Floats
from linewright.core.formatting import near_frequency, plain
from linewright.core.formulas.delay import slope_delay_s, turned_back
from linewright.core.messages import say, together
from linewright.core.nouns.sweep import Health, Sweep
from linewright.inference.sweep.traces import noise_of

GAIN_DOUBT, GAIN_REFUSE = 0.025, 0.06
"""How far above one the largest share of amplitude may rise for more than a few points: a doubt, and no measurement."""
GAIN_NOTE = 0.01
ODD_SHARE = 0.02
"""Share of the points that may break a rule before the sweep as a whole does."""
RECIPROCAL_DOUBT, RECIPROCAL_REFUSE = 0.02, 0.08
"""How far the two directions may differ, as a share of the wave."""
ONE_WAY, WORST_RUN = 1.0, 0.15
"""Directions that differ by more than all of a wave are no cable's; by how much a run of points may differ at most."""
RUN = 5
NEAR = 15
MOST_NOISE = 0.05
"""No analyser is noisier than this share of a full wave: beyond it, it is the calibration."""
SIGMAS = 4.0
"""So many standard deviations of a point's own noise are no fault of the calibration."""
FILLER = 1e-7
"""A column this small or this constant is no measurement (-140 dB)."""


def checked(sweep: Sweep) -> tuple[Health, ...]:
    """Return what is wrong or odd with a sweep of any number of ports, the gravest first.

    Passivity: no passive network sends out more power than goes in, so no singular value of S exceeds 1 (D. M. Pozar,
    Microwave Engineering, 4th ed., section 4.3 for the lossless case). Reciprocity: without ferrites or amplifiers
    S equals its transpose.
    """
    empty = filler(sweep)
    found = _filler(sweep, empty)
    found += _passive(sweep, empty)
    if sweep.ports == 2 and not (empty[0, 1] or empty[1, 0]):
        found += _reciprocal(sweep)
    rank = {"refuse": 0, "doubt": 1, "note": 2}
    return tuple(sorted(found, key=lambda h: rank[h.severity]))


def filler(sweep: Sweep) -> NDArray[np.bool_]:
    """Return which columns hold filler instead of a measurement, shape (ports, ports): nothing, or one value only."""
    small = np.abs(sweep.s).max(axis=0) < FILLER
    still = np.ptp(sweep.s.real, axis=0) + np.ptp(sweep.s.imag, axis=0) == 0
    return np.asarray(small | (still & (len(sweep.frequency_hz) > 2) & (sweep.ports > 1)))


def completed(sweep: Sweep) -> Sweep:
    """Return a two-port whose filler is replaced by what was measured from its other side, as far as it was.

    Many an analyser measures S11 and S21 alone. A cable is alike from both ends, or nearly.
    """
    empty, s = filler(sweep), sweep.s.copy()
    for here, there in (((0, 0), (1, 1)), ((0, 1), (1, 0))):
        if empty[here] != empty[there]:
            blank, seen = (here, there) if empty[here] else (there, here)
            s[:, blank[0], blank[1]] = s[:, seen[0], seen[1]]
    return replace(sweep, s=s)


def _filler(sweep: Sweep, empty: NDArray[np.bool_]) -> list[Health]:
    if not empty.any():
        return []
    names = ", ".join(f"S{i + 1}{j + 1}" for i, j in zip(*np.nonzero(empty), strict=True))
    why = say("{parameters} of {sweep} hold filler, not a measurement: they are ignored.",
              parameters=names, sweep=sweep.name)  # fmt: skip
    if sweep.ports == 2 and not (empty & empty[::-1, ::-1]).any():
        why = say("{parameters} of {sweep} were not measured: the cable is assumed to be the same from both ends.",
                  parameters=names, sweep=sweep.name)  # fmt: skip
        return [Health("filler", "note", float(empty.sum()), why)]
    through = sweep.ports == 1 or not empty[~np.eye(sweep.ports, dtype=bool)].all()
    return [Health("filler", "doubt" if through else "refuse", float(empty.sum()), why)]


def _passive(sweep: Sweep, empty: NDArray[np.bool_]) -> list[Health]:
    over = np.maximum(_greatest(np.where(empty, 0.0, sweep.s)) - 1.0 - SIGMAS * _noise(sweep), 0.0)
    odd = float(np.mean(over > 1e-6))
    # One point may stray; a run of them does not by noise.
    usual = max(float(np.quantile(over, 1.0 - ODD_SHARE)), _run(over) / 2.0)
    worst = int(np.argmax(over))
    if odd <= ODD_SHARE / 4.0 or usual <= GAIN_NOTE:
        return []
    where = near_frequency(float(sweep.frequency_hz[worst]))
    said = say(
        "At {share} % of the points more comes out than goes in, at worst {worst} % in amplitude near {f}: a cable "
        "adds no power.",
        share=plain(100 * odd, 0), worst=plain(100 * float(over[worst]), 1), f=where,
    )  # fmt: skip
    if usual > GAIN_REFUSE:
        return [
            Health("calibration", "refuse", usual, together([said, say("The calibration is bad: calibrate again.")]))
        ]
    if usual > GAIN_DOUBT:
        doubt = say("The calibration is doubtful; losses may be too small.")
        return [Health("calibration", "doubt", usual, together([said, doubt]))]
    fair = say("That is within what noise and a fair calibration leave.")
    return [Health("passivity", "note", usual, together([said, fair]))]


def _run(value: Floats) -> float:
    """Return the greatest median of five neighbours; nothing where there are not five."""
    if len(value) < RUN:
        return 0.0
    return float(np.median(np.lib.stride_tricks.sliding_window_view(value, RUN), axis=1).max())


def _greatest(s: Complexes) -> Floats:
    """Return the greatest singular value at every point; for two ports in closed form."""
    if s.shape[1] != 2:
        return np.asarray(np.linalg.norm(s, 2, axis=(1, 2)))
    power = np.sum(np.abs(s) ** 2, axis=(1, 2))
    both = np.abs(s[:, 0, 0] * s[:, 1, 1] - s[:, 0, 1] * s[:, 1, 0]) ** 2
    return np.asarray(np.sqrt((power + np.sqrt(np.maximum(power**2 - 4.0 * both, 0.0))) / 2.0))


def _noise(sweep: Sweep) -> Floats:
    """Return the noise of the strongest column at every point."""
    i, j = np.unravel_index(int(np.argmax(np.abs(sweep.s).mean(axis=0))), sweep.s.shape[1:])
    wave = sweep.s[:, i, j]
    return noise_of(turned_back(sweep.frequency_hz, wave, slope_delay_s(sweep.frequency_hz, wave)))


def _noise_near(value: Complexes) -> Floats:
    """Return the noise at every point as its neighbourhood shows it: it changes fast where a wave is weak."""
    step = np.pad(np.abs(np.diff(value)), (NEAR // 2, NEAR // 2 + 1), mode="edge")
    return np.asarray(np.median(np.lib.stride_tricks.sliding_window_view(step, NEAR), axis=1) / 1.665)


def _reciprocal(sweep: Sweep) -> list[Health]:
    forward, back = sweep.s[:, 1, 0], sweep.s[:, 0, 1]
    size = np.sqrt(np.abs(forward * back)) + 1e-300
    turned = (forward - back) * np.exp(-1j * np.angle(forward)) / size
    allowed = np.minimum(SIGMAS * _noise_near(turned), MOST_NOISE / size)
    apart = np.maximum(np.abs(turned) - allowed, 0.0)
    usual, worst = max(float(np.quantile(apart, 0.9)), _run(apart) / 2.0), int(np.argmax(apart))
    if usual <= RECIPROCAL_DOUBT:
        return []
    if float(apart[worst]) > ONE_WAY:
        why = say(
            "Far more comes through one way than the other, most near {f}: an amplifier or an isolator is in the "
            "line, or one direction was not measured.",
            f=near_frequency(float(sweep.frequency_hz[worst])),
        )
        return [Health("reciprocity", "refuse", ONE_WAY, why)]
    said = say(
        "The two directions differ by up to {share} %, most near {f}; through a cable they are the same.",
        share=plain(100 * float(apart[worst]), 0), f=near_frequency(float(sweep.frequency_hz[worst])),
    )  # fmt: skip
    if usual > RECIPROCAL_REFUSE or _run(apart) > WORST_RUN:
        bad = say("The calibration is bad, or a cable moved: calibrate again.")
        return [Health("reciprocity", "refuse", usual, together([said, bad]))]
    moved = say("The calibration is doubtful, or a cable moved in the meantime.")
    return [Health("reciprocity", "doubt", usual, together([said, moved]))]
