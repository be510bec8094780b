"""Settings: how a person reads stays with their browser, what is of the station with the ledger; every page follows."""

from __future__ import annotations

import re
from html import unescape
from io import BytesIO

import pytest
from starlette.testclient import TestClient

from linewright.core.locale import Manner
from linewright.verbs.shelf import keep_station_files
from linewright.verbs.shelf_open import open_ledger
from linewright.web.app import create_app
from linewright.web.language import TASTE, Taste, Worded
from linewright.web.rendering import environment, messages_in
from linewright.web.sessions import Settings
from linewright.web.stations import invented

HOME = "http://localhost:8731"


@pytest.fixture(scope="module")
def ledger(tmp_path_factory):
    """Return where a ledger lies that holds the invented bench and its station."""
    where = str(tmp_path_factory.mktemp("settings") / "ledger.db")
    visitor = TestClient(create_app(Settings(where)), base_url=HOME)
    visitor.post("/station/demo", data={"token": token(visitor)})
    text, files = invented()
    sent = {"station.toml": text.encode(), **{name: content.encode() for name, content in files.items()}}
    with open_ledger(where) as kept:
        keep_station_files(kept, sent)
    return where


def visitor_of(ledger, accepted="", **taste):
    made = TestClient(create_app(Settings(ledger)), base_url=HOME, follow_redirects=False)
    made.headers["accept-language"] = accepted
    if taste:
        made.cookies.set(TASTE, Taste(**taste).cookie)
    return made


def token(visitor):
    return visitor.get("/settings").text.split('name="token" content="')[1].split('"')[0]


def words(html):
    """Return what a page says: its text, and what is read aloud of it."""
    bare = re.sub(r"<(script|style|code|pre|svg|textarea|nav)\b.*?</\1>", " ", html.partition("<body>")[2], flags=re.S)
    said = re.findall(r'(?:aria-label|placeholder|title|alt)="([^"]*)"', bare)
    return [unescape(part) for part in (*re.split(r"<[^>]*>", bare), *said)]


def test_a_taste_stays_with_the_browser_that_chose_it(ledger):
    visitor, other = visitor_of(ledger), visitor_of(ledger)
    form = {"token": token(visitor), "language": "de", "lengths": "ft", "look": "dark", "sheet": "letter", "back": "/"}
    assert visitor.post("/settings", data=form).headers["location"] == "/settings?kept=1&back=%2F"
    assert '<html lang="de" data-paper="dark">' in visitor.get("/shelf").text
    assert '<html lang="en">' in other.get("/shelf").text


def test_what_no_browser_of_ours_keeps_is_as_usual(ledger):
    visitor = visitor_of(ledger)
    visitor.cookies.set(TASTE, "look-purple.language-xx.lengths-ft.nonsense")
    shown = visitor.get("/shelf").text
    assert '<html lang="en">' in shown
    assert "23.6 ft" in shown


def test_the_language_is_the_browsers_until_another_is_chosen(ledger):
    assert '<html lang="de">' in visitor_of(ledger, "de-AT,de;q=0.9,en;q=0.8").get("/").text
    assert '<html lang="en">' in visitor_of(ledger, "de", language="en").get("/").text


def test_lengths_and_decimal_mark_are_followed_on_the_shelf(ledger):
    assert "7.2 m of RG-58C/U" in visitor_of(ledger).get("/shelf").text
    assert "7,2 m" in visitor_of(ledger, decimal="comma").get("/shelf").text
    assert "23,6 ft" in visitor_of(ledger, decimal="comma", lengths="ft").get("/shelf").text


def test_a_run_is_drawn_with_the_decimal_mark_of_its_reader(ledger):
    run = {"station": "harbour-ridge", "run": "two-metre beam", "open": "1"}
    shown = visitor_of(ledger, decimal="comma").get("/runs/run", params=run).text
    figures = re.findall(r">\s*\(?\d+([.,])\d+ (?:dB|to \d)", shown)
    assert len(figures) > 10
    assert set(figures) == {","}


def test_a_report_is_written_as_the_browser_reads_unless_its_address_says_otherwise(ledger):
    at = "/report/piece/blue 7?form=html"
    feet = visitor_of(ledger, decimal="comma", lengths="ft")
    assert "23,6 ft" in feet.get(at).text
    assert "7.2 m" in feet.get(f"{at}&lengths=m&decimal=point").text
    assert '<html lang="de"' in visitor_of(ledger, language="de").get(at).text


def test_the_site_of_a_station_is_kept_in_the_ledger_and_can_be_undone(ledger):
    visitor = visitor_of(ledger)
    shown = visitor.get("/settings").text
    at = re.search(r'action="(/settings/site/[^"]+)"', shown)[1]
    told = {"token": token(visitor), "noise": "rural", "limits": ["ICNIRP 2020", "47 CFR 1.1310"]}
    assert visitor.post(at, data=told).status_code == 303
    for who in (visitor, visitor_of(ledger)):
        assert '<option value="rural" selected>' in who.get("/settings").text
    assert visitor.post(at, data={**told, "noise": "moon"}).status_code == 422
    assert visitor.post(at, data={"token": token(visitor), "noise": "rural"}).status_code == 422
    assert "Undo" in visitor.get("/shelf").text


def test_limits_and_a_licence_of_ones_own_are_typed_and_hold_in_the_runs(ledger):
    from urllib.parse import quote

    visitor = visitor_of(ledger)
    name = "Harbour Ridge station (invented)"
    told = {
        "token": token(visitor),
        "limits": "ICNIRP 2020",
        "own_limits": "electric field 28 V/m",
        "licence": "10 W EIRP",
    }
    wrong = visitor.post(f"/settings/site/{quote(name)}", data=told | {"own_limits": "a lot"})
    assert (wrong.status_code, 'value="a lot"' in wrong.text) == (422, True)
    assert visitor.post(f"/settings/site/{quote(name)}", data=told).status_code == 303
    page = visitor.get("/settings").text
    assert 'value="electric field 28 V/m"' in page
    assert 'value="10 W EIRP"' in page
    run = visitor.get("/runs/run", params={"station": f"={name}", "run": "two-metre beam", "view": "exposure"}).text
    assert "Your own limits" in run
    assert (
        'name="f.station.licence" value="10 W EIRP"'
        in visitor.get("/runs/run", params={"station": f"={name}", "run": "two-metre beam", "open": "site"}).text
    )


def test_rules_of_ones_own_are_written_in_the_readers_language_and_kept_as_a_file_has_them(ledger):
    from urllib.parse import quote

    name, site = "Harbour Ridge station (invented)", {"open": "site", "run": "two-metre beam"}
    german, plain = visitor_of(ledger, language="de"), visitor_of(ledger)
    own = {"own_limits": "Elektrisches Feld 28 V/m, Magnetfeld 0,07 A/m", "licence": "400 W Leistung, 2 m: 50 W EIRP"}
    told = {"token": token(german), "limits": "ICNIRP 2020", **own}
    assert german.post(f"/settings/site/{quote(name)}", data=told).status_code == 303
    for visitor, field, power in ((german, "elektrisches Feld", "Leistung"), (plain, "electric field", "power")):
        there = visitor.get("/runs/run", params={"station": f"={name}", **site}).text
        for page in (visitor.get("/settings").text, there):
            assert re.search(rf'value="{field} 28 V/m, [^"]*"', page)
            assert f'value="400 W {power}, 2 m: 50 W EIRP"' in page
            assert f"400 W {power}, " in page.partition("400 W " + power)[2]  # the hint has the same word


def test_the_shelf_says_only_what_the_app_itself_wrote(ledger):
    visitor = visitor_of(ledger)
    for query in ("said=Your+ledger+is+lost.", "said=Your+ledger+is+lost.&by=x", "said=a&by=%C3%A4"):
        assert "lost" not in visitor.get(f"/shelf?{query}").text
    asked = visitor.post("/shelf/away/meter/desk%20meter", data={"token": token(visitor)})
    assert "desk meter is put away. Restore brings it back." in visitor.get(asked.headers["location"]).text
    visitor.post("/shelf/away/meter/desk%20meter", data={"token": token(visitor), "back": "1"})


def test_every_word_of_a_template_is_a_message():
    text = b'<p title="Press it">Two {{ many|length }} {{ a.b }} <b>words</b></p><code>loss</code>'
    found = [m if isinstance(m, str) else m[0] for _, _, m, _ in messages_in(BytesIO(text), {"say": None}, (), {})]
    assert found == ["Press it", "Two {many} {b}", "words"]
    turned = environment().from_string("{% set a = {'b': '<i>'} %}<p>It holds {{ a.b }} and {x}.</p>")
    assert turned.render() == "<p>It holds &lt;i&gt; and {x}.</p>"
    untouched = "<p>{{ a }}, {% if b %}{{ c }} dB{% endif %}</p>"
    assert Worded(environment()).preprocess(untouched, None) == untouched


PRACTISED = "code=500+BQY&r=130.132.134"
PAGES = (
    "/", "/bench", "/bench/new", "/runs", "/exposure", "/shelf", "/shelf/piece/blue 7", "/shelf/new/piece",
    "/shelf/new/meter", "/shelf/check", "/settings", "/find", "/lines/loss", "/lines/new", "/connectors", "/sheets",
    "/labels", "/sweeps", "/practise", f"/practise/bench?{PRACTISED}&asked=1",
    f"/practise/truth?{PRACTISED}&claim=water|grey+8&claim=misread|1",
)  # fmt: skip
NAMES = (
    r"[\w-]+\.[\w.-]+/\S+|docs/[\w-]+\.md|letter \dx\d+ \S+|ICNIRP 2020 local|[A-Z]{2,}\d*|\d[\w./:+-]*|"
    r"[MkG]?Hz|dB|ohm|linewright|English|Deutsch|SWR|RG|"
    r"pad|blue|grey|black|multiband wire|two-metre beam|repeater link|"
    r"portable mast|Harbour Ridge club bench|Harbour Ridge station|Harbour|Ridge|invented|"
    r"\w+ meter"
)
"""What is the same in every language."""


def english(html):
    """Return what a page says outside the brackets that every message stands in."""
    left = []
    for text in words(html):
        rest, before = text, ""
        while rest != before:
            rest, before = re.sub(r"⟦[^⟦⟧]*⟧", " ", rest), rest
        if re.search(r"[^\W\d_]{3,}", re.sub(NAMES, " ", rest)):
            left.append(" ".join(text.split()))
    return left


@pytest.fixture
def bracketed(monkeypatch):
    """Write every message in brackets."""
    monkeypatch.setattr(Manner, "message", lambda self, one, many=None, n=1: f"⟦{one if n == 1 or not many else many}⟧")


@pytest.mark.parametrize("path", PAGES)
def test_a_page_says_nothing_that_cannot_be_said_in_another_language(ledger, bracketed, path):
    shown = visitor_of(ledger, lengths="ft").get(path)
    assert shown.status_code == 200
    assert english(shown.text) == []


SITE = "/settings/site/Harbour%20Ridge%20station%20%28invented%29"
WRONG = {
    "a unit": (SITE, {"limits": "ICNIRP 2020", "own_limits": "a lot"}),
    "a choice": (SITE, {"limits": "ICNIRP 2020", "noise": "moon"}),
    "a tick": (SITE, {"noise": "rural"}),
    "a length": ("/shelf/keep/piece", {"tag": "red 9", "line": "RG-213/U", "length": "20 furlongs"}),
    "a type": ("/shelf/keep/piece", {"tag": "red 9", "line": "RG-21x", "length": "20 m"}),
    "a day": ("/bench/new", {"do": "begin", "date": "yesterday", "tag1": "red 9", "length1": "20 m"}),
    "a file": ("/sweeps", {"what": "line"}),
    "a station": ("/runs", {"text": '[[run]]\nname = "beam"\npower = "5"'}),
    "a form": ("/nowhere", {}),
    "a token": ("/shelf/keep/piece", {"token": "old"}),
}


KEYS = re.compile(r"\brun 1 (?:power|chain|antenna|frequencies)\b|\bstation (?:noise|own_limits)\b|\bfurlongs\b")
"""Keys of a station's file, and what was typed."""


@pytest.mark.parametrize("wrong", WRONG)
def test_what_is_wrong_is_said_in_the_language_of_the_page(ledger, bracketed, wrong):
    """What was typed, the names of types and the keys of a file stay as they are."""
    address, told = WRONG[wrong]
    visitor = visitor_of(ledger)
    shown = visitor.post(address, data={"token": token(visitor)} | told)
    assert shown.status_code in (403, 404, 405, 422)
    assert [text for text in english(KEYS.sub(" ", shown.text)) if text not in told.values()] == []


def test_the_places_at_the_foot_of_a_phone_stand_apart_in_every_language(browser, site):
    from web.conftest import PHONE

    context = browser.new_context(base_url=site.address, **PHONE)
    context.add_cookies([{"name": TASTE, "value": Taste(language="de").cookie, "url": site.address}])
    page = context.new_page()
    page.goto("/shelf")
    page.wait_for_load_state()
    wide = page.locator(".top nav a").evaluate_all(
        "all => all.filter((a) => a.scrollWidth > a.clientWidth).map((a) => a.innerText)"
    )
    context.close()
    assert wide == []
