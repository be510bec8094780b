"""Changes to a station in plain words: ``line 2 = RG-213/U``, ``part "arrestor" loss = 0.3 dB``, ``drop part 3``.

A change is ``[RUN: ][add|drop ]WHAT[ N][ PROPERTY][ = VALUE]``. Lines, pieces and parts are counted from the radio.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any, Literal

from linewright.errors import InputError, SheetError, UnknownNameError
from linewright.formats.fields import nearest, one_of
from linewright.formats.station import SITES
from linewright.formats.station_cover import uncovered
from linewright.formats.station_known import Known
from linewright.formats.station_parts import told_apart
from linewright.formats.toml_reader import parse_toml
from linewright.model.station import Run, Station
from linewright.workflows.change_parts import PART_WORDS, add_part, change_part, drop_part, parts_known
from linewright.workflows.change_runs import SETTINGS, change_setting, drop_setting, known_of

Verb = Literal["set", "add", "drop"]
ARGUMENT = "change"
EXAMPLE = "Write line 2 = RG-213/U, or drop part 3."
_FORM = re.compile(r"\s*(?:([^=]+?)\s*:\s+)?(?:(add|drop)\s+)?([^=]+?)\s*(?:=\s*(.+?))?\s*", re.DOTALL)
_WORD = re.compile(r"\"([^\"]*)\"|'([^']*)'|(\S+)")


@dataclass(frozen=True, slots=True)
class Change:
    """One change: in which run (None: wherever it fits), what is done to what, and the new value."""

    text: str
    run: str | None
    verb: Verb
    what: tuple[str, ...]
    value: Any = None


def read_change(text: str) -> Change:
    """Return a written change.

    Raises
    ------
    InputError
        If it cannot be read as one.

    >>> change = read_change("two-metre beam: line 2 length = 12 m")
    >>> change.run, change.verb, change.what, change.value
    ('two-metre beam', 'set', ('line', '2', 'length'), '12 m')
    """
    match = _FORM.fullmatch(text)
    if match is None:
        raise InputError(ARGUMENT, f"must say what becomes what; got {text!r}", cure=EXAMPLE)
    run, verb, what, value = match.groups()
    if (value is None) != (verb == "drop"):
        rule = f"must {'drop something and give it no value' if verb == 'drop' else 'give a new value'}; got {text!r}"
        raise InputError(ARGUMENT, rule, cure=EXAMPLE)
    words = tuple(a or b or c for a, b, c in _WORD.findall(what))
    said: Verb = "drop" if verb == "drop" else "add" if verb == "add" else "set"
    return Change(" ".join(text.split()), run, said, words, None if value is None else _value(value))


def _value(text: str) -> Any:
    """Return a value as a station file would hold it: a number, a list, a table; else the text itself."""
    try:
        return parse_toml(f"value = {text}", "change")["value"]
    except SheetError:
        return text


def changed(station: Station, changes: Sequence[str | Change], run: str | None = None) -> Station:
    """Return a station with changes made, one after the other.

    Parameters
    ----------
    station : Station
        The station as it is.
    changes : sequence of str or Change
        What is changed. A change that names no run is made in every run it fits; it must fit one.
    run : str, optional
        The only run to be changed.

    Raises
    ------
    InputError
        If a change cannot be read, fits nothing, or leaves a run that cannot be planned.
    """
    for one in changes:
        station = _made(station, read_change(one) if isinstance(one, str) else one, run)
    for known in station.runs:
        for _, error in uncovered(known):
            raise error
    return station


def _made(station: Station, change: Change, run: str | None) -> Station:
    if [w.lower() for w in change.what] == ["noise"] and change.verb == "set":
        return replace(station, noise=one_of(change.value, "noise", SITES))
    named = change.run or run
    if named is not None and named not in {r.name for r in station.runs}:
        names = [r.name for r in station.runs]
        cure = nearest(named, names) or f"Known are {', '.join(names)}."
        raise UnknownNameError("run", f"must be a run of {station.name}; got {named!r}", cure=cure)
    known = known_of(station)
    meant = [r for r in station.runs if named is None or r.name == named]
    made = {r.name: _in_run(r, change, known) for r in meant}
    if not any(made.values()):
        raise UnknownNameError(
            ARGUMENT, f"must speak of something in the run; {change.text!r} does not",
            cure=_cure(meant[0], change),
        )  # fmt: skip
    return replace(station, runs=tuple(made.get(r.name) or r for r in station.runs))


def _in_run(run: Run, change: Change, known: Known) -> Run | None:
    """Return the changed run; None if it has no such thing."""
    head = change.what[0].lower()
    if head in PART_WORDS:
        work = {"set": change_part, "add": add_part, "drop": drop_part}[change.verb]
        chain = work(run.chain, change.what, change.value, known)
        return None if chain is None else replace(run, chain=told_apart(chain))
    if change.verb == "drop":
        return drop_setting(run, change.what)
    return change_setting(run, change.what, change.value, known)


def _cure(run: Run, change: Change) -> str:
    if change.what[0].lower() in PART_WORDS:
        return f"{run.name} has {parts_known(run.chain)}."
    near = nearest(change.what[0].lower(), PART_WORDS) or nearest(" ".join(change.what), SETTINGS)
    return near or f"Known are line, piece, part and {', '.join(SETTINGS)}."
