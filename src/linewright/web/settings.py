"""How the app is served: where its ledger lies, who may come in, under which names it answers."""

from __future__ import annotations

from dataclasses import dataclass

LOOPBACK = ("localhost", "127.0.0.1", "[::1]")


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
        """
        name, colon, port = host.rpartition(":")
        if not colon or not port.isdigit():
            name, port = host, "80"
        return name.lower() in self.names and int(port) == self.port
