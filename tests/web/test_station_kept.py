"""A kept station in the app: put away from its page, brought back from the first one."""

import pytest

from linewright.verbs.shelf import keep_station, kept_runs, open_ledger
from web.test_api import DEMO, Program


@pytest.fixture
def club(tmp_path):
    with open_ledger(tmp_path / "club.sqlite") as ledger:
        keep_station(ledger, DEMO / "harbour-ridge-station.toml")
    return str(tmp_path / "club.sqlite")


def test_a_station_is_put_away_and_brought_back(club):
    program, name = Program(club), "Harbour Ridge station (invented)"
    page = program.get(f"/station/runs/{name}").text
    assert "Put away" in page
    token = program.headers["x-linewright-token"]
    moved = f"/shelf/away/station/{name}"
    assert program.post(moved, data={"token": token}).status_code == 200
    assert f"{name} is put away" in program.get("/").text
    with open_ledger(club) as ledger:
        assert kept_runs(ledger).runs == ()
        program.post(moved, data={"token": token, "back": "1"})
        assert len(kept_runs(ledger).runs) == 4
    assert "is put away" not in program.get("/").text
