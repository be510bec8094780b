"""What the pages of docs/ show is what the commands print, and their Python runs."""

from __future__ import annotations

import doctest
import re

import pytest

from charts.made import texts
from demo.tool import ROOT, tool
from linewright.catalogue import line_type

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


@pytest.mark.parametrize("page", [p for p in DOCS if readme.BLOCK.search(text(p))], ids=name)
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


def test_there_is_a_page_for_every_job_and_each_shows_a_command():
    jobs = sorted((ROOT / "docs" / "how-to").glob("*.md"))
    assert len(jobs) == 15
    assert [page.name for page in jobs if not readme.BLOCK.search(text(page))] == []


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
