"""How figures were worked out, for ``--explain``."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import partial

from linewright.cli.cells import WIDEST, wrapped
from linewright.cli.layout import bold
from linewright.model.result import Working
from linewright.units.manner import ENGLISH, Manner
from linewright.units.said import say, written


def workings_view(workings: Sequence[Working], manner: Manner = ENGLISH) -> list[str]:
    """Return every working in a manner: figure, formula, inputs and source."""
    said = partial(written, manner=manner)
    lines = [bold(said(say("How it was worked out")))]
    for working in workings:
        lines += [*_one(working, said), ""]
    return lines[:-1] if workings else []


def _one(working: Working, said: Callable[[str], str]) -> list[str]:
    lines = wrapped(said(working.figure), WIDEST, first="  ")
    lines += wrapped(said(working.formula), WIDEST, first="    = ", rest="      ")
    for name, value in working.inputs:
        lines += wrapped(f"{said(name)}: {said(value)}", WIDEST, first="    ", rest="      ")
    source = said(say("Source: {source}", source=working.source))
    return [*lines, *wrapped(source, WIDEST, first="    ", rest="      ")]
