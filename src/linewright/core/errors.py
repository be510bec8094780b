"""What can go wrong, and whose turn it is to act.

::

    LinewrightError
    ├── InputError (ValueError)            what the person gave is wrong: exit 2
    │   ├── UnitError                      a quantity without its unit, or with the wrong one
    │   ├── UnknownNameError (LookupError) a name that nothing answers to
    │   └── SheetError                     a file, table or row that breaks a rule
    └── CannotError (RuntimeError)         asked rightly, but we could not: exit 1
        ├── DamagedError                   a ledger's file is damaged; it was left as it is
        └── ConflictError                  somebody else changed it meanwhile; both versions are kept (``model.ledger``)

Doubt is no error: a verb that cannot tell returns a result that says so.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass


class LinewrightError(Exception):
    """The root of everything this package raises on purpose."""


@dataclass(frozen=True)
class Culprit:
    """Where the trouble sits: a file and, when there is one, the row or key in it."""

    file: str | None = None
    row: int | None = None
    key: str | None = None

    def __str__(self) -> str:
        parts = []
        if self.row is not None:
            parts.append(f"row {self.row}")
        if self.key:
            parts.append(self.key)
        if self.file:
            parts.append(self.file)
        return " of ".join(parts)


MAX_QUOTED = 80
"""Characters of what was given that a message repeats."""
MAX_WORDS = 2000
"""Characters of one part of a message: what is long without quotes is cut off there."""
QUOTED = re.compile(rf"""'[^']{{{MAX_QUOTED + 1},}}'|"[^"]{{{MAX_QUOTED + 1},}}"|[^\s'"]{{{MAX_QUOTED + 1},}}""")


def clipped(text: str) -> str:
    r"""Return words that repeat no more than 80 characters of what was given, in quotes or in one stretch.

    What no terminal shows is written as Python writes it.

    >>> clipped("column pa\tth")
    'column pa\\tth'
    >>> clipped("must be a number; got '" + 200 * "x" + "'").count("x")
    77
    """
    if not text.replace("\n", "").isprintable():
        text = "".join(c if c.isprintable() or c == "\n" else ascii(c)[1:-1] for c in text)
    return QUOTED.sub(lambda m: f"{m[0][:78]}...{m[0][-1] if m[0][0] in QUOTES else ''}", text)[:MAX_WORDS]


QUOTES = "'\""


class InputError(LinewrightError, ValueError):
    """What was given is wrong: the argument, the rule, the culprit and the cure.

    >>> str(InputError("swr", "must be at least 1; got 0.8", cure="Write a return loss as return_loss_db."))
    'swr must be at least 1; got 0.8. Write a return loss as return_loss_db.'
    """

    def __init__(self, argument: str, rule: str, *, where: Culprit | None = None, cure: str = "") -> None:
        self.argument = clipped(argument)
        self.rule = clipped(rule)
        self.where = where or Culprit()
        self.cure = clipped(cure)
        super().__init__(self._sentence())

    def _sentence(self) -> str:
        place = f" ({self.where})" if str(self.where) else ""
        tail = f" {self.cure}" if self.cure else ""
        return f"{self.argument} {self.rule}{place}.{tail}"

    def at(self, where: Culprit) -> InputError:
        """Return the same error, now with its place."""
        return type(self)(self.argument, self.rule, where=where, cure=self.cure)

    def to_dict(self) -> dict[str, object]:
        """Return the error as plain data, for ``--json``."""
        return {
            "argument": self.argument,
            "rule": self.rule,
            "file": self.where.file,
            "row": self.where.row,
            "key": self.where.key,
            "cure": self.cure,
            "message": str(self),
        }


class UnitError(InputError):
    """A quantity lacks its unit, or carries one of another kind."""


class UnknownNameError(InputError, LookupError):
    """Nothing answers to this name."""


class SheetError(InputError):
    """A file, a table in it or one of its rows breaks a rule.

    Where several things are wrong at once, ``problems`` lists them all; the error itself speaks of the first.
    """

    def __init__(
        self,
        argument: str,
        rule: str,
        *,
        where: Culprit | None = None,
        cure: str = "",
        problems: Sequence[InputError] = (),
    ) -> None:
        self.problems = tuple(problems)
        super().__init__(argument, rule, where=where, cure=cure)

    @property
    def others(self) -> tuple[InputError, ...]:
        """The problems after the first."""
        return self.problems[1:]

    def to_dict(self) -> dict[str, object]:
        """Return the error and its others as plain data."""
        return {**super().to_dict(), "others": [other.to_dict() for other in self.others]}


def gathered(problems: Sequence[InputError]) -> InputError:
    """Return one error that stands for all: the only one itself, or the first with the others beside it."""
    first = problems[0]
    if len(problems) == 1:
        return first
    return SheetError(first.argument, first.rule, where=first.where, cure=first.cure, problems=problems)


class CannotError(LinewrightError, RuntimeError):
    """The question was fair, but it could not be answered here (a full disk, a missing library)."""


class DamagedError(CannotError):
    """A ledger's file is damaged; it was left as it is."""
