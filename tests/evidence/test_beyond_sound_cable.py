"""Benches that are not well-behaved 50-ohm cable: what once was wrong with certainty."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from evidence.benches import BLUE_7, BLUE_18, DESK, PATHS, POCKET, Row, read, sheet_of, true_loss_db
from linewright.catalogue.lines import line_type
from linewright.core.formulas.faults import series_capacitance_db, series_resistance_db, shunt_capacitance_db
from linewright.core.nouns.bench import BenchSheet, Meter, Piece
from linewright.core.nouns.bench_result import BenchResult
from linewright.inference.bench.insertion import inserted_excess_db
from linewright.inference.bench.prove import prove

THIRD = Meter("third meter", "watts", 0.01, (1.8e6, 60e6))
HF = (3.6e6, 7.1e6, 14.2e6, 28.5e6)


def faulty(shape_db: Callable[[float], float], bands: tuple[float, ...] = HF) -> BenchSheet:
    """Return a bench of two meters on which blue 7 has a fault and blue 18 none."""
    rows: list[Row] = []
    for f in bands:
        for m in (DESK, THIRD):
            rows += [
                (meter, f, p, round(v * 10 ** (-shape_db(f) / 10), 2) if p == "blue 7" else v)
                for meter, f, p, v in read(replace(m, rated_hz=(1e6, 500e6)), f, PATHS)
            ]
    return sheet_of(rows)


def covered(result: BenchResult, shape_db: Callable[[float], float]) -> list[bool]:
    true = [
        true_loss_db(x.piece, x.frequency_hz) + shape_db(x.frequency_hz) * (x.piece == "blue 7") for x in result.losses
    ]
    return [x.loss_db_low <= t <= x.loss_db_high for x, t in zip(result.losses, true, strict=True)]


def test_an_open_centre_conductor_is_found_and_the_true_readings_of_both_meters_believed() -> None:
    """200 pF in series: two meters read 8 dB at 3.6 MHz; it was "good", 0.27 dB, and six true readings wrong."""

    def shape(f: float) -> float:
        return float(series_capacitance_db(200e-12, f))

    result = prove(faulty(shape))
    blue_7 = result.pieces[0]
    assert all(covered(result, shape))
    assert blue_7.verdict == "bad"
    assert blue_7.cause == "open conductor"
    assert blue_7.p is not None
    assert blue_7.p > 0.9
    assert max(r.p_wrong for r in result.readings) < 0.2
    assert "centre conductor is broken" in result.growth[0].sentence
    assert "from pin to pin" in result.growth[0].check


@pytest.mark.parametrize("ohm", [8.0, 20.0, 50.0])
def test_a_contact_with_resistance_is_a_joint_and_flat(ohm: float) -> None:
    def shape(f: float) -> float:
        return float(series_resistance_db(ohm))

    result = prove(faulty(shape))
    assert np.mean(covered(result, shape)) > 0.85
    assert result.pieces[0].cause == "resistive joint"
    assert [r.cause for r in result.pieces[0].rivals] == ["short"]
    assert max(r.p_wrong for r in result.readings) < 0.2


def test_water_across_a_plug_is_told_from_worn_cable() -> None:
    def shape(f: float) -> float:
        return float(shunt_capacitance_db(20e-12, f))

    result = prove(faulty(shape, (14.2e6, 50.1e6, 144.3e6, 432.1e6)))
    assert np.mean(covered(result, shape)) > 0.85
    assert result.pieces[0].cause == "wet connector"


def test_a_sound_75_ohm_cable_on_a_50_ohm_bench_is_judged_by_its_matched_loss() -> None:
    """It was "worn, corrosion cannot be mended": the steps of impedance took what the cable does not."""
    line = line_type("RG-59B/U")
    piece, rows = Piece("grey", 20.0, line, 2, "grey"), []
    inserted = []
    for f in HF:
        loss = 20.0 * float(line.law.db_per_m(f)) + 2 * 0.0017 * np.sqrt(f / 1e6)
        turns = 20.0 * f / (line.velocity_factor * 299_792_458.0)
        inserted.append(loss + float(inserted_excess_db(np.array(75.0), np.array(loss), np.array(turns))))
        rows += [(m, f, p, round(10 * 10 ** (-inserted[-1] * (p != "reference") / 10), 2)) for m in (DESK, THIRD)
                 for p in ("reference", "grey", "reference")]  # fmt: skip
    result = prove(sheet_of(rows, [piece]))
    assert max(inserted) > 1.2 * result.losses[inserted.index(max(inserted))].loss_db
    assert result.pieces[0].verdict in ("good", "cannot tell")
    for x in result.losses:
        true = 20.0 * float(line.law.db_per_m(x.frequency_hz)) + 2 * 0.0017 * np.sqrt(x.frequency_hz / 1e6)
        assert x.loss_db_low <= true <= x.loss_db_high
    assert max(r.p_wrong for r in result.readings) < 0.5


DARK_HZ = (144.3e6, 432.1e6)
SOUND = [row for m in (DESK, THIRD) for f in HF for row in read(m, f, PATHS)]


def slipped(row: int, value: float) -> BenchResult:
    sheet = sheet_of(SOUND)
    readings = list(sheet.readings)
    readings[row] = replace(readings[row], reading=value)
    return prove(replace(sheet, readings=tuple(readings)))


@pytest.mark.parametrize(
    ("change", "cause", "words"),
    [
        (lambda v: v / 10, "decimal", "decimal point moved"),
        (lambda v: v / 2, "range", "another range"),
        (lambda v: float(f"{v:.2f}"[2] + "." + f"{v:.2f}"[0] + f"{v:.2f}"[3]), "digits swapped", "two digits swapped"),
    ],
    ids=["decimal", "half", "digits"],
)  # fmt: skip
def test_a_slip_is_named_by_its_shape(change: Callable[[float], float], cause: str, words: str) -> None:
    true = SOUND[2][3]
    found = slipped(2, change(true)).readings[2]
    assert found.p_wrong > 0.9
    assert found.cause == cause
    assert words in found.why
    assert found.p is not None
    assert found.p <= found.p_wrong + 1e-9


def test_two_rows_swapped_are_named_together() -> None:
    sheet = sheet_of(SOUND)
    readings = list(sheet.readings)
    one, two = readings[13], readings[14]
    readings[13], readings[14] = replace(one, reading=two.reading), replace(two, reading=one.reading)
    found = prove(replace(sheet, readings=tuple(readings))).readings
    assert {found[13].cause, found[14].cause} == {"rows swapped"}
    assert f"row {found[14].row}" in found[13].why


def test_all_meters_read_alike_and_against_the_law_are_not_overruled() -> None:
    """Both meters show half the power on one path and band: the piece or the insertion, and both stay open."""
    rows = [row for f in HF for m in (DESK, THIRD) for row in read(m, f, PATHS)]
    rows = [(m, f, p, round(v / 2, 2) if (f, p) == (14.2e6, "blue 7") else v) for m, f, p, v in rows]
    result = prove(sheet_of(rows))
    there = [r for r in result.readings if (r.frequency_hz, r.path) == (14.2e6, "blue 7")]
    assert {r.cause for r in there if r.cause} <= {"all meters alike"}
    assert max(r.p_wrong for r in there) - min(r.p_wrong for r in there) < 0.2
    loss = next(x for x in result.losses if (x.frequency_hz, x.piece) == (14.2e6, "blue 7"))
    assert loss.loss_db_high - loss.loss_db_low > 2.0
    assert loss.loss_db_low <= true_loss_db("blue 7", 14.2e6) + 3.01 <= loss.loss_db_high + 0.2


def test_a_meter_that_shows_nothing_makes_no_reading_wrong() -> None:
    rows = [*read(DESK, 14.2e6, PATHS), *[(POCKET, 144.3e6, p, 0.0) for p in PATHS]]
    result = prove(sheet_of(rows))
    assert all(r.p_wrong < 0.2 for r in result.readings if r.meter == "pocket meter")


def test_a_piece_longer_than_said_does_not_spoil_its_stock() -> None:
    """Blue 18 is 30 m long: blue 7 of the same drum keeps its own loss."""
    rows = [
        (m, f, p, round(10 ** (1 - true_loss_db(p, f) * (30 / 18 if p == "blue 18" else 1) / 10), 2))
        for f in HF for m, f, p, _ in [*read(DESK, f, PATHS), *read(THIRD, f, PATHS)]
    ]  # fmt: skip
    result = prove(sheet_of(rows, [BLUE_7, BLUE_18]))
    for x in result.losses:
        true = true_loss_db(x.piece, x.frequency_hz) * (30 / 18 if x.piece == "blue 18" else 1)
        assert x.loss_db_low * 0.97 <= true <= x.loss_db_high * 1.03


def test_a_75_ohm_cable_marked_as_one_of_50_is_told_by_its_echoes() -> None:
    line, marked = line_type("RG-59B/U"), line_type("RG-58C/U")
    rows: list[Row] = []
    for f in (*HF, 21.2e6, 50.1e6):
        loss = 12.0 * float(line.law.db_per_m(f))
        turns = 12.0 * f / (line.velocity_factor * 299_792_458.0)
        taken = loss + float(inserted_excess_db(np.array(75.0), np.array(loss), np.array(turns)))
        rows += [(m, f, p, round(10 * 10 ** (-taken * (p != "reference") / 10), 2)) for m in (DESK, THIRD)
                 for p in ("reference", "grey", "reference")]  # fmt: skip
    (piece,) = prove(sheet_of(rows, [Piece("grey", 12.0, marked, 2, "grey")])).pieces
    assert piece.cause == "other impedance"
    assert "75 ohm" in piece.why


def test_a_piece_far_better_than_its_claim_is_another_type_or_length() -> None:
    rows = [row for f in HF for m in (DESK, THIRD) for row in read(m, f, PATHS, 0.45)]
    for piece in prove(sheet_of(rows)).pieces:
        assert {piece.cause, *(r.cause for r in piece.rivals)} >= {"other type"}
        assert "its diameter and printing tell" in piece.why


def test_what_shows_nothing_is_not_proposed_to_be_read_again() -> None:
    meter = Meter("big meter", "watts", 1.0, (1.8e6, 500e6))
    rows: list[Row] = [(meter, f, p, 0.0 if p == "blue 18" else 3.0) for f in DARK_HZ for p in PATHS]
    result = prove(sheet_of(rows))
    assert not [n for n in result.next if (n.path, n.meter) == ("blue 18", "big meter") and n.frequency_hz in DARK_HZ]
