"""A blank reading sheet for a bench: the steps in their order, on paper or as a CSV file to fill in."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from linewright.catalogue.cautions import cautions_of
from linewright.errors import InputError
from linewright.model.bench import BenchSheet
from linewright.model.blank_sheet import BlankSheet, ReadingPlan
from linewright.model.line import LineType

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

    Raises
    ------
    InputError
        If the file breaks a rule, nothing is planned, or there is more to read than anyone will.
    """
    from linewright.formats.sheet import read_reading_plan

    return blank_of(*read_reading_plan(sheet, own), rounds=rounds, every_meter=every_meter)


def blank_of(bench: BenchSheet, plan: ReadingPlan, *, rounds: int = 1, every_meter: bool = False) -> BlankSheet:
    """Return the blank reading sheet of a bench that was read already; arguments and errors as of ``blank_sheet``."""
    from linewright.workflows.reading_order import at_home, steps_of

    if not 1 <= rounds <= MOST_ROUNDS:
        raise InputError("repeats", f"must lie from 1 to {MOST_ROUNDS}; got {rounds}")
    steps = tuple(steps_of(bench, plan, rounds=rounds, every_meter=every_meter))
    if len(steps) > MOST_STEPS:
        rule = f"would make {len(steps)} steps; a sheet holds at most {MOST_STEPS}"
        raise InputError("frequencies", rule, cure="Plan fewer bands, or make a sheet for each.")
    away = [(m.name, f) for f in plan.frequencies_hz for m in bench.meters if m not in at_home(bench, f)]
    return BlankSheet(bench, steps, () if every_meter else tuple(away), cautions_of("sheet"))
