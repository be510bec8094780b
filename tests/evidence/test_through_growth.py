"""Which part of a piece's loss grew: told only where the draws and the bands say so."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from linewright.catalogue import line_type
from linewright.catalogue.belief import catalogue_belief
from linewright.core.nouns.bench import Piece
from linewright.inference.bench.findings import growth_finding

BANDS = (14.2e6, 144.3e6, 432.1e6)


def _belief(growth=1.0, wet=1.0, joint_db=0.0, spread=0.02):
    rng = np.random.default_rng(3)
    belief = catalogue_belief(Piece("blue 7", 10.0, line_type("RG-58C/U")))
    noise = np.exp(spread * rng.standard_normal(belief.draws))
    return replace(
        belief, growth=growth * noise, wet=np.full(belief.draws, wet), joint_db=np.full(belief.draws, joint_db)
    )


@pytest.mark.parametrize(
    ("changes", "part"),
    [
        ({"growth": 1.5, "wet": 1 / 1.5}, "conductor"),
        ({"joint_db": 1.2}, "joint"),
        ({}, "none"),
    ],
)
def test_the_part_that_grew_is_named(changes, part):
    found = growth_finding(_belief(**changes), BANDS)
    chances = {name: getattr(found, f"p_{name}") for name in ("conductor", "dielectric", "joint", "none")}
    assert max(chances, key=chances.get) == part
    assert chances[part] > (0.75 if part == "conductor" else 0.949)
    assert "Cannot tell" not in found.sentence
    assert found.check


def test_water_is_as_likely_in_a_plug_as_in_the_cable():
    found = growth_finding(_belief(wet=3.0), BANDS)
    assert (found.p_dielectric, found.p_joint) == (pytest.approx(0.35, abs=0.02), pytest.approx(0.50, abs=0.02))
    assert "Cannot tell" in found.sentence
    assert "dielectric 35" in found.sentence


def test_its_size_is_the_excess_over_new():
    found = growth_finding(_belief(wet=3.0, spread=0.0), BANDS)
    _, dielectric = line_type("RG-58C/U").law.parts_db_per_m(432.1e6)
    assert found.dielectric_db == pytest.approx(2.0 * 10.0 * float(dielectric))
    assert found.conductor_db == pytest.approx(0.0)


def test_one_band_tells_nothing_and_two_are_asked_for():
    found = growth_finding(_belief(growth=1.5, wet=1 / 1.5), (144.3e6,))
    assert "Cannot tell" in found.sentence
    assert "two bands" in found.check


def test_bands_close_together_tell_nothing_either():
    assert "Cannot tell" in growth_finding(_belief(wet=3.0), (222e6, 1296e6)).sentence


def test_a_piece_of_unknown_type_tells_nothing():
    belief = _belief(growth=2.0)
    found = growth_finding(replace(belief, piece=replace(belief.piece, line=None)), BANDS)
    assert found.frequency_hz is None
    assert "Cannot tell" in found.sentence


def test_even_chances_are_not_a_finding():
    belief = _belief()
    half = np.arange(belief.draws) % 2 == 0
    mixed = replace(belief, growth=np.where(half, 1.5, 1.0), wet=np.where(half, 1 / 1.5, 3.0))
    found = growth_finding(mixed, BANDS)
    assert "Cannot tell" in found.sentence
    assert "conductor" in found.sentence
    assert "dielectric" in found.sentence


@given(st.floats(0.3, 4.0), st.floats(0.2, 6.0), st.floats(-0.5, 3.0))
def test_probabilities_are_never_more_than_all_and_what_is_new_is_so_for_certain(growth, wet, joint_db):
    found = growth_finding(_belief(growth, wet, joint_db), BANDS)
    assert found.p_conductor + found.p_dielectric + found.p_joint + found.p_none <= 1.0 + 1e-9
    assert growth_finding(_belief(spread=0.0), BANDS).p_none == pytest.approx(0.96)


def test_that_nothing_grew_is_as_likely_as_the_draws_have_it():
    """What is taken off a doubtful cause makes no piece whole."""
    half = np.arange(_belief().draws) % 2 == 0
    found = growth_finding(
        replace(_belief(spread=0.0), growth=np.where(half, 1.6, 1.0), wet=np.where(half, 0.6, 1.0)), BANDS
    )
    assert found.p_none == pytest.approx(0.48, abs=0.01)
    assert found.p_conductor == pytest.approx(0.79 * 0.5**1.7, abs=0.01)
