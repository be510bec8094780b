"""The SWR at the radio, beside the power: a poor load tells the loss there and back, a good one nothing."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from evidence.benches import BLUE_18, DESK, Row, sheet_of, true_loss_db
from linewright.core.nouns.bench import BenchSheet, Reference
from linewright.core.nouns.bench_result import BenchResult
from linewright.inference.bench.pieces import beside
from linewright.inference.bench.prove import prove

COARSE = replace(DESK, name="coarse meter", division=2.0)


def seen(pairs: dict[float, tuple[float | None, float | None]], lost_db: float = 1.2, meter=DESK) -> BenchSheet:
    """Return a bench that read one piece on some bands, each with an SWR through the reference and through it."""
    step, rows, swrs = meter.division, [], []
    for f, pair in pairs.items():
        shown: list[Row] = [(meter, f, "reference", 10.0), (meter, f, "blue 18", 10.0 * 10 ** (-lost_db / 10))]
        rows += [(m, f, p, round(w / step) * step) for m, f, p, w in shown]
        swrs += pair
    sheet = sheet_of(rows, [BLUE_18])
    return replace(sheet, readings=tuple(replace(r, swr=s) for r, s in zip(sheet.readings, swrs, strict=True)))


def ends(result: BenchResult) -> tuple[float, float]:
    (loss,) = result.losses
    return loss.loss_db_low, loss.loss_db_high


def test_a_load_that_looks_better_through_a_line_tells_that_the_line_loses() -> None:
    """3.0 through the jumper and 1.2 through 18 m, or 2.9: it was the same answer; the first is some 7 dB."""
    lossy, sound = (prove(seen({28.5e6: (3.0, swr)}, 5.0, COARSE)) for swr in (1.2, 2.9))
    assert ends(lossy)[0] > 1.2 * lossy.losses[0].catalogue_db
    assert ends(sound)[0] < ends(lossy)[0] - 0.5
    assert lossy.losses[0].loss_db > 1.3 * sound.losses[0].loss_db
    assert any("falls from 3.0 to 1.2" in r and "not a better match" in r for r in lossy.remarks)
    assert not any("not a better match" in r for r in sound.remarks)


def test_power_and_swr_that_agree_narrow_the_loss_and_one_finding_a_row_is_shown() -> None:
    bands = (7.1e6, 14.2e6, 28.5e6)
    through = {f: 0.5 * 10 ** (-2.0 * true_loss_db("blue 18", f, 2.0) / 20) for f in bands}
    pairs = {f: (3.0, round((1 + g) / (1 - g), 1)) for f, g in through.items()}
    with_swr = prove(seen(pairs, 2.8, COARSE))
    without = prove(seen(dict.fromkeys(bands, (None, None)), 2.8, COARSE))
    wide = [[x.loss_db_high / x.loss_db_low for x in r.losses] for r in (with_swr, without)]
    assert np.mean(wide[0]) < np.mean(wide[1])
    for x in with_swr.losses:
        assert x.loss_db_low <= true_loss_db(x.piece, x.frequency_hz, 2.0) <= x.loss_db_high
    assert [r.row for r in with_swr.readings] == list(range(2, 8))
    assert {h.meter for x in with_swr.losses for h in x.by_hand} == {"coarse meter"}


@pytest.mark.parametrize(("through", "poor"), [(1.3, False), (1.4, True), (3.0, True)])
def test_a_good_load_says_nothing_and_that_is_said(through: float, poor: bool) -> None:
    sheet = seen({28.5e6: (through, 1.2)})
    assert bool(beside(sheet)) is poor
    said = any("the load is too good for that" in r for r in prove(sheet).remarks)
    assert said is not poor
    plain = seen({28.5e6: (None, None)})
    assert not any("SWR" in r for r in prove(plain).remarks)


def test_the_jumper_that_a_piece_replaced_is_added_back() -> None:
    """The load was seen through 6 m of the same line: what the piece adds is its loss less that."""
    pairs = {28.5e6: (3.0, 2.2)}
    kinds = {"replaced": 0.0, "stays": 0.0}
    for kind in kinds:
        sheet = replace(seen(pairs, 1.2, COARSE), reference=Reference(BLUE_18.line, 6.0, kind))
        kinds[kind] = prove(sheet).losses[0].loss_db
    assert kinds["replaced"] > kinds["stays"]
