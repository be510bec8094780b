"""A document in a manner: every sentence written anew, every sign made visible, figures set under each other."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import fields, is_dataclass, replace
from typing import Any, TypeVar, cast

from linewright.report.document import Block, Document, Drawing, Part, Row, Table
from linewright.report.literal import apart, foreign, visible
from linewright.units.manner import Manner
from linewright.units.said import written

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
