"""A bench to practise on, made from a number: cables as physics has them, meters as people own them, and what is wrong.

It shares nothing with the engine that judges benches but the catalogue. Power runs from a mismatched source through a
lossy line into a mismatched meter, |1 - Γs Γm e^(-2γl)| and all (D. M. Pozar, Microwave Engineering, 4th ed., sections
2.6 and 2.7). A good piece loses what the skin effect and the dielectric of its type take, times how it has aged. What
is wrong is added to that: a resistance in series takes the same on every band, wet dielectric takes in proportion to
frequency, another type has another law, another length scales it. Meters have a gain, an exponent and a scale with
steps and a bottom. All sizes below are common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from functools import lru_cache
from math import exp, log10, sqrt

import numpy as np

from linewright.catalogue import line_type
from linewright.core.errors import InputError
from linewright.core.formulas.faults import series_resistance_db
from linewright.core.frozen import dataclass
from linewright.core.messages import say
from linewright.core.nouns.bench import Attenuator, BenchSheet, Meter, Piece, Reading, Reference, Source
from linewright.core.nouns.practice import (
    LEVELS,
    PAD,
    SEEDS,
    FaultKind,
    HiddenFault,
    PracticeBench,
    PracticeReading,
    TrueLoss,
    TrueMeter,
    Truth,
)
from linewright.core.quantities import SPEED_OF_LIGHT_M_PER_S, TWO_PI

# How benches are made

JUMPER, JUMPER_M = "RG-58C/U", 0.9
PLUG_DB = 0.0017
"""Loss of one connector at 1 MHz; it grows with √f."""
PAD_DB, PAD_SD_DB = 6.0, 0.05
AGED_SD, CUT_SD = 0.04, 0.01
"""Log spread of how a drum has aged, and of a piece among those of its drum."""
GAIN_SD_DB, EXPONENT_SD = 0.4, 0.008
NOISE_DB, DRIFT_DB = 0.03, 0.02
"""Repeatability of a reading, and how far the source drifts from one reading to the next."""
METER_REFLECTION = (0.03, 0.08)
MOST_READINGS = 40
"""A bench takes no more readings, those that were on the sheet included."""
WET_AT_HZ = 144.3e6

SIZES: Mapping[FaultKind, tuple[tuple[float, float], ...]] = {
    "misread": ((-2.2, -0.7), (0.7, 2.2)),
    "detector": ((1.25, 1.6),),
    "water": ((0.35, 0.8),),
    "resistive joint": ((10.0, 35.0),),
    "other length": ((0.58, 0.75), (1.35, 1.75)),
    "other type": ((1.0, 1.0),),
}
"""Between which sizes a fault is drawn, evenly, one of the ranges at random: dB, exponent, share, ohms, ratio."""
LOOKS_LIKE = {
    "RG-58C/U": "foam low-loss 5 mm", "foam low-loss 5 mm": "RG-58C/U",
    "RG-8X type": "foam low-loss 6 mm", "foam low-loss 6 mm": "RG-8X type",
    "RG-213/U": "foam low-loss 10 mm", "foam low-loss 10 mm": "RG-213/U",
}  # fmt: skip
"""Types of one diameter: the eye does not tell them apart."""
KINDS: Mapping[int, tuple[tuple[FaultKind, ...], ...]] = {
    1: (("misread",),),
    2: (("detector",),),
    3: (("water", "resistive joint"),),
    4: (("other type", "other length"),),
    5: (("misread",), ("detector",), ("water", "resistive joint", "other type", "other length")),
}
"""What may be wrong, by level: one kind at most of each group."""
HOW_MANY: Mapping[int, tuple[float, float, float]] = {
    1: (0.0, 1.0, 0.0), 2: (0.0, 1.0, 0.0), 3: (0.0, 1.0, 0.0), 4: (0.0, 1.0, 0.0), 5: (0.25, 0.5, 0.25),
}  # fmt: skip
"""How often nothing, one thing, two things are wrong."""
GIVEN: Mapping[int, int] = {1: 1, 2: 1, 3: 1, 4: 1, 5: 2}
"""On how many meters the sheet was begun, by level; each has a band and reads every piece between two references."""
BANDS_HZ = HF, LOW_VHF, VHF, UHF = 7.1e6, 50.1e6, 144.3e6, 432.1e6
CARD_TIMES = 1.8
"""The bare scale ends at so many times the transmitter's power."""
PLAIN_DB = 7.0
"""A reading is misread only where a good piece loses less: nearer to the bottom of the scale nobody could tell."""
COLOURS = ("blue", "red", "green", "white", "yellow", "grey")


@dataclass(frozen=True, slots=True)
class Dial:
    """A meter and what is hidden in it: exponent, gain in dB and reflection by band.

    ``full_w`` is the power at the end of a bare scale; the needle leaves its stop at ``first_mark``.
    """

    meter: Meter
    exponent: float
    gain_db: Mapping[float, float]
    reflection: Mapping[float, complex]
    full_w: float
    first_mark: float


@dataclass(frozen=True, slots=True)
class Cable:
    """A piece as it is: what is written on it, and what it was made from."""

    piece: Piece
    line: str
    length_m: float
    aged: float
    water: float = 0.0
    joint_ohm: float = 0.0

    def loss_db(self, frequency_hz: float) -> float:
        """Return what it loses, its connectors included, dB."""
        clean = self.aged * self.length_m * law_db_per_m(self.line, frequency_hz)
        wet = self.water * self.length_m * law_db_per_m(self.line, WET_AT_HZ) * frequency_hz / WET_AT_HZ
        plugs = self.piece.connectors * plug_db(frequency_hz)
        return clean + wet + float(series_resistance_db(self.joint_ohm)) + plugs

    def phase_rad(self, frequency_hz: float) -> float:
        """Return its electrical length, radians."""
        return _phase(self.length_m, line_type(self.line).velocity_factor, frequency_hz)


@lru_cache(maxsize=1024)
def law_db_per_m(line: str, frequency_hz: float) -> float:
    """Return what a type of the catalogue takes, its conductors and its dielectric together, dB/m."""
    return float(sum(line_type(line).law.parts_db_per_m(frequency_hz)))


def plug_db(frequency_hz: float) -> float:
    """Return what one connector loses, dB."""
    return PLUG_DB * sqrt(frequency_hz / 1e6)


def should_lose_db(piece: Piece, frequency_hz: float) -> float:
    """Return what a new piece of the stated type and length loses, its connectors included, dB."""
    assert piece.line is not None
    return piece.length_m * law_db_per_m(piece.line.designator, frequency_hz) + piece.connectors * plug_db(frequency_hz)


def jumper_db(frequency_hz: float) -> float:
    """Return what the reference jumper loses, dB."""
    return JUMPER_M * law_db_per_m(JUMPER, frequency_hz) + 2.0 * plug_db(frequency_hz)


def _phase(length_m: float, velocity_factor: float, frequency_hz: float) -> float:
    return float(TWO_PI * frequency_hz * length_m / (velocity_factor * SPEED_OF_LIGHT_M_PER_S))


@dataclass(frozen=True, slots=True)
class MadeBench:
    """A bench with all that is hidden: only this module and what marks an answer look into it."""

    level: int
    seed: int
    power_w: float
    source_reflection: Mapping[float, complex]
    dials: tuple[Dial, ...]
    cables: tuple[Cable, ...]
    pad_db: float
    drift_db: tuple[float, ...]
    faults: tuple[HiddenFault, ...]
    given: tuple[PracticeReading, ...]
    misread: tuple[int, float] | None

    @property
    def bands(self) -> dict[str, tuple[float, ...]]:
        """The frequencies each meter is used at."""
        return {d.meter.name: tuple(d.gain_db) for d in self.dials}


def draws(*place: int) -> np.random.RandomState:
    """Return a generator for a place. Its stream is frozen for good (NEP 19): a code is one bench on every machine."""
    return np.random.RandomState(list(place))


@lru_cache(maxsize=256)
def made(level: int, seed: int) -> MadeBench:
    """Return the bench of a level and a seed, the same whenever it is asked for.

    Raises
    ------
    InputError
        If there is no such level or seed.
    """
    if level not in LEVELS:
        raise InputError(
            "level", say("must be one of {known}; got {value}", known=", ".join(map(str, LEVELS)), value=level)
        )
    if not 0 <= seed < SEEDS:
        raise InputError(
            "seed", say("must be a whole number from 0 to {most}; got {value}", most=SEEDS - 1, value=seed)
        )
    rng = draws(seed, level)
    power_w = float(rng.choice([5.0, 10.0, 20.0]))
    dials = _dials(rng, power_w)
    cables = _cables(rng)
    given = tuple(_given(rng, level, dials, cables))
    faults = _faults(rng, level, dials, cables, given)
    source = {f: 0.1 * np.exp(1j * rng.uniform(0.0, TWO_PI)) for f in BANDS_HZ}
    slip = next(((int(f.of[0]), f.size) for f in faults if f.kind == "misread"), None)
    pad_db = float(PAD_DB + PAD_SD_DB * rng.standard_normal())
    drift = np.cumsum(DRIFT_DB * rng.standard_normal(MOST_READINGS + 1))
    return MadeBench(
        level=level,
        seed=seed,
        power_w=power_w,
        source_reflection=source,
        dials=tuple(_bent(d, faults) for d in dials),
        cables=tuple(_spoiled(c, faults) for c in cables),
        pad_db=pad_db,
        drift_db=tuple(drift.tolist()),
        faults=faults,
        given=given,
        misread=slip,
    )


def _dials(rng: np.random.RandomState, power_w: float) -> tuple[Dial, ...]:
    """Return three meters; between them every band is read by two."""
    step = power_w / 100.0
    card = tuple((float(s), CARD_TIMES * power_w * (s / 100.0) ** 2) for s in range(0, 101, 10))
    some = (
        (Meter("desk meter", "watts", step, (1.8e6, 60e6)), (HF, LOW_VHF), 0.0, step),
        (Meter("pocket meter", "watts", 2.0 * step, (1.6e6, 500e6)), BANDS_HZ, 0.0, 2.0 * step),
        (Meter("card meter", "card", 1.0, (100e6, 470e6), card), (VHF, UHF), CARD_TIMES * power_w, 6.0),
    )
    return tuple(
        Dial(
            meter, exp(EXPONENT_SD * rng.standard_normal()),
            {f: float(GAIN_SD_DB * rng.standard_normal()) for f in sorted(bands)},
            {f: rng.uniform(*METER_REFLECTION) * np.exp(1j * rng.uniform(0.0, TWO_PI)) for f in sorted(bands)},
            full_w, first,
        )
        for meter, bands, full_w, first in some
    )  # fmt: skip


def _cables(rng: np.random.RandomState) -> tuple[Cable, ...]:
    """Return two pieces of one drum and one of another."""
    first, other = rng.choice(list(LOOKS_LIKE), 2, replace=False)
    drum, loose = rng.choice(list(COLOURS), 2, replace=False)
    aged = {name: exp(AGED_SD * rng.standard_normal()) for name in (drum, loose)}
    out = []
    for colour, line, reach in ((drum, first, (5, 9)), (drum, first, (12, 20)), (loose, other, (8, 24))):
        length = round(float(rng.uniform(*reach)), 1)
        tag = f"{colour} {length:.0f}"
        piece = Piece(tag, length, line_type(str(line)), 2, f"{colour} drum" if colour == drum else None)
        out.append(Cable(piece, str(line), length, aged[colour] * exp(CUT_SD * rng.standard_normal())))
    return tuple(out)


def _given(
    rng: np.random.RandomState, level: int, dials: Sequence[Dial], cables: Sequence[Cable]
) -> Iterator[PracticeReading]:
    """Yield what stands on the sheet: a meter or two, a band each, every piece between two references."""
    for i in rng.choice(len(dials), GIVEN[level], replace=False):
        f = float(rng.choice(list(dials[i].gain_db)))
        for path in ("reference", *(c.piece.tag for c in cables), "reference"):
            yield PracticeReading(dials[i].meter.name, f, path)


def _faults(
    rng: np.random.RandomState, level: int, dials: Sequence[Dial], cables: Sequence[Cable],
    given: Sequence[PracticeReading],
) -> tuple[HiddenFault, ...]:  # fmt: skip
    count = int(rng.choice(3, p=HOW_MANY[level]))
    groups = KINDS[level]
    chosen = sorted(rng.choice(len(groups), count, replace=False).tolist())
    found = []
    for group in chosen:
        kind: FaultKind = groups[group][int(rng.randint(len(groups[group])))]
        ranges = SIZES[kind]
        size = float(rng.uniform(*ranges[int(rng.randint(len(ranges)))]))
        found.append(_fault(rng, kind, size, dials, cables, given))
    return tuple(found)


def _fault(
    rng: np.random.RandomState, kind: FaultKind, size: float, dials: Sequence[Dial], cables: Sequence[Cable],
    given: Sequence[PracticeReading],
) -> HiddenFault:  # fmt: skip
    if kind == "misread":
        losses = {c.piece.tag: c.piece for c in cables}
        rows = [
            i for i, r in enumerate(given, 1)
            if r.path not in losses or should_lose_db(losses[r.path], r.frequency_hz) < PLAIN_DB
        ]  # fmt: skip
        return HiddenFault(kind, (str(rows[int(rng.randint(len(rows)))]),), size)
    if kind == "detector":
        return HiddenFault(kind, (dials[int(rng.randint(len(dials)))].meter.name,), size)
    piece = cables[int(rng.randint(len(cables)))].piece
    if kind == "other type":
        of = tuple(c.piece.tag for c in cables if c.piece.stock_name == piece.stock_name)
        assert piece.line is not None
        return HiddenFault(kind, of, size, LOOKS_LIKE[piece.line.designator])
    return HiddenFault(kind, (piece.tag,), size)


def _bent(dial: Dial, faults: Sequence[HiddenFault]) -> Dial:
    size = next((f.size for f in faults if f.kind == "detector" and dial.meter.name in f.of), None)
    return dial if size is None else replace(dial, exponent=size)


def _spoiled(cable: Cable, faults: Sequence[HiddenFault]) -> Cable:
    for f in faults:
        if cable.piece.tag not in f.of:
            continue
        if f.kind == "water":
            cable = replace(cable, water=f.size)
        elif f.kind == "resistive joint":
            cable = replace(cable, joint_ohm=f.size)
        elif f.kind == "other length":
            cable = replace(cable, length_m=cable.length_m * f.size)
        elif f.kind == "other type" and f.line is not None:
            cable = replace(cable, line=f.line)
    return cable


# What is read off it


def level_db(bench: MadeBench, wanted: PracticeReading) -> float:
    """Return the power that arrives at the meter's input, dB over the transmitter's, without drift and noise."""
    dial, f = dial_of(bench, wanted.meter), wanted.frequency_hz
    loss_db, phase = _path(bench, wanted.path, f)
    return -loss_db + mismatch_db(bench.source_reflection[f], dial.reflection[f], loss_db, phase)


def mismatch_db(source: complex, meter: complex, loss_db: float, phase_rad: float) -> float:
    """Return what the two reflections do to the power between them, dB; a matched path changes nothing.

    (1 - |Γs|²)(1 - |Γm|²)/|1 - Γs Γm e^(-2γl)|² (Pozar, section 2.6, from memory).
    """
    there_and_back = 10.0 ** (-loss_db / 10.0) * np.exp(-2j * phase_rad)
    ratio = (1.0 - abs(source) ** 2) * (1.0 - abs(meter) ** 2) / abs(1.0 - source * meter * there_and_back) ** 2
    return float(10.0 * np.log10(ratio))


def _path(bench: MadeBench, path: str, frequency_hz: float) -> tuple[float, float]:
    """Return the matched loss of a path, dB, and its phase, radians."""
    if path == "reference":
        return jumper_db(frequency_hz), _phase(JUMPER_M, line_type(JUMPER).velocity_factor, frequency_hz)
    if path == PAD:
        return bench.pad_db, 0.4
    cable = next(c for c in bench.cables if c.piece.tag == path)
    return cable.loss_db(frequency_hz), cable.phase_rad(frequency_hz)


def dial_of(bench: MadeBench, meter: str) -> Dial:
    """Return a meter with what is hidden in it."""
    return next(d for d in bench.dials if d.meter.name == meter)


def _read(bench: MadeBench, wanted: PracticeReading, number: int, before: int) -> Reading:
    """Return the reading that is written down as the ``number``-th, after ``before`` of the very same."""
    dial = dial_of(bench, wanted.meter)
    place = [bench.level, bench.seed, [d.meter.name for d in bench.dials].index(wanted.meter), before]
    place += [int(wanted.frequency_hz // 1e5), sum(wanted.path.encode())]
    noise = NOISE_DB * draws(*place).standard_normal()
    off = bench.drift_db[number] + noise
    level = dial.exponent * (level_db(bench, wanted) + off) + dial.gain_db[wanted.frequency_hz]
    if bench.misread is not None and bench.misread[0] == number:
        level += bench.misread[1]
    return _written(dial, wanted, bench.power_w * 10.0 ** (level / 10.0), number)


def _written(dial: Dial, wanted: PracticeReading, power_w: float, number: int) -> Reading:
    step = dial.meter.division or 0.0
    on_scale = 100.0 * sqrt(power_w / dial.full_w) if dial.meter.scale == "card" else power_w
    value = round(round(on_scale / step) * step, 6)
    path = () if wanted.path == "reference" else (wanted.path,)
    if on_scale < dial.first_mark or value <= 0.0:
        return Reading(number, wanted.meter, wanted.frequency_hz, path, 0.0, low=0.0, high=dial.first_mark)
    return Reading(number, wanted.meter, wanted.frequency_hz, path, value)


def bench_of(level: int, seed: int, taken: Sequence[PracticeReading] = ()) -> PracticeBench:
    """Return a bench as one sees it, after the readings that were chosen.

    Raises
    ------
    InputError
        If a reading names no meter, band or path of the bench, or there are too many.
    """
    bench = made(level, seed)
    wanted = [*bench.given, *(_checked(bench, one) for one in taken)]
    if len(wanted) > MOST_READINGS:
        rule = say(
            "must be {most_readings} at most, those on the sheet included; got {value}",
            most_readings=MOST_READINGS,
            value=len(wanted),
        )
        raise InputError("readings", rule, cure=say("Say what you think."))
    readings = tuple(_read(bench, w, i + 1, wanted[:i].count(w)) for i, w in enumerate(wanted))
    sheet = BenchSheet(
        title=say("Bench to practise on, level {level} (invented)", level=level),
        meters=tuple(d.meter for d in bench.dials),
        pieces=tuple(c.piece for c in bench.cables),
        readings=readings,
        source=Source(bench.power_w, 1.22),
        reference=Reference(line_type(JUMPER), JUMPER_M, "replaced"),
        attenuators=(Attenuator(PAD, PAD_DB, 2.0 * PAD_SD_DB),),
    )
    return PracticeBench(level, seed, sheet, len(bench.given), bench.bands, tuple(taken))


def _checked(bench: MadeBench, wanted: PracticeReading) -> PracticeReading:
    if wanted.meter not in bench.bands:
        raise InputError(
            "meter", say("must be one of {known}; got {value}", known=", ".join(bench.bands), value=repr(wanted.meter))
        )
    if wanted.frequency_hz not in bench.bands[wanted.meter]:
        bands = ", ".join(f"{f / 1e6:g} MHz" for f in bench.bands[wanted.meter])
        raise InputError(
            "frequency", say("must be one that the {meter} is used at: {bands}", meter=wanted.meter, bands=bands)
        )
    paths = ["reference", *(c.piece.tag for c in bench.cables), PAD]
    if wanted.path not in paths:
        raise InputError(
            "path", say("must be one of {known}; got {value}", known=", ".join(paths), value=repr(wanted.path))
        )
    return wanted


def truth_of(bench: PracticeBench) -> Truth:
    """Return what is wrong with a bench, and what everything on it loses at every band."""
    hidden = made(bench.level, bench.seed)
    bands = sorted({f for bands in hidden.bands.values() for f in bands})
    losses = tuple(
        TrueLoss(c.piece.tag, f, c.loss_db(f), should_lose_db(c.piece, f)) for c in hidden.cables for f in bands
    )
    return Truth(hidden.faults, losses, tuple(TrueMeter(d.meter.name, d.exponent) for d in hidden.dials))


def shown_db(bench: PracticeBench, reading: Reading) -> float:
    """Return what a reading says, dB over the transmitter's power; half of the first mark where the needle stayed."""
    meter, value = bench.sheet.meter(reading.meter), reading.reading
    dial = dial_of(made(bench.level, bench.seed), reading.meter)
    on_scale = value if value > 0.0 else 0.5 * dial.first_mark
    watts = dial.full_w * (on_scale / 100.0) ** 2 if meter.scale == "card" else on_scale
    assert bench.sheet.source.power_w
    return 10.0 * log10(watts / bench.sheet.source.power_w)
