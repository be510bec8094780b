"""Reception on a run's page: receiver, sky and preamplifier are fields; its figures are those of the command."""

from __future__ import annotations

import html
import re

import pytest
from starlette.testclient import TestClient

from linewright.files.station import read_station
from linewright.files.toml import toml_text
from linewright.files.toml_reader import parse_toml
from linewright.verbs.changes import changed
from linewright.verbs.plan import plan_station
from linewright.web.app import create_app
from linewright.web.sessions import Settings
from linewright.web.stations import invented, packed
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


def test_receiver_sky_and_preamplifier_are_fields_of_a_run(program):
    asked = {"station": "harbour-ridge", "run": "repeater link"}
    radio = program.get("/runs/run", params={**asked, "open": "radio"}).text
    assert 'name="f.receiver.noise_figure" value="5 dB"' in radio
    assert 'name="f.preamplifier.gain"' in radio
    antenna = program.get("/runs/run", params={**asked, "open": "antenna"}).text
    assert 'name="f.sky_temperature" value="200 K"' in antenna
    told = {"open": "radio", "do": "set", "f.receiver.noise_figure": "", "f.receiver.noise_temperature": "35"}
    shown = words(program.get("/runs/run", params={**asked, **told, "view": "reception"}))
    assert "Tried, not kept" in shown
    assert "0.50 dB" in shown or "noise figure" in shown


def test_the_page_shows_what_the_command_says_of_a_cascade(program, station):
    lna = {"preamplifier": "lna", "gain": "22 dB", "noise_figure": "0.4 dB"}
    text, files = invented()
    tables = parse_toml(text, "station")
    tables["run"][2]["chain"].append(lna)
    key = packed(toml_text(tables), files)
    asked = {"station": key, "run": "repeater link", "view": "reception"}
    page = program.get("/runs/run", params=asked)
    shown = words(page)
    plan = plan_station(changed(station, [LNA], "repeater link"), run="repeater link")
    r = plan.budgets[0].bands[0].reception
    assert page.status_code == 200
    assert r.why in shown
    assert f"{r.noise_figure_db:.2f} dB" in shown
    assert f"{r.g_over_t_db_per_kelvin:+.1f} dB/K" in shown
    assert all(source.name in shown for source in r.sources)
    assert all(said in shown for said in r.assumed)
    asked["how"] = "figure@432100000"
    assert "a loss L at the temperature Tp adds" in words(program.get("/runs/run", params=asked))
