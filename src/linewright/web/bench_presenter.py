"""What the bench says, in the words of its page: verdicts, expected values, doubts, what to measure next."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from linewright.catalogue.cautions import cautions_of
from linewright.core.formatting import chance, frequency, interval, metres, percent, plain
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
from linewright.present.charts.strips import Scale, bar, scale_of
from linewright.web.bench_rows import REFERENCE, SheetBand, Slot, slot_id

DOUBT, LOOK = 0.5, 0.2
"""From which chance of being wrong a reading is doubted, and from which it is worth a second look."""
OF_LOSS = ("loss", "should lose", "by hand")
"""The workings that a loss opens to."""
ANSWER = {True: "yes", False: "no", None: "cannot tell"}
NOTHING_YET = "Nothing can be said yet: take the reference reading, then read through a piece."


@dataclass(frozen=True, slots=True)
class ReadingNote:
    """What stands beside a reading once it is in: what was expected, and a doubt with its reason."""

    expected: str = ""
    mark: str = ""
    why: str = ""
    how: Working | None = None


UNSAID = ReadingNote()


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


@dataclass(frozen=True, slots=True)
class Next:
    """A reading worth taking; ``slot`` is the line of the sheet it goes to, ``there`` whether the sheet has it."""

    action: str
    why: str
    slot: str
    there: bool
    meter: str
    frequency: str
    path: str


@dataclass(frozen=True, slots=True)
class MeterLine:
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
    next: tuple[Next, ...] = ()
    meters: tuple[MeterLine, ...] = ()
    remarks: tuple[str, ...] = ()
    cautions: tuple[str, ...] = cautions_of("prove")
    summary: str = NOTHING_YET
    read: int = 0
    lines: int = 0

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
        next=tuple(_next(n, {s.id for s in slots if s.kept is None}) for n in result.next),
        meters=tuple(_meter(result, m) for m in result.meters),
        remarks=result.remarks,
        cautions=result.cautions,
        summary=_summary(result.readings),
        read=read,
        lines=len(slots),
    )


def _summary(found: Sequence[ReadingFinding]) -> str:
    doubted = sum(r.p_wrong > DOUBT and r.checked for r in found)
    checked = sum(r.checked for r in found)
    if not checked:
        return "Nothing could be checked yet: no reading has others to be held against."
    doubt = {0: "None stands out against the rest.", 1: "One is to be doubted."}.get(doubted)
    return f"{checked} of {len(found)} readings could be checked. {doubt or f'{doubted} are to be doubted.'}"


def _said(r: ReadingFinding) -> ReadingNote:
    unit = SCALE_UNIT[r.scale]
    if r.expected is None or r.expected_low is None or r.expected_high is None:
        return ReadingNote("cannot tell", "", r.why)
    expected = interval(r.expected, r.expected_low, r.expected_high, "")
    if not r.checked:
        return ReadingNote(expected, "unchecked", r.why)
    mark = "doubted" if r.p_wrong > DOUBT else "perhaps" if r.p_wrong >= LOOK else ""
    why = f"{chance(r.p_wrong)} likely to be wrong. {r.why}" if mark else ""
    return ReadingNote(expected, mark, why, _expected_working(r, expected, unit))


def _expected_working(r: ReadingFinding, expected: str, unit: str) -> Working:
    at = f"{r.path} on the {r.meter} at {frequency(r.frequency_hz)}"
    return Working(
        f"expected of {at}: {expected}",
        "the reading as if it were taken anew, from every other reading of the bench and the types' laws, this one left"
        " out",
        (("read", f"{r.reading:g} {unit}".strip()), ("chance that it is wrong", chance(r.p_wrong))),
        "The bench engine of this project; see docs/how-the-bench-works.md.",
        ("expected", r.row),
    )


def _verdict(result: BenchResult, sheet: BenchSheet, piece: PieceFinding) -> PieceVerdict:
    lead = f"{piece.piece}: cannot tell." if piece.verdict == "cannot tell" else f"{piece.piece} is {piece.verdict}."
    noun = next((p for p in sheet.pieces if p.tag == piece.piece), None)
    kind = noun.line.designator if noun and noun.line else "type unknown"
    found = [x for x in result.losses if x.piece == piece.piece]
    growth = next((f"{g.sentence} {g.check}" for g in result.growth if g.piece == piece.piece), "")
    ends = [v for x in found for v in (x.loss_db_low, x.loss_db_high, x.catalogue_db or 0.0)]
    return PieceVerdict(
        piece.piece,
        f"{metres(piece.length_m)} of {kind}",
        lead,
        piece.why,
        piece.verdict,
        tuple((u.use, ANSWER[u.ok], u.why) for u in piece.uses),
        growth if piece.verdict != "good" and piece.ratio is not None else "",
        tuple(_loss(result, x, scale_of(ends)) for x in found),
    )


def _loss(result: BenchResult, x: LossFinding, scale: Scale) -> Loss:
    at = frequency(x.frequency_hz)
    ratio = x.ratio is not None and x.ratio_low is not None and x.ratio_high is not None
    return Loss(
        at,
        interval(x.loss_db, x.loss_db_low, x.loss_db_high),
        bar(scale, x.loss_db_low, x.loss_db, x.loss_db_high, new=x.catalogue_db),
        percent(x.delivered_fraction),
        "" if x.catalogue_db is None else f"{plain(x.catalogue_db, 2)} dB",
        interval(x.ratio or 0.0, x.ratio_low or 0.0, x.ratio_high or 0.0, "") if ratio else "",
        tuple(f"{h.meter} {plain(h.loss_db, 2)} ± {plain(h.loss_db_u, 2)}" for h in x.by_hand),
        workings_of(result.workings, *((kind, x.piece, x.frequency_hz) for kind in OF_LOSS)),
    )


def _next(n: NextReading, free: set[str]) -> Next:
    if n.meter is None or n.frequency_hz is None or n.path is None:
        return Next(n.action, n.why, "", False, "", "", "")
    path = n.path or REFERENCE
    ids = [slot_id(n.meter, n.frequency_hz, path, nth) for nth in range(4)]
    slot = next((i for i in ids if i in free), "")
    return Next(n.action, n.why, slot, bool(slot), n.meter, frequency(n.frequency_hz), path)


def _meter(result: BenchResult, m: MeterFinding) -> MeterLine:
    at = frequency(m.frequency_hz)
    exponent = "cannot tell"
    if m.exponent is not None and m.exponent_low is not None and m.exponent_high is not None:
        exponent = interval(m.exponent, m.exponent_low, m.exponent_high, "")
    how = next(iter(workings_of(result.workings, ("exponent", m.meter, m.frequency_hz))), None)
    return MeterLine(m.meter, at, m.trust, exponent, m.why, how)


def slots_of(bands: Sequence[SheetBand]) -> dict[str, Slot]:
    """Return every line of a sheet by what it is called."""
    return {s.id: s for band in bands for bracket in band.brackets for s in bracket.slots}
