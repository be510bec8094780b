"""Files kept exactly as they came, each once, called by what is in it."""

from __future__ import annotations

import hashlib

from sqlalchemy import Connection, insert, select

from linewright.errors import CannotError
from linewright.ledger.schema import blob
from linewright.ledger.store import Writing


def keep(w: Writing, content: bytes) -> str:
    """Keep some bytes and return their SHA-256, which is what they are called."""
    name = hashlib.sha256(content).hexdigest()
    if w.connection.execute(select(blob.c.sha256).where(blob.c.sha256 == name)).one_or_none() is None:
        w.connection.execute(insert(blob).values(sha256=name, content=content))
    return name


def content(connection: Connection, name: str) -> bytes:
    """Return the bytes of this name.

    Raises
    ------
    CannotError
        If they are not there, or no longer what they were.
    """
    found = connection.execute(select(blob.c.content).where(blob.c.sha256 == name)).scalar_one_or_none()
    if found is None or hashlib.sha256(bytes(found)).hexdigest() != name:
        raise CannotError(f"The kept file {name[:12]} is {'gone' if found is None else 'damaged'}. Open a backup.")
    return bytes(found)


def names(connection: Connection) -> list[str]:
    """Return what every kept file is called."""
    return sorted(connection.execute(select(blob.c.sha256)).scalars())
