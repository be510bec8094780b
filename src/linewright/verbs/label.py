"""Labels to tie on the pieces of a shelf: what is believed of each, and the sheets they are printed on."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import date
from typing import TYPE_CHECKING

from linewright.core.formatting import frequency, interval, metres
from linewright.core.messages import say
from linewright.core.nouns.bench_result import Working
from linewright.core.nouns.paper import Label, Labels
from linewright.core.nouns.shelf import BelievedLoss, PieceBelief, ShelfPiece
from linewright.store import items
from linewright.store.ledger import Ledger
from linewright.verbs.shelf_beliefs import Progress, believed, list_shelf, reminder_of, show_piece
from linewright.verbs.shelf_evidence import Shelved
from linewright.verbs.shelf_open import today
from linewright.verbs.standing import standing_of

if TYPE_CHECKING:
    from linewright.core.nouns.bench import Piece


def label_pieces(
    ledger: Ledger,
    tags: Sequence[str] | None = None,
    *,
    bands_hz: Sequence[float] = (),
    on: date | None = None,
    progress: Progress | None = None,
) -> Labels:
    """Return what stands on the labels of pieces.

    Parameters
    ----------
    ledger : Ledger
        The shelf.
    tags : sequence of str, optional
        The pieces, in the order wanted; without it, all on the shelf by tag.
    bands_hz : sequence of float
        The bands to show, in hertz; without them those the piece was measured on, else the bands a shelf shows.
    on : date, optional
        The day from which the next test is seen; without it, today.
    progress : callable, optional
        Called with the share done (0 to 1) and what is being done, as each sheet is judged.

    Returns
    -------
    Labels
        One for each piece: tag, type, length in metres, loss in dB by band with its 95 % interval, when tested.

    Raises
    ------
    UnknownNameError
        If there is no such piece.

    >>> from linewright.verbs.examples import example_ledger
    >>> with example_ledger() as ledger:
    ...     label_pieces(ledger, ["blue 7"]).labels[0].tag
    'blue 7'
    """
    with ledger.one_moment(), ledger.reads() as snapshot:
        rows = (
            list_shelf(ledger, on=on, progress=progress).pieces if tags is None
            else [show_piece(ledger, tag, on=on, progress=progress) for tag in dict.fromkeys(tags)]
        )  # fmt: skip
        shelf = Shelved.of(snapshot)
        pieces = shelf.nouns([items.needed(snapshot, "piece", row.tag) for row in rows])
        found = [(row, piece, believed(shelf, piece, on=on)) for row, piece in zip(rows, pieces, strict=True)]
    labels = tuple(_label(row, piece, known, bands_hz, today(on)) for row, piece, known in found)
    remarks = tuple(dict.fromkeys(r for row, _, known in found for r in (*_away(row), *known.remarks)))
    pairs = zip(labels, rows, strict=True)
    workings = tuple(_how(label, row, x) for label, row in pairs for x in label.losses)
    return Labels(labels, remarks, workings)


def _away(row: ShelfPiece) -> tuple[str, ...]:
    return (say("{piece} is put away.", piece=row.tag),) if row.archived else ()


def _label(row: ShelfPiece, piece: Piece, known: PieceBelief, bands_hz: Sequence[float], day: str) -> Label:
    line = piece.line
    diameter = line.figures.get("outer_diameter_m") if line else None
    bare = Label(
        row.tag, line.designator if line else row.line, row.length_m, tested_on=row.tested_on,
        retest_on=reminder_of(row, day).due_on if row.tested_on else None,
        diameter_m=float(diameter.value) if diameter else None,
    )  # fmt: skip
    stand = standing_of(known, piece, bands_hz)
    return replace(
        bare, losses=stand.losses, standing=stand.standing, ratio=stand.ratio, ratio_low=stand.ratio_low,
        ratio_high=stand.ratio_high,
    )  # fmt: skip


def _how(label: Label, row: ShelfPiece, x: BelievedLoss) -> Working:
    name = say("loss of {piece} at {frequency}: {loss}", piece=label.tag, frequency=frequency(x.frequency_hz),
               loss=interval(x.loss_db, x.loss_db_low, x.loss_db_high))  # fmt: skip
    inputs = (
        (say("length"), metres(label.length_m)), (say("type"), label.line or say("unknown type")),
        (say("rests on"), row.basis),
    )  # fmt: skip
    formula = say("length · (conductor part · G + dielectric part · G · H) · departure + connectors + joints")
    return Working(name, formula, inputs, "docs/how-the-bench-works.md, docs/how-the-ledger-works.md",
                   ("loss", label.tag, x.frequency_hz))  # fmt: skip
