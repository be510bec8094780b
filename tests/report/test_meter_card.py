"""A meter's correction card: what it shows, and what that is in truth."""

from __future__ import annotations

import io
import json
from datetime import date

import pypdf
import pytest
from click.testing import CliRunner

from cli.doors import DEMO_SHEET
from ledger.test_dated_beliefs import write
from linewright.cli import main
from linewright.present.writers.paper import report_pdf
from linewright.verbs import shelf
from linewright.verbs.meters import show_meter
from linewright.verbs.report import ReportWish
from linewright.verbs.report_kept import report_of_kept

DAY = date(2026, 5, 1)


@pytest.fixture
def opened(tmp_path):
    with shelf.open_ledger(tmp_path / "club.sqlite") as found:
        yield found


def rows_of(document):
    blocks = document.to_dict()["sections"][0]["blocks"]
    return [row["cells"] for b in blocks for part in b.get("parts", ()) for row in part["rows"]]


def test_the_card_turns_decibels_shown_into_true_ones(opened, tmp_path):
    shelf.file_sheet(opened, write(tmp_path / "bent", exponent=1.38, pads=True), on=date(2026, 4, 1))
    card = report_of_kept(opened, "pocket", ReportWish(DAY))
    assert (card.kind, card.title) == ("meter", "pocket")
    band, one, three, ten, times, other, since = rows_of(card)[-1]
    known = show_meter(opened, "pocket", on=DAY).bands[-1]
    assert band == "432.1 MHz"
    assert float(three.split()[0]) == pytest.approx(3 / known.exponent, abs=0.01)
    assert float(ten.split()[0]) == pytest.approx(10 / 1.38, abs=0.4)
    assert (times, other, since) == ("–", "–", "2026-04-01")
    assert one.startswith("0.7")


def test_the_card_says_what_to_multiply_watts_by_where_a_better_meter_read_beside_it(opened):
    shelf.file_sheet(opened, DEMO_SHEET, on=DAY)
    (known,) = (b for b in show_meter(opened, "pocket meter", on=DAY).bands if b.frequency_hz == 144.3e6)
    assert (known.against, known.both_rated) == ("card meter", False)
    row = next(r for r in rows_of(report_of_kept(opened, "pocket meter", ReportWish(DAY))) if r[0] == "144.3 MHz")
    assert float(row[4].split()[0]) == pytest.approx(10 ** (-known.gain_db / 10), abs=0.01)
    assert row[5] == "card meter"
    # Two meters in their rated bands are no yardstick for each other.
    (peer,) = (b for b in show_meter(opened, "pocket meter", on=DAY).bands if b.frequency_hz == 14.2e6)
    assert peer.both_rated
    assert "nothing shows which is right" in peer.why
    assert (
        next(r for r in rows_of(report_of_kept(opened, "pocket meter", ReportWish(DAY))) if r[0] == "14.2 MHz")[4]
        == "–"
    )


def test_a_meter_that_nothing_shows_has_a_card_that_says_what_would(opened, tmp_path):
    shelf.file_sheet(opened, write(tmp_path / "plain"), on=date(2026, 4, 1))
    assert "measure known attenuators with it" in json.dumps(
        report_of_kept(opened, "pocket", ReportWish(DAY)).to_dict()
    )


def test_the_command_writes_the_card(opened, tmp_path):
    shelf.file_sheet(opened, DEMO_SHEET, on=DAY)
    place = tmp_path / "card.html"
    words = ["shelf", "meter", "pocket meter", "--ledger", opened.where, "--date", "2026-05-01", "-o", str(place)]
    assert "Wrote" in CliRunner().invoke(main, words).stdout
    assert "Correction card of a meter" in place.read_text()
    told = CliRunner().invoke(main, ["report", "pocket meter", "--ledger", opened.where, "--json"])
    assert json.loads(told.stdout)["kind"] == "meter"
    told = CliRunner().invoke(main, ["shelf", "meter", "pocket meter", "--ledger", opened.where, "-o", "card.xyz"])
    assert told.exit_code == 2


def test_a_card_says_in_letters_of_usual_size_how_the_meter_reads(opened):
    shelf.file_sheet(opened, DEMO_SHEET, on=DAY)
    sizes: dict[str, float] = {}

    def seen(text: str, _: object, place: list[float], __: object, size: float) -> None:
        sizes[text] = size * abs(place[3])

    content = report_pdf(report_of_kept(opened, "pocket meter", ReportWish(DAY)).letter())
    pypdf.PdfReader(io.BytesIO(content)).pages[0].extract_text(visitor_text=seen)
    (size,) = {size for text, size in sizes.items() if "over-reads dB differences" in " ".join(text.split())}
    assert size > 9.0
