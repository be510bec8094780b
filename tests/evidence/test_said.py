"""Every sentence of the bench and one-end engines can be said in any language: none is glued from bare text."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from dataclasses import replace
from itertools import chain
from pathlib import Path
from typing import Any, get_args

import pytest

import linewright
from evidence.benches import BLUE_7, BLUE_18, DESK, PATHS, POCKET, THIN, Row, read, sheet_of
from linewright.catalogue.names import designators
from linewright.core.formatting import plain, quantity
from linewright.core.messages import say, together
from linewright.core.nouns import bench_result as result
from linewright.core.nouns import bench_result as scale
from linewright.core.nouns import cut, one_end, shelf, station
from linewright.core.nouns import sweep as faults
from linewright.core.nouns import sweep as sweep_result
from linewright.core.nouns.bench import Attenuator, BenchSheet, Meter, Piece, Reference
from linewright.core.nouns.bench_result import BenchResult
from linewright.core.nouns.one_end import FarEnd, OneEndReading, OneEndTest
from linewright.files.sheet import read_bench_sheet
from linewright.verbs.one_end import prove_one_end as prove_test
from linewright.verbs.prove import prove_cable as prove
from wordless import SYMBOLS, english, texts

ROOT = Path(linewright.__file__).parent
DEMO = ROOT / "verbs" / "demo_data" / "harbour-ridge.toml"
THICK = Piece("red 5", 5.0, replace(THIN, designator="RG-213/U"), 2, "blue drum")
GREY = Piece("grey 12", 12.0, None, 2, "shed drum")


def names_of(sheet: BenchSheet | OneEndTest) -> set[str]:
    """Return what a person named: pieces, stocks, meters, attenuators and the sheet; and every type there is."""
    if isinstance(sheet, OneEndTest):
        return {sheet.tag, *((sheet.line.designator,) if sheet.line else ())}
    pieces = chain.from_iterable((p.tag, p.stock, p.line and p.line.designator) for p in sheet.pieces)
    return {
        *filter(None, pieces), *(m.name for m in sheet.meters), *(a.tag for a in sheet.attenuators), sheet.title,
        *designators(),
    }  # fmt: skip


def of_result(answer: Any) -> Iterator[str]:
    """Return every text of a result, with the uses it speaks of and what to check."""
    yield from texts(answer)
    if isinstance(answer, BenchResult):
        yield from (say(use.use) for piece in answer.pieces for use in piece.uses)
        yield from (growth.check for growth in answer.growth)


def rows(times: float = 1.0, exponent: float = 1.0) -> list[Row]:
    """Return clean readings on four bands by two meters."""
    return [
        *read(DESK, 14.2e6, PATHS, times), *read(DESK, 28.5e6, PATHS, times),
        *read(POCKET, 144.3e6, PATHS, times, exponent), *read(POCKET, 432.1e6, PATHS, times, exponent),
    ]  # fmt: skip


def by_every_method(piece: Piece, *more: OneEndReading) -> OneEndTest:
    """Return a test of a piece from one end, by every method."""
    told = (
        OneEndReading(1, "open", 28.5e6, "swr", 9.1), OneEndReading(2, "short", 28.5e6, "swr", 8.7),
        OneEndReading(3, "open", 144.3e6, "return_loss_db", 5.4),
        OneEndReading(4, "load", 144.3e6, "swr", 2.1, load_swr=3.0),
        OneEndReading(5, "antenna", 50.1e6, "swr", 6.0), OneEndReading(6, "open", 7.1e6, "resistance_ohm", 2.2), *more,
    )  # fmt: skip
    return OneEndTest(told, line=piece.line, length_m=piece.length_m, tag=piece.tag)


def odd_benches() -> dict[str, BenchSheet]:
    """Return benches that bring out the rare sentences."""
    carded = Meter("card meter", "card", 1.0, None, ((0, 0), (50, 3.2), (100, 12.8)))
    spare = Meter("spare meter", "watts", 0.01, (1.8e6, 500e6))
    third = Meter("third meter", "watts", 0.01, (1.8e6, 500e6))
    good = rows()
    misread = [*good[:1], (DESK, 14.2e6, "blue 7", 4.0), *good[2:]]
    dark = [(spare, f, p, 0.0) for f in (14.2e6, 144.3e6) for p in PATHS]
    stuck = [(spare, 432.1e6, p, 5.0) for p in PATHS]
    camps = [
        *(r for m in (DESK, spare, third) for r in read(m, 14.2e6, PATHS)),
        (DESK, 14.2e6, "blue 18", 1.1), (DESK, 14.2e6, "blue 18", 1.2),
    ]  # fmt: skip
    pointer = [(carded, 14.2e6, p, v) for p, v in zip(PATHS, (88.0, 84.0, 30.0, 88.0), strict=True)]
    pads = [Attenuator("pad 3", 3.0)]
    jumper = Reference(THIN, 20.0)
    return {
        "aged": sheet_of(rows(1.9)),
        "much too good": sheet_of(rows(0.4)),
        "hardly worn": sheet_of(rows(1.15)),
        "bent meter": sheet_of([*rows(1.0, 1.6), *read(spare, 144.3e6, PATHS), *read(third, 144.3e6, PATHS)]),
        "flat meter": sheet_of([*rows(1.0, 0.6), *read(spare, 144.3e6, PATHS), *read(third, 432.1e6, PATHS)]),
        "misread": sheet_of(misread),
        "two camps": sheet_of(camps),
        "dead and stuck meters": sheet_of([*good, *dark, *stuck]),
        "bare scale": sheet_of([*pointer, (carded, 14.2e6, "blue 18", 90.0)]),
        "known attenuator": sheet_of([*good, (POCKET, 144.3e6, "pad 3", 5.0)], attenuators=pads, reference=jumper),
        "attenuator not read": sheet_of(good[:4], attenuators=pads, reference=replace(jumper, in_place="stays")),
        "no reference": sheet_of([r for r in good if r[2] != "reference"]),
        "no reference and no power": sheet_of([r for r in good if r[2] != "reference"], power_w=None),
        "unknown type": sheet_of([(DESK, 14.2e6, "reference", 10.0), (DESK, 14.2e6, "grey 12", 8.0)], [GREY]),
        "one stock of two types": sheet_of(good, [BLUE_7, BLUE_18, THICK, Piece("blue 2", 2.0, None, 1, "blue drum")]),
        "type of the stock": sheet_of(good, [BLUE_7, replace(BLUE_18, line=None)]),
        "rising": sheet_of([(DESK, 14.2e6, "reference", 8.0), (DESK, 14.2e6, "blue 7", 9.9)], [BLUE_7]),
        "nothing read": sheet_of([]),
        "nothing seen": sheet_of([(DESK, 432.1e6, "reference", 10.0), (DESK, 432.1e6, "blue 18", 0.0)]),
        "from one end": replace(sheet_of(good), one_end=(by_every_method(BLUE_18), by_every_method(BLUE_7))),
        "one end only": replace(sheet_of([], [GREY]), meters=(), one_end=(by_every_method(GREY),)),
        "contradiction": replace(sheet_of(rows(2.5)), one_end=(by_every_method(BLUE_18),)),
    }


def odd_tests() -> dict[str, OneEndTest]:
    """Return tests that bring out the rare sentences."""
    single = OneEndReading(1, "open", 144e6, "swr", 7.0)
    misread = OneEndReading(7, "short", 28.5e6, "swr", 1.9)
    off = OneEndReading(8, "open", 3.6e6, "swr", float("inf"), bound="above")
    loud = OneEndReading(9, "load", 7.1e6, "swr", 9.0, load_swr=2.0)
    low = OneEndReading(10, "open", 50.1e6, "return_loss_db", 30.0, bound="above")
    return {
        "whole": by_every_method(BLUE_18),
        "all that is odd": by_every_method(BLUE_18, misread, off, loud, low),
        "no type": replace(by_every_method(BLUE_18), line=None),
        "no length": replace(by_every_method(BLUE_18), length_m=None),
        "neither": replace(by_every_method(GREY), length_m=None, tag=OneEndTest((single,)).tag),
        "alone": OneEndTest((single,)),
        "alone with its type": OneEndTest((single,), line=THIN, length_m=18.0),
        "alone and not borne out": OneEndTest((single,), line=THIN, length_m=150.0),
        "better than its type": OneEndTest(
            tuple(OneEndReading(i, e, f, "swr", 40.0) for i, (e, f) in enumerate(PAIRS)), line=THIN, length_m=40.0
        ),
        "aged": OneEndTest(
            tuple(OneEndReading(i, e, f, "swr", 2.0) for i, (e, f) in enumerate(PAIRS)), line=THIN, length_m=10.0
        ),
    }


PAIRS: tuple[tuple[FarEnd, float], ...] = (("open", 28.5e6), ("short", 28.5e6), ("open", 50.1e6), ("short", 50.1e6))


def bare(answer: Any, sheet: BenchSheet | OneEndTest) -> list[str]:
    """Return the texts that keep words of English in a language that has none."""
    return [text for text in of_result(answer) if english(text, names_of(sheet))]


def test_the_demo_bench_speaks_any_language() -> None:
    sheet = read_bench_sheet(DEMO)
    assert bare(prove(sheet), sheet) == []


@pytest.mark.parametrize("name", odd_benches())
def test_odd_benches_speak_any_language(name: str) -> None:
    sheet = odd_benches()[name]
    assert bare(prove(sheet), sheet) == []


@pytest.mark.parametrize("name", odd_tests())
def test_tests_from_one_end_speak_any_language(name: str) -> None:
    test = odd_tests()[name]
    assert bare(prove_test(test), test) == []


def test_a_sentence_that_was_glued_is_found() -> None:
    sheet = odd_benches()["aged"]
    answer = prove(sheet)
    piece = answer.pieces[0]
    for glued in (str(piece.why), f"{piece.why} Check it.", piece.why + "", say("{all}", all=f"about {piece.why}")):
        other = replace(answer, pieces=(replace(piece, why=glued), *answer.pieces[1:]))
        assert bare(other, sheet) == [glued]


def test_names_units_and_figures_are_no_words() -> None:
    said = together([say("{piece} loses {loss}.", piece="blue 7", loss=quantity(plain(2.0, 1), "dB"))])
    assert english(said, {"blue 7"}) == ""
    assert english(said, set()) == "blue"


CONTRACTS = [
    (result.VERDICTS, result.Verdict), (result.TRUSTS, result.Trust), (one_end.FAR_END_WORDS, one_end.FarEnd),
    (one_end.METHODS, one_end.Method), (faults.FAULT_KINDS, faults.FaultKind), (faults.MARK_KINDS, faults.MarkKind),
    (faults.LIKENESSES, faults.Likeness), (sweep_result.FAR_END_WORDS, sweep_result.FarEnd),
    (sweep_result.SEVERITIES, sweep_result.Severity), (sweep_result.HEALTH_CHECKS, sweep_result.HealthCheck),
    (shelf.EVIDENCE_KINDS, shelf.EvidenceKind), (shelf.URGENCIES, shelf.Urgency), (shelf.TRENDS, shelf.Trend),
    (station.NOISE_SITES, station.NoiseSite), (station.PLACES, station.Place),
    (station.FAR_END_WORDS, station.FarEnd), (cut.LENGTH_BASES, cut.LengthBasis), (cut.CUT_WAYS, cut.CutWay),
    (cut.PURPOSES, cut.Purpose),
]  # fmt: skip


def test_words_of_a_contract_are_listed_whole() -> None:
    assert [words for words, of in CONTRACTS if words != get_args(of)] == []
    assert set(scale.SCALE_WORDS) <= set(get_args(scale.Scale))
    assert {u.use for p in prove(odd_benches()["aged"]).pieces for u in p.uses} == set(result.USES)


ROOMS = ("*.py", "bench/*.py", "one_end/*.py")
PLAIN = {"one_end/targets.py", "bench/search.py", "bench/posterior.py"}
"""Files whose words are error messages or progress."""
SOURCES = {"ENGINE", "GUM", "HAND", "source"}


def unsaid(tree: ast.AST) -> Iterator[str]:
    """Return the words in a file's code that stand outside ``say``, ``say_many`` and ``mark``."""
    skipped: set[int] = set()
    for node in ast.walk(tree):
        texts: list[ast.AST] = []
        if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant):
            texts = [node.value]
        elif isinstance(node, ast.Call) and getattr(node.func, "id", "") in {"say", "say_many", "mark"}:
            texts = list(node.args)
        elif isinstance(node, ast.Assign) and getattr(node.targets[0], "id", "") in SOURCES:
            texts = list(ast.walk(node.value))
        skipped |= {id(text) for text in texts}
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in skipped:
            words = node.value.strip(" .,:;")
            if " " in words:
                yield node.value


KEYS = {"by hand", "mean by hand", "should lose"}
"""What workings are called by, never shown."""
CONTRACT = {
    *result.VERDICTS,
    *result.USES,
    *one_end.METHODS,
    *SYMBOLS,
    *get_args(result.Cause),
    *cut.LENGTH_BASES,
    *cut.CUT_WAYS,
    *cut.PURPOSES,
    *KEYS,
    "one end",
}


@pytest.mark.parametrize("path", sorted(p for room in ROOMS for p in (ROOT / "inference").glob(room)), ids=str)
def test_no_words_stand_in_the_engine_outside_say(path: Path) -> None:
    if str(path.relative_to(ROOT / "inference")) in PLAIN:
        return
    found = [text for text in unsaid(ast.parse(path.read_text(encoding="utf-8"))) if text not in CONTRACT]
    assert found == []
