"""A bench as physics has it: complex two-ports between a source and a meter, each with reflections of its own.

Written from the text-book and from docs, without reading the engine. Lines are distributed R, L, G, C (D. M. Pozar,
Microwave Engineering, 4th ed., sections 2.1 and 2.7); faults are lumped elements somewhere in the line; a chain is a
product of ABCD matrices (section 4.4). The power at the meter is that of the signal flow graph of source, two-port and
load (section 4.5): |S21|² / |(1 − S11 Γs)(1 − S22 Γm) − S12 S21 Γs Γm|².

Sizes that no book prints (how loose a plug is, how wet a line) are common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

import linewright as lw

C_M_PER_S = 299_792_458.0
DB_PER_NP = 20 / np.log(10)
Z_BENCH_OHM = 50.0

Array = NDArray[np.float64]
Matrix = NDArray[np.complex128]


@dataclass(frozen=True)
class Wear:
    """What years, water and the maker did to a law. Ones and zeros: exactly as the catalogue says.

    ``braid`` adds to the conductor part braid · (f / 30 MHz)^braid_power of itself: contacts between wires.
    ``water_db`` is dB per metre and MHz, beside the dry dielectric. ``notches`` are (frequency, dB, Q): resonances of a
    poor braid, per piece and not per metre.
    """

    conductor: float = 1.0
    dielectric: float = 1.0
    braid: float = 0.0
    braid_power: float = 0.0
    water_db: float = 0.0
    notches: tuple[tuple[float, float, float], ...] = ()

    def scaled(self, factor: float) -> Wear:
        """Return the same, every loss of the metre times a factor."""
        return replace(
            self,
            conductor=self.conductor * factor,
            dielectric=self.dielectric * factor,
            water_db=self.water_db * factor,
        )


@dataclass(frozen=True)
class Lump:
    """A lumped element at a place along a piece, 0 to 1. Series R or C, shunt R or C, as the kind says."""

    kind: str
    value: float
    place: float = 0.5
    tan_delta: float = 0.0


@dataclass(frozen=True)
class Plug:
    """A connector: 25 mm of an impedance of its own, and heat of ``heat_db`` times √(f / MHz)."""

    impedance_ohm: float = 50.0
    heat_db: float = 0.0017
    length_m: float = 0.025


@dataclass(frozen=True)
class Part:
    """Anything with two connectors that goes into a path: what it really is, beside what is claimed of it.

    ``ladder`` holds, for things without length, (kind, value) of series L, shunt C and series R in order.
    """

    tag: str
    line: str | None = None
    length_m: float = 0.0
    impedance_ohm: float = 50.0
    velocity_factor: float = 0.66
    wear: Wear = field(default_factory=Wear)
    lumps: tuple[Lump, ...] = ()
    plugs: tuple[Plug, Plug] = (Plug(), Plug())
    ladder: tuple[tuple[str, float], ...] = ()
    pad_db: float = 0.0


def _identity(count: int) -> Matrix:
    return np.tile(np.eye(2, dtype=np.complex128), (count, 1, 1))


def series(impedance_ohm: NDArray[np.complex128]) -> Matrix:
    """Return ABCD matrices of an impedance in series, one a frequency."""
    matrix = _identity(len(impedance_ohm))
    matrix[:, 0, 1] = impedance_ohm
    return matrix


def shunt(admittance_s: NDArray[np.complex128]) -> Matrix:
    """Return ABCD matrices of an admittance across the line, one a frequency."""
    matrix = _identity(len(admittance_s))
    matrix[:, 1, 0] = admittance_s
    return matrix


def line(frequency_hz: Array, length_m: float, z_ohm: float, vf: float, attenuation_np: tuple[Array, Array]) -> Matrix:
    """Return ABCD matrices of a line from its conductor and dielectric attenuation in nepers a metre.

    R = 2 αc Z0 and G = 2 αd / Z0 (Pozar, eq. 2.85); below the skin depth the internal reactance equals R. They give the
    complex impedance and the delay; the attenuation itself is what it is told to be, to the last digit.
    """
    conductor, dielectric = attenuation_np
    omega = 2 * np.pi * frequency_hz
    along = 2 * conductor * z_ohm * (1 + 1j) + 1j * omega * z_ohm / (vf * C_M_PER_S)
    across = 2 * dielectric / z_ohm + 1j * omega / (z_ohm * vf * C_M_PER_S)
    gamma, z0 = conductor + dielectric + 1j * np.sqrt(along * across).imag, np.sqrt(along / across)
    matrix = _identity(len(frequency_hz))
    matrix[:, 0, 0] = matrix[:, 1, 1] = np.cosh(gamma * length_m)
    matrix[:, 0, 1] = z0 * np.sinh(gamma * length_m)
    matrix[:, 1, 0] = np.sinh(gamma * length_m) / z0
    return matrix


def attenuation_np(part: Part, frequency_hz: Array) -> tuple[Array, Array]:
    """Return conductor and dielectric attenuation of a part's metre, nepers, its wear included."""
    law, wear, f_mhz = lw.line_type(str(part.line)).law, part.wear, frequency_hz / 1e6
    conductor, dielectric = law.parts_db_per_m(frequency_hz)
    conductor = conductor * wear.conductor * (1 + wear.braid * (f_mhz / 30) ** wear.braid_power)
    for centre, depth_db, q in wear.notches:
        conductor = conductor + depth_db / part.length_m / (1 + (2 * q * (frequency_hz / centre - 1)) ** 2)
    dielectric = dielectric * wear.dielectric + wear.water_db * f_mhz
    return conductor / DB_PER_NP, dielectric / DB_PER_NP


def _lump(lump: Lump, frequency_hz: Array) -> Matrix:
    omega = 2 * np.pi * frequency_hz
    ones = np.ones_like(frequency_hz) + 0j
    if lump.kind == "series R":
        return series(lump.value * ones)
    if lump.kind == "series C":
        return series(1 / (1j * omega * lump.value))
    if lump.kind == "shunt R":
        return shunt(ones / lump.value)
    if lump.kind == "shunt C":
        return shunt(1j * omega * lump.value * (1 - 1j * lump.tan_delta))
    if lump.kind == "series L":
        return series(1j * omega * lump.value)
    raise ValueError(f"no lump is called {lump.kind}")


def _plug(plug: Plug, frequency_hz: Array) -> Matrix:
    heat_db = plug.heat_db * np.sqrt(frequency_hz / 1e6)
    loss_free = np.zeros_like(frequency_hz)
    body = line(frequency_hz, plug.length_m, plug.impedance_ohm, 0.7, (loss_free, loss_free))
    return body @ series(2 * Z_BENCH_OHM * (10 ** (heat_db / 20) - 1) + 0j)


def _pad(loss_db: float, count: int) -> Matrix:
    """Return a matched T-pad (Pozar, 4.3: its scattering matrix has only S21)."""
    k = 10 ** (loss_db / 20)
    arm, leg = Z_BENCH_OHM * (k - 1) / (k + 1), 2 * Z_BENCH_OHM * k / (k * k - 1)
    ones = np.ones(count) + 0j
    return series(arm * ones) @ shunt(ones / leg) @ series(arm * ones)


def two_port(part: Part, frequency_hz: Array, extra: Iterable[Lump] = ()) -> Matrix:
    """Return ABCD matrices of a part between its connectors; ``extra`` lumps sit in its near plug."""
    matrix = _identity(len(frequency_hz))
    for lump in extra:
        matrix = matrix @ _lump(lump, frequency_hz)
    matrix = matrix @ _plug(part.plugs[0], frequency_hz)
    if part.pad_db:
        matrix = matrix @ _pad(part.pad_db, len(frequency_hz))
    for kind, value in part.ladder:
        matrix = matrix @ _lump(Lump(kind, value), frequency_hz)
    if part.line is not None and part.length_m:
        matrix = matrix @ _with_lumps(part, frequency_hz)
    return matrix @ _plug(part.plugs[1], frequency_hz)


def _with_lumps(part: Part, frequency_hz: Array) -> Matrix:
    loss_np = attenuation_np(part, frequency_hz)
    matrix, at = _identity(len(frequency_hz)), 0.0
    for lump in sorted(part.lumps, key=lambda one: one.place):
        matrix = matrix @ _section(part, frequency_hz, lump.place - at, loss_np) @ _lump(lump, frequency_hz)
        at = lump.place
    return matrix @ _section(part, frequency_hz, 1 - at, loss_np)


def _section(part: Part, frequency_hz: Array, share: float, loss_np: tuple[Array, Array]) -> Matrix:
    return line(frequency_hz, part.length_m * share, part.impedance_ohm, part.velocity_factor, loss_np)


def scattering(matrix: Matrix, z_ohm: float = Z_BENCH_OHM) -> tuple[NDArray[np.complex128], ...]:
    """Return S11, S21, S12, S22 of ABCD matrices between two equal real impedances (Pozar, table 4.2)."""
    a, b, c, d = matrix[:, 0, 0], matrix[:, 0, 1] / z_ohm, matrix[:, 1, 0] * z_ohm, matrix[:, 1, 1]
    total = a + b + c + d
    return (a + b - c - d) / total, 2 / total, 2 * (a * d - b * c) / total, (-a + b - c + d) / total


def loss_db(matrix: Matrix, z_ohm: float = Z_BENCH_OHM) -> Array:
    """Return the loss between two matched ends of an impedance: that of a line is its matched loss in its own."""
    return -20 * np.log10(np.abs(scattering(matrix, z_ohm)[1]))


def true_loss_db(part: Part, frequency_hz: Array) -> Array:
    """Return the loss that belongs to a part: in its line's own impedance, the echoes between its plugs left out.

    Attenuation times length, the heat of the plugs, and what each lump takes between matched ends, added in decibels.
    What has no line is one two-port between 50 ohm ends.
    """
    if part.line is None or not part.length_m:
        return loss_db(two_port(part, frequency_hz))
    conductor, dielectric = attenuation_np(part, frequency_hz)
    heat_db = sum(plug.heat_db for plug in part.plugs) * np.sqrt(frequency_hz / 1e6)
    lumps = sum((loss_db(_lump(lump, frequency_hz), part.impedance_ohm) for lump in part.lumps), np.zeros(1))
    return (conductor + dielectric) * DB_PER_NP * part.length_m + heat_db + lumps


def delivered(matrix: Matrix, source: NDArray[np.complex128], load: NDArray[np.complex128]) -> Array:
    """Return the power a load of reflection ``load`` takes, against what the source gives a matched one."""
    s11, s21, s12, s22 = scattering(matrix)
    wave = s21 / ((1 - s11 * source) * (1 - s22 * load) - s12 * s21 * source * load)
    return np.abs(wave) ** 2 * (1 - np.abs(load) ** 2)


def input_reflection(matrix: Matrix, load: NDArray[np.complex128]) -> NDArray[np.complex128]:
    """Return what the radio sees into a two-port ended by a load."""
    s11, s21, s12, s22 = scattering(matrix)
    return s11 + s12 * s21 * load / (1 - s22 * load)


@dataclass(frozen=True)
class Detector:
    """How a meter turns watts into what its scale shows.

    The law is (p / full)^exponent with the knee of a diode: v = √(p + knee) − √knee, set right at full scale. Below
    ``dead_w`` nothing moves. ``gain_db`` is the scale error of the band, which a ratio does not see. Above
    ``top_w`` the pointer folds: every further dB shows as 0.7 dB.
    """

    full_w: float
    exponent: float = 1.0
    knee_w: float = 0.0
    dead_w: float = 0.0
    gain_db: float = 0.0
    top_w: float = float("inf")

    def shown_w(self, power_w: float) -> float:
        """Return the power it shows, watts."""
        if power_w <= self.dead_w:
            return 0.0
        if power_w > self.top_w:
            power_w = self.top_w * (power_w / self.top_w) ** 0.7
        share = (power_w / self.full_w) ** self.exponent
        knee = self.knee_w / self.full_w
        voltage = (np.sqrt(share + knee) - np.sqrt(knee)) / (np.sqrt(1 + knee) - np.sqrt(knee))
        return float(self.full_w * voltage**2 * 10 ** (self.gain_db / 10))


@dataclass(frozen=True)
class Instrument:
    """A meter as it stands on the bench: its scale as written on the sheet, and how it really reads on each band.

    ``used_hz`` are the bands its owner read it on; it could be read on the others too.
    """

    name: str
    scale: str
    division: float
    full_w: float
    detectors: dict[float, Detector]
    reflections: dict[float, complex]
    rated_hz: tuple[float, float] | None = None
    stated_swr: float | None = None
    card: tuple[tuple[float, float], ...] = ()
    true_card: tuple[tuple[float, float], ...] = ()
    arc_noise: float = 0.004
    used_hz: tuple[float, ...] = ()

    def written(self, power_w: float, rng: np.random.Generator) -> float:
        """Return what a person writes down: needle and eye, then the nearest step of the scale."""
        position = float(np.sqrt(max(power_w, 0.0) / self.full_w))
        if position > 0:
            position = max(position + self.arc_noise * rng.standard_normal(), 0.0)
        return self.rounded(self.full_w * position**2)

    def rounded(self, power_w: float) -> float:
        """Return the nearest step of the scale, in its own unit."""
        value = self.of_watts(power_w)
        return round(round(value / self.division) * self.division, 6) + 0.0

    def of_watts(self, power_w: float) -> float:
        """Return the scale value of a power, after the card as it really should be."""
        if self.scale == "dBm":
            return 10 * np.log10(max(power_w, 1e-6) * 1e3)
        if self.scale == "volts":
            return float(np.sqrt(power_w * Z_BENCH_OHM))
        if self.scale == "card":
            marks, watts = np.array(self.true_card or self.card).T
            return float(np.interp(np.sqrt(power_w), np.sqrt(watts), marks))
        return power_w * (1e3 if self.scale == "milliwatts" else 1.0)

    def watts(self, value: float) -> float:
        """Return the power a written value stands for, by the card that the person has."""
        if self.scale == "dBm":
            return float(1e-3 * 10 ** (value / 10))
        if self.scale == "volts":
            return value**2 / Z_BENCH_OHM
        if self.scale == "card":
            marks, watts = np.array(self.card).T
            return float(np.interp(value, marks, np.sqrt(watts)) ** 2)
        return value * (1e-3 if self.scale == "milliwatts" else 1.0)
