"""Every page of the app, walked: nothing under 44 px on a phone, no sideways scroll, nothing axe objects to."""

from __future__ import annotations

import importlib
import pkgutil
import re
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Response

from linewright.verbs.shelf import add, file_sheet, keep_station, open_ledger
from linewright.web import pages
from web.conftest import DESK, EVERYONE, PICTURES, everyone, fits, on_paper, picture, sound
from web.test_api import DEMO

SESSION = "/bench/{at}/2026-04-02%20Harbour%20Ridge%20club%20bench%20%28invented%29"
RUN = "station=harbour-ridge&run=two-metre+beam"
ANTENNA = "power=100&at=7.1,14.2&kind=dipole&length=20&height=8&distance=6&limits=ICNIRP+2020&limits=47+CFR+1.1310"
WALKED = {
    "/": "/",
    "/away": "/away",
    "/bench": "/bench",
    "/bench/new": "/bench/new",
    "/bench/at/{session:path}": SESSION.format(at="at"),
    "/bench/paste": "/bench/paste",
    "/bench/room/{session:path}": SESSION.format(at="room"),
    "/bench/said/{session:path}": SESSION.format(at="said"),
    "/connectors": "/connectors",
    "/decibel": "/decibel?change=3",
    "/exposure": "/exposure",
    "/exposure?power": f"/exposure?{ANTENNA}",
    "/find": "/find?q=blue",
    "/help": "/help",
    "/help/{name:path}": "/help/quick-start-app",
    "/labels": "/labels",
    "/lines": "/lines",
    "/lines?type": "/lines?type=RG-213%2FU",
    "/lines/dimensions": "/lines/dimensions?centre_diameter=0.9&dielectric_diameter=2.95&velocity_factor=0.66",
    "/lines/loss": "/lines/loss?line=RG-213%2FU&length=30&frequency=144",
    "/lines/new": "/lines/new",
    "/practise": "/practise",
    "/runs": "/runs",
    "/runs/choose": f"/runs/choose?{RUN}",
    "/runs/run?ratings": f"/runs/run?{RUN}&view=ratings",
    "/runs/run": f"/runs/run?{RUN}",
    "/runs/share": "/runs/share?station=harbour-ridge",
    "/settings": "/settings",
    "/settings/tokens": "/settings/tokens",
    "/sheets": "/sheets",
    "/shelf": "/shelf",
    "/shelf/calibrate/{name:path}": "/shelf/calibrate/desk%20meter",
    "/shelf/change/{kind}/{key:path}": "/shelf/change/piece/blue%207",
    "/shelf/check": "/shelf/check",
    "/shelf/file": "/shelf/file",
    "/shelf/new/{kind}": "/shelf/new/meter",
    "/shelf/piece/{tag:path}": "/shelf/piece/blue%207",
    "/shelf/rename/{tag:path}": "/shelf/rename/blue%207",
    "/station/runs/{name:path}": "/station/runs/Harbour%20Ridge%20station%20%28invented%29",
    "/sweeps": "/sweeps",
    "/sweeps/cut": "/sweeps/cut?piece=blue+7",
    "/sweeps/kept": "/sweeps/kept",
    "/sweeps/one-end": "/sweeps/one-end",
    "/sweeps/through": "/sweeps/through",
}
"""Each page's route, and an address that shows it."""
FILES = {
    "/bench/chart/{name}/{session:path}", "/bench/live/{session:path}", "/help/examples/{name}.ipynb",
    "/help/schemas/{name}.json", "/label/piece/{tag:path}", "/labels/file", "/manifest.webmanifest",
    "/mark-{pixels}.png",
    "/report/{kind}/{key:path}", "/exposure/chart/{name}", "/lines/chart", "/sweeps/antenna/chart/{name}",
    "/sweeps/kept/chart/{name}", "/sweeps/line/chart/{name}", "/runs/choose/chart/{name}", "/runs/zone", "/sheets/file",
    "/shelf/chart/{tag:path}",
    "/shelf/export", "/sweeps/cut/label", "/sweeps/kept/file", "/worker.js",
}  # fmt: skip
"""What is handed out, and no page."""
ELSEWHERE = {
    "/door", "/devices", "/waiting/{key}", "/practise/bench", "/practise/club/{key}", "/practise/new",
    "/practise/truth",
    "/runs/example", "/runs/file", "/runs/offers", "/sweeps/antenna", "/sweeps/line",
}  # fmt: skip
"""Pages that need a pass phrase, a sweep or something under way: the tests of their topics look at them."""
SCROLLED_THROUGH = """async () => {
  for (let y = 0; y < document.documentElement.scrollHeight; y += innerHeight) {
    scrollTo(0, y);
    await new Promise(requestAnimationFrame);
  }
  scrollTo(0, 0);
}"""
"""A drawing comes when it is scrolled to."""
SMALL = """() => [...document.querySelectorAll('a[href], button, input:not([type=hidden]), select, textarea, summary')]
  .filter((e) => e.checkVisibility({ visibilityProperty: true }) && !e.matches('.skip'))
  .map((e) => [e.matches('[type=checkbox], [type=radio]') && e.closest('label') || e, e])
  .filter(([box]) => box.getBoundingClientRect().height > 0 && box.getBoundingClientRect().height < 43.5)
  .map(([, e]) => e.outerHTML.slice(0, 100))"""


PARTED = """() => {
  const found = [], texts = document.createTreeWalker(document.querySelector("main"), NodeFilter.SHOW_TEXT);
  while (texts.nextNode()) {
    const text = texts.currentNode.textContent;
    if (!texts.currentNode.parentElement.closest("script, style, textarea, pre, code, option, svg") &&
        /[0-9] (dB|MHz|W|%)(?!\\w)|\\([0-9.]+ to [0-9.]+\\)/.test(text)) found.push(text.trim().slice(0, 60));
  }
  return found;
}"""
"""Figures that a line's end may part from their units, and intervals that it may part."""
WIDTHS = {"phone": (360, 390), "desk": (768, 1440, 3840)}
"""Windows that every page is looked at in, by device, in pixels."""


def called(route: str) -> str:
    """Return what the picture of a page is called by, from its route."""
    return (
        re.sub(r"/\{[^}]*\}", "", route.replace("{name:path}", "page")).strip("/").replace("/", "-").replace("?", "-")
        or "station"
    )


def routes():
    for module in pkgutil.iter_modules(pages.__path__):
        router = getattr(importlib.import_module(f"linewright.web.pages.{module.name}"), "router", None)
        yield from (r.path for r in getattr(router, "routes", ()) if "GET" in (r.methods or ()))


def test_no_page_is_left_out():
    assert set(routes()) - set(WALKED) - FILES - ELSEWHERE == set()


@pytest.fixture
def filed(visit, site):
    with open_ledger(site.ledger) as ledger:
        from datetime import date

        file_sheet(ledger, DEMO / "harbour-ridge.toml", on=date(2026, 4, 2))
        keep_station(ledger, DEMO / "harbour-ridge-station.toml")
        try:
            add(ledger, "piece", {"tag": "grey 9", "length": "9 m"})
        except ValueError:
            assert visit.device  # it is there from the walk before
    return visit


def came(page, at):
    answer = page.goto(at)
    assert answer.status == 200, at
    page.wait_for_url(lambda there: "/waiting/" not in there)  # what takes long comes by itself, and would cut in later
    page.wait_for_load_state()  # the style sheet too


CUT = """() => [...document.querySelectorAll("body:not(.one) main .scroll, .rat, .line .nm > *, .line .fg")]
  .filter((e) => e.checkVisibility() && e.scrollWidth > e.clientWidth + 1 && getComputedStyle(e).display !== "inline")
  .map((e) => e.getAttribute("aria-label") ?? e.textContent)"""
"""Tables and drawings that a phone does not show whole."""


@pytest.mark.parametrize("visit", ["phone"], indirect=True)
def test_a_thumb_finds_everything_nothing_scrolls_sideways_and_axe_objects_to_nothing_in_light_and_dark(filed):
    small, wide, parted, cut, usual = {}, {}, {}, {}, filed.viewport_size
    for at in WALKED.values():
        filed.set_viewport_size({"width": 390, "height": 844})
        came(filed, at)
        if found := filed.evaluate(SMALL):
            small[at] = found[:4]
        if found := filed.evaluate(PARTED):
            parted[at] = found[:4]
        if found := filed.evaluate(CUT):
            cut[at] = found[:4]
        filed.set_viewport_size({"width": 320, "height": 700})
        if (reach := filed.evaluate("document.documentElement.scrollWidth")) > 320:
            wide[at] = reach
        filed.set_viewport_size(usual)
        sound(filed, at)
        # The same page as wide as a desk, in the dark: a page of its own for that is loaded in thorough runs.
        filed.set_viewport_size(DESK["viewport"])
        filed.emulate_media(color_scheme="dark")
        sound(filed, f"{at}, wide and dark")
        filed.emulate_media(color_scheme="light")
    assert (small, wide, parted, cut) == ({}, {}, {}, {})


@pytest.mark.parametrize("visit", ["desk"], indirect=True)
def test_radio_and_antenna_stand_over_the_ends_of_the_bands(filed):
    came(filed, "/")
    filed.locator(".runlist").wait_for()
    band, ends = filed.locator(".bands .pw").first.bounding_box(), filed.locator(".ends").bounding_box()
    assert (ends["x"], ends["width"]) == (pytest.approx(band["x"], abs=2), pytest.approx(band["width"], abs=4))


@everyone()  # every day a phone in the light, made wide and dark, is walked above
def test_axe_objects_to_nothing_anywhere(filed, paper):
    filed.goto("/settings")
    on_paper(filed, paper)
    for at in WALKED.values():
        came(filed, at)
        sound(filed, at)


@pytest.mark.parametrize("visit", ["desk"], indirect=True)
def test_a_page_weighs_little_before_its_pictures(filed):
    heavy = {}
    for at in ("/", "/shelf", "/shelf/piece/blue%207", "/settings", "/find?q=blue"):
        sizes: list[int] = []

        def listen(answer: Response, sizes: list[int] = sizes) -> None:
            sizes.append(len(answer.body()) if "/chart/" not in answer.url else 0)

        filed.on("response", listen)
        came(filed, at)
        filed.wait_for_load_state("networkidle")  # what no state tells: that nothing more is asked for
        filed.remove_listener("response", listen)
        if sum(sizes) > 150_000:
            heavy[at] = sum(sizes)
    assert heavy == {}


@pytest.mark.slow
@EVERYONE
def test_every_page_fits_every_window(filed, paper):
    """Nothing stands out and axe objects to nothing, at any width. Leaves a picture of each where a folder is named."""
    filed.goto("/settings")
    on_paper(filed, paper)
    wide = []
    for route, at in WALKED.items():
        for px in WIDTHS[filed.device]:
            filed.set_viewport_size({"width": px, "height": max(740, px * 5 // 8)})
            came(filed, at)
            if not fits(filed):
                wide.append((at, px))
            wide += [(at, px, rule["id"]) for rule in Axe().run(filed).response["violations"]]
            if PICTURES:
                filed.evaluate(SCROLLED_THROUGH)
                filed.wait_for_load_state("networkidle")
                picture(filed, f"page-{called(route)}-{px}-{paper}")
        if PICTURES and paper == "light":
            filed.pdf(path=Path(PICTURES) / f"page-{called(route)}-paper.pdf", prefer_css_page_size=True)
    assert wide == []


def test_no_two_pages_leave_one_picture():
    assert len({called(route) for route in WALKED}) == len(WALKED)
