"""How a piece of the shelf stands: one verdict for its label and its report, by the rule that a bench goes by."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from linewright.model.label import Standing
from linewright.model.shelf import BandLoss, ShelfPiece
from linewright.units.said import say
from linewright.units.writing import frequency, interval
from linewright.workflows.shelf_beliefs import SHOWN_HZ

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from linewright.model.belief import Belief
    from linewright.model.bench import Piece

    Floats = NDArray[np.float64]

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

    from linewright.evidence.findings import catalogue_db
    from linewright.evidence.priors import DEFAULT

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

    from linewright.evidence.against_type import Multiple, against_type
    from linewright.evidence.verdicts import TOO_GOOD

    low, middle, high = _ends(ratio)
    times = Multiple(line, low, middle, high, lambda limit: float(np.mean(ratio > limit)), loss, at)
    standing, why = against_type(times, too_good=TOO_GOOD)
    return standing, why, (middle, low, high)
