"""Write a document in a reader's locale: translate each sentence, make each character visible, align the figures."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable, Mapping, Sequence
from dataclasses import fields, is_dataclass, replace
from typing import Any, TypeVar, cast

from linewright.core.locale import Manner
from linewright.core.messages import written
from linewright.present.document import Block, Document, Drawing, Part, Row, Table

# Names as they are: nothing in them commands a page, a direction or a typesetter, and every sign can be seen

FIRST, LAST = "\u2068", "\u2069"
"""First strong isolate and its end: what stands between keeps its direction to itself (Unicode annex 9)."""
BREAK = "\u200b"
"""Zero width space: a line may break here."""
KEPT = frozenset((FIRST, LAST, BREAK))

GLYPHS = (
    (0x20, 0x7E), (0xA0, 0x4FF), (0x5D0, 0x5EA), (0x5F3, 0x5F4), (0x621, 0x63A), (0x640, 0x64A), (0x660, 0x669),
    (0x10D0, 0x10F0), (0x1E00, 0x1EFF), (0x1F00, 0x1FFE), (0x2007, 0x200B), (0x2010, 0x2027), (0x202F, 0x203A),
    (0x2068, 0x2069), (0x2070, 0x2071), (0x2074, 0x208E), (0x20AC, 0x20AC), (0x2126, 0x2126), (0x2150, 0x2151),
    (0x2153, 0x215E), (0x2190, 0x22FF), (0x25A0, 0x25FF),
)  # fmt: skip
"""Code points that the typesetter's own fonts surely have; the test sets every one of them."""

LONGEST, LONGEST_WORD = 18, 26
"""What is as long as the first may break anywhere on paper; a plain word only beyond the second."""

_WORD = re.compile(rf"[^\s{BREAK}]{{{LONGEST},}}")
_PLAIN = re.compile(r"[(„]?[^\W\d_][a-zäöüß]+(?:-[^\W\d_]?[a-zäöüß]+)*-?[.,;:)“]*")
_STEP = 6
FIGURE = (
    r"(?<=\d) (?=(?:dB[mid]?|[kM]?Hz|[kmµ]?[WV]|[cmk]?m|ft|M?K|[kM]?[oO]hm|EUR|g/m|[mnµ]?s|min)\b|%|×(?! \d))"
    r"|\([-+±]?\d[\d.,]* \w+ [-+±]?\d[\d.,]*\)"
)
"""The space between a figure and its unit, and an interval in brackets, "(3.2 to 4.2)", in any language."""
_FIGURE = re.compile(FIGURE)


def visible(text: str) -> str:
    r"""Return a text with every sign that commands (controls, overrides of direction) called by its name.

    >>> visible("blue\x1b[31m 7"), visible("a\u202eb")
    ('blue‹U+001B›[31m 7', 'a‹RIGHT-TO-LEFT OVERRIDE›b')
    """
    if text.isprintable():
        return text
    return "".join(c if c.isprintable() or c in KEPT else _unseen(c) for c in text)


def _unseen(sign: str) -> str:
    if sign in "\t\n":
        return " "
    return sign if unicodedata.category(sign) == "Zs" or sign in "\u200c\u200d" else called(sign)


def called(sign: str) -> str:
    r"""Return a sign by its name, in brackets.

    >>> called("\N{RADIO}"), called("\x07")
    ('‹RADIO›', '‹U+0007›')
    """
    return f"‹{unicodedata.name(sign, f'U+{ord(sign):04X}')}›"


def printable(text: str) -> str:
    """Return a text that the typesetter's fonts can show: a sign none of them has is called by its name.

    >>> printable("tower \N{RADIO} √f")
    'tower ‹RADIO› √f'
    """
    if text.isascii():
        return text
    return "".join(c if _has_glyph(c) else called(c) for c in unicodedata.normalize("NFC", text))


def _has_glyph(sign: str) -> bool:
    known = any(low <= ord(sign) <= high for low, high in GLYPHS)
    return known and (sign in KEPT or unicodedata.category(sign)[0] not in "MC")


def boxed(text: str) -> str:
    r"""Return a text with a box for every sign that no font has or that commands something.

    For drawings: there words have no more room than they were laid out for. Beside them the sign stands by its name.

    >>> boxed("tower \N{RADIO} √f"), boxed("0.3\N{NO-BREAK SPACE}dB\x07")
    ('tower □ √f', '0.3\xa0dB□')
    """
    if text.isascii() and text.isprintable():
        return text
    shown = (_unseen(c) if not c.isprintable() else c for c in unicodedata.normalize("NFC", text))
    return "".join(c if len(c) == 1 and _has_glyph(c) else "□" for c in shown)


def breakable(text: str) -> str:
    """Return a text whose overlong words may break, so that no column overflows.

    >>> len(breakable("a" * 30)), breakable("Standardunsicherheit, Signal-Rausch-Abstand")
    (34, 'Standardunsicherheit, Signal-Rausch-Abstand')
    """
    return _WORD.sub(lambda found: _broken(found[0]), text)


def _broken(word: str) -> str:
    if max(map(len, word.split("-"))) <= LONGEST_WORD and _PLAIN.fullmatch(word):
        return word
    return BREAK.join(re.findall(f".{{1,{_STEP}}}", word))


def bound(text: str) -> str:
    """Return a text whose units stay on the line of their figures, and whose intervals stay on one line.

    >>> bound("9.5 dB (9.1 to 9.9) at 432.1 MHz").count("\N{NO-BREAK SPACE}"), bound("2 metres to 3")
    (4, '2 metres to 3')
    """
    return _FIGURE.sub(unbroken, text)


def unbroken(found: re.Match[str]) -> str:
    """Return what was found with spaces that no line ends at."""
    return found[0].replace(" ", "\N{NO-BREAK SPACE}")


def foreign(names: Sequence[str]) -> tuple[str, ...]:
    """Return the names that hold signs running from right to left, the longest first."""
    found = {n for n in names if any(unicodedata.bidirectional(c) in ("R", "AL") for c in n)}
    return tuple(sorted(found, key=lambda n: (-len(n), n)))


def apart(text: str, names: Sequence[str]) -> str:
    """Return a text in which names running the other way are set apart, so that the figures beside them stay put.

    Parameters
    ----------
    text : str
        Any text.
    names : sequence of str
        What ``foreign`` returns.
    """
    if not names:
        return text
    return re.sub("|".join(map(re.escape, names)), lambda found: f"{FIRST}{found[0]}{LAST}", text)


# A document in a manner: every sentence written anew, every sign made visible, figures set under each other

T = TypeVar("T")
FIGURE_SPACE = "\u2007"
"""As wide as a figure."""
_WHOLE = re.compile(r"[-+±<]?\d+")


def in_manner(document: Document, manner: Manner) -> Document:
    """Return a document with plain texts in a manner."""
    names = foreign([visible(name) for name in document.names])
    plain = mapped(document, lambda text: apart(visible(str(written(text, manner))), names))
    return replace(plain, sections=tuple(replace(s, blocks=tuple(map(_aligned, s.blocks))) for s in plain.sections))


def mapped(value: T, turn: Callable[[str], str]) -> T:
    """Return a value with every text in it turned, however deep."""
    return cast("T", _mapped(value, turn))


def _mapped(value: Any, turn: Callable[[str], str]) -> Any:
    if isinstance(value, str):
        return turn(value)
    if isinstance(value, (tuple, list)):
        return type(value)(_mapped(v, turn) for v in value)
    if isinstance(value, Mapping):
        return {k: _mapped(v, turn) for k, v in value.items()}
    if is_dataclass(value) and not isinstance(value, type):
        return replace(value, **{f.name: _mapped(getattr(value, f.name), turn) for f in fields(value)})
    return value


def _aligned(block: Block) -> Block:
    """Return a block with the figures of its table set under each other."""
    if isinstance(block, Table):
        return _table(block)
    if isinstance(block, Drawing) and block.data is not None:
        return replace(block, data=_table(block.data))
    return block


def _table(table: Table) -> Table:
    rows = [row for part in table.parts for row in part.rows]
    figures = [i for i, c in enumerate(table.columns) if c.align == "figure"]
    most = {i: max((_whole(row.cells[i]) for row in rows), default=0) for i in figures}

    def padded(row: Row) -> Row:
        return replace(row, cells=tuple(_padded(cell, most.get(i, 0)) for i, cell in enumerate(row.cells)))

    parts = tuple(Part(p.title, tuple(map(padded, p.rows))) for p in table.parts)
    return replace(table, parts=parts)


def _whole(cell: str) -> int:
    """Return how many signs stand before the decimal mark."""
    found = _WHOLE.match(cell)
    return len(found[0]) if found else 0


def _padded(cell: str, most: int) -> str:
    return FIGURE_SPACE * (most - _whole(cell)) + cell if _WHOLE.match(cell) else cell
