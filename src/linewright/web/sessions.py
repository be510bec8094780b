"""Who is speaking: a session by cookie, the token its forms carry, and whether it knows the pass phrase."""

from __future__ import annotations

import hashlib
import hmac
import secrets
import threading
from dataclasses import dataclass, field

COOKIE = "linewright"
MOST = 500
"""Sessions kept; the oldest are forgotten first."""
TRIES = 10
"""Wrong pass phrases until nobody is let in any more; a new start of the app sets it back."""


@dataclass(slots=True)
class Sessions:
    """The sessions of one start of the app. A cookie is only known to the app that gave it."""

    pass_phrase: str | None
    _secret: bytes = field(default_factory=lambda: secrets.token_bytes(32))
    _admitted: dict[str, bool] = field(default_factory=dict)
    _wrong: int = 0
    _lock: threading.Lock = field(default_factory=threading.Lock)

    def of(self, cookie: str | None) -> tuple[str, bool]:
        """Return the session of a cookie and whether it is new."""
        with self._lock:
            if cookie is not None and cookie in self._admitted:
                return cookie, False
            fresh = secrets.token_urlsafe(24)
            self._admitted[fresh] = self.pass_phrase is None
            while len(self._admitted) > MOST:
                del self._admitted[next(iter(self._admitted))]
            return fresh, True

    def admitted(self, session: str) -> bool:
        """Return whether the session may see more than the door."""
        return self._admitted.get(session, False)

    def admit(self, session: str, pass_phrase: str) -> bool:
        """Let a session in that knows the pass phrase; after too many wrong ones nobody is."""
        with self._lock:
            if self.pass_phrase is None:
                return True
            if self.closed():
                return False
            said, known = (" ".join(text.lower().split()).encode() for text in (pass_phrase, self.pass_phrase))
            right = hmac.compare_digest(said, known)
            self._admitted[session] = right
            self._wrong += not right
            return right

    def closed(self) -> bool:
        """Return whether too many wrong pass phrases were said."""
        return self._wrong >= TRIES

    def token(self, session: str) -> str:
        """Return what every form of a session carries, so that no other site can send one in its name."""
        return hmac.new(self._secret, session.encode(), hashlib.sha256).hexdigest()

    def spoke(self, session: str, token: str) -> bool:
        """Return whether a form came from one of our own pages."""
        return hmac.compare_digest(self.token(session).encode(), token.encode())
