"""What prove, plan and shelf say on a terminal can be said in another manner: all of it, figures and words."""

from __future__ import annotations

import re
import sys
from collections.abc import Callable, Iterator
from datetime import date

import pytest
from click import unstyle

from cli.doors import ask
from linewright.catalogue import designators
from linewright.cli import main, short
from linewright.cli.main import input_words
from linewright.cli.options import kept_words
from linewright.core.errors import InputError
from linewright.core.formatting import manner
from linewright.core.locale import Manner
from linewright.core.nouns.plan import ExposurePlan, Reception
from linewright.core.nouns.shelf import Kept
from linewright.present.compose import shelf
from linewright.present.compose.plan import plan_document, what_if_document
from linewright.present.compose.prove import bench_document
from linewright.present.writers.terminal import manner_of, terminal
from linewright.verbs import shelf as verbs
from linewright.verbs.due import due_first
from linewright.verbs.examples import demo_file, example_ledger
from linewright.verbs.meters import list_meters
from linewright.verbs.plan import plan_station
from linewright.verbs.prove import prove_cable
from linewright.verbs.shelf_items import all_kept
from linewright.verbs.shelf_stations import kept_gear, kept_runs, shelf_with_runs
from linewright.verbs.what_if import what_if
from wordless import ADDRESS, SYMBOLS, Wordless

SAME = {
    *designators(), "linewright shelf import STATION.toml", "linewright shelf import X.toml",
    "linewright shelf file SWEEP.s2p --piece TAG", "linewright shelf add TAG --length 7.2m --line RG-58C/U",
}  # fmt: skip
"""What is the same in every language: names of types, and commands."""
CITED = {"1.1310", "1.1307"}
"""Paragraphs of 47 CFR."""
DAY = date(2026, 4, 2)
POINT = re.compile(r"(?<![\d.])\d+\.\d+(?![\d.])")


def english(view: Callable[[], str], names: set[str]) -> set[str]:
    """Return the words that a view keeps in a language without words, names and symbols taken out."""
    with manner_of(Wordless()):
        said = ADDRESS.sub(" ", unstyle(view()))
    said = " ".join(said.split())
    for known in sorted({*names, *SAME, *SYMBOLS}, key=len, reverse=True):
        said = said.replace(known, " ")
    return set(re.findall(r"[^\W\d_]{2,}", said))


def points(view: Callable[[], str]) -> list[str]:
    """Return the figures that keep a decimal point where a comma is asked for."""
    with manner_of(Manner(decimal=",")):
        return [figure for figure in POINT.findall(unstyle(view())) if figure not in CITED]


@pytest.fixture(scope="module")
def bench():
    return prove_cable(demo_file("harbour-ridge.toml"))


def bench_names(bench) -> set[str]:
    readings = bench.readings
    return {bench.title, *(p.piece for p in bench.pieces), *(r.meter for r in readings), *(r.path for r in readings)}


@pytest.mark.parametrize("explain", [False, True])
def test_a_bench_is_said_anew(bench, explain):
    view = lambda: terminal(bench_document(bench), explain=explain)  # noqa: E731 - a view to be asked twice
    assert english(view, bench_names(bench)) == set()
    assert points(view) == []


def test_a_short_bench_is_said_anew(bench):
    assert english(lambda: short.short_bench(bench), bench_names(bench)) == set()
    assert points(lambda: short.short_bench(bench)) == []


@pytest.fixture(scope="module")
def plan():
    return plan_station(demo_file("harbour-ridge-station.toml"))


def plan_names(plan) -> set[str]:
    bands = [x for b in plan.budgets for x in b.bands]
    return {
        plan.station, *(b.run for b in plan.budgets), *(p.name for x in bands for p in x.parts),
        *(e.limit for x in bands for e in x.exposure), "blue 7", "blue 18", "black 20", "Harbour Ridge",
        "Harbour Ridge club bench (invented)", "EIRP", "ERP", "SWR", "CFR", "ICNIRP", "BNC", "UHF",
    }  # fmt: skip


def plan_views(plan) -> Iterator[tuple[str, Callable[[], str]]]:
    yield "whole", lambda: terminal(plan_document(plan))
    yield "short", lambda: short.short_plan(plan)
    yield "reception", lambda: short.short_reception(Reception(plan))
    yield "exposure", lambda: short.short_exposure(ExposurePlan(plan))


@pytest.mark.parametrize("which", ["whole", "short", "reception", "exposure"])
def test_a_plan_is_said_anew(plan, which):
    view = dict(plan_views(plan))[which]
    assert english(view, plan_names(plan)) == set()
    assert points(view) == []


def test_a_change_is_rewritten_in_the_language():
    found = what_if(demo_file("harbour-ridge-station.toml"), ["two-metre beam: line 1 = RG-58C/U"])
    names = {*plan_names(found.before), *plan_names(found.after), *found.changes}
    for view in (lambda: terminal(what_if_document(found)), lambda: short.short_what_if(found)):
        assert english(view, names) == set()
        assert points(view) == []


@pytest.fixture(scope="module")
def ledger():
    with example_ledger() as found:
        verbs.add_note(found, "piece", "blue 7", "gnawed")
        yield found


def shelf_names(ledger) -> set[str]:
    listed = shelf_with_runs(ledger, on=DAY)
    return {
        *(p.tag for p in listed.pieces), *(m.meter for m in list_meters(ledger).meters), "gnawed", "blue drum", "BNC",
        *(name for r in listed.runs for name in (r.station, r.run)), "Harbour Ridge spring check 2025 (invented)",
        "One meter, one band (invented)",
    }  # fmt: skip


def shelf_sayings(ledger) -> Iterator[tuple[str, Callable[[], str]]]:
    known = verbs.history_of(ledger, "blue 7", on=DAY, limits=[(144e6, 3.0)])
    yield "list", lambda: terminal(shelf.shelf_document(shelf_with_runs(ledger, on=DAY)))
    yield "due", lambda: terminal(shelf.due_document(due_first(ledger, on=DAY).due))
    yield "runs", lambda: terminal(shelf.runs_document(kept_runs(ledger).runs))
    yield "meters", lambda: terminal(shelf.meters_document(list_meters(ledger).meters))
    yield "piece", lambda: terminal(shelf.piece_document(known))
    yield "history", lambda: terminal(shelf.history_document(known, 30))
    yield "short", lambda: short.short_piece(known)
    (meter, *_) = all_kept(ledger, "meter")
    yield "kept", lambda: kept_words((Kept(meter),))
    yield "nothing due", lambda: terminal(shelf.due_document(()))
    yield "no sweeps", lambda: terminal(shelf.sweeps_document(()))
    yield "no gear", lambda: terminal(shelf.gear_document(()))
    yield "no runs", lambda: terminal(shelf.runs_document(()))
    yield "no meters", lambda: terminal(shelf.meters_document(()))
    yield "no changes", lambda: terminal(shelf.changes_document(()))


SHELF = ("list", "due", "runs", "meters", "piece", "history", "short", "kept", "nothing due", "no sweeps", "no gear",
         "no runs", "no meters", "no changes")  # fmt: skip


WRITTEN = ("list", "runs")
"""They show the bands of a run as its station has them, in somebody's own writing."""


@pytest.mark.parametrize("which", SHELF)
def test_the_shelf_is_said_anew(ledger, which):
    view = dict(shelf_sayings(ledger))[which]
    assert english(view, shelf_names(ledger)) == set()
    assert points(view) == (["14.2"] if which in WRITTEN else [])


def test_gear_is_said_anew_but_for_what_somebody_wrote(ledger):
    gear = kept_gear(ledger).gear
    written = {word for item in gear for text in (item.key, *map(str, item.body), *map(str, item.body.values()))
               for word in re.findall(r"\w+", text)}  # fmt: skip
    assert english(lambda: terminal(shelf.gear_document(gear)), {*written, "nothing"}) == set()


def test_every_command_of_these_takes_the_manner(tmp_path):
    sheet, station, place = (
        demo_file("harbour-ridge.toml"),
        demo_file("harbour-ridge-station.toml"),
        tmp_path / "l.sqlite",
    )
    ask("shelf", "file", str(sheet), "--ledger", str(place), "--on", "2026-03-14")
    for words in (
        ("prove", str(sheet)), ("prove", str(sheet), "--short"), ("plan", str(station), "--run", "repeater link"),
        ("shelf", "show", "blue 7", "--ledger", str(place), "--date", "2026-04-02"),
    ):  # fmt: skip
        plain, german = ask(*words).output, ask(*words, "--language", "de").output
        assert len(POINT.findall(plain)) > 3
        assert not set(POINT.findall(german)) - CITED
        assert ask(*words, "--decimal", "comma").output != plain
    assert "ft" in ask("shelf", "show", "blue 7", "--ledger", str(place), "--lengths", "ft").output


REFUSED = [
    ("loss", "RG-213/U", "30 m", "14"),
    ("loss", "no such line", "30 m", "14MHz"),
    ("prove", "nowhere.toml"),
    ("shelf", "show", "nothing of this name"),
]


@pytest.mark.parametrize("words", REFUSED, ids=" ".join)
@pytest.mark.parametrize("how", [("--language", "de"), ("--language=de",)], ids=" ".join)
def test_what_is_wrong_is_said_in_the_language_that_was_asked_for(words, how, tmp_path, monkeypatch):
    monkeypatch.setenv("LINEWRIGHT_LEDGER", str(tmp_path / "ledger.sqlite"))
    english, asked = ask(*words), ask(*words, *how)
    assert (english.exit_code, asked.exit_code) == (2, 2)
    with manner_of(manner("de")):
        with pytest.raises(InputError) as caught:
            main.main([*words, *how], standalone_mode=False)
        assert asked.stderr == input_words(caught.value) + "\n"
    assert asked.stderr != english.stderr


@pytest.mark.parametrize(
    ("words", "exit_code"),
    [
        (("loss", "RG-213/U", "--langage"), 2),
        (("loss",), 2),
        (("report", "blue 7"), 2),
    ],
    ids=str,
)
def test_every_word_about_a_slip_can_be_said_anew(words, exit_code, monkeypatch):
    """Names of options and arguments stay as they are typed."""
    monkeypatch.setattr(sys.modules["linewright.cli.main"], "manner_asked", lambda _: Wordless())
    done = ask(*words)
    assert done.exit_code == exit_code
    said = re.sub(r"\bmain [a-z]+( show)?|\[OPTIONS\]|--[a-z]+|\b[A-Z]{2,}|blue", " ", done.stderr)
    assert re.findall(r"[a-z]{2,}", said) == []


def test_a_language_that_is_not_known_is_refused_in_english():
    assert "is not one of" in ask("lines", "--language", "xx").stderr
