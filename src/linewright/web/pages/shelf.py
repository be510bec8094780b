"""The shelf: pieces and meters with what is believed of them, and the history of each."""

from __future__ import annotations

import time
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Annotated
from urllib.parse import quote

from fastapi import APIRouter, Form, Request
from fastapi.responses import RedirectResponse, Response

from linewright.core.formatting import frequency, interval, metres, plain
from linewright.core.messages import mark, say, say_many, together
from linewright.core.nouns.bench_result import Working
from linewright.core.nouns.ledger import KINDS, Change, ConflictError, Item, Kind
from linewright.core.nouns.shelf import BelievedLoss, Drift, Evidence, PieceHistory, Reminder, ShelfPiece
from linewright.files import fields
from linewright.present.charts.strips import Scale, bar, scale_of
from linewright.store.ledger import Ledger
from linewright.store.standing import kept_now
from linewright.verbs.shelf import add_note, all_kept, archive, changes, evidence_of, kept, notes_of, restore, undo
from linewright.verbs.shelf_open import today
from linewright.verbs.shelf_renames import called_now, former
from linewright.web import jobs
from linewright.web.bench_cache import Judgements
from linewright.web.bench_presenter import answers_of
from linewright.web.jobs import works_of
from linewright.web.language import now_written
from linewright.web.ledgers import Undoable, by, fields_of, ledger_of, pending, undoables, words_of
from linewright.web.pages.bench_start import meter_about
from linewright.web.pages.shelf_gear import EXPOSURES, designators, form_of
from linewright.web.rendering import page
from linewright.web.standing import MeterSaid, Rung, history_work, ladder_work, standing

router = APIRouter(include_in_schema=False)
PIECE = "/shelf/piece/"
NOT_UNDONE = mark("Nothing was undone: that was changed again since, or is undone already.")
MOST_SAID = 400
"""Letters of what an address says was done."""
FEW_TESTS, LONG_S = 4, 2.0
"""A page waits so long for a piece of few tests, which takes a second at most on a machine that is not busy: while it
waits, it holds one of the app's threads."""
MOMENT_S = 0.1
"""How long a page waits at least for a ladder that may be remembered."""
SAID_HZ = 144.3e6
"""The band on which a verdict is given: the one that decides."""


@dataclass(frozen=True, slots=True)
class LossLine:
    """A believed loss, written and drawn."""

    hz: str
    frequency: str
    believed: str
    drawn: str
    times: str
    how: Working


@dataclass(frozen=True, slots=True)
class PieceLine:
    """A piece in the list."""

    tag: str
    about: str
    verdict: str
    basis: str
    due: str
    losses: tuple[LossLine, ...]


@dataclass(frozen=True, slots=True)
class MeterLine:
    """A meter in the list, with the bands where it is known to be good or doubtful."""

    name: str
    about: str
    said: tuple[tuple[str, str, str], ...]


@dataclass(frozen=True, slots=True)
class ShelfPage:
    """The shelf; ``behind`` names what is shown as it was before the newest readings."""

    pieces: tuple[PieceLine, ...]
    meters: tuple[MeterLine, ...]
    away: tuple[tuple[str, str], ...]
    changes: tuple[Undoable, ...]
    empty: bool
    said: str
    behind: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class PiecePage:
    """One piece with all that is known of it.

    ``rungs_come`` is where its ladder will be, while that is worked out; ``of_time`` is the time of day of which all
    this is, where something was kept since.
    """

    piece: ShelfPiece
    about: str
    verdict: str
    losses: tuple[LossLine, ...]
    rungs: tuple[Rung, ...]
    rungs_come: str
    of_time: str
    rungs_at: str
    rungs_hz: str
    tested: bool
    drift: Drift | None
    drift_words: str
    reminder: Reminder | None
    uses: tuple[tuple[str, str, str], ...]
    uses_from: str
    growth: str
    notes: tuple[tuple[str, str], ...]
    changes: tuple[Undoable, ...]
    cautions: tuple[str, ...]
    remarks: tuple[str, ...]
    workings: tuple[Working, ...]
    form: dict[str, str]
    lines: tuple[str, ...]
    exposures: tuple[tuple[str, str], ...]
    state: str


def told(request: Request, words: str) -> Response:
    """Lead to the shelf, which says what was done; the address proves that the words are the app's own."""
    said = now_written(words)[:MOST_SAID]
    return RedirectResponse(f"/shelf?said={quote(said)}&by={request.app.state.sessions.sign(said)}", 303)


@router.get("/shelf")
def shelf(request: Request, said: str = "", by: str = "") -> Response:
    """Show the shelf."""
    said = said if request.app.state.sessions.is_signed(said, by) else ""
    ledger = ledger_of(request)
    stands = standing(ledger, request.app.state.judged)
    found = stands.shelf
    due = {r.piece: r for r in found.reminders}
    scale = scale_of(x.loss_db_high for p in found.pieces for x in p.losses)
    meters = _meters(ledger, stands.meters)
    kinds: tuple[Kind, ...] = ("piece", "meter", "sweep", "line", "stock")
    away = tuple((kind, i.key) for kind in kinds for i in all_kept(ledger, kind, archived=True))
    shown = ShelfPage(
        tuple(_line(p, due.get(p.tag), scale) for p in found.pieces),
        meters,
        away,
        undoables(changes(ledger, most=60).changes, 8),
        not (found.pieces or meters or away or all_kept(ledger, "sheet")),
        said,
        stands.behind,
    )
    return page(request, "shelf.html", shown, place="shelf", title=say("Shelf"))


def _line(p: ShelfPiece, due: Reminder | None, scale: Scale) -> PieceLine:
    soon = ""
    if due is not None:
        soon = say("Test soon: {why}", why=due.why)
        if due.urgency == "due":
            soon = say("Test again: {why}", why=due.why) if p.tests else say("Test it: {why}", why=due.why)
    return PieceLine(p.tag, piece_words(p), verdict_of(p), basis_of(p), soon, losses_of(p, scale))


def piece_words(p: ShelfPiece) -> str:
    """Return a piece in words."""
    return together(
        (
            say("{length} of {line}", length=metres(p.length_m), line=p.line or say("unknown type")),
            say("stock {stock}", stock=p.stock) if p.stock else "",
            say(p.exposure) if p.exposure else "",
        ),
        ", ",
    )


def basis_of(p: ShelfPiece) -> str:
    """Return what a belief rests on, in words."""
    if not p.tests:
        if not p.losses:
            return say("not measured: nothing is known")
        return say("not measured: as the {basis} has it", basis=p.basis)
    return say_many(
        "{count} test, the last on {day}", "{count} tests, the last on {day}", p.tests, day=p.tested_on or ""
    )


def verdict_of(p: ShelfPiece) -> str:
    """Return the verdict on a piece as a sentence: "blue 7 loses 1.7 times what RG-58C/U should (1.5 to 1.9)"."""
    found = next((x for x in p.losses if x.frequency_hz == SAID_HZ), None)
    if found is None:
        return say("{tag}: cannot tell. Its type is unknown and it was never measured.", tag=p.tag)
    told = {"tag": p.tag, "loss": believed(found), "band": frequency(found.frequency_hz)}
    if not p.tests and "stock" not in p.basis:
        return say("{tag} was never measured; a new one loses {loss} at {band}.", **told)
    if p.ratio is None or p.ratio_low is None or p.ratio_high is None:
        return say("{tag} loses {loss} at {band}.", **told)
    value, low, high = (plain(x, 2) for x in (p.ratio, p.ratio_low, p.ratio_high))
    return say(
        "{tag} loses {value} times what {line} should ({low} to {high}): {loss} at {band}.",
        value=value, low=low, high=high, line=p.line or "", **told,
    )  # fmt: skip


def believed(x: BelievedLoss) -> str:
    """Return a believed loss with its interval."""
    return interval(x.loss_db, x.loss_db_low, x.loss_db_high)


def losses_of(p: ShelfPiece, scale: Scale) -> tuple[LossLine, ...]:
    """Return the losses of a piece, written and drawn on a scale."""
    return tuple(_loss(p, x, scale) for x in p.losses)


def _loss(p: ShelfPiece, x: BelievedLoss, scale: Scale) -> LossLine:
    ratio = x.ratio is not None and x.ratio_low is not None and x.ratio_high is not None
    times = interval(x.ratio or 0.0, x.ratio_low or 0.0, x.ratio_high or 0.0, "") if ratio else ""
    drawn = bar(scale, x.loss_db_low, x.loss_db, x.loss_db_high)
    return LossLine(f"{x.frequency_hz:.0f}", frequency(x.frequency_hz), believed(x), drawn, times, loss_working(p, x))


def loss_working(p: ShelfPiece, x: BelievedLoss) -> Working:
    """Return how the loss of a piece on one band was worked out."""
    inputs = (
        (say("length"), metres(p.length_m)), (say("type"), p.line or say("unknown")), (say("rests on"), p.basis),
        (say("tests"), str(p.tests)),
    )  # fmt: skip
    return Working(
        say("loss of {tag} at {band}: {loss}", tag=p.tag, band=frequency(x.frequency_hz), loss=believed(x)),
        say("length · (conductor part · G + dielectric part · G · H) · departure + connectors + joints"),
        inputs,
        say(
            "All its sheets and sweeps together, older ones counting less; see {page}.",
            page="docs/how-the-bench-works.md",
        ),
        ("loss", p.tag, x.frequency_hz),
    )


def verdict_workings(p: ShelfPiece) -> tuple[Working, ...]:
    """Return how the figures of a piece's verdict were worked out: its loss, and how it compares with a new one."""
    found = next((x for x in p.losses if x.frequency_hz == SAID_HZ), None)
    if found is None:
        return ()
    workings = [loss_working(p, found)]
    if p.ratio is not None and p.tests:
        inputs = ((say("type"), p.line or say("unknown")), (say("length"), metres(p.length_m)))
        formula = say(
            "loss of the piece / loss of a new one of its type and length, draw by draw; geometric mean over the bands"
            " it was measured on"
        )
        source = say("The type's published figures; see the catalogue.")
        what = say("times what {line} should lose", line=p.line or "")
        workings.append(Working(what, formula, inputs, source, ("times", p.tag, SAID_HZ)))
    return tuple(workings)


def _meters(ledger: Ledger, said: Sequence[MeterSaid]) -> tuple[MeterLine, ...]:
    return tuple(_meter(i, [s for s in said if s.finding.meter == i.key]) for i in all_kept(ledger, "meter"))


def _meter(item: Item, said: Sequence[MeterSaid]) -> MeterLine:
    found = tuple((frequency(s.finding.frequency_hz), s.finding.trust, s.finding.why) for s in said)
    return MeterLine(item.key, meter_about(item), found)


@router.get("/shelf/piece/{tag:path}")
def piece(request: Request, tag: str, made: int | None = None) -> Response:
    """Show one piece."""
    ledger = ledger_of(request)
    if (now := called_now(ledger, tag)) != tag:
        return RedirectResponse(PIECE + quote(now), 303)
    item = kept(ledger, "piece", tag)
    sheets = [e for e in evidence_of(ledger, tag) if e.kind == "sheet"]
    until = time.monotonic() + jobs.PATIENCE_S
    notes = [n for name in (tag, *former(item)) for n in notes_of(ledger, "piece", name)]
    work = history_work(ledger, works_of(request), item, len(notes), made)
    if not work.wait(patience_s(len(sheets))):
        return RedirectResponse(work.address, 303)
    history: PieceHistory = work.answer()
    at_hz = history.points[0].frequency_hz if history.points else SAID_HZ
    grew = ladder_work(ledger, works_of(request), item, at_hz, work.moment)
    rungs = grew.answer() if grew.wait(max(until - time.monotonic(), MOMENT_S)) else ()
    p = history.piece
    uses, growth, source = _uses(request, ledger, tag, sheets)
    shown = PiecePage(
        p,
        piece_words(p),
        verdict_of(p),
        losses_of(p, scale_of(x.loss_db_high for x in p.losses)),
        rungs,
        "" if grew.done else f"{PIECE}{quote(tag)}?made={work.moment}",
        work.began if work.moment != kept_now(ledger).number else "",
        frequency(at_hz),
        f"{at_hz:.0f}",
        bool(history.points),
        history.drift,
        drift_told(history),
        history.reminder,
        uses,
        source,
        growth,
        tuple((n.body["at"][:10], n.body["text"]) for n in history.notes),
        tuple(_own_undo(c) for c in pending(history.edits)[:1] if _today(c.at)),
        history.cautions,
        history.remarks,
        history.workings,
        form_of(item),
        designators(),
        EXPOSURES,
        f"{item.version}-{p.tests}-{p.tested_on}",
    )
    return page(request, "shelf_piece.html", shown, place="shelf", title=tag)


def patience_s(sheets: int) -> float:
    """Return how long a page waits for what so many sheets say of a piece, before it leads to the waiting page."""
    return max(jobs.PATIENCE_S, LONG_S if sheets <= FEW_TESTS else 0.0)


def _own_undo(c: Change) -> Undoable:
    """Return a change with what the button that undoes it says on the page of its own piece."""
    before, after = c.before or {}, c.after or {}
    was = str(before.get("body", {}).get("tag", c.key))
    if c.before is None:
        words = say("Undo adding it")
    elif before.get("archived") != after.get("archived"):
        words = say("Undo putting it away") if after.get("archived") else say("Undo restoring it")
    elif was != c.key:
        words = say("Undo renaming it; it was {was}", was=was)
    elif fields := fields_of(c):
        words = say("Undo: {fields}", fields=fields)
    else:
        words = say("Undo the last change")
    return Undoable(c.id, words, c.at)


def _today(at: str) -> bool:
    """Return whether a change was made today: those before are undone from the shelf's list."""
    return datetime.fromisoformat(at).astimezone().date().isoformat() == today()


def _uses(
    request: Request, ledger: Ledger, tag: str, sheets: Sequence[Evidence]
) -> tuple[tuple[tuple[str, str, str], ...], str, str]:
    """Return what the newest sheet says a piece may serve for, where its loss grew, and which sheet that is."""
    if not sheets:
        return (), "", ""
    judged: Judgements = request.app.state.judged
    bench = judged.bench(ledger, sheets[-1].key)
    verdicts = answers_of(bench.result, bench.sheet, ()).verdicts
    mine = next((v for v in verdicts if v.piece == tag), None)
    return (mine.uses, mine.growth, sheets[-1].key) if mine else ((), "", "")


def drift_told(history: PieceHistory) -> str:
    """Return how the loss of a piece moves: its rate once, and what is said of it."""
    d = history.drift
    if d is None:
        return history.disagreement or say("Two tests, some weeks apart at least, will show whether its loss drifts.")
    ends = interval(d.percent_per_year, d.percent_per_year_low, d.percent_per_year_high, "%")
    return say("{change} a year. {why}", change=ends, why=d.why)


@router.post("/shelf/away/{kind}/{key:path}")
def away(request: Request, kind: str, key: str, back: Annotated[str, Form()] = "") -> Response:
    """Put something away, or bring it back."""
    (restore if back else archive)(ledger_of(request), fields.one_of(kind, "kind", KINDS), key, by=by(request))
    if kind == "station":
        return RedirectResponse("/", 303)
    if back:
        return told(request, say("{key} is back on the shelf.", key=key))
    return told(request, say("{key} is put away. Restore brings it back.", key=key))


@router.post("/shelf/note/{kind}/{key:path}")
def note(request: Request, kind: str, key: str, text: Annotated[str, Form()] = "") -> Response:
    """Write a note on something."""
    ledger = ledger_of(request)
    key = called_now(ledger, key) if kind == "piece" else key
    if text.strip():
        add_note(ledger, fields.one_of(kind, "kind", KINDS), key, text, by=by(request))
    return RedirectResponse(f"/shelf/{kind}/{quote(key)}", 303)


@router.post("/shelf/undo")
def take_back(request: Request, change: Annotated[int, Form()], back: Annotated[str, Form()] = "/shelf") -> Response:
    """Set a change back."""
    try:
        made = undo(ledger_of(request), change, by=by(request))
    except ConflictError:
        return told(request, say(NOT_UNDONE))
    if back.startswith(PIECE):  # it may have another tag now
        return RedirectResponse(PIECE + quote(made.key), 303)
    return told(request, say("Undone: {change}.", change=words_of(made)))


def today_of(text: str) -> date | None:
    """Return the day a form names; None for none."""
    from linewright.verbs.shelf_nouns import day

    return date.fromisoformat(day(text, "measured on")) if text else None
