"""The provenance of a report: its input files, the versions that computed it, and how to reproduce it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from linewright.core.frozen import dataclass
from linewright.core.messages import say, taken_apart, together
from linewright.core.nouns.bench_result import Working
from linewright.present.document import (
    Block,
    Column,
    Facts,
    Paragraph,
    Part,
    Points,
    Row,
    Section,
    Table,
    Way,
    Workings,
)


@dataclass(frozen=True, slots=True)
class Input:
    """A file that went in, and the SHA-256 of what it held."""

    name: str
    sha256: str


@dataclass(frozen=True, slots=True)
class Made:
    """How a report came to be.

    Attributes
    ----------
    day : str
        The date it bears, "2026-04-02".
    command : str
        What makes it again.
    inputs : tuple of Input
        The files that went in.
    maker : str
        The program and its version.
    versions : pairs of (what, version)
        What worked it out.
    """

    day: str
    command: str
    inputs: tuple[Input, ...]
    maker: str
    versions: tuple[tuple[str, str], ...]


def workings_section(workings: Sequence[Working]) -> Section:
    """Return how each figure was worked out, gathered by way: a formula stands once."""
    ways: dict[tuple[str, str], list[Working]] = {}
    for w in workings:
        ways.setdefault((w.formula, w.source), []).append(w)
    found = tuple(
        Way(formula, source, tuple((w.figure, w.inputs) for w in some), tuple(taken_apart(w.figure) for w in some))
        for (formula, source), some in ways.items()
    )
    return Section(say("How each figure was worked out"), (Workings(found),) if found else (), appendix=True)


def worked(workings: Sequence[Working]) -> Section:
    """Return how each figure was worked out, one after the other, as a reader of the answer meets them."""
    ways = tuple(Way(w.formula, w.source, ((w.figure, w.inputs),), (taken_apart(w.figure),)) for w in workings)
    return Section(say("How it was worked out"), (Workings(ways),) if ways else ())


MOST_NAMED = 3
"""Files that the foot of a letter names; its appendix has them all."""


def made_again(made: Made) -> Section:
    """Return the foot of a letter: from what it was made, by what, and how to see the workings."""
    names = together([i.name for i in made.inputs[:MOST_NAMED]], ", ")
    if len(made.inputs) > MOST_NAMED:
        names = say("{names} and {count} more", names=names, count=str(len(made.inputs) - MOST_NAMED))
    said = say("Made by {maker} from {files}: {command}. With --appendix it adds every reading and how each figure was"
               " worked out.", maker=made.maker, files=names, command=made.command)  # fmt: skip
    return Section("", (Paragraph(said),))


def repeat_section(
    made: Made, method: Sequence[str], assumptions: Sequence[str], sources: Iterable[str]
) -> Section:  # fmt: skip
    """Return the last page: method, assumptions, sources, versions, inputs and the command, to repeat it all."""
    blocks: tuple[Block, ...] = (
        Points(say("Method"), tuple(method)),
        Points(say("Assumptions"), tuple(assumptions)),
        Points(say("Sources"), tuple(dict.fromkeys(s for s in sources if s))),
        Paragraph(say("With these files and these versions the command makes this report again, byte for byte.")),
        Facts(((say("program"), made.maker), *made.versions, (say("command that makes it again"), made.command))),
        _inputs(made.inputs),
    )
    held = tuple(b for b in blocks if not isinstance(b, Points) or b.items)
    return Section(say("To repeat this report"), held, appendix=True)


def _inputs(inputs: Sequence[Input]) -> Table:
    rows = tuple(Row((i.name, i.sha256)) for i in inputs)
    return Table(say("Files that went in"), (Column(say("file")), Column("SHA-256", "code")), (Part("", rows),))
