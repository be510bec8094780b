"""TOML within bounds: a text is looked over before the parser works on it, which some texts could keep for minutes.

The parser takes time and memory by the square of a dotted key's depth, and the readers look at every table by its name.
So a text is measured first, in one pass and without keeping anything: its size, how deep its keys and brackets go, how
many names of tables, values and lines there are. What is over a limit is refused with the limit and the row.
"""

from __future__ import annotations

import re
import tomllib
from typing import Any

from linewright.core.errors import Culprit, InputError, SheetError
from linewright.core.messages import mark, say

MAX_CHARACTERS = 10_000_000
MAX_LINES = 500_000
MAX_SIGNS = 400_000
"""Equals signs, commas, points and opening brackets together: each can make a value. 10,000 readings have 100,000."""
MAX_KEY_PARTS = 16
"""Parts of a dotted key: ``a.b.c`` has three."""
MAX_BRACKETS = 32
"""Brackets and braces open at once."""
MAX_TABLE_NAMES = 200
"""Different names of tables. A station knows about a dozen; thousands of tables may share one."""
MAX_BARE = 100
"""Characters of a number, or of a key without quotes."""

_TOKEN = re.compile(
    r'"""(?:[^"\\]++|\\.|"(?!""))*+(?:"{3,5}|\Z)'
    r"|'''(?:[^']++|'(?!''))*+(?:'{3,5}|\Z)"
    r'|"(?:[^"\\\n]++|\\[^\n])*+"?'
    r"|'[^'\n]*+'?"
    r"|#[^\n]*+"
    r"|[\n\[\]{}=,.]"
    r"|[^\s\"'#\[\]{}=,.]++",
    re.DOTALL,
)  # fmt: skip


def parse_toml(text: str, name: str) -> dict[str, Any]:
    """Return a text as TOML.

    Parameters
    ----------
    text : str
        The text, with plain line ends.
    name : str
        The file it came from, for the error.

    Raises
    ------
    SheetError
        If it is over a limit, or is not TOML; with the row.

    >>> parse_toml('title = "Spring"', "spring.toml")
    {'title': 'Spring'}
    >>> parse_toml("a." * 16 + "b = 1", "spring.toml")
    Traceback (most recent call last):
    linewright.core.errors.SheetError: sheet must have keys of at most 16 parts, a.b.c having three (row 1 of
    spring.toml).
    """
    _check_size(text, name)
    _check_shape(text, name)
    try:
        return tomllib.loads(text)
    except (tomllib.TOMLDecodeError, RecursionError, ValueError) as cause:
        at = re.search(r"line (\d+)", str(cause))
        said = re.sub(r"\s*\(at .*\)", "", str(cause)) or "nested too deeply"
        row = int(at[1]) if at else text.count("\n") + 1
        where = Culprit(name, row)
        cure = _cure(said, text.split("\n", row)[row - 1])
        if name.lower().endswith(".csv"):
            cure = say("A .csv file holds readings or prices: name the TOML file that they belong to.")
        raise SheetError(
            "sheet",
            say("must be a TOML file: {said}", said=said[:1].lower() + said[1:]),
            where=where,
            cure=cure,
        ) from cause


CURES = (
    ("Cannot overwrite", mark("It stands there already: keep one of the two.")),
    ("Cannot declare", mark("It stands there already: keep one, or write [[name]] for several.")),
    ("Cannot mutate", mark("It was closed already: write all of it in one place.")),
    ("Invalid statement", mark("A line is a key = value, or a table's name in brackets.")),
    ("Invalid initial character for a key", mark("Put the key in quotes, or use letters, digits, - and _.")),
    ("Expected '='", mark("Write key = value.")),
    ("Expected ']", mark("Close the bracket on the same line.")),
    ("Unclosed", mark("Close the bracket or brace.")),
    ("Expected newline", mark("One key and its value stand on a line; text goes in quotes.")),
    ("Unescaped", mark("Write two backslashes for one, or put the text in single quotes.")),
    ("Unterminated", mark("Close the quotes.")),
    ("Illegal character", mark("Take it out, or type the line anew.")),
    ("nested", mark("Nest less deeply.")),
)
"""What cures a fault, by how the parser's words begin."""


def _cure(said: str, line: str) -> str:
    """Return the cure of a fault in a line."""
    if said.startswith("Invalid value"):
        value = line.partition("=")[2].strip()
        return say("Text goes in quotes.") if value[:1].isalpha() else say("Write a value after the equals sign.")
    return next((say(cure) for words, cure in CURES if said.startswith(words)), "")


def _check_size(text: str, name: str) -> None:
    signs = sum(text.count(sign) for sign in "=,.[{")
    for found, most, what in (
        (len(text), MAX_CHARACTERS, "characters"),
        (text.count("\n"), MAX_LINES, "lines"),
        (signs, MAX_SIGNS, "equals signs, commas, points and opening brackets"),
    ):
        if found > most:
            raise SheetError(
                "sheet",
                say(
                    "must hold at most {most} {what}; got {value}",
                    most=format(most, ","),
                    what=what,
                    value=format(found, ","),
                ),
                where=Culprit(name),
            )


def _check_shape(text: str, name: str) -> None:
    """Refuse keys, brackets and numbers that go too far, and too many different tables."""
    parts, depth, begins = 1, 0, True
    names: set[str] = set()
    for found in _TOKEN.finditer(text):
        token = found[0]
        if token == ".":
            parts += 1
        elif token in "[{]}=,\n":
            parts = 1
        if token in "[{":
            if begins and not depth:
                names.add(text[found.end() : text.find("\n", found.end())])
            depth += 1
        elif token in "]}":
            depth = max(depth - 1, 0)
        bare = len(token) if token[0] not in "\"'#" else 0
        begins = token == "\n"
        if parts > MAX_KEY_PARTS or depth > MAX_BRACKETS or bare > MAX_BARE or len(names) > MAX_TABLE_NAMES:
            where = Culprit(name, text.count("\n", 0, found.start()) + 1)
            raise SheetError("sheet", _broken(parts, depth, bare), where=where)


def _broken(parts: int, depth: int, bare: int) -> str:
    """Return the rule that was broken."""
    if parts > MAX_KEY_PARTS:
        return say("must have keys of at most {most} parts, a.b.c having three", most=MAX_KEY_PARTS)
    if depth > MAX_BRACKETS:
        return say("must nest lists and tables at most {most} deep", most=MAX_BRACKETS)
    if bare > MAX_BARE:
        return say("must have numbers and bare words of at most {most} characters", most=MAX_BARE)
    return say("must have at most {most} different names of tables in brackets", most=MAX_TABLE_NAMES)


def written_field(text: str) -> tuple[str, Any]:
    """Return a field somebody wrote on one line, as TOML or with its text bare; an empty value is None.

    Raises
    ------
    InputError
        If there is no "=" in it.

    >>> written_field('power = "25 W"'), written_field("power=25 W"), written_field("route="), written_field("duty=0.5")
    (('power', '25 W'), ('power', '25 W'), ('route', None), ('duty', 0.5))
    """
    key, sign, value = (part.strip() for part in text.partition("="))
    if not (key and sign):
        raise InputError(
            "--set",
            say("must be a field and its value; got {value}", value=repr(text)),
            cure=say('Write power = "25 W".'),
        )
    if not value:
        return key, None
    try:
        return key, parse_toml(f"value = {value}", "--set")["value"]
    except InputError:
        if value[0] in "[{\"'":
            raise
        return key, value
