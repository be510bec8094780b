"""What each meter is good for on each band."""

from __future__ import annotations

import numpy as np

from linewright.evidence.layout import Floats
from linewright.evidence.observations import Block
from linewright.evidence.posterior import Posterior
from linewright.model.result import MeterFinding, ReadingFinding, Trust

OFF = 0.10
"""A detector whose decibels are more than a tenth too large or too small is off."""
FAR = 0.35
GOOD = (0.88, 1.14)


def meter_findings(
    post: Posterior, blocks: list[Block], readings: tuple[ReadingFinding, ...]
) -> tuple[MeterFinding, ...]:
    """Return the trust in every meter at every frequency it was read at, in the order of the sheet."""
    alive = {(b.meter.name, b.frequency_hz): i for i, b in enumerate(post.lay.blocks)}
    found = []
    for block in blocks:
        if block.direct:
            continue
        i = alive.get((block.meter.name, block.frequency_hz))
        if block.dead or i is None:
            why = f"No ratio can be formed: {block.dead or 'no reading is usable'}."
            found.append(MeterFinding(block.meter.name, block.frequency_hz, "none", None, None, None, why))
            continue
        found.append(_judge(post, block, i, readings))
    return tuple(found)


def _judge(post: Posterior, block: Block, i: int, readings: tuple[ReadingFinding, ...]) -> MeterFinding:
    log = post.draws[:, post.lay.exponent.start + i]
    low, middle, high = (float(v) for v in np.exp(np.quantile(log, [0.025, 0.5, 0.975])))
    measured = float(np.std(log)) < 0.7 * (post.priors.exponent_in if block.in_band else post.priors.exponent_out)
    wrong = [readings[r].p_wrong > 0.5 for o in block.observations for r in o.rows]
    trust, why = _say(log, low, high, measured, block, float(np.mean(wrong)))
    return MeterFinding(block.meter.name, block.frequency_hz, trust, middle, low, high, f"{why} {_step(block)}".strip())


def _say(log: Floats, low: float, high: float, measured: bool, block: Block, wrong: float) -> tuple[Trust, str]:
    band = "in" if block.in_band else "outside" if block.meter.rated_hz else "of no stated"
    place = f"used {band} its rated band" if block.meter.rated_hz else "of no stated rated band"
    off, far = float(np.mean(np.abs(log) > OFF)), float(np.mean(np.abs(log) > FAR))
    way = "stretches" if float(np.median(log)) > 0 else "shrinks"
    percent = f"{100 * abs(np.expm1(float(np.median(log)))):.0f} %"
    if far > 0.8:
        return "none", f"It {way} every decibel by about {percent}; do not use its ratios ({place})."
    if off > 0.5:
        return "doubtful", f"It {way} every decibel by about {percent} ({place})."
    if wrong >= 0.4:
        return "doubtful", f"Its ratios look true, but {100 * wrong:.0f} % of its readings here do not fit ({place})."
    if low > GOOD[0] and high < GOOD[1]:
        if measured:
            return "good", f"Its decibels agree with the rest of the bench ({place})."
        return "good", "Taken as linear because it is used in its rated band; not measured here."
    if not measured:
        return "unknown", f"Nothing here shows whether its decibels are true ({place}); a known attenuator would tell."
    return "doubtful", f"Its decibels may be anything from {_off(low)} to {_off(high)} ({place})."


def _off(exponent: float) -> str:
    percent = round(100 * (exponent - 1))
    return f"{abs(percent)} % too {'long' if percent > 0 else 'short'}" if percent else "true"


def _step(block: Block) -> str:
    """Say so when one step of the scale is coarse at the lowest reading."""
    widths = [o.width_db for o in block.observations if not o.bottom]
    if not widths or max(widths) < 0.5:
        return ""
    return f"One step of its scale is {max(widths):.1f} dB at its lowest reading."
