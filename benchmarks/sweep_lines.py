"""Sweeps of lines that are whole and of lines that are not, from the physics: what an analyser's files look like.

Nothing here knows the engine. A line is a chain matrix of many short sections, each with resistance, inductance,
conductance and capacitance per metre; its impedance wanders a little, as braid and drum leave it. Ends wear connectors
and adapters. The analyser keeps what its calibration leaves: directivity, source and load match, tracking, drift, and
what a bent test cable does, whose echo lies before the plane of calibration. Types of the catalogue lend their
published figures, spread as makers spread them; the rest is drawn from dimensions and materials.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from linewright.catalogue.lines import line_types
from linewright.core.nouns.line import LineType
from linewright.core.nouns.sweep import Sweep

C_M_PER_S = 299_792_458.0
MU0, EPS0 = 4e-7 * np.pi, 8.8541878128e-12
COPPER, STEEL = 5.8e7, 5.0e6
"""Conductivities in S/m (handbook values, from memory); the steel's relative permeability is drawn."""
SYSTEM_OHM = 50.0
NEPER_DB = 8.685889638065035

COAX = ("coax 50", "coax 75", "balanced", "clad steel", "own make")
NO_COAX = ("microstrip", "coplanar", "stepped")
DAMAGE = ("joint", "crushed", "water", "insert", "break", "short", "far connector")
QUALITIES = ("laboratory", "good", "cheap", "drifted", "bent cable")
WET_SLOWER = 1.13
"""How many times slower a wave is in a wet stretch."""


@dataclass(frozen=True, slots=True)
class Calibration:
    """What a calibration leaves: amplitudes of directivity, match and noise; tracking, drift in dB; a bend."""

    directivity: float
    match: float
    tracking_db: float
    drift_db: float
    trace: float
    floor: float
    bend_deg_per_ghz: float = 0.0
    bend_echo: float = 0.0


def calibration(rng: np.random.Generator, quality: str) -> Calibration:
    """Draw the remains of a calibration."""

    def below(low: float, high: float) -> float:
        return float(10 ** (-rng.uniform(low, high) / 20))

    def between(low: float, high: float) -> float:
        return float(np.exp(rng.uniform(np.log(low), np.log(high))))

    if quality == "laboratory":
        return Calibration(
            below(42, 52), below(38, 46), between(0.002, 0.006), 0.0, between(1e-4, 4e-4), below(90, 110)
        )
    if quality == "cheap":
        drift = between(0.005, 0.02)
        return Calibration(
            below(28, 36), below(26, 34), between(0.015, 0.045), drift, between(6e-4, 3e-3), below(55, 75)
        )
    drift = between(0.001, 0.005)
    good = Calibration(below(36, 46), below(32, 40), between(0.005, 0.015), drift, between(2e-4, 1e-3), below(70, 95))
    if quality == "good":
        return good
    if quality == "drifted":
        return replace(good, drift_db=between(0.01, 0.06))
    bend = between(1.0, 6.0)
    return replace(good, drift_db=between(0.005, 0.02), bend_deg_per_ghz=bend, bend_echo=between(2e-4, 3e-3))


@dataclass(frozen=True, slots=True)
class Damage:
    """What is wrong with a line, and from where to where, in metres from the near plane."""

    kind: str
    at_m: float
    to_m: float
    size: float


@dataclass(frozen=True, slots=True)
class LineTruth:
    """What a line really is. ``loss_db`` is heat alone, connectors included, at every frequency of the sweep."""

    family: str
    quality: str
    designator: str
    worn: float
    length_m: float
    delay_s: float
    velocity_factor: float
    impedance_ohm: float
    f_hz: np.ndarray
    loss_db: np.ndarray
    damage: Damage | None = None
    edges_m: tuple[float, ...] = ()
    folded: bool = False
    off_db: float = 0.0
    """What the calibration adds to the loss of one pass, in the mean."""

    def loss_at(self, f_hz: float) -> float:
        return float(np.interp(np.sqrt(f_hz), np.sqrt(self.f_hz), self.loss_db))


@dataclass(frozen=True, slots=True)
class SweptLine:
    """The files of one line, their far ends, what a person says of it, and the truth."""

    files: tuple[Sweep, ...]
    far_end: tuple[str, ...]
    told_length_m: float
    truth: LineTruth


Section = tuple[float, float, complex]
"""Length in m, impedance against the line's; its loss (real part) and slowness (imaginary) against the line's own."""


@dataclass
class _Line:
    """A line per metre: γ (f,), Zc (f,); what it is."""

    gamma: np.ndarray
    zc: np.ndarray
    designator: str
    worn: float
    velocity_factor: float
    impedance_ohm: float
    rough_ohm: float
    length_m: float


def draw(rng: np.random.Generator, family: str, quality: str, damage: str = "", *, folded: bool = False) -> SweptLine:
    """Draw a line of a family, sound or damaged, an analyser of a quality, and sweep."""
    ways = (("through",), ("through",), ("through",), ("open",), ("open", "short"), ("load",))
    way = ways[rng.integers(len(ways))]
    if damage in ("break", "short"):
        way = (("open",), ("short",), ("load",), ("through",), ("open", "short"))[rng.integers(5)]
    if family in ("coplanar", "stepped"):
        way = ("through",)
    f, length = _plan(rng, family, damage, folded)
    line = _line(rng, family, f, length)
    hurt, sections, edges = _along(rng, line, damage, stepped=family == "stepped")
    near, far = _ends(rng, family, line, f, damage == "far connector")
    if hurt is None and damage == "far connector":
        hurt = Damage(damage, length, length, far.bad)
    # Places count from the plane of calibration: what stands before the line shifts them.
    front = near.delay_s * line.velocity_factor * C_M_PER_S
    edges = [edge + front for edge in edges]
    told_of = hurt and replace(hurt, at_m=hurt.at_m + front, to_m=hurt.to_m + front)
    cal = calibration(rng, quality)
    loss = NEPER_DB * line.gamma.real * sum(d * k.real for d, _, k in sections) + near.heat_db + far.heat_db
    truth = LineTruth(
        family, quality, line.designator, line.worn, length, length / line.velocity_factor / C_M_PER_S,
        line.velocity_factor, line.impedance_ohm, f, loss, told_of, tuple(edges),
        2.0 * length / line.velocity_factor / C_M_PER_S * float(np.diff(f).max()) > 0.98,
    )  # fmt: skip
    files, off = _swept(rng, cal, line, sections, (near, far), hurt, f, way)
    truth = replace(truth, off_db=off)
    told = length * float(rng.normal(1.0, 0.004)) + float(rng.normal(0.0, 0.005 if length > 0.5 else 0.0))
    return SweptLine(files, way, told, truth)


def _plan(rng: np.random.Generator, family: str, damage: str, folded: bool) -> tuple[np.ndarray, float]:
    """Return frequencies that somebody might set for a line, and how long it is."""
    if family in ("microstrip", "stepped"):
        length = float(np.exp(rng.uniform(np.log(0.03), np.log(0.3))))
        start, stop = float(rng.choice([1e6, 5e6, 10e6, 45e6])), float(rng.choice([3e9, 6e9, 8.5e9, 10e9]))
        return np.linspace(start, stop, int(rng.choice([201, 401, 801, 1601]))), length
    if family == "coplanar":
        length = float(np.exp(rng.uniform(np.log(0.001), np.log(0.012))))
        stop = float(rng.choice([20e9, 40e9, 67e9, 110e9]))
        return np.linspace(float(rng.choice([45e6, 100e6, 250e6])), stop, int(rng.choice([201, 401, 801]))), length
    length = float(np.exp(rng.uniform(np.log(3.0 if damage else 1.0), np.log(60.0))))
    start = float(rng.choice([50e3, 1e6, 1e6, 1.8e6, 10e6, 45e6]))
    stop = float(rng.choice([60e6, 150e6, 300e6, 500e6, 500e6, 900e6, 1500e6, 3000e6]))
    if damage:
        stop = max(stop, 300e6)
    stop = min(stop, 3e9 if length < 25 else 1e9)
    delay = length / 0.75 / C_M_PER_S
    if folded:
        points = int(rng.choice([51, 101, 201]))
        stop = start + (points - 1) * float(rng.uniform(0.6, 4.0)) / delay
        return np.linspace(start, min(stop, 6e9), points), length
    usual = int(rng.choice([101, 201, 201, 401, 401, 801, 1001, 1601]))
    enough = int(2.9 * (stop - start) * delay) + 2
    keen = rng.random() < 0.9 or bool(damage)
    return np.linspace(start, stop, max(usual, enough) if keen else usual), length


def _line(rng: np.random.Generator, family: str, f: np.ndarray, length: float) -> _Line:
    if family in ("microstrip", "stepped"):
        return _microstrip(rng, f, length)
    if family == "coplanar":
        return _coplanar(rng, f, length)
    if family in ("clad steel", "own make"):
        return _made(rng, f, length, clad=family == "clad steel")
    kinds = [k for k in line_types() if _family(k) == family]
    weight = np.array(
        [3.0 if k.designator in ("RG-58C/U", "RG-213/U", "RG-8X type", "RG-6 type") else 1.0 for k in kinds]
    )
    return _of_type(rng, kinds[rng.choice(len(kinds), p=weight / weight.sum())], f, length)


def _family(kind: LineType) -> str:
    if kind.impedance_ohm > 150:
        return "balanced"
    return "coax 75" if 65 < kind.impedance_ohm < 85 else "coax 50" if 45 < kind.impedance_ohm < 55 else ""


def _of_type(rng: np.random.Generator, kind: LineType, f: np.ndarray, length: float) -> _Line:
    """Return a piece of a type: its published figures, spread as makers do, new or worn."""
    worn = 1.0 if rng.random() < 0.7 else float(1.1 + rng.exponential(0.35))
    law = kind.law.two_terms(max(float(f[0]), 1e6), float(f[-1]))
    k1 = law.k1_db_per_m * worn * float(np.exp(rng.normal(0, 0.04)))
    k2 = law.k2_db_per_m * worn * float(np.exp(rng.normal(0, 0.08)))
    factor = kind.velocity_factor * float(rng.normal(1, 0.007))
    zc = kind.impedance_ohm * float(rng.normal(1, 0.015))
    gamma, z = _rlgc(f, zc, factor, _skin_r(f, k1, zc), k2, 0.0)
    return _Line(gamma, z, kind.designator, worn, factor, zc, 0.006 * zc * float(np.exp(rng.normal(0, 0.4))), length)


def _skin_r(f: np.ndarray, k1: float, zc: float) -> np.ndarray:
    """Return the complex surface impedance per metre of a skin that loses k1 √(f/MHz) dB/m."""
    return (1 + 1j) * 2.0 * zc * k1 / NEPER_DB * np.sqrt(f / 1e6)


def _rlgc(
    f: np.ndarray, zc: float, factor: float, skin: np.ndarray, k2: float, r_dc: float
) -> tuple[np.ndarray, np.ndarray]:
    """Return γ and Zc of a line: the skin's impedance, a floor of resistance, a dielectric that loses k2 f/MHz dB/m."""
    omega = 2 * np.pi * f
    inductance, capacitance = zc / (factor * C_M_PER_S), 1 / (zc * factor * C_M_PER_S)
    real = np.sqrt(skin.real**2 + r_dc**2)
    series = real + 1j * (skin.imag + omega * inductance)
    shunt = 2 * k2 / NEPER_DB * f / 1e6 / zc + 1j * omega * capacitance
    return np.sqrt(series * shunt), np.sqrt(series / shunt)


def _made(rng: np.random.Generator, f: np.ndarray, length: float, *, clad: bool) -> _Line:
    """Return a coax of no type: dimensions and materials are drawn; the centre may be copper over steel."""
    outer = float(np.exp(rng.uniform(np.log(1.5e-3), np.log(9e-3))))
    eps = float(rng.uniform(1.3, 2.3))
    zc = float(rng.choice([50.0, 50.0, 75.0, 93.0, 62.0]) * rng.normal(1, 0.02))
    inner = outer / np.exp(zc * np.sqrt(eps) / 59.96)
    omega = 2 * np.pi * f
    surface = _surface(omega, COPPER, 1.0)
    centre = surface
    if clad:
        thick, mu = inner / 2 * float(rng.uniform(0.03, 0.12)), float(rng.uniform(60, 300))
        steel, depth = _surface(omega, STEEL, mu), np.sqrt(1j * omega * MU0 * COPPER)
        t = np.tanh(depth * thick)
        centre = surface * (steel + surface * t) / (surface + steel * t)
    braid = float(rng.uniform(1.3, 3.0))
    skin = centre / (np.pi * inner) + braid * surface / (np.pi * outer)
    tan = float(np.exp(rng.uniform(np.log(1e-4), np.log(8e-4))))
    k2 = NEPER_DB * np.pi * 1e6 * np.sqrt(eps) / C_M_PER_S * tan
    floor = 1 / (COPPER * np.pi * inner**2 / 4) * (0.4 if clad else 0.2)
    gamma, z = _rlgc(f, zc, 1 / np.sqrt(eps), skin, k2, floor)
    name = "clad steel of no type" if clad else "coax of no type"
    return _Line(
        gamma, z, name, 1.0, 1 / float(np.sqrt(eps)), zc, 0.006 * zc * float(np.exp(rng.normal(0, 0.4))), length
    )


def _surface(omega: np.ndarray, conductivity: float, mu: float) -> np.ndarray:
    return np.sqrt(1j * omega * MU0 * mu / conductivity)


def _microstrip(rng: np.random.Generator, f: np.ndarray, length: float) -> _Line:
    """Return a microstrip by Hammerstad's closed forms and Getsinger's dispersion (from memory), copper not smooth."""
    er, height = (
        float(rng.choice([2.2, 3.5, 4.3, 4.5])) * float(rng.normal(1, 0.02)),
        float(rng.uniform(0.5e-3, 1.6e-3)),
    )
    u = float(rng.uniform(1.2, 3.0))
    static = (er + 1) / 2 + (er - 1) / 2 / np.sqrt(1 + 12 / u)
    zc = 120 * np.pi / np.sqrt(static) / (u + 1.393 + 0.667 * np.log(u + 1.444))
    fp = zc / (2 * MU0 * height)
    eff = er - (er - static) / (1 + (0.6 + 0.009 * zc) * (f / fp) ** 2)
    width = u * height
    depth = 1 / np.sqrt(np.pi * f * MU0 * COPPER)
    rough = 1 + 2 / np.pi * np.arctan(1.4 * (float(rng.uniform(0.3e-6, 2.5e-6)) / depth) ** 2)
    conductor = np.sqrt(np.pi * f * MU0 / COPPER) / (zc * width) * rough
    tan = float(rng.choice([0.001, 0.004, 0.018, 0.02]))
    dielectric = np.pi * f / C_M_PER_S * er / np.sqrt(eff) * (eff - 1) / (er - 1) * tan
    gamma = conductor + dielectric + 2j * np.pi * f * np.sqrt(eff) / C_M_PER_S + 1j * conductor / rough
    return _Line(
        gamma, zc * np.sqrt(static / eff) + 0j, "microstrip", 1.0, 1 / float(np.sqrt(static)), float(zc), 0.2, length
    )


def _coplanar(rng: np.random.Generator, f: np.ndarray, length: float) -> _Line:
    """Return a coplanar line on a wafer: thin metal whose resistance hardly falls, a substrate of high permittivity."""
    eff = float(rng.choice([2.5, 5.5, 6.4, 6.9])) * float(rng.normal(1, 0.03))
    zc = float(rng.normal(50, 4))
    dc = float(np.exp(rng.uniform(np.log(300.0), np.log(6000.0))))
    corner = float(rng.uniform(2e9, 15e9))
    resistance = dc * np.sqrt(1 + f / corner)
    k2 = NEPER_DB * np.pi * 1e6 * np.sqrt(eff) / C_M_PER_S * float(np.exp(rng.uniform(np.log(3e-4), np.log(1e-2))))
    gamma, z = _rlgc(f, zc, 1 / np.sqrt(eff), resistance * (1 + 0.3j), k2, 0.0)
    return _Line(gamma, z, "coplanar", 1.0, 1 / float(np.sqrt(eff)), zc, 0.1, length)


def _along(
    rng: np.random.Generator, line: _Line, damage: str, *, stepped: bool
) -> tuple[Damage | None, list[Section], list[float]]:
    """Return the damage, the sections of a line, and where its impedance was meant to change."""
    length = line.length_m
    cell = max(length / 500, min(0.04, length / 40))
    count = max(8, round(length / cell))
    d = length / count
    # What braid and drum leave: a wander with a reach of its own, and a ripple once a turn of the drum or the braider.
    reach = float(np.exp(rng.uniform(np.log(0.03), np.log(0.6))))
    white = rng.normal(size=count)
    keep = np.exp(-d / reach)
    wander = np.empty(count)
    wander[0] = white[0]
    for i in range(1, count):
        wander[i] = keep * wander[i - 1] + np.sqrt(1 - keep**2) * white[i]
    x = (np.arange(count) + 0.5) * d
    period = float(rng.choice([0.012, 0.05, 0.6, 1.2])) * float(rng.uniform(0.8, 1.25))
    ripple = float(np.exp(rng.normal(np.log(4e-4), 0.7))) * np.sin(2 * np.pi * x / period) if period > 2.5 * d else 0.0
    share = 1 + line.rough_ohm / line.impedance_ohm * 0.5 * wander + ripple
    edges: list[float] = []
    hurt = None
    if stepped:
        edges = sorted(float(e) for e in rng.uniform(0.2, 0.8, int(rng.integers(2, 4))) * length)
        shares = [1.0, *(float(rng.choice([0.45, 0.6, 1.4, 1.8])) for _ in edges[1:]), 1.0]
        share = share * np.array(shares)[np.searchsorted(edges, x)]
    if damage in ("crushed", "water", "insert", "joint", "break", "short"):
        at = float(rng.uniform(0.15, 0.85)) * length
        if damage == "crushed":
            to, size = at + float(rng.uniform(0.03, 0.15)), float(rng.uniform(0.45, 0.8))
        elif damage == "water":
            to, size = at + float(np.exp(rng.uniform(np.log(0.6), np.log(4.0)))), float(rng.uniform(0.75, 0.93))
        elif damage == "insert":
            to, size = (
                at + float(np.exp(rng.uniform(np.log(0.5), np.log(4.0)))),
                float(rng.choice([1.5, 1.24, 0.67, 1.5])),
            )
        elif damage == "joint":
            to, size = at, float(np.exp(rng.uniform(np.log(2.0), np.log(30.0))))
        else:
            to, size = at, 1.0
        to = min(to, 0.95 * length)
        hurt = Damage(damage, at, to, size)
        edges = [at, to]
    sections: list[Section] = [(d, float(k), 1.0 + 1.0j) for k in share]
    if hurt and hurt.to_m > hurt.at_m:
        sections = _let_in(sections, hurt)
    return hurt, sections, edges


def _let_in(sections: list[Section], hurt: Damage) -> list[Section]:
    """Return the sections with a stretch of other impedance, its edges where they are; water is slow and loses more."""
    out: list[Section] = []
    x = 0.0
    slow = complex(2.5, WET_SLOWER) if hurt.kind == "water" else complex(1.0, 1.0)
    for length, share, _ in sections:
        cuts = sorted({x, x + length, *(e for e in (hurt.at_m, hurt.to_m) if x < e < x + length)})
        for low, high in pairwise(cuts):
            inside = hurt.at_m <= (low + high) / 2 <= hurt.to_m
            out.append((high - low, share * hurt.size if inside else share, slow if inside else 1.0 + 1.0j))
        x += length
    return out


@dataclass
class _End:
    """A connector, with adapters: chain matrix (f, 2, 2) from the analyser inwards; its heat in dB; what is bad."""

    chain: np.ndarray
    heat_db: np.ndarray
    bad: float = 0.0
    delay_s: float = 0.0


def _ends(rng: np.random.Generator, family: str, line: _Line, f: np.ndarray, bad_far: bool) -> tuple[_End, _End]:
    small = family in NO_COAX
    return tuple(_end(rng, line, f, small, bad_far and which == 1) for which in range(2))  # type: ignore[return-value]


def _end(rng: np.random.Generator, line: _Line, f: np.ndarray, small: bool, bad: bool) -> _End:
    """Return a connector and up to three adapters, each a centimetre or three of an impedance of its own."""
    pieces = []
    style = rng.choice(["UHF", "N", "BNC", "SMA"])
    spread = {"UHF": (38.0, 4.0, 0.03), "N": (50.0, 1.5, 0.025), "BNC": (50.0, 3.0, 0.02), "SMA": (50.0, 1.5, 0.01)}[
        str(style)
    ]
    if small:
        spread = (49.0, 3.0, 0.006)
    if line.designator == "coplanar":
        # A wafer is calibrated at the probes: pads are all that stands before the line.
        spread = (45.0, 8.0, 5e-5)
    if line.impedance_ohm > 150:
        # A balanced line hangs on a balun, calibrated there, by a few centimetres of bare leads.
        spread = (0.8 * line.impedance_ohm, 0.2 * line.impedance_ohm, 0.03)
    pieces.append((float(rng.normal(spread[0], spread[1])), spread[2] * float(rng.uniform(0.7, 1.3))))
    for _ in range(0 if small or line.impedance_ohm > 150 else int(rng.choice([0, 0, 1, 1, 2, 3]))):
        pieces.append((float(rng.normal(49.5, 2.5)), float(rng.uniform(0.015, 0.05))))
    ohm = float(np.exp(rng.normal(np.log(0.004), 0.8)))
    if bad:
        pieces.append((float(rng.uniform(18, 34)), float(rng.uniform(0.02, 0.05))))
        ohm += float(rng.uniform(1.0, 8.0))
    heat = 0.0017 * float(np.exp(rng.normal(0, 0.5))) * (0.2 if small else 1.0)
    heat_db = heat * np.sqrt(f / 1e6) * np.ones_like(f) + NEPER_DB / 2 * np.log(1 + ohm / SYSTEM_OHM) * 1.0
    chain = np.broadcast_to(np.eye(2, dtype=complex), (len(f), 2, 2))
    for zc, length in pieces:
        theta = 1j * 2 * np.pi * f * length / 0.7 / C_M_PER_S
        chain = chain @ _section(theta, np.full(len(f), zc + 0j))
    pad = 10 ** (heat * np.sqrt(f / 1e6) / 20)
    chain = chain @ _section(np.log(pad) + 0j, np.full(len(f), SYSTEM_OHM + 0j))
    return _End(
        chain @ _series(np.full(len(f), ohm + 0j)),
        heat_db,
        ohm if bad else 0.0,
        sum(d for _, d in pieces) / 0.7 / C_M_PER_S,
    )


def _section(theta: np.ndarray, zc: np.ndarray) -> np.ndarray:
    out = np.empty((len(theta), 2, 2), dtype=complex)
    c, s = np.cosh(theta), np.sinh(theta)
    out[:, 0, 0], out[:, 0, 1], out[:, 1, 0], out[:, 1, 1] = c, zc * s, s / zc, c
    return out


def _series(ohm: np.ndarray) -> np.ndarray:
    out = np.zeros((len(ohm), 2, 2), dtype=complex)
    out[:, 0, 0] = out[:, 1, 1] = 1.0
    out[:, 0, 1] = ohm
    return out


def _cut(chain: np.ndarray) -> np.ndarray:
    """Return a chain seen from its other side."""
    det = chain[:, 0, 0] * chain[:, 1, 1] - chain[:, 0, 1] * chain[:, 1, 0]
    out = np.empty_like(chain)
    out[:, 0, 0], out[:, 1, 1] = chain[:, 1, 1], chain[:, 0, 0]
    out[:, 0, 1], out[:, 1, 0] = chain[:, 0, 1], chain[:, 1, 0]
    return out / det[:, None, None]


def _swept(
    rng: np.random.Generator, cal: Calibration, line: _Line, sections: list[Section], ends: tuple[_End, _End],
    hurt: Damage | None, f: np.ndarray, way: tuple[str, ...],
) -> tuple[tuple[Sweep, ...], float]:  # fmt: skip
    """Return what the analyser writes, and by how many dB a pass it is off."""
    near, far = ends
    chain = near.chain
    after = np.broadcast_to(np.eye(2, dtype=complex), (len(f), 2, 2))
    place, passed = 0.0, False
    for length, share, k in sections:
        middle = place + length / 2
        if hurt and not passed and hurt.kind in ("joint", "break", "short") and middle > hurt.at_m:
            passed = True
            if hurt.kind == "joint":
                chain = chain @ _series(np.full(len(f), hurt.size + 0j))
            else:
                after = np.broadcast_to(np.eye(2, dtype=complex), (len(f), 2, 2))
        own = line.gamma.real * k.real + 1j * line.gamma.imag * k.imag
        step = _section(own * length, line.zc * share)
        if passed and hurt and hurt.kind in ("break", "short"):
            after = after @ step
        else:
            chain = chain @ step
        place += length
    box = _Analyser(rng, cal, f)
    off = box.off_db(2 if way == ("through",) else 1)
    omega = 2 * np.pi * f
    if hurt and hurt.kind in ("break", "short"):
        if hurt.kind == "break":
            gap = 1 / (1j * omega * float(rng.uniform(5e-15, 80e-15)))
        else:
            gap = 1j * omega * float(rng.uniform(0.1e-9, 2e-9)) + float(rng.uniform(0.0, 0.5))
        gamma = _reflection(chain, gap)
        if way == ("through",):
            rest = _cut(after @ _cut(far.chain))
            back = _reflection(rest, gap)
            leak = 10 ** (-float(rng.uniform(55, 80)) / 20) * np.exp(-1j * omega * 1e-9)
            s = np.empty((len(f), 2, 2), dtype=complex)
            s[:, 0, 0], s[:, 1, 1], s[:, 0, 1], s[:, 1, 0] = gamma, back, leak, leak
            return (box.two_port(s),), off
        return tuple(box.one_port(gamma, end) for end in way), off
    whole = chain @ _flipped(far.chain)
    if way == ("through",):
        return (box.two_port(_scattering(whole)),), off
    return tuple(
        box.one_port(
            _reflection(whole, _standard(rng, end, omega, 50.0 if line.impedance_ohm < 150 else line.impedance_ohm)),
            end,
        )
        for end in way
    ), off


def _flipped(chain: np.ndarray) -> np.ndarray:
    """Return a reciprocal chain turned round."""
    out = chain.copy()
    out[:, 0, 0], out[:, 1, 1] = chain[:, 1, 1], chain[:, 0, 0]
    return out


def _standard(rng: np.random.Generator, end: str, omega: np.ndarray, load_ohm: float) -> np.ndarray:
    """Return the impedance of what is put on the far end."""
    if end == "open":
        return 1 / (1j * omega * float(rng.uniform(10e-15, 80e-15)))
    if end == "short":
        return 1j * omega * float(rng.uniform(0.0, 0.2e-9)) + 1e-3
    return load_ohm * float(rng.normal(1, 0.014)) + 1j * omega * float(rng.normal(0, 2e-12)) * load_ohm


def _reflection(chain: np.ndarray, load: np.ndarray | float) -> np.ndarray:
    a, b, c, d = chain[:, 0, 0], chain[:, 0, 1], chain[:, 1, 0], chain[:, 1, 1]
    z = (a * load + b) / (c * load + d)
    return (z - SYSTEM_OHM) / (z + SYSTEM_OHM)


def _scattering(chain: np.ndarray) -> np.ndarray:
    a, b, c, d = chain[:, 0, 0], chain[:, 0, 1] / SYSTEM_OHM, chain[:, 1, 0] * SYSTEM_OHM, chain[:, 1, 1]
    below = a + b + c + d
    s = np.empty_like(chain)
    s[:, 0, 0], s[:, 1, 1] = (a + b - c - d) / below, (-a + b - c + d) / below
    s[:, 1, 0], s[:, 0, 1] = 2 / below, 2 * (a * d - b * c) / below
    return s


class _Analyser:
    """An analyser after a calibration that was not perfect."""

    def __init__(self, rng: np.random.Generator, cal: Calibration, f: np.ndarray) -> None:
        self.rng, self.cal, self.f = rng, cal, f
        self.errors = [self._error_box() for _ in range(2)]

    def off_db(self, ports: int) -> float:
        """Return the mean of what tracking adds to the loss of one pass."""
        return float(sum(np.mean(-20 * np.log10(np.abs(t))) for _, _, t in self.errors[:ports]))

    def _wave(self, size: float, latest_s: float = 1.5e-9) -> np.ndarray:
        """Return a complex error that wanders along the sweep, root mean square ``size``."""
        out = np.zeros(len(self.f), dtype=complex)
        for _ in range(5):
            late = float(self.rng.exponential(latest_s))
            out = out + (self.rng.normal() + 1j * self.rng.normal()) * np.exp(-2j * np.pi * self.f * late)
        return size * out / np.sqrt(10)

    def _error_box(self) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Return directivity, match and tracking of one port (tracking of one pass)."""
        cal = self.cal
        share = np.sqrt(self.f / self.f[-1])
        drift = self.rng.normal() * cal.drift_db * (0.3 + 0.7 * share) / NEPER_DB
        turn = np.deg2rad(cal.bend_deg_per_ghz) * self.rng.normal() * self.f / 1e9
        tracking = (1 + self._wave(np.sqrt(2) * cal.tracking_db / NEPER_DB)) * np.exp(drift + 1j * (turn + 0.3 * drift))
        # A bent test cable reflects before the plane of calibration: its echo comes too soon, and folds to the far end.
        soon = np.exp(2j * np.pi * self.f * 2 * float(self.rng.uniform(0.2, 1.5)) / 0.7 / C_M_PER_S)
        return self._wave(cal.directivity) + cal.bend_echo * soon, self._wave(cal.match), tracking

    def _noise(self, s: np.ndarray) -> np.ndarray:
        def draw() -> np.ndarray:
            return (self.rng.normal(size=s.shape) + 1j * self.rng.normal(size=s.shape)) / np.sqrt(2)

        return s * (1 + self.cal.trace * draw()) + self.cal.floor * draw()

    def one_port(self, gamma: np.ndarray, name: str) -> Sweep:
        e00, e11, t = self.errors[0]
        seen = e00 + t**2 * gamma / (1 - e11 * gamma)
        return Sweep(name, self.f, self._noise(seen)[:, None, None], np.full(1, SYSTEM_OHM + 0j))

    def two_port(self, s: np.ndarray) -> Sweep:
        (e00, e11, t1), (f00, f11, t2) = self.errors
        a, b, c, d = s[:, 0, 0], s[:, 0, 1], s[:, 1, 0], s[:, 1, 1]
        below = (1 - e11 * a) * (1 - f11 * d) - e11 * f11 * b * c
        seen = np.empty_like(s)
        seen[:, 0, 0] = e00 + t1**2 * (a * (1 - f11 * d) + f11 * b * c) / below
        seen[:, 1, 1] = f00 + t2**2 * (d * (1 - e11 * a) + e11 * b * c) / below
        seen[:, 1, 0], seen[:, 0, 1] = t1 * t2 * c / below, t1 * t2 * b / below
        return Sweep("through", self.f, self._noise(seen), np.full(2, SYSTEM_OHM + 0j))
