"""A window of the browser that a test is done with serves the next one, which finds nothing of the first in it."""

import threading
from contextlib import contextmanager
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from urllib.parse import quote

import pytest

from web.bench_helpers import bench_of
from web.conftest import PHONE

KEPT = """async () => [localStorage.length, sessionStorage.length, (await caches.keys()).length,
  (await navigator.serviceWorker.getRegistrations()).length, matchMedia("print").matches]"""


def test_a_window_used_again_holds_nothing_of_before(browser, site):
    how = {"base_url": site.address, **PHONE}
    context = browser.new_context(**how)
    page, heard = context.new_page(), []
    page.device = "phone"
    page.on("request", lambda asked: heard.append(asked.url))
    page.route("**/shelf", lambda route: route.abort())
    page.goto("/settings")
    page.evaluate("navigator.serviceWorker.ready")
    page.evaluate("() => { localStorage.setItem('a', 'b'); sessionStorage.setItem('a', 'b'); }")
    page.emulate_media(media="print")
    page.set_viewport_size({"width": 800, "height": 600})
    context.new_page()
    assert context.cookies()
    assert page.evaluate(KEPT) == [1, 1, 1, 1, True]
    context.close()
    many = len(heard)
    again = browser.new_context(**how)
    assert again is context
    assert (again.cookies(), len(again.pages)) == ([], 1)
    assert again.new_page() is page
    assert not hasattr(page, "device")
    assert page.viewport_size == PHONE["viewport"]
    page.goto("/static/mark.svg")  # a page of ours without a script, which would register the worker again
    assert page.evaluate(KEPT) == [0, 0, 0, 0, False]
    assert page.goto("/shelf").status == 200
    assert len(heard) == many
    again.close()


def test_two_windows_at_once_are_two(browser, site):
    one, two = (browser.new_context(base_url=site.address, **PHONE) for _ in range(2))
    one.new_page().goto("/settings")
    two.new_page().goto("/static/mark.svg")
    assert one is not two
    assert one.cookies() != two.cookies()
    one.close()
    two.close()


def test_a_stream_of_a_page_that_was_left_is_held_by_nobody(visit, site):
    """A browser opens six connections to a station; the seventh bench would wait for ever."""
    key = bench_of(site.ledger, "Left", ("desk meter",))
    visit.goto("/settings")
    visit.evaluate("navigator.serviceWorker.ready")
    visit.wait_for_function("() => navigator.serviceWorker.controller !== null")
    for _ in range(7):
        with visit.expect_response("**/bench/live/**"):
            visit.goto(f"/bench/at/{quote(key)}")
    assert visit.goto("/shelf").status == 200


HEIGHT = "document.querySelector('p').offsetHeight"
PAGES = {
    "/": ("text/html", '<a href="/next">On</a>'),
    "/next": (
        "text/html",
        "<!doctype html><link rel=stylesheet href=/late.css><script type=module src=/late.js></script><p>Next</p>",
    ),
    "/late.css": ("text/css", "p { height: 70px }"),
    "/late.js": (
        "text/javascript",
        """for (const name of ["keydown", "mousedown"]) addEventListener(name, () => { document.title += name })""",
    ),
}


@contextmanager
def late():
    """Serve a page whose words come at once, its styles and its script a third of a second after."""

    class Answer(BaseHTTPRequestHandler):
        def do_GET(self):
            if self.path.startswith("/late"):
                threading.Event().wait(0.3)
            kind, text = PAGES.get(self.path, ("text/plain", ""))
            self.send_response(200)
            self.send_header("Content-Type", kind)
            self.send_header("Content-Length", str(len(text)))
            self.end_headers()
            self.wfile.write(text.encode())

        def log_message(self, *_):
            return

    server = ThreadingHTTPServer(("127.0.0.1", 0), Answer)
    thread = threading.Thread(target=server.serve_forever, daemon=True)
    thread.start()
    yield f"http://localhost:{server.server_port}"
    server.shutdown()
    server.server_close()
    thread.join()


@pytest.mark.parametrize(
    ("deed", "title"),
    [
        (lambda page: page.keyboard.press("a"), "keydown"),
        (lambda page: page.mouse.down(), "mousedown"),
        (lambda page: page.evaluate(HEIGHT), ""),
    ],
    ids=["key", "mouse", "height"],
)
def test_whatever_is_done_at_a_page_waits_for_its_script_and_styles(browser, deed, title):
    with late() as address:
        context = browser.new_context(base_url=address, **PHONE)
        page = context.new_page()
        page.goto("/")
        page.click("text=On")
        assert deed(page) in (None, 70)
        assert page.title() == title
        assert page.evaluate(HEIGHT) == 70
        context.close()
