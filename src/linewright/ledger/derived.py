"""What was worked out before: good as long as engine and evidence are the same."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from sqlalchemy import Connection, delete, insert, select

from linewright.ledger.schema import derived
from linewright.ledger.store import Writing, parsed, written


def known(connection: Connection, kind: str, engine: str) -> dict[str, tuple[str, Any]]:
    """Return what this engine worked out of a kind: by key, the evidence it rests on and the answer."""
    asked = select(derived).where(derived.c.kind == kind, derived.c.engine == engine)
    return {row.key: (row.evidence, parsed(row.body)) for row in connection.execute(asked)}


def remember(w: Writing, kind: str, engine: str, answers: Mapping[str, tuple[str, Mapping[str, Any]]]) -> None:
    """Remember answers by key, each with the evidence it rests on."""
    if not answers:
        return
    w.connection.execute(delete(derived).where(derived.c.kind == kind, derived.c.key.in_(list(answers))))
    rows = [
        {"kind": kind, "key": key, "engine": engine, "evidence": evidence, "body": written(body)}
        for key, (evidence, body) in answers.items()
    ]
    w.connection.execute(insert(derived), rows)
