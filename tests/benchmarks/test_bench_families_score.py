"""The judge of the families: what it counts, on cases small enough to count by hand."""

from dataclasses import replace

import numpy as np
import pytest

from bench_families import World, bench
from bench_families_score import (
    Further,
    Score,
    _at_hand,
    _in_doubt,
    _log_error,
    _named_first,
    _promise,
    _quotes,
    by_hand,
    causes_of,
)
from bench_gear import open_band
from families_tables import advice_row, auc, bins_table, clustered


def test_a_share_over_groups_and_its_error_are_those_of_a_ratio_estimate() -> None:
    # W. G. Cochran, Sampling Techniques, 3rd ed., section 2.11, from memory: 6 of 8, residuals 1, -1 and 0 over 8.
    p, se = clustered([[True] * 4, [True, False, False, True][1:3], [True, True]])
    assert p == pytest.approx(6 / 8)
    assert se == pytest.approx(np.sqrt((4 - 3) ** 2 + (0 - 1.5) ** 2 + (2 - 1.5) ** 2) / 8)


def test_ranking_every_wrong_reading_first_is_an_area_of_one_and_a_tie_a_half() -> None:
    assert auc([0.9, 0.8, 0.1], [True, True, False]) == 1.0
    assert auc([0.5, 0.5], [True, False]) == 0.5
    assert np.isnan(auc([0.1], [False]))


def test_certainty_falls_into_the_last_bin() -> None:
    assert "| 0.95 to 1 | 2 | 1.000 | 0.500 |" in bins_table([(1.0, True), (1.0, False)], "x")


def test_causes_are_found_wherever_they_stand_the_likeliest_first() -> None:
    entry = {"why": "", "causes": [{"cause": "water", "p": 0.3}, {"cause": "braid", "p": 0.6}], "cause": None}
    assert causes_of(entry) == [(0.6, "braid"), (0.3, "water")]
    assert causes_of({"cause": "decimal", "p_wrong": 0.9}) == [(0.9, "decimal")]
    assert _named_first({"why": "a bad insertion, such as a loose plug."}) == "bad insertion"


def _two_meters() -> World:
    world = next(w for w in (bench("sound", n, 3) for n in range(0, 60, 2)) if len(w.rig.instruments) >= 2)
    meters = list(world.rig.instruments)[:2]
    instruments = {m: replace(world.rig.instruments[m], scale="watts", card=()) for m in meters}
    world.rig.instruments = instruments
    read, f, tag = world.reads[0], float(world.rig.frequencies[0]), next(iter(world.rig.claims))
    values = {(meters[0], ()): 10.0, (meters[0], (tag,)): 5.0, (meters[1], ()): 20.0, (meters[1], (tag,)): 12.0}
    reads = [replace(read, meter=m, frequency_hz=f, path=p, written=v, honest=v) for (m, p), v in values.items()]
    return replace(world, reads=tuple(reads))


def _told(world: World, why: str) -> list[bool]:
    return list(_quotes(world, {"readings": [{"row": 3, "why": why}]}))


def test_a_quote_is_right_when_it_is_what_that_meter_read_or_what_that_means_here() -> None:
    world = _two_meters()
    other = list(world.rig.instruments)[1]
    assert _told(world, f"The {other} reads 12 W.") == [True]
    # 20 to 12 W is 2.2 dB; on this meter, 10 W through the reference, that is 6 W.
    assert _told(world, f"The {other} says 6.0 W (5.8 to 6.2).") == [True]
    assert _told(world, f"The {other} says 8.5 W (8.0 to 9.0).") == [False]
    assert _told(world, "Other bands say 8.5 W (8.0 to 9.0).") == []


def test_by_hand_is_the_mean_ratio_of_the_meters_with_the_jumper_added_back() -> None:
    world = _two_meters()
    f, tag = float(world.rig.frequencies[0]), next(iter(world.rig.claims))
    world.rig.in_place = "stays"
    stays = by_hand(world.rig, world.reads, tag, f)
    assert stays == pytest.approx((10 * np.log10(2) + 10 * np.log10(20 / 12)) / 2)
    world.rig.in_place = "replaced"
    assert by_hand(world.rig, world.reads, tag, f) > stays


def test_a_promise_kept_to_the_letter_is_one() -> None:
    before = {"losses": [{"piece": "a 1", "frequency_hz": 144.3e6, "loss_db_low": 2.0, "loss_db_high": 3.0}]}
    after = {"losses": [{"piece": "a 1", "frequency_hz": 144.3e6, "loss_db_low": 2.25, "loss_db_high": 2.75}]}
    why = "It should narrow the loss of a 1 at 144.3 MHz from ±0.50 dB to about ±0.25 dB."
    assert _promise(before, after, why) == [pytest.approx(1.0)]
    assert _promise(before, after, "It would tell.") == []


def test_advice_for_a_meter_that_is_not_on_the_bench_is_not_at_hand() -> None:
    world = _two_meters()
    f, tag, meter = float(world.rig.frequencies[0]), next(iter(world.rig.claims)), next(iter(world.rig.instruments))
    assert _at_hand(world.rig, {"meter": None, "frequency_hz": f, "path": tag}) is None
    assert _at_hand(world.rig, {"meter": meter, "frequency_hz": f, "path": tag}) == (meter, f, (tag,))
    assert _at_hand(world.rig, {"meter": meter, "frequency_hz": f, "path": "a second pad"}) is None


def test_a_band_that_was_not_read_opens_alike_for_advised_and_random_readings() -> None:
    one, two = (bench("out of band", 2, 3).rig for _ in range(2))
    for rig in (one, two):
        open_band(rig.source, rig.instruments, 18.1e6, 4)
    for name, meter in one.instruments.items():
        assert meter.detectors[18.1e6] == two.instruments[name].detectors[18.1e6]
        assert abs(meter.reflections[18.1e6]) in [pytest.approx(abs(g)) for g in meter.reflections.values()]
    kept = dict(one.source.reflections)
    open_band(one.source, one.instruments, 18.1e6, 5)
    assert one.source.reflections == kept


def _said(world: World, width: float, verdict: str = "good") -> dict[str, list[dict[str, object]]]:
    """Return a result that tells a tenth more than every true loss, its intervals so wide a share either way."""
    losses = [
        {"piece": tag, "frequency_hz": f, "loss_db": 1.1 * db, "loss_db_low": 1.1 * db * (1 - width),
         "loss_db_high": 1.1 * db * (1 + width)}
        for tag, piece in world.pieces.items() for f, db in piece.loss_db.items()
    ]  # fmt: skip
    return {"losses": losses, "pieces": [{"piece": tag, "verdict": verdict} for tag in world.pieces]}


def test_the_losses_left_open_are_the_wide_ones_and_those_of_pieces_it_cannot_tell() -> None:
    world = bench("sound", 0, 3)
    every = {(tag, f) for tag, piece in world.pieces.items() for f in piece.loss_db}
    assert _in_doubt(world, _said(world, 0.24)) == set()
    assert _in_doubt(world, _said(world, 0.26)) == every
    assert _in_doubt(world, _said(world, 0.24, "cannot tell")) == every
    assert _log_error(world, _said(world, 0.26), every) == pytest.approx(np.log(1.1))


def test_a_pair_has_the_same_luck_whatever_was_taken_before_and_other_luck_when_taken_again() -> None:
    world = bench("sound", 0, 3)
    meter, f = world.reads[0].meter, float(world.rig.frequencies[0])
    what, other = ((meter, f, (tag,)) for tag in list(world.rig.parts)[:2])
    one, two = Further(world, 3), Further(world, 3)
    for w in (what, what):
        one.take(w)
    for w in (other, what):
        two.take(w)
    taken = [[r.written for r in each.reads[len(world.reads) :]] for each in (one, two)]
    assert taken[0][:2] == taken[1][2:]
    assert taken[0][:2] != taken[0][2:]


def test_advice_is_worth_its_error_over_that_of_random_readings() -> None:
    scores = [
        Score("sound", False, advice={"before": 0.3, "advised": a, "random": 0.2, "taken": n})
        for a, n in ((0.1, 3), (0.2, 0))
    ]  # fmt: skip
    # Mean 0.15 over 0.2; residuals of 0.05 either way over 0.2, over the root of two.
    assert advice_row("sound", scores)[1:] == ["2", "1", "0.300", "0.150", "0.200", "0.75 (0.18)", "-"]
