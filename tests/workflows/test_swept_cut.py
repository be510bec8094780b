"""A station's ``cut`` goes by the velocity factor that the piece showed on its sweep."""

from __future__ import annotations

from datetime import date

import pytest

import linewright as lw
from evidence.made_sweeps import C_M_PER_S, Made
from linewright.present.compose.plan import cuts
from linewright.verbs.shelf import add, file_sweep, open_ledger
from linewright.verbs.shelf_filing import keep_station
from linewright.verbs.shelf_stations import station_of
from linewright.verbs.through import kept_piece_behind

SLOW = Made(k1_db=0.2, length_m=10.0, velocity_factor=0.62, points=201, stop_hz=300e6)
STATION = """
[station]
name = "Harbour Ridge"
[[run]]
name = "stub"
frequencies = ["14.1 MHz"]
power = "5 W"
chain = [{piece = "slow", cut = "half wave"}]
antenna = {swr = 1.5}
"""
EVIDENCE = '[[piece]]\ntag = "slow"\nline = "RG-58C/U"\nlength = "10 m"\n'


@pytest.fixture
def folder(tmp_path):
    (tmp_path / "slow.s2p").write_text("", encoding="utf-8")
    lw.write_touchstone(SLOW.through(), tmp_path / "slow.s2p")
    return tmp_path


def of_the_line(station):
    (budget,) = lw.plan_station(station).budgets
    return lw.plan_station(station), budget.bands[0].parts[0]


def test_a_file_with_the_sweep_as_evidence_is_cut_by_it(folder):
    evidence = 'evidence = [{piece = "slow", touchstone = "slow.s2p"}]\n'
    text = STATION.replace("antenna =", f"{evidence}antenna =") + EVIDENCE
    (folder / "s.toml").write_text(text, encoding="utf-8")
    plan, part = of_the_line(lw.read_station(folder / "s.toml"))
    half_m = 0.5 * 0.62 * C_M_PER_S / 14.1e6
    assert part.velocity_swept
    assert part.velocity_factor == pytest.approx(0.62, rel=0.006)
    assert min(abs(c - n * half_m) / c for c in part.cut_m for n in (1, 2)) < 0.012
    said = " ".join(cuts(plan).notes)
    assert "from its own sweep" in said
    assert "of the type" not in said
    (long,) = [w for w in plan.budgets[0].workings if w.key[0] == "part length"]
    assert "by its sweep" in str(long.inputs)


def test_a_kept_run_and_a_look_through_it_go_by_the_sweep_too(folder):
    (folder / "s.toml").write_text(STATION, encoding="utf-8")
    with open_ledger(str(folder / "ledger.sqlite")) as ledger:
        add(ledger, "piece", {"tag": "slow", "line": "RG-58C/U", "length": "10 m"})
        keep_station(ledger, folder / "s.toml")
        before = of_the_line(station_of(ledger, "Harbour Ridge"))[1]
        assert not before.velocity_swept
        assert before.velocity_factor == 0.66
        file_sweep(ledger, folder / "slow.s2p", "slow", on=date(2026, 4, 1))
        after = of_the_line(station_of(ledger, "Harbour Ridge"))[1]
        assert after.velocity_factor == pytest.approx(0.62, rel=0.006)
        assert after.electrical_length_deg == pytest.approx(before.electrical_length_deg * 0.66 / after.velocity_factor)
        assert kept_piece_behind(ledger, "slow").velocity_factor == pytest.approx(0.62, rel=0.006)
