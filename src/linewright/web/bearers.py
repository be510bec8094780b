"""Programs that speak by a token of theirs instead of a browser's cookie (RFC 6750): who it is, and how often it may.

A token says everything by itself: no cookie is given, and no other site can make a browser send one, so there is
nothing to forge. Wrong tokens must wait as wrong pass phrases do; each token has a number of requests that come back to
it with time.
"""

from __future__ import annotations

import math
import threading
import time
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from starlette.requests import Request
from starlette.responses import JSONResponse, Response

from linewright.core.errors import InputError
from linewright.core.nouns.ledger import Token
from linewright.store.ledger import Ledger
from linewright.verbs.tokens import token_of
from linewright.web.sessions import Tries

if TYPE_CHECKING:
    from collections.abc import Callable

BURST, EACH_S = 60.0, 0.1
"""Requests a token may send at once, and how long until one more comes back: ten a second, for ever."""
MOST_SECRET = 200
"""Characters of a token that are looked at."""
HEADER = "authorization"
CURE = "Make one under Settings, Tokens, and send it as: Authorization: Bearer TOKEN."


class TokenError(InputError):
    """A token is missing, wrong, or may not do what is asked."""

    def __init__(self, status: int, rule: str, *, cure: str = CURE, error: str = "", wait_s: float = 0.0) -> None:
        super().__init__("token", rule, cure=cure)
        self.status, self.error, self.wait_s = status, error, wait_s

    def answer(self) -> Response:
        """Return what is answered, with what the standards ask to be said in headers."""
        headers = {}
        if self.status in (401, 403):
            told = f', error="{self.error}"' if self.error else ""
            headers["www-authenticate"] = f'Bearer realm="linewright"{told}'
        if self.wait_s:
            headers["retry-after"] = str(math.ceil(self.wait_s))
        return JSONResponse({"schema": "linewright/error/1", **self.to_dict()}, self.status, headers)


@dataclass(slots=True)
class Bearers:
    """Who speaks by a token, at one app."""

    ledger: Callable[[], Ledger]
    _tries: Tries = field(default_factory=Tries)
    _left: dict[int, tuple[float, float]] = field(default_factory=dict)
    _lock: threading.Lock = field(default_factory=threading.Lock)

    def of(self, request: Request) -> Token:
        """Return whose token a request carries.

        Raises
        ------
        TokenError
            If it is nobody's, or there were too many wrong ones, or too many requests.
        CannotError
            If the ledger cannot be read.
        """
        visitor, now_s = request.client.host if request.client else "", time.monotonic()
        kind, _, secret = request.headers[HEADER].partition(" ")
        single = len(request.headers.getlist(HEADER)) == 1 and kind.lower() == "bearer"
        found = token_of(self.ledger(), secret.strip()) if single and len(secret) <= MOST_SECRET else None
        if found is None:
            raise self._wrong(visitor, now_s)
        self._spend(found, now_s)
        return found

    def _wrong(self, visitor: str, now_s: float) -> TokenError:
        """Return what is said to a wrong token; a right one from the same address is let in all the same."""
        with self._lock:
            wait_s = self._tries.wait_s(visitor, now_s)
            if not wait_s:
                self._tries.add(visitor, now_s)
                return TokenError(401, "must be one that was made here and not revoked since", error="invalid_token")
        cure = f"The next can be tried in {math.ceil(wait_s)} s."
        return TokenError(429, "was wrong too often from this address", cure=cure, wait_s=wait_s)

    def _spend(self, found: Token, now_s: float) -> None:
        """Take one request off what a token may send."""
        with self._lock:
            left, at_s = self._left.get(found.id, (BURST, now_s))
            left = min(BURST, left + (now_s - at_s) / EACH_S)
            self._left[found.id] = (max(left - 1.0, 0.0), now_s)
        if left < 1.0:
            rule = f"may be used {1 / EACH_S:g} times a second in the long run"
            raise TokenError(429, rule, cure="Wait a second, then go on.", wait_s=1.0)


def bearer(request: Request) -> Token | None:
    """Return whose token a request came with, None if it came by a browser's cookie."""
    found: Token | None = getattr(request.state, "bearer", None)
    return found


def writer(request: Request) -> Token:
    """Return whose token may write.

    Raises
    ------
    TokenError
        If a request has no token, or one that may only read.
    """
    found = bearer(request)
    if found is None:
        raise TokenError(401, "is missing: under /api only a token may write")
    if found.scope != "write":
        rule = f"{found.name!r} may only read"
        raise TokenError(403, rule, cure="Make one that may write under Settings, Tokens.", error="insufficient_scope")
    return found
