"""What the page on translating says can be asked in another language, and what stays English."""

from __future__ import annotations

import re
from collections.abc import Iterator

import click

from demo.tool import ROOT
from linewright.cli.main import main

PAGE = (ROOT / "docs" / "translating.md").read_text(encoding="utf-8")


def _commands(group: click.Group, name: str = "") -> Iterator[tuple[str, click.Command]]:
    """Yield every command by its whole name."""
    context = click.Context(group)
    for word in group.list_commands(context):
        found = group.get_command(context, word)
        assert found is not None
        if isinstance(found, click.Group):
            yield from _commands(found, f"{name}{word} ")
        else:
            yield f"{name}{word}", found


def test_the_page_names_just_the_commands_that_can_be_asked_in_another_language():
    asked = {name for name, command in _commands(main) if any(p.name == "language" for p in command.params)}
    shelf = {name for name, _ in _commands(main) if name.startswith("shelf ")}
    assert shelf <= asked
    sentence = re.search(r"The commands with `--language` are (.*?)\.\n\n", PAGE, re.DOTALL)
    assert sentence is not None
    assert set(re.findall(r"`([a-z-]+)`", sentence[1])) == (asked - shelf) | {"shelf"}


def test_what_is_named_as_english_cannot_be_asked_in_another_language():
    row = next(line for line in PAGE.splitlines() if line.startswith("| The answers of"))
    named = set(re.findall(r"`([a-z-]+)`", row.split("|")[1]))
    english = {name for name, command in _commands(main) if not any(p.name == "language" for p in command.params)}
    assert named <= english
