"""A bench that can be read: source, jumper, parts and meters, one reading after another, and what is true of each.

A reading costs time: the source warms up, wanders and steps. A path that is put in anew has its plugs seated anew;
readings of it that follow each other share that seat. The sheet is written as a person writes it, TOML and CSV.
"""

from __future__ import annotations

import csv
import io
from copy import deepcopy
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np

import linewright as lw
from bench_physics import (
    Array,
    Instrument,
    Lump,
    Matrix,
    Part,
    delivered,
    input_reflection,
    true_loss_db,
    two_port,
)


@dataclass
class Seat:
    """One insertion of a path: what its plugs add this time. ``bad`` when that is more than a sound plug does."""

    path: tuple[str, ...]
    lumps: tuple[Lump, ...] = ()
    bad: bool = False


@dataclass
class Source:
    """The transmitter: watts into a matched load, its reflection on each band, and how it wanders.

    ``warm_db`` is what it loses while warming up over ``warm_readings``; ``walk_db`` a step of its random walk;
    ``jump_p`` the chance of a jump of ``jump_db`` between readings. ``protects`` lowers it above an SWR of 1.5.
    """

    power_w: float
    reflections: dict[float, complex]
    level_db: dict[float, float]
    stated_swr: float | None = None
    warm_db: float = 0.0
    warm_readings: float = 8.0
    walk_db: float = 0.01
    jump_p: float = 0.0
    jump_db: float = 0.3
    protects: bool = False
    said_power: bool = True


@dataclass
class Claim:
    """What the sheet says of a part; ``lossless_kind`` names what has no length, with what it should lose."""

    tag: str
    line: str | None
    length_m: float
    stock: str | None = None
    lossless_kind: str | None = None
    should_lose: tuple[tuple[float, float], ...] = ()


@dataclass
class Read:
    """One reading with its truth: what was written, what an honest hand would have written, what was wrong with it.

    ``slip_db`` is how far the written power lies from the honest one, a bad seat included; ``kind`` names why. ``swr``
    is what the radio showed meanwhile, where somebody looked.
    """

    meter: str
    frequency_hz: float
    path: tuple[str, ...]
    written: float
    honest: float
    seat: int
    kind: str = ""
    slip_db: float = 0.0
    swr: float | None = None


@dataclass
class Rig:
    """The bench itself. ``frequencies`` are the bands looked at; random numbers come from ``rng``.

    With a ``directivity`` the SWR at the radio is written down beside each reading, to a tenth.
    """

    rng: np.random.Generator
    source: Source
    jumper: Part
    jumper_claim: Claim
    in_place: str
    instruments: dict[str, Instrument]
    parts: dict[str, Part]
    claims: dict[str, Claim]
    pads: dict[str, float]
    frequencies: Array
    bad_seat_p: float = 0.0
    seat_ohm: float = 0.02
    noise_db: float = 0.03
    directivity: complex | None = None
    clock: float = 0.0
    wander_db: float = 0.0
    seat: Seat | None = None
    seats: int = 0

    def again(self, seed: int) -> Rig:
        """Return the bench as it stands, to go on with random numbers of another seed."""
        other = deepcopy(self)
        other.rng, other.seat = np.random.default_rng(seed), None
        return other

    def chain(self, path: tuple[str, ...], frequency_hz: float, lumps: tuple[Lump, ...] = ()) -> Matrix:
        """Return the ABCD matrix from the radio to the meter on a band; ``lumps`` sit where the path was plugged in."""
        jumper = () if self.in_place == "replaced" and path else (self.jumper,)
        parts = [*jumper, *(self.parts[tag] for tag in path)]
        seat = len(jumper) if path else 0
        matrix, at = np.eye(2, dtype=np.complex128)[None], np.array([frequency_hz])
        for number, part in enumerate(parts):
            matrix = matrix @ two_port(part, at, lumps if number == seat else ())
        return matrix

    def sit(self, path: tuple[str, ...]) -> Seat:
        """Put a path in, its plugs seated as luck has it; in a bad seat they touch badly or hardly at all."""
        self.seats += 1
        ohm = float(abs(self.rng.normal(0, self.seat_ohm)))
        seat = Seat(path, (Lump("series R", ohm),))
        if self.rng.random() < self.bad_seat_p:
            loose = self.rng.random()
            lump = Lump("series R", float(np.exp(self.rng.uniform(np.log(6), np.log(80)))))
            if loose < 0.25:
                lump = Lump("series C", float(np.exp(self.rng.uniform(np.log(3e-12), np.log(80e-12)))))
            elif loose < 0.4:
                lump = Lump("series L", float(self.rng.uniform(10e-9, 60e-9)))
            seat = Seat(path, (*seat.lumps, lump), True)
        self.seat = seat
        return seat

    def level_db(self) -> float:
        """Return how far the source is from its usual level now, and let time go on."""
        self.clock += 1
        self.wander_db += self.source.walk_db * float(self.rng.standard_normal())
        if self.rng.random() < self.source.jump_p:
            self.wander_db += float(self.rng.choice([-1, 1])) * self.source.jump_db
        return self.wander_db + self.source.warm_db * float(np.exp(-self.clock / self.source.warm_readings))

    def power_w(self, meter: str, frequency_hz: float, matrix: Matrix) -> float:
        """Return the power that a meter is given through a chain, the source being at its usual level."""
        gamma_s = np.array([self.source.reflections[frequency_hz]])
        gamma_m = np.array([self.instruments[meter].reflections[frequency_hz]])
        watts = self.source.power_w * 10 ** (self.source.level_db[frequency_hz] / 10)
        watts *= float(delivered(matrix, gamma_s, gamma_m)[0])
        if self.source.protects:
            seen = float(abs(input_reflection(matrix, gamma_m)[0]))
            watts *= min(1.0, (0.2 / max(seen, 1e-9)) ** 1.5)
        return watts

    def read(self, meter: str, frequency_hz: float, path: tuple[str, ...], *, keep_seat: bool = False) -> Read:
        """Take one reading. Without ``keep_seat`` the path is put in anew."""
        seat = self.seat if keep_seat and self.seat is not None and self.seat.path == path else self.sit(path)
        instrument = self.instruments[meter]
        ripple_db = self.level_db() + self.noise_db * float(self.rng.standard_t(4)) / np.sqrt(2)
        shown = self._shown(instrument, frequency_hz, seat, ripple_db)
        sound = self._shown(instrument, frequency_hz, Seat(path, seat.lumps[:1]), ripple_db) if seat.bad else shown
        state = self.rng.bit_generator.state
        written = instrument.written(shown, self.rng)
        self.rng.bit_generator.state = state
        honest = instrument.written(sound, self.rng)
        read = Read(meter, frequency_hz, path, written, honest, self.seats)
        if self.directivity is not None:
            load = np.array([instrument.reflections[frequency_hz]])
            seen = float(abs(input_reflection(self.chain(path, frequency_hz, seat.lumps), load)[0] + self.directivity))
            read.swr = round((1 + seen) / (1 - min(seen, 0.95)), 1)
        if seat.bad:
            read.slip_db = power_ratio_db(shown, sound)
            read.kind = "bad insertion"
        return read

    def _shown(self, instrument: Instrument, frequency_hz: float, seat: Seat, ripple_db: float) -> float:
        matrix = self.chain(seat.path, frequency_hz, seat.lumps)
        watts = self.power_w(instrument.name, frequency_hz, matrix) * 10 ** (ripple_db / 10)
        return instrument.detectors[frequency_hz].shown_w(watts)

    def exponent(self, meter: str, frequency_hz: float, powers_w: list[float]) -> float:
        """Return the slope of shown against true decibels over the powers that a meter was given on a band."""
        detector = self.instruments[meter].detectors[frequency_hz]
        true = np.array([p for p in powers_w if detector.shown_w(p) > 0])
        if len(true) < 2 or np.ptp(10 * np.log10(true)) < 0.3:
            true = np.array([max(powers_w), max(powers_w) / 2])
        shown = np.array([max(detector.shown_w(float(p)), 1e-9) for p in true])
        return float(np.polyfit(10 * np.log10(true), 10 * np.log10(shown), 1)[0])


def power_ratio_db(one_w: float, other_w: float) -> float:
    """Return a ratio in dB, no more than 20 either way: a zero is not infinitely wrong."""
    floor = 1e-2 * max(one_w, other_w, 1e-12)
    return float(10 * np.log10(max(one_w, floor) / max(other_w, floor)))


def quantity_toml(value: float, unit: str) -> str:
    """Return a quantity as written in a sheet."""
    return f'"{value:.6g} {unit}"'


def sheet_text(rig: Rig) -> str:
    """Return the TOML of a bench; its readings stand in readings.csv beside it."""
    source = rig.source
    rows = ['title = "a made-up bench"', "[source]"]
    rows += [f"power = {quantity_toml(source.power_w, 'W')}"] if source.said_power else []
    rows += [f"swr = {source.stated_swr}"] if source.stated_swr else []
    rows += ["[reference]", f'line = "{rig.jumper_claim.line}"']
    rows += [f"length = {quantity_toml(rig.jumper_claim.length_m, 'm')}", f'in_place = "{rig.in_place}"']
    for meter in rig.instruments.values():
        rows += _meter_rows(meter)
    for tag, claim in rig.claims.items():
        rows += _piece_rows(tag, claim)
    for tag, loss in rig.pads.items():
        rows += ["[[attenuator]]", f'tag = "{tag}"', f"loss = {quantity_toml(loss, 'dB')}"]
    return "\n".join([*rows, "[readings]", 'file = "readings.csv"', ""])


def _meter_rows(meter: Instrument) -> list[str]:
    unit = {"watts": "W", "milliwatts": "mW", "dBm": "dB", "volts": "V"}.get(meter.scale)
    division = f"{meter.division:g}" if unit is None else quantity_toml(meter.division, unit)
    rows = ["[[meter]]", f'name = "{meter.name}"', f'scale = "{meter.scale}"', f"division = {division}"]
    if meter.rated_hz:
        low, high = (f / 1e6 for f in meter.rated_hz)
        rows.append(f'rated = "{low:g} MHz to {high:g} MHz"')
    if meter.stated_swr:
        rows.append(f"swr = {meter.stated_swr}")
    if meter.card:
        rows.append("card = [" + ", ".join(f'[{mark:g}, "{watts:.6g} W"]' for mark, watts in meter.card) + "]")
    return rows


def _piece_rows(tag: str, claim: Claim) -> list[str]:
    rows = ["[[piece]]", f'tag = "{tag}"']
    if claim.lossless_kind:
        table = ", ".join(f'["{f / 1e6:g} MHz", "{db:.3g} dB"]' for f, db in claim.should_lose)
        return [*rows, f'kind = "{claim.lossless_kind}"', f"should_lose = [{table}]"]
    rows += [f'line = "{claim.line}"'] if claim.line else []
    rows += [f"length = {quantity_toml(claim.length_m, 'm')}", "connectors = 2"]
    return [*rows, f'stock = "{claim.stock}"'] if claim.stock else rows


def readings_text(reads: list[Read]) -> str:
    """Return the CSV of readings, in the order taken; the first stands in row 2."""
    text = io.StringIO()
    out = csv.writer(text, lineterminator="\n")
    looked = any(r.swr is not None for r in reads)
    out.writerow(["meter", "frequency", "path", "reading", *(["swr"] if looked else [])])
    for r in reads:
        row = [r.meter, f"{r.frequency_hz / 1e6:g} MHz", "+".join(r.path) or "reference", f"{r.written:.6g}"]
        out.writerow([*row, *([r.swr] if looked else [])])
    return text.getvalue()


def read_sheet(rig: Rig, reads: list[Read]) -> lw.BenchSheet:
    """Return the sheet as the product reads it from its files.

    Raises
    ------
    InputError
        If the product refuses it.
    """
    with TemporaryDirectory() as folder:
        write_sheet(Path(folder), rig, reads)
        return lw.read_bench_sheet(Path(folder) / "sheet.toml")


def write_sheet(folder: Path, rig: Rig, reads: list[Read]) -> Path:
    """Write sheet.toml and readings.csv into a folder and return the sheet's path."""
    (folder / "sheet.toml").write_text(sheet_text(rig))
    (folder / "readings.csv").write_text(readings_text(reads))
    return folder / "sheet.toml"


def losses_of(rig: Rig, tag: str) -> Array:
    """Return the true loss of a part on every band."""
    return true_loss_db(rig.parts[tag], rig.frequencies)
