"""What each meter is good for on each band."""

from __future__ import annotations

import numpy as np

from linewright.core.arrays import Floats, median
from linewright.core.formatting import plain, quantity
from linewright.core.frozen import dataclass
from linewright.core.messages import say, together
from linewright.core.nouns.bench_result import MeterFinding, ReadingFinding, Trust
from linewright.inference.bench.observations import Block
from linewright.inference.bench.posterior import Posterior, low_middle_high

OFF = 0.10
"""A detector whose decibels are more than a tenth too large or too small is off."""
FAR = 0.35
SURELY = 0.8
"""How sure that is before a meter is said to stretch or shrink decibels; short of it, between what they may lie."""
GOOD = (0.88, 1.14)


def meter_findings(
    post: Posterior, blocks: list[Block], readings: tuple[ReadingFinding, ...]
) -> tuple[MeterFinding, ...]:
    """Return the trust in every meter at every frequency it was read at, in the order of the sheet."""
    logs = post.draws[:, post.lay.exponent] + post.draws[:, [post.lay.bend]]
    ends = np.exp(low_middle_high(logs)).T.tolist()
    spread = logs.std(axis=0).tolist()
    alive = {(b.meter.name, b.frequency_hz): i for i, b in enumerate(post.lay.blocks)}
    found = []
    for block in blocks:
        if block.direct:
            continue
        i = alive.get((block.meter.name, block.frequency_hz))
        if block.dead or i is None:
            why = say("It gives no ratio: {reason}.", reason=block.dead or say("no reading is usable"))
            found.append(MeterFinding(block.meter.name, block.frequency_hz, "none", None, None, None, why))
            continue
        low, middle, high = ends[i]
        found.append(_judge(post, block, Exponent(logs[:, i], low, middle, high, spread[i]), readings))
    return tuple(found)


@dataclass(frozen=True, slots=True)
class Exponent:
    """Draws of a detector's log exponent, the exponent's middle and ends, and the spread of its log."""

    log: Floats
    low: float
    middle: float
    high: float
    spread: float


def _judge(post: Posterior, block: Block, seen: Exponent, readings: tuple[ReadingFinding, ...]) -> MeterFinding:
    measured = seen.spread < 0.7 * (post.priors.exponent_in if block.in_band else post.priors.exponent_out)
    wrong = [readings[r].p_wrong > 0.5 for o in block.observations for r in o.rows]
    trust, why = _say(seen, measured, block, sum(wrong) / len(wrong))
    why = together([why, _step(block)])
    return MeterFinding(block.meter.name, block.frequency_hz, trust, seen.middle, seen.low, seen.high, why)


def _say(seen: Exponent, measured: bool, block: Block, wrong: float) -> tuple[Trust, str]:
    place = _place(block)
    away = np.abs(seen.log)
    off, far = float((away > OFF).mean()), float((away > FAR).mean())
    if far > 0.8 or off > SURELY:
        return _bent(float(median(seen.log)), far > 0.8, place)
    if wrong >= 0.4:
        return "doubtful", say(
            "Its ratios look right, but {share} of its readings here do not fit ({place}).",
            share=_percent(wrong),
            place=place,
        )
    if seen.low > GOOD[0] and seen.high < GOOD[1]:
        if measured:
            return "good", say("Its decibels agree with the rest of the bench ({place}).", place=place)
        return "good", say("Assumed linear, because it is used in its rated band; not measured here.")
    if not measured:
        return "unknown", say(
            "Nothing here shows whether its decibels are true ({place}); a known attenuator would.", place=place
        )
    return "doubtful", say(
        "Its dB scale may be anything from {least} to {most} ({place}).",
        least=_off(seen.low),
        most=_off(seen.high),
        place=place,
    )


def _place(block: Block) -> str:
    if not block.meter.rated_hz:
        return say("no rated band stated")
    return say("used in its rated band") if block.in_band else say("used outside its rated band")


def _bent(log: float, useless: bool, place: str) -> tuple[Trust, str]:
    """Say of a detector that its decibels are too large or too small."""
    parts = {"share": _percent(abs(float(np.expm1(log)))), "place": place}
    if useless and log > 0:
        return "none", say("It over-reads dB differences by about {share}; do not use its ratios ({place}).", **parts)
    if useless:
        return "none", say("It under-reads dB differences by about {share}; do not use its ratios ({place}).", **parts)
    if log > 0:
        return "doubtful", say("It over-reads dB differences by about {share} ({place}).", **parts)
    return "doubtful", say("It under-reads dB differences by about {share} ({place}).", **parts)


def _percent(share: float) -> str:
    return quantity(plain(100 * share, 0), "%")


def _off(exponent: float) -> str:
    percent = round(100 * (exponent - 1))
    if not percent:
        return say("true")
    share = quantity(str(abs(percent)), "%")
    return say("{share} high", share=share) if percent > 0 else say("{share} low", share=share)


def _step(block: Block) -> str:
    """Say so when one step of the scale is coarse at the lowest reading."""
    widths = [o.width_db for o in block.observations if not o.bottom]
    if not widths or max(widths) < 0.5:
        return ""
    step = quantity(plain(max(widths), 1), "dB")
    return say("One step of its scale is {step} at its lowest reading.", step=step)
