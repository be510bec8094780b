"""The gear of a bench as an amateur has it: a transmitter, and meters of several sorts, in band and out of it.

Sizes of scale errors, knees and reflections are common practice, no source; the spread of scale errors follows the
comparison of five meters quoted in amateur lists (most within 10 % at the top, far worse at the bottom of the scale).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from bench_physics import Array, Detector, Instrument
from bench_rig import Source

STEPS = (0.2, 0.5, 1, 2, 5, 10, 20, 30, 50, 100, 200, 300, 500, 1000, 2000, 5000)


@dataclass(frozen=True)
class Gear:
    """What a family's gear is like. ``shared`` draws one exponent that all its meters have."""

    meters: tuple[int, int] = (1, 3)
    in_band: float = 0.85
    noise_db: float = 0.03
    source_swr: tuple[float, float] = (1.05, 1.6)
    meter_swr: tuple[float, float] = (1.03, 1.3)
    stated_p: float = 0.35
    oversize: tuple[float, float] = (1.1, 3.0)
    shared: tuple[float, float] | None = None
    unsteady: bool = False
    repeats: float = 0.25


@dataclass(frozen=True)
class Sort:
    """A sort of meter: its scale, the shares of full scale a step is, the band it may be rated for in MHz, its knee."""

    name: str
    scale: str
    steps: float
    rated_mhz: tuple[tuple[float, float], ...]
    knee: tuple[float, float]
    arc_noise: float = 0.004


SORTS = (
    Sort("desk meter", "watts", 50, ((1.8, 60), (1.8, 160)), (1e-4, 4e-3), 0.005),
    Sort("pocket meter", "watts", 40, ((1.6, 30), (1.8, 60), (125, 525)), (5e-4, 8e-3), 0.006),
    Sort("digital meter", "watts", 200, ((1.6, 60), (125, 525), (1.8, 525)), (1e-5, 1e-3), 0.0015),
    Sort("slug meter", "watts", 50, ((2, 30), (100, 250), (200, 500), (400, 1300)), (1e-4, 2e-3), 0.004),
    Sort("card meter", "card", 100, ((100, 470), (1, 150)), (1e-4, 3e-3), 0.005),
    Sort("probe", "volts", 100, ((1, 100), (1, 500)), (1e-6, 1e-4), 0.003),
    Sort("head", "dBm", 0, ((1, 500), (1, 3000)), (1e-8, 1e-7), 0.002),
)


def gamma(rng: np.random.Generator, swr: float) -> complex:
    """Return a reflection of an SWR with a phase that nobody knows."""
    return complex((swr - 1) / (swr + 1) * np.exp(2j * np.pi * rng.random()))


def draw_source(rng: np.random.Generator, gear: Gear, bands: Array) -> Source:
    """Return a transmitter of 2 to 100 W with an SWR of its own on every band."""
    power_w = float(rng.choice([2, 5, 10, 10, 20, 25, 50, 100]))
    swr = float(rng.uniform(*gear.source_swr))
    source = Source(
        power_w,
        {float(f): gamma(rng, 1 + (swr - 1) * float(rng.uniform(0.5, 1.1))) for f in bands},
        {float(f): float(rng.normal(-0.3, 0.4)) for f in bands},
        round(swr, 1) if rng.random() < gear.stated_p else None,
        warm_db=float(rng.uniform(0, 0.08)),
        walk_db=float(rng.uniform(0.004, 0.02)),
        said_power=bool(rng.random() < 0.8),
    )
    if gear.unsteady:
        source.warm_db, source.warm_readings = float(rng.uniform(0.15, 0.6)), float(rng.uniform(4, 15))
        source.walk_db, source.jump_p = float(rng.uniform(0.02, 0.06)), 0.04
        source.protects = bool(rng.random() < 0.3)
    return source


def open_band(source: Source, meters: dict[str, Instrument], frequency_hz: float, seed: int) -> None:
    """Make a band that was not read so far ready to be read: everything there is near what it is on the nearest band.

    A meter that is rated on one of the two and not on the other may bend quite otherwise.
    """
    if frequency_hz in source.reflections:
        return
    rng = np.random.default_rng([seed, round(frequency_hz)])
    nearest = min(source.reflections, key=lambda f: abs(np.log(f / frequency_hz)))
    source.reflections[frequency_hz] = source.reflections[nearest] * np.exp(2j * np.pi * rng.random())
    source.level_db[frequency_hz] = float(rng.normal(-0.3, 0.4))
    for meter in meters.values():
        like = meter.detectors[nearest]
        rated = meter.rated_hz or (0.0, float("inf"))
        strange = (rated[0] <= frequency_hz <= rated[1]) != (rated[0] <= nearest <= rated[1])
        bend = float(np.exp(rng.normal(0, 0.1 if strange else 0.02)))
        gain_db = like.gain_db + float(rng.normal(0, 0.3))
        meter.detectors[frequency_hz] = replace(like, exponent=like.exponent * bend, gain_db=gain_db)
        meter.reflections[frequency_hz] = meter.reflections[nearest] * np.exp(2j * np.pi * rng.random())


def _full_scale(rng: np.random.Generator, gear: Gear, power_w: float) -> float:
    wanted = power_w * float(np.exp(rng.uniform(*np.log(gear.oversize))))
    return float(next((step for step in STEPS if step >= wanted), STEPS[-1]))


def _is_rated(rated: tuple[float, float], frequency_hz: float) -> bool:
    return rated[0] <= frequency_hz / 1e6 <= rated[1]


def _is_strange(sort: Sort, bands: Array) -> bool:
    """Return whether a sort of meter may be had that is rated for fewer than half of the bands."""
    return min(np.mean([_is_rated(rated, float(f)) for f in bands]) for rated in sort.rated_mhz) < 0.5


def draw_meters(rng: np.random.Generator, gear: Gear, bands: Array, power_w: float) -> dict[str, Instrument]:
    """Return the meters of a bench, each on the bands its owner uses it on; every band is read by one at least.

    Where meters are to be in band always, sets that leave a band unrated are drawn again.
    """
    shared = float(rng.uniform(*gear.shared)) if gear.shared else None
    for _ in range(40):
        meters = _draw_set(rng, gear, shared, (bands, power_w))
        left = [float(f) for f in bands if not any(f in m.used_hz for m in meters.values())]
        if not left or gear.in_band < 1:
            break
    first = next(iter(meters.values()))
    meters[first.name] = replace(first, used_hz=tuple(sorted({*first.used_hz, *left})))
    return meters


def _draw_set(
    rng: np.random.Generator, gear: Gear, shared: float | None, bench: tuple[Array, float]
) -> dict[str, Instrument]:
    bands, power_w = bench
    sorts = [sort for sort in SORTS if gear.in_band > 0 or _is_strange(sort, bands)] or list(SORTS)
    count = min(int(rng.integers(gear.meters[0], gear.meters[1] + 1)), len(sorts))
    places = rng.choice(len(sorts), count, replace=False)
    drawn = [_draw_meter(rng, gear, (sorts[place], shared), bands, power_w) for place in places]
    return {meter.name: meter for meter in drawn if meter.used_hz} or _draw_set(rng, gear, shared, bench)


def _draw_meter(
    rng: np.random.Generator, gear: Gear, sort_shared: tuple[Sort, float | None], bands: Array, power_w: float
) -> Instrument:
    sort, shared = sort_shared
    rateds = sorted(sort.rated_mhz, key=lambda r: -sum(_is_rated(r, f) for f in bands))
    if gear.in_band == 0:
        rateds = rateds[::-1]
    rated, full_w = rateds[0], _full_scale(rng, gear, power_w)
    # A meter is used where it is rated, and elsewhere as its owner dares.
    used = [float(f) for f in bands if _is_rated(rated, f) or rng.random() > gear.in_band]
    bend = float(rng.normal(0, 0.06)) if rng.random() < 0.15 else float(rng.normal(0, 0.015))
    detectors = {
        float(f): _detector(rng, full_w, sort.knee, inside=_is_rated(rated, f), shared=shared, bend=bend) for f in bands
    }
    stray = {float(f): 1.0 if _is_rated(rated, f) else float(rng.uniform(1, 1.4)) for f in bands}
    reflections = {f: gamma(rng, float(rng.uniform(*gear.meter_swr)) * by) for f, by in stray.items()}
    swr = round(gear.meter_swr[1], 1) if rng.random() < gear.stated_p else None
    card, true_card = _card(rng, full_w) if sort.scale == "card" else ((), ())
    division = 0.1 if sort.scale == "dBm" else 1.0 if sort.scale == "card" else _division(sort, full_w)
    rated_hz = (rated[0] * 1e6, rated[1] * 1e6) if rng.random() < 0.9 else None
    return Instrument(
        sort.name, sort.scale, division, full_w, detectors, reflections, rated_hz, swr, card, true_card,
        sort.arc_noise, tuple(used),
    )  # fmt: skip


def _division(sort: Sort, full_w: float) -> float:
    top = float(np.sqrt(50 * full_w)) if sort.scale == "volts" else full_w
    exact = top / sort.steps
    decade = 10 ** np.floor(np.log10(exact))
    return float(f"{decade * min((1, 2, 5, 10), key=lambda m: abs(np.log(m * decade / exact))):.6g}")


def _detector(
    rng: np.random.Generator,
    full_w: float,
    knee: tuple[float, float],
    *,
    inside: bool,
    shared: float | None,
    bend: float = 0.0,
) -> Detector:
    own = float(rng.normal(0, 0.01 if inside else 0.1))
    if not inside and rng.random() < 0.15:
        own += float(rng.choice([-1, 1])) * float(rng.uniform(0.1, 0.35))
    exponent = float(np.exp(own + bend)) * (shared or 1.0)
    knee_share = float(np.exp(rng.uniform(*np.log(knee)))) * (0.1 if inside else 2)
    # A scale is drawn on its own detector, in band: what is left of the knee there is a tenth.
    dead_w = full_w * knee_share * float(rng.uniform(0, 1.5))
    gain_db = float(rng.normal(0, 0.4 if inside else 1.5))
    top_w = full_w * float(rng.uniform(0.5, 0.9)) if not inside and rng.random() < 0.1 else float("inf")
    return Detector(full_w, exponent, full_w * knee_share, dead_w, gain_db, top_w)


def _card(rng: np.random.Generator, full_w: float) -> tuple[tuple[tuple[float, float], ...], ...]:
    """Return the card a person has and the one that would be true: a smooth error of a few per cent between them."""
    marks = np.array([0, 10, 20, 30, 40, 50, 60, 70, 80, 90, 100], float)
    shape = np.abs(marks / 100) ** float(rng.uniform(1.7, 2.1))
    wave = 1 + 0.012 * rng.normal() * np.sin(np.pi * marks / 100 * rng.uniform(1, 3))
    top = full_w * 1.6
    card = tuple((float(m), float(f"{top * s:.3g}")) for m, s in zip(marks, shape, strict=True))
    return card, tuple((float(m), float(top * s * w)) for m, s, w in zip(marks, shape, wave, strict=True))
