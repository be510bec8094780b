"""Labels to tie on the pieces of a shelf: what is believed of each, and the sheets they are printed on."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import TYPE_CHECKING

from linewright.core.formatting import frequency, interval, metres
from linewright.core.messages import say
from linewright.core.nouns.bench_result import Working
from linewright.core.nouns.paper import Label, Labels, Standing
from linewright.core.nouns.shelf import BandLoss, PieceBelief, ShelfPiece
from linewright.store import items
from linewright.store.ledger import Ledger
from linewright.verbs.shelf_beliefs import SHOWN_HZ, believed, list_shelf, reminder_of, show_piece
from linewright.verbs.shelf_evidence import Shelved
from linewright.verbs.shelf_open import today

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from linewright.core.nouns.belief import Belief
    from linewright.core.nouns.bench import Piece

    Floats = NDArray[np.float64]

# How a piece of the shelf stands: one verdict for its label and its report, by the rule that a bench goes by

ENDS = (0.025, 0.5, 0.975)


@dataclass(frozen=True, slots=True)
class Stand:
    """How a piece stands.

    Attributes
    ----------
    losses : tuple of BandLoss
        What is believed of its loss, band by band.
    standing : str
        The verdict over these bands together.
    why : str
        The sentence that gives its reason.
    ratio, ratio_low, ratio_high : float, optional
        The loss over these bands as a multiple of what its type should lose, with its 95 % interval.
    """

    losses: tuple[BandLoss, ...]
    standing: Standing
    why: str
    ratio: float | None = None
    ratio_low: float | None = None
    ratio_high: float | None = None


def standing_of(row: ShelfPiece, piece: Piece, belief: Belief | None, bands_hz: Sequence[float] = ()) -> Stand:
    """Return how a piece stands.

    Parameters
    ----------
    row : ShelfPiece
        What the shelf says of it: how often it was tested, and what its belief rests on.
    piece : Piece
        The piece.
    belief : Belief, optional
        What is believed of it; without one nothing is known, not even its type.
    bands_hz : sequence of float
        The bands it is judged over, in hertz; without them those it was measured on, else the bands a shelf shows.
    """
    if belief is None:
        return Stand((), "not measured", say("Nothing is known of its loss yet."))
    losses, ratio = _losses(belief, piece, bands_hz or _measured(belief))
    most = losses[-1]
    loss, at = interval(most.loss_db, most.loss_db_low, most.loss_db_high), frequency(most.frequency_hz)
    if ratio is None or piece.line is None:
        unknown = say("Its type is not known, so there is nothing to hold its loss against: {loss} at {frequency}.",
                      loss=loss, frequency=at)  # fmt: skip
        return Stand(losses, "cannot tell" if row.tests else "not measured", unknown)
    standing, why, ends = _judged(ratio, piece.line.designator, loss, at)
    if row.tests:
        return Stand(losses, standing, why, *ends)
    expected = say("What its type lets one expect: {loss} at {frequency}.", loss=loss, frequency=at)
    return Stand(losses, "not measured", *((why, *ends) if "stock" in row.basis else (expected,)))


def _measured(belief: Belief) -> Sequence[float]:
    return sorted({f for f, _ in belief.measured}) or SHOWN_HZ


def _losses(belief: Belief, piece: Piece, bands_hz: Sequence[float]) -> tuple[tuple[BandLoss, ...], Floats | None]:
    """Return the losses by band, and draws of the multiple of the type's loss over all of them."""
    import numpy as np

    from linewright.inference.bench.findings import catalogue_db
    from linewright.inference.priors import DEFAULT

    draws = [belief.loss_db(f) for f in bands_hz]
    if piece.line is None:
        return tuple(BandLoss(f, *_middle_first(d)) for f, d in zip(bands_hz, draws, strict=True)), None
    new = [catalogue_db(piece, f, DEFAULT) for f in bands_hz]
    losses = tuple(
        BandLoss(f, *_middle_first(d), *_middle_first(d / n)) for f, d, n in zip(bands_hz, draws, new, strict=True)
    )
    return losses, np.exp(np.mean([np.log(d / n) for d, n in zip(draws, new, strict=True)], axis=0))


def _ends(draws: Floats) -> tuple[float, float, float]:
    import numpy as np

    low, middle, high = (float(v) for v in np.quantile(draws, ENDS))
    return low, middle, high


def _middle_first(draws: Floats) -> tuple[float, float, float]:
    low, middle, high = _ends(draws)
    return middle, low, high


def _judged(ratio: Floats, line: str, loss: str, at: str) -> tuple[Standing, str, tuple[float, float, float]]:
    """Return the verdict that the same losses would get on a bench, its reason, and the multiple with its interval."""
    import numpy as np

    from linewright.inference.against_type import Multiple, against_type
    from linewright.inference.bench.verdicts import TOO_GOOD

    low, middle, high = _ends(ratio)
    times = Multiple(line, low, middle, high, lambda limit: float(np.mean(ratio > limit)), loss, at)
    standing, why = against_type(times, too_good=TOO_GOOD)
    return standing, why, (middle, low, high)


# Labels to tie on the pieces of a shelf: what is believed of each, and the sheets they are printed on


def label_pieces(
    ledger: Ledger, tags: Sequence[str] | None = None, *, bands_hz: Sequence[float] = (), on: date | None = None
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
    rows = (
        list_shelf(ledger, on=on).pieces if tags is None
        else [show_piece(ledger, tag, on=on) for tag in dict.fromkeys(tags)]
    )  # fmt: skip
    with ledger.reads() as snapshot:
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
    stand = standing_of(row, piece, known.belief, bands_hz)
    return replace(
        bare, losses=stand.losses, standing=stand.standing, ratio=stand.ratio, ratio_low=stand.ratio_low,
        ratio_high=stand.ratio_high,
    )  # fmt: skip


def _how(label: Label, row: ShelfPiece, x: BandLoss) -> Working:
    name = say("loss of {piece} at {frequency}: {loss}", piece=label.tag, frequency=frequency(x.frequency_hz),
               loss=interval(x.loss_db, x.loss_db_low, x.loss_db_high))  # fmt: skip
    inputs = (
        (say("length"), metres(label.length_m)), (say("type"), label.line or say("unknown type")),
        (say("rests on"), row.basis),
    )  # fmt: skip
    formula = say("length · (conductor part · G + dielectric part · G · H) · departure + connectors + joints")
    return Working(name, formula, inputs, "docs/how-the-bench-works.md, docs/how-the-ledger-works.md",
                   ("loss", label.tag, x.frequency_hz))  # fmt: skip
