"""What is broken takes power, one absurd reading drowns nothing, a gap echoes, a worn cable leaves its law further."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import norm

from evidence.benches import BLUE_7, BLUE_18, DESK, POCKET, Row, read, sheet_of, true_loss_db
from linewright.core.formulas.faults import series_capacitance_db
from linewright.core.nouns.bench import Meter, Reference
from linewright.inference.bench.design import lay_out, losses
from linewright.inference.bench.gains import one_sided
from linewright.inference.bench.observations import FARTHEST_DB, blocks_of
from linewright.inference.bench.prove import prove
from linewright.inference.priors import DEFAULT

BANDS = (1.9e6, 3.6e6, 7.1e6, 14.2e6, 28.5e6)
PATHS = ("reference", "blue 7", "blue 18", "reference")
OTHER = replace(DESK, name="other meter")


def _lossier(rows: list[Row], extra_db: dict[str, float]) -> list[Row]:
    return [(m, f, p, round(w * 10 ** (-extra_db.get(p, 0.0) / 10), 2)) for m, f, p, w in rows]


@pytest.mark.parametrize(
    ("mean", "sd", "seen", "noise"), [(0.6, 0.6, 0.5, 0.2), (0.6, 0.6, -0.4, 0.2), (-1.0, 1.5, 0.3, 0.1)]
)
def test_an_effect_of_one_sign_weighs_what_its_cut_off_prior_does(mean, sd, seen, noise):
    side = np.sign(mean)
    effect = np.linspace(0.0, 12.0, 200_001) * side
    prior = norm.pdf(effect, mean, sd) / norm.sf(0.0, abs(mean), sd)
    cut_off = abs(np.trapezoid(prior * norm.pdf(seen, effect, noise), effect))
    precision = 1 / sd**2 + 1 / noise**2
    middle = (mean / sd**2 + seen / noise**2) / precision
    whole = norm.pdf(seen, mean, np.hypot(sd, noise))
    gained = one_sided(*(np.array([v]) for v in (side, middle, precision**-0.5, mean, sd**2)))
    assert gained[0] == pytest.approx(np.log(cut_off / whole), abs=1e-6)


def test_two_bad_contacts_are_no_jumper_that_gives_power():
    rows = [row for m in (DESK, OTHER) for f in BANDS for row in read(m, f, PATHS)]
    extra = {"blue 7": 0.4, "blue 18": 0.35}
    result = prove(sheet_of(_lossier(rows, extra), reference=Reference(BLUE_7.line, 0.0)))
    for x in result.losses:
        assert x.loss_db_low <= true_loss_db(x.piece, x.frequency_hz) + extra[x.piece] <= x.loss_db_high
    assert {p.cause for p in result.pieces} == {"resistive joint"}


def test_a_reading_without_its_decimal_point_moves_no_loss():
    far = Meter("far meter", "dB", 0.1, (1.8e6, 500e6))
    level = {"reference": 0.0, "blue 7": 3.1, "blue 18": 8.2}
    rows: list[Row] = [(far, f, p, -level[p] * (f / 50.1e6) ** 0.5 / 4) for f in (*BANDS, 50.1e6) for p in PATHS]
    sound = prove(sheet_of([(m, f, p, round(v, 1)) for m, f, p, v in rows]))
    rows[-3] = (far, 50.1e6, "blue 7", 352.0)
    wild = prove(sheet_of([(m, f, p, round(v, 1)) for m, f, p, v in rows]))
    assert [r.row for r in wild.readings if r.p_wrong > 0.5] == [len(rows) - 1]
    for x in (x for x in wild.losses if x.piece == "blue 18"):
        before = next(y for y in sound.losses if (y.piece, y.frequency_hz) == (x.piece, x.frequency_hz))
        assert x.loss_db == pytest.approx(before.loss_db, rel=0.05)
    block = blocks_of(sheet_of(rows))[-1]
    levels = [o.middle_db for o in block.observations]
    assert max(levels) - float(np.median([o.level_db for o in block.observations])) == pytest.approx(FARTHEST_DB)


def test_what_a_gap_sends_back_needs_a_gap():
    """A gap shows less than it takes, for its echo meets the source's; a bench must not call that no fault at all."""
    rows = [row for m in (DESK, OTHER, POCKET) for f in BANDS for row in read(m, f, ("reference", "blue 18"))]
    shown = {f: 0.88 * series_capacitance_db(4e-10, f, 50.0) for f in BANDS}
    rows = [(m, f, p, round(w * 10 ** (-(shown[f] if p == "blue 18" else 0.0) / 10), 2)) for m, f, p, w in rows]
    result = prove(sheet_of(rows, pieces=[BLUE_18]))
    piece = result.pieces[0]
    assert piece.verdict != "good"
    assert piece.cause == "open conductor"
    lowest = next(x for x in result.losses if x.frequency_hz == BANDS[0])
    true = true_loss_db("blue 18", BANDS[0]) + series_capacitance_db(4e-10, BANDS[0], 50.0)
    assert lowest.loss_db_low < true < lowest.loss_db_high


def test_a_worn_cable_leaves_its_law_further():
    sheet = sheet_of([row for f in BANDS for row in read(DESK, f, PATHS)])
    lay = lay_out(sheet, blocks_of(sheet), DEFAULT)
    x = np.zeros((1, lay.size))
    x[:, lay.departure] = DEFAULT.departure
    x[:, lay.growth] = np.log(2.0)
    spread = np.hypot(DEFAULT.departure, 0.10 * np.log(2.0))
    np.testing.assert_allclose(losses(lay, x).departure, spread, rtol=1e-6)
    x[:, lay.growth] = -0.1
    np.testing.assert_allclose(losses(lay, x).departure, DEFAULT.departure, rtol=1e-6)
