"""Echoes in a reflection sweep: a sum of few reflections, each delayed and attenuated by the line before it.

The line is described per second of one-way delay, so nothing here needs a velocity factor:
``Γ(f) = Σ r_k(f) exp(-2 τ_k (A(f) + jω + j A1(f)))``. ``A`` is the line's attenuation in nepers per second, ``A1`` its
conductor part, which also slows the wave (the inner inductance of the skin effect equals its resistance). A step of
impedance reflects alike at every frequency; a short spot of other impedance acts as a lone capacitance or inductance
and reflects as ``jf``; what fits neither is a lump, a short power series.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from linewright.units.constants import TWO_PI

Floats = NDArray[np.float64]
Complexes = NDArray[np.complex128]
Shape = Literal["step", "spot"]
PLAIN: tuple[Shape, Shape] = ("step", "spot")

APART_CELLS = 1.3
"""Nearer to each other than this, two echoes are one lump; nearer to an end, they belong to the connector there."""

KAISER = 5.0
LOW_PASS = 0.05
"""A sweep that starts below this share of its top reaches down near zero."""


@dataclass(frozen=True, slots=True)
class Rate:
    """Attenuation in nepers per second of one-way delay at 1 MHz: the √f part and the f part."""

    conductor: float
    dielectric: float

    def parts(self, frequency_hz: Floats) -> tuple[Floats, Floats]:
        """Return both parts, nepers per second, shape (f,)."""
        mhz = frequency_hz / 1e6
        return self.conductor * np.sqrt(mhz), self.dielectric * mhz

    def exponent(self, frequency_hz: Floats) -> Complexes:
        """Return what a second of one-way delay, there and back, does to the logarithm of a wave, shape (f,)."""
        conductor, dielectric = self.parts(frequency_hz)
        return np.asarray(-2.0 * (conductor + dielectric + 1j * (TWO_PI * frequency_hz + conductor)))


@dataclass(frozen=True, slots=True)
class Echo:
    """One reflection.

    Attributes
    ----------
    delay_s, delay_u_s : float
        One-way delay and its standard uncertainty.
    shape : "step" or "spot"
        Which of the two it is nearer to; ``fits`` is the share of its energy that this shape explains.
    size : float
        Signed; for a spot, at the top of the sweep. The line's loss before it is taken back.
    strength : float
        How many times the noise it stands out.
    drop : float
        Largest reflection it makes within the sweep, magnitude.
    """

    delay_s: float
    delay_u_s: float
    shape: Shape
    size: float
    strength: float
    drop: float
    fits: float


@dataclass(slots=True)
class Part:
    """One part of the model: a delay and how its reflection may depend on frequency."""

    delay: float
    kind: Literal["step", "spot", "lump", "near", "far"]


@dataclass(frozen=True, slots=True)
class EchoFit:
    """What was found in one reflection sweep.

    Attributes
    ----------
    frequency_hz, reflection, modelled : ndarray, shape (points,)
        What was looked at, and the model of it.
    echoes : tuple of Echo
        In order of delay, beyond the far end too: those are re-reflections.
    end : Echo or None
        The far end where its delay is known; ``near`` is the near end.
    cell_s : float
        One over twice the bandwidth: the delay that two echoes must differ by.
    range_s : float
        Delays beyond this fold back onto shorter ones.
    threshold, noise : float
        What strength an echo needs, and the noise it is counted in.
    """

    frequency_hz: Floats
    reflection: Complexes
    modelled: Complexes
    rate: Rate
    echoes: tuple[Echo, ...]
    near: Echo
    end: Echo | None
    cell_s: float
    range_s: float
    threshold: float
    noise: float
    low_pass: bool
    searched_s: float
    parts: tuple[tuple[Part, Floats], ...]

    def model_at(self, frequency_hz: Floats) -> Complexes:
        """Return what the fitted parts give at other frequencies; to be trusted near the sweep's own only."""
        u, exponent = frequency_hz / self.frequency_hz[-1], self.rate.exponent(frequency_hz)
        out = np.zeros(len(frequency_hz), dtype=np.complex128)
        for part, share in self.parts:
            out += columns(part, u, exponent) @ share
        return out

    @property
    def end_delay_s(self) -> float | None:
        """Return the one-way delay of the far end, where it is known."""
        return self.end.delay_s if self.end else None


def waves(exponent: Complexes, delays: Floats) -> Complexes:
    """Return ``exp(delay · exponent)``, shape (f, delays): a coarse ladder times a fine one."""
    step = delays[1] - delays[0]
    fine = 32
    coarse = -(-len(delays) // fine)
    a = np.exp(np.outer(exponent, np.arange(coarse) * fine * step))
    b = np.exp(np.outer(exponent, np.arange(fine) * step))
    return np.asarray((a[:, :, None] * b[:, None, :]).reshape(len(exponent), -1)[:, : len(delays)])


def plain_form(shape: Shape, u: Floats) -> Complexes:
    """Return how a plain shape depends on frequency, given as shares of the top."""
    return np.asarray(u + 0j) * 1j if shape == "spot" else np.ones(len(u), dtype=np.complex128)


def columns(part: Part, u: Floats, exponent: Complexes) -> Complexes:
    """Return the columns of one part at frequencies given as shares of the top, shape (f, columns)."""
    ju = 1j * u
    series = [ju**n for n in range(6)]
    forms = {
        "step": series[:1],
        "spot": series[1:2],
        "lump": [*series[:5], np.sqrt(ju), u + 0j],
        "near": [*series, 1.0 / np.sqrt(ju + 0.02)],
        "far": [*series, 1.0 / np.sqrt(ju + 0.02), np.sqrt(ju), u + 0j],
    }[part.kind]
    return np.asarray(np.stack(forms, axis=1) * np.exp(part.delay * exponent)[:, None])
