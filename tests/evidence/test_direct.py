"""Losses told directly, as a test from one end tells them, beside readings against a reference."""

from dataclasses import replace

import pytest

from evidence.benches import BLUE_7, DESK, PATHS, POCKET, THIN, read, sheet_of, true_loss_db
from linewright.core.nouns.bench import BenchSheet, Meter, Piece, Reading, Reference
from linewright.core.nouns.one_end import OneEndReading, OneEndTest
from linewright.inference.bench.prove import prove

ONE_END = Meter("far end open and shorted", "loss")


def told(f, loss_db, sd_db, tag="blue 7", row=50):
    return Reading(row, ONE_END.name, f, (tag,), loss_db, low=loss_db - sd_db * 3**0.5, high=loss_db + sd_db * 3**0.5)


def width(result, f):
    found = next(x for x in result.losses if x.frequency_hz == f and x.piece == "blue 7")
    return found.loss_db_high - found.loss_db_low


def with_told(sheet, *readings):
    return BenchSheet(sheet.title, (*sheet.meters, ONE_END), sheet.pieces, (*sheet.readings, *readings), sheet.source)


def test_a_directly_stated_loss_alone_gives_a_verdict():
    mast = Piece("blue 7", 25.0, THIN)
    new = 25.0 * float(THIN.law.db_per_m(145e6)) + 0.0034 * 145**0.5
    result = prove(BenchSheet("Mast", (ONE_END,), (mast,), (told(145e6, 1.8 * new, 0.2),)))
    (loss,) = result.losses
    assert loss.loss_db == pytest.approx(1.8 * new, abs=0.3)
    assert 0.4 < loss.loss_db_high - loss.loss_db_low < 2.4, "one test, far from what the type should lose"
    assert result.pieces[0].verdict in ("bad", "worn")
    assert not result.meters, "a test from one end is no meter"


def test_it_narrows_what_the_bench_says():
    sheet = sheet_of([*read(DESK, 28.5e6, PATHS, 1.5), *read(POCKET, 145e6, PATHS, 1.5)])
    plain = prove(sheet)
    both = prove(with_told(sheet, told(145e6, true_loss_db("blue 7", 145e6, 1.5), 0.03)))
    assert width(both, 145e6) < width(plain, 145e6)


def test_one_that_contradicts_the_bench_is_doubted():
    sheet = sheet_of([*read(DESK, 28.5e6, PATHS), *read(POCKET, 145e6, PATHS), *read(POCKET, 145e6, PATHS)])
    result = prove(with_told(sheet, told(145e6, true_loss_db("blue 7", 145e6) + 2.0, 0.1)))
    odd = result.readings[-1]
    assert odd.meter == ONE_END.name
    assert odd.p_wrong > 0.9
    assert odd.expected == pytest.approx(true_loss_db("blue 7", 145e6), abs=0.2)


def test_the_jumper_does_not_enter_into_it():
    alone = BenchSheet("One end", (ONE_END,), (BLUE_7,), (told(145e6, 1.6, 0.05),))
    jumper = BenchSheet("One end", (ONE_END,), (BLUE_7,), (told(145e6, 1.6, 0.05),), reference=Reference(THIN, 3.0))
    assert prove(alone).losses == prove(jumper).losses


def test_a_test_from_one_end_and_a_bench_make_one_belief():
    f, truth = 145e6, true_loss_db("blue 7", 145e6, 1.5)
    swr = round((1 + 10 ** (-truth / 10)) / (1 - 10 ** (-truth / 10)), 1)
    near = OneEndTest(
        (OneEndReading(1, "open", f, "swr", swr, 0.1), OneEndReading(2, "short", f, "swr", swr, 0.1)),
        line=THIN, length_m=7.0, tag="blue 7",
    )  # fmt: skip
    bench = sheet_of(read(POCKET, f, PATHS, 1.5))
    both = prove(replace(bench, one_end=(near,)))
    (found,) = [x for x in both.losses if x.piece == "blue 7"]
    assert {h.meter for h in found.by_hand} == {"pocket meter", "open and short"}
    assert found.loss_db == pytest.approx(truth, abs=0.15)
    assert width(both, f) < width(prove(bench), f)
