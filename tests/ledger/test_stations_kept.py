"""A station in the ledger: taken in as a form, listed, changed run by run, put away, undone, written out again."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from ledger.gear import BY, NOON, sound_bench, stock_up
from linewright.core.errors import InputError, UnknownNameError
from linewright.core.nouns.ledger import ConflictError
from linewright.verbs import shelf
from linewright.verbs.plan import plan_station
from linewright.verbs.shelf import open_ledger

OLD = Path(__file__).parents[1] / "data" / "ledgers" / "first.sqlite"
HUT = """
[station]
name = "Hut"
noise = "rural"

[[part]]
name = "wall"
chain = [
  {line = "RG-58C/U", length = "2 m", name = "jumper"},
  {part = "arrestor", loss = "0.1 dB"},
]

[[run]]
name = "wire"
frequencies = ["14.2 MHz"]
power = "50 W"
chain = [
  {part = "wall"},
  {piece = "blue 7"},
]
antenna = {swr = 1.2}

[[run]]
name = "mast"
bands = "2 m"
power = "10 W"
chain = [{piece = "black 20"}]
antenna = {swr = 1.5}
"""


@pytest.fixture
def ledger(where, tmp_path):
    with open_ledger(where, at=NOON) as found:
        stock_up(found)
        (tmp_path / "hut.toml").write_text(HUT)
        shelf.file_any(found, tmp_path / "hut.toml", by=BY)
        yield found


def test_its_runs_are_listed_as_they_are_written(ledger):
    wire, mast = shelf.kept_runs(ledger).runs
    assert (wire.run, wire.frequencies, wire.power, wire.parts) == ("wire", ("14.2 MHz",), "50 W", ("wall", "blue 7"))
    assert (mast.frequencies, mast.pieces) == (("2 m",), ("black 20",))
    assert shelf.shelf_with_runs(ledger).runs == (wire, mast)


def test_a_piece_renamed_is_named_anew_in_its_run(ledger):
    shelf.rename(ledger, "blue 7", "mast foot", by=BY)
    assert shelf.kept_runs(ledger).runs[0].pieces == ("mast foot",)


def test_a_run_is_changed_field_by_field_and_the_change_undone(ledger):
    before = shelf.station_of(ledger, "Hut").run("wire")
    kept = shelf.change_run(ledger, "Wire", {"power": "5 W", "duty": 0.5}, by=BY)
    assert kept.item.version == 2
    now = shelf.station_of(ledger, "Hut").run("wire")
    assert (now.power_w, now.duty, now.chain) == (5.0, 0.5, before.chain)
    shelf.change_run(ledger, "wire", {"duty": None}, by=BY)
    assert shelf.station_of(ledger, "Hut").run("wire").duty == 1.0
    for change in shelf.changes(ledger, kind="station", most=2).changes:
        shelf.undo(ledger, change.id, by=BY)
    assert shelf.station_of(ledger, "Hut").run("wire") == before


def test_a_run_is_added_and_taken_out(ledger):
    new = {"frequencies": ["7.1 MHz"], "power": "5 W", "chain": [{"piece": "blue 7"}], "antenna": {"swr": 2}}
    shelf.change_run(ledger, "loop", new, new=True, by=BY)
    assert [r.run for r in shelf.kept_runs(ledger).runs] == ["wire", "mast", "loop"]
    shelf.change_run(ledger, "mast", None, by=BY)
    assert [r.run for r in shelf.kept_runs(ledger).runs] == ["wire", "loop"]
    with pytest.raises(InputError, match="must be new"):
        shelf.change_run(ledger, "loop", new, new=True, by=BY)


@pytest.mark.parametrize(
    ("told", "said"),
    [({"power": "fifty"}, "power"), ({"pwoer": "5 W"}, "power"), ({"chain": [{"piece": "red 9"}]}, "red 9")],
)
def test_a_change_that_breaks_a_rule_is_not_kept(ledger, told, said):
    with pytest.raises(InputError, match=said):
        shelf.change_run(ledger, "wire", told, by=BY)
    assert shelf.kept(ledger, "station", "Hut").version == 1


def test_a_station_changed_meanwhile_is_a_conflict(ledger):
    shelf.change_run(ledger, "wire", {"power": "5 W"}, expect=1, by=BY)
    with pytest.raises(ConflictError):
        shelf.change_run(ledger, "wire", {"power": "6 W"}, expect=1, by=BY)


def test_put_away_it_answers_no_more_and_comes_back(ledger):
    shelf.archive(ledger, "station", "Hut", by=BY)
    assert shelf.kept_runs(ledger).runs == ()
    with pytest.raises(InputError, match="Or bring one back"):
        shelf.the_station(ledger)
    shelf.restore(ledger, "station", "Hut", by=BY)
    assert shelf.the_station(ledger) == "Hut"


def test_written_out_and_taken_in_elsewhere_it_is_the_same_station(ledger, tmp_path):
    form = shelf.export_station(ledger, tmp_path / "form.toml")
    with open_ledger(tmp_path / "other.sqlite", at=NOON) as other:
        shelf.file_any(other, form, by=BY)
        assert (
            shelf.kept(other, "station", "Hut").body["station"] == shelf.kept(ledger, "station", "Hut").body["station"]
        )
        assert [i.key for i in shelf.all_kept(other, "piece")] == ["black 20", "blue 7"]
        assert plan_station(shelf.station_of(other, "Hut")) == plan_station(shelf.station_of(ledger, "Hut"))


def test_a_form_that_was_written_on_is_not_written_over(ledger, tmp_path):
    form = shelf.export_station(ledger, tmp_path / "form.toml")
    assert shelf.export_station(ledger, form) == form
    form.write_text(form.read_text() + "# mine\n")
    with pytest.raises(InputError, match="by hand"):
        shelf.export_station(ledger, form)


def test_taken_in_again_it_is_changed_under_its_name(ledger, tmp_path):
    form = shelf.export_station(ledger, tmp_path / "form.toml")
    form.write_text(form.read_text().replace('power = "50 W"', 'power = "25 W"'))
    shelf.file_any(ledger, form, by=BY)
    assert shelf.station_of(ledger, "Hut").run("wire").power_w == 25.0
    with pytest.raises(UnknownNameError, match="Hut has wire, mast"):
        shelf.the_station(ledger, run="loop")


def test_a_ledger_of_the_first_version_opens_with_all_it_held(tmp_path):
    """``first.sqlite`` was written by the version before this one: pieces, a session with a correction, a sweep, ..."""
    where = shutil.copy(OLD, tmp_path / "first.sqlite")
    with open_ledger(where, at=NOON) as ledger:
        kept = {kind: [i.key for i in shelf.all_kept(ledger, kind)] for kind in ("piece", "meter", "line", "station")}
        assert kept == {
            "piece": ["blue 7", "mast 20"], "meter": ["desk meter"], "line": ["club drum"], "station": ["Hut"],
        }  # fmt: skip
        assert [i.key for i in shelf.all_kept(ledger, "piece", archived=True)] == ["old 3"]
        assert len(shelf.readings_of(ledger, "2026-04-02 Spring")) == 16
        assert [e.kind for e in shelf.evidence_of(ledger, "blue 7")] == ["sheet", "sweep"]
        assert [n.body["text"] for n in shelf.notes_of(ledger, "piece", "blue 7")] == ["yellow tape at one end"]
        assert shelf.kept_runs(ledger).runs[0].pieces == ("blue 7",)
        assert len(shelf.changes(ledger, most=None).changes) == 28
        assert len(shelf.station_of(ledger, "Hut").beliefs["blue 7"].evidence) == 2


def test_a_measured_piece_flows_into_its_run(ledger):
    new = plan_station(shelf.station_of(ledger, "Hut"), run="wire").budgets[0].bands[0].matched_loss_db
    sound_bench(ledger, worse=1.6)
    worn = plan_station(shelf.station_of(ledger, "Hut"), run="wire").budgets[0].bands[0].matched_loss_db
    assert worn > new + 0.1
