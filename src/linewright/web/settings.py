"""How the app is served: where its ledger lies, who may come in, under which names it answers."""

from __future__ import annotations

import re
from dataclasses import dataclass

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
    """

    ledger: str | None = None
    port: int = 8731
    names: tuple[str, ...] = LOOPBACK
    pass_phrase: str | None = None

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
