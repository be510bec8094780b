"""A test with one end in hand, judged."""

from __future__ import annotations

from collections.abc import Iterable
from math import inf, log10

from linewright.catalogue.cautions import cautions_of
from linewright.core.formatting import digits, frequency, plain, quantity
from linewright.core.messages import say, together
from linewright.core.nouns.one_end import OneEndCheck, OneEndReading, OneEndResult, OneEndTest
from linewright.inference.one_end.findings import DOUBT, checks, law, losses, ratio_interval, ratios, verdict
from linewright.inference.one_end.likelihood import far_reflection, impedance_of
from linewright.inference.one_end.posterior import Posterior, infer
from linewright.inference.one_end.priors import DEFAULT, OneEndPriors
from linewright.inference.one_end.targets import directivity_of, reflection_of, sound
from linewright.inference.one_end.workings import checked as every_check
from linewright.inference.one_end.workings import workings

# What a person should know beside the figures

DIRECTIVITY_MARGIN = 3.0
"""A reflection less than so many times the directivity says little."""


def remarks(post: Posterior, found: Iterable[OneEndCheck]) -> tuple[str, ...]:
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


def _beyond(post: Posterior) -> list[str]:
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


# A test with one end in hand, judged


def prove_test(test: OneEndTest, priors: OneEndPriors = DEFAULT) -> OneEndResult:
    """Return what a test with one end in hand says. The same test always gives the same answer.

    Raises
    ------
    InputError
        If a reading cannot be one, with its row.
    """
    sound(test)
    post = infer(test, priors)
    found, checked = losses(post), checks(post)
    ratio = ratios(post)
    word, why = verdict(post, ratio, found)
    low, middle, high = (None, None, None) if ratio is None else ratio_interval(post, ratio, found)
    return OneEndResult(
        tag=test.tag,
        line=None if test.line is None else test.line.designator,
        length_m=test.length_m,
        verdict=word,
        why=why,
        losses=found,
        readings=checked,
        law=law(post),
        ratio=middle,
        ratio_low=low,
        ratio_high=high,
        p_worse_1_1=None if ratio is None else float(post.weight[ratio > 1.1].sum()),
        p_worse_1_25=None if ratio is None else float(post.weight[ratio > 1.25].sum()),
        remarks=remarks(post, checked),
        cautions=cautions_of("one-end"),
        workings=(*workings(post, found), *every_check(checked)),
    )
