"""Losses, the law and the verdict, read from the posterior."""

from __future__ import annotations

import numpy as np

from linewright.core.arrays import Floats
from linewright.core.formatting import frequency, interval, metres
from linewright.core.frozen import dataclass
from linewright.core.messages import listed, say, together
from linewright.core.nouns.bench_result import Verdict
from linewright.core.nouns.one_end import Method, MethodLoss, OneEndCheck, OneEndLaw, OneEndLoss, OneEndTest
from linewright.core.quantities import delivered_fraction
from linewright.inference.against_type import Multiple, against_type
from linewright.inference.one_end.likelihood import TURNS, WORLDS, SeenReading, Site, mean_db
from linewright.inference.one_end.posterior import OneEndPosterior, grid_quantiles, quantiles
from linewright.inference.one_end.targets import value_of

# Losses, the law and the verdict, read from the posterior

LIMIT = float(np.exp(-0.5 * 1.96**2))
"""A one-sided reading is taken to reach where its likelihood falls to this share of its top."""
TOO_GOOD = say("Check length and type, and what was at the far end.")


def losses(post: OneEndPosterior) -> tuple[OneEndLoss, ...]:
    """Return the loss at every frequency, rising."""
    return tuple(_loss(post, site, after) for site, after in zip(post.sites, post.after, strict=True))


def new_db(post: OneEndPosterior, frequency_hz: float) -> float | None:
    """Return what a good line of its type and length loses, connectors included; None where that is not known."""
    return sum(post.laws.new_db(frequency_hz)) if post.laws_known else None


def _loss(post: OneEndPosterior, site: Site, after: Floats) -> OneEndLoss:
    f, test = site.frequency_hz, post.test
    low, middle, high = grid_quantiles(site.grid_db, after)
    new = new_db(post, f)
    return OneEndLoss(
        frequency_hz=f, loss_db=middle, loss_db_low=low, loss_db_high=high,
        delivered_fraction=delivered_fraction(middle),
        by_hand_db=mean_db([s.reading for s in site.seen], test),
        catalogue_db=new,
        ratio=None if new is None else middle / new,
        ratio_low=None if new is None else low / new,
        ratio_high=None if new is None else high / new,
        p_worse_1_1=None if new is None else _beyond(site.grid_db, after, 1.1 * new),
        p_worse_1_25=None if new is None else _beyond(site.grid_db, after, 1.25 * new),
        extrapolated=new is not None and test.line is not None and not test.line.law.covers(f),
        methods=_methods(post, site),
    )  # fmt: skip


def _beyond(grid_db: Floats, mass: Floats, loss_db: float) -> float:
    """Return the chance of more than a loss."""
    edges = np.concatenate([[grid_db[0]], 0.5 * (grid_db[1:] + grid_db[:-1]), [grid_db[-1]]])
    return float(1.0 - np.interp(loss_db, edges, np.concatenate([[0.0], np.cumsum(mass)])))


def _methods(post: OneEndPosterior, site: Site) -> tuple[MethodLoss, ...]:
    by_method: dict[Method, list[SeenReading]] = {}
    for s in site.seen:
        by_method.setdefault(s.reading.method, []).append(s)
    return tuple(_method(post, site, method, seen) for method, seen in by_method.items())


def _method(post: OneEndPosterior, site: Site, method: Method, seen: list[SeenReading]) -> MethodLoss:
    """Return what one method says by itself: a flat prior on the loss, every reading taken as read."""
    likelihood = site.of([s.fit for s in seen]).mean(axis=0)
    hand = mean_db([s.reading for s in seen], post.test)
    if all(s.target.one_sided for s in seen):
        open_to = site.grid_db[likelihood >= LIMIT * likelihood.max()]
        low, high = float(open_to[0]), float(open_to[-1])
        return MethodLoss(
            method, hand, None, None if low <= site.grid_db[1] else low, None if high >= site.grid_db[-2] else high
        )
    mass = likelihood * site.weight_db
    total = float(mass.sum())
    if total <= 0.0:
        return MethodLoss(method, hand, None, None, None)
    low, middle, high = grid_quantiles(site.grid_db, mass / total)
    return MethodLoss(method, hand, middle, low, high)


def law(post: OneEndPosterior) -> OneEndLaw | None:
    """Return the two terms of the law; None from a single frequency, which cannot tell them apart."""
    if len(post.sites) < 2:
        return None
    conductor, dielectric = post.laws.new_db(1e6)
    k1 = quantiles(post.laws.conductor * conductor, post.weight)
    k2 = quantiles(post.laws.dielectric * dielectric, post.weight)
    return OneEndLaw(k1[1], k1[0], k1[2], k2[1], k2[0], k2[2])


def ratios(post: OneEndPosterior) -> Floats | None:
    """Return every law's loss over what its type should lose, mean over the frequencies; None if unknown."""
    if not post.laws_known:
        return None
    logs = [np.log(post.laws.loss_db(s.frequency_hz) / (new_db(post, s.frequency_hz) or 1.0)) for s in post.sites]
    return np.asarray(np.exp(np.mean(logs, axis=0)))


def ratio_interval(post: OneEndPosterior, ratio: Floats, found: tuple[OneEndLoss, ...]) -> tuple[float, float, float]:
    """Return low, middle and high of those means; of a single frequency those of its loss, which are the same thing."""
    (first, *more) = found
    if more or first.ratio_low is None or first.ratio is None or first.ratio_high is None:
        low, middle, high = quantiles(ratio, post.weight)
        return low, middle, high
    return first.ratio_low, first.ratio, first.ratio_high


def verdict(post: OneEndPosterior, ratio: Floats | None, found: tuple[OneEndLoss, ...]) -> tuple[Verdict, str]:
    """Return the verdict and its sentence, by the limits a bench sheet is judged by."""
    last = found[-1]
    loss = interval(last.loss_db, last.loss_db_low, last.loss_db_high)
    if ratio is None or post.test.line is None:
        loses = say("It loses {loss} at {frequency}.", loss=loss, frequency=frequency(last.frequency_hz))
        return "cannot tell", together([loses, _not_given(post.test)])
    low, middle, high = ratio_interval(post, ratio, found)
    return against_type(
        Multiple(
            post.test.line.designator, low, middle, high, lambda limit: float(post.weight[ratio > limit].sum()),
            loss, frequency(last.frequency_hz),
        ),
        too_good=_too_good(post, low, middle, high),
    )  # fmt: skip


def _too_good(post: OneEndPosterior, low: float, middle: float, high: float) -> str:
    """Return what to check of a line that loses less than its type can: where it would be open or shorted."""
    length = post.test.length_m
    ends = {r.far_end for r in post.test.readings}
    if length is None or not ends <= {"open", "short"} or len(post.test.readings) < 2:
        return TOO_GOOD
    broken = say(
        "A line open or shorted about {middle} from here ({low} to {high}) would read like this.",
        middle=metres(middle * length, 2), low=metres(low * length, 2), high=metres(high * length, 2),
    )  # fmt: skip
    return together([TOO_GOOD, broken])


def _not_given(test: OneEndTest) -> str:
    if test.line is not None:
        return say("Its length is not given, so nothing says what it should lose.")
    if test.length_m is not None:
        return say("Its type is not given, so nothing says what it should lose.")
    return say("Its type and length are not given, so nothing says what it should lose.")


# What the rest of a test says of each reading: what it should have been, and whether it is likely misread

BLIND = 0.12
"""An expectation this uncertain, as a reflection, checks nothing."""
DOUBT = 0.8
"""From which chance of being misread a reading is doubted: near-end readings check each other less than a bench's."""
NORMAL_95 = 1.96


@dataclass(frozen=True, slots=True)
class ExpectedReading:
    """A reading left out, as the others and the law predict it: a reflection, its spread, and P(misread)."""

    reflection: float
    spread: float
    p_wrong: float


def checks(post: OneEndPosterior) -> tuple[OneEndCheck, ...]:
    """Return the checks of all readings, in their order."""
    found: dict[int, OneEndCheck] = {}
    for site, before in zip(post.sites, post.before, strict=True):
        for seen in site.seen:
            found[seen.index] = _check(post, site, seen, expected(site, before, seen))
    return tuple(found[i] for i in sorted(found))


def expected(site: Site, before: Floats, seen: SeenReading) -> ExpectedReading:
    """Return one reading as predicted by all the others. ``before`` is the site's state without its own readings."""
    others = site.product([s.term for s in site.seen if s is not seen])
    weight = (others.reshape(WORLDS, TURNS, -1) * before.astype(np.float32)[:, None, :]).ravel()
    total = float(weight.sum(dtype=np.float64))
    off = seen.shown.ravel() - np.float32(seen.target.middle)
    mean = float(weight @ off) / total
    square = float((weight * off) @ off) / total
    spread = float(np.sqrt(max(square - mean * mean, 0.0) + seen.target.noise**2))
    p_wrong = seen.misread * total / (TURNS * float((before * site.likelihood).sum()))
    return ExpectedReading(seen.target.middle + mean, spread, min(p_wrong, 1.0))


def _check(post: OneEndPosterior, site: Site, seen: SeenReading, found: ExpectedReading) -> OneEndCheck:
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


def _why(post: OneEndPosterior, site: Site, checked: bool, p_wrong: float) -> str:
    if not checked:
        return say("Nothing here can check it; a second far end or another frequency could.")
    fits = p_wrong <= DOUBT
    if len(post.test.readings) == 1:
        if fits:
            return say("It agrees with what its type should lose.")
        return say("It does not agree with what its type should lose.")
    by = _witnesses(post, site)
    if fits:
        return say("{witnesses} confirm it.", witnesses=by)
    return say("{witnesses} do not confirm it.", witnesses=by)


def _witnesses(post: OneEndPosterior, site: Site) -> str:
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
