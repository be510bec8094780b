"""Who is speaking: a session by cookie, the token its forms carry, and whether it knows the pass phrase.

A visitor costs no memory: the cookie proves by itself that this start of the app gave it. Only who said the pass phrase
is remembered, so that no stranger can push anybody out.
"""

from __future__ import annotations

import hashlib
import hmac
import math
import re
import secrets
import threading
from dataclasses import dataclass, field

# Who is speaking: a session by cookie, the token its forms carry, and whether it knows the pass phrase

IDLE_S = 12 * 3600.0
"""A device that was silent for so long is signed out."""
MAX_AGE_S = 30 * 24 * 3600.0
"""So long after it came in a device says the pass phrase again, however busy it was (OWASP ASVS 4.0.3, 3.3.2)."""
MAX_ADMITTED = 1000
"""Admitted sessions remembered; the one that was longest away is forgotten first, and says the phrase again."""
FREE_TRIES = 5
"""Wrong pass phrases of one visitor before the next has to wait."""
MAX_WAIT_S = 300.0
"""The longest wait: it begins at 1 s and doubles with every further wrong phrase."""
FADE_S = 600.0
"""After so long one wrong phrase is forgotten. Twelve tries an hour against 30 bits: some 7,000 years on average."""
MAX_WHAT = 80
"""Characters kept of what a browser calls itself."""
MAX_VISITORS = 10_000
"""Visitors whose wrong phrases are counted; the one who was longest silent is forgotten first."""


@dataclass(frozen=True, slots=True)
class Knock:
    """What became of a pass phrase: the session that is let in, "" if none; and how long to wait before the next."""

    session: str = ""
    wait_s: float = 0.0


@dataclass(slots=True)
class Device:
    """Who was let in: by which browser, from where, since when and when last heard, by a clock that never goes back."""

    what: str
    visitor: str
    since_s: float
    seen_s: float

    def is_over(self, at_s: float) -> bool:
        """Return whether it was silent, or inside, for too long."""
        return at_s - self.seen_s > IDLE_S or at_s - self.since_s > MAX_AGE_S


@dataclass(slots=True)
class Tries:
    """The wrong pass phrases of each visitor, which fade. Times are seconds of one clock that never goes back."""

    _wrong: dict[str, tuple[float, float]] = field(default_factory=dict)

    def count(self, visitor: str, at_s: float) -> float:
        """Return how many wrong phrases count against a visitor."""
        wrong, since_s = self._wrong.get(visitor, (0.0, at_s))
        return max(0.0, wrong - (at_s - since_s) / FADE_S)

    def wait_s(self, visitor: str, at_s: float) -> float:
        """Return how long a visitor must still wait."""
        wrong, since_s = self._wrong.get(visitor, (0.0, at_s))
        if wrong < FREE_TRIES:
            return 0.0
        return max(0.0, since_s + min(2.0 ** (math.ceil(wrong) - FREE_TRIES), MAX_WAIT_S) - at_s)

    def add(self, visitor: str, at_s: float) -> None:
        """Count a wrong phrase."""
        wrong = self.count(visitor, at_s) + 1
        self._wrong.pop(visitor, None)
        self._wrong[visitor] = (wrong, at_s)
        while len(self._wrong) > MAX_VISITORS:
            del self._wrong[next(iter(self._wrong))]

    def forget(self, visitor: str) -> None:
        """Forget a visitor's wrong phrases."""
        self._wrong.pop(visitor, None)


@dataclass(slots=True)
class Sessions:
    """The sessions of one start of the app. A cookie is only known to the app that gave it."""

    pass_phrase: str | None
    key: str = ""
    tries: Tries = field(default_factory=Tries)
    _secret: bytes = field(default_factory=lambda: secrets.token_bytes(32))
    _admitted: dict[str, Device] = field(default_factory=dict)
    _lock: threading.Lock = field(default_factory=threading.Lock)

    def of(self, cookie: str | None) -> tuple[str, bool]:
        """Return the session of a cookie and whether it is new."""
        if cookie is not None and self._ours(cookie):
            return cookie, False
        return self._made(), True

    def admitted(self, session: str, at_s: float) -> bool:
        """Return whether the session may see more than the door; asking keeps it from being forgotten."""
        if self.pass_phrase is None:
            return True
        with self._lock:
            device = self._admitted.pop(session, None)
            if device is None or device.is_over(at_s):
                return False
            device.seen_s = max(at_s, device.seen_s)
            self._admitted[session] = device
            return True

    def devices(self, at_s: float) -> dict[str, Device]:
        """Return the devices inside by names that sign nobody in, the one heard last first."""
        with self._lock:
            for session in [s for s, d in self._admitted.items() if d.is_over(at_s)]:
                del self._admitted[session]
            return {self.device_of(s): d for s, d in reversed(self._admitted.items())}

    def device_of(self, session: str) -> str:
        """Return the name of a session's device."""
        return self._signed("device", session)[:16]

    def sign_out(self, device: str) -> None:
        """Sign a device out; its cookie lets nobody in any more."""
        with self._lock:
            for session in [s for s in self._admitted if self.device_of(s) == device]:
                del self._admitted[session]

    def admit(self, session: str, pass_phrase: str, visitor: str, at_s: float, what: str = "") -> Knock:
        """Let in who knows the pass phrase, under a new session; who is inside stays inside, whatever is said.

        Parameters
        ----------
        session : str
            Who speaks.
        pass_phrase : str
            What was said.
        visitor : str
            Where from: wrong phrases are counted by this.
        at_s : float
            The time, by a clock that never goes back.
        what : str
            What the browser calls itself.
        """
        if self.admitted(session, at_s):
            return Knock(session)
        with self._lock:
            wait_s = self.tries.wait_s(visitor, at_s)
            if wait_s > 0:
                return Knock(wait_s=wait_s)
            if not self._is_right(pass_phrase):
                self.tries.add(visitor, at_s)
                return Knock(wait_s=self.tries.wait_s(visitor, at_s))
            self.tries.forget(visitor)
            fresh = self._made()
            self._admitted[fresh] = Device(what[:MAX_WHAT], visitor, at_s, at_s)
            while len(self._admitted) > MAX_ADMITTED:
                del self._admitted[next(iter(self._admitted))]
            return Knock(fresh)

    def wait_s(self, visitor: str, at_s: float) -> float:
        """Return how long a visitor must wait before the next pass phrase."""
        with self._lock:
            return self.tries.wait_s(visitor, at_s)

    def token(self, session: str) -> str:
        """Return what every form of a session carries, so that no other site can send one in its name."""
        return self._signed("form", session)

    def spoke(self, session: str, token: str) -> bool:
        """Return whether a form came from one of our own pages."""
        return hmac.compare_digest(self.token(session).encode(), token.encode())

    def sign(self, words: str) -> str:
        """Return what proves that words in an address are the app's own."""
        return self._signed("said", words)[:32]

    def is_signed(self, words: str, signature: str) -> bool:
        """Return whether words in an address are the app's own."""
        return hmac.compare_digest(self.sign(words).encode(), signature.encode(errors="replace"))

    def _is_right(self, pass_phrase: str) -> bool:
        said, known = (" ".join(text.lower().split()).encode() for text in (pass_phrase, self.pass_phrase or ""))
        by_key = bool(self.key) and hmac.compare_digest(pass_phrase.encode(), self.key.encode())
        return hmac.compare_digest(said, known) or by_key

    def _made(self) -> str:
        name = secrets.token_urlsafe(24)
        return f"{name}.{self._signed('session', name)}"

    def _ours(self, cookie: str) -> bool:
        name, _, signed = cookie.rpartition(".")
        return hmac.compare_digest(self._signed("session", name).encode(), signed.encode())

    def _signed(self, what: str, text: str) -> str:
        return hmac.new(self._secret, f"{what} {text}".encode(), hashlib.sha256).hexdigest()


# How the app is served: where its ledger lies, who may come in, under which names it answers

LOOPBACK = ("localhost", "127.0.0.1", "[::1]")
HOST = re.compile(r"(?P<name>\[[0-9a-fA-F:.]+\]|[A-Za-z0-9._-]+)(:(?P<port>[0-9]{0,5}))?")
"""A host with or without its port (RFC 3986, 3.2.2 and 3.2.3), of the names that addresses of a local network have."""


@dataclass(frozen=True, slots=True)
class Settings:
    """What ``linewright serve`` was told.

    Attributes
    ----------
    ledger : str, optional
        A file or a URL; None: the usual place.
    port : int
        Where it listens.
    names : tuple of str
        Host names it answers to, without the port; a request for any other is refused (DNS rebinding).
    pass_phrase : str, optional
        What a visitor must know; None on loopback, where whoever is at the machine is at home.
    key : str
        What the picture carries in place of the phrase; "" for none.
    tls : bool
        Whether it is served over TLS.
    apart : bool
        Whether heavy requests are answered in processes of their own.
    """

    ledger: str | None = None
    port: int = 8731
    names: tuple[str, ...] = LOOPBACK
    pass_phrase: str | None = None
    key: str = ""
    tls: bool = False
    apart: bool = False

    @property
    def scheme(self) -> str:
        """How its addresses begin."""
        return "https" if self.tls else "http"

    @property
    def cookie(self) -> str:
        """The name of the session's cookie, its own: browsers share cookies among the ports of a host.

        Over TLS it begins with ``__Host-``: a browser then takes it from this host alone, for every path and over TLS.
        """
        ledger = hashlib.sha256((self.ledger or "").encode()).hexdigest()[:8]
        return f"{'__Host-' if self.tls else ''}linewright-{self.port}-{ledger}"

    def answers_to(self, host: str) -> bool:
        """Return whether a Host header names this app.

        >>> Settings().answers_to("localhost:8731"), Settings().answers_to("evil.example:8731")
        (True, False)
        >>> Settings().answers_to("127.0.0.1:²"), is_host("127.0.0.1:²")
        (False, False)
        """
        found = HOST.fullmatch(host)
        return found is not None and found["name"].lower() in self.names and int(found["port"] or 80) == self.port


def is_host(text: str) -> bool:
    """Return whether a text is a host with or without its port at all, be it ours or not."""
    return HOST.fullmatch(text) is not None
