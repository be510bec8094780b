"""Serving the app: on loopback, or open to the local network behind a pass phrase made for this start."""

from __future__ import annotations

import asyncio
import faulthandler
import http.client
import logging
import os
import secrets
import socket
import ssl
import sys
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from types import FrameType

from linewright.core.errors import CannotError
from linewright.core.machine import give_back, share_heaps
from linewright.core.messages import say
from linewright.web.certificates import fingerprint, own_certificate
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
MARK = Path(__file__).parent / "static" / "mark.svg"
LENGTH = 5
"""Words of a pass phrase: five of 69 are 30 bits, and wrong tries must wait."""
KEY_BYTES = 16
"""The key in the picture: 128 bits, since nobody types it."""
END_S, LAST_S = 0.9, 1.4
"""How long the app may take for an orderly stop, and how long until it is stopped regardless."""
IDLE_S = 60
"""How long a connection may be idle between two requests. Closed sooner, it meets requests that are on their way."""
HEAD_S = 10.0
"""How long the head of a request may take to come."""


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


def is_ours(port: int) -> bool:
    """Return whether an app of ours answers on this machine already."""
    asked = http.client.HTTPConnection("127.0.0.1", port, timeout=2.0)
    try:
        asked.request("GET", "/static/mark.svg", headers={"Host": f"localhost:{port}"})
        return asked.getresponse().read() == MARK.read_bytes()
    except (OSError, http.client.HTTPException):
        return False
    finally:
        asked.close()


def serve_app(
    port: int,
    ledger: str | None,
    *,
    lan: bool,
    tell: Callable[[str], object],
    tls: tuple[str, str] | bool | None = None,
    ready: Callable[[str], object] | None = None,
) -> None:
    """Serve until stopped; ``tls`` names the files of a certificate and of its private key, True: one is made.

    ``ready`` is called with the address once the app answers there.

    Raises
    ------
    CannotError
        If the port is taken, or the certificate cannot be used.
    """
    import uvicorn

    from linewright.present.charts.render import draw_elsewhere
    from linewright.web.apart import Drawer
    from linewright.web.app import create_app

    names = tuple(own_names()) if lan else ()
    phrase, key = (pass_phrase(), secrets.token_urlsafe(KEY_BYTES)) if lan else (None, "")
    settings = Settings(ledger, port, (*LOOPBACK, *names), phrase, key, bool(tls), apart=True)
    _free(port, lan=lan)
    share_heaps()
    sys.setswitchinterval(SWITCH_S)
    threading.Thread(target=_give_back, name="memory", daemon=True).start()
    if tls is True:
        tls = own_certificate(ledger, settings.names)
        print_of = fingerprint(tls[0])
        tell(say("Its certificate is its own: the browser warns once. SHA-256 of it: {digits}", digits=print_of))
    if tls:
        _usable(*tls)
    tell(say("The station is at {address}", address=f"{settings.scheme}://localhost:{port}/"))
    if settings.pass_phrase:
        _invite(settings, names, tell)
    certificate, private = tls or (None, None)
    app = create_app(settings)
    config = uvicorn.Config(
        app, host="0.0.0.0" if lan else "127.0.0.1", port=port, log_level="warning",
        ssl_certfile=certificate, ssl_keyfile=private, http=impatient(), timeout_graceful_shutdown=1,
        server_header=False, timeout_keep_alive=IDLE_S,
    )  # fmt: skip

    class Announced(uvicorn.Server):
        async def startup(self, sockets: list[socket.socket] | None = None) -> None:
            await super().startup(sockets)
            if ready is not None and self.started:
                address = f"{settings.scheme}://localhost:{port}/"
                await asyncio.get_running_loop().run_in_executor(None, ready, address)

    server = Announced(config)
    asked = server.handle_exit

    def handle_exit(sig: int, frame: FrameType | None) -> None:
        # What is broken off now would be shown with its traceback.
        logging.getLogger("uvicorn.error").disabled = True
        _leave_soon(128 + sig)
        app.state.live.close()
        asked(sig, frame)

    server.handle_exit = handle_exit  # type: ignore[method-assign]
    draw_elsewhere(Drawer())
    try:
        server.run()
    finally:
        draw_elsewhere(None)


def impatient(head_s: float = HEAD_S) -> type[asyncio.Protocol]:
    """Return a protocol that closes connections on which no whole head of a request comes in time."""
    from uvicorn.protocols.http.h11_impl import H11Protocol

    class Impatient(H11Protocol):
        late: asyncio.TimerHandle | None = None

        def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
            super().connection_made(transport)
            self.watch()

        def data_received(self, data: bytes) -> None:
            super().data_received(data)
            if self.late is not None and not self.waits():  # the head is whole
                self.late.cancel()
                self.late = None
            self.watch()

        def watch(self) -> None:
            if self.late is None and self.waits():
                self.late = self.loop.call_later(head_s, self.give_up)

        def waits(self) -> bool:
            return bool(getattr(self.cycle, "response_complete", True))

        def give_up(self) -> None:
            self.late = None
            if self.waits() and not self.transport.is_closing():
                self.transport.close()

    return Impatient


SWITCH_S = 0.0005
"""How long a thread that judges keeps the interpreter when a page wants it. A page or a reading asks for it again after
each of a dozen steps in the ledger, while it may hold up all other writers."""
GIVE_BACK_S = 15.0
"""How often free memory goes back to the system; it takes some milliseconds."""


def _give_back() -> None:
    while True:
        time.sleep(GIVE_BACK_S)
        give_back()


def _leave_soon(status: int) -> None:
    """End shortly, whatever is still being worked out then: what was acknowledged is on the disk.

    The timer waits for its turn among the threads that work. Where it does not get it, a watchdog that needs no turn
    ends the process (https://docs.python.org/3/library/faulthandler.html#dumping-the-tracebacks-after-a-timeout).
    """
    faulthandler.dump_traceback_later(LAST_S, exit=True, file=Path(os.devnull).open("w", encoding="utf-8"))  # noqa: SIM115 - it ends us
    last = threading.Timer(END_S, os._exit, (status,))
    last.daemon = True
    last.start()


def _usable(certificate: str, key: str) -> None:
    try:
        ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER).load_cert_chain(certificate, key, password=str)
    except (OSError, ValueError) as cause:
        words = say(
            "The certificate {certificate} with the key {key} cannot be used: {why}.",
            certificate=certificate, key=key, why=str(cause),
        )  # fmt: skip
        raise CannotError(words) from cause


def _free(port: int, *, lan: bool) -> None:
    with socket.socket(socket.AF_INET, socket.SOCK_STREAM) as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind(("0.0.0.0" if lan else "127.0.0.1", port))
        except OSError as cause:
            words = say("Port {port} is taken ({why}). Choose another with --port.", port=port, why=str(cause.strerror))
            raise CannotError(words) from cause


def _invite(settings: Settings, names: tuple[str, ...], tell: Callable[[str], object]) -> None:
    """Show where a phone finds the station, as text and as a picture, and the pass phrase."""
    import io

    import segno

    address = f"{settings.scheme}://{names[-1]}:{settings.port}/"
    picture = io.StringIO()
    segno.make(f"{address}door?key={settings.key}", error="l").terminal(out=picture, compact=True)
    tell(say("From the local network: {address}", address=address))
    tell(f"\n{picture.getvalue()}")
    tell(say("Pass phrase: {phrase}", phrase=settings.pass_phrase or ""))
    tell(say("Whoever is on this network and knows it can read and change the ledger. It changes at each start."))
