"""What the pages of docs/ show is what the commands print, and their Python runs."""

from __future__ import annotations

import doctest
import re
from math import erfc, sqrt

import pytest

from charts.made import texts
from demo.tool import ROOT, tool
from linewright.catalogue import line_type
from linewright.inference import against_type as against

readme = tool("readme")
DOCS = [path for path in readme.pages() if path != readme.README]
CONSOLE = re.compile(r"^```console\n(.*?)^```", re.DOTALL | re.MULTILINE)
PYTHON = re.compile(r"^```python\n(.*?)^```", re.DOTALL | re.MULTILINE)
RUN_ELSEWHERE = {"how-one-end-works.md", "how-sweeps-work.md"}
"""Pages whose blocks hold commands alone; tests/demo/test_pages.py runs them."""


def text(page):
    return page.read_text(encoding="utf-8")


def name(page):
    return str(page.relative_to(ROOT / "docs"))


EVERY_DAY = {
    "how-to/know-a-decibel.md", "how-to/keep-the-record.md", "how-to/see-through-an-swr.md",
    "jobs/01-prove-a-piece.md", "jobs/05-read-a-sweep.md", "jobs/07-plan-a-run.md", "jobs/11-know-a-decibel.md",
    "jobs/15-calibrate.md",
}  # fmt: skip
"""Pages whose commands run every day: one of each kind of command. ``make docs`` and ``make thorough`` run them all."""


def runs(pages):
    """Return pages as parameters, those that do not run every day marked slow."""
    return [p if name(p) in EVERY_DAY else pytest.param(p, marks=pytest.mark.slow) for p in pages]


def test_the_pages_of_every_day_are_there():
    assert {name(p) for p in DOCS} >= EVERY_DAY


@pytest.mark.parametrize("page", runs(p for p in DOCS if readme.BLOCK.search(text(p))), ids=name)
def test_every_block_and_drawing_of_a_page_is_what_its_command_makes(page):
    new = readme.page(page)
    assert readme.differences(text(page), new.text) == []
    for path, svg in new.drawings.items():
        was, now = ("\n".join(words for words, *_ in texts(drawn)) for drawn in (text(path), svg))
        assert readme.differences(was, now) == []


@pytest.mark.parametrize("page", DOCS, ids=name)
def test_every_console_block_is_run(page):
    ran = "".join(found[0] for found in readme.BLOCK.finditer(text(page)))
    loose = [block for block in CONSOLE.findall(readme.GENERATED.sub("", text(page))) if block not in ran]
    assert page.name in RUN_ELSEWHERE or loose == []
    assert all(line.startswith("linewright ") for block in loose for line in block.splitlines())


@pytest.mark.parametrize("page", [p for p in DOCS if PYTHON.search(text(p))], ids=name)
def test_the_python_of_a_page_runs(page):
    for number, code in enumerate(PYTHON.findall(text(page))):
        if ">>>" in code:
            parsed = doctest.DocTestParser().get_doctest(code, {}, f"{page.name} {number}", str(page), 0)
            assert doctest.DocTestRunner(optionflags=doctest.ELLIPSIS).run(parsed).failed == 0
        else:
            exec(compile(code, str(page), "exec"), {})


@pytest.mark.parametrize("page", DOCS, ids=name)
def test_a_block_shows_more_than_that_something_was_left_out(page):
    shown = [(found["command"], found[0].partition("```console\n")[2]) for found in readme.BLOCK.finditer(text(page))]
    bare = [command for command, said in shown if set(said.partition("\n")[2].partition("```")[0].split()) == {"…"}]
    assert bare == []


def test_no_table_of_a_page_is_cut_inside_a_word():
    cut = re.compile(r"[A-Za-z0-9]…[A-Za-z0-9 ]")
    blocks = [(p, block[0]) for p in DOCS for block in readme.BLOCK.finditer(text(p))]
    assert [f"{name(p)}: {m[0]}" for p, block in blocks for m in cut.finditer(block)] == []


def test_there_is_a_page_for_every_how_to_and_each_shows_a_command():
    jobs = sorted((ROOT / "docs" / "how-to").glob("*.md"))
    assert len(jobs) == 17
    assert [page.name for page in jobs if not readme.BLOCK.search(text(page))] == []


JOBS = sorted((ROOT / "docs" / "jobs").glob("*.md"))


def test_there_is_a_short_page_for_each_of_the_nineteen_jobs():
    assert [page.name[:2] for page in JOBS] == [f"{number:02d}" for number in range(1, 20)]
    for page in JOBS:
        for part in ("**You have**", "## In the app", "## At the terminal", "**What you get:**", "More: ["):
            assert part in text(page), f"{page.name}: {part}"
        assert len(text(page).splitlines()) < 75, page.name


def test_a_quick_start_fits_one_screen():
    for page in ("quick-start-app.md", "quick-start-terminal.md"):
        assert len(text(ROOT / "docs" / page).splitlines()) <= 45, page


def table_after(page, words):
    """Return the cells of the table that follows some words of a page, row by row."""
    rows = text(page).partition(words)[2].partition("\n|")[2].partition("\n\n")[0].splitlines()
    return [[cell.strip() for cell in row.strip("|").split("|")] for row in rows if "---" not in row]


def test_the_decibels_written_by_hand_are_right():
    meaning = table_after(ROOT / "docs" / "what-the-figures-mean.md", "power that arrives")
    words = {"half": 0.5, "a quarter": 0.25, "a tenth": 0.1}
    for loss, arrives, _ in meaning[1:]:
        share = words.get(arrives) or float(arrives.removesuffix(" %")) / 100
        assert 10 ** (-float(loss.split()[0]) / 10) == pytest.approx(share, abs=0.006), loss
    ratios, decibels, arrive = (row[1:] for row in table_after(ROOT / "docs" / "bench-card.md", "**By hand**")[:3])
    for ratio, db, share in zip(ratios, decibels, arrive, strict=True):
        assert float(ratio) == pytest.approx(10 ** (float(db) / 10), rel=0.015)
        assert float(share.split()[0]) == pytest.approx(100 / float(ratio), abs=0.9)


def test_verdicts_are_tried_in_the_order_that_the_page_says():
    """A piece near 1.15 to 1.20 times may be both worn and good: the first row that holds gives the word."""
    rows = table_after(ROOT / "docs" / "what-the-figures-mean.md", "The rows are tried from the top")[1:]
    limits = [float(row[1].split()[2]) for row in rows[:4]]
    assert limits == [against.IMPOSSIBLE, against.BAD, against.WORN, against.SECOND_LOOK]
    for middle in (0.6, 0.9, 1.0, 1.15, 1.17, 1.2, 1.24, 1.3, 1.45, 1.55, 2.0):
        for spread in (0.01, 0.03, 0.2):
            above = lambda limit, m=middle, s=spread: 0.5 * erfc((limit - m) / s / sqrt(2))  # noqa: E731
            told = against.Multiple("RG-58C/U", middle, middle, middle, above, "3 dB", "144 MHz")
            holds = (
                above(limits[0]) < 0.05,
                above(limits[1]) > 0.95,
                above(limits[2]) > 0.95,
                above(limits[3]) < 0.05,
                True,
            )
            word = next(row[0] for row, so in zip(rows, holds, strict=True) if so)
            assert against.against_type(told, too_good="")[0] == word, (middle, spread)


def test_every_picture_that_a_page_shows_is_there_and_every_one_there_is_shown():
    shown = {found["name"] for page in readme.pages() for found in readme.PICTURE.finditer(text(page))}
    assert shown == {path.name for path in readme.IMAGES.glob("*.svg")}


MANY = {"reference/check-values.md", "reference/documents.md"}
"""Pages whose generated parts take long to make."""


@pytest.mark.parametrize(
    "page",
    [
        pytest.param(p, marks=pytest.mark.slow) if name(p) in MANY else p
        for p in DOCS
        if readme.GENERATED.search(text(p))
    ],
    ids=name,
)
def test_every_generated_part_is_filled_with_what_the_program_says_now(page):
    assert readme.differences(text(page), readme.generated(text(page))) == [], "run tools/readme.py on this page"


def test_no_page_marks_a_part_that_is_left_empty():
    parts = [part for page in DOCS for part in readme.GENERATED.finditer(text(page))]
    assert len(parts) > 15
    assert [part["name"] for part in parts if len(part[0]) < 300] == []


@pytest.mark.parametrize(
    "module", ["docs_reference", "docs_errors", "docs_site", "docs_figures", "docs_library", "docs_schemas"]
)
def test_the_examples_of_a_tool_run(module, monkeypatch):
    monkeypatch.syspath_prepend(str(ROOT / "tools"))
    assert doctest.testmod(__import__(module)).failed == 0


@pytest.mark.parametrize("name", ["RG-6 type", "RG-178B/U", "75-ohm hardline 3/4 in"])
def test_the_law_of_a_type_is_drawn_with_every_point_a_dot_or_a_ring(name, monkeypatch):
    monkeypatch.syspath_prepend(str(ROOT / "tools"))
    drawn, kind = __import__("docs_figures").drawn_law(line_type(name)), line_type(name)
    shown = [p for p in kind.points if p.kind != "set aside" and 1e6 <= p.frequency_hz <= 3e9]
    read = [p for p in shown if p.provenance.grade == "read" and p.kind != "max"]
    assert drawn.count("<circle") == len(shown)
    assert drawn.count('fill="currentColor"/>') == len(read)
    assert "95 % interval" in drawn
    assert "nan" not in drawn
