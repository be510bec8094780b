"""SWR meters held against known loads: how much their bridge leaks, kept and applied from then on."""

from __future__ import annotations

import json
from datetime import date

import numpy as np
import pytest
from click.testing import CliRunner

from ledger.gear import BY, NOON
from linewright.cli import main
from linewright.core.errors import InputError
from linewright.core.nouns.shelf import SessionPlan
from linewright.inference.history.bridges import LoadTest, known_bridges
from linewright.verbs import shelf
from linewright.verbs.meters import calibrate_meter, directivity_at, show_meter
from linewright.verbs.shelf import open_ledger

F = 144.3e6
LOADS_OHM = (25.0, 100.0, 50.0)


def shown(load_ohm, leak, scale=1.0, step=0.05):
    """Return the SWR that a leaking bridge shows of a load, to the nearest step."""
    gamma = abs(scale * (load_ohm - 50.0) / (load_ohm + 50.0) + leak)
    return round((1 + gamma) / (1 - gamma) / step) * step


def load_tests(leak, scale=1.0, loads=LOADS_OHM):
    return [LoadTest(2026.0, F, complex(z), shown(z, leak, scale), 0.05) for z in loads]


@pytest.mark.parametrize(("leak_db", "turn"), [(30.0, 0.0), (22.0, 1.0), (18.0, 2.5), (26.0, 4.0)])
@pytest.mark.parametrize("scale", [0.93, 1.0, 1.08])
def test_loads_on_either_side_of_50_ohms_tell_leak_and_scale(leak_db, turn, scale):
    leak = 10 ** (-leak_db / 20) * np.exp(1j * turn)
    (found,) = known_bridges(load_tests(leak, scale), 2026.0)
    low, high = np.quantile(found.directivity_db, [0.005, 0.995])
    assert found.agree
    assert low < leak_db < high
    assert high - low < 15.0
    assert np.quantile(found.scale, 0.005) < scale < np.quantile(found.scale, 0.995)


def test_one_load_tells_less_than_two():
    wide, narrow = (
        np.ptp(np.quantile(known_bridges(load_tests(0.08, loads=loads), 2026.0)[0].scale, [0.025, 0.975]))
        for loads in ((25.0,), (25.0, 100.0))
    )
    assert narrow < 0.8 * wide


def test_years_loosen_what_the_loads_told_and_later_readings_are_not_known_before():
    read = load_tests(0.05)
    now, later = (np.std(known_bridges(read, year)[0].scale) for year in (2026.0, 2034.0))
    assert now < later
    assert known_bridges(read, 2025.0) == ()


def test_readings_that_no_bridge_shows_are_not_believed():
    wild = [LoadTest(2026.0, F, z, swr) for z, swr in ((25 + 0j, 9.0), (100 + 0j, 1.0), (50 + 0j, 3.0))]
    assert not known_bridges(wild, 2026.0)[0].agree


@pytest.fixture
def ledger(where):
    with open_ledger(where, at=NOON) as found:
        yield found


def test_a_meter_held_against_loads_stays_calibrated(ledger, tmp_path):
    shelf.add(ledger, "load", {"tag": "half", "impedance": "25 ohm"}, by=BY)
    told = calibrate_meter(ledger, "bridge", F, [("half", 2.3), ("100 ohm", 1.8)], on=date(2026, 4, 2), by=BY)
    (band,) = told.bridges
    assert (band.frequency_hz, band.tests, band.since) == (F, 2, "2026-04-02")
    assert band.directivity_db_low < band.directivity_db < band.directivity_db_high
    assert directivity_at(ledger, "bridge", F) == directivity_at(ledger, "bridge", 1.02 * F) <= band.directivity_db_low
    calibrate_meter(ledger, "bridge", F, [("50 ohm", 1.05)], on=date(2026, 4, 3), by=BY)
    assert show_meter(ledger, "bridge", on=date(2026, 4, 3)).bridges[0].tests == 3
    assert show_meter(ledger, "bridge", on=date(2026, 4, 2)).bridges[0].tests == 2
    # A change like any other: exported, merged, undone.
    shelf.export_ledger(ledger, tmp_path / "all.zip")
    with open_ledger(tmp_path / "other.sqlite", at=NOON) as other:
        shelf.import_ledger(other, tmp_path / "all.zip", by=BY)
        assert show_meter(other, "bridge") == show_meter(ledger, "bridge")
    shelf.undo(ledger, shelf.changes(ledger).changes[0].id, by=BY)
    assert show_meter(ledger, "bridge").bridges[0].tests == 2


def test_a_calibrated_meter_reads_at_the_bench_like_any_other(ledger):
    calibrate_meter(ledger, "bridge", F, [("25 ohm", 2.0)], by=BY)
    shelf.add(ledger, "piece", {"tag": "blue 7", "line": "RG-58C/U", "length": "7 m"}, by=BY)
    session = shelf.start_session(ledger, SessionPlan("Spring", ("bridge",), ("blue 7",)), by=BY)
    assert [m.name for m in shelf.sheet_of(ledger, session.key).meters] == ["bridge"]


@pytest.mark.parametrize(
    ("readings", "said"),
    [([], "readings are missing"), ([("25 ohm", 0.5)], "at least 1"), ([("steel", 2.0)], "complex impedance")],
)
def test_what_cannot_be_a_reading_is_refused(ledger, readings, said):
    with pytest.raises(InputError, match=said):
        calibrate_meter(ledger, "bridge", F, readings, by=BY)
    assert shelf.all_kept(ledger, "meter") == ()


def told(*words, status=0):
    found = CliRunner().invoke(main, words)
    assert found.exit_code == status, (found.stdout, found.stderr)
    return found


def test_what_the_loads_showed_is_applied_by_the_commands(tmp_path):
    where = ("--ledger", str(tmp_path / "club.sqlite"))
    loads = ("--load", "25 ohm", "2.05", "--load", "100 ohm", "1.95", "--load", "50 ohm", "1.02")
    told("shelf", "calibrate", "bridge", "--at", "144.3MHz", *loads, *where)
    seen = ("through", "--shack-swr", "1.3", "--loss", "3 dB", "--at", "144.3 MHz", "--json")
    usual, known = (json.loads(told(*seen, *more).stdout) for more in ((), ("--meter", "bridge", *where)))
    assert usual != known
    assert "was not" in told(*seen, "--at", "7.1 MHz", "--meter", "bridge", *where, status=2).stderr
    assert "--directivity" in told(*seen, "--directivity", "30 dB", "--meter", "bridge", *where, status=2).stderr
    end = ("one-end", "--open", "7.1", "--short", "6.8", "--at", "144.3 MHz", "--json")
    plain, better = (json.loads(told(*end, *more).stdout) for more in ((), ("--meter", "bridge", *where)))
    assert plain != better
