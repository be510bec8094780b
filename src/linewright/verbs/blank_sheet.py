"""A blank reading sheet for a bench: the steps in their order, on paper or as a CSV file to fill in."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import combinations
from pathlib import Path

from linewright.catalogue.cautions import cautions_of
from linewright.core.errors import InputError
from linewright.core.messages import say
from linewright.core.nouns.bench import BenchSheet, Meter, Piece, ReadingPlan
from linewright.core.nouns.line import LineType
from linewright.core.nouns.paper import BlankSheet, SheetStep
from linewright.core.quantities import delivered_fraction

# A blank reading sheet for a bench: the steps in their order, on paper or as a CSV file to fill in

MOST_ROUNDS, MOST_STEPS = 6, 5000


def blank_sheet(
    sheet: Path | str, *, own: Sequence[LineType] = (), rounds: int = 1, every_meter: bool = False
) -> BlankSheet:
    """Return the blank reading sheet of a bench.

    Parameters
    ----------
    sheet : Path or str
        The bench sheet (TOML): source, reference, meters, pieces, planned ``frequencies``, perhaps ``joined``.
    own : sequence of LineType
        The person's own line types.
    rounds : int
        How many times each path is read by each meter on each band; 1 to 6.
    every_meter : bool
        Whether a meter is read outside its rated band, too, where another one is at home.

    Returns
    -------
    BlankSheet
        The steps in the order to take them, and the gear.

    Raises
    ------
    InputError
        If the file breaks a rule, nothing is planned, or there is more to read than anyone will.

    >>> from linewright.verbs.examples import demo_file
    >>> blank = blank_sheet(demo_file("harbour-ridge.toml"))
    >>> len(blank.steps), blank.steps[0].meter
    (49, 'desk meter')
    """
    from linewright.files.sheet import read_reading_plan

    return blank_of(*read_reading_plan(sheet, own), rounds=rounds, every_meter=every_meter)


def blank_of(bench: BenchSheet, plan: ReadingPlan, *, rounds: int = 1, every_meter: bool = False) -> BlankSheet:
    """Return the blank reading sheet of a bench that was read already; arguments and errors as of ``blank_sheet``."""
    if not 1 <= rounds <= MOST_ROUNDS:
        raise InputError(
            "repeats", say("must lie from 1 to {most_rounds}; got {value}", most_rounds=MOST_ROUNDS, value=rounds)
        )
    steps = tuple(steps_of(bench, plan, rounds=rounds, every_meter=every_meter))
    if len(steps) > MOST_STEPS:
        rule = say("would make {count} steps; a sheet holds at most {most}", count=len(steps), most=MOST_STEPS)
        raise InputError("frequencies", rule, cure=say("Plan fewer bands, or make a sheet for each."))
    away = [(m.name, f) for f in plan.frequencies_hz for m in bench.meters if m not in at_home(bench, f)]
    return BlankSheet(bench, steps, () if every_meter else tuple(away), cautions_of("sheet"))


# The order in which a bench is read: what drifts, drifts over all pieces alike

ReadingPath = tuple[str, ...]
REFERENCE: ReadingPath = ()
LEAST_DIVISIONS = 10.0
"""A reading of joined pieces tells something from so many divisions of the scale up (common practice, no source)."""


def paths_to_read(singles: Sequence[ReadingPath], *, rounds: int = 1, turned: bool = False) -> list[ReadingPath]:
    """Return the paths of one meter on one band: the reference first, between rounds and last.

    Every other round runs backwards. Over an even number of rounds the places of every path, and of the reference,
    have the same mean, so that a steady drift cancels.

    Parameters
    ----------
    singles : sequence of tuple of str
        What is read besides the reference.
    rounds : int
        How many times.
    turned : bool
        Whether the first round runs backwards.

    >>> paths_to_read([("a",), ("b",)], rounds=2)
    [(), ('a',), ('b',), (), ('b',), ('a',), ()]
    """
    found = [REFERENCE]
    for i in range(rounds):
        backwards = (i % 2 == 1) is not turned
        found += [*(reversed(singles) if backwards else singles), REFERENCE]
    return found


def steps_of(
    bench: BenchSheet, plan: ReadingPlan, *, rounds: int = 1, every_meter: bool = False
) -> Iterator[SheetStep]:
    """Yield the steps of a bench: band by band, meter by meter; each meter's next band runs the other way round.

    A meter outside its rated band is left out where another one is at home, unless ``every_meter``.
    """
    number, turned = 0, dict.fromkeys((m.name for m in bench.meters), False)
    for hertz in plan.frequencies_hz:
        for meter in bench.meters if every_meter else at_home(bench, hertz):
            singles = _singles(bench, plan, meter, hertz)
            for path in paths_to_read(singles, rounds=rounds, turned=turned[meter.name]):
                number += 1
                yield SheetStep(number, meter.name, hertz, path)
            turned[meter.name] = not turned[meter.name]


def at_home(bench: BenchSheet, frequency_hz: float) -> tuple[Meter, ...]:
    """Return the meters to read on a frequency: those not outside their rated band, or all if there is none."""
    found = tuple(m for m in bench.meters if m.in_rated_band(frequency_hz) is not False)
    return found or bench.meters


def _singles(bench: BenchSheet, plan: ReadingPlan, meter: Meter, hertz: float) -> list[ReadingPath]:
    joined = _telling(bench, meter, hertz) if plan.joined is None else plan.joined
    return [*((p.tag,) for p in bench.pieces), *joined, *((a.tag,) for a in bench.attenuators)]


def _telling(bench: BenchSheet, meter: Meter, hertz: float) -> tuple[ReadingPath, ...]:
    """Return the pair whose joint reading tells most: of one stock if it can be, the largest loss that still reads.

    Their losses must add: where they do not, the meter's decibels are not true, or a length or a stock is wrong.
    """
    pairs = [(a, b) for a, b in combinations(bench.pieces, 2) if _reads(bench, meter, hertz, (a, b))]
    alike = [pair for pair in pairs if pair[0].stock is not None and pair[0].stock == pair[1].stock]
    found = max(alike or pairs, key=lambda pair: _loss_db(bench, pair, hertz), default=None)
    return () if found is None else (tuple(p.tag for p in found),)


def _reads(bench: BenchSheet, meter: Meter, hertz: float, pair: tuple[Piece, Piece]) -> bool:
    """Return whether a pair would leave enough divisions on the scale; what cannot be told is taken as yes."""
    unit = {"watts": 1.0, "milliwatts": 1e-3}.get(meter.scale)
    if unit is None or meter.division is None or bench.source.power_w is None:
        return True
    left_w = bench.source.power_w * delivered_fraction(_loss_db(bench, pair, hertz))
    return bool(left_w >= LEAST_DIVISIONS * meter.division * unit)


def _loss_db(bench: BenchSheet, pieces: tuple[Piece, ...], hertz: float) -> float:
    """Return what new pieces of their type would lose; a piece of unknown type takes that of its stock, else none."""
    known = {p.stock: p.line for p in bench.pieces if p.stock is not None and p.line is not None}
    lines = [(p.line or known.get(p.stock or ""), p.length_m) for p in pieces]
    return float(sum(line.law.db_per_m(hertz) * length_m for line, length_m in lines if line is not None))
