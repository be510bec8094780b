"""Reports of a letter's length: few pages, each filled, one key to the drawings, every scale with marks enough."""

from __future__ import annotations

import io
import re
from dataclasses import replace
from xml.etree import ElementTree

import pypdf
import pytest

from linewright.core.formatting import manner
from linewright.core.locale import ENGLISH
from linewright.core.messages import written
from linewright.core.nouns.bench import Limits
from linewright.core.nouns.plan import Plan
from linewright.core.nouns.station import Station
from linewright.present.charts.loss import loss_panel
from linewright.present.compose.plan_words import arrival, on_air, radiated, watts
from linewright.present.compose.station import station_report
from linewright.present.document import Document
from linewright.present.writers.drawings import drawn, panels_of
from linewright.present.writers.html import report_html
from linewright.present.writers.paper import report_pdf
from report.made import MADE
from report.reading import bare, boxes, page_texts

MANNERS = {"en": ENGLISH, "de": manner("de")}
PAPERS = ("a4", "letter")
MOST_PAGES = {"bench": 2, "station": 4, "piece": 2}
"""The demo's station has four runs: a page a run."""
LEAST_FILLED = 1 / 3
FOOT_POINTS = 51.0
"""The foot of a page reaches so high, from its lower edge."""


def filled(content: bytes) -> list[float]:
    """Return how much of the height of each page is used, from the head of the column down to the lowest words."""
    sizes = [float(page.mediabox.height) for page in pypdf.PdfReader(io.BytesIO(content)).pages]
    lowest = list(sizes)
    for box in boxes(content):
        if box.bottom > FOOT_POINTS:
            lowest[box.page] = min(lowest[box.page], box.bottom)
    return [(high - low) / (high - FOOT_POINTS) for high, low in zip(sizes, lowest, strict=True)]


@pytest.mark.parametrize("paper", PAPERS)
@pytest.mark.parametrize("language", MANNERS)
@pytest.mark.parametrize("kind", MOST_PAGES)
def test_a_report_is_as_long_as_a_letter_and_fills_its_pages(paper_of, kind, language, paper):
    content = paper_of(kind, paper, MANNERS[language], appendix=False)
    used = filled(content)
    assert len(used) <= MOST_PAGES[kind]
    assert min(used[:-1], default=1.0) > LEAST_FILLED


def test_eight_runs_take_no_more_than_eight_pages(station: tuple[Station, Plan]) -> None:
    found, plan = station
    more = tuple(replace(b, run=f"{b.run} again") for b in plan.budgets)
    used = filled(report_pdf(station_report(found, replace(plan, budgets=plan.budgets + more), MADE).letter()))
    assert len(used) <= 8
    assert min(used[:-1]) > LEAST_FILLED


@pytest.mark.parametrize("paper", PAPERS)
@pytest.mark.parametrize("language", MANNERS)
def test_a_station_of_one_run_takes_one_page(station: tuple[Station, Plan], language, paper) -> None:
    found, plan = station
    for budget in plan.budgets:
        document = station_report(found, replace(plan, budgets=(budget,)), MADE).letter()
        assert document.one_page
        content = report_pdf(document, MANNERS[language], paper)
        assert len(filled(content)) == 1, budget.run
        assert bare(written(budget.bands[0].parts[-1].name, MANNERS[language])) in bare(page_texts(content)[0])


def test_a_run_alone_keeps_its_drawing_where_the_page_has_room_for_it(station: tuple[Station, Plan]) -> None:
    found, plan = station
    drawn = {
        b.run: bare("turned to heat")
        in bare(page_texts(report_pdf(station_report(found, replace(plan, budgets=(b,)), MADE).letter()))[0])
        for b in plan.budgets
    }
    assert drawn["two-metre beam"]
    assert not drawn["multiband wire"]  # five bands, each with its note


def test_a_run_of_very_many_bands_runs_on(station: tuple[Station, Plan]) -> None:
    found, plan = station
    wire = plan.budgets[0]
    many = replace(wire, bands=tuple(replace(x, frequency_hz=x.frequency_hz + i) for i in range(4) for x in wire.bands))
    assert len(filled(report_pdf(station_report(found, replace(plan, budgets=(many,)), MADE).letter()))) == 2


def test_workings_and_every_reading_come_only_when_asked_for(paper_of, documents):
    short, whole = (page_texts(paper_of("bench", appendix=asked)) for asked in (False, True))
    for words in ("How each figure was worked out", "Readings in the order taken", "To repeat this report"):
        assert not any(bare(words) in bare(page) for page in short)
        assert any(bare(words) in bare(page) for page in whole)
    assert any("--appendix" in page for page in short)
    assert bare("Appendix") in bare(whole[len(short)])  # it begins on a page of its own


def test_a_page_has_its_appendix_closed_until_it_is_asked_for(documents):
    closed, opened = (report_html(documents["bench"], opened=asked).decode() for asked in (False, True))
    assert '<details id="appendix" class="appendix">' in closed
    assert '<details id="appendix" class="appendix" open>' in opened
    assert closed.index('id="appendix"') < closed.index("How each figure was worked out</h2>")


@pytest.mark.parametrize("kind", MOST_PAGES)
def test_what_follows_the_letter_is_all_appendix(documents, kind):
    marks = [s.appendix for s in documents[kind].sections]
    assert marks == sorted(marks)
    assert [s for s in documents[kind].letter().sections if s.appendix] == []


def test_a_letter_has_one_key_to_each_kind_of_drawing(paper_of):
    station, bench = ("".join(map(bare, page_texts(paper_of(k, appendix=False)))) for k in ("station", "bench"))
    assert station.count(bare("share of the wave that comes back")) == 1
    assert bench.count(bare("as the type specifies, with its spread")) == 1
    whole = "".join(map(bare, page_texts(paper_of("station"))))
    assert whole.count(bare("at work, trained and aware")) == 1
    assert whole.count(bare("as planned, with 95 % interval")) == 1


@pytest.mark.parametrize("language", MANNERS)
@pytest.mark.parametrize("kind", MOST_PAGES)
def test_every_scale_has_two_marks_at_least(documents, kind, language):
    found = [
        (p.about, labels) for p in panels_of(documents[kind]) for labels in _scales(drawn(p, MANNERS[language]).svg)
    ]
    assert found
    assert [(str(about), labels) for about, labels in found if len(labels) < 2] == []


def _scales(svg: str) -> list[list[str]]:
    """Return the words at the marks of every scale of a drawing."""
    groups = [g for g in ElementTree.fromstring(svg).iter() if "role-axis-label" in g.get("class", "")]
    return [[text for t in g.iter() if (text := "".join(t.itertext())) and t.tag.endswith("text")] for g in groups]


@pytest.mark.parametrize("kind", MOST_PAGES)
def test_no_figure_of_a_report_stands_in_powers_of_ten(documents, kind):
    document: Document = documents[kind]
    words = str(document.letter().to_dict()["sections"])
    cells = re.sub(r'"spec": .*', "", words)
    assert re.findall(r"\d(?:\.\d+)?e[+-]?\d+ ?[A-Za-z]", cells) == []


def test_powers_come_with_a_prefix_and_every_arrival_with_its_interval(station):
    _, plan = station
    for budget in plan.budgets:
        for x in budget.bands:
            assert re.search(r"antenna \(.+ to .+\)\.$", str(arrival(x))), str(arrival(x))
    loud = replace(plan.budgets[0].bands[0], eirp_w=135951.0, erp_w=82863.0)
    told = str(radiated(loud))
    x = plan.budgets[0].bands[0]
    same = on_air(x, x.power_at_antenna_w)  # 0 dBi: what arrives is what is radiated
    assert same == watts(x)
    assert re.fullmatch(r"That is an EIRP of 136 kW \(\S+ to \S+\) and an ERP of 83 kW \(\S+ to \S+\)\.", told), told


def test_words_at_a_limit_stand_on_nothing_else(bench):
    """A limit is named where no curve and no reading is; where there is no such place its figure stands outside."""
    sheet, result = bench
    for width, height in ((170, 150), (300, 210)):
        for piece in ("blue 7", "blue 18", "black 20"):
            layers = loss_panel(result, piece, sheet, width_px=width, height_px=height)["layer"]
            named = [x for x in layers if x["mark"].get("style") == "limit-text" and x["data"]["values"]]
            rows = [row for x in named for row in x["data"]["values"]]
            assert {row["loss_db"] for row in rows} <= set(borne(sheet.limits))
            for row in rows:
                assert row["side"] != "beside" or re.fullmatch(r"\d+ dB", row["note"])
    crowded = loss_panel(result, "blue 18", sheet, width_px=170, height_px=60)["layer"]
    sides = [row["side"] for x in crowded if x["mark"].get("style") == "limit-text" for row in x["data"]["values"]]
    assert sides.count("beside") >= 2


def borne(limits: Limits) -> tuple[float, ...]:
    """Return the losses that uses bear."""
    return limits.home_db, limits.portable_db, limits.receive_db


def test_what_to_measure_next_has_one_mark_a_line(paper_of):
    text = "\n".join(page_texts(paper_of("bench", appendix=False)))
    after = text[text.index("Measure next") :]
    assert "Read" in after
    assert not re.search(r"^\W*\d\.\s", after, re.MULTILINE)
