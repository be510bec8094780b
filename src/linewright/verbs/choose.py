"""The verb: choose a line for one run of a station."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from linewright.catalogue.cautions import cautions_of
from linewright.core.frozen import dataclass
from linewright.core.messages import say
from linewright.core.nouns.choice import Choice, Prices, Wishes
from linewright.core.nouns.line import LineType
from linewright.core.nouns.station import LinePart, Run, Station
from linewright.verbs.beliefs import Beliefs
from linewright.verbs.plan import DRAWS, read, the_run

if TYPE_CHECKING:
    from linewright.choice import choose


def choose_for(
    station: Station | Path | str,
    run: str,
    prices: Prices,
    *,
    own: Sequence[LineType] = (),
    progress: Callable[[float, str], None] | None = None,
    beliefs: Beliefs | None = None,
) -> Choice:
    """Choose a line for a run, from a person's prices, own types and pieces on hand.

    Parameters
    ----------
    station : Station or Path or str
        The station, or the TOML file it stands in. What is asked of the line stands in the run's ``wishes``.
    run : str
        The run's name.
    prices : Prices
        What each line costs; ``read_prices`` reads them.
    own : sequence of LineType
        The person's own line types.
    progress : callable, optional
        Called with the share done (0 to 1) and what is being done, while the evidence is judged.
    beliefs : Beliefs, optional
        What is believed of the station's pieces where that is known already; what a run asks of its line changes none.

    Returns
    -------
    Choice
        Each line on sale with its loss (dB, 95 % interval) and price, the cheapest within the limits, the longest runs,
        remedies.

    Raises
    ------
    InputError
        If there is no such run, it has no line to replace, or what is asked of it cannot be asked.

    References
    ----------
    The trade-off holds the lines that no other beats in both loss and price (Pareto's set). Losses are read off the
    chain of the run (``docs/how-a-choice-works.md``); ``plan_run`` names their sources.

    >>> from linewright.verbs.examples import demo_file
    >>> from linewright.files.prices import read_prices
    >>> prices = read_prices(demo_file("harbour-ridge-prices.csv"))
    >>> choice = choose_for(demo_file("harbour-ridge-field-day.toml"), "two-metre tent", prices)
    >>> choice.run
    'two-metre tent'
    """
    known = read(station, own)
    return chosen(prepared(known, run, prices, own=own, beliefs=beliefs or Beliefs(known, DRAWS, progress)))


@dataclass(frozen=True, slots=True)
class PreparedChoice:
    """A choice before its limits are known, and what is said of the evidence and the station."""

    known: choose.Prepared
    remarks: tuple[str, ...]


def prepared(
    known: Station, run: str, prices: Prices, *, own: Sequence[LineType] = (), beliefs: Beliefs
) -> PreparedChoice:
    """Return a choice as far as its limits do not matter, so that others may be tried at little cost.

    Parameters and errors are those of ``choose_for``.
    """
    from linewright.choice.choose import Question, prepare

    wanted, in_run = beliefs.of_run(the_run(known, run))
    free, said = _free(known, wanted)
    parts = tuple(LinePart(tag, known.pieces[tag], measured=True) for tag in free)
    _, on_hand = beliefs.of_run(replace(wanted, chain=parts))
    mine = tuple({line.designator: line for line in (*known.lines, *own)}.values())
    question = Question(wanted, prices, {**on_hand, **in_run}, tuple(free), mine, known.noise)
    return PreparedChoice(prepare(question), (*said, *beliefs.remarks, *known.remarks))


def chosen(ready: PreparedChoice, wishes: Wishes | None = None) -> Choice:
    """Return the choice, by the run's own wishes or by others that differ from them in the limits alone."""
    from linewright.choice.choose import judge

    choice = judge(ready.known, wishes or ready.known.question.run.wishes)
    return replace(choice, cautions=cautions_of("choose"), remarks=(*choice.remarks, *ready.remarks))


def _free(station: Station, mine: Run) -> tuple[list[str], list[str]]:
    """Return the tags of the pieces that lie in no run, and what is said of the others."""
    used = {
        part.piece.tag: run.name
        for run in station.runs
        for part in run.chain
        if isinstance(part, LinePart) and part.measured
    }
    said = [
        say("{piece} stays where it is, in {run}.", piece=tag, run=name)
        for tag, name in used.items()
        if name != mine.name
    ]
    return [tag for tag in station.pieces if tag not in used], said


def wishing(station: Station, run: str, asked: Mapping[str, Any]) -> Station:
    """Return a station one of whose runs asks other things of its line, by the names of ``Wishes``."""
    mine = the_run(station, run)
    wanted = replace(mine, wishes=replace(mine.wishes, **asked))
    return replace(station, runs=tuple(wanted if r is mine else r for r in station.runs))
