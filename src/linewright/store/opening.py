"""Opening a ledger: made where there is none, else checked, brought up to date when it is old, copied once a day."""

from __future__ import annotations

import threading
import time
from datetime import datetime
from pathlib import Path
from typing import Any

from sqlalchemy import URL, Connection, Engine, create_engine, event, make_url, text
from sqlalchemy.exc import ArgumentError, DBAPIError

from linewright.core.errors import CannotError, DamagedError, InputError
from linewright.core.messages import say
from linewright.store.backups import RECOVER, back_up, backups, check_beside_copies, folder, is_due, newest_whole
from linewright.store.ledger import CHANNEL, Ledger, stamp
from linewright.store.schema import HEAD, metadata
from linewright.store.soundness import MAX_OPENING_S, changed_rows, query_of_rows

# Connections: SQLite set for safety first, PostgreSQL with the same one writer at a time

BUSY_MS = 10_000
"""How long a writer waits for another before it gives up."""
SILENT_MS = 60_000
"""How long a writer may fall silent within its transaction before the server ends it and lets the next one write."""
ALIVE = (("idle", 20), ("interval", 5), ("count", 4))
"""Keepalive at both ends of a connection: seconds to the first probe, seconds between probes, and their number.

The usual first probe comes after two hours (tcp(7), tcp_keepalive_time): a machine that lost power while writing would
block all other writers for that long.
"""
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
    set_there = {"lock_timeout": busy_ms, "timezone": "UTC"}
    set_there |= {f"tcp_keepalives_{name}": value for name, value in ALIVE}
    options = {f"keepalives_{name}": value for name, value in ALIVE} | {
        "options": " ".join(f"-c {name}={value}" for name, value in set_there.items()), "connect_timeout": 10,
        "tcp_user_timeout": SILENT_MS,
    }  # fmt: skip
    try:
        engine = create_engine(url, connect_args=options, pool_size=5, max_overflow=40, pool_pre_ping=True)
    except ImportError as cause:
        raise CannotError(say("A ledger on PostgreSQL needs its driver: install linewright[club].")) from cause
    event.listen(engine, "begin", _begin_shared)
    return engine, shown


def answering(where: str) -> str:
    """Return the URL of a server that answers, without its password. Nothing is written there.

    Raises
    ------
    InputError
        If it is not such a URL.
    CannotError
        If the driver is not installed, or the server does not answer.
    """
    engine, shown = engine_of_server(where, BUSY_MS)
    try:
        with engine.connect() as connection:
            connection.execute(text("SELECT 1"))
    except DBAPIError as cause:
        raise CannotError(
            say("{shown} does not answer: {orig}", shown=shown, orig=" ".join(str(cause.orig).split()))
        ) from cause
    finally:
        engine.dispose()
    return shown


def _begin_shared(connection: Connection) -> None:
    if connection.get_execution_options().get("writes"):
        # What is told is told once the transaction is kept, and never where it is not (PostgreSQL 15, NOTIFY).
        # For writers alone: a reader blocks nobody, however long its snapshot stays open.
        connection.exec_driver_sql(f"SET LOCAL idle_in_transaction_session_timeout = {SILENT_MS}")
        connection.exec_driver_sql(f"SELECT pg_advisory_xact_lock({ONE_WRITER}), pg_notify('{CHANNEL}', '')")


def _refused() -> InputError:
    cure = say("Write postgresql://user@host/name, or the path of a file.")
    return InputError("ledger", say("must be a file or the URL of a PostgreSQL database"), cure=cure)


# Bringing a ledger's tables up to date, and refusing what is no ledger or comes from the future

STEPS = Path(__file__).parent / "migrations"
STEPPING = threading.Lock()
REVISIONS = ("", "0001", "0002", "0003", HEAD)
"""Every revision a ledger may be found at, oldest first; the first is an empty one."""
USUAL = "SELECT version_num FROM alembic_version WHERE NOT EXISTS (SELECT 1 FROM item, change WHERE item.id < 0)"


def revision(connection: Connection, where: str) -> str:
    """Return the revision a database is at; "" for an empty one.

    Raises
    ------
    InputError
        If it holds something else than a ledger.
    CannotError
        If a newer version of the program made it.
    """
    if _at_head(connection):
        return HEAD
    tables = _tables(connection)
    if not tables:
        return ""
    if not {"alembic_version", "item", "change"} <= tables:
        rule = say(
            "must be a ledger or empty; {where} holds something else ({tables})",
            where=where,
            tables=", ".join(sorted(tables)[:3]),
        )
        raise InputError("ledger", rule, cure=say("Name another file with --ledger."))
    found = str(connection.execute(text("SELECT version_num FROM alembic_version")).scalar_one())
    if found not in REVISIONS:
        raise CannotError(
            say(
                "{where} was written by a newer version of linewright (tables {found}; this one "
                "knows {head}). Nothing was changed. Update linewright, or open an older copy "
                "from the backups.",
                where=where,
                found=found,
                head=HEAD,
            )
        )
    return found


def _at_head(connection: Connection) -> bool:
    """Return whether one look finds the newest revision and the tables of a ledger: the usual case, told quickly."""
    try:
        with connection.begin_nested():
            return connection.execute(text(USUAL)).scalar() == HEAD
    except DBAPIError:
        return False


def _tables(connection: Connection) -> set[str]:
    from sqlalchemy import inspect

    return set(inspect(connection).get_table_names())


def upgrade(connection: Connection) -> None:
    """Run the steps that are missing, inside the transaction the connection is in."""
    from alembic.config import Config
    from alembic.runtime.environment import EnvironmentContext
    from alembic.script import ScriptDirectory

    config = Config()
    config.set_main_option("script_location", str(STEPS).replace("%", "%%"))
    script = ScriptDirectory.from_config(config)

    def steps(found: Any, _: Any) -> Any:
        return script._upgrade_revs(HEAD, found)

    # What alembic works on stands in its module, for one at a time.
    with STEPPING, EnvironmentContext(config, script, fn=steps, destination_rev=HEAD) as environment:
        environment.configure(connection=connection, target_metadata=metadata)
        environment.run_migrations()


def difference(connection: Connection) -> list[object]:
    """Return in what the tables differ from how they are drawn in ``schema``."""
    from alembic.autogenerate import compare_metadata
    from alembic.migration import MigrationContext

    return list(compare_metadata(MigrationContext.configure(connection), metadata))


# Opening a ledger: made where there is none, else checked, brought up to date when it is old, copied once a day


def open_at(where: str, at: datetime, *, busy_ms: int = BUSY_MS) -> Ledger:
    """Return an open ledger.

    Parameters
    ----------
    where : str
        A file, made when it is not there, or the URL of a PostgreSQL database.
    at : datetime
        The time now, with its zone.
    busy_ms : int
        How long to wait for another writer.

    Raises
    ------
    InputError
        If there is something else than a ledger.
    CannotError
        If it is locked, damaged, comes from a newer version, cannot be written, or the server does not answer.
    """
    ledger = _on_server(where, busy_ms) if is_url(where) else _in_file(Path(where).expanduser(), busy_ms)
    try:
        _up_to_date(ledger, at)
    except BaseException:
        ledger.close()
        raise
    return ledger


def _on_server(where: str, busy_ms: int) -> Ledger:
    engine, shown = engine_of_server(where, busy_ms)
    return Ledger(engine, shown)


def _in_file(path: Path, busy_ms: int) -> Ledger:
    try:
        if path.is_dir():
            raise InputError(
                "ledger",
                say("must be a file; {path} is a folder", path=path),
                cure=say("Name {value}.", value=path / "ledger.sqlite"),
            )
        path.parent.mkdir(parents=True, exist_ok=True)
    except OSError as cause:
        raise CannotError(
            say("The folder {parent} cannot be made: {reason}.", parent=path.parent, reason=cause.strerror or cause)
        ) from cause
    remarks = _checked(path) if path.exists() else []
    return Ledger(engine_of_file(path, busy_ms), str(path), path, remarks)


def _checked(path: Path) -> list[str]:
    """Return what could not be checked of a file, as a remark; damage is an error that names the newest sound copy."""
    found = check_beside_copies(path, MAX_OPENING_S)
    if not found.hurt:
        left = ", ".join(found.unchecked)
        return [f"{path} is too large to be checked whole at opening; not checked: {left}."] if left else []
    copy, many = newest_whole(path), len(backups(path))
    cure = f"The newest sound copy is {copy}."
    if copy is None:
        cure = f"None of the {many} copies in {folder(path)} is whole." if many else f"{folder(path)} holds no copy."
    raise DamagedError(
        say(
            "{path} is damaged in {hurt}. It was left as it is. {cure} {recover}",
            path=path,
            hurt=", ".join(found.hurt),
            cure=cure,
            recover=RECOVER,
        )
    )


def _up_to_date(ledger: Ledger, at: datetime) -> None:
    with ledger.reads() as connection:
        found = revision(connection, ledger.where)
    if found == HEAD:
        _daily_copy(ledger, at)
        return
    if found and ledger.path:
        back_up(ledger, at, why=f"before-{HEAD}")
    _migrate(ledger, at)


def _daily_copy(ledger: Ledger, at: datetime) -> None:
    """Copy the file once a day. Where that fails the ledger still opens, and says so."""
    if ledger.path is None or not is_due(ledger.path, stamp(at)[:10]):
        return
    try:
        back_up(ledger, at)
    except CannotError as error:
        ledger.remarks.append(str(error))


def _migrate(ledger: Ledger, at: datetime) -> None:
    with ledger.writes(at) as writing:
        # Somebody else may have done it while this one waited.
        if revision(writing.connection, ledger.where) != HEAD:
            upgrade(writing.connection)


def new_file(path: Path, at: datetime, busy_ms: int) -> None:
    """Make an empty ledger in a file."""
    with _in_file(path, busy_ms) as ledger:
        _migrate(ledger, at)


def check_rows(ledger: Ledger) -> tuple[str, ...]:
    """Return, in words, the rows of an open ledger that no longer are what was written."""
    hurt: list[str] = []
    for table in metadata.tables:
        asked = query_of_rows(table)
        if asked is not None:
            with ledger.reads() as connection:
                hurt += changed_rows(table, connection.execute(text(asked)))
    return tuple(hurt)
