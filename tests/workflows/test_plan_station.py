"""A station's plan: what was measured flows into it, and what it rests on is said."""

from __future__ import annotations

import numpy as np
import pytest

from linewright.catalogue import line_type
from linewright.core.errors import InputError, UnknownNameError
from linewright.core.nouns.plan import BandFinding, Plan
from linewright.verbs.plan import plan_station
from linewright.verbs.what_if import what_if
from workflows.stations import TEXT, station

PIECE = """
[[piece]]
tag = "grey 12"
line = "RG-213/U"
length = "12 m"
"""
MEASURED = """\
[[meter]]
name = "m"
rated = "100 MHz to 200 MHz"
division = "0.01 W"
[[piece]]
tag = "grey 12"
line = "RG-213/U"
length = "12 m"
[[attenuator]]
tag = "pad"
loss = "3 dB"
"""
WITH_PIECE = TEXT.replace('{line = "RG-213/U", length = "20 m"}', '{piece = "grey 12"}')


def _band(plan: Plan, run: str, place: int = 0) -> BandFinding:
    return next(b for b in plan.budgets if b.run == run).bands[place]


def _sheet(loss_db: float) -> str:
    """Return a sheet in which a piece loses so much, read five times over."""
    rows = [("reference", 10.0), ("grey 12", 10.0 * 10 ** (-loss_db / 10)), ("pad", 10.0 * 10**-0.3)] * 5
    readings = "".join(
        f'[[reading]]\nmeter = "m"\nfrequency = "144.3 MHz"\npath = "{path}"\nreading = {watts:.2f}\n'
        for path, watts in rows
    )
    return MEASURED + readings


def _swept(loss_db_at: dict[float, float], points: int = 201) -> str:
    """Return a two-port file of a matched line that loses by a law through two points."""
    (f1, l1), (f2, l2) = loss_db_at.items()
    k1, k2 = np.linalg.solve([[np.sqrt(f1), f1], [np.sqrt(f2), f2]], [l1, l2])
    rng = np.random.default_rng(7)
    rows = ["# MHz S RI R 50"]
    for f in np.linspace(1.0, 500.0, points):
        t = 10 ** (-(k1 * np.sqrt(f) + k2 * f) / 20) * np.exp(-2j * np.pi * f * 1e6 * 12.0 / (0.66 * 299792458.0))
        noise = 1e-4 * rng.standard_normal(8)
        values = noise + np.array([0.0, 0.0, t.real, t.imag, t.real, t.imag, 0.0, 0.0])
        rows.append(f"{f:.6f} " + " ".join(f"{v:.9f}" for v in values))
    return "\n".join(rows) + "\n"


def test_without_evidence_a_piece_is_as_new_and_that_is_said():
    plan = plan_station(station(WITH_PIECE + PIECE))
    part = next(p for p in _band(plan, "beam").parts if p.name == "grey 12")
    new = 12.0 * float(line_type("RG-213/U").law.db_per_m(144.3e6)) + 2 * 0.0017 * np.sqrt(144.3)
    assert part.matched_loss_db == pytest.approx(new, rel=0.02)
    assert any("Nothing was measured of grey 12" in said for said in plan.remarks)


def test_a_bench_reading_moves_and_narrows_the_plan():
    new = _band(plan_station(station(WITH_PIECE + PIECE)), "beam")
    text = 'evidence = ["bench.toml"]\n' + WITH_PIECE
    worn = _band(plan_station(station(text, **{"bench.toml": _sheet(2.0)})), "beam")
    assert worn.total_loss_db - new.total_loss_db == pytest.approx(2.0 - 1.0, abs=0.35)
    assert worn.power_at_antenna_w_high < new.power_at_antenna_w_low
    assert "bench" in next(p for p in worn.parts if p.name == "grey 12").basis.lower()


def test_a_piece_nobody_measured_is_judged_by_the_rest_of_its_stock():
    drum = 'length = "12 m"\nstock = "grey drum"\n'
    sheet = _sheet(2.0).replace('length = "12 m"\n', drum)
    piece = PIECE.replace("grey 12", "grey 6").replace('line = "RG-213/U"\n', "").replace('length = "12 m"\n', drum)
    text = 'evidence = ["bench.toml"]\n' + WITH_PIECE.replace("grey 12", "grey 6") + piece.replace("12 m", "6 m")
    plan = plan_station(station(text, **{"bench.toml": sheet}))
    part = next(p for p in _band(plan, "beam").parts if p.name == "grey 6")
    assert part.matched_loss_db == pytest.approx(1.0, abs=0.15)
    assert any("judged by the rest of grey drum" in said for said in plan.remarks)


def test_a_sweep_flows_into_the_plan():
    entry = '{piece = "grey 12", touchstone = "grey.s2p"}'
    text = f"evidence = [{entry}]\n" + WITH_PIECE + PIECE
    files = {"grey.s2p": _swept({50.0: 0.9, 144.3: 1.8})}
    part = next(p for p in _band(plan_station(station(text, **files)), "beam").parts if p.name == "grey 12")
    assert part.matched_loss_db == pytest.approx(1.8, abs=0.02)
    assert "grey.s2p" in part.basis


def test_a_sweep_and_a_sheet_that_disagree_are_told_apart():
    entry = '{piece = "grey 12", touchstone = "grey.s2p"}'
    text = f'evidence = ["bench.toml", {entry}]\n' + WITH_PIECE
    files = {"grey.s2p": _swept({50.0: 0.9, 144.3: 1.8}), "bench.toml": _sheet(4.0)}
    plan = plan_station(station(text, **files))
    assert any("contradict each other" in said for said in plan.remarks)


def test_two_sheets_of_a_piece_are_taken_together_whatever_their_order():
    sheets = {"old.toml": _sheet(1.9), "new.toml": _sheet(2.1)}
    alone = [
        _part(plan_station(station(f'evidence = ["{name}"]\n' + WITH_PIECE, **{name: text})))
        for name, text in sheets.items()
    ]
    low, high = sorted(p.matched_loss_db for p in alone)
    for first, second in (("old.toml", "new.toml"), ("new.toml", "old.toml")):
        plan = plan_station(station(f'evidence = ["{first}", "{second}"]\n' + WITH_PIECE, **sheets))
        assert low + 0.03 < _part(plan).matched_loss_db < high - 0.03
        assert any("taken together" in said for said in plan.remarks)


def _part(plan):
    return next(p for p in _band(plan, "beam").parts if p.name == "grey 12")


def test_a_sweep_that_does_not_reach_the_run_is_carried_on_aloud():
    entry = '{piece = "grey 12", touchstone = "grey.s2p"}'
    text = f"evidence = [{entry}]\n" + WITH_PIECE.replace("144.3 MHz", "1296 MHz") + PIECE
    plan = plan_station(station(text, **{"grey.s2p": _swept({50.0: 0.9, 144.3: 1.8})}))
    assert any("does not reach 1296 MHz" in said for said in plan.remarks)


def test_one_run_alone_is_the_same_as_among_others():
    known = station()
    alone = plan_station(known, run="Beam")
    assert [b.run for b in alone.budgets] == ["beam"]
    assert alone.budgets[0] == plan_station(known).budgets[0]


def test_an_unknown_run_names_those_there_are():
    with pytest.raises(UnknownNameError, match="Known are beam, wire"):
        plan_station(station(), run="bean")


def test_cautions_always_stand_and_nothing_is_called_safe():
    plan = plan_station(station())
    assert len(plan.cautions) >= 4
    said = " ".join([*plan.cautions, *plan.remarks, *(r for b in plan.budgets for r in b.remarks)])
    assert "is safe" not in said


def test_a_piece_in_two_runs_is_said():
    text = WITH_PIECE.replace('{line = "window line", length = "15 m"}', '{piece = "grey 12"}') + PIECE
    assert any("grey 12 lies in 2 runs" in said for said in plan_station(station(text)).remarks)


def test_changes_made_at_once_are_those_made_in_the_file():
    by_change = plan_station(station(), changes=["beam: line 2 = RG-58C/U", "beam: line 2 length = 10 m"])
    by_file = plan_station(station(TEXT.replace('"RG-213/U", length = "20 m"', '"RG-58C/U", length = "10 m"')))
    assert by_change.budgets == by_file.budgets


def test_what_if_compares_what_the_two_plans_say():
    found = what_if(station(), ["beam: line 2 = RG-58C/U"])
    (d,) = found.differences
    before, after = _band(found.before, "beam"), _band(found.after, "beam")
    assert (d.before, d.after) == (before, after)
    assert d.total_loss_db == pytest.approx(after.total_loss_db - before.total_loss_db)
    assert d.delivered_ratio == pytest.approx(10 ** ((before.total_loss_db - after.total_loss_db) / 10))
    assert d.signal_to_noise_db is not None
    assert d.signal_to_noise_db < 0
    assert found.remarks == ("Nothing changes in wire.",)


def test_what_if_a_frequency_is_added_it_has_no_before():
    found = what_if(station(), ["frequency = 144.3 MHz, 145.5 MHz"], run="beam")
    (d,) = found.differences
    assert (d.before, d.delivered_ratio) == (None, None)
    assert d.after is not None


def test_a_shortened_piece_keeps_its_belief():
    text = 'evidence = ["bench.toml"]\n' + WITH_PIECE
    found = what_if(station(text, **{"bench.toml": _sheet(2.0)}), ["beam: piece 1 length = 6 m"])
    whole, half = (
        next(p for p in x.parts if p.name == "grey 12")
        for x in (found.differences[0].before, found.differences[0].after)
        if x is not None
    )
    assert half.basis == whole.basis
    assert half.matched_loss_db == pytest.approx(0.5 * whole.matched_loss_db, rel=0.05)


def test_new_line_in_place_of_a_piece_is_as_the_catalogue_has_it_with_its_connectors():
    text = 'evidence = ["bench.toml"]\n' + WITH_PIECE
    found = what_if(station(text, **{"bench.toml": _sheet(2.0)}), ["beam: piece 1 = RG-213/U"])
    after = found.differences[0].after
    assert after is not None
    part = next(p for p in after.parts if p.name == "RG-213/U, 12 m")
    new = 12.0 * float(line_type("RG-213/U").law.db_per_m(144.3e6)) + 2 * 0.0017 * np.sqrt(144.3)
    assert part.matched_loss_db == pytest.approx(new, rel=0.02)
    assert part.basis == "catalogue, with sound connectors"
    assert not any("itself was not measured" in said for said in found.after.remarks)


def test_the_same_station_has_the_same_plan():
    assert plan_station(station()).to_dict() == plan_station(station()).to_dict()


def test_a_run_that_cannot_be_planned_is_refused():
    with pytest.raises(InputError, match=r"says nothing of 7\.1 MHz"):
        plan_station(station(), changes=["wire: frequency = 7.1 MHz"])
