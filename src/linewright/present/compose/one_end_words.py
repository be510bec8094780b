"""What is said of a test from one end beside its figures: remarks, and how each figure was worked out."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import replace
from math import inf, log10

from linewright.core.formatting import digits, frequency, interval, percent, plain, quantity
from linewright.core.messages import say, together
from linewright.core.nouns.bench_result import Working
from linewright.core.nouns.one_end import MethodLoss, OneEndCheck, OneEndLoss, OneEndReading, OneEndResult, OneEndTest
from linewright.inference.one_end.findings import DOUBT
from linewright.inference.one_end.likelihood import far_reflection, impedance_of, plain_db
from linewright.inference.one_end.posterior import OneEndPosterior
from linewright.inference.one_end.priors import OneEndPriors
from linewright.inference.one_end.targets import directivity_of, range_of, reflection_of


def worded(result: OneEndResult, post: OneEndPosterior) -> OneEndResult:
    """Return an answer with its remarks and its workings."""
    workings = (*_workings(post, result.losses), *_checked(result.readings))
    return replace(result, remarks=remarks(post, result.readings), workings=workings)


# What a person should know beside the figures

DIRECTIVITY_MARGIN = 3.0
"""A reflection less than so many times the directivity says little."""


def remarks(post: OneEndPosterior, found: Iterable[OneEndCheck]) -> tuple[str, ...]:
    """Return the remarks on a test, the gravest first."""
    test = post.test
    said = [
        *_louder_than_load(test), *_doubted(found), *_lone_ends(test), *_faint(test, post.priors), *_one_sided(test),
        *_antenna(test, post.priors), *_beyond(post), *_taken(test, post.priors),
    ]  # fmt: skip
    if len(post.sites) == 1:
        said.append(say("One frequency only: it says nothing about the law, and no other band is judged."))
    return tuple(dict.fromkeys(said))


def _row(r: OneEndReading | OneEndCheck) -> dict[str, str]:
    return {"row": str(r.row), "far_end": say(r.far_end), "frequency": frequency(r.frequency_hz)}


def _louder_than_load(test: OneEndTest) -> list[str]:
    said = []
    for r in test.readings:
        if r.method == "known load" and _seen(r, test) > far_reflection(r, test):
            said.append(
                say(
                    "Row {row} ({far_end}, {frequency}) shows more reflection through the line than the load has, "
                    "which a passive line cannot do. Check the rows, the load, and the line's impedance.",
                    **_row(r),
                )
            )
    return said


def _seen(r: OneEndReading, test: OneEndTest) -> float:
    return abs(reflection_of(r.quantity, r.value, test.reference_ohm))


def _doubted(found: Iterable[OneEndCheck]) -> list[str]:
    return [
        say(
            "Row {row} ({far_end}, {frequency}) does not fit the rest: it was misread, or the far end is not as "
            "stated. Read it again.",
            **_row(c),
        )
        for c in found
        if c.p_wrong > DOUBT
    ]


def _lone_ends(test: OneEndTest) -> list[str]:
    ends: dict[float, set[str]] = {}
    for r in test.readings:
        if r.method == "open and short":
            ends.setdefault(r.frequency_hz, set()).add(r.far_end)
    alone = sorted(f for f, some in ends.items() if len(some) == 1)
    if not alone:
        return []
    at = together([frequency(f) for f in alone], ", ")
    return [
        say(
            "Only open or only shorted at {frequencies}: the errors of instrument and connectors do not cancel. Reading"
            " both ways narrows the interval most.",
            frequencies=at,
        )
    ]


def _faint(test: OneEndTest, priors: OneEndPriors) -> list[str]:
    limit = DIRECTIVITY_MARGIN * directivity_of(test, priors)
    faint = [r for r in test.readings if r.method != "resonance" and r.value < inf and _seen(r, test) < limit]
    return [
        say(
            "Row {row} ({far_end}, {frequency}) is close to the instrument's own directivity: it gives little more "
            "than a bound on the loss.",
            **_row(r),
        )
        for r in faint
    ]


def _one_sided(test: OneEndTest) -> list[str]:
    if any(r.value == inf for r in test.readings):
        return [say("Off the scale is taken as an SWR of 10 or more: the loss is small, but not zero.")]
    return []


def _antenna(test: OneEndTest, priors: OneEndPriors) -> list[str]:
    if not any(r.method == "antenna left connected" for r in test.readings):
        return []
    return [
        say(
            "An antenna away from its band is assumed to reflect nearly everything: a return loss of about "
            "{return_loss}, a few dB at most (common practice, no source). Each peak by itself is an upper bound on "
            "the loss.",
            return_loss=quantity(digits(priors.antenna_db), "dB"),
        )
    ]


def _beyond(post: OneEndPosterior) -> list[str]:
    line = post.test.line
    if line is None or not post.laws_known:
        return []
    at = [frequency(s.frequency_hz) for s in post.sites if not line.law.covers(s.frequency_hz)]
    if not at:
        return []
    return [say("The type's loss is less well known than usual at {frequencies}.", frequencies=together(at, ", "))]


def _taken(test: OneEndTest, priors: OneEndPriors) -> list[str]:
    said = []
    if test.directivity_db is None:
        taken = -20.0 * log10(directivity_of(test, priors))
        said.append(
            say(
                "The directivity is assumed to be {directivity}, that of a usual instrument (common practice, no "
                "source).",
                directivity=quantity(plain(taken, 0), "dB"),
            )
        )
    if test.line is None and test.impedance_ohm is None:
        ohm = digits(impedance_of(test))
        said.append(say("The line is assumed to be {impedance} ohm within 3 %.", impedance=ohm))
    return said


# How each figure was worked out, for whoever checks it with a pencil

ENGINE = say("The one-end engine of this project, its prior values in inference/one_end/priors.py.")
HAND = {
    "open and short": (
        say("10 lg(1 / |Γ|), half the return loss; |Γ| = (S - 1)/(S + 1)"),
        say("Common practice; worked, with the antenna connected, at lists.contesting.com/_towertalk/2004-12/"
            "msg00502.html."),
    ),
    "antenna left connected": (
        say("at most 10 lg(1 / |Γ|), as no antenna returns more than all"),
        say("The same formula with |Γ antenna| ≤ 1."),
    ),
    "known load": (
        say("10 lg(|Γ load| / |Γ through the line|)"),
        "D. M. Pozar, Microwave Engineering, 4th ed., p. 81-82: the reflection shrinks by the loss both ways.",
    ),
    "resonance": (
        say("8.686 atanh(R / Z0) where R is low, 8.686 atanh(Z0 / R) where it is high"),
        "D. M. Pozar, Microwave Engineering, 4th ed., equation 2.91 with a shorted end, place from memory.",
    ),
}  # fmt: skip


def _workings(post: OneEndPosterior, found: tuple[OneEndLoss, ...]) -> tuple[Working, ...]:
    """Return the workings of every loss, and of the plain figure of every reading."""
    said = [_loss(post, x) for x in found]
    by_hand = [(r, plain_db(r, post.test)) for r in post.test.readings]
    hands = (_hand(r, post.test, loss_db) for r, loss_db in by_hand if loss_db is not None)
    return (*said, *hands, *(w for x in found for w in _beside(post, x)))


def _beside(post: OneEndPosterior, x: OneEndLoss) -> Iterator[Working]:
    """Yield how the figures beside a loss were worked out: plain mean, share that arrives, what is usual."""
    at, loss = frequency(x.frequency_hz), quantity(plain(x.loss_db, 3), "dB")
    if x.by_hand_db is not None:
        yield Working(
            say("mean by hand at {f}: {loss}", f=at, loss=quantity(plain(x.by_hand_db, 3), "dB")),
            say("mean of the plain figures of this frequency; an antenna's peaks only where there is nothing else"),
            tuple(_by_hand(post, x.frequency_hz)),
            say(
                "Common practice; worked, with the antenna connected, at lists.contesting.com/_towertalk/2004-12/"
                "msg00502.html."
            ),
            ("mean by hand", x.frequency_hz),
        )
    yield Working(
        say("arrives at {f}: {share}", f=at, share=percent(x.delivered_fraction)),
        say("10^(-A/10)"), ((say("loss A"), loss),), say("The decibel, by its definition."),
        ("arrives", x.frequency_hz),
    )  # fmt: skip
    if x.catalogue_db is not None:
        yield from _type(post, x)


def _by_hand(post: OneEndPosterior, frequency_hz: float) -> Iterator[tuple[str, str]]:
    for r in post.test.readings:
        found = plain_db(r, post.test) if r.frequency_hz == frequency_hz else None
        if found is not None:
            yield say("row {row}, {far_end}", row=r.row, far_end=say(r.far_end)), quantity(plain(found, 3), "dB")


def _type(post: OneEndPosterior, x: OneEndLoss) -> Iterator[Working]:
    """Yield what a good line of its type and length loses, and how many times that this one does."""
    assert x.catalogue_db is not None
    at, new = frequency(x.frequency_hz), quantity(plain(x.catalogue_db, 3), "dB")
    conductor, dielectric = (quantity(plain(part, 3), "dB") for part in post.laws.new_db(x.frequency_hz))
    yield Working(
        say("should lose at {f}: {loss}", f=at, loss=new),
        say("length · (k1 √f + k2 f), the connectors included"),
        ((say("conductor and connectors"), conductor), (say("dielectric"), dielectric)),
        say("The catalogue's table of this type, or the person's own."),
        ("should lose", x.frequency_hz),
    )  # fmt: skip
    assert x.ratio is not None
    assert x.ratio_low is not None
    assert x.ratio_high is not None
    yield Working(
        say("times that at {f}: {ratio}", f=at, ratio=interval(x.ratio, x.ratio_low, x.ratio_high, "")),
        say("loss over what its type should lose; interval by that of the loss"),
        ((say("loss"), interval(x.loss_db, x.loss_db_low, x.loss_db_high)), (say("should lose"), new)),
        ENGINE, ("times", x.frequency_hz),
    )  # fmt: skip


def _checked(found: tuple[OneEndCheck, ...]) -> tuple[Working, ...]:
    """Return how what was expected of every reading was worked out, and how likely it is wrong."""
    return tuple(_check(c) for c in found)


def _check(c: OneEndCheck) -> Working:
    return Working(
        say("reading {row} ({far_end}) at {f}, from the others",
            row=c.row, far_end=say(c.far_end), f=frequency(c.frequency_hz)),
        say("the posterior without this reading, turned into what it would show; P(misread) by Bayes' rule"),
        ((say("wrong with probability"), plain(c.p_wrong, 3)), (say("checked"), say("yes") if c.checked else say("no")),
         (say("why"), c.why)),
        ENGINE, ("reading", c.row),
    )  # fmt: skip


def _loss(post: OneEndPosterior, x: OneEndLoss) -> Working:
    loss = interval(x.loss_db, x.loss_db_low, x.loss_db_high)
    return Working(
        say("loss at {frequency}: {loss}", frequency=frequency(x.frequency_hz), loss=loss),
        say(
            "posterior of A from shown = |D + Γ1/(1 - S Γ1)|, Γ1 = (ρ + Γ)/(1 + ρ* Γ), |Γ| = |Γ far end| 10^(-A/10),"
            " D, S, ρ, phases, scale and detector summed over"
        ),
        tuple(_inputs(post, x)),
        ENGINE,
        ("loss", x.frequency_hz),
    )


def _inputs(post: OneEndPosterior, x: OneEndLoss) -> Iterator[tuple[str, str]]:
    site = next(s for s in post.sites if s.frequency_hz == x.frequency_hz)
    for seen in site.seen:
        r = seen.reading
        yield say("row {row}, {far_end}", row=r.row, far_end=say(r.far_end)), _range(r, post.test)
    for m in x.methods:
        yield say("{method} alone, no catalogue", method=say(m.method)), _method(m)
    directivity = plain(directivity_of(post.test, post.priors), 3)
    yield say("directivity"), say("{reflection} as a reflection", reflection=directivity)
    yield say("the line's impedance"), _ohm(impedance_of(post.test))
    yield say("other frequencies"), say("{count}, joined through k1 √f + k2 f", count=len(post.sites) - 1)
    if x.catalogue_db is not None:
        yield say("what its type should lose"), quantity(plain(x.catalogue_db, 3), "dB")


def _method(m: MethodLoss) -> str:
    if m.loss_db is None or m.loss_db_low is None or m.loss_db_high is None:
        return say("a limit only")
    loss = quantity(plain(m.loss_db, 3), "dB")
    return say("{value} ({low} to {high})", value=loss, low=plain(m.loss_db_low, 3), high=plain(m.loss_db_high, 3))


def _range(r: OneEndReading, test: OneEndTest) -> str:
    low, high = range_of(r.quantity, r.ends, test.reference_ohm)
    if low < -1.0:
        return say("|Γ| below {limit}", limit=plain(high, 4))
    if high > 1.0:
        return say("|Γ| above {limit}", limit=plain(low, 4))
    return say("|Γ| {low} to {high}", low=plain(low, 4), high=plain(high, 4))


def _hand(r: OneEndReading, test: OneEndTest, loss_db: float) -> Working:
    formula, source = HAND[r.method]
    inputs = [(say("read"), _read(r))]
    if r.quantity == "resistance_ohm":
        inputs.append(("Z0", _ohm(impedance_of(test))))
    else:
        inputs.append(("|Γ|", plain(abs(reflection_of(r.quantity, r.value, test.reference_ohm)), 4)))
    if r.far_end == "load":
        inputs.append((say("|Γ load|"), plain(far_reflection(r, test), 4)))
    return Working(
        say(
            "by hand, row {row} ({far_end}) at {frequency}: {loss}",
            row=r.row,
            far_end=say(r.far_end),
            frequency=frequency(r.frequency_hz),
            loss=quantity(plain(loss_db, 3), "dB"),
        ),
        formula,
        tuple(inputs),
        source,
        ("by hand", r.row),
    )


def _read(r: OneEndReading) -> str:
    if r.quantity == "swr":
        return say("{value} (SWR)", value=digits(r.value))
    if r.quantity == "return_loss_db":
        return say("{value} dB return loss", value=digits(r.value))
    return _ohm(r.value)


def _ohm(value: float) -> str:
    return say("{value} ohm", value=digits(value))
