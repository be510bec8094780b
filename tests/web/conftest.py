"""A station of its own for each test module, on loopback, and a browser to visit it with."""

from __future__ import annotations

import os
import socket
import threading
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest

from browsing import CHROMIUM, FLAGS  # noqa: F401 - for those who look here

PHONE = {"viewport": {"width": 360, "height": 740}, "has_touch": True, "is_mobile": True, "device_scale_factor": 2}
DESK = {"viewport": {"width": 1280, "height": 900}}
#: Each device once and each paper once; thorough runs cross them.
EVERYONE = pytest.mark.parametrize(
    ("visit", "paper"),
    [
        ("phone", "light"),
        ("desk", "dark"),
        pytest.param("phone", "dark", marks=pytest.mark.slow),
        pytest.param("desk", "light", marks=pytest.mark.slow),
    ],
    indirect=["visit"],
)
#: Where pictures of the pages are left to be looked at.
PICTURES = Path(os.environ.get("LINEWRIGHT_PICTURES", "build/pictures"))


@dataclass(frozen=True)
class Site:
    """A running station: its address, and the ledger behind it."""

    address: str
    ledger: Path


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Site]:
    """Serve an empty ledger on loopback until the module's tests are done."""
    import uvicorn

    from linewright.web.app import create_app
    from linewright.web.sessions import Settings

    port, ledger = free_port(), tmp_path_factory.mktemp("station") / "ledger.db"
    app = create_app(Settings(str(ledger), port))
    server = uvicorn.Server(uvicorn.Config(app, host="127.0.0.1", port=port, log_level="warning"))
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    while not server.started:
        time.sleep(0.02)
    yield Site(f"http://localhost:{port}", ledger)
    server.should_exit = True
    thread.join(10)


@pytest.fixture(params=["phone", "desk"])
def visit(request, browser, site):
    """Return a page of the station on a phone and on a desk; anything the page complains of fails the test."""
    context = browser.new_context(base_url=site.address, **(PHONE if request.param == "phone" else DESK))
    page = context.new_page()
    complaints: list[str] = []
    page.on("console", lambda said: complaints.append(said.text) if said.type == "error" else None)
    page.on("pageerror", lambda cause: complaints.append(str(cause)))
    page.device = request.param
    yield page
    context.close()
    assert not complaints


def picture(page, name: str) -> Path:
    """Leave a picture of the whole page to be looked at."""
    PICTURES.mkdir(parents=True, exist_ok=True)
    path = PICTURES / f"{name}-{page.device}.png"
    page.screenshot(path=str(path), full_page=True)
    return path
