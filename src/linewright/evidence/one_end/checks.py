"""What the rest of a test says of each reading: what it should have been, and whether it is likely misread."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from linewright.evidence.one_end.draws import TURNS, WORLDS, Floats
from linewright.evidence.one_end.likelihood import Seen, Site
from linewright.evidence.one_end.posterior import Posterior
from linewright.evidence.one_end.targets import value_of
from linewright.model.one_end import OneEndCheck
from linewright.units.said import listed, say
from linewright.units.writing import frequency

BLIND = 0.12
"""An expectation this uncertain, as a reflection, checks nothing."""
DOUBT = 0.8
"""From which chance of being misread a reading is doubted: near-end readings check each other less than a bench's."""
NORMAL_95 = 1.96


@dataclass(frozen=True, slots=True)
class Expected:
    """A reading left out, as the others and the law predict it: a reflection, its spread, and P(misread)."""

    reflection: float
    spread: float
    p_wrong: float


def checks(post: Posterior) -> tuple[OneEndCheck, ...]:
    """Return the checks of all readings, in their order."""
    found: dict[int, OneEndCheck] = {}
    for site, before in zip(post.sites, post.before, strict=True):
        for seen in site.seen:
            found[seen.index] = _check(post, site, seen, expected(site, before, seen))
    return tuple(found[i] for i in sorted(found))


def expected(site: Site, before: Floats, seen: Seen) -> Expected:
    """Return what everything else predicts of one reading. ``before`` is the site's, without its own readings."""
    others = site.product([s.term for s in site.seen if s is not seen])
    weight = (others.reshape(WORLDS, TURNS, -1) * before.astype(np.float32)[:, None, :]).ravel()
    total = float(weight.sum(dtype=np.float64))
    off = seen.shown.ravel() - np.float32(seen.target.middle)
    mean = float(weight @ off) / total
    square = float((weight * off) @ off) / total
    spread = float(np.sqrt(max(square - mean * mean, 0.0) + seen.target.noise**2))
    p_wrong = seen.misread * total / (TURNS * float((before * site.likelihood).sum()))
    return Expected(seen.target.middle + mean, spread, min(p_wrong, 1.0))


def _check(post: Posterior, site: Site, seen: Seen, found: Expected) -> OneEndCheck:
    r = seen.reading
    checked = found.spread < BLIND and (len(post.test.readings) > 1 or post.laws_known)
    ohm = post.test.reference_ohm
    middle = value_of(r.quantity, found.reflection, ohm)
    ends = sorted(value_of(r.quantity, found.reflection + k * found.spread, ohm) for k in (-NORMAL_95, NORMAL_95))
    return OneEndCheck(
        row=r.row, far_end=r.far_end, frequency_hz=r.frequency_hz, quantity=r.quantity, value=r.value, bound=r.bound,
        expected=middle if checked else None, expected_low=ends[0] if checked else None,
        expected_high=ends[1] if checked else None, p_wrong=found.p_wrong, checked=checked,
        why=_why(post, site, checked, found.p_wrong),
    )  # fmt: skip


def _why(post: Posterior, site: Site, checked: bool, p_wrong: float) -> str:
    if not checked:
        return say("Nothing here could check it: a second far end or another frequency would.")
    fits = p_wrong <= DOUBT
    if len(post.test.readings) == 1:
        if fits:
            return say("What its type should lose bears it out.")
        return say("What its type should lose does not bear it out.")
    by = _witnesses(post, site)
    if fits:
        return say("{witnesses} bear it out.", witnesses=by)
    return say("{witnesses} do not bear it out.", witnesses=by)


def _witnesses(post: Posterior, site: Site) -> str:
    """Return what checks a reading, in a row that begins a sentence."""
    leads, rest = [], []
    if len(site.seen) > 1:
        at = frequency(site.frequency_hz)
        leads.append(say("The other readings at {frequency}", frequency=at))
        rest.append(say("the other readings at {frequency}", frequency=at))
    if len(post.sites) > 1:
        leads.append(say("The other frequencies through the law"))
        rest.append(say("the other frequencies through the law"))
    if post.laws_known:
        rest.append(say("what its type should lose"))
    return listed([leads[0], *rest[1:]])
