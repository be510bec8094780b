"""Whole pages for what needs no station, a search, and a page for every verb of the command line."""

from __future__ import annotations

import re
from html import unescape

import pytest
from starlette.testclient import TestClient

from linewright.catalogue.cautions import CALIBRATING, cautions
from linewright.cli import main
from linewright.verbs.shelf import all_kept, file_sheet, keep_station, open_ledger
from linewright.web.app import create_app
from linewright.web.sessions import Settings
from web.test_api import DEMO
from workflows.test_verbs import DOORS

HOME = "http://localhost:8731"
PIECE = "/shelf/piece/blue%207"
STATION = "/runs?station=%3DHarbour%20Ridge%20station%20%28invented%29"
RUN = "/runs/run?station=harbour-ridge&run=two-metre+beam"
PAGES = {
    "chart": (f"{PIECE}", 'data-picture="/shelf/chart/'),
    "choose": ("/runs/run?station=harbour-ridge&run=two-metre+beam&view=choose", "Lay it"),
    "connectors": ("/connectors", "<table"),
    "cut": ("/sweeps/cut?piece=blue+7", "<form"),
    "exposure": ("/exposure", 'name="power"'),
    "label": ("/labels", 'action="/labels/file"'),
    "impedance": ("/lines/dimensions", 'name="dielectric_diameter"'),
    "lines": ("/lines", "RG-213/U"),
    "loss": ("/lines/loss?line=RG-213/U&length=30&frequency=144", "dB"),
    "meaning": ("/decibel?change=3", "half"),
    "one-end": ("/sweeps/one-end", "<form"),
    "plan": (RUN, "144.3 MHz"),
    "practise": ("/practise", 'action="/practise/club"'),
    "prove": ("/bench", "/bench/new"),
    "reception": (RUN, "eception"),
    "report": (PIECE, "/report/piece/"),
    "share": ("/runs/share?station=harbour-ridge", "<form"),
    "sheet": ("/sheets", 'action="/sheets/file"'),
    "shelf add": ("/shelf/new/piece", 'name="tag"'),
    "shelf archive": (PIECE, "/shelf/away/piece/"),
    "shelf backup": ("/shelf", 'action="/shelf/backup"'),
    "shelf calibrate": ("/shelf/calibrate/desk%20meter", 'name="swr1"'),
    "shelf check": ("/shelf/check", "ledger"),
    "shelf recover": ("/shelf/check", "ledger"),
    "shelf change": ("/shelf/change/piece/blue%207", 'name="length"'),
    "shelf due": ("/", 'class="do"'),
    "shelf export": ("/shelf", "/shelf/export"),
    "shelf file": ("/shelf/file", 'type="file"'),
    "shelf connectors": ("/shelf/change/piece/blue%207", 'name="connectors"'),
    "shelf cut": ("/sweeps/cut?piece=blue+7", "<form"),
    "shelf gear": ("/shelf", "desk meter"),
    "shelf history": (PIECE, "The years"),
    "shelf join": ("/runs/share?station=harbour-ridge", "<form"),
    "shelf meter": ("/", "meterlist"),
    "shelf meters": ("/", "meterlist"),
    "shelf plan": (RUN, "Keep this as a plan"),
    "shelf plans": (RUN, "Plans side by side"),
    "shelf run": (RUN, "<form"),
    "shelf runs": ("/runs", "Harbour Ridge"),
    "shelf shorten": ("/shelf/change/piece/blue%207", 'name="length"'),
    "shelf line": ("/lines/new", 'name="velocity_factor"'),
    "shelf import": ("/shelf/file", "/shelf/import/ledger"),
    "shelf list": ("/shelf", "shelf-list"),
    "shelf note": (PIECE, "/shelf/note/piece/"),
    "shelf rename": ("/shelf/rename/blue%207", 'name="new"'),
    "shelf restore": ("/shelf?", "shelf"),
    "shelf show": (PIECE, "Loss today"),
    "shelf sweeps": ("/sweeps/kept", "<form"),
    "shelf undo": ("/shelf", 'action="/shelf/undo"'),
    "sweep": ("/sweeps", 'type="file"'),
    "through": ("/sweeps/through", "<form"),
}
"""Where a person does in the app what a command does, and what stands there."""
AT_THE_TERMINAL = DOORS | {"check", "listen"}
"""Commands about the installation, or that only start something; they have no page."""


@pytest.fixture(scope="module")
def where(tmp_path_factory):
    path = str(tmp_path_factory.mktemp("questions") / "ledger.db")
    with open_ledger(path) as ledger:
        file_sheet(ledger, DEMO / "harbour-ridge.toml")
        keep_station(ledger, DEMO / "harbour-ridge-station.toml")
    return path


@pytest.fixture(scope="module")
def visitor(where):
    return TestClient(create_app(Settings(where)), base_url=HOME)


def text_of(answer):
    return unescape(re.sub(r"<[^>]+>", " ", answer.text))


def commands():
    found = set()
    for name in main.list_commands(None):
        command = main.get_command(None, name)
        inner = getattr(command, "commands", None)
        found |= {f"{name} {one}" for one in inner} if inner else {name}
    return found


def test_every_command_has_a_page():
    assert commands() - AT_THE_TERMINAL - set(PAGES) == set()


@pytest.mark.parametrize("command", PAGES)
def test_the_page_of_a_command_is_there(visitor, command):
    at, holds = PAGES[command]
    answer = visitor.get(at)
    assert answer.status_code == 200
    assert holds in answer.text


def test_a_meter_is_calibrated_with_known_loads_and_says_how_it_reads(visitor):
    form = visitor.get("/shelf/calibrate/desk%20meter").text
    token = re.search(r'name="token" value="([^"]+)"', form)[1]
    told = {"token": token, "at": "144.3", "load1": "25", "swr1": "2.1", "load2": "100 ohm", "swr2": "1,9"}
    wrong = visitor.post("/shelf/calibrate/desk%20meter", data=told | {"swr1": "0.4"})
    assert wrong.status_code == 422
    assert 'aria-invalid="true"' in wrong.text
    assert "directivity of its bridge" not in text_of(visitor.get("/shelf/calibrate/desk%20meter"))
    said = text_of(visitor.post("/shelf/calibrate/desk%20meter", data=told))
    assert "On 144.3 MHz the directivity of its bridge is about" in said
    assert "from 2 readings of known loads" in said
    for shown in (said, unescape(re.sub(r"<[^>]+>", " ", form))):
        assert all(caution in shown for caution in cautions(*CALIBRATING))


@pytest.mark.parametrize(
    ("query", "says"),
    [
        ("change=3", "3 dB less"),
        ("change=100+W+to+25+W", "6.02"),
        ("change=S9+to+S7", "12"),
        ("change=100+W+EIRP&distance=10+km&at=144", "EIRP"),
    ],
)
def test_a_decibel_is_told_in_every_way_the_command_tells_it(visitor, query, says):
    assert says in text_of(visitor.get(f"/decibel?{query}"))


def test_an_error_stands_at_its_field_and_what_was_typed_is_kept(visitor):
    answer = visitor.get("/lines/loss?line=RG-213/U&length=far&frequency=144")
    assert answer.status_code == 422
    field = re.search(r'<input id="length"[^>]*>\s*<span class="hint over"[^>]*>([^<]+)', answer.text)
    assert 'value="far"' in field[0]
    assert 'aria-invalid="true"' in field[0]
    assert "length" in field[1]
    assert 'value="RG-213/U"' in answer.text


def test_a_bare_length_is_in_the_readers_unit(visitor):
    metres = text_of(visitor.get("/lines/loss?line=RG-213/U&length=30&frequency=144"))
    feet = text_of(
        visitor.get("/lines/loss?line=RG-213/U&length=98.4252&frequency=144", headers={"cookie": "taste=lengths-ft"})
    )
    figure = re.compile(r"\d\.\d+ dB")
    assert figure.search(metres)[0] == figure.search(feet)[0]


def test_a_type_of_ones_own_is_kept_and_found(visitor, where):
    token = visitor.get("/lines/new").text.split('name="token" content="')[1].split('"')[0]
    told = {
        "token": token,
        "name": "club drum",
        "impedance": "50",
        "velocity_factor": "0,8",
        "at1": "10",
        "loss1": "1.5",
    }
    wrong = visitor.post("/lines/new", data={**told, "at2": "1000", "loss2": "much"})
    assert wrong.status_code == 422
    assert 'value="club drum"' in wrong.text
    kept = visitor.post("/lines/new", data={**told, "at2": "1 GHz", "loss2": "18"})
    assert kept.status_code == 200
    assert "club drum" in text_of(kept)
    with open_ledger(where) as ledger:
        assert [i.key for i in all_kept(ledger, "line")] == ["club drum"]
    assert "/lines?type=club+drum" in visitor.get("/find?q=club").text


def test_a_blank_sheet_is_made_of_what_is_ticked(visitor):
    query = "meter=desk+meter&meter=pocket+meter&piece=blue+7&bands=14.2,+28.5+MHz"
    rows = visitor.get(f"/sheets/file?{query}&form=csv").text
    assert "blue 7" in rows
    assert "28.5 MHz" in rows
    assert "card meter" not in rows
    assert visitor.get(f"/sheets/file?{query}").content.startswith(b"%PDF")
    assert visitor.get("/sheets/file?meter=desk+meter&bands=14.2").status_code == 422


def test_labels_come_for_some_pieces_or_for_all_on_a_sheet_with_codes(visitor):
    for query in ("", "tag=blue+7&qr=true", "sheet=a4+3x8+70x37&first=5", "wrap=true&bands=14.2,+144.3"):
        answer = visitor.get(f"/labels/file?{query}")
        assert answer.content.startswith(b"%PDF"), answer.text[:500]
    assert visitor.get("/labels/file?sheet=nonsense").status_code == 422


@pytest.mark.parametrize(
    ("words", "href"),
    [
        ("blue 7", "/shelf/piece/blue%207"),
        ("desk", "/shelf/change/meter/desk%20meter"),
        ("repeater", "/runs/run?station="),
        ("club bench", "/bench/at/"),
        ("rg-213", "/lines?type=RG-213%2FU"),
        ("rg213", "/lines?type=RG-213%2FU"),
        ("feet", "/settings"),
        ("velocity", "/help/"),
    ],
)
def test_the_search_finds_what_is_kept_types_pages_and_help(visitor, words, href):
    assert f'href="{href}' in unescape(visitor.get("/find", params={"q": words}).text)


def test_a_search_shows_no_markup_of_others_and_says_when_nothing_is_found(visitor):
    shown = visitor.get("/find", params={"q": '<b>"x'}).text
    assert "<b>" not in shown
    assert "Nothing holds all of these words." in shown
    assert "Where to" in visitor.get("/find").text
