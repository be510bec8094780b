"""The standing of a piece: one verdict for shelf, label, report and page, by the same rule as on the bench."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from linewright.core.formatting import frequency, interval
from linewright.core.frozen import dataclass
from linewright.core.messages import say
from linewright.core.nouns.shelf import BelievedLoss, PieceBelief, Standing

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from linewright.core.nouns.belief import Belief
    from linewright.core.nouns.bench import Piece

    Floats = NDArray[np.float64]

SHOWN_HZ = (14.2e6, 144.3e6, 432.1e6)
"""Where a shelf shows losses."""
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

    losses: tuple[BelievedLoss, ...]
    standing: Standing
    why: str
    ratio: float | None = None
    ratio_low: float | None = None
    ratio_high: float | None = None


def standing_of(found: PieceBelief, piece: Piece, bands_hz: Sequence[float] = ()) -> Stand:
    """Return how a piece stands.

    Parameters
    ----------
    found : PieceBelief
        What is believed of it and from which tests; without a belief nothing is known, not even its type.
    piece : Piece
        The piece.
    bands_hz : sequence of float
        The bands it is judged over, in hertz; without them those it was measured on, else the bands a shelf shows.
    """
    belief, tested = found.belief, bool(found.evidence)
    if belief is None:
        return Stand((), "not measured", say("Nothing is known of its loss yet."))
    bands_hz = bands_hz or _measured(belief)
    losses, log_times = _losses(belief, piece, bands_hz)
    most = losses[-1]
    loss, at = interval(most.loss_db, most.loss_db_low, most.loss_db_high), frequency(most.frequency_hz)
    if log_times is None or piece.line is None:
        unknown = say("Its type is not known, so there is nothing to hold its loss against: {loss} at {frequency}.",
                      loss=loss, frequency=at)  # fmt: skip
        return Stand(losses, "cannot tell" if tested else "not measured", unknown)
    standing, why, ends = _judged(log_times, bands_hz, piece.line.designator, loss, at)
    if tested:
        return Stand(losses, standing, why, *ends)
    expected = say("What its type lets one expect: {loss} at {frequency}.", loss=loss, frequency=at)
    return Stand(losses, "not measured", *((why, *ends) if "stock" in belief.basis else (expected,)))


def _measured(belief: Belief) -> Sequence[float]:
    return sorted({f for f, _ in belief.measured}) or SHOWN_HZ


def _losses(belief: Belief, piece: Piece, bands_hz: Sequence[float]) -> tuple[tuple[BelievedLoss, ...], Floats | None]:
    """Return the losses by band, and draws of the log of the loss over the type's, (draws, bands)."""
    import numpy as np

    from linewright.inference.bench.findings import catalogue_db
    from linewright.inference.priors import DEFAULT

    draws = [belief.loss_db(f) for f in bands_hz]
    if piece.line is None:
        return tuple(BelievedLoss(f, *_middle_first(d)) for f, d in zip(bands_hz, draws, strict=True)), None
    new = [catalogue_db(piece, f, DEFAULT) for f in bands_hz]
    losses = tuple(
        BelievedLoss(f, *_middle_first(d), *_middle_first(d / n)) for f, d, n in zip(bands_hz, draws, new, strict=True)
    )
    return losses, np.stack([np.log(d / n) for d, n in zip(draws, new, strict=True)], axis=1)


def _ends(draws: Floats) -> tuple[float, float, float]:
    import numpy as np

    low, middle, high = (float(v) for v in np.quantile(draws, ENDS))
    return low, middle, high


def _middle_first(draws: Floats) -> tuple[float, float, float]:
    low, middle, high = _ends(draws)
    return middle, low, high


def _judged(
    log_times: Floats, bands_hz: Sequence[float], line: str, loss: str, at: str
) -> tuple[Standing, str, tuple[float, float, float]]:
    """Return the verdict that the same losses would get on a bench, its reason, and the multiple with its interval."""
    import numpy as np

    from linewright.inference.against_type import Multiple, against_type, lone_band
    from linewright.inference.bench.verdicts import TOO_GOOD

    ratio, lone = np.exp(log_times.mean(axis=1)), lone_band(log_times, bands_hz)
    low, middle, high = _ends(ratio)
    times = Multiple(line, low, middle, high, lambda limit: float(np.mean(ratio > limit)), loss, at, lone)
    standing, why = against_type(times, too_good=TOO_GOOD)
    return standing, why, (middle, low, high)
