"""The antenna's impedance: the line's two-way loss and phase taken out of a complex reflection."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from linewright.evidence.through.antenna import Antenna
from linewright.model.through import Complexes, Floats, LineBehind, Seen
from linewright.physics.sparameters import impedance_from_reflection, reflection_from_impedance
from linewright.physics.through import far_impedance_ohm, lossy_impedance_ohm, phase_constant_rad_per_m
from linewright.units.constants import DB_PER_NEPER

DELAY_SPREAD = 0.01
"""Relative standard deviation of a line's electrical length: velocity factor and tape (common practice, no source)."""


def referred_to_line(seen: Seen, line: LineBehind) -> Seen:
    """Return a complex reading referred to the line's own impedance, where that is another."""
    r0 = line.impedance_ohm
    if not seen.has_phase or r0 is None or r0 == seen.reference_ohm:
        return seen
    gamma = reflection_from_impedance(impedance_from_reflection(seen.reflection, seen.reference_ohm), r0)
    step = (r0 - seen.reference_ohm) / (r0 + seen.reference_ohm)
    stretch = (1.0 - step**2) / np.abs(1.0 - step * seen.reflection) ** 2
    reach, m = stretch * (seen.high - seen.low) / 2.0, np.abs(gamma)
    return replace(seen, reflection=gamma, low=np.maximum(m - reach, 0.0), high=m + reach, reference_ohm=r0)


def antenna_impedance_ohm(seen: Seen, line: LineBehind, antenna: Antenna, rng: np.random.Generator) -> Complexes | None:
    """Return draws of the antenna's impedance in ohms, (f, draws); None where no phase was seen or can be taken out.

    ``seen`` is referred to the line's impedance. The line's complex characteristic impedance follows from its law.
    """
    belief = line.belief
    if belief is None or line.impedance_ohm is None or line.velocity_factor is None or line.length_m is None:
        return None
    if not seen.has_phase or seen.frequency_hz is None:
        return None
    conductor, dielectric, _ = (part / DB_PER_NEPER for part in belief.parts_db(seen.frequency_hz))
    longer = np.exp(DELAY_SPREAD * rng.standard_normal(conductor.shape[1]))
    radians = phase_constant_rad_per_m(seen.frequency_hz, line.velocity_factor)[:, None] * line.length_m * longer
    z0 = lossy_impedance_ohm(line.impedance_ohm, conductor, dielectric, radians)
    shown = _shown(seen, antenna)
    near = impedance_from_reflection(shown, line.impedance_ohm)
    return far_impedance_ohm(near, z0, antenna.loss_db / DB_PER_NEPER + 1j * radians)


def _shown(seen: Seen, antenna: Antenna) -> Complexes:
    """Return draws of the reflection at the near end of the line, the bridge's leak taken away."""
    phase: Floats = np.angle(seen.reflection)[:, None] - antenna.turned_rad
    return np.asarray(antenna.reflection * 10.0 ** (-antenna.loss_db / 10.0) * np.exp(1j * phase))
