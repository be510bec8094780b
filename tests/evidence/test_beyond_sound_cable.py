"""Benches that are not well-behaved 50-ohm cable: what once was wrong with certainty."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from evidence.benches import BLUE_7, BLUE_18, DESK, PATHS, POCKET, Row, read, sheet_of, true_loss_db
from linewright.catalogue.lines import line_type
from linewright.core.arrays import Floats
from linewright.core.formulas.faults import series_capacitance_db, series_resistance_db, shunt_capacitance_db
from linewright.core.nouns.bench import BenchSheet, Meter, Piece
from linewright.core.nouns.bench_result import BenchResult
from linewright.inference.bench.design import Layout, lay_out
from linewright.inference.bench.faults import _Seen, _tried, excesses
from linewright.inference.bench.hypotheses import MISMARKED, STEP, sites_of
from linewright.inference.bench.insertion import inserted_excess_db, rival_excess_db, rival_read
from linewright.inference.bench.observations import blocks_of
from linewright.inference.bench.prove import prove
from linewright.inference.priors import DEFAULT

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


def test_a_braid_that_takes_more_than_its_root_is_followed_up_and_down_the_bands() -> None:
    """Wear that trebles over a decade: one multiple for all bands has too much below and too little above."""
    line, wear = line_type("RG-58C/U"), {}
    rows: list[Row] = []
    for f in (1.9e6, 3.6e6, 7.1e6, 14.2e6, 28.5e6, 50.1e6, 144.3e6):
        conductor, dielectric = line.law.parts_db_per_m(f)
        wear[f] = 18.0 * (float(conductor) * (1 + 1.2 * (f / 30e6) ** 0.5) + float(dielectric))
        wear[f] += 2 * 0.0017 * np.sqrt(f / 1e6)
        for m in (replace(m, rated_hz=(1e6, 500e6)) for m in (DESK, THIRD)):
            rows += [(m, f, p, round(10 * 10 ** (-wear[f] * (p != "reference") / 10), 2))
                     for p in ("reference", "black", "reference")]  # fmt: skip
    result = prove(sheet_of(rows, [Piece("black", 18.0, line, 2, "black")]))
    assert all(x.loss_db_low <= wear[x.frequency_hz] <= x.loss_db_high for x in result.losses)
    assert max(abs(x.loss_db / wear[x.frequency_hz] - 1.0) for x in result.losses) < 0.06


def test_nothing_shown_at_all_is_no_bound_from_above_on_a_gap() -> None:
    """12 pF in series: coarse scales show nothing on low bands. They are no reason to call 50 MHz wrong."""
    rows: list[Row] = []
    for f in (3.6e6, 7.1e6, 50.1e6, 144.3e6):
        for m in (DESK, THIRD):
            wide = replace(m, division=2.0, rated_hz=(1e6, 500e6))
            gap = float(series_capacitance_db(12e-12, f))
            rows += [(wide, f, p, 2.0 * round(10 * 10 ** (-(true_loss_db(p, f) + gap * (p == "blue 7")) / 10)))
                     for p in PATHS]  # fmt: skip
    result = prove(sheet_of(rows))
    assert result.pieces[0].verdict == "bad"
    assert result.pieces[0].cause == "open conductor"
    assert max(r.p_wrong for r in result.readings) < 0.5


def test_water_in_the_dielectric_is_not_called_corrosion() -> None:
    """Six times its dry dielectric loss: it was "conductors and braid grew"."""

    def shape(f: float) -> float:
        return 5.0 * 7.0 * float(BLUE_7.line.law.parts_db_per_m(f)[1]) if BLUE_7.line else 0.0

    result = prove(faulty(shape, (14.2e6, 50.1e6, 144.3e6, 432.1e6)))
    assert np.mean(covered(result, shape)) > 0.85
    wet = {c.cause: c.p for c in result.pieces[0].rivals} | {result.pieces[0].cause: result.pieces[0].p}
    assert wet.keys() >= {"water", "wet connector"}  # In the cable or in a plug: on made-up benches oftener in a plug.
    assert wet["water"] == pytest.approx(0.7 * wet["wet connector"], abs=0.02)
    assert "conductors and braid" not in result.growth[0].sentence


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


@pytest.mark.parametrize(("length_m", "f"), [(10.0, 28.5e6), (20.0, 14.2e6)])
def test_what_a_line_of_75_ohm_takes_is_its_mean_over_lengths_within_two_spreads(length_m: float, f: float) -> None:
    """A length is known to 2 %: the echo is averaged over 4 % either way, here in a hundred times as many steps."""
    piece, line = Piece("grey", length_m, line_type("RG-58C/U"), 2, "grey"), line_type("RG-59B/U")
    turns = length_m * f / (line.velocity_factor * 299_792_458.0) * np.linspace(0.96, 1.04, 2001)
    loss = np.array(length_m * float(line.law.db_per_m(f)))
    mean = float(inserted_excess_db(np.array(75.0), loss, turns).mean())
    assert rival_excess_db(piece, "RG-59B/U", f) == pytest.approx(mean, abs=0.004)


def test_a_braid_that_resonates_takes_one_band_eight_times_in_a_thousand_and_0_8_db_give_or_take_1_2() -> None:
    seen = [_Seen(14.2e6, 1.0, 0.0), _Seen(144.3e6, 3.0, 2.0)]
    braids = [told for told in _tried(seen, 50.0, DEFAULT) if told[0].cause == "braid"]
    assert [(shape.value, *told) for shape, *told in braids] == [(144.3e6, 0.008, 0.8, 1.2)]


@pytest.mark.parametrize(("paths", "over"), [(PATHS, {7.0: 2.0, 18.0: 3.0}), (PATHS[1:3], {})])
def test_what_a_meter_reads_above_a_type_takes_a_reference(paths: tuple[str, ...], over: dict[float, float]) -> None:
    """3 and 6 dB below the reference, where 1 and 3 were new; without a reference a level says nothing of a loss."""
    watts = {"reference": 10.0, "blue 7": 10.0 / 10**0.3, "blue 18": 10.0 / 10**0.6}
    sheet = sheet_of([(DESK, 14.2e6, path, watts[path]) for path in paths])
    found = excesses(blocks_of(sheet), {("blue 7", 14.2e6): 1.0, ("blue 18", 14.2e6): 3.0})
    assert {float(tag.split()[1]): pytest.approx(db[0]) for (tag, _), db in found.items()} == over


@pytest.mark.parametrize(("new_db", "over_db", "much"), [(0.2, 0.11, False), (0.2, 0.13, True), (4.0, 0.58, False),
                                                         (4.0, 0.62, True)])  # fmt: skip
def test_a_fault_is_looked_for_from_an_eighth_of_a_decibel_and_a_seventh_of_the_loss_on(
    new_db: float, over_db: float, much: bool
) -> None:
    """0.12 dB and 15 %: less is what worn cable and scales do."""
    assert _Seen(14.2e6, new_db, over_db).much is much


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
        (lambda v: v / 2, "range", "the wrong range"),
        (lambda v: float(f"{v:.2f}"[2] + "." + f"{v:.2f}"[0] + f"{v:.2f}"[3]), "digits swapped", "two digits swapped"),
    ],
    ids=["decimal", "half", "digits"],
)  # fmt: skip
def test_a_slip_is_named_by_its_shape(change: Callable[[float], float], cause: str, words: str) -> None:
    true = SOUND[2][3]
    found = slipped(2, change(true)).readings[2]
    assert found.p_wrong > 0.85
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


@pytest.mark.parametrize("true", ["RG-59B/U", "RG-11A/U"])
def test_a_75_ohm_cable_marked_as_one_of_50_is_told_by_its_echoes(true: str) -> None:
    """Its loss is that of its own law: nothing ties it to that of the type it is marked as."""
    line, marked = line_type(true), line_type("RG-58C/U")
    rows: list[Row] = []
    for f in (*HF, 21.2e6, 50.1e6):
        loss = 12.0 * float(line.law.db_per_m(f))
        turns = 12.0 * f / (line.velocity_factor * 299_792_458.0)
        taken = loss + float(inserted_excess_db(np.array(75.0), np.array(loss), np.array(turns)))
        rows += [(m, f, p, round(10 * 10 ** (-taken * (p != "reference") / 10), 2)) for m in (DESK, THIRD)
                 for p in ("reference", "grey", "reference")]  # fmt: skip
    result = prove(sheet_of(rows, [Piece("grey", 12.0, marked, 2, "grey")]))
    (piece,) = result.pieces
    for x in result.losses:
        assert x.loss_db == pytest.approx(12.0 * float(line.law.db_per_m(x.frequency_hz)), rel=0.25)
    assert piece.cause == "other impedance"
    assert "75 ohm" in piece.why


def marked_as_fifty(true: str, length_m: float, bands: tuple[float, ...], source: complex) -> tuple[BenchSheet, Floats]:
    """Return a bench with a 75-ohm line marked as one of 50, its source no match, and the line's own losses."""
    line, rows = line_type(true), []
    own = np.array([length_m * float(line.law.db_per_m(f)) for f in bands])
    for k, (f, loss) in enumerate(zip(bands, own, strict=True)):
        turns = length_m * f / (line.velocity_factor * 299_792_458.0)
        gamma = np.array(source * np.exp(2.1j * k))
        taken = loss + float(inserted_excess_db(np.array(75.0), np.array(loss), np.array(turns), gamma))
        rows += [(m, f, p, round(10 * 10 ** (-taken * (p != "reference") / 10), 2)) for m in (DESK, THIRD)
                 for p in ("reference", "grey", "reference")]  # fmt: skip
    return sheet_of(rows, [Piece("grey", length_m, line_type("RG-58A/U"), 2, "grey")]), own


@pytest.mark.parametrize(("true", "length_m"), [("RG-11A/U", 5.0), ("RG-59B/U", 2.4), ("RG-11A/U", 16.2)])
def test_the_echoes_of_a_75_ohm_line_marked_as_one_of_50_are_known_by_their_range_alone(true, length_m) -> None:
    """Into a source of SWR 1.3 they are up to half a decibel more or less than into a match."""
    bands = (14.2e6, 21.2e6, 28.5e6, 50.1e6, 432.1e6)
    sheet, own = marked_as_fifty(true, length_m, bands, 0.13)
    result = prove(sheet)
    assert result.pieces[0].cause == "other impedance"
    assert max(r.p_wrong for r in result.readings) < 0.5
    assert [x.loss_db_low <= t <= x.loss_db_high for x, t in zip(result.losses, own, strict=True)] == [True] * 5


def test_what_may_echo_as_a_75_ohm_line_is_tried_and_what_is_worn_is_not() -> None:
    """Some readings, taken at their word, fit the rival as well: then its echoes are unknowns of their own."""
    sheet, _ = marked_as_fifty("RG-11A/U", 5.0, HF, 0.13)
    lay = lay_out(sheet, blocks_of(sheet), DEFAULT)
    assert lay.suspects == {0: 1}
    assert len(lay.rippling) == len(HF)
    sites = sites_of(lay, DEFAULT)
    assert sites.logit[0][sites.kind == MISMARKED].tolist() == pytest.approx([np.log(0.03 / 0.97)] * 2)
    new_db = np.array([true_loss_db("blue 7", f) for f in HF])
    turns = 7.0 * np.array(HF) / (0.66 * 299_792_458.0)
    echoes = inserted_excess_db(np.array(75.0), 0.45 * new_db, turns)
    assert rival_read(BLUE_7, np.array(HF), new_db, 0.45 * new_db + echoes) == 1
    assert rival_read(BLUE_7, np.array(HF), new_db, 1.0 * new_db) is None
    assert rival_read(BLUE_18, np.array(HF), 18 / 7 * new_db, 2.0 * 18 / 7 * new_db) is None


def test_a_piece_far_better_than_its_claim_is_another_type_or_length() -> None:
    rows = [row for f in HF for m in (DESK, THIRD) for row in read(m, f, PATHS, 0.45)]
    for piece in prove(sheet_of(rows)).pieces:
        assert {piece.cause, *(r.cause for r in piece.rivals)} >= {"other type"}
        assert "check its diameter and printing" in piece.why


@pytest.mark.parametrize(("times", "said"), [(1.0, True), (0.5, False)])
def test_a_thin_cable_marked_as_a_thick_one_reads_like_itself_or_like_a_worn_thick_one(
    times: float, said: bool
) -> None:
    """Losses alone do not part them: both are named, and what tells. Half of it is a thick one as good as new."""
    rows = [row for f in HF for m in (DESK, THIRD) for row in read(m, f, ("reference", "blue 18", "reference"), times)]
    (piece,) = prove(sheet_of(rows, [replace(BLUE_18, line=line_type("RG-213/U"))])).pieces
    assert (piece.verdict in ("worn", "bad")) is said
    assert ("It reads like RG-58" in piece.why and "or like RG-213/U with 2." in piece.why) is said
    assert ("check its diameter and printing" in piece.why) is said


@pytest.mark.parametrize("times", np.linspace(1.3, 2.4, 5))
def test_a_worn_cable_that_bends_reads_like_none_with_a_tube_for_a_screen(times: float) -> None:
    rows = [row for f in HF for m in (DESK, THIRD) for row in read(m, f, ("reference", "blue 18", "reference"), times)]
    why = prove(sheet_of(rows, [BLUE_18])).pieces[0].why
    assert "like semi-rigid" not in why
    assert "like corrugated" not in why


def test_what_a_leak_takes_reads_like_no_other_type() -> None:
    def shape(f: float) -> float:
        return float(series_resistance_db(20.0))

    piece = prove(faulty(shape)).pieces[0]
    assert piece.verdict == "bad"
    assert "It reads like" not in piece.why


def test_a_bend_that_all_meters_share_makes_no_sound_cable_worn() -> None:
    """Every decibel an eighth too large on both meters, and no known step to tell."""
    rows = [row for m in (DESK, THIRD) for f in HF for row in read(m, f, PATHS, exponent=1.12)]
    result = prove(sheet_of(rows))
    assert {p.verdict for p in result.pieces} <= {"good", "cannot tell"}
    for x in result.losses:
        assert x.loss_db_low < 1.06 * true_loss_db(x.piece, x.frequency_hz)


def test_a_reference_beyond_all_reason_makes_no_cable_bad() -> None:
    """A source of 10 W and a reference of a billion watts: it was "bad, 12 dB (7 to 21)"."""
    rows: list[Row] = [(DESK, 14.2e6, "reference", 1e9), (DESK, 14.2e6, "blue 7", 8.5)]
    (piece,) = prove(sheet_of(rows, [BLUE_7])).pieces
    assert piece.verdict == "cannot tell"


def test_an_honest_reading_at_the_bottom_of_a_scale_is_not_called_wrong() -> None:
    """Steps of three watts where one to six are left: what shows 0 and 3 is what such a scale shows."""
    coarse = Meter("coarse meter", "watts", 3.0, (1e6, 500e6))
    paths = ("reference", "blue 7", "blue 18", "blue 7+blue 18", "reference")
    rows = [row for f in (28.5e6, 144.3e6, 432.1e6) for row in read(coarse, f, paths)]
    assert min(value for *_, value in rows) == 0.0
    assert max(r.p_wrong for r in prove(sheet_of(rows)).readings) < 0.5


def test_what_shows_nothing_is_not_proposed_to_be_read_again() -> None:
    meter = Meter("big meter", "watts", 1.0, (1.8e6, 500e6))
    rows: list[Row] = [(meter, f, p, 0.0 if p == "blue 18" else 3.0) for f in DARK_HZ for p in PATHS]
    result = prove(sheet_of(rows))
    assert not [n for n in result.next if (n.path, n.meter) == ("blue 18", "big meter") and n.frequency_hz in DARK_HZ]


def test_a_source_that_steps_between_insertions_makes_no_reading_wrong() -> None:
    """Read insertion by insertion, all bands each time, the source 0.5 dB weaker after blue 7: all bands show it."""
    rows: list[Row] = []
    for at, path in enumerate(("reference", "blue 7", "blue 18", "reference")):
        for f in HF:
            ((meter, f_hz, tag, watts),) = read(DESK, f, (path,))
            rows.append((meter, f_hz, tag, round(watts * (10**-0.05 if at > 1 else 1.0), 2)))
    sheet = sheet_of(rows)
    result = prove(sheet)
    assert max(r.p_wrong for r in result.readings) < 0.3
    for x in result.losses:
        assert x.loss_db_low <= true_loss_db(x.piece, x.frequency_hz) <= x.loss_db_high
    without = prove(sheet, priors=replace(DEFAULT, step_p=1e-9))
    assert max(r.p_wrong for r in without.readings) > 0.5


def test_a_step_of_the_source_is_all_that_was_read_from_an_insertion_on() -> None:
    sheet = sheet_of([row for path in PATHS for f in HF for row in read(DESK, f, (path,))])
    lay = lay_out(sheet, blocks_of(sheet), DEFAULT)
    sites = sites_of(lay, DEFAULT)
    steps = np.flatnonzero(sites.kind == STEP)
    rows = [sorted(r for m in sites.members[s] for r in _rows(lay, int(m))) for s in steps]
    assert rows == [list(range(4, 12)), list(range(8, 12))]  # The reference reads alike at the end.
    assert sites.logit[0][steps].tolist() == pytest.approx([np.log(0.02 / 0.98)] * 2)
    assert sites.variance[steps].tolist() == pytest.approx([0.35**2] * 2)
    band_by_band = sheet_of([row for f in HF for row in read(DESK, f, PATHS)])
    assert not (sites_of(lay_out(band_by_band, blocks_of(band_by_band), DEFAULT), DEFAULT).kind == STEP).any()


def _rows(lay: Layout, observation: int) -> list[int]:
    return [o for b in lay.blocks for o in b.observations][observation].rows
