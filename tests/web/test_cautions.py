"""Every verb carries the cautions of the subjects it touches, on every door: text, JSON, /api, page and report."""

from __future__ import annotations

import ast
import html
import json
import os
import re
from datetime import date
from pathlib import Path
from time import sleep
from urllib.parse import urlencode

import pytest
from click.testing import CliRunner
from starlette.testclient import TestClient

import linewright
from linewright.catalogue.cautions import CAUTIONS, VERBS, cautions_of
from linewright.cli.main import main
from linewright.verbs.plan import plan_station
from linewright.verbs.shelf import file_sheet, open_ledger
from linewright.web.app import create_app
from linewright.web.sessions import Settings
from linewright.web.stations import packed
from report.reading import bare, said

HOME = "http://localhost:8731"
DEMO = Path(linewright.__file__).parent / "verbs" / "demo_data"
SAFETY = Path(__file__).parents[2] / "docs" / "safety.md"
CABLE = Path(__file__).parents[1] / "data" / "touchstone" / "cables" / "coax_10m_two_port.s2p"
STATION, SHEET, FIELD_DAY, PRICES = (
    str(DEMO / f"harbour-ridge{tail}") for tail in ("-station.toml", ".toml", "-field-day.toml", "-prices.csv")
)
FILES = {n: (DEMO / n).read_text(encoding="utf-8") for n in ("harbour-ridge.toml", "harbour-ridge.csv")}
BEAM = ("--run", "two-metre beam")
UNTOUCHED = {
    "label": "a name on paper", "chart": "a drawing of another verb's answer",
    "report": "holds another verb's answer, see REPORTS", "serve": "opens the pages", "demo": "writes files",
    "shelf": "its show and history are walked", "check": "looks at the program alone",
    "completion": "a script for the shell", "manual": "the help on one page",
}  # fmt: skip
"""Commands that answer with nothing a person acts on, and why."""

COMMANDS: dict[str, tuple[tuple[str, ...], ...]] = {
    "prove": (("prove", SHEET),),
    "sheet": (("sheet", SHEET),),
    "plan": (("plan", STATION, *BEAM), ("plan", STATION, *BEAM, "--with", "power = 10 W")),
    "reception": (("reception", STATION, *BEAM),),
    "exposure": (
        ("exposure", STATION, *BEAM), ("exposure", "--power", "5 W", "--gain", "0 dBi", "--at", "144 MHz"),
    ),
    "one-end": (("one-end", "--open", "7.1", "--short", "6.8", "--at", "144 MHz"),),
    "through": (("through", "--shack-swr", "1.3", "--loss", "3 dB"),),
    "sweep": (("sweep", str(CABLE), "--far-end", "through"),),
    "choose": (("choose", STATION, *BEAM, "--prices", PRICES),),
    "share": (("share", FIELD_DAY),),
    "cut": (("cut", str(CABLE), "--length", "10 m", "--to", "quarter wave", "--at", "145 MHz"),),
    "loss": (("loss", "RG-213/U", "10 m", "144 MHz"),),
    "lines": (("lines",), ("lines", "RG-213/U")),
    "connectors": (("connectors",),),
    "impedance": (("impedance", "--centre-diameter", "2mm", "--spacing", "150mm"),),
    "meaning": (("meaning", "100 W EIRP", "--distance", "10 m"),),
    "practise": (("practise", "--seed", "7", "--show"), ("practise", "--seed", "7", "--guess", "cannot tell")),
    "listen": (("listen", "--from", os.devnull),),
    "shelf show": (("shelf", "show", "blue 7"), ("shelf", "history", "blue 7")),
}  # fmt: skip


@pytest.fixture(scope="module")
def ledger(tmp_path_factory):
    """A ledger that holds the invented bench."""
    where = str(tmp_path_factory.mktemp("cautions") / "ledger.sqlite")
    with open_ledger(where) as found:
        file_sheet(found, Path(SHEET), on=date(2026, 3, 20))
    return where


@pytest.fixture(scope="module")
def program(ledger):
    client = TestClient(create_app(Settings(ledger)), base_url=HOME)
    client.headers["x-linewright-token"] = client.get("/api/session").json()["token"]
    return client


def words(text):
    return " ".join(re.sub("\x1b\\[[0-9;]*m", "", text).split())


def page_words(page):
    return words(html.unescape(re.sub(r"<[^>]+>", " ", page)))


def said_by(*command, ledger):
    ran = CliRunner().invoke(main, list(command), standalone_mode=False, env={"LINEWRIGHT_LEDGER": ledger})
    assert ran.exception is None, ran.exception
    return ran.stdout


def lacking(verb, text):
    return [caution for caution in cautions_of(verb) if words(caution) not in text]


def test_every_command_is_walked_or_touches_nothing():
    assert main.commands.keys() == {verb for verb in VERBS if " " not in verb} | UNTOUCHED.keys()
    assert COMMANDS.keys() == VERBS.keys()


@pytest.mark.parametrize(("verb", "command"), [(v, c) for v, all_ in COMMANDS.items() for c in all_], ids=str)
def test_a_command_says_its_cautions_in_words_and_in_json(verb, command, ledger):
    assert lacking(verb, words(said_by(*command, ledger=ledger))) == []
    told = json.loads(said_by(*command, "--json", ledger=ledger))["cautions"]
    assert set(told) >= set(cautions_of(verb))


def _asked(program):
    text = {n: (DEMO / n).read_text(encoding="utf-8") for n in ("harbour-ridge-field-day.toml",)}
    beam, prices = {"station": "harbour-ridge", "run": "two-metre beam"}, Path(PRICES).read_text(encoding="utf-8")
    sheet = {"sheet": FILES["harbour-ridge.toml"], "files": FILES}
    readings = [{"frequency": "144 MHz", "far_end": e, "swr": s} for e, s in (("open", "7.1"), ("short", "6.8"))]
    swept = {"name": CABLE.name, "text": CABLE.read_text(encoding="utf-8"), "far_end": "through"}
    return {
        "prove": program.post("/api/prove", json={"sheet": "harbour-ridge"}),
        "sheet": program.post("/api/sheet", json=sheet),
        "plan": program.post("/api/plan", json=beam),
        "plan ": program.post("/api/what-if", json={**beam, "changes": ["power = 10 W"]}),
        "reception": program.post("/api/reception", json=beam),
        "exposure": program.post("/api/exposure", json=beam),
        "one-end": program.post("/api/one-end", json={"readings": readings}),
        "through": program.get("/api/through", params={"shack_swr": "1.3", "loss": "3 dB"}),
        "sweep": program.post("/api/sweeps", json={"files": [swept]}),
        "choose": program.post("/api/choose", json={**beam, "prices": {"name": "p.csv", "text": prices}}),
        "share": program.post("/api/share", json={"station": text["harbour-ridge-field-day.toml"], "files": FILES}),
        "cut": program.post(
            "/api/cut",
            json={
                "sweeps": [{"name": "ten metres", "files": [swept], "length": "10 m"}],
                "at": ["145 MHz"],
                "to": "half wave",
            },
        ),
        "loss": program.get("/api/loss", params={"line": "RG-213/U", "length": "10 m", "frequency": "144 MHz"}),
        "lines": program.get("/api/lines"),
        "connectors": program.get("/api/connectors"),
        "impedance": program.get("/api/impedance", params={"centre_diameter": "2mm", "spacing": "150mm"}),
        "meaning": program.get("/api/meaning", params={"change": "100 W EIRP", "distance": "10 m"}),
        "practise": program.post("/api/practise", json={"seed": 7}),
        "practise ": program.post("/api/practise", json={"seed": 7, "guess": "cannot tell"}),
        "listen": program.get("/api/bench/next", params={"session": _session(program)}),
        "shelf show": program.get("/api/shelf/piece", params={"tag": "blue 7"}),
    }


def _session(program):
    return program.get("/api/bench/sessions").json()["sessions"][0]["key"]


def test_api_says_the_cautions_of_every_verb(program):
    answers = _asked(program)
    assert {name.strip() for name in answers} == set(VERBS)
    for name, answer in answers.items():
        assert answer.status_code == 200, (name, answer.text)
        assert set(answer.json()["cautions"]) >= set(cautions_of(name.strip())), name


def _done(program, page):
    """Return the page that a long work leads to, once it is done."""
    while "/waiting/" in str(page.url):
        sleep(0.1)
        page = program.get(str(page.url))
    return page


def _pages(program):
    field_day = packed(Path(FIELD_DAY).read_text(encoding="utf-8"), FILES)
    prices = Path(PRICES).read_text(encoding="utf-8")
    given = {"files": (CABLE.name, CABLE.read_bytes())}
    session = re.search(r'href="/bench/at/([^"]+)"', program.get("/bench").text)[1]
    beam = {"station": "harbour-ridge", "run": "two-metre beam"}
    return {
        "prove": program.get(f"/bench/said/{session}"),
        "prove ": program.get(f"/bench/at/{session}"),
        "plan": program.get("/runs/run", params=beam),
        "plan ": program.get("/runs", params={"station": "harbour-ridge"}),
        "one-end": program.get("/sweeps/one-end?at1=144+MHz&open1=7.1&short1=6.8"),
        "one-end ": program.get("/sweeps/one-end"),
        "through": program.get("/sweeps/through?shack_swr=1.3&loss=3+dB"),
        "exposure": program.get("/exposure?power=5&at=144&kind=&gain=0"),
        "exposure ": program.get("/exposure"),
        "sweep": program.post("/sweeps", files=given, data={"token": program.headers["x-linewright-token"]}),
        "cut": program.get("/sweeps/cut?piece=blue+7&at=145&want=line&to=half+wave"),
        "choose": program.get("/runs/choose", params={**beam, "prices": prices}),
        "share": program.get("/runs/share?" + urlencode({"station": field_day})),
        "practise": program.get("/practise/bench?code=200+0DQ"),
        "practise ": program.get("/practise/truth?code=200+0DQ&claim=cannot+tell|"),
        "shelf show": program.get("/shelf/piece/blue%207"),
        "lines": program.get("/lines"),
        "lines ": program.get("/lines?type=RG-213/U"),
    }


def test_a_report_that_a_page_hands_out_says_them_too(program):
    report = program.get("/report/piece/blue%207", params={"form": "html"})
    assert report.status_code == 200, report.text
    assert lacking("shelf show", page_words(report.text)) == []


def test_pages_say_the_cautions_of_the_verb_they_show(program):
    for name, asked in _pages(program).items():
        page = _done(program, asked)
        assert page.status_code == 200, (name, page.text)
        assert lacking(name.strip(), page_words(page.text)) == [], name


REPORTS = {"prove": (SHEET,), "plan": (STATION,), "shelf show": ("blue 7",)}


@pytest.mark.parametrize("end", ["html", "pdf"])
@pytest.mark.parametrize("verb", REPORTS)
def test_a_report_says_the_cautions_of_the_verb_it_shows(verb, end, ledger, tmp_path):
    out = tmp_path / f"report.{end}"
    said_by("report", *REPORTS[verb], "-o", str(out), "--date", "2026-04-02", ledger=ledger)
    if end == "html":
        assert lacking(verb, page_words(out.read_text(encoding="utf-8"))) == []
    else:
        written = said(out.read_bytes())
        assert [caution for caution in cautions_of(verb) if bare(caution) not in written] == []


def test_no_preamplifier_is_proposed_without_its_bypass_on_transmit():
    proposed = [
        remedy.what
        for budget in plan_station(STATION).budgets
        for band in budget.bands
        for remedy in band.reception.remedies
        if "preamplifier" in remedy.what
    ]
    choice = said_by("choose", STATION, *BEAM, "--prices", PRICES, "--json", ledger="")
    proposed += [r["what"] for r in json.loads(choice)["remedies"] if "preamplifier" in r["what"]]
    assert len(proposed) > 5
    assert all("bypassed on transmit" in what for what in proposed)


def test_nothing_says_that_something_is_safe_and_mains_is_named():
    said = " ".join(caution for some in CAUTIONS.values() for caution in some)
    assert not re.search(r"\bsafe\b", said)
    assert "Mains" in said


def test_the_safety_page_lists_every_verb_with_its_subjects_and_every_caution():
    page = words(SAFETY.read_text(encoding="utf-8"))
    for verb, subjects in VERBS.items():
        assert f"| `{verb}` | {', '.join(subjects)} |" in page
    assert [c for some in CAUTIONS.values() for c in some if words(c) not in page] == []


def _sentences():
    """Yield every sentence that the code writes: the texts of its messages."""
    for path in Path(linewright.__file__).parent.rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and getattr(node.func, "id", "") in ("say", "mark", "say_many"):
                yield from (a.value for a in node.args if isinstance(a, ast.Constant) and isinstance(a.value, str))


def test_no_sentence_of_the_program_says_that_something_is_safe():
    said = list(_sentences())
    assert len(said) > 1000
    assert [sentence for sentence in said if re.search(r"\bsafe(ly)?\b", sentence)] == []
