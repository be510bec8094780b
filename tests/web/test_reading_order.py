"""The order of a sheet at the bench: what drifts, drifts over all pieces alike, and each line has its number."""

from linewright.verbs.shelf import open_ledger
from linewright.verbs.shelf import sheet_of as kept_sheet
from linewright.web.bench_rows import Plan, bands_of
from web.bench_helpers import BANDS, bench_of


def test_a_meters_next_band_runs_the_other_way_round(tmp_path):
    key = bench_of(tmp_path / "ledger.db")
    with open_ledger(tmp_path / "ledger.db") as ledger:
        sheet = kept_sheet(ledger, key)
    bands = bands_of(sheet, Plan(BANDS, ("blue 7+blue 18",)), ())
    forth = ["reference", "blue 7", "blue 18", "blue 7+blue 18", "reference"]
    for meter in range(2):
        shown = [[s.path for s in band.brackets[meter].slots] for band in bands]
        assert shown == [forth, forth[::-1], forth]


def test_lines_carry_their_number(visit, site):
    key = bench_of(site.ledger, f"Numbered {visit.device}")
    visit.goto(f"/bench/at/{key}")
    visit.wait_for_load_state("networkidle")
    content = "e => getComputedStyle(e.querySelector('th'), '::before').content"
    rows = visit.locator(".meters .reading")
    assert rows.count() == 30
    assert rows.first.evaluate(content) == "counter(step)"
    assert rows.first.evaluate("e => getComputedStyle(e).counterIncrement") == "step 1"
