"""What a person works out from one meter alone, and how uncertain that is; and what a meter is trusted with."""

from __future__ import annotations

from math import log10, sqrt

import numpy as np
import pytest

from evidence.benches import BLUE_7, DESK, sheet_of
from linewright.core.formulas.mismatch import mismatch_uncertainty_db, reflection_from_swr
from linewright.core.nouns.bench import Reference
from linewright.inference.bench.by_hand import by_hand
from linewright.inference.bench.design import jumper_connectors_db, jumper_db, lay_out
from linewright.inference.bench.noise import Noise
from linewright.inference.bench.observations import blocks_of
from linewright.inference.bench.trust import Exponent, _say
from linewright.inference.priors import DEFAULT

ROWS = [(DESK, 14.2e6, "reference", 10.0), (DESK, 14.2e6, "blue 7", 9.0)]


def rounded_u_db(watts):
    """Return the standard uncertainty of a reading's last digit, decibels."""
    return 10 * log10((watts + 0.005) / (watts - 0.005)) / sqrt(12)


def test_the_plain_figure_and_its_uncertainty_are_the_sums_that_a_person_writes_down():
    """Two readings rounded and repeated once, two connections that mismatch: JCGM 100:2008, 5.1.2, equation 10."""
    sheet = sheet_of(ROWS)
    (block,) = blocks_of(sheet)
    found = by_hand(sheet, block, DEFAULT)["blue 7"]
    assert found.loss_db == pytest.approx(10 * log10(10 / 9), abs=1e-4)
    mismatch = mismatch_uncertainty_db(*map(reflection_from_swr, (DEFAULT.source_swr, DEFAULT.meter_swr)))
    repeats = DEFAULT.noise_db**2 + DEFAULT.drift_db**2
    parts = [rounded_u_db(10.0) ** 2, rounded_u_db(9.0) ** 2, repeats, repeats, mismatch**2, mismatch**2]
    assert found.loss_db_u == pytest.approx(sqrt(sum(parts)), rel=1e-3)


def test_the_jumper_that_a_piece_replaced_is_added_with_its_doubt():
    plain, replaced = sheet_of(ROWS), sheet_of(ROWS, reference=Reference(BLUE_7.line, 2.0))
    (block,) = blocks_of(replaced)
    without, found = (by_hand(sheet, block, DEFAULT)["blue 7"] for sheet in (plain, replaced))
    jumper, plugs = jumper_db(replaced, 14.2e6), jumper_connectors_db(replaced, 14.2e6, DEFAULT)
    assert min(jumper, plugs) > 0
    assert found.loss_db - without.loss_db == pytest.approx(jumper + plugs)
    more = (jumper * DEFAULT.jumper_spread) ** 2 + (plugs * DEFAULT.connector_spread) ** 2
    assert found.loss_db_u**2 - without.loss_db_u**2 == pytest.approx(more)


@pytest.mark.parametrize("loss_db", [0.0, 3.0, 10.0])
def test_an_echo_of_the_meter_passes_the_line_twice(loss_db):
    """So ten decibels of line leave a tenth of it: 8.686/√2 |Γs| |Γm| 10^(-A/10)."""
    sheet = sheet_of(ROWS)
    lay = lay_out(sheet, blocks_of(sheet), DEFAULT)
    found = Noise(lay, DEFAULT).mismatch_db(np.full(len(lay.cells.fixed), loss_db))
    source, meter = map(reflection_from_swr, (DEFAULT.source_swr, DEFAULT.meter_swr))
    at = [o.path for b in lay.blocks for o in b.observations].index(())  # where no piece adds its own steps
    assert found[at] == pytest.approx(20 / np.log(10) / sqrt(2) * source * meter * 10 ** (-loss_db / 10), rel=1e-3)


@pytest.mark.parametrize(("wrong", "trust"), [(0.0, "good"), (0.39, "good"), (0.4, "doubtful"), (0.6, "doubtful")])
def test_a_meter_of_whose_readings_two_in_five_do_not_fit_is_doubtful(wrong, trust):
    (block,) = blocks_of(sheet_of(ROWS))
    true = Exponent(np.zeros(100), 0.98, 1.0, 1.02, 0.01)
    assert _say(true, True, block, wrong)[0] == trust
