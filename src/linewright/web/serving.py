"""Serving the app: on loopback, or open to the local network behind a pass phrase made for this start."""

from __future__ import annotations

import secrets
import socket
from collections.abc import Callable, Iterator

from linewright.core.errors import CannotError
from linewright.web.sessions import LOOPBACK, Settings

WORDS = (
    "amber", "anchor", "apple", "basin", "beacon", "birch", "bramble", "brook", "candle", "cedar", "chalk",
    "clover", "cobble", "copper", "coral", "cove", "daisy", "delta", "ember", "fallow", "fern", "flint",
    "garnet", "harbour", "hazel", "heron", "hollow", "island", "ivory", "juniper", "kettle", "lantern", "larch",
    "linen", "maple", "marble", "meadow", "mill", "moss", "nettle", "oak", "olive", "orchard", "otter",
    "pebble", "pepper", "pine", "quarry", "raven", "reed", "ridge", "river", "robin", "saddle", "sage", "shore",
    "slate", "sparrow", "spruce", "stone", "sumac", "thistle", "timber", "tundra", "valley", "velvet", "walnut",
    "willow", "wren",
)  # fmt: skip
LENGTH = 5
"""Words of a pass phrase: five of 69 are 30 bits, and wrong tries must wait."""


def pass_phrase() -> str:
    """Return a pass phrase for one start."""
    return " ".join(secrets.choice(WORDS) for _ in range(LENGTH))


def own_names() -> Iterator[str]:
    """Yield the names and addresses this machine has on the local network."""
    yield socket.gethostname().lower()
    probe = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
    try:
        # No packet is sent: connecting a datagram socket only asks which address would be used.
        probe.connect(("192.0.2.1", 9))
        yield probe.getsockname()[0]
    except OSError:
        return
    finally:
        probe.close()


def serve_app(port: int, ledger: str | None, *, lan: bool, tell: Callable[[str], object]) -> None:
    """Serve until stopped.

    Raises
    ------
    CannotError
        If the port is taken.
    """
    import uvicorn

    from linewright.web.app import create_app

    names = tuple(own_names()) if lan else ()
    settings = Settings(ledger, port, (*LOOPBACK, *names), pass_phrase() if lan else None)
    _free(port, lan=lan)
    tell(f"The station is at http://localhost:{port}/")
    if settings.pass_phrase:
        _invite(settings, names, tell)
    uvicorn.run(create_app(settings), host="0.0.0.0" if lan else "127.0.0.1", port=port, log_level="warning")


def _free(port: int, *, lan: bool) -> None:
    with socket.socket(socket.AF_INET, socket.SOCK_STREAM) as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind(("0.0.0.0" if lan else "127.0.0.1", port))
        except OSError as cause:
            raise CannotError(f"Port {port} is taken ({cause.strerror}). Choose another with --port.") from cause


def _invite(settings: Settings, names: tuple[str, ...], tell: Callable[[str], object]) -> None:
    """Show where a phone finds the station, as text and as a picture, and the pass phrase."""
    import io

    import segno

    address = f"http://{names[-1]}:{settings.port}/"
    picture = io.StringIO()
    segno.make(address, error="m").terminal(out=picture, compact=True)
    tell(f"From the local network: {address}\n\n{picture.getvalue()}\nPass phrase: {settings.pass_phrase}")
    tell("Whoever is on this network and knows it can read and change the ledger. It changes at each start.")
