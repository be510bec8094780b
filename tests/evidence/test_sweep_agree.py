"""A sweep beside bench readings."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from linewright.catalogue.belief import catalogue_belief
from linewright.catalogue.lines import line_type
from linewright.core.errors import InputError
from linewright.core.nouns.belief import Belief
from linewright.core.nouns.bench import Piece
from linewright.inference.sweep import belief
from linewright.inference.sweep.belief import agree

BANDS = [3.65e6, 14.2e6, 50.2e6, 144.3e6, 432.2e6]
PIECE = Piece("blue 7", 25.0, line_type("RG-213/U"))


def _belief(ratio: float, u: float, seed: int, **more: float) -> Belief:
    """Return a belief whose loss is ``ratio`` times the type's, to a relative ``u``."""
    base = catalogue_belief(PIECE, 1500, seed=seed)
    rng = np.random.default_rng(seed)
    growth = np.exp(np.log(ratio) + u * rng.standard_normal(1500))
    wet = np.exp(0.3 * u * rng.standard_normal(1500))
    extra = {name: np.full(1500, value) for name, value in more.items()}
    return replace(base, growth=growth, wet=wet, **extra)


def test_two_that_agree_are_surer_together():
    bench, sweep = _belief(1.20, 0.05, 1), _belief(1.22, 0.02, 2)
    both = agree(bench, sweep, BANDS)
    assert not both.contradicts
    assert both.cause == both.why == ""
    widths = [np.ptp(np.quantile(b.loss_db(144.3e6), [0.025, 0.975])) for b in (bench, sweep, both.combined)]
    assert widths[2] < 1.05 * min(widths)


def test_the_surer_one_weighs_more():
    """Two normal figures join by inverse variances (JCGM 100:2008, section 5.1.2 gives the variances' rule)."""
    bench, sweep = _belief(1.20, 0.04, 1), _belief(1.26, 0.02, 2)
    both = agree(bench, sweep, BANDS).combined
    weights = np.array([0.04, 0.0225]) ** -2.0  # the sweep's 2 % and the 1 % that no belief is surer than
    expected = np.exp(np.average(np.log([1.20, 1.26]), weights=weights))
    assert np.median(both.growth) == pytest.approx(expected, rel=0.01)


def test_the_same_everywhere_is_the_calibration_plane():
    both = agree(_belief(1.0, 0.01, 1, joint_db=1.0), _belief(1.0, 0.01, 2), BANDS)
    assert both.contradicts
    assert both.p_value < 0.01
    assert both.cause == "calibration plane"
    assert "1.0" in both.why


def test_what_grows_as_the_root_of_frequency_is_an_adapter_or_so_nearly_a_length_that_both_are_named():
    root = 0.4 / np.sqrt(432.2)
    both = agree(_belief(1.0, 0.008, 1, joint_db_per_sqrt_mhz=root), _belief(1.0, 0.008, 2), BANDS)
    assert both.contradicts
    assert "adapter" in both.why


def test_a_ratio_that_holds_everywhere_is_a_wrong_length():
    both = agree(_belief(1.4, 0.01, 1), _belief(1.0, 0.01, 2), BANDS)
    assert both.cause == "wrong length"
    assert "1.40" in both.why


def test_one_band_apart_is_a_meter():
    bench, sweep = _belief(1.0, 0.01, 1), _belief(1.0, 0.01, 2)

    class Bent(Belief):
        __slots__ = ()

        def loss_db(self, frequency_hz):  # the meter reads 0.8 dB too much loss on one band
            return super().loss_db(frequency_hz) + 0.8 * (np.asarray(frequency_hz)[..., None] == 50.2e6)

    bent = Bent(**{name: getattr(bench, name) for name in Belief.__dataclass_fields__})
    both = agree(bent, sweep, BANDS)
    assert both.cause == "meter at one band"
    assert "50.2 MHz" in both.why


@pytest.mark.parametrize(("share", "named"), [(0.18, False), (0.22, True)])
def test_a_cause_a_fifth_as_likely_as_the_first_is_named_with_it(monkeypatch, share, named):
    def two(off, f, loss):
        return [belief._Cause(name, np.ones(2), 0.4, weight, name) for name, weight in (("one", 1.0), ("two", share))]

    monkeypatch.setattr(belief, "_causes", two)
    cause, words = belief._likeliest(np.array([1.0, 1.0]), 0.01 * np.eye(2), np.array([7e6, 28e6]), np.ones(2))
    assert cause == "one"
    assert ("two" in words) is named


def test_a_contradiction_widens_what_both_say():
    apart = agree(_belief(1.4, 0.01, 1), _belief(1.0, 0.01, 2), BANDS).combined
    alike = agree(_belief(1.0, 0.01, 1), _belief(1.0, 0.01, 2), BANDS).combined
    assert np.std(np.log(apart.growth)) > 3 * np.std(np.log(alike.growth))


def test_what_does_not_go_together_is_refused():
    bench = _belief(1.0, 0.01, 1)
    with pytest.raises(InputError, match="at least one frequency"):
        agree(bench, bench, [])
    with pytest.raises(InputError, match="must be of piece"):
        agree(bench, replace(bench, piece=Piece("red 1", 5.0, PIECE.line)), BANDS)
