"""Whoever follows a how-to page from an empty folder has every file it names: the demo leaves them."""

from __future__ import annotations

import re
import shlex
import shutil

import pytest
from click.testing import CliRunner

from demo.tool import ROOT, tool
from linewright.cli import main

readme = tool("readme")
TEXTS = {
    page.name: page.read_text(encoding="utf-8")
    for part in ("how-to", "jobs")
    for page in sorted((ROOT / "docs" / part).glob("*.md"))
}
QUICK = {"know-a-decibel.md", "see-through-an-swr.md", "06-see-through-an-swr.md", "13-keep-the-record.md"}
"""Pages that are walked every day; ``make docs`` and ``make thorough`` walk them all."""
TEXTS["quick-start-terminal.md"] = (ROOT / "docs" / "quick-start-terminal.md").read_text(encoding="utf-8")
IN_A_SENTENCE = re.compile(r"`(linewright [^`]*\.(?:s\dp|csv|toml)[^`]*)`")
NAMED = {
    name: [found["command"] for found in readme.BLOCK.finditer(text)]
    + IN_A_SENTENCE.findall(re.sub(r"```.*?```", "", text, flags=re.DOTALL))
    for name, text in TEXTS.items()
}
NAMED["quick-start-terminal.md"] = re.findall(r"\| `(linewright (?!demo)[^`]+)` \|", TEXTS["quick-start-terminal.md"])
READS = re.compile(r"\b[\w-]+\.(?:s\dp|csv|toml)\b")


def invoke(folder, words):
    screen = {**readme.SCREEN, "LINEWRIGHT_LEDGER": str(folder / "ledger.sqlite")}
    return CliRunner().invoke(main, words, prog_name="linewright", env=screen)


@pytest.fixture(scope="module")
def left_by_the_demo(tmp_path_factory):
    """What ``linewright demo`` leaves in an empty folder."""
    empty = tmp_path_factory.mktemp("empty")
    with pytest.MonkeyPatch.context() as patch:
        patch.chdir(empty)
        assert invoke(empty, ["demo"]).exit_code == 0
    return empty / "linewright-demo"


def test_the_how_tos_name_the_sweeps_and_the_curve():
    read = {file for commands in NAMED.values() for command in commands for file in READS.findall(command)}
    assert {"drum.s2p", "mast.s1p", "open.s1p", "short.s1p", "beam.csv", "harbour-ridge.toml"} <= read


@pytest.mark.parametrize("name", [n if n in QUICK else pytest.param(n, marks=pytest.mark.slow) for n in TEXTS])
def test_every_command_of_a_how_to_runs_on_what_the_demo_leaves(name, left_by_the_demo, tmp_path, monkeypatch):
    folder = shutil.copytree(left_by_the_demo, tmp_path / "linewright-demo")
    for shown in readme.FILE.finditer(TEXTS[name]):
        (folder / shown["name"]).write_text(shown["text"], encoding="utf-8")
    monkeypatch.chdir(folder)
    for command in NAMED[name]:
        done = invoke(folder, shlex.split(command)[1:])
        assert done.exit_code == 0, f"{command}: {done.output}"


@pytest.mark.parametrize("name", TEXTS)
def test_a_how_to_that_reads_files_of_the_demo_says_where_they_lie(name, left_by_the_demo):
    there = {path.name for path in left_by_the_demo.iterdir()}
    shown = {found["name"] for found in readme.FILE.finditer(TEXTS[name])}
    read = {file for command in NAMED[name] for file in READS.findall(command)} - shown
    assert read <= there
    said = re.search(r"`linewright demo`(,| leaves them in the) .*`(cd )?linewright-demo`", TEXTS[name]) is not None
    assert said == bool(read)


@pytest.mark.parametrize("name", ["drum.s2p", "open.s1p", "short.s1p", "mast.s1p", "beam.csv"])
def test_a_sweep_of_the_demo_says_that_it_is_invented(name, left_by_the_demo):
    first = (left_by_the_demo / name).read_text(encoding="utf-8").splitlines()[0]
    assert first.lstrip("!# ").startswith("INVENTED DATA")
    assert name in (left_by_the_demo / "what-is-here.md").read_text(encoding="utf-8")
