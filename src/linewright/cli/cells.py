"""Text in character cells: how wide it stands, cut, padded and wrapped. A name never commands the screen."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable

WIDEST = 100
"""No line is wider."""
MEASURE = 79
"""Sentences stop here: easier to read, and whole on a terminal of 80 columns."""

GLUE = "\0"
UNITS = "[kMG]?Hz|dBm?|m?W|mV|V|%|m|ft|ohm|on the scale|times"


def clean(text: str) -> str:
    r"""Return text on one line without anything a terminal would obey.

    >>> clean("blue\x1b[31m 7\n")
    'blue [31m 7'
    """
    return " ".join("".join(c if c.isprintable() else " " for c in text).split())


def width(text: str) -> int:
    """Return how many cells a text takes; East Asian wide signs take two, combining ones none.

    >>> width("Ω 7"), width("電線")
    (3, 4)
    """
    return len(text) if text.isascii() else sum(_cell(c) for c in text)


def _cell(sign: str) -> int:
    if unicodedata.combining(sign) or unicodedata.category(sign) in ("Cf", "Mn", "Me"):
        return 0
    return 2 if unicodedata.east_asian_width(sign) in "WF" else 1


def cut(text: str, most: int) -> str:
    """Shorten a text to so many cells, keeping both ends, for the end often tells two names apart.

    >>> cut("the long grey one from the old tower 12", 20)
    'the long grey…wer 12'
    """
    text = clean(text)
    if width(text) <= most:
        return text
    if most < 2:
        return "…"[:most]
    tail = _head(text[::-1], (most - 1) // 3)[::-1]
    return f"{_head(text, most - 1 - width(tail)).rstrip()}…{tail}"


def _head(text: str, most: int) -> str:
    taken = 0
    for i, sign in enumerate(text):
        taken += _cell(sign)
        if taken > most:
            return text[:i]
    return text


def left(text: str, cells: int) -> str:
    """Pad on the right, so that the text stands at the left."""
    return text + " " * (cells - width(text))


def right(text: str, cells: int) -> str:
    """Pad on the left, so that the text stands at the right."""
    return " " * (cells - width(text)) + text


def wrapped(text: str, most: int = MEASURE, *, first: str = "", rest: str | None = None) -> list[str]:
    """Break a text into lines of at most so many cells, indents included.

    >>> wrapped("one two three", 9, first="- ", rest="  ")
    ['- one two', '  three']
    """
    rest = first if rest is None else rest
    lines, line = [], first
    fresh = True
    for word in _words(_glued(clean(text)), most - max(width(first), width(rest))):
        if not fresh and width(line) + 1 + width(word) > most:
            lines.append(line)
            line, fresh = rest, True
        line += word if fresh else f" {word}"
        fresh = False
    return [whole.replace(GLUE, " ") for whole in (*lines, line)]


def _glued(text: str) -> str:
    """Hold figures and units together, and intervals: no line ends between 14.2 and MHz."""
    text = re.sub(rf"(?<=\d) (?=(?:{UNITS})(?![\w/]))", GLUE, text)
    return re.sub(r"\((\S+) to (\S+)\)", rf"(\1{GLUE}to{GLUE}\2)", text)


def _words(text: str, most: int) -> Iterable[str]:
    for whole in text.split(" "):
        word = whole
        while width(word) > most > 1:
            head = _head(word, most)
            yield head
            word = word[len(head) :]
        yield word
