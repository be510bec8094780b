"""Every command that a page names is one, with options that it has; what reads a file of the demo runs."""

from __future__ import annotations

import re
import shlex

import click
import pytest
from click.testing import CliRunner

from demo.tool import ROOT, tool
from linewright.cli import main

readme = tool("readme")
TEXTS = {str(path.relative_to(ROOT)): path.read_text(encoding="utf-8") for path in readme.pages()}
INLINE = re.compile(r"`(linewright(?: [^`]*)?)`")
FENCED = re.compile(r"^```.*?^```", re.DOTALL | re.MULTILINE)
LINE = re.compile(r"^(?:\$ |\.venv/bin/)?(linewright [^\n]*)$", re.MULTILINE)
OF_THE_DEMO = re.compile(r"(?<![\w-])(?:harbour-ridge[\w-]*\.(?:toml|csv)|(?:drum|mast|open|short)\.s\dp|beam\.csv)")
PLACEHOLDER = re.compile(r"\b[A-Z][A-Z_]+\b(?:\.toml|\.csv)?(?!/)")
GIVEN = {"RG", "ICNIRP", "CFR", "SWR", "SSB", "CW", "FM", "RF"}
"""Words in capitals that stand for themselves."""


def commands_of(text):
    """Return the commands that a page names, whole; a line that goes on with a backslash is left out."""
    found = INLINE.findall(FENCED.sub("", text)) + [
        line for block in FENCED.findall(text) for line in LINE.findall(block)
    ]
    return [" ".join(one.split()) for one in found if not one.endswith("\\") and "..." not in one and "…" not in one]


def resolved(words):
    """Return the command that some words ask for, and the words after its name."""
    command: click.Command = main
    while isinstance(command, click.Group) and words and words[0] in command.commands:
        command, words = command.commands[words[0]], words[1:]
    return command, words


ALL = {name: commands_of(text) for name, text in TEXTS.items() if commands_of(text)}


def test_the_pages_name_many_commands():
    assert sum(map(len, ALL.values())) > 200


@pytest.mark.parametrize("name", ALL)
def test_every_command_that_is_named_is_one_and_has_the_options(name):
    wrong = []
    for said in ALL[name]:
        words = shlex.split(said.replace("'s ", " "))[1:] if said.count("'") % 2 == 0 else said.split()[1:]
        command, rest = resolved(words)
        options = {opt for one in command.params for opt in (*one.opts, *one.secondary_opts)} | {"--help", "--version"}
        asked = [word.partition("=")[0] for word in rest if word.startswith("--")]
        if command is main and rest and not rest[0].startswith("-") and not PLACEHOLDER.fullmatch(rest[0]):
            wrong.append(said)
        if set(asked) - options and command is not main:
            wrong.append(f"{said}: {sorted(set(asked) - options)}")
    assert wrong == []


def runnable(said):
    """Return whether a command reads files of the demo and nothing in it stands for something else."""
    bare = PLACEHOLDER.sub(lambda found: "" if found[0].partition(".")[0] in GIVEN else "@", said)
    return bool(OF_THE_DEMO.search(said)) and "@" not in bare and "serve" not in said


RUN = {name: [c for c in found if runnable(c)] for name, found in ALL.items()}
SENTENCES = {
    name: [c for c in commands if f"`{c}`" in " ".join(TEXTS[name].split())]
    for name, commands in RUN.items()
    if not name.startswith(("docs/how-to", "docs/jobs", "docs/reference"))
}
"""Commands in sentences; blocks are run where they are compared, the how-tos by a test of their own."""


@pytest.mark.slow
@pytest.mark.parametrize("name", [name for name, commands in SENTENCES.items() if commands])
def test_a_command_in_a_sentence_runs_on_the_files_of_the_demo(name, monkeypatch):
    with readme.workplace() as folder:
        monkeypatch.chdir(folder)
        for said in SENTENCES[name]:
            screen = {**readme.SCREEN, "LINEWRIGHT_LEDGER": str(folder / "ledger.sqlite")}
            done = CliRunner().invoke(main, shlex.split(said)[1:], prog_name="linewright", env=screen)
            assert done.exit_code == 0, f"{said}: {done.output}"
        monkeypatch.undo()
