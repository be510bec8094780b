"""Families of made-up benches whose truth is known, written from the physics by someone who has not read the engine.

``bench(family, number, seed)`` returns a :class:`World`: the sheet as an amateur would write it and what is true of its
pieces, readings and meters. Each family bends one thing; odd numbers of a family have slips in their readings, even
ones have none. ``bench_families_score.py`` holds the product against them.

Seeds 1 to 9000 are for building. **Seeds 9001 and above are for the last look**: nobody tunes, reads scores or opens
single benches of theirs before the work is finished.

What is true: a piece's loss is its attenuation in its own impedance with the heat of its plugs and of any fault
(``bench_physics.true_loss_db``); ``inserted_db`` is what the same piece takes between 50 ohm ends. A ratio is that loss
over what the catalogue says of a type and length with two sound connectors of 0.0017 dB at 1 MHz. Sizes of faults,
slips and scatter are common practice, no source.
"""

from __future__ import annotations

import zlib
from collections.abc import Callable
from dataclasses import dataclass, field, replace

import numpy as np

import linewright as lw
from bench_gear import Gear, draw_meters, draw_source
from bench_physics import Array, Lump, Part, Plug, Wear, loss_db, two_port
from bench_rig import Claim, Read, Rig, losses_of, sheet_text
from human_slips import slip_some

HF = (1.85e6, 3.6e6, 7.1e6, 14.2e6, 21.2e6, 28.5e6)
VHF = (50.1e6, 144.3e6, 432.1e6)
COMMON = {
    "RG-58C/U": 22, "RG-213/U": 22, "RG-8X type": 10, "RG-58A/U": 5, "RG-58/U": 5, "RG-8/U": 4, "RG-214/U": 4,
    "RG-223/U": 4, "RG-174/U": 3, "RG-142B/U": 3, "foam low-loss 7 mm": 6, "foam low-loss 10 mm": 6,
    "foam low-loss 5 mm": 4, "corrugated 1/2 in foam": 2,
}  # fmt: skip
PLUG_DB = 0.0017
MOST_DB = 22.0

Afflicted = tuple[Wear, tuple[Lump, ...], str]


@dataclass(frozen=True)
class Family:
    """What is peculiar to a family. ``trouble`` draws wear, lumps and the cause of an afflicted piece."""

    name: str
    about: str
    trouble: Callable[[np.random.Generator, float], Afflicted] | None = None
    share: float = 0.7
    lines: tuple[str, ...] = ()
    bands: tuple[float, ...] = (*HF, *VHF)
    gear: Gear = field(default_factory=Gear)
    pieces: tuple[int, int] = (1, 4)
    claim_type: tuple[str, ...] = ()
    claim_length: bool = False
    unmarked: bool = False
    bad_seat_p: float = 0.004
    pad_p: float = 0.3
    joined_p: float = 0.15
    bad_jumper: bool = False
    no_length: bool = False
    one_pair: bool = False
    swr_read: bool = False
    slip_share: float = 0.05


@dataclass(frozen=True)
class PieceTruth:
    """What is true of a piece, by band in hertz.

    ``claim_off`` is what its true type and length should lose over what the claim should.
    """

    tag: str
    cause: str
    loss_db: dict[float, float]
    inserted_db: dict[float, float]
    claimed_ratio: dict[float, float]
    true_ratio: dict[float, float]
    true_line: str | None
    true_length_m: float
    claim_off: float


@dataclass(frozen=True)
class World:
    """A bench and its truth."""

    family: str
    number: int
    slips: bool
    rig: Rig
    reads: tuple[Read, ...]
    pieces: dict[str, PieceTruth]
    exponents: dict[tuple[str, float], float]

    @property
    def text(self) -> str:
        """The sheet as written, without its readings."""
        return sheet_text(self.rig)


def _log_uniform(rng: np.random.Generator, low: float, high: float) -> float:
    return float(np.exp(rng.uniform(np.log(low), np.log(high))))


def _article(rng: np.random.Generator, line: str) -> Wear:
    """Return what the article sold differs from the catalogue by: a scale, and a little tilt."""
    scale = float(np.exp(rng.normal(0, 0.6 * lw.line_type(line).law.spread)))
    return Wear(scale * float(np.exp(rng.normal(0, 0.02))), scale * float(np.exp(rng.normal(0, 0.08))))


# Troubles -----------------------------------------------------------------------------------------------------------
def _braid(rng: np.random.Generator, length_m: float) -> Afflicted:
    del length_m
    wear = Wear(braid=_log_uniform(rng, 0.15, 1.8), braid_power=float(rng.uniform(0, 0.4)))
    return wear, (), "braid"


def _flat(rng: np.random.Generator, length_m: float) -> Afflicted:
    del length_m
    return Wear().scaled(float(rng.uniform(1.15, 2.2))), (), "wear"


def _wet(rng: np.random.Generator, length_m: float) -> Afflicted:
    del length_m
    return Wear(dielectric=_log_uniform(rng, 3, 10), conductor=float(rng.uniform(1, 1.15))), (), "water"


def _open(rng: np.random.Generator, length_m: float) -> Afflicted:
    del length_m
    place = float(rng.choice([0.001, 0.999, rng.uniform(0.1, 0.9)]))
    return Wear(), (Lump("series C", _log_uniform(rng, 10e-12, 2e-9), place),), "open conductor"


def _resistive(rng: np.random.Generator, length_m: float) -> Afflicted:
    del length_m
    place = float(rng.choice([0.001, 0.999]))
    return Wear(), (Lump("series R", _log_uniform(rng, 3, 60), place),), "resistive joint"


def _resonant(rng: np.random.Generator, length_m: float) -> Afflicted:
    """A poor braid leaks into its outside, which resonates every half wave of its length outside the jacket."""
    first = 0.93 * 2.998e8 / 2 / max(length_m, 3.0)
    orders = rng.integers(1, max(2, int(450e6 / first)), size=5)
    notches = tuple((float(n * first * rng.normal(1, 0.03)), _log_uniform(rng, 0.2, 2.0), 6.0) for n in orders)
    braid, power = _log_uniform(rng, 0.2, 1.5), float(rng.uniform(0.1, 0.5))
    return Wear(braid=braid, braid_power=power, notches=notches), (), "braid"


def _short(rng: np.random.Generator, length_m: float) -> Afflicted:
    del length_m
    return Wear(), (Lump("shunt R", _log_uniform(rng, 12, 200), float(rng.choice([0.001, 0.999, 0.5]))),), "short"


def _wet_plug(rng: np.random.Generator, length_m: float) -> Afflicted:
    del length_m
    place, tan_delta = float(rng.choice([0.001, 0.999])), float(rng.uniform(0.1, 0.8))
    return Wear(), (Lump("shunt C", _log_uniform(rng, 4e-12, 25e-12), place, tan_delta),), "wet connector"


def _anything(rng: np.random.Generator, length_m: float) -> Afflicted:
    troubles = (_braid, _flat, _wet, _open, _resistive, _resonant, _short, _wet_plug)
    return troubles[int(rng.integers(len(troubles)))](rng, length_m)


THIN = ("RG-58C/U", "RG-58A/U", "RG-8X type", "RG-174/U", "RG-223/U", "foam low-loss 5 mm")
THICK = ("RG-213/U", "RG-214/U", "RG-8/U", "foam low-loss 10 mm", "foam low-loss 7 mm")
UHF_GEAR = Gear(source_swr=(1.4, 3.0), meter_swr=(1.2, 2.4), stated_p=0.0)

FAMILIES: dict[str, Family] = {
    family.name: family
    for family in (
        Family("sound", "pieces as their type, a little worn, meters in band", gear=Gear(in_band=1.0)),
        Family("new", "fresh from the drum, nothing wrong", share=0, gear=Gear(in_band=1.0, noise_db=0.02)),
        Family("aged braid", "conductor part grown, a little more so at high frequency", _braid),
        Family("aged flat", "all loss 1.15 to 2.2 times", _flat),
        Family("wet", "dielectric loss 3 to 10 times", _wet),
        Family("open conductor", "10 pF to 2 nF in series with the centre", _open, share=0.5),
        Family("resistive contact", "3 to 60 ohm in series, always there", _resistive, share=0.5),
        Family("poor braid", "rises faster than the root, with resonances", _resonant),
        Family("leak across", "12 to 200 ohm between centre and braid", _short, share=0.5),
        Family("wet plug", "4 to 25 pF of wet dirt across a plug", _wet_plug, share=0.6),
        Family("plug faults", "one insertion in nine badly seated", bad_seat_p=0.11),
        Family("wrong type", "sold or marked as another 50 ohm type", claim_type=(*THIN, *THICK)),
        Family("wrong length", "0.6 to 1.5 times as long as said", claim_length=True),
        Family("75 in 50", "75 ohm cable, rightly marked", _flat, 0.4, lines=("RG-59B/U", "RG-6 type", "RG-11A/U")),
        Family("93 in 50", "93 ohm cable, rightly marked", _flat, 0.4, lines=("RG-62A/U",)),
        Family("75 marked 50", "75 ohm cable marked as a 50 ohm type", lines=("RG-59B/U", "RG-11A/U"),
               claim_type=("RG-58C/U", "RG-213/U", "RG-58A/U")),
        Family("out of band", "meters used where nobody promised anything", _flat, 0.5, gear=Gear(in_band=0.0)),
        Family("shared bend", "all meters bent alike", _flat, 0.5, gear=Gear(shared=(0.85, 1.2)), pad_p=0.5),
        Family("unstated SWR", "UHF, source and meters far from 50 ohm and silent about it", _flat, 0.5,
               bands=(144.3e6, 432.1e6, 1296.2e6), gear=UHF_GEAR),
        Family("bottoms and zeros", "scales 15 to 100 times too large", _flat, 0.6, gear=Gear(oversize=(15, 100))),
        Family("one pair", "one meter, one piece, one band, one pair", _flat, 0.5, one_pair=True, pieces=(1, 1),
               gear=Gear(meters=(1, 1)), pad_p=0, joined_p=0, slip_share=0.12),
        Family("poor load", "a load of SWR 1.6 to 3, and the SWR at the radio beside each reading", _flat, 0.5,
               swr_read=True, gear=Gear(meter_swr=(1.6, 3.0), stated_p=0.15)),
        Family("unsteady source", "warms up, jumps, protects itself", _flat, 0.5, gear=Gear(unsteady=True)),
        Family("bad jumper", "a jumper that is worn, or longer than said", _flat, 0.4, bad_jumper=True),
        Family("unmarked", "nobody knows the type", _flat, 0.5, unmarked=True),
        Family("many", "five to nine pieces, all sorts of trouble", _anything, 0.35, pieces=(5, 9), joined_p=0.3,
               gear=Gear(meters=(2, 3), repeats=0.1)),
        Family("no length", "filters, arrestors, relays, a duplexer, some damaged", no_length=True, share=0.35),
    )
}  # fmt: skip


# Pieces -------------------------------------------------------------------------------------------------------------
def _plugs(rng: np.random.Generator, kind: float) -> tuple[Plug, Plug]:
    """Return the two plugs of a piece: a plain round one of about 35 ohm on short waves, or one of constant 50 ohm."""
    ohm = 36.0 if kind < 0.4 else 50.0
    return tuple(Plug(float(rng.normal(ohm, 1.5)), PLUG_DB * float(np.exp(rng.normal(0, 0.4)))) for _ in "ab")  # type: ignore[return-value]


def _length(rng: np.random.Generator, line: str, top_hz: float) -> float:
    longest = MOST_DB / 2 / float(lw.line_type(line).law.db_per_m(top_hz))
    return round(_log_uniform(rng, 2.0, max(4.0, min(45.0, longest))), 1)


def _trouble(rng: np.random.Generator, family: Family, length_m: float) -> Afflicted:
    if family.trouble and rng.random() < family.share:
        return family.trouble(rng, length_m)
    return Wear().scaled(float(rng.uniform(0.98, 1.05))), (), "none"


def _is_of_the_law(trouble: Afflicted) -> bool:
    """Return whether a trouble is one of the whole drum (age), not of one piece (water, a plug, a broken braid)."""
    return trouble[2] in ("none", "wear", "braid") and not trouble[0].notches


def cable(rng: np.random.Generator, tag: str, line: str, length_m: float, trouble: tuple[Wear, Afflicted]) -> Part:
    """Return a piece of a line with its article's departure from the catalogue and its trouble."""
    kind, (article, (wear, lumps, _)) = lw.line_type(line), trouble
    both = replace(wear, conductor=wear.conductor * article.conductor, dielectric=wear.dielectric * article.dielectric)
    impedance_ohm = kind.impedance_ohm * float(rng.normal(1, 0.015))
    velocity = kind.velocity_factor * float(rng.normal(1, 0.01))
    return Part(tag, line, length_m, impedance_ohm, velocity, both, lumps, _plugs(rng, rng.random()))


@dataclass(frozen=True)
class Drum:
    """A stock that pieces were cut from: its type, how the article departs from the catalogue, its trouble."""

    name: str
    line: str
    article: Wear
    trouble: Afflicted


def _drum(rng: np.random.Generator, family: Family, number: int) -> Drum:
    names, weights = list(COMMON), np.array(list(COMMON.values()), float)
    line = str(rng.choice(family.lines)) if family.lines else str(rng.choice(names, p=weights / weights.sum()))
    return Drum(f"drum {number + 1}", line, _article(rng, line), _trouble(rng, family, 10.0))


def _draw_pieces(rng: np.random.Generator, family: Family, top_hz: float) -> list[tuple[Part, Claim, str]]:
    drawn: list[tuple[Part, Claim, str]] = []
    drum = _drum(rng, family, 0)
    for number in range(int(rng.integers(family.pieces[0], family.pieces[1] + 1))):
        if number and rng.random() > 0.4:
            drum = _drum(rng, family, number)
        tag = f"{rng.choice(['blue', 'black', 'grey', 'white'])} {number + 1}"
        length_m = _length(rng, drum.line, top_hz)
        own = _trouble(rng, family, length_m)
        trouble = drum.trouble if _is_of_the_law(drum.trouble) and _is_of_the_law(own) else own
        part = cable(rng, tag, drum.line, length_m, (drum.article, trouble))
        stock = drum.name if trouble[2] != "water" and not trouble[0].notches else None
        drawn.append(_claimed(rng, family, part, Claim(tag, drum.line, length_m, stock), trouble[2]))
    return drawn


def _claimed(rng: np.random.Generator, family: Family, part: Part, claim: Claim, cause: str) -> tuple[Part, Claim, str]:
    """Return the piece with what is said of it, which some families get wrong."""
    if family.claim_type and rng.random() < family.share:
        others = [name for name in family.claim_type if name != part.line]
        claim.line, claim.stock = str(rng.choice(others)), None
        cause = "other type" if lw.line_type(str(part.line)).impedance_ohm < 60 else "other impedance"
    if family.claim_length and rng.random() < family.share:
        factor = float(rng.choice([rng.uniform(0.6, 0.9), rng.uniform(1.1, 1.5)]))
        part, cause = replace(part, length_m=round(claim.length_m * factor, 2)), "other length"
    if family.unmarked:
        claim.line, claim.stock = None, None
    return part, claim, cause


def _device(rng: np.random.Generator, number: int, bands: Array, damaged: bool) -> tuple[Part, Claim, str]:
    """Return a thing without length: its ladder as it is, and what it should lose when sound."""
    kind = str(rng.choice(["filter", "arrestor", "relay", "duplexer", "choke", "adapter"]))
    tag, pad_db, edge = f"{kind} {number + 1}", 0.0, 2 * np.pi * 1.6 * float(bands.max())
    r = float(rng.uniform(0.02, 0.15))
    ladder: tuple[tuple[str, float], ...] = (("series R", r), ("series L", 4e-9), ("shunt C", 0.6e-12))
    if kind == "filter":
        c, inductor = 1 / (edge * 50), 2 * 50 / edge
        ladder = (("shunt C", c), ("series L", inductor), ("series R", edge / 1.6 * inductor / 120), ("shunt C", c))
    elif kind == "arrestor":
        ladder = (("series L", 3e-9), ("shunt C", 1.2e-12), ("series R", r))
    elif kind in ("duplexer", "choke"):
        pad_db = float(rng.uniform(0.7, 1.6) if kind == "duplexer" else rng.uniform(0.1, 0.3))
    sound = Part(tag, ladder=ladder, pad_db=pad_db)
    should = loss_db(two_port(sound, bands))
    part, cause = sound, "none"
    if damaged:
        part = replace(sound, ladder=(*ladder, ("series R", _log_uniform(rng, 5, 40))))
        cause = "resistive joint"
    table = tuple((float(f), max(0.01, round(float(db), 2))) for f, db in zip(bands, should, strict=True))
    return part, Claim(tag, None, 0.0, None, kind, table), cause


# The bench ----------------------------------------------------------------------------------------------------------
def _bands(rng: np.random.Generator, family: Family) -> Array:
    if family.no_length:
        low = rng.random() < 0.6
        return np.array([3.6e6, 7.1e6, 14.2e6, 28.5e6] if low else [144.3e6, 432.1e6])
    count = 1 if family.one_pair else int(rng.integers(2, min(5, len(family.bands)) + 1))
    return np.sort(rng.choice(family.bands, count, replace=False))


def _jumper(rng: np.random.Generator, family: Family) -> tuple[Part, Claim]:
    line, length_m = str(rng.choice(["RG-58C/U", "RG-213/U", "RG-223/U"])), round(float(rng.uniform(0.3, 1.5)), 1)
    wear, true_m, lumps = _article(rng, line), length_m, ()
    if family.bad_jumper and rng.random() < 0.5:
        wear = wear.scaled(float(rng.uniform(1.5, 3)))
        lumps = (Lump("series R", float(rng.uniform(1, 12)), 0.01),)
    elif family.bad_jumper:
        true_m = length_m * float(rng.uniform(1.6, 4))
    part = Part("jumper", line, true_m, 50.0, 0.66, wear, lumps, _plugs(rng, rng.random()))
    return part, Claim("jumper", line, length_m)


def _rig(rng: np.random.Generator, family: Family, bands: Array) -> tuple[Rig, dict[str, str]]:
    if family.no_length:
        drawn = [_device(rng, i, bands, rng.random() < family.share) for i in range(int(rng.integers(1, 4)))]
    else:
        drawn = _draw_pieces(rng, family, float(bands.max()))
    parts, claims = {p.tag: p for p, _, _ in drawn}, {c.tag: c for _, c, _ in drawn}
    pads: dict[str, float] = {}
    if rng.random() < family.pad_p:
        pads["pad"] = float(rng.choice([3.0, 6.0, 10.0]))
        parts["pad"] = Part("pad", pad_db=pads["pad"] + float(rng.normal(0, 0.05)), plugs=(Plug(50, 0), Plug(50, 0)))
    source = draw_source(rng, family.gear, bands)
    instruments = draw_meters(rng, family.gear, bands, source.power_w)
    jumper, jumper_claim = _jumper(rng, family)
    in_place = "stays" if rng.random() < 0.2 else "replaced"
    rig = Rig(rng, source, jumper, jumper_claim, in_place, instruments, parts, claims, pads, bands)
    rig.bad_seat_p, rig.noise_db = family.bad_seat_p, family.gear.noise_db
    if family.swr_read:
        rig.directivity = complex(0.05 * np.exp(2j * np.pi * rng.random()))
    return rig, {c.tag: cause for _, c, cause in drawn}


def _paths(rng: np.random.Generator, family: Family, rig: Rig) -> list[tuple[str, ...]]:
    tags = list(rig.claims)
    paths = [*((tag,) for tag in tags), *((tag,) for tag in rig.pads)]
    if len(tags) > 1 and rng.random() < family.joined_p:
        one, two = rng.choice(len(tags), 2, replace=False)
        paths.append((tags[one], tags[two]))
    return paths


def _take(rng: np.random.Generator, family: Family, rig: Rig, paths: list[tuple[str, ...]]) -> list[Read]:
    """Take the readings in the order of one person's evening: band by band, or a path on all bands at once."""
    around = [(), *paths, *([()] if rng.random() < 0.6 and not family.one_pair else [])]
    by_band, reads = rng.random() < 0.5, []
    again = rng.random() < family.gear.repeats and not family.one_pair
    for meter in rig.instruments:
        bands = [float(f) for f in rig.frequencies if f in rig.instruments[meter].used_hz]
        order = [(f, p) for f in bands for p in around] if by_band else [(f, p) for p in around for f in bands]
        for place, (f, path) in enumerate(order):
            stays = not by_band and place > 0 and order[place - 1][1] is path
            reads.append(rig.read(meter, f, path, keep_seat=stays))
            if again:
                reads.append(rig.read(meter, f, path, keep_seat=bool(rng.random() < 0.5)))
    return reads


def catalogue_db(line: str, length_m: float, frequency_hz: Array) -> Array:
    """Return what a sound piece of a type loses, with two connectors."""
    return lw.line_type(line).law.db_per_m(frequency_hz) * length_m + 2 * PLUG_DB * np.sqrt(frequency_hz / 1e6)


def _truth(rig: Rig, tag: str, cause: str) -> PieceTruth:
    part, claim, bands = rig.parts[tag], rig.claims[tag], rig.frequencies
    loss, inserted = losses_of(rig, tag), loss_db(two_port(part, bands))
    said, real = np.full_like(loss, np.nan), np.full_like(loss, np.nan)
    if claim.lossless_kind:
        said = real = np.array([db for _, db in claim.should_lose])
    elif claim.line:
        said = catalogue_db(claim.line, claim.length_m, bands)
    if part.line:
        real = catalogue_db(part.line, part.length_m, bands)
    off = float(np.exp(np.mean(np.log(real / said)))) if not np.isnan(said).any() else float("nan")

    def by_band(values: Array) -> dict[float, float]:
        return {float(f): float(v) for f, v in zip(bands, values, strict=True)}

    return PieceTruth(
        tag, cause, by_band(loss), by_band(inserted), by_band(loss / said), by_band(loss / real), part.line,
        part.length_m, off,
    )  # fmt: skip


def _exponents(rig: Rig, reads: list[Read]) -> dict[tuple[str, float], float]:
    chains = {key: rig.chain(*key) for key in {(r.path, r.frequency_hz) for r in reads}}
    powers: dict[tuple[str, float], list[float]] = {}
    for r in reads:
        watts = rig.power_w(r.meter, r.frequency_hz, chains[r.path, r.frequency_hz])
        powers.setdefault((r.meter, r.frequency_hz), []).append(watts)
    return {block: rig.exponent(*block, watts) for block, watts in powers.items()}


def bench(family_name: str, number: int, seed: int, *, family: Family | None = None) -> World:
    """Return one bench of a family; the same name, number and seed give the same bench."""
    rng = np.random.default_rng([seed, zlib.crc32(family_name.encode()), number])
    family = family or FAMILIES[family_name]
    rig, causes = _rig(rng, family, _bands(rng, family))
    reads = _take(rng, family, rig, _paths(rng, family, rig))
    slips = number % 2 == 1
    if slips:
        slip_some(rig, reads, rng, family.slip_share)
    pieces = {tag: _truth(rig, tag, cause) for tag, cause in causes.items()}
    return World(family_name, number, slips, rig, tuple(reads), pieces, _exponents(rig, reads))
