"""Names at hand, told at once: where the ledger lies, and what it holds. Loads neither numbers nor the database."""

from __future__ import annotations

import os
from pathlib import Path

VARIABLE = "LINEWRIGHT_LEDGER"


def usual_place() -> str:
    """Return where the ledger lies if nobody says: what LINEWRIGHT_LEDGER names, or the user's data folder."""
    if named := os.environ.get(VARIABLE):
        return named
    from platformdirs import user_data_path

    return str(user_data_path("linewright", appauthor=False) / "ledger.sqlite")


def kept_names(kind: str, where: str | None = None) -> list[str]:
    """Return the names of what a ledger keeps of a kind: piece, run, station, meter, sheet and so on.

    A ledger on a server is not asked: a shell that completes a word must not wait for a network.
    """
    place = where or usual_place()
    if "://" in place:
        return []
    from linewright.store.names import names_in

    return names_in(Path(place).expanduser(), kind)


def type_names() -> list[str]:
    """Return the designators of the catalogue."""
    from linewright.catalogue.names import designators

    return list(designators())
