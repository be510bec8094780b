"""See through a line: from what the radio end shows to the antenna behind it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from linewright.catalogue.cautions import cautions_of
from linewright.core.errors import InputError, UnknownNameError
from linewright.core.messages import say
from linewright.core.nouns.station import Antenna, LinePart, SplitterPart, TransformerPart, TunerPart
from linewright.core.nouns.through import LineBehind, Seen, ThroughResult
from linewright.inference.load.see import behind_belief, behind_loss

if TYPE_CHECKING:
    from linewright.core.nouns.line import LineType
    from linewright.core.nouns.station import Station
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
        Which point of a curve the headline speaks of, hertz; without it, the one of the lowest SWR.

    Returns
    -------
    ThroughResult
        The same input always gives the same answer.

    Raises
    ------
    InputError
        If a file breaks a rule, the curve does not reach ``at_hz``, or a frequency is needed that nobody stated.

    References
    ----------
    ``|Γ antenna| = |Γ radio| 10^(A/10)`` for a matched loss of A dB, twice through the line: D. M. Pozar, Microwave
    Engineering, 4th ed., pages 81 to 82. With phase, equation 2.91 backwards.

    >>> from linewright.inference.load.seen import seen_swr
    >>> result = see_through(seen_swr(1.3), line_behind(loss_db=3.0))
    >>> round(result.plain_swr, 2), round(result.highest_swr_at_radio.value, 1)
    (1.7, 3.0)
    """
    from linewright.files.curve import read_curve
    from linewright.inference.load.see import through
    from linewright.present.compose.through_words import worded

    found = seen if isinstance(seen, Seen) else read_curve(seen)
    f = found.frequency_hz
    if at_hz is not None and f is not None and not f[0] * (1 - 1e-6) <= at_hz <= f[-1] * (1 + 1e-6):
        raise InputError(
            "at_hz",
            say(
                "must lie within the curve, {low} to {high} MHz",
                low=format(f[0] / 1e6, "g"),
                high=format(f[-1] / 1e6, "g"),
            ),
        )
    return replace(through(found, line, at_hz=at_hz, worded=worded), cautions=cautions_of("through"))


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
        The matched loss and the half width of its 95 % interval, dB; without the latter, ten per cent.
    at_hz : float, optional
        Where that loss holds, hertz; elsewhere it grows with √f.
    line, length_m : LineType or str, and float, optional
        The type and the length in metres.
    own : sequence of LineType
        The person's own types; they go before the catalogue's.

    Returns
    -------
    LineBehind
        Draws of its loss, and of its length where the type is known.

    Raises
    ------
    InputError
        If neither a loss nor a type with a length is given, or a number is out of range.

    >>> line_behind(line="RG-58C/U", length_m=20.0).has_phase
    True
    """
    if loss_db is not None:
        return behind_loss(loss_db, half_width_db, at_hz=at_hz)
    if line is None or length_m is None:
        raise InputError("line", say("must be told by a loss, or by a type and a length"))
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
    from linewright.inference.bench.pieces import beliefs_of

    beliefs = beliefs_of(read_bench_sheet(sheet, own))
    if tag not in beliefs:
        raise UnknownNameError(
            "piece",
            say("must be on the sheet; got {value}", value=repr(tag)),
            cure=say("It has {beliefs}.", beliefs=", ".join(beliefs)),
        )
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
    from linewright.verbs.cut import kept_factor
    from linewright.verbs.shelf_beliefs import belief_of_piece

    belief = belief_of_piece(ledger, tag).belief
    if belief is None:
        raise InputError("piece", say("must be measured, or of a known type; nothing is known of {tag}", tag=repr(tag)))
    return replace(behind_belief(belief, kept_factor(ledger, tag)), name=say("{piece}, {line}", piece=tag,
                   line=behind_belief(belief).name))  # fmt: skip


def kept_run_behind(
    ledger: Ledger, run: str, *, station: str | None = None, at_hz: float | None = None
) -> LineBehind:  # fmt: skip
    """Return all that lies between radio and antenna in a kept run, as one line.

    A run of one length of line is that line. Any other is a loss: the matched loss that its plan shows at one
    frequency, with the interval it has into a matched antenna.

    Parameters
    ----------
    at_hz : float, optional
        Where its loss is wanted; without it, the run's only frequency.

    Raises
    ------
    UnknownNameError
        If no kept station has such a run.
    InputError
        If the run has several frequencies and none is named, or holds a part that no reading is carried through.
    """
    from linewright.verbs.shelf_stations import station_of, the_station

    known = station_of(ledger, the_station(ledger, station, run=run))
    return run_behind(known, run, at_hz=at_hz)


def run_behind(station: Station, run: str, *, at_hz: float | None = None) -> LineBehind:
    """Return all that lies between radio and antenna in a run of a station; see ``kept_run_behind``."""
    from linewright.verbs.beliefs import Beliefs
    from linewright.verbs.plan import DRAWS, planned, the_run

    wanted, beliefs = the_run(station, run), Beliefs(station, DRAWS)
    stuck = next((p.name for p in wanted.chain if isinstance(p, TunerPart | TransformerPart | SplitterPart)), None)
    if stuck is not None:
        cure = say("Read the SWR on its antenna side, and name the line there: --loss, --line or --piece.")
        raise InputError(
            "run",
            say("must be line and matched parts alone; {name} holds {stuck}", name=wanted.name, stuck=stuck),
            cure=cure,
        )
    wanted, known = beliefs.of_run(wanted)
    if len(wanted.chain) == 1 and len(known) == 1:
        factor = next((p.velocity_factor for p in wanted.chain if isinstance(p, LinePart)), None)
        return behind_belief(next(iter(known.values())), factor)
    if at_hz is None and len(wanted.frequencies_hz) > 1:
        at = ", ".join(f"{f / 1e6:g} MHz" for f in wanted.frequencies_hz)
        raise InputError(
            "at", say("must be named; {name} works at {at}", name=wanted.name, at=at), cure=say('Add --at "144.3 MHz".')
        )
    matched = replace(wanted, frequencies_hz=(at_hz or wanted.frequencies_hz[0],), antenna=Antenna(swr=((0.0, 1.0),)))
    (budget,) = planned(replace(station, runs=(matched,)), None, beliefs).budgets
    (band,) = budget.bands
    half = 0.5 * (band.total_loss_db_high - band.total_loss_db_low)
    line = behind_loss(band.matched_loss_db, half, at_hz=band.frequency_hz)
    return replace(line, name=say("{run}, from the radio to the antenna, {line}", run=wanted.name, line=line.name))
