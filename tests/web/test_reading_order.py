"""The order of a bench: few plugs change, and what drifts, drifts over all pieces alike."""

from datetime import date
from itertools import pairwise

import pytest

from linewright.verbs.examples import demo_file
from linewright.verbs.shelf import all_kept, file_sheet, open_ledger, readings_of
from linewright.verbs.shelf import sheet_of as kept_sheet
from linewright.web.bench_rows import ORDERS, SheetPlan, bands_of, insertions_of, plug_changes
from web.bench_helpers import BANDS, bench_of


def test_band_by_band_the_next_runs_the_other_way_round(tmp_path):
    key = bench_of(tmp_path / "ledger.db")
    with open_ledger(tmp_path / "ledger.db") as ledger:
        sheet = kept_sheet(ledger, key)
    bands = bands_of(sheet, SheetPlan(BANDS, ("blue 7+blue 18",), "bands"), ())
    forth = ["reference", "blue 7", "blue 18", "blue 7+blue 18", "reference"]
    for meter in range(2):
        shown = [[s.path for s in band.brackets[meter].slots] for band in bands]
        assert shown == [forth, forth[::-1], forth]


def demo_bench(tmp_path, order):
    with open_ledger(tmp_path / f"{order}.db") as ledger:
        file_sheet(ledger, demo_file("harbour-ridge.toml"), on=date(2026, 4, 2))
        (item,) = all_kept(ledger, "sheet")
        sheet, rows = kept_sheet(ledger, item.key), readings_of(ledger, item.key)
    joined = ("blue 7+blue 18",)
    return bands_of(sheet, SheetPlan((), joined, order), rows)


def changes_meter_by_meter(bands):
    """Count plug changes where each band is read meter by meter from reference to reference."""
    places = [(b.meter, s.path) for band in bands for b in band.brackets if not b.folded for s in b.slots]
    return sum((a[0] != b[0]) + (a[1] != b[1]) for a, b in pairwise(places))


def test_the_demos_bench_needs_a_third_of_the_plug_changes(tmp_path):
    bands = demo_bench(tmp_path, "fewest")
    steps = [s for i in insertions_of(bands) for s in i.steps]
    each = changes_meter_by_meter(bands)
    assert len(steps) == sum(len(b.slots) for band in bands for b in band.brackets if not b.folded)
    assert plug_changes(steps) <= 0.36 * each, (plug_changes(steps), each)


@pytest.mark.parametrize("order", ORDERS)
def test_every_line_is_read_once_between_references_of_its_own_meter_and_band(tmp_path, order):
    bands = demo_bench(tmp_path, order)
    steps = [s for i in insertions_of(bands, order) for s in i.steps]
    assert [s.number for s in steps] == list(range(1, len(steps) + 1))
    assert len({s.slot.id for s in steps}) == len(steps)
    for meter, band in {(s.slot.meter, s.slot.frequency) for s in steps}:
        mine = [s.slot.path for s in steps if (s.slot.meter, s.slot.frequency) == (meter, band)]
        assert (mine[0], mine[-1]) == ("reference", "reference")
        if order == "middle":
            assert "reference" in mine[2:-2]


def test_a_piece_goes_in_once_and_no_meter_is_changed_with_it(tmp_path):
    found = insertions_of(demo_bench(tmp_path, "fewest"))
    assert [str(i.label) for i in found] == [
        "reference", "blue 7", "blue 18", "black 20", "blue 7+blue 18", "pad", "black 20 again", "reference again"
    ]  # fmt: skip
    for before, after in pairwise(found[:6]):
        assert before.steps[-1].slot.meter == after.steps[0].slot.meter
        assert not after.steps[0].change
