"""Antennas behind lines are what they say they are."""

from __future__ import annotations

import numpy as np
import pytest

from through_worlds import ANTENNAS, Cable, draw_antenna, draw_bridge, reflection, rounded_swr


def test_an_open_end_shows_the_two_way_loss() -> None:
    cable = Cable(3.0, 145e6, 0.8)
    f = np.array([145e6])
    shown = np.abs(reflection(cable.seen(np.array([1e12 + 0j]), f)))[0]
    assert -10 * np.log10(shown) == pytest.approx(3.0, abs=0.05)
    assert cable.true_db(f)[0] == pytest.approx(3.0, rel=0.01)


@pytest.mark.parametrize("kind", ANTENNAS)
@pytest.mark.parametrize("number", range(5))
def test_an_antenna_is_resonant_where_it_should_be_and_passive(kind: str, number: int) -> None:
    antenna = draw_antenna(np.random.default_rng(number), 145e6, kind)
    f = np.linspace(130e6, 160e6, 3001)
    assert (antenna(f).real > 0).all()
    assert abs(antenna(np.array([145e6])).imag[0]) < 1.5
    assert abs(f[np.argmin(np.abs(reflection(antenna(f))))] / 145e6 - 1) < 0.03


def test_a_bridge_leaks_less_than_its_directivity() -> None:
    leaks = [abs(draw_bridge(np.random.default_rng(i), 25.0, analyser=False).leak) for i in range(200)]
    assert max(leaks) <= 10 ** (-25 / 20)
    assert min(leaks) >= 0.25 * 10 ** (-25 / 20)


def test_a_scale_rounds_to_its_step_and_never_below_one() -> None:
    shown = rounded_swr(np.array([0.0, 0.2, 0.21]) + 0j, 0.1)
    assert shown == pytest.approx([1.0, 1.5, 1.5])
