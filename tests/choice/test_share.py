"""Who gets which piece, and why."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from linewright.catalogue import line_type
from linewright.catalogue.belief import catalogue_belief
from linewright.choice.share import (
    Neighbour,
    SharingQuestion,
    _may_go,
    _ohm,
    _where_it_differs,
    joint_db,
    share_pieces,
    worth_of,
)
from linewright.core.errors import InputError
from linewright.core.nouns.bench import Piece
from linewright.core.nouns.choice import Need, Offer


def shelf(*pieces):
    """Return beliefs of pieces written as (tag, type, length, times what the type loses)."""
    out = {}
    for i, (tag, kind, length, times) in enumerate(pieces):
        belief = catalogue_belief(Piece(tag, length, line_type(kind)), seed=i)
        out[tag] = type(belief)(
            belief.piece, belief.law, belief.growth * times, belief.wet, belief.departure,
            belief.connector_db_per_sqrt_mhz, belief.joint_db, belief.joint_db_per_sqrt_mhz,
        )  # fmt: skip
    return out


HF, UHF = Need("HF wire", 12.0, (7.1e6, 14.2e6)), Need("70 cm", 12.0, (432e6,))
THIN_AND_THICK = shelf(("thin", "RG-58C/U", 13.0, 1.0), ("thick", "RG-213/U", 13.0, 1.0))


def test_the_better_cable_goes_where_loss_is_dear():
    shared = share_pieces(SharingQuestion((HF, UHF), THIN_AND_THICK))
    assert [run.pieces for run in shared.fed] == [("thin",), ("thick",)]
    assert shared.gap_db == pytest.approx(0.0, abs=1e-4)
    assert shared.left_over == ()


def test_the_reason_names_the_next_best_and_what_it_costs():
    shared = share_pieces(SharingQuestion((HF, UHF), THIN_AND_THICK))
    assert (
        "thick on HF wire and thin on 70 cm" in shared.fed[1].why
        or "thin on 70 cm and thick on HF wire" in shared.fed[1].why
    )


def test_weight_moves_the_better_cable():
    heavy = Need("HF wire", 12.0, (28e6,), weight=50.0)
    shared = share_pieces(SharingQuestion((heavy, UHF), THIN_AND_THICK))
    assert shared.fed[0].pieces == ("thick",)


def test_short_pieces_are_joined_and_the_joint_is_counted():
    pieces = shelf(("a", "RG-213/U", 8.0, 1.0), ("b", "RG-213/U", 7.0, 1.0))
    (run,) = share_pieces(SharingQuestion((UHF,), pieces)).fed
    assert set(run.pieces) == {"a", "b"}
    assert (run.joints, run.spare_m) == (1, pytest.approx(3.0))
    cable = 15.0 * float(line_type("RG-213/U").law.db_per_m(432e6))
    assert run.losses[0].loss_db == pytest.approx(cable + 0.0017 * np.sqrt(432), rel=0.02)


def test_what_is_missing_is_bought_within_the_budget():
    offers = (Offer(line_type("RG-213/U"), 2.0, 3.0, "EUR"),)
    shared = share_pieces(SharingQuestion((HF, UHF), shelf(("thin", "RG-58C/U", 13.0, 1.0)), offers, budget=30.0))
    assert shared.fed[1].bought.line == "RG-213/U"
    assert shared.fed[1].bought.price == pytest.approx(30.0)
    assert shared.price <= 30.0


def test_a_run_that_cannot_be_fed_is_said_by_how_much():
    shared = share_pieces(SharingQuestion((Need("far", 40.0, (14e6,)),), THIN_AND_THICK, most=1))
    assert shared.fed[0].short_m == pytest.approx(27.0)
    assert "far by 27 m" in shared.remarks[0]


def test_another_impedance_is_not_used():
    shared = share_pieces(SharingQuestion((UHF,), shelf(("tv", "RG-6/U", 20.0, 1.0))))
    assert shared.fed[0].pieces == ()
    assert any("impedance" in r for r in shared.remarks)


def test_a_measurement_that_may_change_the_plan_is_named():
    doubtful = shelf(("known", "RG-213/U", 13.0, 1.0), ("doubtful", "RG-213/U", 13.0, 1.05))
    wide = doubtful["doubtful"]
    spread = np.exp(0.5 * np.random.default_rng(0).standard_normal(wide.draws))
    doubtful["doubtful"] = type(wide)(
        wide.piece, wide.law, spread, wide.wet, wide.departure, wide.connector_db_per_sqrt_mhz, wide.joint_db,
        wide.joint_db_per_sqrt_mhz,
    )  # fmt: skip
    shared = share_pieces(SharingQuestion((HF, UHF), doubtful))
    assert shared.worth[0].piece == "doubtful"
    assert shared.worth[0].gain_db > 0.05


def test_nothing_to_feed_is_an_error_with_its_cure():
    with pytest.raises(InputError, match="at least one run"):
        share_pieces(SharingQuestion((), THIN_AND_THICK))


def test_the_document_has_its_schema():
    document = share_pieces(SharingQuestion((UHF,), THIN_AND_THICK)).to_dict()
    assert document["schema"] == "linewright/share/1"
    assert document["fed"][0]["losses"][0]["frequency_hz"] == 432e6


def test_a_bought_section_is_known_no_better_than_its_type():
    offers = (Offer(line_type("RG-213/U"), 2.0, 3.0, "EUR"),)
    (run,) = share_pieces(SharingQuestion((UHF,), {}, offers, budget=60.0)).fed
    loss, spread = run.losses[0], line_type("RG-213/U").law.spread
    cable = 12.0 * float(line_type("RG-213/U").law.db_per_m(432e6))
    assert loss.loss_db_high - loss.loss_db_low == pytest.approx(2 * 1.96 * spread * cable, rel=0.1)


@pytest.mark.parametrize(("more_db", "worth"), [(0.5, True), (2.9, True), (3.1, False)])
def test_a_plan_more_than_three_decibels_behind_is_not_measured_for(more_db, worth):
    """A piece that loses 5 dB more or less than is believed could make up for either."""
    doubt = np.linspace(-9.0, 9.0, 201)
    draws = np.stack([10.0 + doubt, np.full(201, 10.0 + more_db)])[:, None, :]
    found = worth_of([Neighbour(0, 1, 0, None, more_db)], draws, ["laid", "spare"])
    assert [w.piece for w in found] == (["laid"] if worth else [])


def test_what_two_pieces_have_in_common_is_no_reason_to_measure_one():
    """Both lose the same more or less: the one that is laid stays ahead by half a decibel, whatever is measured."""
    doubt = np.linspace(-9.0, 9.0, 201)
    draws = np.stack([10.0 + doubt, 10.5 + doubt])[:, None, :]
    assert worth_of([Neighbour(0, 1, 0, None, 0.5)], draws, ["laid", "spare"]) == ()


def test_what_a_measurement_is_worth_is_said_to_two_decimals():
    draws = np.stack([np.array([8.0, 10.0, 12.75]), np.full(3, 10.5)])[:, None, :]
    (worth,) = worth_of([Neighbour(0, 1, 0, None, 0.25)], draws, ["laid", "spare"])
    assert (worth.gain_db, worth.p_change) == pytest.approx((0.75, 1 / 3))
    assert worth.why == (
        "An exact measurement of laid would change the plan with probability 0.33 and gain 0.75 weighted dB on average."
    )


def test_a_run_that_counts_for_nothing_may_be_fed_and_a_negative_weight_may_not():
    shared = share_pieces(SharingQuestion((Need("spare", 12.0, (28e6,), weight=0.0), UHF), THIN_AND_THICK))
    assert shared.fed[1].pieces == ("thick",)
    with pytest.raises(InputError, match="must not be negative; got -1 for spare"):
        share_pieces(SharingQuestion((Need("spare", 12.0, (28e6,), weight=-1.0),), THIN_AND_THICK))


def test_prices_of_two_currencies_are_not_added_up():
    offers = (Offer(line_type("RG-213/U"), 2.0, 3.0, "EUR"), Offer(line_type("RG-58C/U"), 1.0, 3.0, "USD"))
    with pytest.raises(InputError, match="must be one for all prices; got EUR, USD"):
        share_pieces(SharingQuestion((UHF,), {}, offers, budget=60.0))


@pytest.mark.parametrize(("joints", "laid"), [(1.9, "on hand"), (2.1, "new")])
def test_a_bought_section_is_charged_its_two_connectors(joints, laid):
    """A piece that loses more than the new line and two of its connectors makes room for it."""
    offer = Offer(line_type("RG-213/U"), 2.0, 3.0, "EUR")
    at = np.array(UHF.frequencies_hz)
    new_db = 12.0 * float(offer.line.law.db_per_m(at).mean()) + joints * float(joint_db(at).mean())
    (belief,) = shelf(("on hand", "RG-213/U", 12.0, 1.0)).values()
    exact = replace(belief, growth=belief.growth * (new_db / belief.loss_db(at).mean()))
    assert exact.loss_db(at).mean() == pytest.approx(new_db)
    (run,) = share_pieces(SharingQuestion((UHF,), {"on hand": exact}, (offer,), budget=60.0)).fed
    assert ("new" if run.bought else "on hand") == laid


def test_the_working_of_a_run_lists_what_its_loss_is_made_of():
    offers = (Offer(line_type("RG-213/U"), 2.0, 3.0, "EUR"),)
    pieces = shelf(("thin", "RG-58C/U", 13.0, 1.0))
    shared = share_pieces(SharingQuestion((HF, UHF), pieces, offers, budget=30.0))
    by_key = {w.key: dict(w.inputs) for w in shared.workings}
    laid = by_key["loss", "HF wire", 14.2e6]
    assert laid["thin"] == f"{np.median(pieces['thin'].loss_db(14.2e6)):.3f} dB"
    new, joint = by_key["loss", "70 cm", 432e6], float(joint_db(432e6))
    length = shared.fed[1].bought.length_m
    assert new["its two connectors"] == f"{2 * joint:.3f} dB"
    assert new["joints"] == f"0, {joint:.3f} dB each"
    assert f"{length * float(line_type('RG-213/U').law.db_per_m(432e6)):.3f} dB" in new.values()
    assert new["90th percentile"] == f"{shared.fed[1].losses[0].loss_db_90:.3f} dB"


@pytest.mark.parametrize(("ohm", "goes"), [(50.0, True), (45.0, True), (55.0, True), (44.9, False), (55.1, False)])
def test_a_piece_within_five_ohms_of_what_a_run_asks_for_may_go_there(ohm, goes):
    assert _may_go(ohm, HF) is goes


def test_a_piece_of_unknown_type_is_taken_for_one_of_50_ohm():
    tv = catalogue_belief(Piece("tv", 10.0, line_type("RG-59")))
    assert _ohm(tv) == 75.0
    assert _ohm(replace(tv, piece=Piece("grey", 10.0, None))) == 50.0


@pytest.mark.parametrize(("moved", "bought", "runs"), [(False, False, []), (True, False, [0, 1]), (False, True, [1])])
def test_a_wary_plan_is_shown_for_the_runs_that_it_feeds_otherwise(monkeypatch, moved, bought, runs):
    """Thin goes to the first run, thick to the second; moved the other way round, or with a line bought besides."""
    takes, buys = np.eye(2, dtype=bool), np.zeros((1, 2), dtype=bool)
    other = buys.copy()
    other[0, 1] = bought
    best = SimpleNamespace(takes=takes, buys=buys)
    wary = SimpleNamespace(takes=takes[::-1] if moved else takes, buys=other)
    monkeypatch.setattr("linewright.choice.share._fed", lambda question, found, j, near, tags: j)
    assert list(_where_it_differs(SharingQuestion((HF, UHF), THIN_AND_THICK), best, wary, ("thin", "thick"))) == runs
