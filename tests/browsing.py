"""The browser the tests use: how it is started, how long it waits, and how a window of it is used again."""

from __future__ import annotations

import functools
import shutil
from collections.abc import Callable, Iterator
from typing import Any

import pytest

CHROMIUM = shutil.which("chromium") or "/usr/bin/chromium"
#: No sandbox, since tests may run as root; nothing that speaks to the outside.
FLAGS = (
    "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
    "--disable-component-update", "--disable-sync",
)  # fmt: skip
#: How long a page may take to show what a test waits for. It only ends a wait for what will never come.
PATIENCE_MS = 300_000
MOST_FREE = 4
#: What a test does at a page, and what it asks of it without waiting for an answer that it wants.
DEEDS = (
    "all", "all_inner_texts", "all_text_contents", "blur", "bounding_box", "check", "clear", "click", "count",
    "dblclick", "dispatch_event", "down", "evaluate", "fill", "focus", "get_attribute", "hover", "inner_html",
    "inner_text", "input_value", "insert_text", "is_checked", "is_disabled", "is_enabled", "is_hidden", "is_visible",
    "move", "pdf", "press", "press_sequentially", "screenshot", "scroll_into_view_if_needed", "select_option",
    "select_text", "set_checked", "set_input_files", "tap", "text_content", "type", "uncheck", "up", "wheel",
)  # fmt: skip


def whole_first(patch: pytest.MonkeyPatch) -> None:
    """Let every deed at a page wait until all of that page is there, its scripts and its style sheets too.

    The words of a page that a click leads to are found before its scripts run and its styles are read: keys pressed
    then are heard by nobody, and a width measured then is that of the bare page.
    """
    from playwright.sync_api import Locator, Page

    for kind, page_of in ((Page, lambda page: page), (Locator, lambda there: there.page)):
        for name, deed in _deeds_of(kind):
            patch.setattr(kind, name, _waiting(deed, page_of))


def _deeds_of(thing: Any) -> Iterator[tuple[str, Callable[..., Any]]]:
    return ((name, getattr(thing, name)) for name in DEEDS if hasattr(thing, name))


def _waiting(deed: Callable[..., Any], page_of: Callable[[Any], Any]) -> Callable[..., Any]:
    @functools.wraps(deed)
    def waited(thing: Any, *told: Any, **how: Any) -> Any:
        page_of(thing).wait_for_load_state()
        return as_read(deed(thing, *told, **how))

    return waited


def as_read(found: Any) -> Any:
    """Return what a page holds as people read it: a space at which no line may end is a space."""
    if isinstance(found, str):
        return found.replace("\u00a0", " ")
    return [as_read(one) for one in found] if isinstance(found, list) else found


def _with_hands(page: Any) -> Any:
    """Let the keys, the mouse and the finger of a page wait for it as well: they do not know whose they are."""
    for hand in (page.keyboard, page.mouse, page.touchscreen):
        for name, deed in _deeds_of(type(hand)):
            setattr(hand, name, functools.partial(_waiting(deed, lambda _: page), hand))
    return page


class Patient:
    """A browser whose pages wait for what a test waits for, however busy the machine is.

    A new context with its first page takes three quarters of a second of processor time, so one that is closed is wiped
    of all that was done in it and handed out again. After a failure it is closed for good.
    """

    def __init__(self, browser, failures: Callable[[], int]):
        self._browser, self._failures = browser, failures
        self._free: dict[str, Window] = {}

    def new_context(self, **how):
        """Return a context of that patience."""
        key = repr(sorted(how.items()))
        window = self._free.pop(key, None) or Window(self._browser, how)
        window.failures, window.unused = self._failures(), True
        window.context.close = lambda: self._returned(key, window)
        return window.context

    def _returned(self, key: str, window: Window) -> None:
        if self._free.get(key) is window:
            return  # closed twice
        if self._failures() > window.failures or not window.wiped():
            window.close()
            return
        if key in self._free:
            self._free.pop(key).close()
        self._free[key] = window
        if len(self._free) > MOST_FREE:
            self._free.pop(next(iter(self._free))).close()


class Window:
    """A context of the browser and its first page, which can be wiped."""

    def __init__(self, browser, how):
        self.failures, self.unused, self._heard = 0, True, []
        self._origin, self._size = how.get("base_url"), how.get("viewport", {"width": 1280, "height": 720})
        self.context = browser.new_context(**how)
        self.context.set_default_timeout(PATIENCE_MS)
        self.close, self._another = self.context.close, self.context.new_page
        self.page = _with_hands(self.context.new_page())
        self._listen = self.page.on
        self.page.on, self.context.new_page = self._noted, self._opened
        self._plain = set(vars(self.page))
        self._clocked, self._install = False, self.context.clock.install
        self.context.clock.install = self._set_a_clock

    def _set_a_clock(self, **how):
        """Set a clock of the test's own, which no page of this context loses again."""
        self._clocked = True
        self._install(**how)

    def _noted(self, event, f):
        self._heard.append((event, f))
        self._listen(event, f)

    def _opened(self):
        """Return the first page to who asks first, a new one to the others."""
        if not self.unused:
            return _with_hands(self._another())
        self.unused = False
        return self.page

    def wiped(self) -> bool:
        """Wipe it as if nobody had been there; return whether that could be done.

        A page on its way cannot be wiped, nor one whose clock a test has set.
        """
        from playwright.sync_api import Error

        if self._clocked:
            return False
        try:
            self.page.evaluate("try { sessionStorage.clear() } catch {}")
        except Error:
            return False
        for name in set(vars(self.page)) - self._plain:
            delattr(self.page, name)
        for event, f in self._heard:
            self.page.remove_listener(event, f)
        self._heard.clear()
        for other in self.context.pages:
            if other is not self.page:
                other.close()
        self.page.unroute_all()
        self.context.unroute_all()
        self.page.goto("about:blank")
        self.page.emulate_media(media="null", color_scheme="null")
        self.page.set_viewport_size(self._size)
        self.context.clear_cookies()
        asked = self.context.new_cdp_session(self.page)
        asked.send("Network.clearBrowserCache")
        if self._origin:
            asked.send("Storage.clearDataForOrigin", {"origin": self._origin, "storageTypes": "all"})
        asked.detach()
        return True
