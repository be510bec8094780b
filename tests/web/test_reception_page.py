"""Reception on a run's page: receiver, sky and preamplifier are fields; its figures are those of the command."""

from __future__ import annotations

import html
import re

import pytest
from starlette.testclient import TestClient

from linewright.files.station import read_station
from linewright.verbs.changes import changed
from linewright.verbs.plan import plan_station
from linewright.web.app import create_app
from linewright.web.run_state import changes_of, filled, groups_of
from linewright.web.sessions import Settings
from web.test_cautions import STATION

LNA = "add part 6 = preamplifier lna, gain 22 dB, noise figure 0.4 dB"


@pytest.fixture(scope="module")
def program(tmp_path_factory):
    return TestClient(create_app(Settings(str(tmp_path_factory.mktemp("heard") / "l.sqlite"))),
                      base_url="http://localhost:8731")  # fmt: skip


@pytest.fixture(scope="module")
def station():
    return read_station(STATION)


def words(page):
    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", page.text)).split())


def test_receiver_sky_and_preamplifier_are_fields_of_a_run(station):
    groups = groups_of(station, station.run("repeater link"))
    given = {"receiver": "35 K", "looks": "elevation 30 deg, ground 10 %"}
    assert changes_of(groups, filled(groups, given)) == (
        "receiver = 35 K", "sky = elevation 30 deg, ground 10 %",
    )  # fmt: skip
    with_lna = changed(station, [LNA], "repeater link")
    groups = groups_of(with_lna, with_lna.run("repeater link"))
    assert changes_of(groups, filled(groups, {"gain6": "18", "noise6": "1"})) == (
        "part 6 gain = 18 dB", "part 6 noise figure = 1 dB",
    )  # fmt: skip


def test_the_page_shows_what_the_command_says_of_a_cascade(program, station):
    page = program.get("/runs/run", params={"station": "harbour-ridge", "run": "repeater link", "with": LNA})
    shown = words(page)
    plan = plan_station(changed(station, [LNA], "repeater link"), run="repeater link")
    r = plan.budgets[0].bands[0].reception
    assert page.status_code == 200
    assert r.why in shown
    assert f"{r.noise_figure_db:.2f} dB" in shown
    assert f"{r.g_over_t_db_per_kelvin:+.1f} dB/K" in shown
    assert all(source.name in shown for source in r.sources)
    assert all(said in shown for said in r.assumed)
    asked = {"station": "harbour-ridge", "run": "repeater link", "with": LNA, "how": "figure@432100000"}
    assert "a loss L at the temperature Tp adds" in words(program.get("/runs/run", params=asked))
