"""The help in German: a page is whole or English, keeps links, code, figures and anchors, and is found by its words."""

from __future__ import annotations

import re
import tomllib

import pytest
from fastapi.testclient import TestClient

from demo.tool import ROOT, tool
from linewright.web import manual
from linewright.web.app import create_app
from linewright.web.pages import help as pages
from linewright.web.sessions import Settings

made, words = tool("docs_help"), tool("docs_locale")
KEPT = words.kept("de")
ENGLISH = next(entry.page for entry in pages.entries() if entry.page not in KEPT)
ANCHOR = re.compile(r' id="([^"]+)"')
GERMAN = {"accept-language": "de"}


@pytest.fixture(scope="module", name="client")
def served(tmp_path_factory):
    settings = Settings(str(tmp_path_factory.mktemp("german") / "ledger.db"), 8765)
    with TestClient(create_app(settings), base_url="http://localhost:8765") as found:
        yield found


def test_every_page_kept_in_german_is_whole():
    assert made.untranslated() == []


def test_the_catalogues_are_in_step_with_the_pages():
    fresh = {path: words.po(catalogue) for path, catalogue in made.catalogues().items()}
    assert made.put(fresh, write=False) == [], "run tools/docs_help.py"


def test_what_is_kept_are_pages():
    assert set(KEPT) <= {entry.page for entry in pages.entries()}


@pytest.mark.parametrize("name", KEPT)
def test_a_page_has_the_same_anchors_in_german(name):
    assert ANCHOR.findall(pages.text_of(name, "de")) == ANCHOR.findall(pages.text_of(name, "en"))


@pytest.mark.parametrize(
    ("said", "fault"),
    [
        ("", "not translated"),
        ("Öffnen Sie **Regal** mit `--at`: 1,5 dB", "other links"),
        ("Öffnen Sie [**Regal**](a.md) mit `--an`: 1,5 dB", "other code"),
        ("Öffnen Sie [**Regal**](a.md) mit `--at`: 1,6 dB", "other figures"),
        ("Öffnen Sie [**Regal**](a.md) mit `--at`: 1.5 dB", "a decimal point"),
        ("Öffnen Sie [**Ablage**](a.md) mit `--at`: 1,5 dB", "the app has “Regal” for **Shelf**"),
    ],
)
def test_a_translation_keeps_links_code_figures_and_the_names_of_the_app(said, fault):
    block = "Open [**Shelf**](a.md) with `--at`: 1.5 dB"
    assert list(words.faults_of(block, "Öffnen Sie [**Regal**](a.md) mit `--at`: 1,5 dB", "de")) == []
    (found,) = words.faults_of(block, said, "de")
    assert found.startswith(fault)


@pytest.mark.parametrize("said", ["Aufgabe 2.3", "Erfolgskriterium 1.4.3", "CFR 1.1310", "7-16 und 4.3-10"])
def test_a_place_in_a_work_and_the_name_of_a_connector_keep_their_point(said):
    assert list(words.faults_of(said, said, "de")) == []
    assert list(words.faults_of(f"{said}, 2.5", f"{said}, 2.5", "de")) == ["a decimal point"]


def test_a_page_with_one_changed_sentence_is_english_again():
    text = made.source("quick-start-app.md")
    assert "One screen." in text
    assert words.in_language(text, "de", "quick-start-app")
    assert words.in_language(text.replace("One screen.", "One page."), "de", "quick-start-app") is None


def test_a_page_is_taken_apart_into_its_blocks():
    text = """# A *title*

!!! caution "Mind"
    Two lines
    of it.

- one `item`
    - inner

| a head | 1.5 dB |
|---|---|
| cell | [x](y.md) and `a|b` |

```
never this
```

    nor this
"""
    assert words.blocks(text) == [
        "A *title*", "Mind", "Two lines of it.", "one `item`", "inner", "a head", "cell", "[x](y.md) and `a|b`",
    ]  # fmt: skip
    assert "1,5 dB" in words.html(text, lambda block: words.marked(block, ","))


def test_a_changed_block_keeps_its_translation_until_somebody_has_seen_it():
    blocks = words.blocks(made.source("quick-start-app.md"))
    changed = [block.replace("One screen.", "One page only.") for block in blocks]
    (said,) = words.faults(words.in_step("de", "quick-start-app", changed), "de")
    assert said.startswith("marked fuzzy")
    assert "One page only." in said


def test_a_reader_of_german_gets_the_german_page_and_others_the_english(client):
    where = manual.address("quick-start-app")
    german, english = client.get(where, headers=GERMAN).text, client.get(where).text
    assert '<h1 id="quick-start-the-app">Schnellstart: die App</h1>' in german
    assert ">Schnellstart: das Terminal →</a>" in german
    assert "Quick start" not in german
    assert [entry.part for entry in pages.entries("de")][:1] == [""]
    assert "Schnellstart" not in english


def test_a_page_without_german_is_english_and_says_so(client):
    german, english = (client.get(manual.address(ENGLISH), headers=head).text for head in (GERMAN, {}))
    assert "Diese Seite ist auf Englisch" in german
    assert '<div lang="en"><h1' in german
    assert "This page is in English" not in english
    assert '<div lang="en">' not in english


def test_german_words_are_found_by_who_reads_german(client):
    german, english = (client.get("/help", params={"q": "Steckerwechseln"}, headers=head).text for head in (GERMAN, {}))
    assert "Schnellstart: die App" in german.split('<ol class="found">')[1]
    assert '<ol class="found">' not in english
    assert "Schnellstart: die App" in client.get("/find", params={"q": "Steckerwechseln"}, headers=GERMAN).text


def test_every_file_of_the_help_is_shipped_and_no_catalogue():
    shipped = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["tool"]["setuptools"]["package-data"]
    web = ROOT / "src" / "linewright" / "web"
    taken = {path for pattern in shipped["linewright.web"] for path in web.glob(pattern)}
    assert {path for path in made.HELP.rglob("*") if path.is_file()} <= taken
    assert not any(path.suffix == ".po" for path in taken)
