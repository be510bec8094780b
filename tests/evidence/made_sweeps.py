"""Sweeps of made-up cables, made by scikit-rf's media: an engine that knows nothing of ours."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import skrf

from linewright.core.nouns.sweep import Sweep

C_M_PER_S = 299792458.0


@dataclass(frozen=True)
class Made:
    """A uniform cable that loses about k1 √f + k2 f dB (f in MHz) over its whole length."""

    k1_db: float = 0.3
    k2_db: float = 0.002
    zc_ohm: float = 50.0
    velocity_factor: float = 0.66
    length_m: float = 20.0
    start_hz: float = 1e6
    stop_hz: float = 500e6
    points: int = 801
    noise: float = 1e-4

    @property
    def delay_s(self) -> float:
        return self.length_m / self.velocity_factor / C_M_PER_S

    @property
    def frequency(self) -> skrf.Frequency:
        return skrf.Frequency(self.start_hz, self.stop_hz, self.points, "Hz")

    def loss_db(self, frequency_hz):
        """What the line really loses: the law holds where the skin resistance is small against the reactance."""
        f = np.atleast_1d(np.asarray(frequency_hz, dtype=float))
        return 8.685889638 * self.length_m * self.media(skrf.Frequency.from_f(f, unit="Hz")).gamma.real

    def loss_at(self, frequency_hz: float) -> float:
        return float(self.loss_db(frequency_hz)[0])

    @property
    def group_delay_s(self) -> float:
        """The slope of the phase over the sweep: the skin effect slows the wave a little."""
        omega = 2 * np.pi * self.frequency.f
        return float(np.polyfit(omega, self.media(self.frequency).gamma.imag * self.length_m, 1)[0])

    def media(self, frequency: skrf.Frequency) -> skrf.media.DistributedCircuit:
        f, slow = frequency.f, self.velocity_factor * C_M_PER_S
        skin = 2 * self.zc_ohm * self.k1_db / self.length_m / 8.685889638 * np.sqrt(f / 1e6)
        return skrf.media.DistributedCircuit(
            frequency,
            C=1 / (self.zc_ohm * slow),
            L=self.zc_ohm / slow + skin / (2 * np.pi * f),
            R=skin,
            G=2 * self.k2_db / self.length_m / 8.685889638 * f / 1e6 / self.zc_ohm,
            z0_port=50.0,
        )

    def line(self) -> skrf.Network:
        return self.media(self.frequency).line(self.length_m, "m")

    def through(self, seed: int = 1) -> Sweep:
        return sweep_of(self.line(), "through", self.noise, seed)

    def ended(self, far: complex, seed: int = 2) -> Sweep:
        end = skrf.Network(frequency=self.frequency, s=np.full((self.points, 1, 1), far, dtype=complex), z0=50.0)
        return sweep_of(self.line() ** end, f"far end {far:g}", self.noise, seed)


def sweep_of(network: skrf.Network, name: str = "made", noise: float = 0.0, seed: int = 0) -> Sweep:
    rng = np.random.default_rng(seed)
    shape = network.s.shape
    s = network.s + noise / np.sqrt(2) * (rng.normal(size=shape) + 1j * rng.normal(size=shape))
    return Sweep(name, network.f, s, network.z0[0].astype(complex))
