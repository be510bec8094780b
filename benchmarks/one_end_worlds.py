"""Synthetic near-end tests with known truth, written apart from the engine.

Waves run through complex chains: a lossy line of complex impedance between two connectors with reactance and heat, ends
that are not ideal (a fringing open, a short with inductance, a resistor with both), antennas as lossy open lines behind
a balun. Instruments are error boxes whose terms turn with frequency, with a scale error and a detector that bends. A
person reads steps, and now and then misreads.

The truth is the matched one-way loss of the line with the heat of its connectors.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from cables import Stock, draw_stock
from linewright.core.nouns.line import LineType
from linewright.core.nouns.one_end import OneEndReading, OneEndTest

C_M_PER_S = 299792458.0
NEPER_DB = 8.685889638
Z_REF = 50.0
HF_HZ = (3.6e6, 7.1e6, 14.2e6, 21.2e6, 28.5e6, 50.1e6)
VHF_HZ = (50.1e6, 144.3e6, 222.1e6, 432.2e6)
MOST_DB = 15.0
"""Nobody proves a line from one end that loses more."""
KINDS = (
    "open and short",
    "open or short",
    "load read directly",
    "load of known SWR",
    "antenna",
    "resonance",
    "several methods",
)
Matrix = NDArray[np.complex128]


@dataclass(slots=True)
class Run:
    """A line as installed: its stock, its ends, and what happens at them."""

    stock: Stock
    length_m: float
    plug_ohm: tuple[float, float]
    plug_m: tuple[float, float]
    plug_db: float

    def line_db(self, f: float) -> float:
        """Return the matched loss of the cable alone, dB."""
        return self.length_m * self.stock.db_per_m(f)

    def loss_db(self, f: float) -> float:
        """Return the matched loss with the heat of both connectors, dB."""
        return self.line_db(f) + 2 * self.plug_db * (f / 1e6) ** 0.5

    def chain(self, f: float) -> Matrix:
        """Return the ABCD matrix, near end to far end."""
        heat = self.plug_db * (f / 1e6) ** 0.5
        near = _section(self.plug_ohm[0], heat, _beta(f, 0.7) * self.plug_m[0])
        far = _section(self.plug_ohm[1], heat, _beta(f, 0.7) * self.plug_m[1])
        beta = _beta(f, self.stock.line.velocity_factor)
        conductor, dielectric = self.stock.line.law.parts_db_per_m(f)
        tilt = float(self.stock.conductor * conductor - self.stock.dielectric * dielectric) / NEPER_DB / beta
        z0 = self.stock.impedance_ohm * (1 - 1j * tilt)
        return near @ _section(z0, self.line_db(f), beta * self.length_m) @ far


def _beta(f: float, velocity_factor: float) -> float:
    return 2 * np.pi * f / (velocity_factor * C_M_PER_S)


def _section(z0: complex, loss_db: float, phase: float) -> Matrix:
    gl = loss_db / NEPER_DB + 1j * phase
    return np.array([[np.cosh(gl), z0 * np.sinh(gl)], [np.sinh(gl) / z0, np.cosh(gl)]])


def _gamma(matrix: Matrix, end: tuple[complex, complex]) -> complex:
    """Return the reflection at the near end; ``end`` is voltage and current at the far end, in any scale."""
    v, i = matrix @ np.array(end)
    return complex((v - Z_REF * i) / (v + Z_REF * i))


@dataclass(slots=True)
class Instrument:
    """An error box and a scale. ``analyser`` shows digits; a bridge has marks on a scale."""

    analyser: bool
    directivity: complex
    directivity_turn_s: float
    source: complex
    source_turn_s: float
    scale: float
    threshold: bool
    knee: float
    ripple: float
    most_swr: float
    digits: int
    told_db: float | None

    def raw(self, gamma: complex, f: float) -> complex:
        """Return the complex reflection as measured, before the detector."""
        d = self.directivity * np.exp(2j * np.pi * f * self.directivity_turn_s)
        s = self.source * np.exp(2j * np.pi * f * self.source_turn_s)
        return complex(d + self.scale * gamma / (1 - s * gamma))

    def shows(self, rng: np.random.Generator, gamma: complex, f: float) -> float:
        """Return the magnitude it shows, with its noise."""
        m = abs(self.raw(gamma, f))
        bent = (m - self.knee) / (1 - self.knee) if self.threshold else m * m / (m + self.knee) * (1 + self.knee)
        return float(max(bent * (1 + self.ripple * np.clip(rng.standard_t(5), -5, 5)), 1e-4))


def draw_instrument(rng: np.random.Generator, *, analyser: bool) -> Instrument:
    """Draw a good analyser or a crude bridge."""
    turn = np.exp(2j * np.pi * rng.random(2))
    slow = rng.uniform(0.05e-9, 1.5e-9, 2)
    if analyser:
        true_db = rng.uniform(35, 46)
        d, s = 10 ** (-true_db / 20), rng.uniform(0.004, 0.03)
        return Instrument(
            True, d * turn[0], slow[0], s * turn[1], slow[1], 1 + rng.normal(0, 0.004), False, rng.uniform(0, 0.003),
            0.003, float(rng.choice([10, 25, 65])), int(rng.choice([1, 2])), 40.0 if rng.random() < 0.6 else 35.0,
        )  # fmt: skip
    true_db = rng.uniform(20, 34)
    d, s = 10 ** (-true_db / 20), rng.uniform(0.02, 0.14)
    return Instrument(
        False, d * turn[0], slow[0], s * turn[1], slow[1], 1 + rng.uniform(-0.035, 0.035),
        bool(rng.random() < 0.5), rng.uniform(0, 0.03),
        0.006, 10.0, 1, 25.0 if rng.random() < 0.5 else None,
    )  # fmt: skip


@dataclass(frozen=True, slots=True)
class World:
    """A test and the truth behind it: loss in dB by frequency, rows that were misread, loss by the plain formula."""

    kind: str
    test: OneEndTest
    loss_db: dict[float, float]
    misread: frozenset[int]
    new_db: dict[float, float | None] = field(default_factory=dict)


def draw_run(rng: np.random.Generator) -> Run:
    """Draw an installed line: 5 to 60 m, 50 ohm or now and then 75."""
    stock = draw_stock(rng, "field")
    if rng.random() < 0.12:
        line = replace(stock.line, designator=f"{stock.line.designator} 75", impedance_ohm=75.0)
        stock = replace(stock, line=line, impedance_ohm=75.0 * stock.impedance_ohm / 50.0)
    return Run(
        stock, float(np.exp(rng.uniform(np.log(5), np.log(60)))),
        (float(rng.uniform(32, 68)), float(rng.uniform(32, 68))),
        (float(rng.uniform(0.004, 0.03)), float(rng.uniform(0.004, 0.03))),
        float(np.exp(rng.normal(np.log(0.0017), 0.5))),
    )  # fmt: skip


End = Callable[[float], tuple[complex, complex]]


def open_end(rng: np.random.Generator) -> End:
    """Return an open with its fringing field."""
    farad, radiated = rng.uniform(0.02e-12, 0.5e-12), rng.uniform(0, 1e-5)
    return lambda f: (1.0, radiated * (f / 144e6) ** 2 + 2j * np.pi * f * farad)


def short_end(rng: np.random.Generator) -> End:
    """Return a short with the inductance and resistance of what makes it."""
    henry, ohm = np.exp(rng.uniform(np.log(0.2e-9), np.log(8e-9))), rng.uniform(0.002, 0.02)
    return lambda f: (ohm * (f / 1e6) ** 0.5 / 3 + 2j * np.pi * f * henry, 1.0)


def load_end(rng: np.random.Generator) -> tuple[End, float]:
    """Return a resistor at the end of short leads, and the SWR it is said to have."""
    said = float(rng.choice([16.7, 25.0, 100.0, 150.0, 200.0]))
    ohm = said * rng.normal(1, 0.012)
    henry, farad = rng.uniform(0.3e-9, 4e-9), rng.uniform(0.1e-12, 0.8e-12)

    def end(f: float) -> tuple[complex, complex]:
        z = ohm + 2j * np.pi * f * henry
        return z, 1 + 2j * np.pi * f * farad * z

    return end, round(max(said / Z_REF, Z_REF / said), 1)


def antenna_end(rng: np.random.Generator, f0: float) -> End:
    """Return an antenna: a lossy open line, a quarter wave long at resonance, behind a balun that loses a little."""
    wave_ohm = rng.uniform(250, 900)
    at_resonance = rng.uniform(20, 75)
    attenuation = np.arctanh(min(at_resonance / wave_ohm, 0.9))
    balun_db = rng.uniform(0.02, 0.25) if rng.random() < 0.8 else rng.uniform(0.25, 1.2)
    balun_ohm, balun_m = rng.uniform(40, 70), rng.uniform(0.02, 0.01 * C_M_PER_S / f0 + 0.03)

    def end(f: float) -> tuple[complex, complex]:
        gl = attenuation * (f / f0) ** 0.5 + 0.5j * np.pi * f / f0
        z = wave_ohm / np.tanh(gl)
        v, i = _section(balun_ohm, balun_db * (f / f0) ** 0.5, _beta(f, 0.7) * balun_m) @ np.array([z, 1.0])
        return complex(v), complex(i)

    return end


def world(rng: np.random.Generator, kind: str, *, analyser: bool, several: bool) -> World:
    """Return a test of one kind with one instrument, at one frequency or several."""
    run, tool = draw_run(rng), draw_instrument(rng, analyser=analyser)
    while run.loss_db(HF_HZ[0]) > 0.5 * MOST_DB:
        run = draw_run(rng)
    bands = HF_HZ if rng.random() < 0.5 else VHF_HZ
    count = int(rng.integers(2, min(len(bands), 5) + 1)) if several else 1
    chosen = sorted(float(f) for f in rng.choice(bands, count, replace=False))
    chosen = [f for f in chosen if run.loss_db(f) < MOST_DB] or [HF_HZ[0]]
    found = _READ[kind](_Person(rng, tool), run, chosen)
    rows, misread = [], set()
    for i, reading in enumerate(found, start=1):
        slipped = _slip(rng, reading) if rng.random() < 0.02 else None
        misread |= {i} if slipped is not None else set()
        rows.append(replace(slipped or reading, row=i))
    known = rng.random() < 0.5
    test = OneEndTest(
        tuple(rows), directivity_db=tool.told_db, line=run.stock.line if known else None,
        length_m=round(run.length_m * rng.normal(1, 0.01), 1) if known else None,
        impedance_ohm=None if known else run.stock.line.impedance_ohm,
    )  # fmt: skip
    seen = sorted({r.frequency_hz for r in rows})
    new = {f: _new_db(run.stock.line, run.length_m, f) if known else None for f in seen}
    return World(kind, test, {f: run.loss_db(f) for f in seen}, frozenset(misread), new)


def _new_db(line: LineType, length_m: float, f: float) -> float:
    return length_m * float(line.law.db_per_m(f)) + 2 * 0.0017 * (f / 1e6) ** 0.5


def _slip(rng: np.random.Generator, reading: OneEndReading) -> OneEndReading | None:
    """Return a reading written down wrong: a unit off, a digit swapped, a mark misjudged."""
    if not np.isfinite(reading.value) or reading.bound != "is":
        return None
    v = reading.value
    least = 1.0 if reading.quantity == "swr" else 0.0
    wrong = float(rng.choice([v + 1, v - 1, v * 1.5, v / 1.5, v + 5, v * 2]))
    return replace(reading, value=round(max(wrong, least), 2)) if wrong > least else None


@dataclass(frozen=True, slots=True)
class _Person:
    """Whoever reads the instrument."""

    rng: np.random.Generator
    tool: Instrument

    def read(self, far_end: str, gamma: complex, f: float, **more: object) -> OneEndReading:
        """Return a reading of SWR, or of return loss from an analyser that shows it."""
        m = self.tool.shows(self.rng, gamma, f)
        if self.tool.analyser and self.tool.digits == 2 and self.rng.random() < 0.3 and far_end != "antenna":
            return OneEndReading(0, far_end, f, "return_loss_db", max(round(-20 * np.log10(m), 1), 0.0), 0.1, **more)  # type: ignore[arg-type]
        value, step = self.swr(m)
        return OneEndReading(0, far_end, f, "swr", value, step, **more)  # type: ignore[arg-type]

    def swr(self, m: float) -> tuple[float, float]:
        """Return an SWR as read, and the step it is read in."""
        s = (1 + m) / (1 - m) if m < 1 else np.inf
        if s > self.tool.most_swr:
            return np.inf, 1.0
        step = self.step(s)
        if not self.tool.analyser:
            s = 1 + (s - 1) * (1 + 0.01 * self.rng.standard_normal())
        return max(round(round(s / step) * step, 3), 1.0), step

    def step(self, s: float) -> float:
        """Return the step of the scale at an SWR."""
        if self.tool.analyser:
            return 0.01 if self.tool.digits == 2 and s < 10 else 0.1
        return next(step for most, step in ((2, 0.1), (3, 0.2), (5, 0.5), (np.inf, 1.0)) if s < most)


def _open_and_short(p: _Person, run: Run, at: list[float]) -> list[OneEndReading]:
    ends = {"open": open_end(p.rng), "short": short_end(p.rng)}
    return [p.read(name, _gamma(run.chain(f), end(f)), f) for f in at for name, end in ends.items()]


def _one_of_them(p: _Person, run: Run, at: list[float]) -> list[OneEndReading]:
    which = str(p.rng.choice(["open", "short"]))
    end = open_end(p.rng) if which == "open" else short_end(p.rng)
    return [p.read(which, _gamma(run.chain(f), end(f)), f) for f in at]


def _load(p: _Person, run: Run, at: list[float]) -> list[OneEndReading]:
    end, _ = load_end(p.rng)
    found = []
    for f in at:
        reading = p.read("load", _gamma(run.chain(f), end(f)), f)
        right_at_it = p.tool.shows(p.rng, _gamma(np.eye(2, dtype=complex), end(f)), f)
        if reading.quantity == "return_loss_db":
            found.append(replace(reading, direct=round(-20 * np.log10(right_at_it), 1), direct_step=0.1))
            continue
        swr, step = p.swr(right_at_it)
        if np.isfinite(swr):
            found.append(replace(reading, direct=swr, direct_step=step))
    return found or _load(p, run, at)


def _known_load(p: _Person, run: Run, at: list[float]) -> list[OneEndReading]:
    end, swr = load_end(p.rng)
    return [p.read("load", _gamma(run.chain(f), end(f)), f, load_swr=swr) for f in at]


def _antenna(p: _Person, run: Run, at: list[float]) -> list[OneEndReading]:
    """Sweep about the antenna's band and write down the highest peaks away from it."""
    f0 = at[0]
    end = antenna_end(p.rng, f0)
    sweep = f0 * np.linspace(0.55, 1.6, 211)
    shown = np.array([p.tool.shows(p.rng, _gamma(run.chain(float(f)), end(float(f))), float(f)) for f in sweep])
    smooth = np.convolve(np.pad(shown, 2, mode="edge"), np.ones(5) / 5, mode="valid")
    peaks = [i for i in range(2, len(sweep) - 2) if smooth[i] == smooth[i - 2 : i + 3].max()]
    peaks = [i for i in peaks if abs(sweep[i] / f0 - 1) > 0.08] or [0]
    best: list[int] = []
    for i in sorted(peaks, key=lambda i: -smooth[i]):
        if all(abs(sweep[i] - sweep[j]) > 0.08 * f0 for j in best) and len(best) < (1 if len(at) == 1 else 4):
            best.append(i)
    found = []
    for i in best:
        value, step = p.swr(float(shown[i]))
        found.append(OneEndReading(0, "antenna", float(round(sweep[i], -4)), "swr", value, step))
    return found


def _resonance(p: _Person, run: Run, at: list[float]) -> list[OneEndReading]:
    """Find where the reactance vanishes, near each frequency, and read the resistance there."""
    which = str(p.rng.choice(["open", "short"]))
    end = open_end(p.rng) if which == "open" else short_end(p.rng)
    quarter_hz = run.stock.line.velocity_factor * C_M_PER_S / (4 * run.length_m)
    found = []
    for f in at:
        low = p.rng.random() < 0.75
        sweep = np.linspace(max(f - 1.2 * quarter_hz, 0.3 * quarter_hz), f + 1.2 * quarter_hz, 601)
        z = np.array([_ohm(p.tool.raw(_gamma(run.chain(float(x)), end(float(x))), float(x))) for x in sweep])
        zeros = np.flatnonzero(np.diff(np.sign(z.imag)) != 0)
        zeros = [i for i in zeros if (z[i].real < Z_REF) == low and abs(z[i].imag) < abs(z[i].real) + 5]
        if not zeros:
            continue
        i = min(zeros, key=lambda j: abs(sweep[j] - f))
        ohm = float(max(z[i].real * (1 + 0.003 * p.rng.standard_normal()), 0.0))
        step = 0.1 if ohm < 100 and p.tool.digits == 2 else 1.0
        value = round(round(ohm / step) * step, 1)
        if value > 0:
            found.append(OneEndReading(0, which, float(round(sweep[i])), "resistance_ohm", value, step))  # type: ignore[arg-type]
    return found or _resonance(p, run, [14.2e6, 28.5e6, 50.1e6])


def _several(p: _Person, run: Run, at: list[float]) -> list[OneEndReading]:
    """Use one method after another on the same line."""
    methods = [_open_and_short, _one_of_them, _load, _known_load, *([_resonance] if p.tool.analyser else [])]
    chosen = [methods[i] for i in p.rng.choice(len(methods), 2, replace=False)]
    return [reading for method in chosen for reading in method(p, run, at)]


def _ohm(gamma: complex) -> complex:
    return Z_REF * (1 + gamma) / (1 - gamma)


_READ: dict[str, Callable[[_Person, Run, list[float]], list[OneEndReading]]] = {
    "open and short": _open_and_short,
    "open or short": _one_of_them,
    "load read directly": _load,
    "load of known SWR": _known_load,
    "antenna": _antenna,
    "resonance": _resonance,
    "several methods": _several,
}
