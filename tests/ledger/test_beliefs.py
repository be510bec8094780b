"""What the shelf believes of its pieces, and for how long it remembers."""

from __future__ import annotations

import threading
import weakref
from dataclasses import replace
from datetime import UTC, date, datetime
from pathlib import Path

import numpy as np
import pytest

from ledger.gear import BLUE, BY, reading, sound_bench, stock_up, sweep_bytes
from linewright.core.errors import InputError
from linewright.core.nouns.shelf import SessionPlan
from linewright.files.sheet import read_bench_sheet
from linewright.inference.bench.pieces import beliefs_of
from linewright.verbs import shelf, shelf_beliefs, shelf_evidence
from linewright.verbs.plan import plan_station
from linewright.verbs.prove import prove_cable
from linewright.verbs.shelf import By, open_ledger
from linewright.verbs.shelf_beliefs import Marks
from linewright.verbs.shelf_evidence import Shelved, once

DEMO = Path(__file__).parents[2] / "src" / "linewright" / "verbs" / "demo_data"
LATER = By(datetime(2029, 4, 2, 12, 0, tzinfo=UTC))


@pytest.fixture
def ledger(tmp_path):
    with open_ledger(tmp_path / "ledger.sqlite") as opened:
        yield opened


def losses(belief):
    return np.quantile(belief.loss_db([14.2e6]), [0.025, 0.5, 0.975])


def test_a_piece_nobody_measured_is_taken_as_new(ledger):
    stock_up(ledger)
    found = shelf.belief_of_piece(ledger, "blue 7")
    low, _, high = losses(found.belief)
    assert found.belief.basis == "catalogue, taken as new"
    assert low < 7.3152 * float(found.belief.law.db_per_m(14.2e6)) < high
    assert shelf.show_piece(ledger, "blue 7").losses[0].ratio == pytest.approx(1.0, abs=0.03)


def test_a_piece_of_unknown_type_is_believed_nothing_of(ledger):
    shelf.add(ledger, "piece", {"tag": "grey", "length": "9 m"})
    assert shelf.belief_of_piece(ledger, "grey").belief is None
    assert shelf.show_piece(ledger, "grey").losses == ()
    assert "nothing can be said" in shelf.list_shelf(ledger).pieces[0].remarks[0]


def test_a_filed_sheet_says_what_its_file_says(ledger):
    kept = shelf.file_sheet(ledger, DEMO / "harbour-ridge.toml")
    sheet = read_bench_sheet(DEMO / "harbour-ridge.toml")
    straight = beliefs_of(sheet)
    for tag in ("blue 7", "blue 18", "black 20"):
        np.testing.assert_array_equal(
            shelf.belief_of_piece(ledger, tag).belief.loss_db([14.2e6, 144e6]), straight[tag].loss_db([14.2e6, 144e6])
        )
    proved = shelf.prove_session(ledger, kept.item.key)
    assert proved.losses == prove_cable(sheet).losses


def test_a_belief_of_a_sheet_holds_its_own_draws_and_not_those_of_all_the_sheet():
    found = beliefs_of(read_bench_sheet(DEMO / "harbour-ridge.toml"))["blue 7"]
    told = [getattr(found, name) for name in found.__dataclass_fields__]
    draws = [d for d in (*told, *(d for _, d in (*found.measured, *found.faults))) if isinstance(d, np.ndarray)]
    assert len(draws) > 7
    assert [d.nbytes for d in draws if d.base is not None and d.base.nbytes > d.nbytes] == []


def test_a_session_typed_in_says_what_its_readings_say(ledger):
    stock_up(ledger)
    key = sound_bench(ledger, worse=1.6)
    found = {p.piece: p for p in shelf.prove_session(ledger, key).pieces}
    assert found["blue 7"].ratio_low < 1.6 < found["blue 7"].ratio_high
    assert found["black 20"].ratio_low < 1.0 < found["black 20"].ratio_high


def test_two_benches_know_more_than_one_and_the_truth_lies_inside(ledger):
    stock_up(ledger)
    sound_bench(ledger, worse=1.3)
    one = losses(shelf.belief_of_piece(ledger, "blue 7").belief)
    sound_bench(ledger, worse=1.3)
    two = losses(shelf.belief_of_piece(ledger, "blue 7").belief)
    truth = 1.3 * 7.3152 * float(shelf.sheet_of(ledger, "2026-04-02 Spring").piece("blue 7").line.law.db_per_m(14.2e6))
    assert two[2] - two[0] < one[2] - one[0]
    assert two[0] < truth < two[2]


def test_bench_and_sweep_are_heard_together(ledger):
    stock_up(ledger)
    sound_bench(ledger, worse=1.3)
    shelf.file_sweep_bytes(ledger, "blue.s2p", sweep_bytes(1.3), "blue 7", by=BY)
    found = shelf.belief_of_piece(ledger, "blue 7")
    assert found.belief.basis == "sheet 2026-04-02 Spring and sweep 2026-04-02 blue 7 through"
    assert [e.kind for e in found.evidence] == ["sheet", "sweep"]
    assert found.remarks == ()


def test_evidence_put_away_does_not_count(ledger):
    stock_up(ledger)
    key = sound_bench(ledger, worse=1.6)
    shelf.archive(ledger, "sheet", key)
    assert shelf.evidence_of(ledger, "blue 7") == ()
    assert shelf.show_piece(ledger, "blue 7").basis == "catalogue, taken as new"


def test_a_piece_is_judged_by_its_stock(ledger):
    stock_up(ledger)
    sound_bench(ledger, worse=1.6)
    shelf.add(ledger, "piece", BLUE | {"tag": "blue 30", "length": "30 m"})
    found = shelf.show_piece(ledger, "blue 30")
    assert found.basis == "stock, sheet 2026-04-02 Spring"
    assert found.losses[0].ratio_low < 1.6 < found.losses[0].ratio_high


def test_a_piece_cut_shorter_loses_less(ledger):
    stock_up(ledger)
    sound_bench(ledger)
    before = losses(shelf.belief_of_piece(ledger, "blue 7").belief)[1]
    shelf.change(ledger, "piece", "blue 7", {"length": "12 ft"})
    assert losses(shelf.belief_of_piece(ledger, "blue 7").belief)[1] == pytest.approx(before / 2, rel=0.1)


def test_what_was_worked_out_is_remembered_until_it_is_old(ledger, monkeypatch):
    stock_up(ledger)
    key = sound_bench(ledger)
    worked = []
    real = shelf_beliefs.believed

    def counted(some, piece, *, on=None):
        worked.append(piece.tag)
        return real(some, piece, on=on)

    monkeypatch.setattr(shelf_beliefs, "believed", counted)

    def again():
        worked.clear()
        listed = shelf.list_shelf(ledger)
        return sorted(worked), listed

    first = again()
    assert first[0] == ["black 20", "blue 7"]
    assert again() == ([], first[1])
    shelf.add(ledger, "piece", BLUE | {"tag": "red 5", "stock": "red drum"})
    assert again()[0] == ["red 5"]
    shelf.correct_reading(ledger, key, 2, reading(6.0, "blue 7", "7.1 MHz"))
    assert again()[0] == ["black 20", "blue 7"]
    monkeypatch.setattr(shelf_beliefs, "ENGINE", "another")
    assert again()[0] == ["black 20", "blue 7", "red 5"]


def test_a_piece_that_ages_shows_its_drift_and_when_to_test_again(ledger):
    stock_up(ledger)
    sound_bench(ledger, worse=1.0)
    sound_bench(ledger, by=LATER, worse=1.5)
    known = shelf.history_of(ledger, "blue 7", on=date(2029, 5, 1))
    truth = 100.0 * (1.5 ** (1 / 3.0) - 1.0)
    assert known.drift.verdict == "rising"
    assert known.drift.percent_per_year_low < truth < known.drift.percent_per_year_high
    assert known.reminder.urgency == "later"
    steady = shelf.history_of(ledger, "black 20", on=date(2031, 5, 1))
    assert steady.drift.verdict == "cannot tell"
    assert steady.reminder.urgency == "due"
    assert [r.piece for r in shelf.reminders(ledger, on=date(2030, 4, 15))] == ["black 20", "blue 7"]


def test_a_sweep_from_one_end_needs_its_far_end_and_its_piece(ledger):
    stock_up(ledger)
    with pytest.raises(InputError, match="far end"):
        shelf.file_sweep_bytes(ledger, "blue.s2p", sweep_bytes(), "blue 7", "nowhere")
    with pytest.raises(InputError, match="piece"):
        shelf.file_sweep_bytes(ledger, "blue.s2p", sweep_bytes(), "red 7")
    with pytest.raises(InputError):
        shelf.file_sweep_bytes(ledger, "blue.s2p", b"not a sweep", "blue 7")
    assert shelf.all_kept(ledger, "sweep") == ()


def one_port_bytes(far_end, times=1.3, metres=7.3152):
    """Return a one-port sweep of RG-58C/U with its far end open or shorted, its loss ``times`` that of its type."""
    from linewright.catalogue import line_type

    line = line_type("RG-58C/U")
    f = np.linspace(1e6, 200e6, 800)
    round_trip = 10 ** (-2 * times * metres * line.law.db_per_m(f) / 20)
    seen = round_trip * np.exp(-4j * np.pi * f * metres / (299792458.0 * line.velocity_factor))
    seen = seen if far_end == "open" else -seen
    rows = [f"{x:.0f} {g.real:.9f} {g.imag:.9f}" for x, g in zip(f, seen, strict=True)]
    return ("# Hz S RI R 50\n" + "\n".join(rows) + "\n").encode()


def test_open_and_short_of_one_day_are_read_as_a_pair_and_two_pairs_as_two(ledger):
    stock_up(ledger)
    for number in range(2):
        for end in ("open", "short"):
            content = one_port_bytes(end) + f"! {number}\n".encode()
            shelf.file_sweep_bytes(ledger, f"{end}.s1p", content, "blue 7", end, by=BY)
    found = shelf.belief_of_piece(ledger, "blue 7")
    truth = 1.3 * 7.3152 * float(found.belief.law.db_per_m(14.2e6))
    low, _, high = losses(found.belief)
    assert len(found.evidence) == 4
    assert len(shelf.history_of(ledger, "blue 7").points) == 2
    assert low < truth < high


def test_the_same_file_is_filed_once(ledger):
    first = shelf.file_sheet(ledger, DEMO / "harbour-ridge.toml")
    assert shelf.file_sheet(ledger, DEMO / "harbour-ridge.toml").item == first.item
    assert len(shelf.all_kept(ledger, "sheet")) == 1


def test_a_kept_station_plans_as_its_files_do(ledger):
    kept = shelf.keep_station(ledger, DEMO / "harbour-ridge-station.toml")
    straight = plan_station(DEMO / "harbour-ridge-station.toml")
    found = plan_station(shelf.station_of(ledger, kept.item.key))
    assert alike(found) == alike(straight)


def alike(plan):
    """Return a plan's budgets without what each part rests on: a ledger calls a sheet by its key."""
    return [
        replace(b, bands=tuple(replace(x, parts=tuple(replace(p, basis="") for p in x.parts)) for x in b.bands))
        for b in plan.budgets
    ]


RUN = """
[station]
name = "Hut"
[[run]]
name = "wire"
frequencies = ["14.2 MHz"]
power = "50 W"
antenna = {swr = 1.2}
"""
HUT = RUN + 'chain = [{part = "shack end"}]\n[[part]]\nname = "shack end"\nchain = [{piece = "blue 7"}]\n'


def two_benches(ledger):
    """Keep two benches of blue 7, two years apart, as good as new at first and a quarter worse now."""
    stock_up(ledger)
    sound_bench(ledger, by=By(datetime(2024, 4, 2, 12, 0, tzinfo=UTC)), worse=1.0)
    sound_bench(ledger, worse=1.15)
    (known,) = (x for x in shelf.show_piece(ledger, "blue 7").losses if x.frequency_hz == 14.2e6)
    return known


def test_a_run_plans_with_what_the_shelf_believes_not_with_the_oldest_sheet(ledger, tmp_path):
    known = two_benches(ledger)
    (tmp_path / "hut.toml").write_text(HUT)
    kept = shelf.keep_station(ledger, tmp_path / "hut.toml")
    for station in (shelf.station_of(ledger, kept.item.key), shelf.read_station_beside(ledger, tmp_path / "hut.toml")):
        (band,) = plan_station(station).budgets[0].bands
        (part,) = band.parts
        assert part.matched_loss_db == pytest.approx(known.loss_db, rel=1e-12)
        assert part.basis == "sheet 2024-04-02 Spring and sheet 2026-04-02 Spring"


def test_what_a_test_contradicts_is_said_in_the_plan_of_a_kept_station(ledger, tmp_path):
    stock_up(ledger)
    sound_bench(ledger, worse=1.0)
    sound_bench(ledger, by=By(datetime(2026, 9, 2, 12, 0, tzinfo=UTC)), worse=2.0)
    (tmp_path / "hut.toml").write_text(HUT)
    shelf.keep_station(ledger, tmp_path / "hut.toml")
    plan = plan_station(shelf.station_of(ledger, "Hut"))
    assert [r for r in plan.remarks if "does not fit" in r] == list(shelf.show_piece(ledger, "blue 7").remarks)


def test_a_station_that_names_a_piece_of_the_shelf_by_its_tag_alone_is_kept(ledger, tmp_path):
    stock_up(ledger)
    (tmp_path / "hut.toml").write_text(HUT)
    shelf.file_any(ledger, tmp_path / "hut.toml")
    part = shelf.station_of(ledger, "Hut").runs[0].chain[0]
    assert (part.piece.tag, part.piece.length_m) == ("blue 7", pytest.approx(7.3152))
    (tmp_path / "hut.toml").write_text(HUT.replace("blue 7", "blue 8"))
    with pytest.raises(InputError, match=r"or of the shelf; got 'blue 8'.*blue 7"):
        shelf.file_any(ledger, tmp_path / "hut.toml")


def test_a_sweep_under_evidence_may_be_of_a_piece_of_the_shelf(ledger, tmp_path):
    stock_up(ledger)
    (tmp_path / "mast.s2p").write_bytes(sweep_bytes(1.3))
    text = 'evidence = [{piece = "blue 7", touchstone = "mast.s2p"}]\n' + HUT
    (tmp_path / "hut.toml").write_text(text)
    beside = shelf.read_station_beside(ledger, tmp_path / "hut.toml")
    assert plan_station(beside).budgets[0].bands[0].parts[0].basis == "sweep mast.s2p"
    shelf.file_any(ledger, tmp_path / "hut.toml")
    assert [e.kind for e in shelf.evidence_of(ledger, "blue 7")] == ["sweep"]


def test_a_file_finds_a_piece_under_a_tag_it_had_before(ledger, tmp_path):
    known = two_benches(ledger)
    shelf.rename(ledger, "blue 7", "mast")
    (tmp_path / "hut.toml").write_text(HUT)
    (band,) = plan_station(shelf.read_station_beside(ledger, tmp_path / "hut.toml")).budgets[0].bands
    assert band.parts[0].matched_loss_db == pytest.approx(known.loss_db, rel=1e-12)


def test_a_piece_that_a_file_brings_evidence_of_is_not_looked_for(ledger):
    station = DEMO / "harbour-ridge-station.toml"
    shelf.keep_station(ledger, station)
    shelf.file_sweep_bytes(ledger, "blue.s2p", sweep_bytes(1.46, 7.2), "blue 7")
    assert plan_station(shelf.read_station_beside(ledger, station)).budgets == plan_station(station).budgets


def test_a_piece_put_away_is_not_found(ledger, tmp_path):
    stock_up(ledger)
    (tmp_path / "hut.toml").write_text(HUT)
    shelf.keep_station(ledger, tmp_path / "hut.toml")
    shelf.archive(ledger, "piece", "blue 7")
    with pytest.raises(InputError, match="blue 7"):
        shelf.station_of(ledger, "Hut")


def test_new_readings_flow_into_the_plan_of_a_kept_station(ledger):
    kept = shelf.keep_station(ledger, DEMO / "harbour-ridge-station.toml")
    before = plan_station(shelf.station_of(ledger, kept.item.key), run="portable mast").budgets[0].bands[0]
    shelf.file_sweep_bytes(ledger, "blue.s2p", sweep_bytes(1.46, 7.2), "blue 7")
    after = plan_station(shelf.station_of(ledger, kept.item.key), run="portable mast").budgets[0].bands[0]
    width = [b.total_loss_db_high - b.total_loss_db_low for b in (before, after)]
    assert width[1] < width[0]


def test_a_glance_shows_what_was_remembered_and_names_what_is_behind(ledger, monkeypatch):
    stock_up(ledger)
    key = sound_bench(ledger)
    before = shelf.list_shelf(ledger)
    assert shelf.glance_at_shelf(ledger) == (before, ())
    shelf.correct_reading(ledger, key, 2, reading(6.0, "blue 7", "7.1 MHz"))
    with monkeypatch.context() as nobody:
        nobody.setattr(shelf_evidence, "_messages", None)  # nothing is judged at a glance
        assert shelf.glance_at_shelf(ledger) == (before, ("black 20", "blue 7"))
    told = []
    after = shelf.list_shelf(ledger, progress=lambda done, doing: told.append((done, str(doing))))
    assert after != before
    assert told == [(0.0, "judging what was measured")]
    assert shelf.glance_at_shelf(ledger) == (after, ())


def test_a_glance_works_out_a_piece_that_was_itself_changed(ledger):
    stock_up(ledger)
    sound_bench(ledger)
    shelf.list_shelf(ledger)
    shelf.change(ledger, "piece", "blue 7", {"length": "12 ft"})
    seen, behind = shelf.glance_at_shelf(ledger)
    assert behind == ()
    assert seen == shelf.list_shelf(ledger)


def test_who_asks_for_what_is_just_worked_out_waits_for_it():
    worked, go = [], threading.Event()

    @once(4)
    def slowly(key):
        worked.append(key)
        go.wait(5)
        return len(worked)

    answers = []
    asking = [threading.Thread(target=lambda key=key: answers.append(slowly(key))) for key in "aabaab"]
    for one in asking:
        one.start()
    go.set()
    for one in asking:
        one.join()
    assert sorted(worked) == ["a", "b"]
    assert len(answers) == 6


def test_what_went_wrong_is_tried_again():
    tries = []

    @once(4)
    def sometimes(key):
        tries.append(key)
        return 1 // (len(tries) - 1)

    with pytest.raises(ZeroDivisionError):
        sometimes("a")
    assert (sometimes("a"), len(tries)) == (1, 2)


def test_only_the_newest_answer_of_a_place_is_remembered():
    worked = []

    @once(10, place=lambda sheet, _: sheet or None)
    def judged(sheet, state):
        worked.append((sheet, state))
        return state

    for state in range(30):
        judged("spring", state)
    judged("autumn", 0)
    assert len(judged) == 2
    worked.clear()
    assert (judged("spring", 29), judged("autumn", 0), worked) == (29, 0, [])
    judged("spring", 28)  # one that came late: it is answered, and has the place now
    assert (len(judged), worked) == (2, [("spring", 28)])
    for state in range(30):
        judged("", state)
    assert len(judged) == 10


def test_answers_together_are_no_larger_than_told():
    answered = once(100, most_mb=1.0)(lambda size, _: bytes(size))
    for n in range(20):
        answered(200_000, n)
    assert len(answered) == 4
    answered(3_000_000, 0)
    assert len(answered) == 1  # the newest, whatever its size
    answered(10, 0)
    assert len(answered) == 1


def test_what_a_question_holds_beyond_its_key_is_let_go():
    class Tests:
        pass

    answered, tests = once(4, key=lambda digest, _: digest)(lambda digest, _: digest), Tests()
    told = weakref.ref(tests)
    answered("a", tests)
    del tests
    assert told() is None
    assert answered("a", None) == "a"


def test_what_an_answer_rests_on_stays_small_over_many_sessions_that_share_meters(ledger):
    stock_up(ledger)
    shelf.add(ledger, "meter", {"name": "pocket", "scale": "milliwatts", "division": "1 mW"}, by=BY)
    keys = []
    for week in range(14):
        by = By(datetime(2026, 1, 1 + week, 12, 0, tzinfo=UTC))
        plan = SessionPlan(f"week {week}", ("desk meter", "pocket"), ("blue 7",))
        keys.append(shelf.start_session(ledger, plan, by=by).key)
        shelf.add_reading(ledger, keys[-1], reading(9.4), by=by)
        shelf.add_reading(ledger, keys[-1], reading(8.3, "blue 7"), by=by)
    with ledger.reads() as snapshot:
        held = Shelved.of(snapshot)
        marks = Marks(held, "2026-04-02")
        before = marks.of(held.pieces["blue 7"])
    assert {len(marks._sheet(key)) for key in keys} == {64}
    # A reading of the first session is felt through the meters of all that came after it.
    shelf.correct_reading(ledger, keys[0], 1, reading(9.5), by=BY)
    with ledger.reads() as snapshot:
        held = Shelved.of(snapshot)
        later = Marks(held, "2026-04-02")
        assert later._sheet(keys[-1]) != marks._sheet(keys[-1])
        assert later.of(held.pieces["blue 7"]) != before
