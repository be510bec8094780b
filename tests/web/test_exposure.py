"""Exposure without a station: the page says what the command says, follows what is typed, and refuses in words."""

from __future__ import annotations

import json
import re
from html import unescape

import pytest
from starlette.testclient import TestClient

from linewright.core.nouns.plan import ExposurePlan
from linewright.files import to_json
from linewright.files.rules import read_rules_text
from linewright.present.compose.exposure import exposure_document
from linewright.present.writers.terminal import terminal
from linewright.verbs.exposure import exposure_as_written
from linewright.web import exposure_form as form
from linewright.web.app import create_app
from linewright.web.exposure_page import told
from linewright.web.sessions import Settings
from web.conftest import EVERYONE, on_paper, picture, sound

HOME = "http://localhost:8731"
V = {"power": "100", "at": "7.1", "mode": "SSB", "kind": "inverted v", "length": "20.2", "height": "10",
     "end_height": "3", "distance": "8", "window": "4", "gain": "2.15"}  # fmt: skip
WRITTEN = {"power": "100 W", "at": ["7.1 MHz"], "mode": "SSB", "duty": "100 %", "ground": "EPA", "gain": "2.15 dBi",
           "antenna": "inverted v, length 20.2 m, height 10 m, end_height 3 m", "distance": "8 m",
           "window": "4 m"}  # fmt: skip
RULES = """
[[limit]]
name = "Your own limits"
who = "public"
from = "7 MHz"
to = "7.2 MHz"
electric_field = "28 V/m"
averaging = "6 min"
source = "as entered"
[[licence]]
from = "7 MHz"
to = "7.2 MHz"
erp = "50 W"
source = "as entered"
"""


@pytest.fixture
def client(monkeypatch, tmp_path):
    monkeypatch.setenv("LINEWRIGHT_LEDGER", str(tmp_path / "ledger.sqlite"))
    found = TestClient(create_app(Settings()), base_url=HOME)
    token = re.search(r'<meta name="token" content="([^"]+)"', found.get("/exposure").text)
    found.headers["x-linewright-token"] = token[1]
    return found


def ask(client, **fields):
    answer = client.get("/exposure", params=fields)
    assert answer.status_code == 200
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", answer.text)).split())


def shown_words(found):
    return [cell.words for t in found.tables for row in t.table.rows for cell in row.cells if cell.words]


@pytest.mark.parametrize("rules", ["", RULES])
def test_the_page_says_what_the_command_says(rules):
    own = {"own_electric_field": "28", "licence": "50", "licence_of": "erp"} if rules else {}
    found = told(form.given_in(V | own), form.USUAL_LIMITS)
    plan = exposure_as_written(WRITTEN, rules=read_rules_text(rules, "rules") if rules else form.Rules())
    written = terminal(exposure_document(plan))
    assert len(shown_words(found)) > 30
    flat = " ".join(written.split())
    assert [words for words in shown_words(found) if " ".join(words.split()) not in flat] == []
    said = (*found.verdict, *found.licence, *found.exempt, *found.terms, *(n for t in found.tables for n in t.notes))
    assert [s for s in said if str(s) not in flat] == []
    assert bool(found.licence) == bool(rules)


def test_every_distance_opens_to_how_it_was_worked_out():
    found = told(form.given_in(V), form.USUAL_LIMITS)
    for table in found.tables:
        if table.key in ("distances", "ground", "window"):
            assert all(cell.workings for row in table.table.rows for cell in row.cells[1:] if cell.words)


@pytest.mark.parametrize(
    ("fields", "kind"),
    [
        ({"kind": "dipole", "length": "20", "height": "6"}, "Dipole"),
        ({"kind": "end-fed", "length": "20", "height": "3", "counterpoise": "2", "end_height": "8"}, "EndFed"),
        ({"kind": "vertical", "length": "10", "top": "5", "loss": "10"}, "Vertical"),
        ({"kind": "vertical", "length": "10", "base": "3", "radials": "4", "radial_length": "10"}, "Vertical"),
        ({"kind": "loop", "diameter": "1", "height": "2", "wire": "22"}, "Loop"),
        ({"kind": "beam", "height": "10", "beam_elements": "0 m 20.8 m; 7.6 m 19.9 m", "driven": "2"}, "Beam"),
    ],
)
def test_each_kind_of_antenna_is_asked_for_by_its_own_lengths(fields, kind):
    asked = form.asked(form.given_in({"power": "50", "at": "7.1", "diameter": "1"} | fields), ())
    from linewright.verbs.exposure import run_as_written

    assert type(run_as_written(asked).antenna.shape).__name__ == kind


def test_a_field_that_is_for_another_kind_is_not_asked():
    asked = form.asked(form.given_in({**V, "diameter": "1", "beam_elements": "nonsense"}), ())
    assert set(asked["antenna"]) == {"kind", "length", "height", "end_height"}


def test_what_cannot_be_read_is_told_and_what_was_typed_stays(client):
    said = client.get("/exposure", params={**V, "length": "twenty", "own_electric_field": "28 apples"}).text
    assert 'role="alert"' in said
    assert 'value="twenty"' in said
    assert "Traceback" not in said
    for wrong in ({"kind": "beam", "beam_elements": "a b c"}, {"end_height": "40"}, {"own_averaging": "soon"},
                  {"own_electric_field": "28", "own_averaging": "soon"}, {"mode": "yodel"}, {"at": "sky"},
                  {"over": "3"}, {"limits": "none such"}, {"licence": "much"}):  # fmt: skip
        assert client.get("/exposure", params=V | wrong).status_code == 200


def test_what_is_wrong_is_said_by_the_names_of_the_fields(client):
    assert "Longest over and Shortest pause must stand together." in ask(client, **V | {"over": "3"})
    said = ask(client, **V | {"kind": "dipole", "length": ""})
    assert "Length is missing." in said
    assert "Add a line" not in said
    assert "Height of its ends must be less than" in ask(client, **V | {"end_height": "40"})


def test_a_gain_alone_gives_no_figure_on_hf_and_says_what_would(client):
    said = ask(client, power="100", at="14.2", kind="", gain="2.15", limits="ICNIRP 2020")
    assert "no figure at 14.2 MHz" in said
    assert "near-field calculation from the antenna's kind, lengths and height" in said


def test_only_the_limits_that_are_ticked_are_held(client):
    said = ask(client, **V, limits="ICNIRP 2020")
    assert "47 CFR" not in said.partition("Distance at which")[2].partition("Cautions")[0]


def test_no_more_than_eight_frequencies_are_reckoned():
    many = form.frequencies(", ".join(f"{f}.1" for f in range(1, 29)))
    assert len(many) == form.MOST_FREQUENCIES


ANSWERED = {
    "gain": {"gain": "11 dBi", "at": ["144.3 MHz"], "size": "4 m", "distance": "20 m"},
    "lengths": {"antenna": "vertical, length 10 m, top 10 m", "at": ["475 kHz"], "window": "5 m", "mode": "CW"},
    "overs": {"gain": "2 dBi", "at": ["50.1 MHz"], "over": "3 min", "pause": "6 min", "mode": "FM"},
    "slots": {"antenna": "loop, diameter 1 m, height 2 m", "at": ["14.1 MHz"], "mode": "FT8", "distance": "4 m"},
    "limits": {"antenna": "dipole, length 20 m, height 8 m", "at": ["7.1 MHz"], "limits": ["47 CFR 1.1310"],
               "rules": {"name": "rules.toml", "text": RULES}},
}  # fmt: skip


@pytest.mark.parametrize("asked", ANSWERED.values(), ids=ANSWERED)
def test_api_answers_what_the_library_does(client, asked):
    answer = client.post("/api/exposure", json={"power": "100 W"} | asked)
    assert answer.status_code == 200, answer.text
    given = {"power": "100 W", "duty": "100 %", "mode": "carrier", "ground": "EPA"} | asked
    rules = read_rules_text(given.pop("rules", {"text": RULES})["text"], "rules.toml") if "rules" in asked else None
    plan = exposure_as_written(given, rules=rules or form.Rules())
    assert answer.json() == json.loads(to_json(ExposurePlan(plan)))


def test_api_answers_for_a_station_with_people_windows_limits_and_rules(client):
    asked = {"station": "harbour-ridge", "distance": "6 m", "window": "5 m", "limits": ["ICNIRP 2020"],
             "rules": {"name": "rules.toml", "text": RULES}}  # fmt: skip
    answer = client.post("/api/exposure", json=asked).json()
    wire = next(r for r in answer["runs"] if r["run"] == "multiband wire")["bands"][1]
    assert {e["limit"] for e in wire["exposure"]} == {"ICNIRP 2020", "ICNIRP 2010", "Your own limits"}
    assert all(e["window_distance_m"] is not None for e in wire["exposure"])
    assert {d["distance_m"] for d in wire["density"]} == {6.0}
    assert [c["quantity"] for c in wire["licence"]] == ["ERP"]
    assert len(answer["together"]) >= 4


MAST = {"station": "harbour-ridge", "run": "portable mast", "view": "exposure"}
LENGTHS = {"antenna.kind": "inverted v", "antenna.length": "10", "antenna.height": "6", "antenna.end_height": "2.5"}
PEOPLE = {"exposure.people": "3", "exposure.window": "4"}
OWN = """
[[limit]]
name = "Your own limits"
who = "public"
from = "1 MHz"
to = "300 MHz"
electric_field = "3 V/m"
averaging = "none"
source = "as entered"
[[licence]]
from = "14 MHz"
to = "14.35 MHz"
eirp = "15 W"
source = "as entered"
"""


def words_of(answer):
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", answer.text)).split())


def typed(client, where, scope, fields=(), **files):
    """Type into the fields of what is opened in a run's drawing; return the page, and where the run is now."""
    told = {f"f.{key}": value for key, value in dict(fields).items()}
    sent = {f"f.{key}": (f"{key}.toml", text) for key, text in files.items()}
    answer = client.post("/runs/edit", data=where | {"do": "set", "open": scope} | told, files=sent or None)
    return answer, MAST | {k: v for k, v in answer.url.params.items() if k in ("station", "run")}


def test_a_run_of_the_app_takes_an_antennas_lengths_people_and_limits(client):
    assert "no figure at 14.2 MHz" in words_of(client.get("/runs/run", params=MAST))
    _, at = typed(client, MAST, "antenna", LENGTHS)
    _, at = typed(client, at, "radio", {"mode": "FT8", "duty": ""})
    answer, at = typed(client, at, "limits", PEOPLE | {"exposure.limits": "47 CFR 1.1310"})
    said = words_of(answer)
    assert "portable mast: the public limit that reaches farthest is 47 CFR 1.1310," in said
    assert "portable mast, 14.2 MHz, 3 m away, 47 CFR 1.1310, public" in said
    assert "overs of 12.64 s" in said
    assert "ICNIRP 2020, public" not in said.partition("Exposure: how far")[2].partition("Remarks")[0]
    refused, _ = typed(client, at, "antenna", {"antenna.kind": "dipol"})
    assert refused.status_code == 422
    assert "must be one of" in words_of(refused)
    _, at = typed(client, at, "site", rules=OWN)
    answer, _ = typed(client, at, "limits", {"exposure.limits": "Your own limits"})
    said = words_of(answer)
    assert "the public limit that reaches farthest is Your own limits," in said
    assert "Licence at 14.2 MHz: EIRP of 28 W (" in said or "Licence at 14.2 MHz: EIRP of 28 W is over" in said


def test_the_zone_of_a_run_is_drawn_where_its_lengths_are_known(client):
    tried = {f"f.{key}": value for key, value in LENGTHS.items()} | {"do": "set", "open": "antenna"}
    _, written = typed(client, MAST, "antenna", LENGTHS)
    for known in (MAST | tried, written):
        drawn = client.get("/runs/zone", params=known | {"paper": "dark", "wide": "340"})
        assert drawn.headers["content-type"] == "image/svg+xml"
        assert "From the side" in drawn.text
        shown = client.get("/runs/run", params=known).text
        linked = re.search(r'/runs/zone\?[^"\s]+', shown)
        assert client.get(unescape(linked[0])).headers["content-type"] == "image/svg+xml"
    assert "/runs/zone?" not in client.get("/runs/run", params=MAST).text
    assert client.get("/runs/zone", params=MAST).status_code == 422


def test_the_answer_follows_what_is_typed_from_the_keyboard(visit):
    visit.goto("/exposure")
    for name, text in (("power", "100"), ("at", "14.1"), ("length", "10.1"), ("height", "5")):
        visit.focus(f"#{name}")
        visit.keyboard.type(text)
    visit.wait_for_selector("#distances-name")
    assert "reaches farthest" in visit.inner_text("#verdict")
    assert visit.is_hidden("#diameter")
    visit.focus("#kind")
    visit.keyboard.type("small loop")
    visit.wait_for_selector("#diameter", state="visible")
    assert visit.is_hidden("#length")


@EVERYONE
def test_the_page_is_sound_for_everyone(visit, paper):
    visit.goto("/exposure")
    on_paper(visit, paper)
    query = "&".join(f"{k}={v}" for k, v in V.items()) + "&limits=ICNIRP 2020&licence=15"
    visit.goto(f"/exposure?{query}")  # test_every_page looks at the empty one
    sound(visit)
    picture(visit, f"exposure-{paper}")
