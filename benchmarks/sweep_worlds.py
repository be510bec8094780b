"""Sweeps of cables of known truth, made by scikit-rf: its circuit media, its cascading, an analyser's leftover errors.

Nothing here knows the engine. A cable is resistance, inductance, conductance and capacitance per metre; its ends are
connectors of another impedance that lose a little; the analyser keeps residual directivity, match and tracking
(error boxes cascaded to the device), noise on the trace, a noise floor, now and then an interferer.
"""

from __future__ import annotations

import warnings
from dataclasses import dataclass

import numpy as np
import skrf

from linewright.core.nouns.sweep import Sweep

C_M_PER_S = 299792458.0
SYSTEM_OHM = 50.0


@dataclass(frozen=True, slots=True)
class Truth:
    """What the cable really is. ``loss_db`` is its matched loss with its connectors, at every frequency of ``f_hz``."""

    f_hz: np.ndarray
    loss_db: np.ndarray
    k1_db: float
    k2_db: float
    zc_ohm: float
    phase_rad: np.ndarray
    length_m: float
    velocity_factor: float
    lawful: bool

    def group_delay_s(self, low_hz: float, high_hz: float) -> float:
        """Return the slope of the whole device's phase, seen from the line's own impedance, over part of the sweep."""
        mine = (self.f_hz >= low_hz * 0.999) & (self.f_hz <= high_hz * 1.001)
        return float(-np.polyfit(2 * np.pi * self.f_hz[mine], self.phase_rad[mine], 1)[0])

    def loss_at(self, f_hz: float) -> float:
        return float(np.interp(np.sqrt(f_hz), np.sqrt(self.f_hz), self.loss_db))


@dataclass(frozen=True, slots=True)
class World:
    """Sweeps of one cable: through, and with its far end open, shorted and loaded; and what is known of it."""

    through: Sweep
    open: Sweep
    short: Sweep
    load: Sweep
    truth: Truth
    told_length_m: float
    told_velocity_factor: float


@dataclass(frozen=True, slots=True)
class Kind:
    """Which worlds to draw. ``step_db`` is a jump of the through's loss at a random frequency."""

    name: str
    coarse: bool = False
    lawful: bool = False
    spikes: float = 0.05
    step_db: float = 0.0
    short_lines: bool = False


KINDS = (
    Kind("plain"),
    Kind("every law holds", lawful=True),
    Kind("too few points", coarse=True),
    Kind("interference", spikes=1.0),
    Kind("a contact moves", step_db=0.15),
    Kind("jumpers below 1 m", short_lines=True),
)


def draw(rng: np.random.Generator, kind: Kind) -> World:
    """Draw a cable, a sweep plan and an analyser, and sweep."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        return _draw(rng, kind)


def _draw(rng: np.random.Generator, kind: Kind) -> World:
    while True:
        velocity = float(rng.choice([0.66, 0.695, 0.78, 0.82, 0.85, 0.88])) * float(rng.normal(1, 0.004))
        zc = float(rng.normal(75, 1.5)) if rng.random() < 0.1 else float(rng.normal(50, 1.0))
        length = float(np.exp(rng.uniform(*np.log((0.25, 1.0) if kind.short_lines else (1.0, 60.0)))))
        conductor = float(np.exp(rng.normal(np.log(0.009), 0.6)))
        dielectric = float(np.exp(rng.normal(np.log(7e-5), 0.8)))
        f = _plan(rng, kind, length / velocity / C_M_PER_S)
        top = length * (conductor * np.sqrt(f[-1] / 1e6) + dielectric * f[-1] / 1e6)
        if top < 60.0:
            break
    frequency = skrf.Frequency.from_f(f, unit="Hz")
    lawful = kind.lawful or rng.random() < 0.6
    media = _media(frequency, zc, velocity, (conductor, dielectric), None if lawful else rng)
    ends = [_connector(frequency, rng) for _ in range(2)]
    heat = [float(0.0017 * np.exp(rng.normal(0, 0.5))) for _ in range(2)]
    pads = [_heat(frequency, h) for h in heat]
    device = ends[0] ** pads[0] ** media.line(length, "m") ** pads[1] ** ends[1].flipped()
    loss = 8.685889638 * media.gamma.real * length + sum(heat) * np.sqrt(f / 1e6)
    design = np.stack([np.sqrt(f / 1e6), f / 1e6], axis=-1)
    k1, k2 = np.linalg.lstsq(design, loss, rcond=None)[0]
    # The connectors' own delay belongs to the piece: its length is measured between reference planes.
    extra = sum(e.told_delay for e in ends)
    inner = device.copy()
    inner.renormalize(zc)
    about = 2 * np.pi * f * (length / velocity / C_M_PER_S + extra)
    phase = np.unwrap(np.angle(inner.s[:, 1, 0] * np.exp(1j * about))) - about
    truth = Truth(f, loss, float(k1), float(k2), zc, phase, length + extra * velocity * C_M_PER_S, velocity, lawful)
    analyser = _Analyser(rng, frequency, kind)
    far = _far_ends(frequency, rng)
    through = analyser.two_port(device)
    return World(
        through, *(analyser.one_port(device, far[end], end) for end in ("open", "short", "load")), truth,
        truth.length_m * float(rng.normal(1, 0.005)), velocity * float(rng.normal(1, 0.01)),
    )  # fmt: skip


def _plan(rng: np.random.Generator, kind: Kind, delay_s: float) -> np.ndarray:
    """Return the frequencies of a sweep somebody might set; a coarse one turns more than once a point."""
    start = float(rng.choice([1e5, 1e6, 1e6, 1.8e6, 10e6, 50e6]))
    stop = float(rng.choice([60e6, 150e6, 500e6, 500e6, 900e6, 1500e6, 3000e6]))
    stop = max(stop, 3 * start)
    if kind.short_lines:
        stop = max(stop, 500e6)
    if kind.coarse:
        points = int(rng.choice([51, 101, 101, 201]))
        turns = float(rng.uniform(0.6, 6.0))
        stop = start + (points - 1) * turns / delay_s
        stop = min(stop, 6e9)
        return np.linspace(start, stop, points)
    fewest = int(2.6 * (stop - start) * delay_s) + 2
    points = max(int(rng.choice([101, 201, 201, 401, 401, 801, 1001, 1601])), fewest)
    if rng.random() < 0.08 and points < 1700 and delay_s * stop < 40:
        return np.geomspace(start, stop, points)
    return np.linspace(start, stop, points)


def _media(
    frequency: skrf.Frequency, zc: float, velocity: float, law: tuple[float, float], rough: np.random.Generator | None
) -> skrf.media.DistributedCircuit:
    """Return a line whose skin resistance equals its skin reactance; a rough one has a floor and a braid as well."""
    f = frequency.f
    omega = 2 * np.pi * f
    capacitance, inductance = 1 / (zc * velocity * C_M_PER_S), zc / (velocity * C_M_PER_S)
    skin = 2 * zc * law[0] / 8.685889638 * np.sqrt(f / 1e6)
    resistance = skin
    if rough is not None:
        corner = float(np.exp(rough.uniform(np.log(0.05e6), np.log(1.5e6))))
        floor = 2 * zc * law[0] / 8.685889638 * np.sqrt(corner / 1e6)
        resistance = np.sqrt(skin**2 + floor**2)
        height = float(rough.uniform(0.0, 0.15))
        braid = float(np.exp(rough.uniform(np.log(100e6), np.log(2000e6))))
        resistance = resistance * (1 + height * 2 / np.pi * np.arctan((f / braid) ** 1.0))
    conductance = 2 * law[1] / 8.685889638 * f / 1e6 / zc
    return skrf.media.DistributedCircuit(
        frequency, C=capacitance, L=inductance + skin / omega, R=resistance, G=conductance, z0_port=SYSTEM_OHM
    )


def _connector(frequency: skrf.Frequency, rng: np.random.Generator) -> skrf.Network:
    """Return a connector: a centimetre or three of an impedance of its own. Its delay is told beside it."""
    delay = float(rng.uniform(0.008, 0.035)) / (0.7 * C_M_PER_S)
    zc = float(np.clip(rng.normal(48, 6), 30, 65)) if rng.random() < 0.7 else float(rng.normal(50, 1))
    media = skrf.media.DefinedGammaZ0(frequency, z0=zc, z0_port=SYSTEM_OHM, gamma=2j * np.pi * frequency.f)
    out = media.line(delay, "m")
    out.told_delay = delay
    return out


def _heat(frequency: skrf.Frequency, k1_db: float) -> skrf.Network:
    """Return a matched loss that grows with √f."""
    out = skrf.media.DefinedGammaZ0(frequency, z0=SYSTEM_OHM, gamma=0j).thru()
    out.s[:, 0, 1] = out.s[:, 1, 0] = 10 ** (-k1_db * np.sqrt(frequency.f / 1e6) / 20)
    return out


def _far_ends(frequency: skrf.Frequency, rng: np.random.Generator) -> dict[str, np.ndarray]:
    """Return reflections of an open with its fringe, a short, and a load that is nearly right."""
    fringe = float(rng.uniform(0, 60e-15))
    omega = 2 * np.pi * frequency.f
    load = float(rng.normal(50, 1.0)) + 1j * omega * float(rng.normal(0, 0.1e-9))
    return {
        "open": np.exp(-2j * np.arctan(omega * fringe * SYSTEM_OHM)),
        "short": -np.ones(len(omega), dtype=complex),
        "load": (load - SYSTEM_OHM) / (load + SYSTEM_OHM),
    }


class _Analyser:
    """An analyser with what its calibration left."""

    def __init__(self, rng: np.random.Generator, frequency: skrf.Frequency, kind: Kind) -> None:
        self.rng, self.frequency, self.kind = rng, frequency, kind
        self.tracking_db = float(np.exp(rng.uniform(np.log(0.002), np.log(0.02))))
        self.directivity = 10 ** (-float(rng.uniform(34, 50)) / 20)
        self.match = 10 ** (-float(rng.uniform(30, 46)) / 20)
        self.trace = float(np.exp(rng.uniform(np.log(1e-4), np.log(2e-3))))
        self.floor = 10 ** (-float(rng.uniform(60, 100)) / 20)
        self.boxes = [self._box(), self._box()]

    def _wave(self, size: float) -> np.ndarray:
        """Return a complex error that wanders along the sweep as a few small echoes do; root mean square ``size``."""
        f, out = self.frequency.f, 0j
        for _ in range(4):
            delay = float(self.rng.exponential(1.2e-9))
            out = out + (self.rng.normal() + 1j * self.rng.normal()) * np.exp(-2j * np.pi * f * delay)
        return size * out / np.sqrt(8)

    def _box(self) -> skrf.Network:
        s = np.zeros((len(self.frequency.f), 2, 2), dtype=complex)
        s[:, 0, 0], s[:, 1, 1] = self._wave(self.directivity), self._wave(self.match)
        tracking = 1 + self._wave(np.sqrt(2) * self.tracking_db / 8.686)
        s[:, 0, 1] = s[:, 1, 0] = tracking
        return skrf.Network(frequency=self.frequency, s=s, z0=SYSTEM_OHM)

    def _noisy(self, s: np.ndarray) -> np.ndarray:
        shape = s.shape

        def draw() -> np.ndarray:
            return (self.rng.normal(size=shape) + 1j * self.rng.normal(size=shape)) / np.sqrt(2)

        out = s * (1 + self.trace * draw()) + self.floor * draw()
        if self.rng.random() < self.kind.spikes:
            hit = self.rng.random(shape[0]) < 0.01
            out[hit] += 0.2 * draw()[hit]
        return out

    def two_port(self, device: skrf.Network) -> Sweep:
        seen = (self.boxes[0] ** device ** self.boxes[1].flipped()).s.copy()
        if self.kind.step_db:
            f = self.frequency.f
            after = f > np.quantile(f, self.rng.uniform(0.25, 0.8))
            seen[after, 0, 1] *= 10 ** (-self.kind.step_db / 20)
            seen[after, 1, 0] *= 10 ** (-self.kind.step_db / 20)
        return Sweep("through", self.frequency.f, self._noisy(seen), np.full(2, SYSTEM_OHM + 0j))

    def one_port(self, device: skrf.Network, far: np.ndarray, name: str) -> Sweep:
        end = skrf.Network(frequency=self.frequency, s=far[:, None, None], z0=SYSTEM_OHM)
        seen = (self.boxes[0] ** device**end).s.copy()
        return Sweep(name, self.frequency.f, self._noisy(seen), np.full(1, SYSTEM_OHM + 0j))
