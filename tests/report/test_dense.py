"""Workings on paper: shorter, and nothing of them lost."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest

from linewright.core.formatting import manner, plain
from linewright.core.locale import ENGLISH, Manner
from linewright.core.messages import GAP, say, taken_apart, written
from linewright.present.compose.provenance import workings_section
from linewright.present.document import Document, Way, Workings
from linewright.present.localize import in_manner
from linewright.present.writers.paper import Kind, dense, report_pdf
from report.reading import bare, said_across

MANNERS = (ENGLISH, manner("de"), Manner(lengths="ft"))
KINDS = ("bench", "station", "piece")


def workings_of(document: Document) -> Workings:
    """Return the block of workings of a document."""
    return next(b for s in document.sections for b in s.blocks if isinstance(b, Workings))


def told(kind: Kind) -> set[tuple[str, frozenset[str]]]:
    """Return each figure's sentence with what went in, "name: value", as a reader puts them together from the table."""
    numbered = {found[1]: found[2] for text in kind.said if (found := re.match(r"(\(\d+\)) (.*)", text))}
    shared = [text for text in kind.said if not re.match(r"\(\d+\) ", text)]
    assert len(shared) <= 1
    rows = set()
    for row in kind.rows:
        words = kind.frame.split(GAP)
        cells = row[: kind.filled]
        figure = "".join(map("".join, zip(words, (*cells, ""), strict=True))) if kind.frame else cells[0]
        own = zip(kind.heads, row[kind.filled :], strict=True)
        common = [text.partition(": ")[2] for text in shared]
        rows.add((figure, frozenset([*(f"{name}: {numbered.get(value, value)}" for name, value in own), *common])))
    return rows


@pytest.mark.parametrize("asked", MANNERS, ids=["en", "de", "ft"])
@pytest.mark.parametrize("kind", KINDS)
def test_every_figure_and_what_went_in_can_be_read_back(documents, kind, asked):
    workings = workings_of(in_manner(documents[kind], asked))
    for way, worked in zip(workings.ways, dense(workings, asked), strict=True):
        assert (worked.formula, worked.source) == (way.formula, way.source)
        found: dict[str, set[str]] = {}
        for one in worked.kinds:
            for figure, inputs in told(one):  # two figures may read the same and rest on different numbers
                found.setdefault(figure, set()).update(inputs)
        assert set(found) == {figure for figure, _ in way.figures}
        for figure, inputs in way.figures:
            whole = "; ".join(found[figure])
            assert [f"{n}: {v}" for n, v in inputs if f"{n}: {v}" not in whole] == []


def test_a_value_that_is_the_same_in_each_is_said_once_and_a_long_one_by_its_number():
    long = "a table that somebody copied from somewhere"
    rows = tuple((f"loss {i}", (("length", "7 m"), ("source", long if i % 2 else "ours"))) for i in range(6))
    (worked,) = dense(Workings((_way(rows),)), ENGLISH)
    (kind,) = worked.kinds
    assert kind.said == ("the same in each: length: 7 m", f"(1) {long}")
    assert kind.heads == ("source",)
    assert [row[-1] for row in kind.rows] == ["ours", "(1)"] * 3


def test_a_lone_figure_keeps_all_that_went_in():
    (worked,) = dense(Workings((_way((("loss", (("length", "7 m"),)),)),)), ENGLISH)
    assert worked.kinds == (Kind("", 1, ("length",), (("loss", "7 m"),), ()),)


def _way(rows) -> Way:
    return Way("length · law", "ours", rows, tuple(taken_apart(figure) for figure, _ in rows))


def test_a_sentence_is_taken_apart_in_the_order_of_its_language(monkeypatch):
    sentence = say("loss of {part}: {loss} dB", part="blue 7", loss=plain(1.5, 1))
    turned = "{loss} dB verliert {part}"
    monkeypatch.setattr(Manner, "message", lambda self, pattern, many=None, count=1: turned)
    frame, filled = taken_apart(sentence)
    comma = Manner("de", ",")
    assert written(frame, comma) == "… dB verliert …"
    assert [written(text, comma) for text in filled] == ["1,5", "blue 7"]


@pytest.mark.parametrize("kind", KINDS)
def test_paper_holds_every_value_of_the_workings(documents, paper_of, kind):
    document = in_manner(documents[kind], ENGLISH)
    words = said_across(paper_of(kind), document.title + document.subtitle)
    workings = workings_of(document)
    values = {value for way in workings.ways for _, inputs in way.figures for _, value in inputs}
    assert [value for value in values if bare(value) not in words] == []


def test_workings_take_less_than_a_third_of_a_station_report(documents, paper_of):
    import io

    import pypdf

    whole = documents["station"]
    rest = replace(
        whole, sections=tuple(s for s in whole.sections if not any(isinstance(b, Workings) for b in s.blocks))
    )
    pages = [len(pypdf.PdfReader(io.BytesIO(one)).pages) for one in (paper_of("station"), report_pdf(rest))]
    assert pages[0] - pages[1] < pages[0] / 3


def test_workings_without_any_figure_are_left_out():
    assert workings_section(()).blocks == ()
