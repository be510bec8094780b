"""The pages of docs/ keep to the code: their links lead somewhere, their commands run, the glossary names every key."""

from __future__ import annotations

import importlib
import json
import pkgutil
import re
import shlex
import shutil
from dataclasses import fields, is_dataclass
from typing import Any, get_args, get_type_hints

import numpy as np
import pytest
from click.testing import CliRunner

import linewright as lw
from demo.tool import ROOT
from evidence.made_sweeps import Made
from linewright.cli import main
from linewright.core import nouns as model

DOCS = ROOT / "docs"
DEMO = ROOT / "src" / "linewright" / "verbs" / "demo_data"
NEW = {name: (DOCS / name).read_text(encoding="utf-8") for name in ("how-one-end-works.md", "how-sweeps-work.md")}
GLOSSARY = set(re.findall(r"`([^`]+)`", (DOCS / "glossary.md").read_text(encoding="utf-8")))
COMMANDS = [line for text in NEW.values() for line in re.findall(r"^linewright .+$", text, re.MULTILINE)]
OF_AN_END = re.compile(r"_(low|high|u)$")
ASKED = (
    "prove harbour-ridge.toml",
    "one-end --file mast.csv --line RG-213/U --length 30m",
    "through --curve beam.csv --line RG-213/U --length 30m",
    "through --curve beam.csv",
    "through --curve beam.csv --curve beam.s1p --line RG-213/U --length 30m",
    "cut drum.s2p --length 30m --at 145MHz --to half-wave --load 50",
    "sweep drum.s2p --length 30m",
    "sweep few.s2p",
    "sweep mast.s1p --far-end load",
    "plan harbour-ridge-station.toml",
    "plan harbour-ridge-station.toml --with power=5W",
    "reception harbour-ridge-station.toml",
    "exposure harbour-ridge-station.toml",
    "meaning 2dB --at 144MHz --signal S7",
    "loss RG-213/U 30m 14.2MHz",
    "lines",
)


def fenced(form: str) -> list[str]:
    """Return the blocks of a form in the page on one end in hand."""
    return re.findall(rf"```{form}\n(.*?)```", NEW["how-one-end-works.md"], re.DOTALL)


def curve() -> str:
    """Return what a meter shows of a resonant antenna behind 2.6 dB."""
    f = np.linspace(140e6, 150e6, 31)
    z = 40 * (1 + 15j * (f / 145e6 - 145e6 / f))
    seen = np.abs((z - 50) / (z + 50)) * 10**-0.26
    rows = [f"{x / 1e6:.3f},{(1 + g) / (1 - g):.2f}" for x, g in zip(f, seen, strict=True)]
    return "\n".join(["frequency_mhz,swr", *rows])


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """The folder a reader of the pages has: the demo's files, those that the pages show, and made-up sweeps."""
    place = tmp_path_factory.mktemp("pages")
    for path in DEMO.glob("harbour-ridge*"):
        shutil.copy(path, place)
    (place / "mast.csv").write_text(*fenced("csv"), encoding="utf-8")
    for name, text in zip(("mast.toml", "tables.toml"), fenced("toml"), strict=True):
        (place / name).write_text(text, encoding="utf-8")
    (place / "beam.csv").write_text(curve(), encoding="utf-8")
    drum = Made(length_m=30.0, k1_db=0.19, k2_db=0.0021, stop_hz=300e6, points=201, noise=3e-4)
    few = Made(length_m=30.0, k1_db=0.19, k2_db=0.0021, start_hz=100e6, points=41)
    ended = {"open.s1p": 1, "short.s1p": -1, "mast.s1p": 0, "beam.s1p": 0.1}
    swept = {name: drum.ended(far) for name, far in ended.items()}
    for name, sweep in (swept | {"drum.s2p": drum.through(), "few.s2p": few.through()}).items():
        lw.write_touchstone(sweep, place / name)
    rows = (place / "drum.s2p").read_text(encoding="utf-8").splitlines(keepends=True)
    (place / "bare.s2p").write_text("".join(row for row in rows if not row.startswith("#")), encoding="utf-8")
    return place


def test_the_pages_show_commands():
    assert len(COMMANDS) >= 12


@pytest.mark.parametrize("line", COMMANDS)
def test_a_command_of_a_page_runs(line, folder, monkeypatch):
    monkeypatch.chdir(folder)
    done = CliRunner().invoke(main, shlex.split(line)[1:])
    assert done.exit_code == 0, done.output


@pytest.mark.parametrize("page", NEW)
def test_a_command_named_in_a_sentence_exists(page):
    named = {words.split()[1] for words in re.findall(r"`(linewright [a-z][^`]*)`", NEW[page])}
    assert named
    assert named <= set(main.commands)


@pytest.mark.parametrize("page", sorted(DOCS.glob("*.md")), ids=lambda page: page.name)
def test_every_link_between_pages_leads_to_a_page_and_a_heading(page):
    missing = []
    for link in re.findall(r"\]\(([^)\s]+)\)", page.read_text(encoding="utf-8")):
        path, _, heading = link.partition("#")
        there = page if not path else page.parent / path
        if "://" not in link and not (there.exists() and (not heading or heading in headings(there))):
            missing.append(link)
    assert missing == []


def headings(page: Any) -> set[str]:
    """Return the anchors of a page's headings."""
    found = re.findall(r"^#+ (.+)$", page.read_text(encoding="utf-8"), re.MULTILINE)
    return {re.sub(r"[^\w\- ]", "", name.lower()).replace(" ", "-") for name in found}


def test_every_page_is_reached_from_the_readme():
    seen, new = set(), {ROOT / "README.md"}
    while new:
        page = new.pop()
        seen.add(page)
        links = re.findall(r"\]\(([^)\s#]+\.md)\)", page.read_text(encoding="utf-8"))
        new |= {(page.parent / link).resolve() for link in links if "://" not in link} - seen
    assert set(DOCS.glob("*.md")) <= seen


def documents() -> list[type]:
    """Return every noun that is a document: its ``to_dict`` names a schema."""
    rooms = [
        importlib.import_module(f"{model.__name__}.{found.name}") for found in pkgutil.iter_modules(model.__path__)
    ]
    nouns = [noun for room in rooms for noun in vars(room).values() if is_dataclass(noun)]
    return [noun for noun in dict.fromkeys(nouns) if "schema ``linewright/" in (said_of(noun) or "")]


def said_of(noun: Any) -> str | None:
    """Return what a noun's ``to_dict`` says it returns."""
    return getattr(getattr(noun, "to_dict", None), "__doc__", None)


def names(noun: type, seen: set[type]) -> set[str]:
    """Return the fields of a noun and of all nouns in them."""
    if noun in seen:
        return set()
    seen.add(noun)
    hints, found = get_type_hints(noun), {item.name for item in fields(noun)}
    return found.union(*(inner(hints[item.name], seen) for item in fields(noun)))


def inner(hint: Any, seen: set[type]) -> set[str]:
    """Return the fields of the nouns in a type."""
    own = names(hint, seen) if isinstance(hint, type) and is_dataclass(hint) else set()
    return own.union(*(inner(part, seen) for part in get_args(hint)))


def unnamed(keys: set[str]) -> set[str]:
    """Return the keys that the glossary does not name; an end of an interval goes with its value."""
    return {key for key in keys if key not in GLOSSARY and OF_AN_END.sub("", key) not in GLOSSARY}


def keys_of(value: Any) -> set[str]:
    """Return all keys in a document."""
    if isinstance(value, dict):
        return set(value).union(*map(keys_of, value.values()))
    return set().union(*map(keys_of, value)) if isinstance(value, list) else set()


@pytest.mark.parametrize(
    ("page", "head", "results"),
    [
        ("how-one-end-works.md", "| method | intervals that hold the truth |", "one_end_results.md"),
        ("how-sweeps-work.md", "| matched loss | intervals that hold the truth |", "sweeps_results.md"),
        ("how-sweeps-work.md", "| | velocity factor exact |", "faults_results.md"),
    ],
)
def test_the_figures_of_a_page_stand_in_its_results(page, head, results):
    table = NEW[page][NEW[page].index(head) :].partition("\n\n")[0].splitlines()[2:]
    told = {figure for row in table for figure in re.findall(r"(?<=\| )[\d.]+(?= \|)", row)}
    kept = re.findall(r"(?<=\| )[\d.]+(?= \|)", (ROOT / "benchmarks" / results).read_text(encoding="utf-8"))
    assert len(told) >= 7
    assert told <= set(kept)


def test_every_benchmark_is_described():
    page = (ROOT / "benchmarks" / "README.md").read_text(encoding="utf-8")
    assert [path.name for path in (ROOT / "benchmarks").glob("*.py") if path.name not in page] == []


def test_the_documents_are_found():
    assert {"BenchResult", "OneEndResult", "ThroughResult", "Plan", "WhatIf", "Meaning", "Shared", "Shelf"} <= {
        noun.__name__ for noun in documents()
    }


@pytest.mark.parametrize("noun", documents(), ids=lambda noun: noun.__name__)
def test_the_glossary_names_every_field_of_a_document(noun):
    assert unnamed(names(noun, set())) == set()


@pytest.mark.parametrize("words", ASKED)
def test_the_glossary_names_every_key_that_is_written(words, folder, monkeypatch):
    monkeypatch.chdir(folder)
    done = CliRunner().invoke(main, [*words.split(), "--json"])
    assert unnamed(keys_of(json.loads(done.stdout))) == set()
