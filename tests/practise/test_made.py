"""The invented benches: what is hidden in them is what their level says, and they obey physics by other formulas."""

from __future__ import annotations

import cmath
import math
from collections import Counter

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

import linewright as lw
from linewright.core.errors import InputError
from linewright.core.nouns.practice import LEVELS, SEEDS, PracticeReading, code_of, read_code
from linewright.link.practice_bench import (
    BANDS_HZ,
    MOST_READINGS,
    bench_of,
    dial_of,
    made,
    mismatch_db,
    shown_db,
    truth_of,
)

ALLOWED = {
    1: {"misread"}, 2: {"detector"}, 3: {"water", "resistive joint"}, 4: {"other type", "other length"},
    5: {"misread", "detector", "water", "resistive joint", "other type", "other length"},
}  # fmt: skip
SOME = [(level, seed) for level in LEVELS for seed in range(12)]


def faulty(kind, level):
    """Return benches of a level that hide a kind of fault."""
    found = [bench_of(level, seed) for seed in range(60)]
    return [(b, f) for b in found for f in truth_of(b).faults if f.kind == kind][:8]


# Codes and seeds


@given(st.integers(1, 5), st.integers(0, SEEDS - 1))
def test_a_code_leads_back_to_its_bench(level, seed):
    code = code_of(level, seed)
    assert read_code(code) == (level, seed)
    assert read_code(code.lower().replace(" ", "")) == (level, seed)
    assert len(code) == 7


@given(
    st.integers(1, 5), st.integers(0, SEEDS - 1), st.integers(0, 5), st.sampled_from("23456789ABCDEFGHJKMNPQRSTVWXY")
)
def test_one_wrong_sign_leads_to_no_other_bench(level, seed, place, sign):
    code = code_of(level, seed).replace(" ", "")
    wrong = code[:place] + sign + code[place + 1 :]
    if wrong != code:
        with pytest.raises(InputError, match="code of a bench"):
            read_code(wrong)


@pytest.mark.parametrize("code", ["", "200 07", "900 07K", "200 07T", "x" * 500, "200 0é7", "²00 07K", "200 07K 1"])
def test_what_is_no_code_is_refused(code):
    with pytest.raises(InputError, match="code"):
        read_code(code)


def test_a_seed_gives_the_same_bench_and_the_same_readings():
    for level, seed in SOME:
        taken = [PracticeReading("pocket meter", f, "pad") for f in BANDS_HZ]
        once = bench_of(level, seed, taken).sheet
        made.cache_clear()
        assert bench_of(level, seed, taken).sheet == once


def test_another_seed_gives_another_bench():
    assert len({str(bench_of(3, seed).sheet.readings) for seed in range(50)}) == 50


def test_reading_again_scatters_and_the_first_reading_stays():
    bench = bench_of(3, 4)
    for _ in range(30):
        bench = lw.take_reading(bench, "pocket meter", 50.1e6, "reference")
    again = [shown_db(bench, r) for r in bench.sheet.readings[5:]]
    assert bench.sheet.readings[:5] == bench_of(3, 4).sheet.readings
    assert 0.005 < np.std(again) < 0.2


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: bench_of(0, 1), "level"),
        (lambda: bench_of(1, -1), "seed"),
        (lambda: bench_of(1, SEEDS), "seed"),
        (lambda: lw.take_reading(bench_of(1, 1), "no meter", 7.1e6, "pad"), "meter must be one of"),
        (lambda: lw.take_reading(bench_of(1, 1), "desk meter", 432.1e6, "pad"), "used at: 7.1 MHz, 50.1 MHz"),
        (lambda: lw.take_reading(bench_of(1, 1), "desk meter", 7.1e6, "open end"), "path must be one of"),
        (lambda: bench_of(1, 1, [PracticeReading("desk meter", 7.1e6, "pad")] * 36), "must be 40 at most"),
    ],
)
def test_what_a_bench_has_not_is_refused(call, words):
    with pytest.raises(InputError, match=words):
        call()


# Levels


@pytest.mark.parametrize("level", LEVELS)
def test_a_level_hides_what_it_says(level):
    faults = [truth_of(bench_of(level, seed)).faults for seed in range(160)]
    assert {f.kind for some in faults for f in some} == ALLOWED[level]
    counts = Counter(map(len, faults))
    assert set(counts) == ({1} if level < 5 else {0, 1, 2})
    if level == 5:
        # A quarter, half, a quarter: within four standard deviations.
        assert abs(counts[0] - 40) < 22
        assert abs(counts[1] - 80) < 26
        groups = ({"misread"}, {"detector"}, ALLOWED[3] | ALLOWED[4])
        assert all(sum(f.kind in group for f in some) <= 1 for some in faults for group in groups)


def test_what_is_wrong_is_something_of_the_bench():
    for level, seed in SOME:
        bench = bench_of(level, seed)
        for fault in truth_of(bench).faults:
            if fault.kind == "misread":
                assert 1 <= int(fault.of[0]) <= bench.given
            elif fault.kind == "detector":
                assert fault.of[0] in bench.bands
            else:
                assert set(fault.of) <= {p.tag for p in bench.sheet.pieces}


def test_every_band_has_two_meters_and_every_bench_two_drums():
    for level, seed in SOME:
        bench = bench_of(level, seed)
        assert all(sum(f in bands for bands in bench.bands.values()) == 2 for f in BANDS_HZ)
        assert len({p.stock_name for p in bench.sheet.pieces}) == 2
        assert len({p.tag for p in bench.sheet.pieces}) == 3


# Physics, by other formulas than the generator's


def nominal_db(piece, f):
    """The loss of a new piece by the verb that anybody may ask, with two plugs of 0.02 dB at 144 MHz."""
    line = lw.line_loss(piece.line.designator, piece.length_m, [f]).rows[0].loss_db
    return line + 2 * 0.0204 * math.sqrt(f / 144e6)


def test_what_a_piece_should_lose_is_what_the_catalogue_says():
    for level, seed in SOME[::5]:
        bench = bench_of(level, seed)
        for t in truth_of(bench).losses:
            assert t.catalogue_db == pytest.approx(nominal_db(bench.sheet.piece(t.piece), t.frequency_hz), rel=0.002)


def test_good_pieces_lie_near_their_type_on_every_band():
    off = []
    for level, seed in SOME:
        truth = truth_of(bench_of(level, seed))
        bad = {of for f in truth.faults for of in f.of}
        off += [math.log(t.loss_db / t.catalogue_db) for t in truth.losses if t.piece not in bad]
    assert np.std(off) == pytest.approx(0.04, abs=0.012)
    assert max(map(abs, off)) < 0.2


def excess(bench, fault):
    """Return by how much the true loss of the bad piece exceeds its type's, by frequency."""
    return {t.frequency_hz: t.loss_db - t.catalogue_db for t in truth_of(bench).losses if t.piece == fault.of[0]}


def test_a_joint_takes_the_same_on_every_band_as_a_voltage_divider_has_it():
    for bench, fault in faulty("resistive joint", 3):
        # A series resistance in a matched line: the voltage at the load falls from 1/2 to Z/(2 Z + R).
        expected = 20 * math.log10((50 / 100) / (50 / (100 + fault.size)))
        assert 0.7 < expected < 2.7
        loss = {t.frequency_hz: t.catalogue_db for t in truth_of(bench).losses if t.piece == fault.of[0]}
        for f, more in excess(bench, fault).items():
            assert more == pytest.approx(expected, abs=0.17 * loss[f])


def test_water_grows_in_proportion_to_frequency():
    for bench, fault in faulty("water", 3):
        more = excess(bench, fault)
        loss = {t.frequency_hz: t.catalogue_db for t in truth_of(bench).losses if t.piece == fault.of[0]}
        assert more[432.1e6] / more[144.3e6] == pytest.approx(432.1 / 144.3, rel=0.35)
        assert more[144.3e6] == pytest.approx(fault.size * loss[144.3e6], rel=0.5)
        assert more[7.1e6] < 0.15 * loss[144.3e6]


def test_another_length_scales_the_line_and_another_type_is_that_type():
    for bench, fault in faulty("other length", 4):
        for t in truth_of(bench).losses:
            if t.piece == fault.of[0]:
                assert t.loss_db / t.catalogue_db == pytest.approx(fault.size, rel=0.2)
    for bench, fault in faulty("other type", 4):
        for tag in fault.of:
            piece = bench.sheet.piece(tag)
            assert fault.line != piece.line.designator
            at_top = next(t for t in truth_of(bench).losses if t.piece == tag and t.frequency_hz == 432.1e6)
            there = lw.line_loss(fault.line, piece.length_m, [432.1e6]).rows[0].loss_db
            assert at_top.loss_db == pytest.approx(there, rel=0.2)


def test_mismatch_is_that_of_the_scattering_matrices():
    rng = np.random.default_rng(5)
    for _ in range(40):
        source, meter = (rng.uniform(0, 0.3) * cmath.exp(1j * rng.uniform(0, 6.28)) for _ in range(2))
        loss_db, phase = rng.uniform(0, 6), rng.uniform(0, 6.28)
        s21 = 10 ** (-loss_db / 20) * cmath.exp(-1j * phase)
        # A wave goes to and fro between the two: the sum of all its echoes, one by one.
        wave = sum(s21 * (source * meter * s21**2) ** k for k in range(60))
        arrives = abs(wave) ** 2 * (1 - abs(source) ** 2) * (1 - abs(meter) ** 2)
        plain = abs(s21) ** 2
        assert mismatch_db(source, meter, loss_db, phase) == pytest.approx(10 * math.log10(arrives / plain), abs=1e-9)


def test_a_bent_meter_stretches_the_decibels_of_the_pad():
    for bench, fault in faulty("detector", 2):
        meter = fault.of[0]
        f = bench.bands[meter][0]
        both = [PracticeReading(meter, f, path) for path in ("reference", "pad")]
        top, bottom = (shown_db(bench, r) for r in bench_of(2, bench.seed, both).sheet.readings[-2:])
        jumper = nominal_db(type("P", (), {"line": lw.line_type("RG-58C/U"), "length_m": 0.9}), f)
        assert (top - bottom) / (6.0 - jumper) == pytest.approx(fault.size, rel=0.08)


def test_readings_stand_on_the_steps_of_their_scale_and_dark_ones_below_its_first_mark():
    dark = 0
    for level, seed in SOME:
        bench = bench_of(level, seed)
        for piece in bench.sheet.pieces:
            bench = lw.take_reading(bench, "card meter", 432.1e6, piece.tag)
        for r in bench.sheet.readings:
            step = bench.sheet.meter(r.meter).division
            assert r.reading / step == pytest.approx(round(r.reading / step), abs=1e-6)
            if r.reading == 0.0:
                dark += 1
                assert (r.low, r.high) == (0.0, dial_of(made(level, seed), r.meter).first_mark)
    assert dark < 10


def test_a_slip_shows_in_its_reading_alone():
    for seed in range(20):
        bench = bench_of(1, seed)
        (fault,) = truth_of(bench).faults
        row = bench.sheet.readings[int(fault.of[0]) - 1]
        path = row.path[0] if row.path else "reference"
        again = lw.take_reading(bench, row.meter, row.frequency_hz, path).sheet.readings[-1]
        assert shown_db(bench, row) - shown_db(bench, again) == pytest.approx(fault.size, abs=0.45)


def test_a_full_sheet_takes_no_more():
    bench = bench_of(1, 1)
    while len(bench.sheet.readings) < MOST_READINGS:
        bench = lw.take_reading(bench, "desk meter", 7.1e6, "reference")
    with pytest.raises(InputError, match="40 at most"):
        lw.take_reading(bench, "desk meter", 7.1e6, "reference")
