"""A test with one end in hand, judged."""

from __future__ import annotations

from collections.abc import Callable

from linewright.catalogue.cautions import cautions_of
from linewright.core.nouns.one_end import OneEndResult, OneEndTest
from linewright.inference.one_end.findings import checks, law, losses, ratio_interval, ratios, verdict
from linewright.inference.one_end.posterior import OneEndPosterior, infer
from linewright.inference.one_end.priors import DEFAULT, OneEndPriors
from linewright.inference.one_end.targets import sound

Wording = Callable[[OneEndResult, OneEndPosterior], OneEndResult]
"""Adds remarks and workings to an answer, from what is believed."""


def prove_test(test: OneEndTest, priors: OneEndPriors = DEFAULT, *, worded: Wording | None = None) -> OneEndResult:
    """Return what a test with one end in hand says. The same test always gives the same answer.

    ``worded`` adds remarks and workings; the figures are the same without.

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
    result = OneEndResult(
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
        cautions=cautions_of("one-end"),
    )
    return worded(result, post) if worded else result
