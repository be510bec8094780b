"""What a person works out from one meter alone, and how uncertain that is; and what a meter is trusted with."""

from __future__ import annotations

from dataclasses import replace
from math import log10, sqrt
from types import SimpleNamespace

import numpy as np
import pytest

from evidence.benches import BLUE_7, DESK, sheet_of
from linewright.core.formulas.mismatch import mismatch_uncertainty_db, reflection_from_swr
from linewright.core.nouns.bench import Meter, Piece, Reading, Reference
from linewright.core.quantities import SPEED_OF_LIGHT_M_PER_S
from linewright.inference.bench import remarks
from linewright.inference.bench.by_hand import by_hand
from linewright.inference.bench.causes import doubted_claim, worst_hz
from linewright.inference.bench.design import _levels, jumper_connectors_db, jumper_db, lay_out
from linewright.inference.bench.noise import Noise
from linewright.inference.bench.observations import Block, _observe, blocks_of, level_db
from linewright.inference.bench.pieces import _as_observation
from linewright.inference.bench.trust import Exponent, _judge, _say
from linewright.inference.priors import DEFAULT
from linewright.present.compose.bench_workings import _exponent

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


def likeness(length_m, frequency_hz, **reference):
    """Return how alike the mismatch of the jumper and of a piece of a length is: a correlation."""
    piece = replace(BLUE_7, length_m=length_m)
    sheet = sheet_of(
        [(DESK, frequency_hz, path, watts) for path, watts in (("reference", 10.0), (piece.tag, 9.0))],
        pieces=[piece],
        reference=Reference(piece.line, 1.0, **reference),
    )
    lay = lay_out(sheet, blocks_of(sheet), DEFAULT)
    cell_db = np.zeros(len(lay.cells.fixed))
    quiet = replace(DEFAULT, noise_db=0.0, drift_db=0.0, line_reflection=0.0, plug_reflection=0.0)
    ((scaled, _),) = Noise(lay, quiet).parts(cell_db, np.zeros(lay.n)).stacks
    sd = Noise(lay, quiet).mismatch_db(cell_db)
    return float(scaled[0, 0, 1] / (sd[0] * sd[1]))


def test_two_paths_are_mismatched_alike_as_far_as_their_echoes_turn_alike():
    """An echo turns by 4π f l/v there and back: an eighth of a wave more is a quarter turn, a quarter wave a half."""
    wave_m = BLUE_7.line.velocity_factor * SPEED_OF_LIGHT_M_PER_S / 14.2e6
    assert likeness(1.0, 14.2e6) == pytest.approx(1.0, abs=0.002)
    assert likeness(1.0 + wave_m / 8, 14.2e6) == pytest.approx(0.0, abs=1e-9)
    assert likeness(1.0 + wave_m / 4, 14.2e6) == pytest.approx(-1.0, abs=0.03)
    assert likeness(wave_m / 4, 14.2e6, in_place="stays") == pytest.approx(-1.0, abs=0.03)


def test_an_electrical_length_known_to_four_parts_in_a_hundred_leaves_short_waves_unlike():
    for metres in (3.0, 7.0, 18.0):
        jumper, piece = (4 * np.pi * 432e6 * m / (0.66 * SPEED_OF_LIGHT_M_PER_S) for m in (1.0, metres))
        known = np.exp(-0.5 * 0.04**2 * (jumper**2 + piece**2))
        assert likeness(metres, 432e6) == pytest.approx(np.cos(piece - jumper) * known, abs=1e-6)
    assert abs(likeness(18.0, 432e6)) < 1e-3


@pytest.mark.parametrize(("wrong", "trust"), [(0.0, "good"), (0.39, "good"), (0.4, "doubtful"), (0.6, "doubtful")])
def test_a_meter_of_whose_readings_two_in_five_do_not_fit_is_doubtful(wrong, trust):
    (block,) = blocks_of(sheet_of(ROWS))
    true = Exponent(np.zeros(100), 0.98, 1.0, 1.02, 0.01)
    assert _say(true, True, block, wrong)[0] == trust


@pytest.mark.parametrize(
    ("rows", "wrong", "trust"), [(5, 1, "good"), (5, 2, "doubtful"), (2, 1, "doubtful"), (9, 3, "good")]
)
def test_a_meter_is_judged_by_the_share_of_its_readings_that_do_not_fit(rows, wrong, trust):
    seen = tuple(SimpleNamespace(p_wrong=0.9 if i < wrong else 0.1) for i in range(rows))
    block = Block(DESK, 14.2e6, [SimpleNamespace(rows=[i], bottom=True) for i in range(rows)])
    post = SimpleNamespace(priors=DEFAULT)
    assert _judge(post, block, Exponent(np.zeros(100), 0.98, 1.0, 1.02, 0.01), seen).trust == trust


def test_a_division_that_zero_is_off_moves_a_level_by_what_it_is_of_the_reading():
    """0.1 of 5 is 2 %: 0.087 dB of watts and 0.174 dB of volts."""
    reading = Reading(2, "m", 14.2e6, ("blue 7",), 5.0)
    for scale, per_relative in (("watts", 10 / np.log(10)), ("volts", 20 / np.log(10))):
        found = _observe(Meter("m", scale, 0.1), reading, 0.1, 0, 0.0)
        assert found.zero_effect_db == pytest.approx(per_relative * 0.1 / 5.0, rel=0.02)


def test_a_carrier_of_ten_watts_is_thought_to_read_so_within_its_band_and_twice_as_loosely_beyond():
    rows = [(DESK, 14.2e6, "blue 7", 9.0), (DESK, 144.3e6, "blue 7", 8.0)]
    lay = lay_out(sheet_of(rows), blocks_of(sheet_of(rows)), DEFAULT)
    mean, spread = _levels(lay, DEFAULT)
    assert mean == pytest.approx([10.0, 10.0])
    assert spread == pytest.approx([DEFAULT.level_db, 2.0 * DEFAULT.level_db])


def test_a_loss_told_sharply_is_an_observation_of_just_that():
    grid = np.geomspace(0.5, 8.0, 4001)
    for prior_sd in (0.3, 1.0):
        said = SimpleNamespace(grid_db=grid, log_likelihood=-0.5 * (np.log(grid / 2.5) / 0.02) ** 2, mean_db=0, sd_db=0)
        assert _as_observation(said, np.log(2.0), prior_sd) == pytest.approx((2.5, 0.05), rel=0.02)


def test_a_piece_as_new_is_looked_at_on_its_highest_band():
    new = SimpleNamespace(
        piece=BLUE_7, law=BLUE_7.line.law, draws=3, growth=np.ones(3), wet=np.ones(3), joint_db=np.zeros(3),
        joint_db_per_sqrt_mhz=np.zeros(3), faults=(),
    )  # fmt: skip
    assert worst_hz(new, [14.2e6, 432.1e6, 144.3e6]) == 432.1e6


@pytest.mark.parametrize(
    ("shown", "watts"), [(5, 0.5), (10, 1.0), (15, 1.5), (20, 2.0), (30, 6.75), (40, 16.0), (80, 128.0)]
)
def test_a_card_is_followed_from_point_to_point_and_on_beyond_its_ends(shown, watts):
    """In proportion up to 20, by the third power from there on."""
    meter = Meter("m", "card", card=((10.0, 1.0), (20.0, 2.0), (40.0, 16.0)))
    assert level_db(meter, shown) == pytest.approx(10 * log10(watts))


@pytest.mark.parametrize(("scale", "shown"), [("dBm", 40.0), ("watts", 10.0), ("milliwatts", 10_000.0), ("dB", 10.0)])
def test_ten_watts_are_ten_decibels_above_one_on_every_scale(scale, shown):
    assert level_db(Meter("m", scale), shown) == pytest.approx(10.0)


@pytest.mark.parametrize(("meters", "pads", "said"), [(("desk",), (), True), (("desk", "pocket"), (), False),
                                                     (("desk",), ("pad",), False)])  # fmt: skip
def test_one_meter_without_an_attenuator_is_said_to_be_assumed_linear(meters, pads, said):
    blocks = [SimpleNamespace(frequency_hz=f, meter=SimpleNamespace(name=m), direct=False) for f, m in
              zip((14.2e6, 144.3e6), meters * 2, strict=False)]  # fmt: skip
    lay = SimpleNamespace(blocks=blocks, attenuators=pads, strands=SimpleNamespace(piece=np.zeros(1)))
    assert any("One meter" in words for words in remarks._coverage(SimpleNamespace(lay=lay))) is said


@pytest.mark.parametrize(
    ("rows", "said"),
    [([((), 1.1), ((), 1.3), (("blue 7",), 1.2)], "at 1.3 the load"), ([((), 1.1)], ""), ([(("blue 7",), 1.2)], ""),
     ([((), None), (("blue 7",), None)], "")],
)  # fmt: skip
def test_an_swr_beside_the_power_is_said_to_tell_nothing_of_a_good_load(monkeypatch, rows, said):
    monkeypatch.setattr(remarks, "beside", lambda sheet: [])
    sheet = SimpleNamespace(readings=[SimpleNamespace(path=path, swr=swr) for path, swr in rows])
    found = remarks._beside(sheet)
    assert len(found) == bool(said)
    assert said in " ".join(found)


def test_a_short_piece_that_loses_what_its_line_and_its_plugs_should_is_what_it_is_said_to_be():
    """Of half a metre of thin cable the plugs take a third of the loss; with three fifths missing it is not that."""
    f = np.array([3.6e6, 14.2e6, 50.1e6, 144.3e6])
    piece = Piece("stub", 0.5, BLUE_7.line, 2)
    new_db = 0.5 * BLUE_7.line.law.db_per_m(f) + 2 * DEFAULT.connector_db_per_sqrt_mhz * np.sqrt(f / 1e6)
    around = 0.03 * np.random.default_rng(4).standard_normal((400, 4))
    assert doubted_claim(piece, f, np.log(new_db) + around, DEFAULT).found == []
    assert doubted_claim(piece, f, np.log(0.4 * new_db) + around, DEFAULT).found != []


def test_the_working_of_an_exponent_is_known_by_its_meter_and_band():
    told = SimpleNamespace(meter="desk", frequency_hz=14.2e6, exponent=1.02, exponent_low=0.98, exponent_high=1.06)
    working = _exponent(told)
    assert working.key == ("exponent", "desk", 14.2e6)
    assert "1.02 (0.98 to 1.06)" in working.figure
