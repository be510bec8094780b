"""What a bench sheet plans to read: frequencies, and pieces joined."""

from __future__ import annotations

from typing import Any

from linewright.errors import InputError
from linewright.formats import fields
from linewright.formats.readings import Known, path_in
from linewright.formats.tables import Table
from linewright.model.blank_sheet import ReadingPlan


def plan_in(whole: Table, known: Known) -> ReadingPlan:
    """Return the plan of a sheet from its keys ``frequencies`` and ``joined``; what is wrong is noted."""

    def frequencies(value: Any, name: str) -> tuple[float, ...]:
        return tuple(sorted({fields.frequency(v, name) for v in _texts(value, name, '["14.2 MHz", "144.3 MHz"]')}))

    def joined(value: Any, name: str) -> tuple[tuple[str, ...], ...] | None:
        written = _texts(value, name, '["blue 7+blue 18"]')
        if any(known.forgives({"meter": "", "path": path}) for path in written):
            return None
        paths = tuple(dict.fromkeys(path_in(path, known) for path in written))
        for path in paths:
            if len(path) < 2:
                raise InputError(name, f"must name two pieces or more with + between; got {'+'.join(path)!r}")
        return paths

    return ReadingPlan(whole.take("frequencies", frequencies, ()), whole.take("joined", joined, None))


def _texts(value: Any, name: str, example: str) -> list[str]:
    if not isinstance(value, list) or not all(isinstance(v, str) for v in value):
        raise InputError(name, f"must be a list of texts; got {value!r}", cure=f"Write {example}.")
    return value
