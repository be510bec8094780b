"""Tokens by which programs speak to the app: made, listed, taken back, told by their secret."""

from __future__ import annotations

import secrets
from contextlib import suppress
from datetime import UTC, datetime, timedelta

from linewright.core.errors import InputError, LinewrightError, UnknownNameError
from linewright.core.messages import say
from linewright.core.nouns.ledger import SCOPES, Token
from linewright.files import fields
from linewright.store import tokens as kept
from linewright.store.ledger import Ledger
from linewright.verbs.shelf_items import NOW
from linewright.verbs.shelf_open import By, writing

MOST = 20
"""Tokens at a time: enough for every instrument and script of a club, few enough to look through."""
MOST_NAME = 60
PREFIX = "lwt_"
"""The prefix of a secret, so that one left lying about can be recognised."""
SECRET_BYTES = 32
USED_EACH = timedelta(minutes=1)
"""The resolution of the last use: a script that reads every second does not write every second."""


def make_token(ledger: Ledger, name: str, scope: str, *, by: By = NOW) -> str:
    """Make a token, and return its secret, which is kept nowhere.

    Parameters
    ----------
    name : str
        What it is for; changes made with it bear this name.
    scope : str
        "read", or "write" for one that may change the ledger, too.
    by : By
        When.

    Returns
    -------
    str
        The secret. Whoever has it may do what its scope says until it is revoked.

    Raises
    ------
    InputError
        If the name is empty, too long or taken, there is no such scope, or there are too many tokens.

    >>> from linewright.verbs.examples import example_ledger
    >>> with example_ledger() as ledger:
    ...     secret = make_token(ledger, "bench script", "write")
    ...     token_of(ledger, secret).name
    'bench script'
    """
    called = fields.text(name, "name")
    if len(called) > MOST_NAME or not called.isprintable():
        raise InputError(
            "name", say("must be at most {most} printable characters", most=MOST_NAME), cure=say("Shorten it.")
        )
    if scope not in SCOPES:
        raise InputError(
            "scope", say("must be one of {known}; got {value}", known=", ".join(SCOPES), value=repr(scope[:80]))
        )
    secret = PREFIX + secrets.token_urlsafe(SECRET_BYTES)
    with writing(ledger, by) as w:
        there = kept.every(w.connection)
        if any(t.name.casefold() == called.casefold() for t in there):
            raise InputError(
                "name",
                say("must be new; there is a token {called}", called=repr(called)),
                cure=say("Revoke that one, or add a word."),
            )
        if len(there) >= MOST:
            raise InputError(
                "token",
                say("must be one of {known} at most", known=MOST),
                cure=say("Revoke one that is not used any more."),
            )
        kept.put(w, called, scope, secret)
    return secret


def tokens(ledger: Ledger) -> tuple[Token, ...]:
    """Return the tokens by name, without their secrets."""
    with ledger.reads() as snapshot:
        return tuple(kept.every(snapshot))


def revoke_token(ledger: Ledger, number: int, *, by: By = NOW) -> None:
    """Take a token back: from now on nobody gets in by it.

    Raises
    ------
    UnknownNameError
        If there is none of this number.
    """
    with writing(ledger, by) as w:
        if not kept.drop(w, number):
            raise UnknownNameError(
                "token", say("must be one that is listed"), cure=say("Perhaps it was revoked before.")
            )


def token_of(ledger: Ledger, secret: str, *, at: datetime | None = None) -> Token | None:
    """Return the token of a secret, None if it is nobody's; that it was used is kept to the minute."""
    now = at or datetime.now(UTC)
    with ledger.reads() as snapshot:
        found = kept.of_secret(snapshot, secret)
    if found is None or (found.used_at and now - datetime.fromisoformat(found.used_at) < USED_EACH):
        return found
    # Whoever may read may do so from a ledger that cannot be written just now.
    with suppress(LinewrightError), writing(ledger, By(now)) as w:
        kept.used(w, found.id)
    return found
