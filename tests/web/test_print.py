"""A page on paper: what stood on dark ground is printed on white."""

import base64

import pytest

from web.conftest import DESK

LIGHTNESS = """async (picture) => {
  const seen = await createImageBitmap(await (await fetch(picture)).blob());
  const canvas = new OffscreenCanvas(seen.width, seen.height), drawn = canvas.getContext("2d");
  drawn.drawImage(seen, 0, 0);
  return Math.min(...drawn.getImageData(4, 4, 1, 1).data.slice(0, 3));
}"""


def ground(page, media):
    """Return how light the corner of the chart of a piece is, 0 to 255."""
    page.emulate_media(media=media)
    chart = page.locator("img.chart")
    chart.scroll_into_view_if_needed()
    page.wait_for_function("() => document.querySelector('img.chart').complete")
    shot = base64.b64encode(chart.screenshot()).decode()
    blank = page.context.new_page()
    seen = blank.evaluate(LIGHTNESS, f"data:image/png;base64,{shot}")
    blank.close()
    return seen


@pytest.mark.parametrize("chosen", [True, False], ids=["dark by choice", "dark by the system"])
def test_a_chart_drawn_for_dark_paper_prints_on_white(browser, site, chosen):
    from linewright.verbs.shelf import add, all_kept, open_ledger

    with open_ledger(site.ledger) as ledger:
        if not all_kept(ledger, "piece"):
            add(ledger, "piece", {"tag": "blue 7", "line": "RG-58C/U", "length": "7.2 m"})
    context = browser.new_context(base_url=site.address, color_scheme="light" if chosen else "dark", **DESK)
    if chosen:
        context.add_cookies([{"name": "paper", "value": "dark", "url": site.address}])
    page = context.new_page()
    page.goto("/shelf/piece/blue%207")
    assert ground(page, "screen") < 80
    assert ground(page, "print") > 250
    context.close()
