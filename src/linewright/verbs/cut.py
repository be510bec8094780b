"""Lengths that must match: lines compared in degrees, matched sets, and where to cut one; kept in the ledger."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import date
from typing import TYPE_CHECKING

from linewright.catalogue.cautions import cautions_of
from linewright.core.errors import InputError, UnknownNameError
from linewright.core.formatting import frequency
from linewright.core.frozen import dataclass
from linewright.core.messages import say
from linewright.core.nouns.cut import CutResult, CutTo, ElectricalLine, Purpose
from linewright.core.nouns.paper import Label
from linewright.core.nouns.sweep import Interval
from linewright.verbs.shelf_open import By
from linewright.verbs.swept_line import far_end_of, line_of, swept_factor

if TYPE_CHECKING:
    from linewright.core.nouns.bench import Piece
    from linewright.core.nouns.line import LineType
    from linewright.core.nouns.one_end import OneEndTest
    from linewright.core.nouns.shelf import Kept
    from linewright.inference.lengths import Slowness
    from linewright.store.ledger import Ledger
    from linewright.verbs.shelf_evidence import Shelved

MOST_LINES = 40
MOST_DEG = 36_000.0
NOW = By()


@dataclass(frozen=True, slots=True)
class CutQuestion:
    """What is asked of some lines.

    Attributes
    ----------
    at_hz : tuple of float
        Frequencies, rising.
    decides : int
        The number of the one that decides.
    set_of : int, optional
        How many go together: two for a pair of stacked antennas.
    target_deg : float, optional
        How long the first line is to be; with ``beyond``, how much longer than that other line.
    purpose : str
        "line", "open stub" or "shorted stub".
    beyond : str, optional
        The name of another of the lines.
    load_ohm : complex, optional
        What stands at the end of the line once cut, as written in ``load``; ``lines`` alike ones end side by side.
    """

    at_hz: tuple[float, ...]
    decides: int = 0
    set_of: int | None = None
    target_deg: float | None = None
    purpose: Purpose = "line"
    beyond: str | None = None
    load_ohm: complex | None = None
    load: str = ""
    lines: int = 1


def over(at_hz: Iterable[float] = (), band: str | None = None) -> CutQuestion:
    """Return a question about frequencies, or a whole band of amateur radio: its edges, and its middle, which decides.

    Raises
    ------
    InputError
        If nothing is told, or both are.

    >>> over(band="2 m").at_hz
    (144000000.0, 146000000.0, 148000000.0)
    """
    from linewright.catalogue.bands import band as band_of

    hertz = tuple(sorted(set(at_hz)))
    if bool(hertz) == (band is not None):
        cure = say('Say --at "145 MHz", or --band "2 m".')
        both = say("must be told by a frequency or by a band, not by both")
        raise InputError("frequency", both if hertz else say("must be told by a frequency or by a band"), cure=cure)
    if band is None:
        return CutQuestion(hertz, len(hertz) // 2)
    found = band_of(band)
    return CutQuestion((found.low_hz, 0.5 * (found.low_hz + found.high_hz), found.high_hz), 1)


def asked_of(  # noqa: PLR0913 - all that can be asked, as written
    at_hz: Iterable[float] = (), band: str | None = None, *, to: str | None = None, stub: str | None = None,
    beyond: str | None = None, load: str | None = None, side_by_side: int = 1, sets_of: int | None = None,
) -> CutQuestion:  # fmt: skip
    """Return a question as people write it: ``to`` "quarter wave", ``stub`` "open" or "short", ``load`` "50 ohm".

    Raises
    ------
    InputError
        If something cannot be read, or a length and sets are asked for at once.

    >>> asked_of([145e6], to="3/4 wave").target_deg
    270.0
    """
    from linewright.files import station_fields

    if to is not None and sets_of is not None:
        raise InputError("sets of", say("cannot stand beside a length: first cut one, then match the others to it"))
    purposes: dict[str | None, Purpose] = {None: "line", "open": "open stub", "short": "shorted stub"}
    if stub not in purposes:
        raise InputError("stub", say("must be open or short; got {value}", value=repr(stub)))
    ohm = None if load is None else station_fields.impedance(load, "load")
    return replace(
        over(at_hz, band), target_deg=None if to is None else station_fields.cut_deg(to, "to"),
        purpose=purposes[stub], beyond=beyond, load_ohm=ohm, load=load or "", lines=side_by_side, set_of=sets_of,
    )  # fmt: skip


def plan_cut(lines: Sequence[ElectricalLine], asked: CutQuestion) -> CutResult:
    """Compare lines by their electrical length, and say where to cut.

    Parameters
    ----------
    lines : sequence of ElectricalLine
        As ``swept_line`` or ``kept_line`` return them, all at the frequencies of the question. The first is the one to
        cut where a length is asked for.
    asked : CutQuestion
        Frequencies, and what is wanted: compared, in sets, or the first one cut.

    Returns
    -------
    CutResult
        How each line differs from the shortest, sets that go together, and where to cut the first.

    Raises
    ------
    InputError
        If there are no lines, or too few for what is asked.

    >>> from linewright.verbs.examples import demo_file
    >>> from linewright.verbs.swept_line import swept_line
    >>> drum = swept_line([demo_file("drum.s2p")], [144.3e6])
    >>> round(plan_cut([drum], CutQuestion((144.3e6,), target_deg=90.0)).cut.length_m, 2)
    0.4
    """
    from linewright.inference import lengths
    from linewright.present.compose.cut import verdict
    from linewright.verbs.cut_workings import workings

    _checked(lines, asked)
    at = asked.decides
    slow = lengths.slowness(lines, at)
    pieces = tuple(lengths.piece_of(x, slow[x.family]) for x in lines)
    pairs = tuple(lengths.pairs_of(lines, slow, at)) if len(lines) > 1 else ()
    sets, spare = lengths.matched_sets(lines, asked.set_of, slow, at) if asked.set_of else ((), ())
    cut = None if asked.target_deg is None else _cut(lines, slow, asked)
    bare = CutResult(
        "", pieces, pairs, sets, spare, cut, cautions_of("cut"), _remarks(lines, cut),
        workings(lines, slow, pairs, cut, at),
    )  # fmt: skip
    return replace(bare, verdict=verdict(bare))


def _checked(lines: Sequence[ElectricalLine], asked: CutQuestion) -> None:
    if not 1 <= len(lines) <= MOST_LINES:
        raise InputError(
            "pieces",
            say("must be 1 to {most_lines}; got {value}", most_lines=MOST_LINES, value=len(lines)),
            cure=say("Name pieces or files."),
        )
    names = [x.name for x in lines]
    twice = next((n for n in names if names.count(n) > 1), None)
    if twice is not None:
        raise InputError("pieces", say("must each be named once; {twice} stands twice", twice=repr(twice)))
    if len(lines) < 2 and asked.target_deg is None:
        cure = say('Name another piece to compare it with, or say --to "quarter wave".')
        raise InputError("pieces", say("must be two or more to be compared"), cure=cure)
    if asked.set_of is not None and not 2 <= asked.set_of <= len(lines):
        raise InputError(
            "sets of",
            say("must be 2 to the {count} pieces there are; got {value}", count=len(lines), value=asked.set_of),
        )
    if asked.target_deg is not None and not 0.0 < asked.target_deg <= MOST_DEG:
        raise InputError(
            "to",
            say(
                "must lie above 0 and be at most {most} degrees; got {value}",
                most=format(MOST_DEG, "g"),
                value=format(asked.target_deg, "g"),
            ),
        )
    if asked.beyond is not None and (asked.beyond not in names[1:] or asked.target_deg is None):
        cure = say(
            'Name it after the piece to be cut, with --to: linewright cut red 1 red 2 --to "90 deg" --beyond "red 2".'
        )
        raise UnknownNameError(
            "beyond", say("must be another of the pieces; got {value}", value=repr(asked.beyond)), cure=cure
        )
    if asked.target_deg is None and (asked.load_ohm is not None or asked.purpose != "line"):
        raise InputError("to", say("is missing: a stub and a load need a length"), cure=say('Say --to "quarter wave".'))
    if asked.purpose != "line" and (asked.load_ohm is not None or asked.beyond is not None):
        raise InputError("stub", say("ends open or shorted: it has no load, and no line to be longer than"))


def _cut(lines: Sequence[ElectricalLine], slow: Mapping[str, Slowness], asked: CutQuestion) -> CutTo:
    import numpy as np

    from linewright.inference import lengths

    first, at = lines[0], asked.decides
    assert asked.target_deg is not None
    target, u = float(np.radians(asked.target_deg)), 0.0
    if asked.beyond is not None:
        other = next(x for x in lines if x.name == asked.beyond)
        target, u = target + float(other.phase_rad[at]), float(other.phase_u_rad[at])
    cut = lengths.cut_to(
        first, slow[first.family], at, target, asked.purpose, target_u_rad=u, beyond=asked.beyond
    )  # fmt: skip
    if asked.purpose != "line":
        return replace(cut, stub=lengths.stub_losses(first, cut))
    if asked.load_ohm is None:
        return cut
    return replace(cut, transformed=lengths.transformed(first, cut, asked.load_ohm, asked.load, asked.lines))


def _remarks(lines: Sequence[ElectricalLine], cut: CutTo | None) -> tuple[str, ...]:
    said = []
    guessed = [x.name for x in lines if x.basis == "its type"]
    if guessed:
        said.append(say(
            "No measurement gives the electrical length of {pieces}: sweep it through, or open and shorted from one "
            "end, or find where it is resonant.", pieces=guessed[0] if len(guessed) == 1 else ", ".join(guessed)
        ))  # fmt: skip
    if len(lines) > 1 and len({x.basis for x in lines}) == 1 and lines[0].basis == "swept":
        said.append(say(
            "Each phase has its own uncertainty here. Two lines swept one after the other, with one calibration and "
            "the same adapters, share errors and differ less than stated."
        ))  # fmt: skip
    if cut is not None and cut.purpose != "line":
        said.append(say(
            "Measure the length of a stub from the middle of its tee: take off half the length of the tee."
        ))  # fmt: skip
    return tuple(said)


# What the ledger keeps of a piece


def kept_line(ledger: Ledger, tag: str, at_hz: Sequence[float]) -> ElectricalLine:
    """Return a piece of the ledger by its newest sweep, else by where it is resonant, else by its type and tape length.

    Parameters
    ----------
    ledger : Ledger
        Where it is kept.
    tag : str
        The piece, by its tag or one it had before.
    at_hz : sequence of float
        Where its phase is wanted, in hertz.

    Returns
    -------
    ElectricalLine
        Phases in radians at those frequencies, shape (f,), with their doubt, and how they are known.

    Raises
    ------
    UnknownNameError
        If there is no such piece.
    InputError
        If nothing tells its electrical length: neither a test nor its type.

    >>> from linewright.verbs.examples import example_ledger
    >>> with example_ledger() as ledger:
    ...     line = kept_line(ledger, "blue 7", [144.3e6])
    >>> line.basis, line.phase_rad.shape
    ('its type', (1,))
    """
    return kept_lines(ledger, [tag], at_hz)[0]


def kept_lines(ledger: Ledger, tags: Sequence[str], at_hz: Sequence[float]) -> tuple[ElectricalLine, ...]:
    """Return several pieces as ``kept_line`` does, read at once."""
    from linewright.store import items
    from linewright.verbs.shelf_evidence import Shelved

    with ledger.reads() as snapshot:
        shelf = Shelved.of(snapshot)
        pieces = shelf.nouns([items.needed(snapshot, "piece", tag) for tag in tags])
        return tuple(_kept(shelf, piece, at_hz) for piece in pieces)


def _kept(shelf: Shelved, piece: Piece, at_hz: Sequence[float]) -> ElectricalLine:
    from linewright.verbs.shelf_beliefs import believed

    belief = believed(shelf, piece).belief
    loss = None if belief is None else belief.loss_db
    found, why_not = _by_sweep(shelf, piece, at_hz)
    found = found or _by_resonance(shelf, piece, at_hz) or _by_type(piece, at_hz)
    if found is None:
        cure = say("Sweep it, or state its type.")
        said = f"; its sweep does not: {why_not}" if why_not else ""
        raise InputError(
            "piece",
            say("must be swept or of a known type; nothing tells {tag}{said}", tag=repr(piece.tag), said=said),
            cure=cure,
        )
    return replace(found, loss_db=found.loss_db or loss, stock=piece.stock)


def _by_sweep(shelf: Shelved, piece: Piece, at_hz: Sequence[float]) -> tuple[ElectricalLine | None, str]:
    """Return the line by its newest sweep that tells a phase there, or why none does."""
    from linewright.files.touchstone import read_touchstone_text
    from linewright.verbs.shelf_evidence import _together

    why = ""
    groups = _together([e for e in shelf.evidence(piece.tag) if e.kind == "sweep"], shelf)
    for group in reversed(groups):
        sweeps = {far_end_of(end): read_touchstone_text(body, name) for name, body, end in shelf.sweep_texts(group)}
        try:
            found = line_of(piece.tag, sweeps, at_hz, (piece.length_m, None, piece.line), piece.connectors)
        except InputError as error:
            why = why or str(error)
            continue
        day = say("{basis}, of {day}", basis=found.why, day=group[-1].measured_on)
        return replace(found, why=day), ""
    return None, why


def _by_resonance(shelf: Shelved, piece: Piece, at_hz: Sequence[float]) -> ElectricalLine | None:
    """Return the line by where its open or shorted end was found resonant."""
    tests = [
        test
        for e in reversed(shelf.evidence(piece.tag))
        if e.kind == "sheet"
        for test in shelf.written(e.key).sheet().one_end
        if test.tag == piece.tag
    ]
    return next((found for test in tests if (found := resonant_line(test, piece, at_hz)) is not None), None)


def resonant_line(test: OneEndTest, piece: Piece, at_hz: Sequence[float]) -> ElectricalLine | None:
    """Return a line by the resistances at resonance of a test with one end in hand; None where they tell nothing."""
    import numpy as np

    from linewright.core.quantities import TWO_PI
    from linewright.inference import lengths

    if piece.line is None:
        return None
    usual, own = test.impedance_ohm or piece.line.impedance_ohm, piece.line.velocity_factor
    found = [
        lengths.Resonance(r.frequency_hz, r.value < usual, r.far_end == "open")
        for r in test.readings
        if r.quantity == "resistance_ohm" and r.far_end in ("open", "short")
    ]
    phase, u = lengths.by_type(piece.length_m, piece.connectors, (own, lengths.TYPICAL * own), (1.0,))
    delay = lengths.from_resonances(found, (float(phase[0] / TWO_PI), float(u[0] / TWO_PI)))
    if delay is None:
        return None
    omega = TWO_PI * np.asarray(at_hz, dtype=np.float64)
    where = ", ".join(frequency(r.frequency_hz) for r in found)
    return ElectricalLine(
        piece.tag, "resonance", np.asarray(at_hz, dtype=np.float64), omega * delay[0], omega * delay[1], piece.length_m,
        piece.connectors, piece.line, Interval(*(piece.line.impedance_ohm,) * 3),
        why=say("by where it is resonant: {where}", where=where),
    )  # fmt: skip


def _by_type(piece: Piece, at_hz: Sequence[float]) -> ElectricalLine | None:
    if piece.line is None:
        return None
    return typed_line(piece.tag, piece.line, piece.length_m, at_hz, connectors=piece.connectors)


def typed_line(
    name: str, line: LineType, length_m: float, at_hz: Sequence[float], *, connectors: int = 2
) -> ElectricalLine:
    """Return a line that nobody measured: its length by tape and the velocity factor of its type."""
    import numpy as np

    from linewright.catalogue.belief import catalogue_belief
    from linewright.core.nouns.bench import Piece
    from linewright.inference import lengths

    own = line.velocity_factor
    phase, u = lengths.by_type(length_m, connectors, (own, lengths.TYPICAL * own), at_hz)
    loss = catalogue_belief(Piece(name, length_m, line, connectors)).loss_db
    return ElectricalLine(
        name, "its type", np.asarray(at_hz, dtype=np.float64), phase, u, length_m, connectors, line,
        Interval(*(line.impedance_ohm,) * 3), loss,
        why=say("by the velocity factor of {line}, {factor}, and its length by tape", line=line.designator,
                factor=f"{own:g}"),
    )  # fmt: skip


def kept_factor(ledger: Ledger, tag: str) -> float | None:
    """Return the velocity factor that the sweeps kept of a piece tell, the newest first; None where none does."""
    from linewright.files.touchstone import read_touchstone_text
    from linewright.store import items
    from linewright.verbs.shelf_evidence import Shelved

    with ledger.reads() as snapshot:
        shelf = Shelved.of(snapshot)
        (piece,) = shelf.nouns([items.needed(snapshot, "piece", tag)])
        kept = shelf.sweep_texts([e for e in shelf.evidence(piece.tag) if e.kind == "sweep"])
    return swept_factor(piece, [(far_end_of(end), read_touchstone_text(body, name)) for name, body, end in kept])


# Done: labels for it, and what was cut kept in the ledger


def cut_labels(result: CutResult) -> tuple[Label, ...]:
    """Return a label for every line that is to be cut, with what to trim from it.

    Parameters
    ----------
    result : CutResult
        What :func:`plan_cut` said.

    Returns
    -------
    tuple of Label
        One for each, none where nothing is to be cut.

    Raises
    ------
    InputError
        If the result is none of a cut.

    >>> from linewright.verbs.examples import demo_file
    >>> from linewright.verbs.swept_line import swept_line
    >>> asked = CutQuestion((144.3e6,), target_deg=90.0)
    >>> [label.purpose for label in cut_labels(plan_cut([swept_line([demo_file("drum.s2p")], [144.3e6])], asked))]
    ['line, 90° at 144.3 MHz']
    """
    from linewright.present.compose.cut import order_words, purpose_words

    lengths = {p.piece: p for p in result.pieces}
    orders = order_words(result)
    return tuple(
        Label(tag, lengths[tag].line, lengths[tag].length_m or 0.0, order=words, purpose=purpose_words(result, tag))
        for tag, words in orders.items()
    )


def trimmed_lengths(result: CutResult) -> dict[str, float]:
    """Return how long each piece is after it was cut as told, in metres by tape; those that stay are left out.

    Raises
    ------
    InputError
        If nothing is to be cut, or a piece has no length.
    """
    if result.cut is not None:
        trims = {result.cut.piece: result.cut.trim_m if result.cut.way != "too short" else None}
    elif result.sets:
        trims = {t.piece: t.trim_m for s in result.sets for t in s.trims if t.trim_m > 0.0}
    else:
        trims = {d.longer: d.trim_m for d in result.differences if d.told}
    out = {}
    for p in result.pieces:
        trim = trims.get(p.piece)
        if trim is None:
            continue
        if p.length_m is None or not 0.0 < trim < p.length_m:
            raise InputError(
                "apply", say("needs a length that is longer than the cut; {piece} has none such", piece=p.piece)
            )
        out[p.piece] = p.length_m - trim
    if not out:
        raise InputError("apply", say("has nothing to do: nothing is to be cut"))
    return out


def apply_cut(
    ledger: Ledger, result: CutResult, *, on: date | None = None, by: By = NOW
) -> tuple[Kept, ...]:  # fmt: skip
    """Shorten the pieces in the ledger as they were cut; what was known of each passes on to what is left.

    Parameters
    ----------
    ledger : Ledger
        Where the pieces are kept.
    result : CutResult
        What :func:`plan_cut` said of pieces of this ledger.
    on : date, optional
        The day it is done; today unless told.
    by : By
        Who does it, when, with which note.

    Returns
    -------
    tuple of Kept
        The pieces as they are kept now, in the order of the result.

    Raises
    ------
    InputError
        If nothing is to be cut, or a piece is not on the shelf.

    >>> from linewright.verbs.examples import example_ledger
    >>> with example_ledger() as ledger:
    ...     lines = [kept_line(ledger, tag, [7.1e6]) for tag in ("blue 18", "blue 7")]
    ...     (piece,) = apply_cut(ledger, plan_cut(lines, CutQuestion((7.1e6,))))
    ...     piece.item.key
    'blue 18 a'
    """
    from linewright.verbs.shelf_lives import shorten

    return tuple(
        shorten(ledger, tag, f"{length:.4f} m", on=on, by=by) for tag, length in trimmed_lengths(result).items()
    )


__all__ = [
    "CutQuestion", "apply_cut", "asked_of", "cut_labels", "kept_factor", "kept_line", "kept_lines", "over", "plan_cut",
    "resonant_line", "trimmed_lengths", "typed_line",
]  # fmt: skip
