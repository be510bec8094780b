"""Made-up stations over two to eight years: pieces and meters that stay, age, break or are swapped, and their tests.

``station(kind, number, seed)`` returns a :class:`Station`: dated bench sessions and sweeps as one person would have
kept them, and what is true of every piece on any day. The bench is that of ``bench_rig.py``: the same radio, jumper and
meters in every session, with the same reflections and bends, so that what the sessions share is shared. Written from
the physics, without reading the engine.

Seeds 1 to 9000 are for building. **Seeds 9001 and above are for the last look**, once, at the end.

The truth of a tag is that of the piece in hand. Rates and sizes are common practice, no source: sheltered line gains
nothing, line in the weather 2 to 15 % a year; a blow or a bad plug costs a quarter to twice the loss at once.
"""

from __future__ import annotations

import zlib
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import numpy as np

import linewright as lw
from bench_families import COMMON, Family, cable
from bench_gear import Gear, draw_meters, draw_source
from bench_physics import Array, Instrument, Lump, Part, Plug, Wear, scattering, true_loss_db, two_port
from bench_rig import Claim, Read, Rig, Source, write_sheet
from human_slips import slip_some

TODAY = date(2026, 6, 1)
SHOWN = (14.2e6, 144.3e6, 432.1e6)
OTHERS = (7.1e6, 28.5e6, 50.1e6)
"""A station reads all three bands that the shelf shows a piece on, or two, and one other."""
PIECE_KINDS = ("steady", "ageing", "stepped", "swapped", "reterminated", "wet", "bought")
METER_KINDS = ("bent meter", "drifting meter", "dropped meter")
KINDS = (*PIECE_KINDS, *METER_KINDS)
NEWCOMER = "newcomer"
SESSION = Family("session", "one evening at the bench", share=0)

Life = Callable[[float], Part]
Tested = tuple[float, float]
"""How many years ago the first and the last session were."""


@dataclass(frozen=True)
class PieceLife:
    """A piece over the years. ``at(years)`` is what it is that long before today (0: today).

    ``named`` are the codes of the history's ``changes`` that would be right; ``changed_at`` when it changed, years ago.
    """

    claim: Claim
    kind: str
    at: Life
    named: tuple[str, ...]
    first_at: float
    changed_at: float | None = None


@dataclass(frozen=True)
class Session:
    """One evening: its day, its rig, its readings; ``really`` holds what was in hand where a tag was wrong."""

    day: date
    years_ago: float
    rig: Rig
    reads: tuple[Read, ...]
    really: dict[str, Part] = field(default_factory=dict)


@dataclass(frozen=True)
class SweepTest:
    """A sweep of a piece through both ends, as a Touchstone file's text."""

    day: date
    tag: str
    text: str
    years_ago: float


@dataclass(frozen=True)
class Station:
    """A station's whole record and the truth behind it."""

    kind: str
    number: int
    pieces: dict[str, PieceLife]
    sessions: tuple[Session, ...]
    sweeps: tuple[SweepTest, ...]
    stale_years: float
    bent: dict[str, float]

    def loss_db(self, tag: str, frequency_hz: float, years_ago: float = 0.0) -> float:
        """Return the true loss of the piece in hand."""
        return float(true_loss_db(self.pieces[tag].at(years_ago), np.array([frequency_hz]))[0])


def _between(rng: np.random.Generator, tested: Tested) -> float:
    """Return a day between the first session and the last: nobody can know what came after."""
    first, last = tested
    return last + float(rng.uniform(0.05, 0.95)) * (first - last)


def _ageing(rng: np.random.Generator, part: Part, tested: Tested) -> tuple[Life, float | None]:
    """Grow by a steady rate, conductors a little more than the dielectric."""
    rate, extra = float(rng.uniform(0.02, 0.15)), float(rng.uniform(0.8, 1.2))

    def at(years_ago: float) -> Part:
        years = tested[0] - years_ago
        wear = part.wear
        grown = replace(
            wear,
            conductor=wear.conductor * (1 + rate) ** years,
            dielectric=wear.dielectric * (1 + rate * extra) ** years,
        )
        return replace(part, wear=grown)

    return at, None


def _stepped(rng: np.random.Generator, part: Part, tested: Tested) -> tuple[Life, float | None]:
    """Lose more at once, by a blow or a plug that let go."""
    when = _between(rng, tested)
    if rng.random() < 0.6:
        after = replace(part, wear=part.wear.scaled(float(rng.uniform(1.25, 2.0))))
    else:
        after = replace(part, lumps=(Lump("series R", float(rng.uniform(8, 50)), 0.001),))
    return (lambda years_ago: after if years_ago < when else part), when


def _reterminated(rng: np.random.Generator, part: Part, tested: Tested) -> tuple[Life, float | None]:
    """Get new plugs in place of a bad one, and be a little shorter, which nobody writes down."""
    when, cut_m = _between(rng, tested), float(rng.uniform(0.05, 0.15)) * part.length_m
    before = replace(part, lumps=(Lump("series R", float(rng.uniform(8, 50)), 0.999),))
    after = replace(part, length_m=part.length_m - cut_m)
    return (lambda years_ago: after if years_ago < when else before), when


def _wet(rng: np.random.Generator, part: Part, tested: Tested) -> tuple[Life, float | None]:
    """Take in water from a day on: half of it in the first months, then more every year."""
    when, top = _between(rng, tested), float(rng.uniform(3, 9))

    def at(years_ago: float) -> Part:
        since = max(0.0, when - years_ago)
        share = 0.5 * (1 - np.exp(-since / 0.25)) + 0.5 * min(1.0, since / 4)
        return replace(part, wear=replace(part.wear, dielectric=part.wear.dielectric * (1 + (top - 1) * float(share))))

    return at, when


LIVES: dict[str, Callable[[np.random.Generator, Part, Tested], tuple[Life, float | None]]] = {
    "ageing": _ageing,
    "stepped": _stepped,
    "reterminated": _reterminated,
    "wet": _wet,
}
NAMED = {
    "ageing": ("ageing",),
    "stepped": ("step",),
    "reterminated": ("step",),
    "wet": ("step", "ageing"),
    "swapped": ("other piece",),
}


def _piece(rng: np.random.Generator, number: int, kind: str, tested: Tested) -> PieceLife:
    names, weights = list(COMMON), np.array(list(COMMON.values()), float)
    line = str(rng.choice(names, p=weights / weights.sum()))
    longest = 11.0 / float(lw.line_type(line).law.db_per_m(SHOWN[-1]))
    length_m = round(float(np.exp(rng.uniform(np.log(4), np.log(max(6.0, min(40.0, longest)))))), 1)
    tag = f"{rng.choice(['blue', 'black', 'grey', 'white'])} {number + 1}"
    scale = float(np.exp(rng.normal(0, 0.6 * lw.line_type(line).law.spread)))
    worn = float(rng.uniform(1.15, 1.9)) if kind == "bought" or rng.random() < 0.3 else float(rng.uniform(0.98, 1.08))
    part = cable(rng, tag, line, length_m, (Wear(scale, scale), (Wear().scaled(worn), (), "none")))
    life, changed_at = LIVES[kind](rng, part, tested) if kind in LIVES else ((lambda _: part), None)
    first_at = _between(rng, tested) if kind == "bought" else tested[0]
    return PieceLife(Claim(tag, line, length_m), kind, life, NAMED.get(kind, ("steady",)), first_at, changed_at)


def _impostor(rng: np.random.Generator, part: Part) -> Part:
    """Return another piece that carries the tag by mistake: another length, often another type."""
    line = str(rng.choice(list(COMMON))) if rng.random() < 0.6 else str(part.line)
    kind = lw.line_type(line)
    length_m = part.length_m * float(rng.choice([rng.uniform(0.3, 0.75), rng.uniform(1.35, 2.5)]))
    return replace(
        part, line=line, length_m=length_m, impedance_ohm=kind.impedance_ohm, velocity_factor=kind.velocity_factor
    )


def _mixed_up(rng: np.random.Generator, parts: list[Part]) -> dict[str, Part]:
    """Return what is in hand under tags that are wrong today: pieces that changed tags, or one that has none here."""
    if len(parts) == 1:
        return {parts[0].tag: _impostor(rng, parts[0])}
    return {one.tag: replace(other, tag=one.tag) for one, other in zip(parts, parts[1:] + parts[:1], strict=True)}


def _bent(rng: np.random.Generator, meters: dict[str, Instrument], kind: str) -> dict[str, float]:
    """Return the factor by which a meter's exponent is bent, always or since its blow: by 20 to 40 %."""
    if kind not in ("bent meter", "dropped meter"):
        return {}
    return {next(iter(meters)): float(rng.choice([rng.uniform(0.65, 0.8), rng.uniform(1.2, 1.4)]))}


def _aged_meters(
    rng: np.random.Generator, meters: dict[str, Instrument], bent: dict[str, float], clock: tuple[str, float, float]
) -> dict[str, Instrument]:
    """Return the meters of a day: a bend that stays, a slow drift, or a blow at ``dropped_at`` years ago."""
    kind, years_ago, dropped_at = clock
    aged = {}
    for place, (name, meter) in enumerate(meters.items()):
        factor, gain_db = bent.get(name, 1.0), float(rng.normal(0, 0.1))
        if place == 0 and kind == "drifting meter":
            factor, gain_db = 1.03 ** (4 - years_ago), gain_db + 0.3 * years_ago
        if place == 0 and kind == "dropped meter":
            factor, gain_db = (factor, gain_db - 2.0) if years_ago < dropped_at else (1.0, gain_db)
        detectors = {
            f: replace(d, exponent=d.exponent * factor, gain_db=d.gain_db + gain_db) for f, d in meter.detectors.items()
        }
        aged[name] = replace(meter, detectors=detectors)
    return aged


def _touchstone(rng: np.random.Generator, part: Part) -> str:
    """Return a sweep of 1 to 450 MHz as an amateur's analyser writes it: noise, and a calibration not quite right."""
    f = np.linspace(1e6, 450e6, 101)
    s11, s21, s12, s22 = scattering(two_port(part, f))
    waves = 2 * np.pi * f / 450e6 * rng.uniform(1, 4) + rng.uniform(0, 6)
    ripple_db = 0.02 * rng.normal() * np.sin(waves) + rng.normal(0, 0.01)
    rows = ["! made up, nothing was measured", "# MHz S RI R 50"]
    for k in range(len(f)):
        values = [s11[k], s21[k] * 10 ** (ripple_db[k] / 20), s12[k] * 10 ** (ripple_db[k] / 20), s22[k]]
        values = [v + 0.0015 * complex(*rng.normal(size=2)) for v in values]
        rows.append(f"{f[k] / 1e6:.6f} " + " ".join(f"{v.real:.6f} {v.imag:.6f}" for v in values))
    return "\n".join(rows) + "\n"


@dataclass(frozen=True)
class _Kept:
    """What stays the same through all sessions of a station."""

    kind: str
    bands: Array
    source: Source
    meters: dict[str, Instrument]
    jumper: Part
    jumper_m: float
    bent: dict[str, float]
    dropped_at: float
    slips: bool


def _evening(rng: np.random.Generator, kept: _Kept, lives: list[PieceLife], years_ago: float, last: bool) -> Session:
    """Return one session. Known pads are on the bench of a bent meter in all sessions but the last."""
    here = [life for life in lives if life.first_at >= years_ago - 1e-6 and (life.kind != NEWCOMER or last)]
    if not last and len(here) > 2:
        here = [life for life in here if rng.random() < 0.8] or here[:1]
    parts = {life.claim.tag: life.at(years_ago) for life in here}
    mixed = [life for life in here if life.kind == "swapped" and abs((life.changed_at or 0) - years_ago) < 1e-6]
    really = _mixed_up(rng, [life.at(years_ago) for life in mixed])
    parts, pads = parts | really, {}
    if (kept.kind == "bent meter" and not last) or (kept.kind != "bent meter" and rng.random() < 0.2):
        pads = {"pad 3": 3.0, "pad 6": 6.0}
        parts |= {tag: Part(tag, pad_db=db, plugs=(Plug(50, 0), Plug(50, 0))) for tag, db in pads.items()}
    meters = _aged_meters(rng, kept.meters, kept.bent, (kept.kind, years_ago, kept.dropped_at))
    if kept.kind in METER_KINDS and last:
        meters = {name: meters[name] for name in list(meters)[:1]}
    claims = {life.claim.tag: life.claim for life in here}
    jumper_claim = Claim("jumper", kept.jumper.line, kept.jumper_m)
    rig = Rig(rng, kept.source, kept.jumper, jumper_claim, "replaced", meters, parts, claims, pads, kept.bands)
    rig.bad_seat_p, rig.noise_db = 0.005, 0.03
    paths: list[tuple[str, ...]] = [(), *((tag,) for tag in [*claims, *pads]), ()]
    reads = [rig.read(m, f, p) for m in meters for f in meters[m].used_hz for p in paths]
    if kept.slips:
        slip_some(rig, reads, rng, 0.03)
    return Session(TODAY - timedelta(days=round(365.25 * years_ago)), years_ago, rig, tuple(reads), really)


def _kept(rng: np.random.Generator, kind: str, slips: bool) -> _Kept:
    shown = rng.choice(SHOWN, int(rng.integers(2, 4)), replace=False)
    bands = np.sort(np.append(shown, rng.choice(OTHERS)))
    count = (2, 2) if kind in METER_KINDS else (1, 3)
    gear = Gear(meters=count, in_band=1.0 if kind in METER_KINDS else 0.85)
    source = draw_source(rng, gear, bands)
    meters = draw_meters(rng, gear, bands, source.power_w)
    if kind in METER_KINDS:
        # The meter in question reads all bands: it alone is there in the last session.
        name = next(iter(meters))
        meters[name] = replace(meters[name], used_hz=tuple(float(f) for f in bands))
    jumper_m = round(float(rng.uniform(0.3, 1.2)), 1)
    jumper = Part("jumper", "RG-58C/U", jumper_m, 50.0, 0.66, Wear().scaled(float(rng.uniform(0.95, 1.3))))
    bent = _bent(rng, meters, kind)
    return _Kept(kind, bands, source, meters, jumper, jumper_m, bent, 0.0, slips)


def station(kind: str, number: int, seed: int) -> Station:
    """Return one station of a kind; the same kind, number and seed give the same station."""
    rng = np.random.default_rng([seed, zlib.crc32(kind.encode()), number])
    stale = float(rng.choice([0.0, 0.0, 1.0, 2.0, 3.0]))
    span = float(rng.uniform(2, 8 - stale)) + stale
    count = int(rng.integers(3 if kind == "swapped" else 2, 6))
    days = np.sort(np.append(rng.uniform(stale + 0.3, span, max(0, count - 2)), [stale, span]))[::-1]
    kept = replace(_kept(rng, kind, number % 2 == 1), dropped_at=float(rng.uniform(stale, span)))
    kinds = [kind if kind in PIECE_KINDS and rng.random() < 0.6 else "steady" for _ in range(int(rng.integers(3, 6)))]
    if kind in PIECE_KINDS and kind not in kinds:
        kinds[0] = kind
    lives = [
        _piece(rng, i, k, (span, stale)) for i, k in enumerate([*kinds, *([NEWCOMER] if kind in METER_KINDS else [])])
    ]
    swapped_at = float(days[int(rng.integers(len(days)))])
    lives = [replace(one, changed_at=swapped_at) if one.kind == "swapped" else one for one in lives]
    sessions = [_evening(rng, kept, lives, float(t), t == days[-1]) for t in days]
    pieces = {life.claim.tag: life for life in lives}
    sweeps = []
    for session in sessions:
        for tag, part in session.rig.parts.items():
            # A newcomer shows what is known of the meter, so it is read with that meter alone.
            if tag in pieces and pieces[tag].kind != NEWCOMER and rng.random() < 0.12:
                sweeps.append(SweepTest(session.day, tag, _touchstone(rng, part), session.years_ago))
    return Station(kind, number, pieces, tuple(sessions), tuple(sweeps), stale, kept.bent)


def file_all(ledger: Any, world: Station, folder: Path) -> None:
    """File every session and sweep of a station in a ledger, in the order of their days."""
    for number, session in enumerate(world.sessions):
        place = folder / f"session-{number}"
        place.mkdir()
        lw.file_sheet(ledger, write_sheet(place, session.rig, list(session.reads)), on=session.day)
        for k, sweep in enumerate(s for s in world.sweeps if s.day == session.day):
            path = place / f"sweep-{k}.s2p"
            path.write_text(sweep.text)
            lw.file_sweep(ledger, path, sweep.tag, on=sweep.day)
