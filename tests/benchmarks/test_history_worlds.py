"""The made-up stations are what they say they are."""

from datetime import timedelta
from functools import cache

import numpy as np
import pytest

from bench_physics import true_loss_db
from history_worlds import KINDS, NEWCOMER, PIECE_KINDS, TODAY, PieceLife, Station, station

F = 144.3e6
NUMBERS = range(3)
_drawn = cache(station)


def _lives(kind: str) -> list[tuple[Station, PieceLife]]:
    worlds = [_drawn(kind, number, 4) for number in NUMBERS]
    return [(world, life) for world in worlds for life in world.pieces.values() if life.kind == kind]


@pytest.mark.parametrize("kind", KINDS)
def test_the_same_seed_gives_the_same_station(kind: str) -> None:
    one, same = _drawn(kind, 1, 4), station(kind, 1, 4)
    assert [s.reads for s in one.sessions] == [s.reads for s in same.sessions]
    assert [s.text for s in one.sweeps] == [s.text for s in same.sweeps]
    assert one.sessions[0].reads != _drawn(kind, 2, 4).sessions[0].reads


@pytest.mark.parametrize("kind", KINDS)
def test_sessions_are_in_the_order_of_their_days_and_the_last_holds_every_piece(kind: str) -> None:
    for number in NUMBERS:
        world = _drawn(kind, number, 4)
        days = [session.day for session in world.sessions]
        assert days == sorted(days)
        assert days[-1] == TODAY - timedelta(days=round(365.25 * world.stale_years))
        assert set(world.sessions[-1].rig.claims) == set(world.pieces)


def test_a_steady_or_bought_piece_never_changes() -> None:
    for kind in ("steady", "bought"):
        for world, life in _lives(kind):
            assert world.loss_db(life.claim.tag, F, 7.0) == world.loss_db(life.claim.tag, F)


def test_an_ageing_piece_loses_more_every_year_also_after_its_last_test() -> None:
    for world, life in _lives("ageing"):
        losses = [world.loss_db(life.claim.tag, F, years) for years in (3.0, 2.0, 1.0, 0.0)]
        assert np.all(np.diff(losses) > 0)


@pytest.mark.parametrize(("kind", "sign"), [("stepped", 1), ("reterminated", -1)])
def test_a_step_falls_between_the_first_session_and_the_last(kind: str, sign: int) -> None:
    for world, life in _lives(kind):
        first, last = world.sessions[0].years_ago, world.sessions[-1].years_ago
        assert last < life.changed_at < first
        change = world.loss_db(life.claim.tag, F, last) - world.loss_db(life.claim.tag, F, first)
        assert sign * change > 0


def test_a_wet_piece_grows_in_its_dielectric_more_at_uhf() -> None:
    for world, life in _lives("wet"):
        tag, first = life.claim.tag, world.sessions[0].years_ago
        low, high = (world.loss_db(tag, f) / world.loss_db(tag, f, first) for f in (14.2e6, 432.1e6))
        assert high > low >= 1


def test_truth_of_a_swapped_tag_is_that_of_the_piece_in_hand_and_one_session_read_another() -> None:
    for world, life in _lives("swapped"):
        wrong = [session for session in world.sessions if life.claim.tag in session.really]
        assert len(wrong) <= 1
        for session in wrong:
            assert session.rig.parts[life.claim.tag] == session.really[life.claim.tag]
            assert session.really[life.claim.tag] != life.at(session.years_ago)
            own = float(true_loss_db(life.at(0.0), np.array([F]))[0])
            assert world.loss_db(life.claim.tag, F) == own


def test_a_bent_meter_is_bent_by_a_fifth_at_least_in_every_session_and_has_pads_in_all_but_the_last() -> None:
    for number in NUMBERS:
        world = _drawn("bent meter", number, 4)
        (name, factor), *_ = world.bent.items()
        assert abs(np.log(factor)) > np.log(1.2) - 1e-9
        assert all(name in session.rig.instruments for session in world.sessions)
        assert [bool(session.rig.pads) for session in world.sessions] == [True] * (len(world.sessions) - 1) + [False]


def test_a_newcomer_is_read_once_with_the_meter_in_question_alone_and_never_swept() -> None:
    for kind in ("bent meter", "dropped meter", "drifting meter"):
        for number in NUMBERS:
            world = _drawn(kind, number, 4)
            (tag,) = (tag for tag, life in world.pieces.items() if life.kind == NEWCOMER)
            assert [tag in session.rig.claims for session in world.sessions].count(True) == 1
            assert len(world.sessions[-1].rig.instruments) == 1
            assert tag not in {sweep.tag for sweep in world.sweeps}


def test_a_kind_of_piece_is_in_every_station_of_that_kind() -> None:
    for kind in PIECE_KINDS:
        assert {world.number for world, _ in _lives(kind)} == set(NUMBERS)
