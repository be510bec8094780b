"""A test with one end in hand, judged."""

from __future__ import annotations

from linewright.catalogue.cautions import cautions_of
from linewright.evidence.one_end.checks import checks
from linewright.evidence.one_end.findings import law, losses, ratios, verdict
from linewright.evidence.one_end.posterior import infer, quantiles
from linewright.evidence.one_end.priors import DEFAULT, OneEndPriors
from linewright.evidence.one_end.remarks import remarks
from linewright.evidence.one_end.sound import sound
from linewright.evidence.one_end.workings import checked as every_check
from linewright.evidence.one_end.workings import workings
from linewright.model.one_end import OneEndResult, OneEndTest


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
    low, middle, high = (None, None, None) if ratio is None else quantiles(ratio, post.weight)
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
