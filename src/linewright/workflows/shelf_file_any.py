"""Filing whatever a file is: a sweep, a sheet, a station, line types."""

from __future__ import annotations

import re
from datetime import date
from pathlib import Path

from linewright.errors import Culprit, InputError
from linewright.formats.own_lines import read_lines
from linewright.formats.tables import Source
from linewright.formats.texts import decoded
from linewright.ledger import items
from linewright.ledger.store import Ledger
from linewright.model.ledger import Item
from linewright.model.shelf import Filed, Kept
from linewright.workflows import shelf_nouns as nouns
from linewright.workflows.shelf_filing import file_sheet, file_sweep, read_bytes
from linewright.workflows.shelf_items import NOW
from linewright.workflows.shelf_open import By, writing
from linewright.workflows.shelf_stations import keep_station


def file_lines(ledger: Ledger, path: Path | str, *, by: By = NOW) -> tuple[Item, ...]:
    """Keep the line types of a TOML or CSV file; one of the same name is changed.

    Raises
    ------
    InputError
        If the file breaks a rule.
    """
    with writing(ledger, by) as w:
        return tuple(items.put(w, "line", x.designator, nouns.line_body(x)) for x in read_lines(path))


def file_any(
    ledger: Ledger, path: Path | str, piece: str | None = None, far_end: str = "through", *,
    on: date | None = None, by: By = NOW,
) -> Filed:  # fmt: skip
    """File whatever a file is: a sweep of a piece if one is named, else a sheet, a station or line types.

    Raises
    ------
    InputError
        If the file breaks a rule, or is a sweep and no piece is named.
    """
    path = Path(path)
    if piece is not None:
        return Filed((file_sweep(ledger, path, piece, far_end, on=on, by=by),))
    if re.fullmatch(r"\.s\d+p|\.ts", path.suffix.lower()):
        raise InputError("piece", "must be named for a sweep", where=Culprit(str(path)), cure="Add --piece TAG.")
    if path.suffix.lower() == ".csv":
        return Filed(tuple(Kept(i) for i in file_lines(ledger, path, by=by)))
    tables = Source(str(path), decoded(read_bytes(path, "file"), "file", str(path))).parsed()
    if "run" in tables or "station" in tables:
        return Filed((keep_station(ledger, path, by=by),))
    if tables.keys() == {"line"}:
        return Filed(tuple(Kept(i) for i in file_lines(ledger, path, by=by)))
    return Filed((file_sheet(ledger, path, on=on, by=by),))
