"""Which type a line resembles."""

from __future__ import annotations

import re
from collections import defaultdict
from types import SimpleNamespace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from examples import few
from linewright.catalogue.lines import line_type, line_types
from linewright.core.formatting import percent
from linewright.core.nouns.line import AttenuationLaw, LineType
from linewright.inference.sweep.resemblance import Measured, _losses, jacket_words, resembles


def _seen(name: str, worn: float = 1.0, **more) -> Measured:
    line = line_type(name)
    terms = line.law.two_terms(10e6, 800e6)
    k1, k2 = worn * terms.k1_db_per_m, worn * terms.k2_db_per_m
    told = {
        "velocity_factor": (line.velocity_factor, 0.005),
        "impedance_ohm": (line.impedance_ohm, 1.0),
        "valid_hz": (10e6, 800e6),
    } | more
    return Measured((k1, 0.02 * k1), (k2, 0.05 * k2), **told)


PUBLISHED = ("RG-213/U", "RG-58C/U", "RG-6 solid copper", "RG-62A/U", "foam low-loss 10 mm", "RG-8X type")


@pytest.mark.parametrize("name", PUBLISHED)
def test_a_line_as_published_is_found_first(name):
    best = resembles(_seen(name))[0]
    assert (best.line, best.kind) == (name, "as published")
    assert best.probability > 0.3


def test_a_worn_line_is_known_by_its_shape():
    found = resembles(_seen("RG-58C/U", 1.4))
    assert (found[0].line, found[0].kind) == ("RG-58C/U", "worn")
    assert found[0].worn_ratio == pytest.approx(1.4, abs=0.1)
    assert jacket_words(found, "RG-58C/U").startswith("Like worn RG-58C/U")


def test_a_line_like_no_other_is_none_of_these():
    odd = Measured((0.004, 1e-4), (0.0009, 1e-5), (0.75, 0.005), (60.0, 0.8), valid_hz=(10e6, 500e6))
    best = resembles(odd)[0]
    assert best.kind == "none of these"
    assert best.probability > 0.9


@pytest.mark.parametrize(("said", "is_really"), [("RG-213/U", "RG-59B/U"), ("foam low-loss 10 mm", "RG-213/U")])
def test_what_the_jacket_says_may_be_untrue(said, is_really):
    words = jacket_words(resembles(_seen(is_really)), said)
    assert words.startswith("Not what the jacket says")
    assert is_really in words


def test_the_jacket_may_be_right():
    assert jacket_words(resembles(_seen("RG-213/U")), "RG-213/U").startswith("It may well be RG-213/U")


def test_without_loss_the_jacket_is_not_judged():
    assert "Cannot tell whether" in jacket_words((), "RG-213/U")


def test_only_an_impedance_leaves_many_types_open_but_not_all():
    found = resembles(Measured(impedance_ohm=(75.0, 1.0)))
    assert {r.line for r in found[:6]} >= {"RG-59B/U", "RG-6 type", "RG-11A/U"}
    assert all(r.kind != "worn" for r in found)


def test_a_wide_spread_of_tables_is_respected():
    """A line 15 % off its type: unlikely where tables agree, likely where they differ by as much."""

    def as_published(spread: float) -> float:
        own = LineType("club drum", 50.0, 0.66, AttenuationLaw(0.0300, 0.0002, spread=spread, valid_hz=(1e6, 3e9)))
        seen = Measured((0.0345, 0.0003), (0.00023, 0.00001), (0.66, 0.005), (50.0, 1.0))
        (row,) = [r for r in resembles(seen, [own]) if (r.line, r.kind) == ("club drum", "as published")]
        return row.probability

    assert as_published(0.15) > 2 * as_published(0.05)


def test_a_length_made_of_a_velocity_factor_is_no_evidence():
    """Where only the delay is known, loss is compared a second of delay, whatever velocity factor made metres of it."""
    line = line_type("foam low-loss 10 mm")

    def chance(reckoned: float) -> float:
        scale = line.velocity_factor / reckoned
        k1, k2 = line.law.k1_db_per_m * scale, line.law.k2_db_per_m * scale
        seen = Measured((k1, 0.02 * k1), (k2, 0.05 * k2), None, (50.0, 1.0), reckoned_at=reckoned)
        return next(r.probability for r in resembles(seen) if (r.line, r.kind) == (line.designator, "as published"))

    assert chance(0.66) == pytest.approx(chance(0.85), rel=1e-6)


LIKELY = re.compile(r"(?:It may well be|Like worn) (.+?)(?::| \()")
RATHER = re.compile(r"It (?:is more like|matches) (.+?)(?: better)? \(")
NOT_IT = re.compile(r"Not what the jacket says: .*?(no type in the catalogue|[^;]+ is closer)")


@few(15)
@given(
    claimed=st.sampled_from(["RG-6 type", "RG-58C/U", "RG-213/U"]),
    like=st.sampled_from(["RG-6 type", "RG-59B/U", "RG-58C/U", "RG-8X type", "RG-213/U"]),
    worn=st.floats(0.7, 2.5),
    bent=st.floats(0.5, 2.0),
    factor=st.one_of(st.none(), st.floats(0.55, 0.9)),
    ohm=st.floats(45.0, 80.0),
)
def test_the_sentence_on_the_jacket_and_the_table_of_types_say_the_same(claimed, like, worn, bent, factor, ohm):
    """It said "It may well be RG-6 type" over a table in which "none of these" had 84 %."""
    line = line_type(like)
    k1, k2 = worn * line.law.k1_db_per_m, bent * worn * line.law.k2_db_per_m
    found = resembles(Measured((k1, 0.03 * k1), (k2, 0.1 * k2), factor and (factor, 0.01), (ohm, 1.5)))
    total = defaultdict(float)
    for row in found:
        total[row.line] += row.probability
    words = jacket_words(found, claimed)
    likeliest = max(total, key=total.get)
    if total[claimed] < 0.03:
        named = NOT_IT.match(words)[1].removesuffix(" is closer").strip()
    else:
        named = (LIKELY.match(words) or RATHER.match(words))[1]
        assert percent(total[claimed]) in words
        assert (named == claimed) == bool(LIKELY.match(words))
    assert named == ("no type in the catalogue" if likeliest == "none of these" else likeliest)
    assert ("others" in words) == (named == claimed and total[claimed] <= 0.5)


@few(15)
@given(
    k1=st.floats(1e-4, 0.2),
    k2=st.floats(-1e-4, 1e-2),
    factor=st.one_of(st.none(), st.floats(0.3, 1.0)),
    ohm=st.one_of(st.none(), st.floats(5.0, 600.0)),
    u=st.floats(1e-3, 1.0),
)
def test_probabilities_are_probabilities(k1, k2, factor, ohm, u):
    found = resembles(
        Measured((k1, u * k1), (k2, u * abs(k2)), factor and (factor, 0.05 * u), ohm and (ohm, 0.1 * u * ohm))
    )
    chances = np.array([r.probability for r in found])
    assert np.all(np.isfinite(chances))
    assert np.all(np.diff(chances) <= 0)
    assert 1 - 0.001 * 2 * len(line_types()) <= chances.sum() <= 1 + 1e-9
    assert any(r.kind == "none of these" for r in found)


@pytest.mark.parametrize(("k2", "lossy"), [(-0.00095, True), (-0.00105, False), (0.0001, True)])
def test_a_law_that_gains_at_an_end_of_its_sweep_is_none(k2, lossy):
    """0.01 √f - 0.001 f loses nothing at 100 MHz, f in MHz."""
    seen = Measured((0.01, 1e-4), (k2, 1e-5), valid_hz=(1e6, 100e6))
    assert (seen.law is not None) is lossy


def test_a_loss_beyond_a_types_table_may_be_off_by_what_both_sides_of_it_say():
    """The mean of both squares, at each frequency by itself, beside 2 % that no comparison is surer than."""
    sides = (np.full(5, 0.1), np.full(5, 0.3))
    exact = SimpleNamespace(db_per_m=lambda f: 0.01 * np.sqrt(f / 1e6))
    law = SimpleNamespace(
        spread=0.0, curve=(), covers=lambda f: True, beyond=lambda f: sides, two_terms=lambda low, high: exact
    )
    off, spread = _losses(SimpleNamespace(law=law, velocity_factor=0.66), Measured((0.01, 0.0), (0.0, 0.0)))
    assert off == pytest.approx(np.zeros(5), abs=1e-12)
    assert spread == pytest.approx(np.eye(5) * ((0.1**2 + 0.3**2) / 2 + 0.02**2))
