"""The synthetic benches are what they say they are."""

import numpy as np
import pytest

from by_hand import plain_losses
from cables import Cable, Stock
from chain import Section, delivered_db
from lines import LINES
from linewright.core.nouns.bench import Piece
from worlds import KINDS, World, world


def _draw(kind: str, number: int) -> World:
    return world(np.random.default_rng([number, 7]), kind)


@pytest.mark.parametrize("kind", sorted(KINDS))
def test_the_same_seed_gives_the_same_world(kind: str) -> None:
    one, two = _draw(kind, 3), _draw(kind, 3)
    assert one == two
    assert one.truth == two.truth
    assert one.sheet != _draw(kind, 4).sheet


def test_without_noise_bends_or_mismatch_the_ratio_by_hand_is_the_truth() -> None:
    checked = 0
    for w in (_draw("exact", number) for number in range(60)):
        if any(m.scale == "card" for m in w.sheet.meters):
            continue  # a card is never quite its meter
        for key, (loss, _) in plain_losses(w.sheet).items():
            assert loss == pytest.approx(w.truth.loss_db[key], abs=0.01)
            checked += 1
    assert checked > 100


def test_truth_is_the_cable_with_its_connectors() -> None:
    line = LINES[0]
    cable = Cable(Piece("a", 10.0, line), Stock(line, conductor=2.0, dielectric=3.0), 10.0, connector=0.002)
    conductor, dielectric = (float(x) for x in line.law.parts_db_per_m(144e6))
    assert cable.loss_db(144e6) == pytest.approx(10 * (2 * conductor + 3 * dielectric) + 2 * 0.002 * 12)


def test_a_matched_chain_loses_exactly_what_its_sections_lose() -> None:
    sections = [Section(50.0, 1.25, 2.0), Section(50.0, 0.5, 9.1)]
    assert delivered_db(0j, 0j, sections) == pytest.approx(-1.75, abs=1e-9)


@pytest.mark.parametrize("phase", np.linspace(0, np.pi, 7))
def test_mismatch_stays_within_its_limits(phase: float) -> None:
    """Limits of mismatch uncertainty, 20 lg(1 ± |Γs Γl|); common textbook form (D. M. Pozar, 4th ed., section 2.5)."""
    source, load = 0.2, 0.1 * np.exp(1j * phase)
    loss = -delivered_db(source + 0j, complex(load), [Section(50.0, 0.0, 0.0)])
    own = -10 * np.log10((1 - 0.2**2) * (1 - 0.1**2))
    assert own + 20 * np.log10(1 - 0.02) - 1e-9 <= loss <= own + 20 * np.log10(1 + 0.02) + 1e-9


def test_about_one_reading_in_twenty_is_a_gross_slip_and_about_half_the_cable_is_good() -> None:
    worlds = [_draw("field", i) for i in range(150)]
    slips = [db for w in worlds for db in w.truth.slip_db.values()]
    readings = sum(len(w.sheet.readings) for w in worlds)
    assert 0.04 < sum(s >= 0.7 for s in slips) / readings < 0.07
    ratios = np.array([r for w in worlds for r in w.truth.ratio.values() if r is not None])
    assert 0.4 < (ratios < 1.1).mean() < 0.65
    assert (ratios > 2.0).mean() > 0.02


def test_clean_worlds_hold_no_slip() -> None:
    assert all(not _draw("clean", i).truth.slip_db for i in range(20))


def test_coarse_scales_bring_readings_to_the_bottom() -> None:
    readings = [r for i in range(60) for r in _draw("zeros", i).sheet.readings]
    assert sum(r.reading == 0 for r in readings) > 0.02 * len(readings)
