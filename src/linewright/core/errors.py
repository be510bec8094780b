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

from linewright.core.messages import mark, say, together


class LinewrightError(Exception):
    """The root of everything this package raises on purpose.

    As a string it is English. Words that were given as a message stay one, so that a page can say them in its language.
    """

    def __str__(self) -> str:
        """Return its words, a message where they were given as one."""
        words = self.args[0] if len(self.args) == 1 else ""
        return words if isinstance(words, str) else super().__str__()

    def __reduce__(self) -> tuple[object, ...]:
        """Return what makes it again in another process, whatever its arguments were."""
        return _again, (type(self), self.args, self.__dict__)


def _again(kind: type[LinewrightError], args: tuple[object, ...], known: dict[str, object]) -> LinewrightError:
    found = kind.__new__(kind, *args)
    found.__dict__.update(known)
    return found


@dataclass(frozen=True)
class Culprit:
    """Where the trouble sits: a file and, when there is one, the row or key in it."""

    file: str | None = None
    row: int | None = None
    key: str | None = None

    def __str__(self) -> str:
        place = "" if self.row is None else say("row {row}", row=self.row)
        for name in filter(None, (self.key, self.file)):
            whole = _printable(name)
            place = say("{part} of {whole}", part=place, whole=whole) if place else whole
        return place


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
    shown = "\n".join(map(_printable, text.split("\n")))
    short = QUOTED.sub(lambda m: f"{m[0][:78]}...{m[0][-1] if m[0][0] in QUOTES else ''}", shown)[:MAX_WORDS]
    return text if short == text else short


def _printable(text: str) -> str:
    return text if text.isprintable() else "".join(c if c.isprintable() else ascii(c)[1:-1] for c in text)


QUOTES = "'\""


ARGUMENTS = frozenset((
    mark("answer"), mark("band"), mark("bands"), mark("change"), mark("chart"), mark("club"), mark("curve"),
    mark("date"), mark("day"), mark("distance"), mark("division"), mark("duty"), mark("export"), mark("far end"),
    mark("files"), mark("frequencies"), mark("frequency"), mark("gain"), mark("impedance"), mark("insertion"),
    mark("ledger"), mark("length"), mark("limit"), mark("limits"), mark("line"), mark("load"), mark("loss"),
    mark("meter"), mark("name"), mark("note"), mark("part"), mark("path"), mark("piece"), mark("pieces"),
    mark("plan"), mark("power"), mark("prices"), mark("rated"), mark("reading"), mark("readings"),
    mark("reference"), mark("route"), mark("row"), mark("run"), mark("runs"), mark("session"), mark("sheet"),
    mark("signal"), mark("size"), mark("station"), mark("sweep"), mark("sweeps"), mark("table"), mark("tag"),
    mark("token"), mark("touchstone file"), mark("unit"), mark("work"),
))  # fmt: skip
"""Arguments that a page says in its language. Keys and columns of files stay as they are."""


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
        place = (" (", str(self.where), ")") if str(self.where) else ()
        argument = say(self.argument) if self.argument in ARGUMENTS else self.argument
        return together([together([argument, " ", self.rule, *place, "."], ""), self.cure])

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
