"""Tests from one end on a bench sheet: ``[[one_end]]`` tables or a CSV file, and the ``[analyser]`` behind them."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from linewright.errors import InputError
from linewright.formats import fields
from linewright.formats.one_end import one_end_in_csv, one_end_in_tables
from linewright.formats.tables import Source, Table
from linewright.model.bench import Piece
from linewright.model.one_end import OneEndReading, OneEndTest

Opener = Callable[[str, str], str]


def one_end_tests(whole: Table, pieces: Sequence[Piece], opened: Opener) -> tuple[OneEndTest, ...]:
    """Return a test for every piece read from one end; problems are noted.

    ``[one_end] file = "mast.csv"`` names a file beside the sheet; ``[[one_end]]`` tables hold readings in place.
    """
    directivity_db, swr = _analyser(whole.table("analyser"))
    readings = _readings(whole, [p.tag for p in pieces], opened)
    return tuple(
        OneEndTest(mine, directivity_db, swr, line=p.line, length_m=p.length_m, connectors=p.connectors, tag=p.tag)
        for p in pieces
        if (mine := tuple(r for r in readings if r.piece == p.tag))
    )


def _analyser(table: Table | None) -> tuple[float | None, float | None]:
    if table is None:
        return None, None
    found = table.take("directivity", fields.loss, None), table.take("swr", fields.swr, None)
    table.close()
    return found


def _readings(whole: Table, tags: Sequence[str], opened: Opener) -> list[OneEndReading]:
    if not isinstance(whole.content.get("one_end"), dict):
        return one_end_in_tables(whole.tables("one_end"), tags)
    table = whole.table("one_end")
    name = table.take("file", fields.text) if table else None
    if table is None or name is None:
        return []
    table.close()
    try:
        source = Source(name, opened(name, "one_end file"))
    except InputError as error:
        whole.source.problems.append(error)
        return []
    found = one_end_in_csv(source, tags)
    whole.source.problems += source.problems
    return found
