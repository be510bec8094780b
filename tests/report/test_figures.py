"""Every figure of a report is that of the command's own answer."""

from __future__ import annotations

import json

import pytest
from click.testing import CliRunner

from linewright.cli import main
from linewright.core.formatting import frequency, interval, percent, plain, quantity, reach
from linewright.files.tables import to_json
from linewright.present.document import Document
from report.made import DAY


def _cells(document: Document, title: str, caption: str = "") -> list[list[str]]:
    """Return the rows of the first table under a heading, or of the one with a caption."""
    section = next(s for s in document.to_dict()["sections"] if s["title"] == title)
    tables = [b.get("data") or b for b in section["blocks"] if b.get("data") or b["block"] == "table"]
    table = next(t for t in tables if caption in t["caption"])
    return [row["cells"] for part in table["parts"] for row in part["rows"]]


@pytest.fixture(scope="module")
def answers(demo, ledger):
    """Return what the commands answer, as JSON."""

    def asked(*words: str):
        done = CliRunner().invoke(main, [*words, "--json"], catch_exceptions=False)
        return json.loads(done.stdout)

    return {
        "prove": asked("prove", str(demo / "harbour-ridge.toml")),
        "plan": asked("plan", str(demo / "harbour-ridge-station.toml")),
        "history": asked("shelf", "history", "blue 7", "--ledger", ledger),
    }


def test_losses_are_those_of_prove(documents, answers):
    rows = _cells(documents["bench"], "Loss against frequency")
    losses = answers["prove"]["losses"]
    assert len(rows) == len(losses) == 15
    for row, x in zip(rows, losses, strict=True):
        assert row[0] == frequency(x["frequency_hz"])
        assert row[1] == interval(x["loss_db"], x["loss_db_low"], x["loss_db_high"])
        assert row[2] == percent(x["delivered_fraction"])
        assert row[3].rstrip("*") == quantity(plain(x["catalogue_db"], 2), "dB")
        assert row[4] == interval(x["ratio"], x["ratio_low"], x["ratio_high"], "")


def test_readings_are_all_there_with_their_doubts(documents, answers):
    rows = _cells(documents["bench"], "Readings")
    readings = answers["prove"]["readings"]
    assert [row[0] for row in rows] == [f"row {r['row']}" for r in readings]
    doubted = [f"row {r['row']}" for r in readings if r["p_wrong"] > 0.5]
    assert [row[0] for row in rows if row[7] == "doubted"] == doubted
    assert sum(r["p_wrong"] > 0.5 for r in readings) == 3


def test_a_doubted_reading_has_a_sign_and_its_reason(documents, answers):
    section = next(s for s in documents["bench"].to_dict()["sections"] if s["title"] == "Readings")
    marked = [row for part in section["blocks"][0]["parts"] for row in part["rows"] if row["mark"]]
    reasons = [r["why"] for r in answers["prove"]["readings"] if r["p_wrong"] > 0.5]
    assert [row["note"] for row in marked] == reasons


def test_meters_are_those_of_prove(documents, answers):
    rows = _cells(documents["bench"], "Each meter band by band")
    for row, m in zip(rows, answers["prove"]["meters"], strict=True):
        assert row[0] == frequency(m["frequency_hz"])
        assert row[2] == interval(m["exponent"], m["exponent_low"], m["exponent_high"], "")
        assert row[3] == m["why"]


def test_bands_are_those_of_plan(documents, answers):
    rows = _cells(documents["station"], "Losses and standing waves")
    bands = [x for run in answers["plan"]["runs"] for x in run["bands"]]
    for row, x in zip(rows, bands, strict=True):
        assert row[0] == frequency(x["frequency_hz"])
        assert row[3] == interval(x["total_loss_db"], x["total_loss_db_low"], x["total_loss_db_high"])
        assert row[5] == percent(x["power_at_antenna_w"] / x["power_w"])


def test_parts_are_those_of_plan_from_radio_to_antenna(documents, answers):
    rows = _cells(documents["station"], "Power from radio to antenna")
    parts = [p for run in answers["plan"]["runs"] for x in run["bands"] for p in x["parts"]]
    assert [row[0] for row in rows] == [p["name"] for p in parts]
    for row, p in zip(rows, parts, strict=True):
        assert row[4] == quantity(plain(p["matched_loss_db"], 2), "dB")


def test_every_limit_of_exposure_stands_there_with_its_source_and_cautions(documents, answers):
    found = [e for run in answers["plan"]["runs"] for x in run["bands"] for e in x["exposure"]]
    rows = _cells(documents["station"], "Exposure")
    assert [(row[0], row[1]) for row in rows] == [(e["limit"], e["who"]) for e in found]
    for row, e in zip(rows, found, strict=True):
        if e["distance_m"] is None:
            assert row[3:5] == ["no figure", "near field"]
        else:
            assert row[3] == reach(e["distance_m_low"] or e["distance_m"], e["distance_m_high"])
    assert any(e["distance_m"] is None for e in found)
    assert any(e["distance_m"] is not None for e in found)
    assert "What is needed: a near-field calculation" in str(documents["station"].to_dict())
    section = next(s for s in documents["station"].to_dict()["sections"] if s["title"] == "Exposure")
    assert section["blocks"][0]["block"] == "cautions"
    sources = " ".join(section["blocks"][-1]["items"])
    assert "table 5" in sources
    assert "47 CFR 1.1310" in sources


def test_tests_of_a_piece_are_those_of_its_history(documents, answers):
    rows = _cells(documents["piece"], "Evidence in figures", "Tests in time order, each alone")
    points = answers["history"]["points"]
    assert [row[0] for row in rows] == ["2025-03-01", "2026-03-20"]
    for row, x in zip(rows, points, strict=True):
        assert row[0] == x["evidence"]["measured_on"]
        assert row[4] == interval(x["loss_db"], x["loss_db_low"], x["loss_db_high"])


def test_the_ladder_ends_with_what_is_believed_today(documents):
    ladder = _cells(documents["piece"], "Evidence in figures")
    losses = _cells(documents["piece"], "Loss against frequency")
    assert len(ladder) == 3
    assert ladder[-1][3] == next(row[1] for row in losses if row[0] == ladder_band(documents))


def ladder_band(documents) -> str:
    """Return the band the ladder is told at."""
    section = next(s for s in documents["piece"].to_dict()["sections"] if s["title"] == "Evidence in figures")
    return section["blocks"][0]["caption"].removeprefix("Ladder of evidence at ")


def test_notes_and_reminder_stand_in_a_piece_report(documents):
    told = to_json(documents["piece"])
    assert "Jacket nicked near the tag (invented)." in told
    assert "Test it again by " in told
    assert "It is kept outdoors" in told


def test_every_working_stands_there_once(documents, answers):
    section = next(
        s for s in documents["bench"].to_dict()["sections"] if s["title"] == "How each figure was worked out"
    )
    ways = section["blocks"][0]["ways"]
    assert sum(len(w["figures"]) for w in ways) == len(answers["prove"]["workings"])
    assert len({(w["formula"], w["source"]) for w in ways}) == len(ways)


def test_no_report_calls_anything_safe(documents):
    for document in documents.values():
        assert " is safe" not in to_json(document)


def test_the_day_it_bears_is_the_one_asked_for(documents):
    assert documents["piece"].day == DAY.isoformat()
