"""Antennas behind lines, with known truth, written apart from the engine: other lines, other antennas, other bridges.

A line is worked out from its resistance, inductance, leakage and capacitance per metre, with skin effect in both R and
L. An antenna is one of four: a dipole as an open lossy line (all its resonances), a series or a parallel circuit, or a
short loaded whip with little resistance. A bridge leaks at a phase that turns with frequency, has a complex scale error
and a source of its own that does not match, and rounds.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from linewright.core.arrays import Complexes, Floats

Impedance = Callable[[Floats], Complexes]
TWO_PI, LIGHT = 2 * np.pi, 299_792_458.0
ANTENNAS = ("dipole", "series", "parallel", "whip")


@dataclass(frozen=True, slots=True)
class Cable:
    """A cable of given matched loss at one frequency; ``share`` of it is in the conductors there."""

    loss_db: float
    at_hz: float
    share: float
    z0: float = 50.0
    vf: float = 0.66
    length_m: float = 20.0

    def seen(self, load: Complexes, f: Floats) -> Complexes:
        """Return the impedance seen through the cable."""
        gamma, z = self._line(f)
        t = np.tanh(gamma * self.length_m)
        return z * (load + z * t) / (z + load * t)

    def true_db(self, f: Floats) -> Floats:
        """Return the matched loss."""
        return 8.685889638 * self._line(f)[0].real * self.length_m

    def _line(self, f: Floats) -> tuple[Complexes, Complexes]:
        w = TWO_PI * f
        neper = self.loss_db / 8.685889638 / self.length_m
        r = 2 * self.z0 * neper * self.share * np.sqrt(f / self.at_hz)
        g = 2 / self.z0 * neper * (1 - self.share) * f / self.at_hz
        speed = self.vf * LIGHT
        series, shunt = r + 1j * (w * self.z0 / speed + r), g + 1j * w / (self.z0 * speed)
        return np.sqrt(series * shunt), np.sqrt(series / shunt)


@dataclass(frozen=True, slots=True)
class Bridge:
    """A bridge: leak with its delay, scale error, source reflection, and how a reading is rounded."""

    leak: complex
    delay_s: float
    scale: complex
    source: complex
    noise: float

    def reads(self, rng: np.random.Generator, gamma: Complexes, f: Floats) -> Complexes:
        """Return the reflection it makes of the true one."""
        noise = self.noise * (rng.standard_normal(len(f)) + 1j * rng.standard_normal(len(f)))
        turned = self.leak * np.exp(-1j * TWO_PI * f * self.delay_s)
        return turned + (1 + self.scale) * gamma / (1 - self.source * gamma) + noise


def draw_bridge(rng: np.random.Generator, directivity_db: float, *, analyser: bool) -> Bridge:
    """Return a bridge whose leak stays below its specification."""

    def turned(size: float) -> complex:
        return complex(size * np.exp(1j * TWO_PI * rng.random()))

    leak = turned(10 ** (-directivity_db / 20) * rng.uniform(0.25, 1.0))
    scale = turned(abs(rng.normal(0, 0.006 if analyser else 0.025)))
    source = turned(rng.uniform(0.0, 0.01 if analyser else 0.04))
    return Bridge(leak, rng.uniform(0, 2e-9), scale, source, 0.0003 if analyser else 0.001)


def draw_antenna(rng: np.random.Generator, f0: float, kind: str | None = None) -> Impedance:
    """Return the impedance of an antenna resonant at ``f0``."""
    kind = kind or str(rng.choice(ANTENNAS))
    q = np.exp(rng.uniform(np.log(7), np.log(35)))
    r = 50 * np.exp(rng.normal(0, 0.3))
    if kind == "series":
        return lambda f: r * (1 + 1j * q * (f / f0 - f0 / f))
    if kind == "parallel":
        return lambda f: r / (1 + 1j * q * (f / f0 - f0 / f))
    if kind == "whip":
        small, coil = rng.uniform(8, 25), rng.uniform(3, 15)
        return lambda f: coil + small * (f / f0) ** 2 + 1j * 35 * q * (f / f0 - f0 / f)
    # A centre-fed dipole as an open line a quarter wave long on each side; its loss is what it radiates.
    wave = 4 * r * q / np.pi
    return lambda f: wave / np.tanh(np.pi / (4 * q) + 1j * np.pi * f / (2 * f0))


def reflection(z: Complexes) -> Complexes:
    """Return the reflection on 50 ohms."""
    return (z - 50.0) / (z + 50.0)


def rounded_swr(gamma: Complexes, step: float) -> Floats:
    """Return what an SWR scale shows of it."""
    m = np.minimum(np.abs(gamma), 0.98)
    return np.maximum(np.round((1 + m) / (1 - m) / step) * step, 1.0)
