"""A page on paper: what stood on dark ground is printed on white."""

import base64
import io
from datetime import date

import pypdf
import pytest

from linewright.verbs.shelf import add, all_kept, file_sheet, open_ledger
from web.conftest import DESK, PHONE, on_paper
from web.test_api import DEMO

SAID = "/bench/said/2026-04-02%20Harbour%20Ridge%20club%20bench%20%28invented%29"
ALL_SHOWN = "() => [...document.querySelectorAll('[data-reading]')].every((cell) => cell.checkVisibility())"
PAPER_PX = 703
"""The width of A4 between the margins, in pixels of a style sheet."""

LIGHTNESS = """async (picture) => {
  const seen = await createImageBitmap(await (await fetch(picture)).blob());
  const canvas = new OffscreenCanvas(seen.width, seen.height), drawn = canvas.getContext("2d");
  drawn.drawImage(seen, 0, 0);
  const all = drawn.getImageData(0, 0, seen.width, seen.height).data;
  let darkest = 255;
  for (let i = 0; i < all.length; i += 4) darkest = Math.min(darkest, Math.max(all[i], all[i + 1], all[i + 2]));
  return [Math.min(...drawn.getImageData(4, 4, 1, 1).data.slice(0, 3)), darkest];
}"""


def ground(page, media):
    """Return how light the corner of the chart of a piece is, and its darkest point, 0 to 255."""
    page.emulate_media(media=media)
    chart = page.locator("[data-picture] .drawn svg").first
    chart.scroll_into_view_if_needed()
    shot = base64.b64encode(chart.screenshot()).decode()
    blank = page.context.new_page()
    seen = blank.evaluate(LIGHTNESS, f"data:image/png;base64,{shot}")
    blank.close()
    return seen


@pytest.mark.parametrize("chosen", [True, False], ids=["dark by choice", "dark by the system"])
def test_a_chart_drawn_for_dark_paper_prints_on_white(browser, site, chosen):
    with open_ledger(site.ledger) as ledger:
        if not all_kept(ledger, "piece"):
            add(ledger, "piece", {"tag": "blue 7", "line": "RG-58C/U", "length": "7.2 m"})
    context = browser.new_context(base_url=site.address, color_scheme="light" if chosen else "dark", **DESK)
    page = context.new_page()
    page.goto("/shelf/piece/blue%207")
    if chosen:
        on_paper(page, "dark")
    assert ground(page, "screen")[0] < 80
    corner, darkest = ground(page, "print")
    assert corner > 250
    assert darkest < 100, "letters are dark on paper"
    context.close()


def printed(page, address: str) -> list[str]:
    """Return the words of each sheet of paper that a page takes."""
    page.goto(address, wait_until="networkidle")
    sheets = pypdf.PdfReader(io.BytesIO(page.pdf(prefer_css_page_size=True))).pages
    return [" ".join(sheet.extract_text().split()) for sheet in sheets]


@pytest.mark.parametrize("address", ["/", "/bench", "/shelf", "/runs", "/exposure", "/help/bench-card", "/labels"])
def test_no_page_is_printed_with_an_empty_sheet_behind_it(browser, site, address):
    context = browser.new_context(base_url=site.address, **DESK)
    sheets = printed(context.new_page(), address)
    context.close()
    assert all(sheets), [words[:60] for words in sheets]


def test_a_run_is_printed_without_what_only_a_screen_is_for(browser, site):
    context = browser.new_context(base_url=site.address, **DESK)
    drawn = printed(context.new_page(), "/runs/run?station=harbour-ridge&run=multiband+wire")
    context.close()
    assert "Touch the plus" not in " ".join(drawn)
    assert "Losses, power at the antenna" in " ".join(drawn)
    assert len(drawn) <= 3


def test_a_bench_is_printed_whole_from_a_phone(browser, site):
    """A phone shows one insertion; paper has all of them, in the order of a desk."""
    with open_ledger(site.ledger) as ledger:
        file_sheet(ledger, DEMO / "harbour-ridge.toml", on=date(2026, 4, 2))
    context = browser.new_context(base_url=site.address, **PHONE)
    page = context.new_page()
    page.goto(SAID.replace("said", "at"), wait_until="networkidle")
    shown = page.locator("[data-reading]:visible").count()
    page.emulate_media(media="print")
    page.set_viewport_size({"width": PAPER_PX, "height": 1000})
    page.wait_for_function(ALL_SHOWN)
    cells = page.locator("[data-reading]").evaluate_all(
        "all => all.map((cell) => [cell.id, Number(cell.dataset.step)])"
    )
    assert shown < 10
    assert len(cells) == 60
    rows = page.locator("tr.insertion").evaluate_all(
        "all => all.map((r) => [...r.querySelectorAll('[data-reading]')].map((c) => c.getBoundingClientRect().left))"
    )
    assert all(left == sorted(left) for left in rows)
    context.close()


@pytest.mark.parametrize(
    "at", ["/", "/shelf", "/bench/said/2026-04-02%20Harbour%20Ridge%20club%20bench%20%28invented%29"]
)
def test_no_table_stands_out_of_the_paper(browser, site, at):
    context = browser.new_context(base_url=site.address, viewport={"width": PAPER_PX, "height": 1000})
    page = context.new_page()
    page.goto(at, wait_until="networkidle")
    page.emulate_media(media="print")
    assert page.evaluate("document.documentElement.scrollWidth") <= 1.02 * PAPER_PX, "a browser shrinks what is wider"
    context.close()
