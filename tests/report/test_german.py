"""Reports in German: all of it stays on the page, and none of our sentences stays English."""

from __future__ import annotations

import csv
import gettext
import io
import re
import tomllib
from collections.abc import Iterator
from dataclasses import replace
from importlib.resources import files
from pathlib import Path
from string import Formatter
from typing import Any, get_args

import pypdf
import pypdfium2
import pytest

from linewright.core import locale as manners
from linewright.core.formatting import manner
from linewright.core.locale import Manner
from linewright.core.messages import say, written
from linewright.present.compose.plan_workings import POZAR
from linewright.present.document import Align, Document, Facts, Kind, Mark, Table
from linewright.present.localize import mapped
from linewright.present.writers.html import report_html
from report.reading import POINTS_PER_MM, bare, boxes, said

MARGIN_MM, SLACK = 18.0, 6.0
"""Points beyond the margin that a space at the end of a line may take."""
SIZES_MM = {"a4": 210.0, "letter": 215.9}
KINDS = ("bench", "station", "piece")
GERMAN = manner("de")
WORD = re.compile(r"[A-Za-z]{3,}")
TITLES = (POZAR, "47 CFR 1.1310", "ICNIRP 2020")
"""A published title stays in its language."""
CODES = {code for codes in (Align, Kind, Mark) for code in get_args(codes)}
"""What the page is set by; no reader sees it."""
UNITS = {"MHz", "kHz", "EIRP", "SWR", "SHA", "linewright", "sigma"}


class Blank(gettext.NullTranslations):
    """A language without letters: what keeps some was never said."""

    def gettext(self, message: str) -> str:
        """Return a message with its places and a dot for every letter."""
        found = Formatter().parse(message)
        return "".join(re.sub(r"\w", "·", text) + (f"{{{name}}}" if name else "") for text, name, _, _ in found)

    def ngettext(self, msgid1: str, msgid2: str, n: int) -> str:
        """Return the form for so many."""
        return self.gettext(msgid1 if n == 1 else msgid2)


@pytest.fixture
def blank(monkeypatch: pytest.MonkeyPatch) -> Manner:
    """Return the manner of that language."""
    monkeypatch.setattr(manners, "_messages", lambda language: Blank())
    return Manner("blank", ",")


def _strings(value: Any) -> Iterator[str]:
    if isinstance(value, str):
        yield value
    elif isinstance(value, dict):
        yield from (text for one in value.values() for text in _strings(one))
    elif isinstance(value, list):
        yield from (text for one in value for text in _strings(one))


@pytest.fixture(scope="module")
def names(demo: Path) -> set[str]:
    """Return the words of the names in the demo's files."""
    sheets = [tomllib.loads(path.read_text(encoding="utf-8")) for path in sorted(demo.glob("*.toml"))]
    return {word for text in _strings(sheets) for word in WORD.findall(text)} | UNITS


@pytest.fixture(scope="module")
def origins() -> list[str]:
    """Return published titles and the addresses in the catalogue's tables, the longest first."""
    found = set(TITLES)
    for table in files("linewright.catalogue").joinpath("data").iterdir():
        if table.name.endswith(".csv"):
            lines = table.read_text(encoding="utf-8").splitlines()
            cells = {c for row in csv.reader(x for x in lines if not x.startswith("#")) for c in row}
            found |= {c for c in cells if len(c) > 12 and " " not in c}
    return sorted(found, key=len, reverse=True)


def _left(document: Document, blank: Manner, names: set[str], origins: list[str]) -> list[str]:
    """Return the texts that keep words of ours in the language without letters."""
    texts: list[str] = []
    mapped(document, lambda text: texts.append(str(written(text, blank))) or text)
    facts = [fact for block in document.sections[-1].blocks if isinstance(block, Facts) for fact in block.rows]
    skipped = {value for _, value in facts} | set(document.names) | CODES
    given = sorted(skipped - CODES, key=len, reverse=True)  # the foot of a letter names what went in, and the command
    foot = {text for text in texts if document.maker in text and not _words(text, [*given, *_inputs(document)]) - names}
    return [text for text in texts if text not in skipped | foot and _words(text, origins) - names]


def _inputs(document: Document) -> list[str]:
    """Return the names of the files that went in, the longest first."""
    tables = [block for block in document.sections[-1].blocks if isinstance(block, Table)]
    return sorted((str(row.cells[0]) for t in tables for p in t.parts for row in p.rows), key=len, reverse=True)


def _words(text: str, origins: list[str]) -> set[str]:
    """Return the words of a text beside where its figures come from, and beside checksums."""
    for origin in origins:
        text = text.replace(origin, "")
    return set(WORD.findall(re.sub(r"\b[0-9a-f]{64}\b", "", text)))


@pytest.mark.parametrize("kind", KINDS)
def test_no_sentence_of_ours_is_left_in_english(documents, blank, names, origins, kind):
    left = _left(documents[kind], blank, names, origins)
    assert left == [], "\n".join(left)


def test_sources_and_changes_speak_german(paper_of):
    words = {kind: said(paper_of(kind, manner=GERMAN)) for kind in KINDS}
    assert bare("Lehrheft zu Relaisfunkstellen") in words["bench"]
    assert bare("Gleichungen 2.35 und 2.41 (aus dem Gedächtnis)") in words["station"]
    assert bare(POZAR) in words["station"]
    assert bare("in einem Text, der es zitiert: Tabelle 5, ganzer Körper") in words["station"]
    assert bare("Einsatzort: nichts → im Freien") in words["piece"]


def test_a_sentence_left_in_english_is_found(documents, blank, names, origins):
    bench = documents["bench"]
    first = replace(bench.sections[0], title=f"{bench.sections[0].title} at a glance")
    assert _left(replace(bench, sections=(first, *bench.sections[1:])), blank, names, origins) == [first.title]


@pytest.mark.parametrize("paper", SIZES_MM)
@pytest.mark.parametrize("kind", KINDS)
def test_german_words_stay_in_the_column(paper_of, kind, paper):
    edge, wide = MARGIN_MM * POINTS_PER_MM, SIZES_MM[paper] * POINTS_PER_MM
    content = paper_of(kind, paper, GERMAN)
    assert len(pypdfium2.PdfDocument(content)) > 2
    out = [box for box in boxes(content) if box.left < edge - SLACK or box.right > wide - edge + SLACK]
    assert [box.read() for box in out] == []


@pytest.mark.parametrize("kind", KINDS)
def test_paper_and_page_speak_german(documents, paper_of, kind):
    paper, page = paper_of(kind, manner=GERMAN), report_html(documents[kind], manner=GERMAN).decode()
    assert '<html lang="de">' in page
    assert pypdf.PdfReader(io.BytesIO(paper)).trailer["/Root"]["/Lang"] == "de"
    for english in ("Sources", "Assumptions", "To repeat this report"):
        german = written(say(english), GERMAN)
        assert german != english
        assert bare(german) in said(paper)
        assert german in page
