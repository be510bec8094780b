"""Pieces of one stock are one cable: a piece of unknown type takes the type its stock is known by."""

from __future__ import annotations

from dataclasses import replace

from linewright.model.bench import BenchSheet
from linewright.model.line import LineType
from linewright.units.said import say, say_many, together


def typed_by_stock(sheet: BenchSheet) -> tuple[BenchSheet, tuple[str, ...]]:
    """Return the sheet with types filled in from the stocks, and what should be said of it."""
    known: dict[str, dict[str, LineType]] = {}
    for p in sheet.pieces:
        if p.line is not None:
            known.setdefault(p.stock_name, {})[p.line.designator] = p.line
    said = [
        say_many(
            "The pieces of {stock} are said to be of {count} type ({types}), yet one stock is one cable:"
            " check the printing or the stock.",
            "The pieces of {stock} are said to be of {count} types ({types}), yet one stock is one cable:"
            " check the printing or the stock.",
            len(types),
            stock=stock,
            types=together(types, ", "),
        )
        for stock, types in known.items()
        if len(types) > 1
    ]
    pieces = []
    for p in sheet.pieces:
        types = known.get(p.stock_name, {})
        if p.line is None and len(types) == 1:
            line = next(iter(types.values()))
            said.append(
                say("{piece} is taken for {line}, as the rest of {stock} is.",
                    piece=p.tag, line=line.designator, stock=p.stock_name)
            )  # fmt: skip
            pieces.append(replace(p, line=line))
        else:
            pieces.append(p)
    return replace(sheet, pieces=tuple(pieces)), tuple(said)
