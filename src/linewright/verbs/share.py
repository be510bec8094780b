"""The verb: share out the pieces on hand among the runs that want feeding."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from pathlib import Path

from linewright.catalogue.cautions import cautions_of
from linewright.core.errors import InputError
from linewright.core.messages import say, together
from linewright.core.nouns.belief import Belief
from linewright.core.nouns.bench_result import NextReading
from linewright.core.nouns.choice import Need, Prices, Shared, Worth
from linewright.core.nouns.line import LineType
from linewright.core.nouns.station import LinePart, Run, Station
from linewright.verbs.beliefs import Beliefs
from linewright.verbs.plan import DRAWS, read

Progress = Callable[[float, str], None]
SYSTEM_OHM = 50.0
JUDGED = 0.4
"""Share of the work that is judging the evidence."""


def share_shelf(
    station: Station | Path | str,
    *,
    prices: Prices | None = None,
    budget: float = 0.0,
    own: Sequence[LineType] = (),
    progress: Progress | None = None,
) -> Shared:
    """Share out the pieces of a station among its runs that state a ``route``.

    A run without a route keeps the pieces it has. What stands in the chain of the others stays, but for their pieces,
    which are shared out anew. Losses are those of matched lines.

    Parameters
    ----------
    station : Station or Path or str
        The station, or the TOML file it stands in.
    prices : Prices, optional
        What may be bought.
    budget : float
        What may be spent, in the currency of the prices.
    own : sequence of LineType
        The person's own line types.
    progress : callable, optional
        Called with the share done (0 to 1) and what is being done.

    Returns
    -------
    Shared
        Which piece lies in which run, what to join and to buy, the loss of each run in dB, and what is left to gain.

    Raises
    ------
    InputError
        If no run states a route, or a budget stands without prices.

    References
    ----------
    An assignment problem, solved by branch and bound; proved best, or with the gap that is left.

    >>> from linewright.verbs.examples import demo_file
    >>> shared = share_shelf(demo_file("harbour-ridge-field-day.toml"))
    >>> shared.to_dict()["schema"]
    'linewright/share/1'
    """
    from linewright.choice.share import SharingQuestion, share_pieces

    known = read(station, own)
    runs = [run for run in known.runs if run.wishes.route_m is not None]
    if not runs:
        rule = say("must be stated for at least one run")
        raise InputError("route", rule, cure=say('Add route = "25 m" to the runs that share the pieces.'))
    if budget > 0 and prices is None:
        raise InputError("budget", say("needs prices to be spent at"), cure=say("Add --prices PRICES.csv."))
    tell = progress or (lambda share, what: None)
    beliefs = Beliefs(known, DRAWS, lambda share, what: tell(JUDGED * share, what))
    pool, remarks = _pool(known, runs, beliefs)
    offers = prices.offers if prices else ()
    question = SharingQuestion([_need(run) for run in runs], pool, offers, budget)
    shared = share_pieces(question, progress=lambda share, what: tell(JUDGED + (1 - JUDGED) * share, what))
    said = (*shared.remarks, *remarks, *(prices.remarks if prices else ()), *beliefs.remarks, *known.remarks)
    worth = tuple(_with_advice(w, known) for w in shared.worth)
    return replace(shared, worth=worth, cautions=cautions_of("share"), remarks=said)


def _need(run: Run) -> Need:
    wishes = run.wishes
    assert wishes.route_m is not None
    return Need(run.name, wishes.route_m, run.frequencies_hz, wishes.weight, wishes.impedance_ohm or SYSTEM_OHM)


def _pool(station: Station, runs: Sequence[Run], beliefs: Beliefs) -> tuple[Mapping[str, Belief], tuple[str, ...]]:
    """Return the beliefs of the pieces to share out, and remarks on the others."""
    kept = {
        part.piece.tag: run.name
        for run in station.runs
        if run not in runs
        for part in run.chain
        if isinstance(part, LinePart) and part.measured
    }
    free = {tag: piece for tag, piece in station.pieces.items() if tag not in kept}
    asked = tuple(sorted({f for run in runs for f in run.frequencies_hz}))
    parts = tuple(LinePart(tag, piece, measured=True) for tag, piece in free.items())
    _, found = beliefs.of_run(replace(runs[0], frequencies_hz=asked, chain=parts))
    said = [
        say("{piece} stays where it is, in {run}, which states no route.", piece=tag, run=name)
        for tag, name in kept.items()
    ]
    unknown = [tag for tag in free if tag not in found]
    if unknown:
        said.append(say("Left out, for nobody measured them and their type is not stated: {pieces}.",
                        pieces=together(unknown, ", ")))  # fmt: skip
    return found, tuple(said)


def _with_advice(worth: Worth, station: Station) -> Worth:
    """Return what a measurement is worth, with the reading its bench asks for next."""
    advice = _next_reading(worth.piece, station)
    if advice is None:
        return worth
    return replace(worth, why=together([worth.why, _advised(advice.action)]))


def _advised(action: str) -> str:
    if action.endswith("."):
        return say("Next on its bench: {reading}", reading=action)
    return say("Next on its bench: {reading}.", reading=action)


def _next_reading(piece: str, station: Station) -> NextReading | None:
    from linewright.verbs.prove import prove_cable

    for sheet in reversed([*station.sheets.values()]):  # the newest first
        if piece in {p.tag for p in sheet.pieces}:
            asked = prove_cable(sheet).next
            return next((n for n in asked if n.path and piece in n.path.split("+")), None)
    return None
