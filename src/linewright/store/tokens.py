"""The tokens of programs. They are no evidence: no history, no undoing, no export; a recovered ledger has none."""

from __future__ import annotations

import hashlib

from sqlalchemy import Connection, Row, delete, insert, select, update

from linewright.core.nouns.ledger import Token
from linewright.store.ledger import Writing
from linewright.store.schema import token


def every(connection: Connection) -> list[Token]:
    """Return all tokens by name."""
    return sorted((_token(row) for row in connection.execute(select(token))), key=lambda t: t.name)


def of_secret(connection: Connection, secret: str) -> Token | None:
    """Return the token of a secret, None if it is nobody's."""
    row = connection.execute(select(token).where(token.c.sha256 == hash_of(secret))).one_or_none()
    return None if row is None else _token(row)


def put(w: Writing, name: str, scope: str, secret: str) -> None:
    """Keep a new token by the hash of its secret."""
    values = {"name": name, "scope": scope, "sha256": hash_of(secret), "made_at": w.at}
    w.connection.execute(insert(token).values(values))


def used(w: Writing, number: int) -> None:
    """Note that a token was used."""
    w.connection.execute(update(token).where(token.c.id == number).values(used_at=w.at))


def drop(w: Writing, number: int) -> bool:
    """Forget a token; return whether there was one."""
    return w.connection.execute(delete(token).where(token.c.id == number)).rowcount > 0


def hash_of(secret: str) -> str:
    """Return the hash under which a secret is stored. The secret has 256 random bits, so it cannot be guessed."""
    return hashlib.sha256(secret.encode()).hexdigest()


def _token(row: Row[tuple[object, ...]]) -> Token:
    return Token(row.id, row.name, row.scope, row.made_at, row.used_at)
