"""The families of benches are what they say they are: truth and sheet agree, and a slip's record is what was done."""

from collections.abc import Iterator
from dataclasses import replace

import numpy as np
import pytest

from bench_families import FAMILIES, World, bench, catalogue_db
from bench_physics import Detector, Lump, Part, Plug, Wear, delivered, line, loss_db, series, true_loss_db, two_port
from bench_rig import Rig, read_sheet, readings_text
from human_slips import KINDS

FIFTY = sorted(set(FAMILIES) - {"75 in 50", "93 in 50", "75 marked 50", "no length"})
MHZ = np.array([1.85e6, 14.2e6, 144.3e6, 432.1e6])


def _quiet(world: World) -> Rig:
    """Return the bench with everything taken away that stands between a true loss and a ratio by hand.

    On two high bands: on short waves the reactance of the conductors takes a line's own impedance away from 50 ohm.
    """
    rig, bands = world.rig.again(5), [144.3e6, 432.1e6]
    rig.frequencies = np.array(bands)
    rig.noise_db = rig.bad_seat_p = rig.seat_ohm = rig.wander_db = 0.0
    rig.source = replace(
        rig.source,
        reflections=dict.fromkeys(bands, 0j),
        level_db=dict.fromkeys(bands, 0.0),
        warm_db=0.0,
        walk_db=0.0,
        jump_p=0.0,
        protects=False,
    )
    for name, meter in rig.instruments.items():
        plain = {f: Detector(meter.full_w) for f in bands}
        rig.instruments[name] = replace(
            meter, scale="watts", division=1e-7, detectors=plain, reflections=dict.fromkeys(bands, 0j), arc_noise=0.0
        )
    for tag, part in rig.parts.items():
        plugs = tuple(replace(plug, impedance_ohm=50.0) for plug in part.plugs)
        rig.parts[tag] = replace(part, impedance_ohm=50.0, plugs=plugs)
    rig.jumper = replace(rig.jumper, lumps=(), plugs=(Plug(), Plug()))
    return rig


@pytest.mark.parametrize("family", FIFTY)
def test_without_noise_bends_or_mismatch_the_ratio_by_hand_is_the_truth(family: str) -> None:
    for number in (0, 2):
        rig = _quiet(bench(family, number, 3))
        jumper_db = true_loss_db(rig.jumper, rig.frequencies) if rig.in_place == "replaced" else np.zeros(2)
        meter = next(iter(rig.instruments))
        for tag in rig.claims:
            truth = true_loss_db(rig.parts[tag], rig.frequencies)
            for band, f in enumerate(rig.frequencies):
                by_hand = 10 * np.log10(rig.read(meter, f, ()).written / rig.read(meter, f, (tag,)).written)
                assert by_hand + jumper_db[band] == pytest.approx(truth[band], abs=0.02 + 0.005 * truth[band])


@pytest.mark.parametrize("family", sorted(FAMILIES))
def test_the_same_seed_gives_the_same_bench_and_another_seed_another(family: str) -> None:
    one, same, other = bench(family, 3, 4), bench(family, 3, 4), bench(family, 3, 5)
    assert (one.text, one.reads, repr(one.pieces)) == (same.text, same.reads, repr(same.pieces))
    assert readings_text(list(one.reads)) != readings_text(list(other.reads))


@pytest.mark.parametrize("family", sorted(set(FAMILIES) - {"no length"}))
def test_the_product_reads_every_row_as_it_was_written(family: str) -> None:
    world = bench(family, 1, 2)
    sheet = read_sheet(world.rig, list(world.reads))
    assert [r.row for r in sheet.readings] == [number + 2 for number in range(len(world.reads))]
    for row, read in zip(sheet.readings, world.reads, strict=True):
        assert (row.meter, row.path) == (read.meter, read.path)
        assert row.reading == pytest.approx(read.written, rel=1e-5)


def _digits(value: float) -> str:
    return f"{value:.6g}".replace(".", "").strip("0")


def _slipped() -> Iterator[tuple[World, int]]:
    for family in ("sound", "many", "unmarked"):
        for number in range(1, 14, 2):
            world = bench(family, number, 6)
            yield from ((world, row) for row, read in enumerate(world.reads) if read.kind)


def test_a_slip_is_recorded_with_the_size_and_shape_it_has() -> None:
    seen = set()
    for world, row in _slipped():
        read, meter = world.reads[row], world.rig.instruments[world.reads[row].meter]
        seen.add(read.kind)
        if read.kind == "bad insertion":
            continue
        was, now = meter.watts(read.honest), meter.watts(read.written)
        if min(was, now) > 0.01 * max(was, now):
            assert read.slip_db == pytest.approx(10 * np.log10(now / was), abs=1e-9)
        if read.kind == "decimal":
            assert read.written in (pytest.approx(10 * read.honest), pytest.approx(read.honest / 10))
        elif read.kind == "digits swapped":
            assert sorted(_digits(read.written)) == sorted(_digits(read.honest))
        elif read.kind == "copied":
            assert read.written == world.reads[row - 1].written
        elif read.kind == "rows swapped":
            assert read.written in [world.reads[near].honest for near in (row - 1, row + 1) if near < len(world.reads)]
    assert seen >= set(KINDS)


@pytest.mark.parametrize("family", sorted(FAMILIES))
def test_a_row_without_a_slip_is_as_it_was_read_and_even_numbers_have_no_slips(family: str) -> None:
    for number in range(2):
        for read in bench(family, number, 8).reads:
            if not read.kind:
                assert (read.written, read.slip_db) == (read.honest, 0.0)
            assert number % 2 or read.kind in ("", "bad insertion")


def test_a_lossy_piece_makes_the_swr_at_the_radio_smaller_than_the_jumper_does() -> None:
    for number in range(4):
        world = bench("poor load", number, 3)
        assert all(read.swr is not None and read.swr >= 1 for read in world.reads)
        for tag, truth in world.pieces.items():
            for f, loss in truth.inserted_db.items():
                if loss > 6:
                    through = [r.swr for r in world.reads if r.path == (tag,) and r.frequency_hz == f]
                    straight = [r.swr for r in world.reads if not r.path and r.frequency_hz == f]
                    assert np.mean(through) < np.mean(straight) or np.mean(straight) < 1.4


def test_a_right_claim_of_a_piece_as_the_catalogue_says_has_ratio_one() -> None:
    part = Part("a", "RG-213/U", 12.0, 50.0, 0.66)
    assert true_loss_db(part, MHZ) == pytest.approx(catalogue_db("RG-213/U", 12.0, MHZ), rel=1e-9)


def test_wear_multiplies_what_it_names() -> None:
    new, worn = Part("a", "RG-58C/U", 10.0, plugs=(Plug(heat_db=0), Plug(heat_db=0))), Wear().scaled(2.0)
    assert true_loss_db(replace(new, wear=worn), MHZ) == pytest.approx(2 * true_loss_db(new, MHZ))


def test_a_lossless_quarter_wave_of_75_ohm_costs_what_its_formula_says() -> None:
    # Input impedance Z0² / R (Pozar, eq. 2.61): 112.5 ohm on 50, |Γ| = 62.5 / 162.5.
    f = np.array([50e6])
    matrix = line(f, 2.998e8 * 0.66 / 50e6 / 4, 75.0, 0.66, (np.zeros(1), np.zeros(1)))
    assert loss_db(matrix)[0] == pytest.approx(-10 * np.log10(1 - (62.5 / 162.5) ** 2), abs=1e-4)
    assert loss_db(matrix, 75.0)[0] == pytest.approx(0.0, abs=1e-9)


@pytest.mark.parametrize("ohm", [3.0, 50.0, 60j, -440j])
def test_a_series_element_between_matched_ends_loses_by_the_book(ohm: complex) -> None:
    assert loss_db(series(np.array([ohm + 0j])))[0] == pytest.approx(20 * np.log10(abs(1 + ohm / 100)))


def test_mismatch_of_swr_1_5_on_1_2_lies_within_the_published_limits() -> None:
    # Limits +0.1565 and -0.1594 dB: a power sensor's manual, see docs of mismatch uncertainty.
    source, load, phases = 0.2, 0.2 / 2.2, np.exp(1j * np.linspace(0, 2 * np.pi, 721))
    straight = np.tile(np.eye(2, dtype=complex), (721, 1, 1))
    db = 10 * np.log10(delivered(straight, source * phases, np.full(721, load + 0j)) / (1 - load**2))
    assert db.max() == pytest.approx(0.1594, abs=2e-4)
    assert db.min() == pytest.approx(-0.1565, abs=2e-4)


def test_a_detector_without_a_knee_has_the_exponent_it_is_told() -> None:
    detector = Detector(10.0, exponent=1.2)
    assert 10 * np.log10(detector.shown_w(5.0) / detector.shown_w(2.5)) == pytest.approx(1.2 * 10 * np.log10(2))


def test_an_open_conductor_falls_with_frequency_and_a_resistive_joint_does_not() -> None:
    bare = Part("a", "RG-213/U", 5.0, plugs=(Plug(heat_db=0), Plug(heat_db=0)))
    extra = {}
    for lump in (Lump("series C", 200e-12), Lump("series R", 20.0)):
        extra[lump.kind] = true_loss_db(replace(bare, lumps=(lump,)), MHZ) - true_loss_db(bare, MHZ)
    assert np.all(np.diff(extra["series C"]) < 0)
    assert extra["series R"] == pytest.approx(np.full(4, 20 * np.log10(1.2)))


def test_a_pad_of_3_db_loses_3_db_and_reflects_nothing() -> None:
    pad = Part("pad", pad_db=3.0, plugs=(Plug(50, 0), Plug(50, 0)))
    assert loss_db(two_port(pad, MHZ)) == pytest.approx(np.full(4, 3.0), abs=1e-6)
