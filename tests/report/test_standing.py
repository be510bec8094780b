"""One piece, one mark: a bench report, a piece report and a label say the same of it, in the same words."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest

from linewright.core.nouns.shelf import STANDINGS
from linewright.present.compose.bench import MARKS, bench_report
from linewright.present.compose.bench_words import LEADS
from linewright.present.document import Document, Verdict
from linewright.verbs.label import label_pieces
from linewright.verbs.report import ReportWish
from linewright.verbs.report_kept import report_of_piece
from linewright.verbs.shelf import By, add, file_sheet, open_ledger
from report.made import DAY, MADE


def verdicts(document: Document) -> dict[str, Verdict]:
    """Return the verdicts of a report by their leads."""
    return {b.lead: b for b in document.sections[0].blocks if isinstance(b, Verdict)}


@pytest.fixture(scope="module")
def once(demo: Path, tmp_path_factory: pytest.TempPathFactory) -> str:
    """Return a ledger that holds the demo's bench, once, and two pieces nobody measured."""
    where = str(tmp_path_factory.mktemp("once") / "ledger.sqlite")
    with open_ledger(where) as ledger:
        file_sheet(ledger, demo / "harbour-ridge.toml", on=date(2026, 3, 20))
        add(ledger, "piece", {"tag": "new", "length": "3 m", "line": "RG-213/U"}, by=By())
        add(ledger, "piece", {"tag": "odd", "length": "3 m"}, by=By())
    return where


def test_bench_report_piece_report_and_label_give_one_verdict(once, bench):
    of_bench = verdicts(bench_report(*bench, MADE))
    with open_ledger(once) as ledger:
        labels = {label.tag: label for label in label_pieces(ledger, on=DAY).labels}
        for piece in bench[1].pieces:
            ((lead, verdict),) = verdicts(report_of_piece(ledger, piece.piece, ReportWish(DAY))).items()
            assert verdict.mark == of_bench[lead].mark
            assert labels[piece.piece].standing == piece.verdict
            times = piece.ratio_low, piece.ratio, piece.ratio_high
            label = labels[piece.piece]
            assert (label.ratio_low, label.ratio, label.ratio_high) == pytest.approx(times, rel=0.02)
    assert {v.mark for v in of_bench.values()} > {"good"}


def test_what_nobody_measured_is_never_judged(once):
    with open_ledger(once) as ledger:
        for tag, said in (("new", "What its type lets one expect"), ("odd", "Nothing is known of its loss yet")):
            (verdict,) = verdicts(report_of_piece(ledger, tag, ReportWish(DAY))).values()
            assert (verdict.lead, verdict.mark) == (f"{tag} was never tested.", "unknown")
            assert said in verdict.text


def test_every_standing_has_a_lead_and_a_mark_of_its_own():
    judged = [s for s in STANDINGS if s != "not measured"]
    assert set(judged) == set(LEADS) == set(MARKS)
    assert len(set(MARKS.values())) == len(judged)
