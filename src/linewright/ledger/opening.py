"""Opening a ledger: made where there is none, else checked, brought up to date when it is old, copied once a day."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path

from linewright.errors import CannotError, InputError
from linewright.ledger.backups import back_up, backups, folder, is_due, newest_whole
from linewright.ledger.engine import BUSY_MS, engine_of_file, engine_of_server, is_url
from linewright.ledger.migrate import revision, upgrade
from linewright.ledger.schema import HEAD
from linewright.ledger.soundness import MAX_OPENING_S, check_file
from linewright.ledger.store import Ledger, stamp


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
    if path.is_dir():
        raise InputError("ledger", f"must be a file; {path} is a folder", cure=f"Name {path / 'ledger.sqlite'}.")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
    except OSError as cause:
        raise CannotError(f"The folder {path.parent} cannot be made: {cause.strerror}.") from cause
    remarks = _checked(path) if path.exists() else []
    return Ledger(engine_of_file(path, busy_ms), str(path), path, remarks)


def _checked(path: Path) -> list[str]:
    """Return what could not be checked of a file, as a remark; damage is an error that names the newest whole copy."""
    found = check_file(path, MAX_OPENING_S)
    if not found.hurt:
        left = ", ".join(found.unchecked)
        return [f"{path} is too large to be checked whole at opening; not checked: {left}."] if left else []
    copy, many = newest_whole(path), len(backups(path))
    cure = f"The newest whole copy is {copy}: move the damaged file away and put that in its place."
    if copy is None:
        cure = f"None of the {many} copies in {folder(path)} is whole." if many else f"{folder(path)} holds no copy."
    raise CannotError(f"{path} is damaged in {', '.join(found.hurt)}. It was left as it is. {cure}")


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
