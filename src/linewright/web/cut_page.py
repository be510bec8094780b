"""The page of lengths: the document's words and tables, with figures that open, and the lines drawn side by side."""

from __future__ import annotations

from dataclasses import dataclass

from linewright.core.nouns.bench_result import Key, Working
from linewright.core.nouns.cut import CutPiece, CutResult
from linewright.present.compose import cut as compose
from linewright.web.workings import OpenTable, open_table


@dataclass(frozen=True, slots=True)
class DrawnLine:
    """One line as a bar: how much of the longest it is, how much of it is to come off, both in percent."""

    name: str
    whole: float
    off: float
    words: str


@dataclass(frozen=True, slots=True)
class CutShown:
    """All that is said of lines and cuts, as its page shows it."""

    verdict: str
    drawn: tuple[DrawnLine, ...]
    cut: OpenTable
    stub: OpenTable
    differences: OpenTable
    leftovers: OpenTable
    sets: OpenTable
    left_over: tuple[str, ...]
    pieces: OpenTable
    has_orders: bool
    remarks: tuple[str, ...]
    workings: tuple[Working, ...]


def shown(r: CutResult) -> CutShown:
    """Return an answer as its page shows it."""
    cut: list[tuple[Key, ...]] = [
        ((), (of, r.cut.piece) if of == "transformed" else ("cut", r.cut.piece)) for of, *_ in compose.named_cut(r)
        if r.cut is not None
    ]  # fmt: skip
    stubs: list[tuple[Key, ...]] = [((), ("stub", x.frequency_hz)) for x in (r.cut.stub if r.cut else ())]
    left = compose.leftovers(r)
    apart: list[Key] = [("difference", d.longer, d.shorter) for d in r.differences]
    return CutShown(
        r.verdict, _drawn(r), open_table(compose.cut_facts(r), r.workings, cut),
        open_table(compose.stub(r), r.workings, stubs),
        open_table(compose.differences(r), r.workings, [((), k, k, k, k) for k in apart]),
        open_table(left, r.workings, [((), k, k, k) for k in apart] if left.parts[0].rows else []),
        open_table(compose.sets(r), (), ()), compose.left_over(r),
        open_table(compose.pieces(r), r.workings, _of_pieces(r)), bool(compose.order_words(r)), r.remarks, r.workings,
    )  # fmt: skip


def _of_pieces(r: CutResult) -> list[tuple[Key, ...]]:
    several = len(r.pieces[0].phases) > 1
    at: tuple[Key, ...] = ((),) if several else ()
    return [
        ((), *at, ("phase", p.piece, x.frequency_hz), *(() if i else (("velocity factor", p.piece), ("ends", p.piece))))
        for p in r.pieces for i, x in enumerate(p.phases)
    ]  # fmt: skip


def _drawn(r: CutResult) -> tuple[DrawnLine, ...]:
    """Return the lines side by side, as long as they are electrically, with what is to come off."""
    at = r.differences[0].frequency_hz if r.differences else r.cut.frequency_hz if r.cut else None
    lengths = {p.piece: _phase(p, at) for p in r.pieces}
    longest = max(lengths.values())
    off = {d.longer: d.difference_deg for d in r.differences if d.told} if r.cut is None and not r.sets else {}
    for s in r.sets:
        least = min(lengths[name] for name in s.pieces)
        off |= {name: lengths[name] - least for name in s.pieces}
    if r.cut is not None and r.cut.way != "too short":
        off = {r.cut.piece: lengths[r.cut.piece] - r.cut.target_deg}
    orders = compose.order_words(r)
    return tuple(
        DrawnLine(name, 100.0 * whole / longest, min(100.0 * max(off.get(name, 0.0), 0.0) / whole, 100.0),
                  orders.get(name, ""))
        for name, whole in lengths.items()
    )  # fmt: skip


def _phase(p: CutPiece, at: float | None) -> float:
    return next((x.phase_deg for x in p.phases if x.frequency_hz == at), p.phases[0].phase_deg)
