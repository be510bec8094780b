"""The words of ``linewright one-end`` as a test: readings in the order they were written, each with its frequency."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from linewright.core.errors import Culprit, InputError
from linewright.core.messages import say
from linewright.core.nouns.line import LineType
from linewright.core.nouns.one_end import FarEnd, OneEndReading, OneEndTest
from linewright.core.quantities import ratio_db
from linewright.files import fields
from linewright.files.one_end import read_one_end, shown
from linewright.files.own_lines import impedance_ohm

ENDS: Mapping[str, FarEnd] = {"open_": "open", "short": "short", "load_seen": "load"}
NAMES = {"open_": "--open", "load_swr": "--load-swr", "load_seen": "--load-seen"}


def written_test(order: Sequence[str], said: Mapping[str, Any], own: Sequence[LineType]) -> OneEndTest:
    """Return the test that was written; ``order`` names the options as they came."""
    from linewright.catalogue import line_type

    found = [*_written(order, said), *_lone(said, "peak", "antenna"), *_lone(said, "resonance", "short")]
    if said["readings"] is not None:
        found += _of_file(said["readings"])
    else:
        found = [replace(r, row=i) for i, r in enumerate(found, start=1)]
    if not found:
        raise InputError("readings", "are missing", cure='Give --open 7.1 --short 6.8 --at "144 MHz", or --file.')
    return OneEndTest(
        tuple(_stepped(r, said["step"]) for r in found),
        directivity_db=None if said["directivity"] is None else ratio_db(said["directivity"], "--directivity"),
        source_swr=None if said["source_swr"] is None else fields.swr(said["source_swr"], "--source-swr"),
        impedance_ohm=None if said["impedance"] is None else impedance_ohm(said["impedance"], "--impedance"),
        line=None if said["line"] is None else line_type(said["line"], own),
        length_m=None if said["length"] is None else fields.length(said["length"], "--length"),
        tag=next((r.piece for r in found if r.piece), say("The line")),
        source=None if said["readings"] is None else str(said["readings"]),
    )


def _written(order: Sequence[str], said: Mapping[str, Any]) -> Iterator[OneEndReading]:
    """Yield the readings between one ``--at`` and the next."""
    values = {name: iter(said[name]) for name in ("open_", "short", "load", "load_swr", "load_seen", "at")}
    group: dict[str, str] = {}
    for name in order:
        if name not in values:
            continue
        if name != "at":
            if name in group:
                raise InputError(_name(name), "stands twice before an --at", cure="Give each frequency its own --at.")
            group[name] = next(values[name])
            continue
        yield from _group(group, fields.frequency(next(values["at"]), "--at"))
        group = {}
    if group:
        raise InputError(_name(next(iter(group))), "has no frequency", cure='Write --at "144 MHz" after it.')


def _group(group: Mapping[str, str], frequency_hz: float) -> Iterator[OneEndReading]:
    if not group:
        raise InputError("--at", "has no reading before it", cure='Write --open 7.1 --at "144 MHz".')
    if ("load" in group or "load_swr" in group) != ("load_seen" in group):
        cure = "Give --load (or --load-swr) and --load-seen together."
        raise InputError("--load-seen", "is what shows through the line, and goes with its load", cure=cure)
    for name, end in ENDS.items():
        if name in group:
            reading = _reading(group[name], _name(name), end, frequency_hz)
            yield _with_load(reading, group) if end == "load" else reading


def _with_load(reading: OneEndReading, group: Mapping[str, str]) -> OneEndReading:
    known = None if "load_swr" not in group else fields.swr(group["load_swr"], "--load-swr")
    if "load" not in group:
        return replace(reading, load_swr=known)
    quantity, value, step, _ = shown(group["load"], "--load")
    if quantity != reading.quantity:
        raise InputError("--load", "must be the same kind of reading as --load-seen", cure="Both SWR, or both dB.")
    return replace(reading, load_swr=known, direct=value, direct_step=step)


def _lone(said: Mapping[str, Any], option: str, end: FarEnd) -> Iterator[OneEndReading]:
    """Yield readings that carry their own frequency: "12.5 @ 160 MHz"."""
    for text in said[option]:
        what, at, where = text.partition("@")
        if not at:
            example = "5.7 ohm @ 14.2 MHz" if option == "resonance" else "12.5 @ 160 MHz"
            raise InputError(
                f"--{option}", f"must be a reading @ a frequency; got {text!r}", cure=f'Write "{example}".'
            )
        reading = _reading(what, f"--{option}", end, fields.frequency(where.strip(), f"--{option}"))
        if option == "resonance" and reading.quantity != "resistance_ohm":
            raise InputError("--resonance", f"must be a resistance; got {text!r}", cure='Write "5.7 ohm @ 14.2 MHz".')
        yield reading


def _reading(text: str, name: str, end: FarEnd, frequency_hz: float) -> OneEndReading:
    quantity, value, step, bound = shown(text, name)
    return OneEndReading(0, end, frequency_hz, quantity, value, step, bound)


def _of_file(path: Path) -> list[OneEndReading]:
    found = list(read_one_end(path))
    pieces = {r.piece for r in found}
    if len(pieces) > 1:
        named = ", ".join(sorted(str(p) for p in pieces if p))
        cure = "One test is one line: keep the rows of one piece, or put them in a bench sheet."
        raise InputError("piece", f"must be one and the same; got {named}", where=Culprit(str(path)), cure=cure)
    return found


def _stepped(reading: OneEndReading, step: str | None) -> OneEndReading:
    """Return a reading with the step that holds for all of its kind."""
    if step is None:
        return reading
    quantity, value, _, _ = shown(step, "--step")
    return replace(reading, step=value, direct_step=value) if quantity == reading.quantity else reading


def _name(option: str) -> str:
    return NAMES.get(option, f"--{option}")
