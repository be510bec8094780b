"""See through a line: from what the radio end shows to the antenna behind it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from linewright.catalogue.cautions import cautions_of
from linewright.core.errors import InputError, UnknownNameError
from linewright.core.nouns.through import LineBehind, Seen, ThroughResult
from linewright.inference.load.see import behind_belief, behind_loss

if TYPE_CHECKING:
    from linewright.core.nouns.line import LineType
    from linewright.store.ledger import Ledger


def see_through(seen: Seen | Path | str, line: LineBehind, *, at_hz: float | None = None) -> ThroughResult:
    """Return what stands behind a line: the antenna's SWR with its interval, and its curve where one was seen.

    Parameters
    ----------
    seen : Seen or Path or str
        What was seen at the radio (``evidence.through.seen``), or the file of a curve: CSV or Touchstone.
    line : LineBehind
        What is believed of the line; see ``line_behind``.
    at_hz : float, optional
        Which point of a curve the headline speaks of; without it, the one of the lowest SWR.

    Returns
    -------
    ThroughResult
        The same input always gives the same answer.

    Raises
    ------
    InputError
        If a file breaks a rule, the curve does not reach ``at_hz``, or a frequency is needed that nobody stated.

    >>> from linewright.inference.load.seen import seen_swr
    >>> result = see_through(seen_swr(1.3), line_behind(loss_db=3.0))
    >>> round(result.plain_swr, 2), round(result.highest_swr_at_radio.value, 1)
    (1.7, 3.0)
    """
    from linewright.files.curve import read_curve
    from linewright.inference.load.see import through

    found = seen if isinstance(seen, Seen) else read_curve(seen)
    f = found.frequency_hz
    if at_hz is not None and f is not None and not f[0] * (1 - 1e-6) <= at_hz <= f[-1] * (1 + 1e-6):
        raise InputError("at_hz", f"must lie within the curve, {f[0] / 1e6:g} to {f[-1] / 1e6:g} MHz")
    return replace(through(found, line, at_hz=at_hz), cautions=cautions_of("through"))


def line_behind(
    *,
    loss_db: float | None = None,
    half_width_db: float | None = None,
    at_hz: float | None = None,
    line: LineType | str | None = None,
    length_m: float | None = None,
    own: Sequence[LineType] = (),
) -> LineBehind:
    """Return the line between radio and antenna: a stated loss, or a type and a length by the catalogue.

    Parameters
    ----------
    loss_db, half_width_db : float, optional
        The matched loss and the half width of its 95 % interval; without the latter, ten per cent.
    at_hz : float, optional
        Where that loss holds; elsewhere it grows with √f.
    line, length_m : LineType or str, and float, optional
        The type and the length in metres.
    own : sequence of LineType
        The person's own types; they go before the catalogue's.

    >>> line_behind(line="RG-58C/U", length_m=20.0).has_phase
    True
    """
    if loss_db is not None:
        return behind_loss(loss_db, half_width_db, at_hz=at_hz)
    if line is None or length_m is None:
        raise InputError("line", "must be told by a loss, or by a type and a length")
    from linewright.catalogue import line_type
    from linewright.catalogue.belief import catalogue_belief
    from linewright.core.nouns.bench import Piece

    kind = line_type(line, own) if isinstance(line, str) else line
    return behind_belief(catalogue_belief(Piece("line", length_m, kind)))


def piece_behind(sheet: Path | str, tag: str, own: Sequence[LineType] = ()) -> LineBehind:
    """Return a piece as the readings of its bench sheet let one believe of it.

    Raises
    ------
    UnknownNameError
        If the sheet has no such piece.
    """
    from linewright.files.sheet import read_bench_sheet
    from linewright.inference.bench.prove import beliefs_of

    beliefs = beliefs_of(read_bench_sheet(sheet, own))
    if tag not in beliefs:
        raise UnknownNameError("piece", f"must be on the sheet; got {tag!r}", cure=f"It has {', '.join(beliefs)}.")
    return behind_belief(beliefs[tag])


def kept_piece_behind(ledger: Ledger, tag: str) -> LineBehind:
    """Return a piece as all its tests in a ledger let one believe of it.

    Raises
    ------
    UnknownNameError
        If the ledger has no such piece.
    InputError
        If nothing was measured of it and its type is not known.
    """
    from linewright.verbs.shelf_beliefs import belief_of_piece

    belief = belief_of_piece(ledger, tag).belief
    if belief is None:
        raise InputError("piece", f"must be measured, or of a known type; nothing is known of {tag!r}")
    return behind_belief(belief)
