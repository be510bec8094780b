"""Titles, sentences and sections of the terminal view."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from typing import TypeVar

import click

from linewright.cli.cells import MEASURE, wrapped

T = TypeVar("T")


def bold(text: str) -> str:
    """Return text that stands out on a terminal; elsewhere the marks are taken away again."""
    return click.style(text, bold=True)


def dim(text: str) -> str:
    """Return text that steps back on a terminal."""
    return click.style(text, dim=True)


def page(parts: Iterable[Sequence[str]]) -> str:
    """Join the parts of a page with an empty line between them; an empty part leaves no gap."""
    return "\n\n".join("\n".join(line.rstrip() for line in part) for part in parts if part)


def section(title: str, lines: Sequence[str]) -> list[str]:
    """Put a title over lines; nothing over nothing."""
    return [bold(title), *lines] if lines else []


def paragraph(text: str) -> list[str]:
    """Return sentences as one block under a title."""
    return wrapped(text, first="  ")


def items(sentences: Iterable[str], most: int = MEASURE) -> list[str]:
    """Return sentences, each hanging from its own first line."""
    return [line for s in sentences for line in wrapped(s, most, first="  ", rest="    ")]


def groups(things: Sequence[T], most: int) -> Iterator[Sequence[T]]:
    """Cut a sequence into pieces of at most so many, for what is too wide to stand side by side."""
    return (things[i : i + most] for i in range(0, len(things), most))
