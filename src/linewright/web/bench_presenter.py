"""What the bench says, in the words of its page: verdicts, expected values, doubts, what to measure next."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from zlib import crc32

from linewright.catalogue.cautions import cautions_of
from linewright.core.formatting import capitalized, chance, frequency, metres, places_for, plain
from linewright.core.messages import mark, say, say_many, together
from linewright.core.nouns.bench import BenchSheet
from linewright.core.nouns.bench_result import (
    SCALE_UNIT,
    BenchResult,
    LossFinding,
    MeterFinding,
    NextReading,
    PieceFinding,
    ReadingFinding,
    Working,
    workings_of,
)
from linewright.present.charts.strips import Scale, bar, reach, scale_of
from linewright.present.compose.bench_words import (
    DOUBT,
    LEADS,
    LOOK,
    beyond_note,
    expected_cell,
    exponent_cell,
    growth_of,
    hand_cell,
    loss_cells,
    read_cell,
    use_answer,
    use_name,
)
from linewright.web.bench_rows import REFERENCE, SheetBand, Slot, slot_id

OF_LOSS = ("loss", "should lose", "by hand")
"""The workings that a loss opens to."""
TIMES = Scale(0.75, 2.0)
"""The scale on which every piece of a bench is drawn: times what its type should lose."""
WORN = 1.25
"""From here on a loss is worth a second look (common practice, no source)."""
VERDICT = {
    "good": mark("good"), "worn": mark("worn"), "bad": mark("bad"), "cannot tell": mark("cannot tell"),
}  # fmt: skip
NOTHING_YET = mark("No answer yet: take the reference reading, then read through a piece.")


@dataclass(frozen=True, slots=True)
class ReadingNote:
    """The answer under a reading: what was expected, written and drawn, and a doubt with its reason."""

    expected: str = ""
    mark: str = ""
    why: str = ""
    how: Working | None = None
    drawn: str = ""
    middle: str = ""
    reach: str = ""


UNSAID = ReadingNote()
EXPECTED = Working(
    "",
    say(
        "the reading as if it were taken anew, from every other reading of the bench and the types' laws, this one left"
        " out"
    ),
    (),
    say("The bench engine of this project; see docs/how-the-bench-works.md."),
    ("expected", 0),
)
"""How every expected reading is worked out."""


@dataclass(frozen=True, slots=True)
class Loss:
    """A loss on one band, written and drawn, with its workings."""

    frequency: str
    believed: str
    drawn: str
    arrives: str
    new: str
    times: str
    hands: tuple[str, ...]
    workings: tuple[Working, ...]


@dataclass(frozen=True, slots=True)
class PieceVerdict:
    """The verdict on one piece: what is said first, why, and the figures it rests on."""

    piece: str
    about: str
    lead: str
    why: str
    verdict: str
    uses: tuple[tuple[str, str, str], ...]
    growth: str
    losses: tuple[Loss, ...]
    word: str = ""
    times: str = ""
    drawn: str = ""
    beyond: str = ""


@dataclass(frozen=True, slots=True)
class NextReadingLine:
    """A reading worth taking; ``slot`` is the line of the sheet it goes to, ``there`` whether the sheet has it.

    ``needs`` is gear that is not on the sheet.
    """

    action: str
    why: str
    slot: str
    there: bool
    meter: str
    frequency: str
    path: str
    needs: str = ""


@dataclass(frozen=True, slots=True)
class MeterOnBand:
    """What a meter is good for on a band."""

    meter: str
    frequency: str
    trust: str
    exponent: str
    why: str
    how: Working | None


@dataclass(frozen=True, slots=True)
class Answers:
    """All that a session says."""

    verdicts: tuple[PieceVerdict, ...] = ()
    said: Mapping[str, ReadingNote] = field(default_factory=dict)
    next: tuple[NextReadingLine, ...] = ()
    meters: tuple[MeterOnBand, ...] = ()
    remarks: tuple[str, ...] = ()
    cautions: tuple[str, ...] = cautions_of("prove")
    summary: str = NOTHING_YET
    read: int = 0
    lines: int = 0
    headline: str = ""
    how_expected: Working = EXPECTED

    def of(self, slot: str) -> ReadingNote:
        """Return what stands beside a line."""
        return self.said.get(slot, UNSAID)


def answers_of(result: BenchResult | None, sheet: BenchSheet, bands: Sequence[SheetBand]) -> Answers:
    """Return what a session says, line by line of its sheet."""
    slots = [s for band in bands for bracket in band.brackets for s in bracket.slots if not bracket.folded]
    read = sum(s.kept is not None for s in slots)
    if result is None:
        return Answers(read=read, lines=len(slots))
    rows = {r.row: r for r in result.readings}
    said = {s.id: _said(rows[s.kept.number]) for s in slots if s.kept and s.kept.number in rows}
    return Answers(
        verdicts=tuple(_verdict(result, sheet, p) for p in result.pieces),
        said=said,
        next=tuple(_next(n, {s.id for s in slots if s.kept is None}) for n in _once(result.next)),
        meters=tuple(_meter(result, m) for m in result.meters),
        remarks=result.remarks,
        cautions=result.cautions,
        summary=_summary(result.readings),
        read=read,
        lines=len(slots),
        headline=_headline(result),
    )


def _summary(found: Sequence[ReadingFinding]) -> str:
    doubted = sum(r.p_wrong > DOUBT and r.checked for r in found)
    checked = sum(r.checked for r in found)
    if not checked:
        return say("Nothing could be checked yet: no reading has others to compare it with.")
    doubt = say("No reading stands out from the rest.") if not doubted else _doubted(doubted)
    could = say("{checked} of {all} readings could be checked.", checked=str(checked), all=str(len(found)))
    return together([could, doubt])


def _doubted(count: int) -> str:
    return say_many("{count} reading is doubted.", "{count} readings are doubted.", count)


def _headline(result: BenchResult) -> str:
    """Return the verdict of a whole bench in a sentence or two: what the piece is, or how many are what, and doubts."""
    found = [p.verdict for p in result.pieces]
    doubted = _doubted(n) if (n := sum(r.p_wrong > DOUBT and r.checked for r in result.readings)) else ""
    if len(found) == 1:
        return together([capitalized(say(LEADS[found[0]], piece=result.pieces[0].piece)), doubted])
    bad, worn, good, unknown = (found.count(v) for v in ("bad", "worn", "good", "cannot tell"))
    said = [
        say_many("{count} piece is bad.", "{count} pieces are bad.", bad) if bad else "",
        say_many("{count} piece is worn.", "{count} pieces are worn.", worn) if worn else "",
        say_many("{count} piece is good.", "{count} pieces are good.", good) if good else "",
        say_many("No answer yet for {count} piece.", "No answer yet for {count} pieces.", unknown) if unknown else "",
        doubted,
    ]
    return together(said)


def _said(r: ReadingFinding) -> ReadingNote:
    unit = SCALE_UNIT[r.scale]
    if r.expected is None or r.expected_low is None or r.expected_high is None:
        return ReadingNote(expected_cell(r), "", r.why)
    expected = expected_cell(r)
    places = places_for(r.expected_low, r.expected_high)
    middle, low, high = (plain(v, places) for v in (r.expected, r.expected_low, r.expected_high))
    ends = say("{low} to {high}", low=low, high=high)
    if not r.checked:
        return ReadingNote(expected, "unchecked", r.why, middle=middle, reach=ends)
    doubt = "doubted" if r.p_wrong > DOUBT else "perhaps" if r.p_wrong >= LOOK else ""
    likely = say("{chance} likely to be wrong.", chance=chance(r.p_wrong))
    below = r.reading == 0.0 and unit not in ("dBm", "dB")  # "below the first mark" stands nowhere on the scale
    drawn = "" if below else reach(r.expected_low, r.expected_high, r.reading, doubted=bool(doubt))
    why = together([likely, r.why]) if doubt else ""
    return ReadingNote(expected, doubt, why, _expected_working(r, expected), drawn, middle, ends)


def _expected_working(r: ReadingFinding, expected: str) -> Working:
    at = say("{path} on the {meter} at {frequency}", path=r.path, meter=r.meter, frequency=frequency(r.frequency_hz))
    return replace(
        EXPECTED,
        figure=say("expected of {at}: {expected}", at=at, expected=expected),
        inputs=((say("read"), read_cell(r)), (say("chance that it is wrong"), chance(r.p_wrong))),
        key=("expected", r.row),
    )


def _verdict(result: BenchResult, sheet: BenchSheet, piece: PieceFinding) -> PieceVerdict:
    noun = next((p for p in sheet.pieces if p.tag == piece.piece), None)
    kind = noun.line.designator if noun and noun.line else say("type unknown")
    found = [x for x in result.losses if x.piece == piece.piece]
    ends = [v for x in found for v in (x.loss_db_low, x.loss_db_high, x.catalogue_db or 0.0)]
    times, drawn = "", ""
    if piece.ratio is not None and piece.ratio_low is not None and piece.ratio_high is not None:
        low, high = plain(piece.ratio_low, 2), plain(piece.ratio_high, 2)
        times = say("{times} × ({low} to {high})", times=plain(piece.ratio, 2), low=low, high=high)
        drawn = bar(TIMES, piece.ratio_low, piece.ratio, piece.ratio_high, new=WORN)
    return PieceVerdict(
        piece.piece,
        say("{length} of {line}", length=metres(piece.length_m), line=kind),
        say(LEADS[piece.verdict], piece=piece.piece),
        piece.why,
        piece.verdict,
        tuple((use_name(u.use), use_answer(u), u.why) for u in piece.uses),
        growth_of(result, piece),
        tuple(_loss(result, x, scale_of(ends)) for x in found),
        VERDICT[piece.verdict],
        times,
        drawn,
        beyond_note() if any(x.extrapolated for x in found) else "",
    )


def _loss(result: BenchResult, x: LossFinding, scale: Scale) -> Loss:
    at, loss, arrives, new, times = loss_cells(x)
    return Loss(
        at,
        loss,
        bar(scale, x.loss_db_low, x.loss_db, x.loss_db_high, new=x.catalogue_db),
        arrives,
        new,
        times,
        tuple(together([h.meter, hand_cell(h)]) for h in x.by_hand),
        workings_of(result.workings, *((kind, x.piece, x.frequency_hz) for kind in OF_LOSS)),
    )


def _once(found: Sequence[NextReading]) -> list[NextReading]:
    """Return what to read next; what needs the same gear that is not there is proposed once."""
    return [n for i, n in enumerate(found) if n.needs is None or n.needs not in [o.needs for o in found[:i]]]


def _next(n: NextReading, free: set[str]) -> NextReadingLine:
    if n.meter is None or n.frequency_hz is None or n.path is None:
        return NextReadingLine(n.action, n.why, "", False, "", "", "", n.needs or "")
    path = n.path or REFERENCE
    ids = [slot_id(n.meter, n.frequency_hz, path, nth) for nth in range(4)]
    slot = next((i for i in ids if i in free), "")
    return NextReadingLine(n.action, n.why, slot, bool(slot), n.meter, frequency(n.frequency_hz), path)


def _meter(result: BenchResult, m: MeterFinding) -> MeterOnBand:
    at, exponent = frequency(m.frequency_hz), exponent_cell(m) or say("cannot tell")
    how = next(iter(workings_of(result.workings, ("exponent", m.meter, m.frequency_hz))), None)
    return MeterOnBand(m.meter, at, m.trust, exponent, m.why, how)


def mark_of(slot: Slot, said: ReadingNote, wrong: str = "") -> str:
    """Return a digest of everything a page shows of a line: while it is unchanged, the line need not be sent again.

    The small drawing is left out: it shows the same interval as the words do.
    """
    inputs = said.how.inputs if said.how else ()
    shown = (slot.id, slot.typed, slot.was, said.expected, said.mark, said.why, said.reach, inputs, wrong)
    return f"{crc32(repr(shown).encode()):08x}"


def slots_of(bands: Sequence[SheetBand]) -> dict[str, Slot]:
    """Return every line of a sheet by what it is called."""
    return {s.id: s for band in bands for bracket in band.brackets for s in bracket.slots}
