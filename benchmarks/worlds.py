"""Synthetic benches with known truth.

``world(rng, kind)`` draws a bench, lets physics happen, and writes down what a person would have written. The main
family, "field", shares nothing with the engine's model: power runs through complex mismatched chains, detectors bend in
several ways, the source warms up and steps, noise has heavy tails, half the stocks are simply good. "nominal" worlds
follow the model of the engine, for comparison.

The truth of a loss is the matched loss of a piece with the heat of its connectors, against nothing at all. A jumper is
a short piece with two connectors of its own; where the path replaces it, readings differ by piece minus jumper. At a
joint of two pieces an adapter heats like one connector more.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np

from bench import Path, Setup, Sizes, good_db, lay_out
from cables import draw_leaves
from chain import delivered_db
from instruments import Dial, bend_db
from linewright.core.nouns.bench import BenchSheet, Meter, Reading
from slips import slip


@dataclass(frozen=True, slots=True)
class Recipe:
    """What kind of world: ``model`` "field" or "nominal", and how hard each trouble strikes."""

    model: str = "field"
    bend: float = 1.0
    noise: float = 1.0
    mismatch: float = 1.0
    drift: float = 1.0
    slips: float = 0.05
    slip_db: tuple[float, float] = (0.7, 12.0)
    insertions: float = 0.015
    leave: float = 0.0
    exact: bool = False
    single: bool = False
    coarse: bool = False


KINDS: dict[str, Recipe] = {
    "field": Recipe(),
    "nominal": Recipe("nominal", insertions=0.02, leave=0.02),
    "nonlinear": Recipe(bend=2.0),
    "nonlinear-nominal": Recipe("nominal", bend=2.0, insertions=0.02, leave=0.02),
    "lawbreak": Recipe(leave=0.08),
    "lawbreak-nominal": Recipe("nominal", insertions=0.02, leave=0.08),
    "clean": Recipe(slips=0.0, insertions=0.0),
    "noisy": Recipe(noise=2.5),
    "blunders15": Recipe(slips=0.15),
    "smallslips": Recipe(slip_db=(0.15, 0.7)),
    "single": Recipe(single=True),
    "zeros": Recipe(coarse=True),
    "exact": Recipe(bend=0.0, noise=0.0, mismatch=0.0, drift=0.0, slips=0.0, insertions=0.0, exact=True),
}


@dataclass(frozen=True, slots=True)
class Truth:
    """What really is: losses and ratios by (piece, frequency), slips in dB by row, exponents by block."""

    loss_db: dict[tuple[str, float], float]
    catalogue_db: dict[tuple[str, float], float | None]
    ratio: dict[tuple[str, float], float | None]
    slip_db: dict[int, float]
    exponent: dict[tuple[str, float], float]


@dataclass(frozen=True, slots=True)
class World:
    """A bench sheet and the truth behind it."""

    kind: str
    sheet: BenchSheet
    truth: Truth = field(compare=False)


def world(rng: np.random.Generator, kind: str = "field", sizes: Sizes | None = None) -> World:
    """Return a world of a kind named in ``KINDS``; the same generator state gives the same world."""
    recipe = KINDS[kind]
    setup = lay_out(rng, recipe.model, single=recipe.single, coarse=recipe.coarse, exact=recipe.exact, sizes=sizes)
    for cable in setup.cables.values():
        if recipe.model == "nominal":
            cable.leaves.update({f: float(np.exp(rng.normal(0, 0.03))) for f in setup.frequencies_hz})
        draw_leaves(rng, cable, setup.frequencies_hz, recipe.leave, 0.30)
    true_db, troubles = _powers(rng, recipe, setup)
    bent_db, exponents = _bend(rng, recipe, setup, true_db)
    readings, slips_db = _write(rng, recipe, setup, bent_db, troubles)
    sheet = BenchSheet(
        title=f"{kind} bench", meters=tuple(_noun(rng, d, recipe) for d in setup.dials),
        pieces=tuple(c.piece for c in setup.cables.values()), readings=readings, source=setup.source,
        reference=setup.reference, attenuators=() if setup.pad is None else (setup.pad,),
    )  # fmt: skip
    return World(kind, sheet, _truth(setup, slips_db, exponents))


def _noun(rng: np.random.Generator, dial: Dial, recipe: Recipe) -> Meter:
    worst = max((abs(g) for g in dial.reflections.values()), default=0.0)
    return replace(dial.noun, swr=round((1 + worst) / (1 - worst), 1)) if rng.random() < 0.5 else dial.noun


def _powers(rng: np.random.Generator, recipe: Recipe, setup: Setup) -> tuple[np.ndarray, dict[int, float]]:
    """Return the power reaching the meter at each reading, dBW, and extra losses of bad insertions by index."""
    level_db = 10 * np.log10(setup.power_w) + recipe.drift * _drift_db(rng, recipe, len(setup.order))
    gain_db: dict[tuple[int, float], tuple[float, complex, complex]] = {}
    extra_db: dict[tuple[int, float, Path], float] = {}
    arrives_db: dict[tuple[int, float, Path], float] = {}
    out, troubles = np.empty(len(setup.order)), {}
    for i, (m, f, path) in enumerate(setup.order):
        if (m, f) not in gain_db:
            gain_db[m, f] = (float(rng.normal(-0.5, 0.3)), *_reflections(rng, recipe, setup, setup.dials[m], f))
        if (m, f, path) not in extra_db:
            bad = path != () and rng.random() < recipe.insertions
            extra_db[m, f, path] = _insertion_db(rng, recipe) if bad else 0.0
            arrives_db[m, f, path] = _arrives_db(rng, recipe, setup, gain_db[m, f], f, path)
        out[i] = level_db[i] + gain_db[m, f][0] + arrives_db[m, f, path] - extra_db[m, f, path]
        if extra_db[m, f, path]:
            troubles[i] = extra_db[m, f, path]
    return out, troubles


def _insertion_db(rng: np.random.Generator, recipe: Recipe) -> float:
    return (
        float(rng.normal(0, 1.5)) if recipe.model == "nominal" else float(np.exp(rng.uniform(np.log(0.3), np.log(4.0))))
    )


def _drift_db(rng: np.random.Generator, recipe: Recipe, n: int) -> np.ndarray:
    """Return the level of the source through the readings: warm-up and steps, or the model's random walk; and noise."""
    if recipe.model == "nominal":
        kappa = rng.choice([0.6, 1.0, 1.8, 3.0], p=[0.25, 0.45, 0.22, 0.08])
        return np.asarray(kappa * (np.cumsum(rng.normal(0, 0.035, n)) + recipe.noise * rng.normal(0, 0.045, n)))
    t = np.arange(n)
    warm = rng.uniform(0.05, 0.5) * np.exp(-t / rng.uniform(4, 40)) * rng.choice([1, 1, -1])
    steps = np.cumsum(np.where(rng.random(n) < 1 / 60, rng.normal(0, 0.15, n), 0.0))
    size = 0.035 * np.exp(rng.normal(0, 0.4)) * recipe.noise
    return np.asarray(
        warm + steps + np.cumsum(rng.normal(0, 0.008, n)) + size * np.clip(rng.standard_t(5, n) / 1.29, -6, 6)
    )


def _reflections(
    rng: np.random.Generator, recipe: Recipe, setup: Setup, dial: Dial, f: float
) -> tuple[complex, complex]:
    """Return the reflections of source and meter at one frequency: sizes about what they should be, phases anything."""
    source = (setup.source_swr - 1) / (setup.source_swr + 1) * rng.uniform(0.5, 1.0)
    meter = (0.04 if dial.rated(f) else 0.10) * np.exp(rng.normal(0, 0.6))
    turn = np.exp(2j * np.pi * rng.random(2))
    dial.reflections[f] = complex(min(meter, 0.35) * turn[1])
    return complex(source * turn[0]) * recipe.mismatch, dial.reflections[f] * recipe.mismatch


def _arrives_db(
    rng: np.random.Generator, recipe: Recipe, setup: Setup, block: tuple[float, complex, complex], f: float, path: Path
) -> float:
    """Return what reaches the meter through a path, dB over what the source has to give."""
    sections = setup.parts(path, f)
    loss_db = sum(s.loss_db for s in sections)
    if recipe.model == "field":
        if recipe.exact:
            sections = [replace(s, impedance_ohm=50.0) for s in sections]
        return delivered_db(block[1], block[2], sections)
    limit_db = 8.686 * abs(block[1]) * abs(block[2]) * 10 ** (-loss_db / 10)
    return float(-loss_db + limit_db * np.cos(2 * np.pi * rng.random()))


def _bend(
    rng: np.random.Generator, recipe: Recipe, setup: Setup, true_db: np.ndarray
) -> tuple[np.ndarray, dict[tuple[str, float], float]]:
    """Return levels as the detectors show them, and the exponent each block effectively has."""
    bent, exponents = true_db.copy(), {}
    blocks: dict[tuple[int, float], list[int]] = {(m, f): [] for m, f, _ in setup.order}
    for i, (m, f, _) in enumerate(setup.order):
        blocks[m, f].append(i)
    for (m, f), rows in blocks.items():
        dial, level = setup.dials[m], true_db[rows]
        span = max(level.max() - level.min(), 3.0)
        ends = np.array([level.max() - span, level.max()])
        eps = _exponent_off(rng, recipe, dial, f)
        if dial.noun.scale == "dBm" or recipe.model == "nominal":
            bent[rows] = level + eps * (level - ends[1])
        else:
            top = 10 * np.log10(min(dial.full_scale, setup.power_w * 3))
            shape_db = bend_db(dial.shape, dial.knee_db, level - top)
            low, high = bend_db(dial.shape, dial.knee_db, ends - top)
            bent[rows] = level + eps * span * (shape_db - high) / max(high - low, 1e-3)
        exponents[dial.noun.name, f] = 1 + eps if np.ptp(level) < 0.3 else float(np.polyfit(level, bent[rows], 1)[0])
    return bent, exponents


def _exponent_off(rng: np.random.Generator, recipe: Recipe, dial: Dial, f: float) -> float:
    """Return how far the exponent is off 1: half of its variance a habit of the meter, half of the frequency."""
    size = (0.03 if dial.rated(f) else 0.12) * recipe.bend
    if recipe.model == "nominal":
        bad = rng.random() < (0.02 if dial.rated(f) else 0.08)
        return float(np.exp(rng.normal(0, 0.4 if bad else size)) - 1)
    return float(np.clip(size * np.sqrt(0.5) * (dial.eps + rng.standard_t(5) / np.sqrt(5 / 3)), -0.6, 0.8))


def _write(
    rng: np.random.Generator, recipe: Recipe, setup: Setup, level_db: np.ndarray, troubles: dict[int, float]
) -> tuple[tuple[Reading, ...], dict[int, float]]:
    """Return what is written down, and how many decibels of it are a slip or a bad insertion, by row."""
    at = [setup.dials[m].deflect(10 ** (x / 10)) for (m, _, _), x in zip(setup.order, level_db, strict=True)]
    readings, slips_db = [], {}
    for i, (m, f, path) in enumerate(setup.order):
        dial, value, off_db = setup.dials[m], at[i], troubles.get(i, 0.0)
        shown, low, high = (at[i], None, None) if recipe.exact else dial.write(value)
        if rng.random() < recipe.slips and (shown > 0 or dial.noun.scale == "dBm"):
            others = [dial.write(at[j])[0] for j, o in enumerate(setup.order) if o[:2] == (m, f) and o[2] != path]
            wrong = _misread(rng, recipe, dial, shown, others)
            if wrong is not None:
                off_db += dial.span_db(wrong, shown)
                shown, low, high = dial.write(wrong)
        if off_db:
            slips_db[i + 2] = abs(off_db)
        readings.append(Reading(i + 2, dial.noun.name, f, path, shown, low=low, high=high))
    return tuple(readings), slips_db


def _misread(rng: np.random.Generator, recipe: Recipe, dial: Dial, shown: float, others: list[float]) -> float | None:
    if recipe.model == "field":
        return slip(rng, dial, shown, others, recipe.slip_db)
    off_db = float(rng.normal(0, 2.5))
    per_db = {"dBm": None, "card": 20.0, "volts": 20.0}.get(dial.noun.scale, 10.0)
    return shown + off_db if per_db is None else float(shown * 10 ** (off_db / per_db))


def _truth(setup: Setup, slips_db: dict[int, float], exponents: dict[tuple[str, float], float]) -> Truth:
    keys = [(tag, f) for tag in setup.cables for f in setup.frequencies_hz]
    loss = {(t, f): setup.cables[t].loss_db(f) for t, f in keys}
    good = {(t, f): good_db(setup.cables[t], f) for t, f in keys}
    ratio = {k: None if g is None else loss[k] / g for k, g in good.items()}
    return Truth(loss, good, ratio, slips_db, exponents)
