"""The README shows what the commands really print, and its Python runs."""

from __future__ import annotations

import doctest
import re

import pytest

from charts.made import texts
from demo.tool import ROOT, tool

README = ROOT / "README.md"
PAGES = [README, *sorted((ROOT / "docs").glob("*.md"))]


@pytest.fixture(scope="module", name="tool")
def readme_tool():
    return tool("readme")


def test_every_generated_block_is_what_its_command_prints(tool):
    assert tool.differences(README.read_text(encoding="utf-8"), tool.readme()) == []


def test_every_picture_says_what_the_charts_say_now(tool):
    for path, svg in tool.pictures().items():
        was, now = ("\n".join(words for words, *_ in texts(drawn)) for drawn in (path.read_text(encoding="utf-8"), svg))
        assert tool.differences(was, now) == []


def test_the_readme_shows_loss_lines_prove_and_demo(tool):
    shown = {found["command"].split()[1] for found in tool.BLOCK.finditer(README.read_text(encoding="utf-8"))}
    assert {"loss", "lines", "prove", "demo"} <= shown


def test_no_block_is_empty(tool):
    blocks = [found[0] for found in tool.BLOCK.finditer(README.read_text(encoding="utf-8"))]
    assert all(block.count("\n") > 4 for block in blocks)


@pytest.mark.parametrize(
    ("old", "new", "same"),
    [
        ("3.10 dB", "3.11 dB", True),
        ("3.10 dB", "3.12 dB", False),
        ("9.9 dB at 14 MHz", "10.0 dB at 14 MHz", True),
        ("good", "worn", False),
        ("a\nb", "a", False),
    ],
)
def test_the_comparison_lets_the_last_digit_move_and_nothing_else(tool, old, new, same):
    assert (tool.differences(old, new) == []) is same


def test_the_python_of_the_readme_runs():
    done = doctest.testfile(str(README), module_relative=False, optionflags=doctest.ELLIPSIS)
    assert done.attempted >= 4
    assert done.failed == 0


@pytest.mark.parametrize("form", ["toml", "csv"])
def test_what_the_readme_shows_of_the_sheet_stands_in_it(form):
    shown = re.search(rf"```{form}\n(.*?)```", README.read_text(encoding="utf-8"), re.DOTALL)[1]
    data = ROOT / "src" / "linewright" / "verbs" / "demo_data" / f"harbour-ridge.{form}"
    held = {line.partition("  ")[0].rstrip() for line in data.read_text(encoding="utf-8").splitlines()}
    assert {line for line in shown.splitlines() if line} <= held


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.name)
def test_every_link_of_a_page_leads_somewhere(page):
    text = page.read_text(encoding="utf-8")
    links = [link.partition("#")[0] for link in re.findall(r"\]\(([^)\s]+)\)", text)]
    missing = [link for link in links if link and "://" not in link and not (page.parent / link).exists()]
    assert missing == []
