"""Connections: SQLite set for safety first, PostgreSQL with the same one writer at a time."""

from __future__ import annotations

import time
from pathlib import Path
from typing import Any

from sqlalchemy import URL, Connection, Engine, create_engine, event, make_url
from sqlalchemy.exc import ArgumentError

from linewright.errors import CannotError, InputError

BUSY_MS = 10_000
"""How long a writer waits for another before it gives up."""
ONE_WRITER = 7_295_014
"""The advisory lock of a shared ledger: any fixed number, the same for all."""


def is_url(where: str) -> bool:
    """Return whether a ledger is named by a URL.

    >>> is_url("postgresql://club@localhost/ledger"), is_url("ledger.sqlite")
    (True, False)
    """
    return "://" in where


def engine_of_file(path: Path, busy_ms: int) -> Engine:
    """Return the engine of a SQLite file."""
    engine = create_engine(
        URL.create("sqlite", database=str(path)),
        connect_args={"timeout": busy_ms / 1000, "check_same_thread": False},
        pool_size=5, max_overflow=40,
    )  # fmt: skip
    event.listen(engine, "connect", _set_up)
    event.listen(engine, "begin", _begin)
    return engine


def _set_up(raw: Any, _record: Any) -> None:
    # The driver begins no transaction by itself; ``_begin`` does.
    raw.isolation_level = None
    raw.execute("PRAGMA foreign_keys = ON")
    raw.execute("PRAGMA synchronous = FULL")
    _write_ahead(raw)


def _write_ahead(raw: Any) -> None:
    """Set the write-ahead log. Two that open a new file at once meet here, and SQLite does not wait for this lock."""
    import sqlite3

    for left in range(50, -1, -1):
        try:
            if raw.execute("PRAGMA journal_mode").fetchone()[0] != "wal":
                raw.execute("PRAGMA journal_mode = WAL")
            return
        except sqlite3.OperationalError as cause:
            if "locked" not in str(cause) or not left:
                raise
            time.sleep(0.02)


def _begin(connection: Connection) -> None:
    writes = connection.get_execution_options().get("writes")
    connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")


def engine_of_server(where: str, busy_ms: int) -> tuple[Engine, str]:
    """Return the engine of a PostgreSQL URL, and the URL without its password.

    Raises
    ------
    InputError
        If it is not such a URL.
    CannotError
        If the driver is not installed.
    """
    try:
        url = make_url(where)
    except (ArgumentError, ValueError) as cause:
        raise _refused() from cause
    if url.get_backend_name() not in ("postgresql", "postgres"):
        raise _refused()
    url = url.set(drivername="postgresql+psycopg")
    shown = url.set(drivername="postgresql").render_as_string(hide_password=True)
    options = {"options": f"-c lock_timeout={busy_ms} -c timezone=UTC", "connect_timeout": 10}
    try:
        engine = create_engine(url, connect_args=options, pool_size=5, max_overflow=40, pool_pre_ping=True)
    except ImportError as cause:
        raise CannotError("A ledger on PostgreSQL needs its driver: install linewright[club].") from cause
    event.listen(engine, "begin", _begin_shared)
    return engine, shown


def _begin_shared(connection: Connection) -> None:
    if connection.get_execution_options().get("writes"):
        connection.exec_driver_sql(f"SELECT pg_advisory_xact_lock({ONE_WRITER})")


def _refused() -> InputError:
    cure = "Write postgresql://user@host/name, or the path of a file."
    return InputError("ledger", "must be a file or the URL of a PostgreSQL database", cure=cure)
