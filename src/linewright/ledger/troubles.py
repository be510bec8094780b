"""What a database says when it cannot, in words that say what to do."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from sqlalchemy.exc import DBAPIError

from linewright.errors import CannotError, InputError, LinewrightError

SAID = (
    (("database is locked", "database table is locked", "lock timeout", "locking protocol"),
     "{where} is locked: another program is writing to it and does not finish. Nothing was written. "
     "Close that program, or try again in a moment."),
    (("disk is full", "no space left", "disk i/o error", "could not extend file"),
     "{where} cannot grow: the disk is full, over its limit, or failing. Nothing of this change was written; "
     "what was kept before is intact. Make room, then try again."),
    (("readonly database", "read-only"),
     "{where} is in a place that cannot be written to. Copy it to one that can, or name another with --ledger."),
    (("unable to open database file",),
     "{where} cannot be opened: its folder is missing or may not be written to. Name another with --ledger."),
    (("malformed", "disk image"),
     "{where} is damaged. Close it and open it again: that says what is hurt and which of its copies is whole."),
    (("connection failed", "could not connect", "connection refused", "server closed", "connection is lost"),
     "{where} does not answer. Is the server running, and the address right?"),
)  # fmt: skip


@contextmanager
def told(where: str) -> Iterator[None]:
    """Turn a database's complaint into one of ours.

    Raises
    ------
    InputError
        If the file is no database.
    CannotError
        If it is locked, full, read-only, damaged or does not answer.
    """
    try:
        yield
    except LinewrightError:
        raise
    except DBAPIError as cause:
        raise _words(str(cause.orig), where) from cause


def _words(said: str, where: str) -> LinewrightError:
    low = said.lower()
    if "not a database" in low:
        rule = f"must be a ledger; {where} is a file of another kind"
        return InputError("ledger", rule, cure="Name another file with --ledger.")
    for signs, words in SAID:
        if any(sign in low for sign in signs):
            return CannotError(words.format(where=where))
    return CannotError(f"{where} could not do it: {said.splitlines()[0] if said else 'no reason given'}.")
