"""The model of the bench engine as a density for a general sampler.

Continuous unknowns only. What the engine calls explanations is summed out: a misread reading and a bad insertion
exactly, reading by reading and group by group, given the drift and mismatch of the block; a cable off its law, a bent
detector, an aged or wet stock, a bad joint as priors of two normals; noise scale and roughness by summing over their
few values. Only the arrangement of the sheet and the numbers of the priors are the engine's; the density is written
anew.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import jax
import jax.numpy as jnp
import numpy as np
from jax.scipy.special import log_ndtr, logsumexp
from scipy.stats import norm

from linewright.inference.bench.censored import WAKING_DB, WRONG_P
from linewright.inference.bench.design import JOINT_HZ, Layout, connectors_in
from linewright.inference.priors import Priors

jax.config.update("jax_enable_x64", True)
Unknowns = dict[str, Any]


@dataclass(frozen=True)
class Target:
    """A density to sample: minus its logarithm, where to start, and the losses that unknowns stand for."""

    potential: Callable[[Unknowns], Any]
    start: Unknowns
    losses_db: Callable[[Unknowns], Any]


def _normal(x: Any, variance: Any, mean: Any = 0.0) -> Any:
    return -0.5 * (jnp.log(2 * jnp.pi * variance) + (x - mean) ** 2 / variance)


def _either(p: Any, off: Any, on: Any) -> Any:
    """Return the log of a mixture: ``on`` with chance ``p``."""
    return jnp.logaddexp(jnp.log1p(-p) + off, jnp.log(p) + on)


def _reflection(swr: float) -> float:
    return (swr - 1) / (swr + 1)


@dataclass(frozen=True)
class _Facts:
    """Constants per observation, and the groups that share an effect."""

    group: np.ndarray
    sizes: np.ndarray
    increments: np.ndarray
    zero: np.ndarray
    card: np.ndarray
    echo: np.ndarray
    seen: np.ndarray
    steps: np.ndarray


def _facts(lay: Layout, pri: Priors) -> _Facts:
    flat = [(b, o) for b in lay.blocks for o in b.observations]
    _, group, sizes = np.unique(lay.block * 10_000 + lay.cell, return_inverse=True, return_counts=True)
    source = _reflection(lay.sheet.source.swr or pri.source_swr)
    meter = np.array([_reflection(b.meter.swr or pri.meter_swr) for b, _ in flat])
    seen = np.array([_reflection(o.swr) if o.swr else np.nan for _, o in flat])
    through = np.array([bool(o.path) and connectors_in(lay.sheet, o.path) > 0 for _, o in flat])
    increments = np.zeros((lay.n, lay.n))
    for b, block in enumerate(lay.blocks):
        times = np.array([o.time for o in block.observations])
        times = times - times.min() + 1.0
        order, rows = np.argsort(times, kind="stable"), np.arange(lay.n)[lay.slice_of(b)]
        gaps = np.sqrt(np.maximum(np.diff(np.concatenate([[0.0], times[order]])), 0.0))
        for place, i in enumerate(order):
            increments[rows[i], rows[order[: place + 1]]] = gaps[: place + 1]
    return _Facts(
        group, sizes, increments,
        zero=np.array([o.zero_effect_db for _, o in flat]) * pri.zero_division,
        card=np.array([pri.card_db if b.meter.scale == "card" else 0.0 for b, _ in flat]),
        echo=source * meter, seen=np.where(np.isfinite(seen), source * seen, np.nan),
        steps=np.where(through, pri.line_reflection * np.hypot(source, meter), 0.0),
    )  # fmt: skip


def target_of(lay: Layout, pri: Priors) -> Target:
    """Return the density of a bench."""
    facts, s, k = _facts(lay, pri), lay.strands, lay.cells
    names = [b.meter.name for b in lay.blocks]
    meters = sorted(set(names))
    of_meter = np.array([meters.index(n) for n in names])
    wide = np.array([pri.exponent_in if b.in_band else pri.exponent_out for b in lay.blocks])
    base = np.array([np.mean([o.level_db for o in (b.references or b.observations)]) for b in lay.blocks])
    many = np.flatnonzero(facts.sizes > 1)
    own_connectors = np.array([lay.sheet.pieces[p].connectors for p in s.piece]) * pri.connector_db_per_sqrt_mhz

    joint_db = _joint_table(pri)

    def strands(u: Unknowns) -> Any:
        growth, wet = jnp.exp(u["growth"])[s.stock], jnp.exp(u["wet"])[s.stock]
        alike, rising = jnp.interp(u["joint"], *joint_db)
        joints = alike[s.piece] + rising[s.piece] * np.sqrt(s.frequency_hz / JOINT_HZ)
        return growth * jnp.exp(u["departure"]) * (s.conductor_db + wet * s.dielectric_db) + joints

    def losses_db(u: Unknowns) -> Any:
        return strands(u) + jnp.exp(u["connector"]) * own_connectors * np.sqrt(s.frequency_hz / 1e6)

    def cells(u: Unknowns) -> Any:
        connector, jumper = jnp.exp(u["connector"]) * k.connector_db, jnp.exp(u["jumper"]) * k.jumper_db
        return k.strands @ strands(u) + connector - jumper + k.attenuators @ u["pad"]

    def exponents(u: Unknowns) -> Any:
        return wide * np.sqrt(pri.exponent_shared) * u["habit"][of_meter] + u["own"]

    def mean_db(u: Unknowns) -> Any:
        cell = cells(u)
        loss = jnp.maximum(cell, 0.0)[lay.cell]
        echo = jnp.where(np.isfinite(facts.seen), np.nan_to_num(facts.seen), facts.echo * 10 ** (-loss / 10))
        size = 8.685889638 / np.sqrt(2) * jnp.sqrt(echo**2 + facts.steps**2 + 1e-18)
        shared = (
            size * u["mismatch"][facts.group] + facts.card * u["card"][facts.group] + facts.zero * u["zero"][lay.block]
        )
        level = base[lay.block] + u["level"][lay.block]
        return level - jnp.exp(exponents(u))[lay.block] * cell[lay.cell] + shared

    return Target(
        lambda u: -_prior(u, lay, pri, wide) - _likelihood(u, mean_db(u), lay, pri, facts, many),
        _start(lay, len(meters), len(facts.sizes), len(many)),
        losses_db,
    )


def _joint_table(pri: Priors) -> tuple[np.ndarray, np.ndarray]:
    """Return standard normal deviates and the joint losses at the same quantiles of their prior.

    Sound joints are a spike and bad ones a slab: sampled through their quantiles they are one smooth direction.
    """
    sound, slab = pri.joint_usual_db, np.hypot(pri.joint_usual_db, pri.joint_spread_db)
    near = np.linspace(-5 * sound, 5 * sound, 801)
    db = np.unique(np.concatenate([near, pri.joint_db + slab * np.linspace(-6, 6, 2401)]))
    below = (1 - pri.joint_p) * norm.cdf(db / sound) + pri.joint_p * norm.cdf((db - pri.joint_db) / slab)
    above = (1 - pri.joint_p) * norm.sf(db / sound) + pri.joint_p * norm.sf((db - pri.joint_db) / slab)
    return np.where(below < 0.5, norm.ppf(below), norm.isf(above)), db


def _start(lay: Layout, meters: int, groups: int, many: int) -> Unknowns:
    n = {
        "level": len(lay.blocks), "own": len(lay.blocks), "zero": len(lay.blocks), "habit": meters,
        "growth": len(lay.stocks), "wet": len(lay.stocks), "departure": len(lay.strands.piece),
        "drift": lay.n, "mismatch": groups, "card": groups, "insertion": many,
    }  # fmt: skip
    start: Unknowns = {name: jnp.zeros(size) for name, size in n.items()}
    pads = jnp.array([a.loss_db for a in lay.sheet.attenuators])
    start["joint"] = jnp.zeros((2, len(lay.sheet.pieces)))
    return start | {"connector": jnp.zeros(()), "jumper": jnp.zeros(()), "pad": pads}


def _prior(u: Unknowns, lay: Layout, pri: Priors, wide: np.ndarray) -> Any:
    """Return the log prior of everything."""
    known = {p.stock_name: p.line for p in lay.sheet.pieces if p.line is not None}
    spread = np.array(
        [np.hypot(known[x].law.spread, pri.good_spread) if x in known else pri.unknown_spread for x in lay.stocks]
    )
    shift = np.array([pri.good_shift if x in known else 0.0 for x in lay.stocks])
    aged = np.array([pri.aged_p if x in known else 1e-12 for x in lay.stocks])
    wet = np.array([pri.wet_p if x in known else 1e-12 for x in lay.stocks])
    damp = np.array([pri.good_wet_spread if x in known else pri.wet_spread for x in lay.stocks])
    bent = np.array([pri.bent_in_p if b.in_band else pri.bent_out_p for b in lay.blocks])
    g, v = u["growth"], spread**2
    total = _either(aged, _normal(g, v, shift), _normal(g, v + pri.aged_spread**2, shift + pri.aged_shift)).sum()
    total += _either(wet, _normal(u["wet"], damp**2), _normal(u["wet"], damp**2 + pri.wet_spread**2)).sum()
    total += _normal(u["connector"], pri.connector_spread**2) + _normal(u["jumper"], pri.jumper_spread**2)
    total += _normal(u["level"], 100.0**2).sum()
    for i, pad in enumerate(lay.sheet.attenuators):
        total += _normal(u["pad"][i], (max(pad.tolerance_db, 1e-3) / 1.96) ** 2, pad.loss_db)
    for name in ("drift", "mismatch", "card", "zero", "joint"):
        total += _normal(u[name], 1.0).sum()
    total += _normal(u["insertion"], pri.insertion_db**2).sum()
    ways = (
        (1 - pri.rough_p, 1.0, 1.0, pri.break_p),
        (pri.rough_p, pri.rough_exponent, pri.rough_departure, pri.rough_break_p),
    )
    kinds = []
    for p, widen, loosen, break_p in ways:
        own, leaves = (wide * widen) ** 2 * (1 - pri.exponent_shared), (pri.departure * loosen) ** 2
        kinds.append(
            jnp.log(p)
            + _normal(u["habit"], widen**2).sum()
            + _either(bent, _normal(u["own"], own), _normal(u["own"], own + pri.bent_log**2)).sum()
            + _either(
                break_p, _normal(u["departure"], leaves), _normal(u["departure"], leaves + pri.break_log**2)
            ).sum()
        )
    return total + logsumexp(jnp.stack(kinds))


def _likelihood(u: Unknowns, mean: Any, lay: Layout, pri: Priors, facts: _Facts, many: np.ndarray) -> Any:
    """Return the log likelihood, summed over noise scales, insertions and misreadings."""
    lone = facts.sizes[facts.group] == 1
    reads_path = np.array([lay.cells.fixed[c][0] != () for c in lay.cell])
    misread = pri.misread_p * 0.5 ** (lay.count - 1.0) + np.where(lone & reads_path, pri.insertion_p, 0.0)
    walk = pri.drift_db * (facts.increments @ u["drift"])
    place = np.full(len(facts.sizes), -1)
    place[many] = np.arange(len(many))
    effect = jnp.where(lone, 0.0, jnp.append(u["insertion"], 0.0)[place[facts.group]])
    width = lay.width_db**2 / 12

    def one(scale: float) -> Any:
        def each(extra: Any) -> Any:
            at, v = mean + scale * walk + extra, scale**2 * pri.noise_db**2 / lay.count + width
            edge = jnp.log((1 - WRONG_P) * jnp.exp(log_ndtr((lay.upper_db - at) / WAKING_DB)) + WRONG_P)
            y = np.where(lay.bottom, 0.0, lay.y_db)
            shown = _either(misread, _normal(y, v, at), _normal(y, v + pri.misread_db**2, at))
            return jnp.where(lay.bottom, edge, shown)

        def by_group(x: Any) -> Any:
            return jnp.zeros(len(facts.sizes)).at[facts.group].add(x)

        plain, moved = by_group(each(0.0)), by_group(each(effect))
        p = np.where(facts.sizes > 1, pri.insertion_p, 1e-300)
        return jnp.where(facts.sizes > 1, _either(p, plain, moved), plain).sum()

    logs = [jnp.log(w) + one(k) for k, w in zip(pri.noise_scales, pri.noise_weights, strict=True)]
    return logsumexp(jnp.stack(logs))
