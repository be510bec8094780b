"""What the engine says of benches whose truth is known, plain ones and odd ones."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest

from evidence.benches import BLUE_7, BLUE_18, DESK, PATHS, POCKET, THICK, THIN, read, sheet_of, true_loss_db
from linewright.core.nouns.bench import Attenuator, Meter, Piece, Reading, Reference
from linewright.core.nouns.bench_result import BenchResult
from linewright.inference.bench.prove import prove

BANDS = (7.1e6, 14.2e6, 28.5e6, 50.1e6)


def _good_bench(times: float = 1.0, bands: tuple[float, ...] = BANDS) -> BenchResult:
    return prove(sheet_of([row for f in bands for row in read(DESK, f, (*PATHS, *PATHS), times)]))


@pytest.mark.parametrize(("times", "verdicts"), [(1.0, {"good"}), (1.4, {"worn"}), (2.0, {"bad"})])
def test_clean_readings_give_the_true_loss_and_the_verdict_it_deserves(times: float, verdicts: set[str]) -> None:
    result = _good_bench(times)
    for x in result.losses:
        true = true_loss_db(x.piece, x.frequency_hz, times)
        assert x.loss_db_low <= true <= x.loss_db_high
        assert x.loss_db == pytest.approx(true, abs=0.12)
    assert {p.verdict for p in result.pieces} == verdicts
    assert max(r.p_wrong for r in result.readings) < 0.5


def test_the_same_sheet_gives_the_same_answer() -> None:
    assert _good_bench(1.3).to_dict() == _good_bench(1.3).to_dict()


def test_a_misread_reading_is_named_and_does_not_move_the_loss() -> None:
    rows = [row for f in BANDS for row in read(DESK, f, (*PATHS, *PATHS))]
    meter, f, path, value = rows[10]
    rows[10] = (meter, f, path, value * 0.6)
    result = prove(sheet_of(rows))
    wrong = [r for r in result.readings if r.p_wrong > 0.5]
    assert [r.row for r in wrong] == [12]
    assert wrong[0].expected == pytest.approx(value, rel=0.06)
    assert wrong[0].expected_low < value < wrong[0].expected_high  # type: ignore[operator]
    assert f"Its repeat shows {value:g} W." in wrong[0].why
    for x in result.losses:
        assert x.loss_db_low <= true_loss_db(x.piece, x.frequency_hz) <= x.loss_db_high


def test_a_bad_insertion_is_distinguished_from_a_misread_reading() -> None:
    paths = ("reference", "blue 7", "blue 7", "blue 7", "blue 18", "blue 18", "reference")
    rows = [row for f in BANDS for row in read(DESK, f, paths)]
    for i in (8, 9, 10):
        meter, f, path, value = rows[i]
        rows[i] = (meter, f, path, round(value * (0.72 + 0.004 * i), 2))
    result = prove(sheet_of(rows))
    assert {r.row for r in result.readings if r.p_wrong > 0.4} == {10, 11, 12}
    seated = next(r for r in result.readings if r.row == 10)
    assert "perhaps a bad insertion" in seated.why
    assert seated.p is not None
    assert 0.65 * seated.p_wrong < seated.p <= 0.75 * seated.p_wrong + 1e-9  # all of them may be read wrong alike


def test_joined_pieces_add_with_the_joint() -> None:
    alone = [row for f in BANDS for row in read(DESK, f, ("reference", "blue 7", "reference"), 1.3)]
    joined = [row for f in BANDS for row in read(DESK, f, ("reference", "blue 7+blue 18", "reference"), 1.3)]
    result = prove(sheet_of([*alone, *joined]))
    for x in result.losses:
        assert x.loss_db_low <= true_loss_db(x.piece, x.frequency_hz, 1.3) <= x.loss_db_high
    assert {x.piece for x in result.losses} == {"blue 7", "blue 18"}


def test_repeating_a_coarse_reading_does_not_sharpen_it() -> None:
    coarse = Meter("coarse", "watts", 0.5, (1.8e6, 60e6))

    def width(times: int) -> float:
        x = prove(sheet_of(read(coarse, 28.5e6, ("reference", "blue 7") * times))).losses[0]
        return x.loss_db_high - x.loss_db_low

    assert width(6) > 0.75 * width(1)


def test_repeating_a_fine_reading_does_sharpen_it() -> None:
    rows = [(DESK, 28.5e6, p, v) for _, _, p, v in read(DESK, 28.5e6, ("reference", "blue 18"))]
    wobble = [(m, f, p, round(v * (1 + 0.004 * (i % 3 - 1)), 2)) for i, (m, f, p, v) in enumerate(rows * 6)]
    one, many = prove(sheet_of(rows)).losses[0], prove(sheet_of(wobble)).losses[0]
    assert many.loss_db_high - many.loss_db_low < 0.93 * (one.loss_db_high - one.loss_db_low)


def test_a_known_attenuator_calibrates_a_detector() -> None:
    f = 144.3e6
    rows = read(DESK, f, (*PATHS, *PATHS), exponent=0.8)
    bare = prove(sheet_of(rows))
    pad = [(DESK, f, "pad", round(10.0 * 10 ** (-0.8 * 0.3), 2))] * 2
    told = prove(sheet_of([*rows, *pad], attenuators=[Attenuator("pad", 3.0, 0.05)]))
    assert told.meters[0].exponent == pytest.approx(0.8, abs=0.06)

    def reach(result: BenchResult) -> float:
        m = result.meters[0]
        return float(m.exponent_high - m.exponent_low)  # type: ignore[operator]

    assert reach(told) < 0.8 * reach(bare), "what is left is the mismatch of gear that states none"
    assert told.meters[0].trust == "doubtful"


def test_a_meter_that_stretches_decibels_is_found_out_by_two_that_do_not() -> None:
    f, third = 144.3e6, Meter("third meter", "watts", 0.01, (100e6, 470e6))
    rows = [
        *read(POCKET, f, (*PATHS, *PATHS), 1.2), *read(third, f, (*PATHS, *PATHS), 1.2),
        *read(DESK, f, (*PATHS, *PATHS), 1.2, exponent=1.5),
    ]  # fmt: skip
    result = prove(sheet_of(rows))
    trust = {m.meter: m.trust for m in result.meters}
    assert trust["pocket meter"] == trust["third meter"] == "good"
    assert trust["desk meter"] in ("doubtful", "none")
    assert next(m for m in result.meters if m.meter == "desk meter").exponent == pytest.approx(1.5, abs=0.15)


def test_losses_at_the_bottom_of_a_scale_are_bounded_from_below() -> None:
    coarse = Meter("card meter", "watts", 0.2, (100e6, 470e6))
    rows = [
        (coarse, 432e6, p, v) for p, v in (("reference", 2.0), ("blue 18", 0.0), ("blue 18", 0.0), ("reference", 2.0))
    ]
    shown = prove(sheet_of(rows, [BLUE_18])).losses[0]
    plain = prove(sheet_of(rows[:1], [BLUE_18])).losses
    assert plain == ()
    assert shown.loss_db > true_loss_db("blue 18", 432e6)
    assert shown.loss_db_low > 5.0
    assert shown.loss_db_high > 10.0


def test_a_zero_that_contradicts_the_bench_is_doubted() -> None:
    rows = [*read(DESK, 28.5e6, PATHS), (DESK, 28.5e6, "blue 7", 0.0), *read(DESK, 28.5e6, PATHS)]
    result = prove(sheet_of(rows))
    assert [r.row for r in result.readings if r.p_wrong > 0.5] == [6]
    assert "shows nothing" in result.readings[4].why


def test_a_dead_meter_is_no_witness_and_does_no_harm() -> None:
    rows = read(DESK, 28.5e6, PATHS)
    dead = [(POCKET, 28.5e6, p, 0.0) for p in PATHS]
    with_dead, without = prove(sheet_of([*rows, *dead])), prove(sheet_of(rows))
    assert [x.loss_db for x in with_dead.losses] == [x.loss_db for x in without.losses]
    assert with_dead.meters[1].trust == "none"
    assert with_dead.meters[1].exponent is None
    assert any("left out" in r for r in with_dead.remarks)


def test_a_stuck_meter_is_no_witness() -> None:
    rows = [(DESK, 144.3e6, p, 6.4) for p in ("reference", "blue 7", "blue 18")]
    result = prove(sheet_of(rows))
    assert result.meters[0].trust == "none"
    assert {p.verdict for p in result.pieces} == {"cannot tell"}


def test_a_loss_better_than_the_type_allows_is_as_suspect_as_one_far_worse() -> None:
    result = _good_bench(0.5)
    assert {p.verdict for p in result.pieces} == {"cannot tell"}
    assert all("better than its type can be" in p.why for p in result.pieces)


def test_a_meter_that_rises_when_cable_goes_in_is_remarked_on() -> None:
    rows = [(DESK, 28.5e6, "reference", 8.0), (DESK, 28.5e6, "blue 7", 9.9), (DESK, 28.5e6, "blue 18", 7.0)]
    result = prove(sheet_of(rows))
    assert any("adds no power" in r for r in result.remarks)
    assert max(r.p_wrong for r in result.readings) > 0.5
    assert all(x.loss_db_low > 0 for x in result.losses)


def test_a_missing_reference_leaves_the_differences_between_lengths() -> None:
    rows = [row for f in BANDS for row in read(DESK, f, ("blue 7", "blue 18", "blue 7", "blue 18"), 1.3)]
    result = prove(sheet_of(rows, power_w=None))
    for x in result.losses:
        assert x.loss_db_low <= true_loss_db(x.piece, x.frequency_hz, 1.3) <= x.loss_db_high
        assert x.by_hand == ()
    assert any("No reference reading" in r for r in result.remarks)


def test_a_piece_of_unknown_type_gets_a_loss_but_no_multiple() -> None:
    grey = Piece("blue 7", 7.0)
    result = prove(
        sheet_of([row for f in BANDS for row in read(DESK, f, ("reference", "blue 7", "reference"))], [grey])
    )
    for x in result.losses:
        assert x.ratio is None
        assert x.catalogue_db is None
        assert x.p_worse_1_1 is None
        assert x.loss_db_low <= true_loss_db("blue 7", x.frequency_hz) <= x.loss_db_high
    assert result.pieces[0].verdict == "cannot tell"
    assert "type is unknown" in result.pieces[0].why


def test_one_frequency_and_one_pair_cannot_tell_much_and_says_what_would() -> None:
    result = prove(sheet_of(read(DESK, 28.5e6, ("reference", "blue 7"), 1.25), [BLUE_7]))
    assert result.pieces[0].verdict == "cannot tell"
    assert any("One frequency only" in r for r in result.remarks)
    assert result.next
    assert all(n.gain_nats > 0 for n in result.next)


def test_no_readings_at_all_is_an_answer() -> None:
    result = prove(sheet_of([]))
    assert result.losses == ()
    assert {p.verdict for p in result.pieces} == {"cannot tell"}
    assert all(u.ok is None for p in result.pieces for u in p.uses)


def test_a_jumper_that_stays_is_not_added_to_the_loss() -> None:
    """One that goes is, its two connectors included."""
    rows = [row for f in BANDS for row in read(DESK, f, PATHS)]
    stays = prove(sheet_of(rows, reference=Reference(THIN, 1.0, "stays")))
    replaced = prove(sheet_of(rows, reference=Reference(THIN, 1.0, "replaced")))
    for a, b in zip(stays.losses, replaced.losses, strict=True):
        jumper = float(THIN.law.db_per_m(a.frequency_hz)) + 2 * 0.0017 * np.sqrt(a.frequency_hz / 1e6)
        assert b.by_hand[0].loss_db - a.by_hand[0].loss_db == pytest.approx(jumper, abs=1e-9)


def test_the_by_hand_figure_is_the_ratio_in_decibels() -> None:
    """Half the power is 10 lg 2 dB, by definition."""
    rows = [(DESK, 28.5e6, "reference", 2.5), (DESK, 28.5e6, "blue 7", 1.25)]
    hand = prove(sheet_of(rows)).losses[0].by_hand[0]
    assert hand.loss_db == pytest.approx(10 * np.log10(2.0))


def test_the_by_hand_figure_doubts_the_match_of_both_its_connections() -> None:
    """Source on reference and source on piece: 8.686/√2 · |Γs| |Γl| each (EA-4/02 M, S7), Γ = (S - 1)/(S + 1)."""
    rows = [(replace(DESK, swr=1.5), 28.5e6, path, watts) for path, watts in (("reference", 8.0), ("blue 7", 6.0))]
    sheet = sheet_of(rows)
    matched, reflects = (
        prove(replace(sheet, source=replace(sheet.source, swr=swr))).losses[0].by_hand[0].loss_db_u
        for swr in (1.0, 2.0)
    )
    one = 8.685889638 / np.sqrt(2.0) * (0.5 / 2.5) * (1.0 / 3.0)
    assert reflects**2 - matched**2 == pytest.approx(2.0 * one**2, rel=1e-6)


def test_a_card_is_followed_to_the_same_answer_as_watts() -> None:
    card = Meter("card meter", "card", 0.05, (1.8e6, 60e6), card=((0.0, 0.0), (50.0, 3.2), (100.0, 12.8)))
    rows = read(DESK, 28.5e6, PATHS, 1.3)
    bare = [(card, f, p, round(50.0 * np.sqrt(v / 3.2), 2)) for _, f, p, v in rows]
    watts, scale = prove(sheet_of(rows)), prove(sheet_of(bare))
    for a, b in zip(watts.losses, scale.losses, strict=True):
        assert a.by_hand[0].loss_db == pytest.approx(b.by_hand[0].loss_db, abs=0.03)
        assert b.by_hand[0].loss_db_u > a.by_hand[0].loss_db_u


@pytest.mark.parametrize("scale", ["milliwatts", "dBm", "volts"])
def test_every_scale_tells_the_same_story(scale: str) -> None:
    rows = read(DESK, 28.5e6, PATHS, 1.3)
    shown = {
        "milliwatts": lambda w: round(1000 * w), "dBm": lambda w: round(30 + 10 * np.log10(w), 3),
        "volts": lambda w: round(np.sqrt(50 * w), 3),
    }[scale]  # fmt: skip
    meter = Meter("other", scale, {"milliwatts": 10, "dBm": 0.01, "volts": 0.01}[scale], (1.8e6, 60e6))  # type: ignore[arg-type]
    other = prove(sheet_of([(meter, f, p, float(shown(v))) for _, f, p, v in rows]))
    for a, b in zip(prove(sheet_of(rows)).losses, other.losses, strict=True):
        assert a.loss_db == pytest.approx(b.loss_db, abs=0.05)


def test_the_catalogue_pulls_less_the_more_there_is_to_read() -> None:
    few = prove(sheet_of(read(DESK, 28.5e6, ("reference", "blue 18"), 1.3), [BLUE_18])).losses[0]
    many = next(x for x in _good_bench(1.3).losses if x.piece == "blue 18" and x.frequency_hz == 28.5e6)
    assert abs(few.catalogue_pull_db or 0) > abs(many.catalogue_pull_db or 0)
    assert few.without_catalogue_db == pytest.approx(few.by_hand[0].loss_db, abs=0.12)


def test_the_document_is_plain_json_with_the_fields_of_its_schema() -> None:
    document = json.loads(json.dumps(_good_bench().to_dict(), allow_nan=False))
    assert document["schema"] == "linewright/bench-result/1"
    assert {"losses", "pieces", "readings", "meters", "predictions", "next", "cautions"} <= set(document)


def test_a_reading_carries_its_own_swr() -> None:
    base = [Reading(2, "desk meter", 28.5e6, (), 10.0), Reading(3, "desk meter", 28.5e6, ("blue 7",), 8.7)]
    poor = [Reading(r.row, r.meter, r.frequency_hz, r.path, r.reading, swr=2.5) for r in base]
    sheet = sheet_of([], [BLUE_7])
    fine, rough = (
        prove(type(sheet)("t", (DESK,), (BLUE_7,), tuple(rows), sheet.source)).losses[0] for rows in (base, poor)
    )
    assert rough.loss_db_high - rough.loss_db_low > fine.loss_db_high - fine.loss_db_low


def test_a_bad_plug_is_distinguished_from_aged_cable() -> None:
    """Three quarters of a dB on every band is no cable's law: it sits in a joint."""
    extra_db = 0.75
    rows = [
        (m, f, p, round(v * 10 ** (-extra_db / 10), 2) if p == "blue 7" else v)
        for f in BANDS
        for m, f, p, v in read(DESK, f, (*PATHS, *PATHS))
    ]
    result = prove(sheet_of(rows))
    plug, sound = result.pieces
    assert "plug or joint" in plug.why
    assert "plug or joint" not in sound.why
    for x in result.losses:
        true = true_loss_db(x.piece, x.frequency_hz) + (extra_db if x.piece == "blue 7" else 0.0)
        assert x.loss_db_low <= true <= x.loss_db_high
    assert max(r.p_wrong for r in result.readings) < 0.5


def test_readings_that_fall_into_two_camps_are_settled_by_the_law() -> None:
    """Half the readings of one band say 3 dB, half 12 dB; the other bands and the law know which."""
    rows = [row for f in (7.1e6, 14.2e6, 28.5e6) for row in read(DESK, f, PATHS)]
    for meter in (POCKET, Meter("third meter", "watts", 0.01, (100e6, 470e6))):
        rows += read(meter, 432e6, ("reference", "blue 18", "blue 18", "reference", "blue 7", "reference"))
        at = len(rows) - 5
        rows[at] = (meter, 432e6, "blue 18", round(10.0 * 10 ** (-true_loss_db("blue 7", 432e6) / 10), 2))
    result = prove(sheet_of(rows))
    far = next(x for x in result.losses if x.piece == "blue 18" and x.frequency_hz == 432e6)
    assert far.loss_db_low <= true_loss_db("blue 18", 432e6) <= far.loss_db_high
    assert far.loss_db_high - far.loss_db_low < 1.5


def test_a_piece_of_unknown_type_takes_the_type_of_its_stock() -> None:
    rows = [row for f in BANDS for row in read(DESK, f, PATHS, 1.3)]
    nameless = Piece("blue 7", 7.0, None, 2, "blue drum")
    told, untold = prove(sheet_of(rows)), prove(sheet_of(rows, [nameless, BLUE_18]))
    assert [x.ratio for x in untold.losses] == [x.ratio for x in told.losses]
    assert any("taken to be RG-58C/U" in r for r in untold.remarks)


def test_a_stock_of_two_types_is_remarked_on() -> None:
    other = Piece("blue 18", 18.0, THICK, 2, "blue drum")
    result = prove(sheet_of(read(DESK, 28.5e6, PATHS), [BLUE_7, other]))
    assert any("one stock is one cable" in r for r in result.remarks)
