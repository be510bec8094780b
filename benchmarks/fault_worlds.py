"""Synthetic coax with a known fault, swept: chains of ABCD sections from primary constants.

Nothing of the engine is used. A line is R, L, G, C per metre: R = r √f (1 + j) for the skin effect and its inner
inductance, G = ω C tan δ. Connectors are short sections of another impedance; the line is a little uneven along its
length; an analyser adds noise and what its calibration leaves over.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

LIGHT = 299_792_458.0
REFERENCE = 50.0
KINDS = ("none", "pinch", "gap", "water", "step", "bad joint", "open", "short")
ENDS = ("through", "open", "short", "load")

#: impedance, velocity factor, conductor and dielectric loss at 100 MHz in dB/m: rounded from public tables.
CABLES = (
    (50.0, 0.66, 0.130, 0.028),
    (50.0, 0.66, 0.062, 0.007),
    (50.0, 0.80, 0.100, 0.013),
    (50.0, 0.85, 0.039, 0.001),
    (75.0, 0.83, 0.060, 0.001),
)


@dataclass(slots=True)
class World:
    """What is swept, and what is true of it."""

    frequency_hz: np.ndarray
    s: np.ndarray
    far_end: str
    length_m: float
    velocity_factor: float
    impedance_ohm: float
    kind: str
    distance_m: float | None
    size: float
    truth: dict[str, float] = field(default_factory=dict)

    @property
    def cell_m(self) -> float:
        """What two points must be apart to be told apart by bandwidth alone: v / 2B."""
        return LIGHT * self.velocity_factor / (2 * (self.frequency_hz[-1] - self.frequency_hz[0]))


def _line(f: np.ndarray, ohm: float, vf: float, loss: tuple[float, float], length: float) -> np.ndarray:
    """Return ABCD of a uniform line, shape (f, 2, 2)."""
    w, v = 2 * np.pi * f, LIGHT * vf
    r = 2 * ohm * loss[0] / 8.685889638 * np.sqrt(f / 100e6)
    g = 2 / ohm * loss[1] / 8.685889638 * (f / 100e6)
    z = r * (1 + 1j) + 1j * w * ohm / v
    y = g + 1j * w / (ohm * v)
    gamma, zc = np.sqrt(z * y), np.sqrt(z / y)
    c, s = np.cosh(gamma * length), np.sinh(gamma * length)
    return np.moveaxis(np.array([[c, zc * s], [s / zc, c]]), -1, 0)


def _series(f: np.ndarray, ohm: float) -> np.ndarray:
    one = np.ones_like(f) + 0j
    return np.moveaxis(np.array([[one, one * ohm], [0 * one, one]]), -1, 0)


def _shunt(f: np.ndarray, ohm: float) -> np.ndarray:
    one = np.ones_like(f) + 0j
    return np.moveaxis(np.array([[one, 0 * one], [one / ohm, one]]), -1, 0)


def _uneven(rng: np.random.Generator, f: np.ndarray, cable: tuple, length: float, rough: float) -> list[np.ndarray]:
    """Return a length of line whose impedance wanders by ``rough`` (relative) from piece to piece."""
    ohm, vf, a, b = cable
    if length <= 0:
        return []
    cuts = max(1, int(length / 0.45)) if rough else 1
    shares = rng.dirichlet(np.full(cuts, 8.0)) * length
    return [_line(f, ohm * (1 + rough * rng.normal()), vf, (a, b), part) for part in shares]


def _fault(
    rng: np.random.Generator, f: np.ndarray, kind: str, cable: tuple
) -> tuple[list[np.ndarray], float, tuple, dict[str, float]]:
    """Return the fault's sections, its length, the cable that follows and what is true of it."""
    ohm, vf, a, b = cable
    if kind == "pinch":
        z, n = ohm * rng.uniform(0.4, 0.7), rng.uniform(0.02, 0.06)
        return [_line(f, z, vf, (a, b), n)], n, cable, {"impedance_ohm": z}
    if kind == "gap":
        z, n = ohm * rng.uniform(1.5, 2.2), rng.uniform(0.02, 0.06)
        return [_line(f, z, vf, (a, b), n)], n, cable, {"impedance_ohm": z}
    if kind == "water":
        er = rng.uniform(1.15, 1.6)
        z, n = ohm / np.sqrt(er), rng.uniform(1.0, 4.0)
        return (
            [_line(f, z, vf / np.sqrt(er), (a * 1.3, b + rng.uniform(0.05, 0.3)), n)],
            n,
            cable,
            {"impedance_ohm": z, "length_m": n},
        )
    if kind == "step":
        z = ohm * (rng.uniform(1.25, 1.6) if rng.random() < 0.6 else rng.uniform(0.65, 0.8))
        return [], 0.0, (z, vf, a, b), {"impedance_ohm": z}
    if kind == "bad joint":
        r = rng.uniform(5, 25)
        return [_series(f, r)], 0.0, cable, {"series_ohm": r}
    raise ValueError(kind)


def _terminated(m: np.ndarray, load: complex | None) -> np.ndarray:
    """Return the input impedance of a chain; ``None`` is an open end."""
    if load is None:
        return m[:, 0, 0] / m[:, 1, 0]
    return (m[:, 0, 0] * load + m[:, 0, 1]) / (m[:, 1, 0] * load + m[:, 1, 1])


def _scattering(m: np.ndarray) -> np.ndarray:
    a, b, c, d = (m[:, i, j] for i in (0, 1) for j in (0, 1))
    b, c = b / REFERENCE, c * REFERENCE
    den = a + b + c + d
    return np.moveaxis(np.array([[a + b - c - d, 2 + 0 * a], [2 + 0 * a, -a + b - c + d]]) / den, -1, 0)


def _product(parts: list[np.ndarray]) -> np.ndarray:
    m = parts[0]
    for part in parts[1:]:
        m = m @ part
    return m


def _analyser(rng: np.random.Generator, s: np.ndarray, f: np.ndarray, noise: float, left_over: float) -> np.ndarray:
    """Return what an analyser shows: directivity and tracking left over by its calibration, and noise."""
    u = (f - f[0]) / (f[-1] - f[0])

    def slow(size: float) -> np.ndarray:
        c = (rng.normal(size=4) + 1j * rng.normal(size=4)) * size / 2
        return c[0] + c[1] * u + c[2] * np.exp(-2j * np.pi * u) + c[3] * np.exp(-1j * np.pi * u)

    shown = s.copy()
    for i in range(s.shape[1]):
        shown[:, i, i] = slow(left_over) + s[:, i, i] * (1 + slow(left_over))
    return shown + noise * (rng.normal(size=s.shape) + 1j * rng.normal(size=s.shape)) / np.sqrt(2)


def draw(rng: np.random.Generator, kind: str, far_end: str) -> World:
    """Draw a world with one fault of a kind (or none) and one far end."""
    top = float(rng.choice([300e6, 450e6, 500e6, 900e6, 1000e6, 1500e6]))
    f = np.linspace(float(rng.choice([0.3e6, 1e6, 2e6])), top, int(rng.choice([401, 801, 1001, 1601, 2001])))
    cable = CABLES[rng.choice(5, p=(0.25, 0.25, 0.2, 0.2, 0.1))]
    ohm, vf = cable[0] * rng.normal(1, 0.012), float(np.clip(cable[1] * rng.normal(1, 0.01), 0.5, 0.95))
    cable = (ohm, vf, cable[2] * rng.uniform(0.9, 1.8), cable[3] * rng.uniform(0.9, 2.5))
    # The sweep must see the end without folding, and some of the wave must come back.
    reach = 0.45 * LIGHT * vf / (2 * (f[1] - f[0]))
    heard = 18.0 / ((cable[2] * np.sqrt(top / 100e6) + cable[3] * top / 100e6) * 0.7)
    length = float(np.clip(np.exp(rng.uniform(np.log(5), np.log(60))), 3.0, min(reach, heard)))
    return _swept(rng, f, cable, length, kind, far_end)


def _swept(rng: np.random.Generator, f: np.ndarray, cable: tuple, length: float, kind: str, far_end: str) -> World:
    ohm, vf = cable[:2]
    rough, noise = float(rng.uniform(0, 0.002)), float(10 ** rng.uniform(-3.6, -2.7))
    plugs = rng.uniform(0.01, 0.04, 2)
    plug = [_line(f, ohm * rng.uniform(0.75, 1.15), 0.75, (0.05, 0.01), n) for n in plugs]
    at = float(rng.uniform(0.12, 0.85) * length)
    truth: dict[str, float] = {}
    size = 0.0
    if kind == "none":
        parts = [plug[0], *_uneven(rng, f, cable, length, rough), plug[1]]
    elif kind in ("open", "short"):
        parts = [plug[0], *_uneven(rng, f, cable, at, rough)]
        size = 1.0
    else:
        sections, long, after, truth = _fault(rng, f, kind, cable)
        if kind == "water":
            at = min(at, length - long - 0.1 * length)
        parts = [plug[0], *_uneven(rng, f, cable, at, rough), *sections]
        parts += [*_uneven(rng, f, after, length - at - long, rough), plug[1]]
        lone = _product(sections or [_series(f, 0.0)])
        end_z = after[0] if kind == "step" else ohm
        local = (_terminated(lone, end_z) - ohm) / (_terminated(lone, end_z) + ohm)
        size = float(np.abs(local).max())
        at = at + long / 2 if kind in ("pinch", "gap") else at
    s = _ports(_product(parts), kind, far_end, float(rng.normal(50, 0.5)))
    shown = _analyser(rng, s, f, noise, float(10 ** rng.uniform(-3, -2.3)))
    whole = length + plugs.sum()
    return World(f, shown, far_end, whole, vf, ohm, kind, None if kind == "none" else at + plugs[0], size, truth)


def _ports(m: np.ndarray, kind: str, far_end: str, load_ohm: float) -> np.ndarray:
    if kind in ("open", "short"):
        z = _terminated(m, None if kind == "open" else 0.0)
    elif far_end == "through":
        return _scattering(m)
    else:
        z = _terminated(m, {"open": None, "short": 0.0, "load": load_ohm}[far_end])
    s = ((z - REFERENCE) / (z + REFERENCE))[:, None, None]
    if far_end == "through":  # broken within: nothing comes through, the far side is not swept
        s = np.concatenate([np.concatenate([s, 0 * s], 2), np.concatenate([0 * s, 0 * s], 2)], 1)
    return s
