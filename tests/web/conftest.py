"""A station of its own for each test module, on loopback, and a browser to visit it with."""

from __future__ import annotations

import asyncio
import os
import socket
import threading
import time
from collections.abc import Coroutine, Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any, TypeVar

import pytest
from axe_playwright_python.sync_playwright import Axe

from browsing import CHROMIUM, FLAGS, as_read  # noqa: F401 - for those who look here
from linewright.web import jobs
from linewright.web.pages import bench_result

T = TypeVar("T")
PHONE_FIRST = ["phone", pytest.param("desk", marks=pytest.mark.slow)]
PHONE = {"viewport": {"width": 360, "height": 740}, "has_touch": True, "is_mobile": True, "device_scale_factor": 2}
DESK = {"viewport": {"width": 1280, "height": 900}}
#: Where a page is used in another way on each device: both of them every day.
BOTH = pytest.mark.parametrize("visit", ["phone", "desk"], indirect=True)
#: Where a desk shows more of it than a phone.
DESK_FIRST = pytest.mark.parametrize("visit", ["desk", pytest.param("phone", marks=pytest.mark.slow)], indirect=True)


def everyone(*daily: tuple[str, str]) -> pytest.MarkDecorator:
    """Return the devices and papers a test is tried on: these every day, in thorough runs all."""
    each = [(device, paper) for device in ("phone", "desk") for paper in ("light", "dark")]
    marks = {case: () if case in daily else pytest.mark.slow for case in each}
    return pytest.mark.parametrize(
        ("visit", "paper"), [pytest.param(*case, marks=marks[case]) for case in each], indirect=["visit"]
    )


#: A phone by day. As wide as a desk and in the dark, tests/web/test_every_page.py looks at every page every day.
EVERYONE = everyone(("phone", "light"))
#: The folder where pictures of the pages are left to be looked at, if somebody wants any: they are dear.
PICTURES = os.environ.get("LINEWRIGHT_PICTURES")


@dataclass(frozen=True)
class Site:
    """A running station: its address, and the ledger behind it."""

    address: str
    ledger: Path


def ran(work: Coroutine[Any, Any, T]) -> T:
    """Return what a coroutine returns. It runs in a thread: where a browser is open, this one has a loop already."""
    with ThreadPoolExecutor(1) as apart:
        return apart.submit(asyncio.run, work).result()


def free_port(wanted: int = 0) -> int:
    """Return a port that nobody listens at: the one that is wanted, if it is free."""
    with socket.socket() as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind(("127.0.0.1", wanted))
        except OSError:
            probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


@cache
def own_port() -> int:
    """Return where this process serves its stations, one after the other: a browser's windows know them by that."""
    return free_port()


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Site]:
    """Serve an empty ledger on loopback until the module's tests are done."""
    import uvicorn

    from linewright.web.app import create_app
    from linewright.web.sessions import Settings

    port, ledger = free_port(own_port()), tmp_path_factory.mktemp("station") / "ledger.db"
    app = create_app(Settings(str(ledger), port))
    server = uvicorn.Server(uvicorn.Config(app, host="127.0.0.1", port=port, log_level="warning"))
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    while not server.started:
        time.sleep(0.02)
    yield Site(f"http://localhost:{port}", ledger)
    server.should_exit = True
    thread.join(10)


@pytest.fixture(autouse=True)
def _pages_wait_for_what_they_say(monkeypatch):
    """Let no page answer before what it shows is worked out, however busy the machine is: here a second is no bound."""
    monkeypatch.setattr(jobs, "PATIENCE_S", 600.0)
    monkeypatch.setattr(bench_result, "CHART_PATIENCE_S", 600.0)


@pytest.fixture(autouse=True)
def _spaces_read_alike(monkeypatch):
    """Let tests read a page as people do: a space at which no line may end is a space."""
    import httpx2 as httpx

    whole = httpx.Response.text
    monkeypatch.setattr(httpx.Response, "text", property(lambda answer: as_read(whole.fget(answer))))


@pytest.fixture
def in_haste(monkeypatch, _pages_wait_for_what_they_say):
    """Let pages answer without what is not worked out at once, as they do after a second."""
    monkeypatch.setattr(jobs, "PATIENCE_S", 0.05)


@pytest.fixture(params=PHONE_FIRST)
def visit(request, browser, site):
    """Return a page of the station, on a phone, in thorough runs on a desk too; what it complains of fails the test."""
    context = browser.new_context(base_url=site.address, **(PHONE if request.param == "phone" else DESK))
    page = context.new_page()
    complaints: list[str] = []
    page.on("console", lambda said: complaints.append(f"{said.text} {said.location}") if said.type == "error" else None)
    page.on("pageerror", lambda cause: complaints.append(str(cause)))
    page.device = request.param
    yield page
    context.close()
    assert not complaints


def on_paper(page, look: str, **taste: str) -> None:
    """Read from now on as a browser does whose settings say so, light or dark and what else there is; load it anew."""
    from linewright.web.language import TASTE, Taste

    address = page.evaluate("location.origin")
    page.context.add_cookies([{"name": TASTE, "value": Taste(look=look, **taste).cookie, "url": address}])
    page.reload()


def fits(page) -> bool:
    """Tell whether nothing stands out sideways. On a phone the window widens with the page, so it is no measure."""
    page.wait_for_load_state()  # before its style sheets a page is as wide as its widest table
    return page.evaluate("document.documentElement.scrollWidth <= document.documentElement.clientWidth")


#: Whether every drawing at or near the window stands in its place; the others come when they are scrolled to.
DRAWN = """() => [...document.querySelectorAll("[data-picture]")].every((box) => {
  const at = box.getBoundingClientRect();
  const near = box.checkVisibility() && at.top < innerHeight + 300 && at.bottom > -300;
  return !near || box.querySelector(".drawn.live");
})"""


def sound(page, name: str = "") -> None:
    """Hold a page, once all of it is there, to what it owes everyone: axe objects to nothing, nothing stands out."""
    page.wait_for_load_state()
    page.wait_for_function(DRAWN)
    found = Axe().run(page)
    assert not found.response["violations"], f"{name}: {found.generate_report()}"
    assert fits(page), name


def picture(page, name: str) -> None:
    """Leave a picture of the whole page to be looked at, where a folder is named for them."""
    if PICTURES:
        page.screenshot(path=Path(PICTURES) / f"{name}-{page.device}.png", full_page=True)
