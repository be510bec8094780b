"""``linewright cut``: lengths that must match, and where to cut a line."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from linewright.cli.options import (
    Reader,
    answer_options,
    kept_words,
    ledger_kept,
    ledger_option,
    lines_option,
    own_lines,
    who_option,
)
from linewright.core.errors import InputError
from linewright.core.messages import say

if TYPE_CHECKING:
    from linewright.core.nouns.cut import CutResult, ElectricalLine
    from linewright.core.nouns.sweep import SweepQuestion
    from linewright.verbs.cut import CutQuestion

HELP = """\
Compare the electrical lengths of lines, or say where to cut one.

\b
linewright cut "blue 7" "blue 8" --at "145 MHz"
linewright cut one.s2p two.s2p three.s2p four.s2p --band "2 m" --sets-of 2
linewright cut "blue 7" --to "quarter wave" --at "145 MHz" --load "50 ohm" --side-by-side 2
linewright cut "red 1" --stub short --to "quarter wave" --at "3.6 MHz"
linewright cut "red 1" "red 2" --to "90 deg" --beyond "red 2" --at "7.1 MHz"

PIECES are tags in the ledger, or Touchstone files of one line each; join the files of one line, open and shorted, by +.
A file needs its --far-end (once a file, in order) unless it is a two-port through the line; a --length for each gives
its velocity factor. Several pieces are compared with the shortest; a cut is for the first.
"""


@click.command(help=HELP, short_help="Compare electrical lengths, and say where to cut.")
@click.argument("pieces", nargs=-1, required=True, metavar="PIECES...")
@click.option(
    "--at", multiple=True, metavar="FREQ", help="The frequency that matters; if several are given, the middle one."
)
@click.option("--band", metavar="BAND", help='A whole band instead: "2 m".')
@click.option("--sets-of", type=click.IntRange(2, 40), metavar="N", help="Sort the pieces into sets of N: 2 for pairs.")
@click.option(
    "--to", metavar="ANGLE", help=('Wanted length of the first piece: "quarter wave", "3/4 wave", "71.5 deg".')
)
@click.option("--beyond", metavar="PIECE", help="Make it longer than this other piece by --to: a phasing line.")
@click.option("--stub", type=click.Choice(["open", "short"]), help="Make it a stub, open or shorted at its end.")
@click.option("--load", metavar="Z", help='The load at its end: "50 ohm", "38-12j".')
@click.option(
    "--side-by-side",
    type=click.IntRange(1, 16),
    default=1,
    metavar="N",
    help="This many equal lines in parallel, each with its load.",
)
@click.option("--length", "taped", multiple=True, metavar="LENGTH", help="Length of the line in each file, in order.")
@click.option("--far-end", multiple=True, metavar="END", help="through, open or short; once for each file, in order.")
@click.option("--line", "line_name", metavar="TYPE", help="The type of the lines in the files.")
@click.option(
    "--connectors",
    type=click.IntRange(0, 50),
    default=2,
    show_default=True,
    help="Connectors on the line of each file.",
)
@click.option(
    "--label", type=click.Path(path_type=Path), metavar="FILE", help="Write labels that say what to trim: .pdf."
)
@click.option("--apply", is_flag=True, help="The pieces have been cut: shorten them in the ledger.")
@click.option("--on", "day", type=click.DateTime(["%Y-%m-%d"]), metavar="DAY", help="Day of the cut (default: today).")
@ledger_option
@who_option
@lines_option
@answer_options()
def cut(pieces: tuple[str, ...], reader: Reader, label: Path | None, **said: Any) -> None:
    """Say how lines differ in degrees, and where to cut."""
    from linewright.present.compose.cut import cut_document
    from linewright.verbs.cut import plan_cut, trimmed_lengths

    asked = _question(said)
    if said["apply"] and any(_is_files(p) for p in pieces):
        raise click.UsageError(say("--apply shortens pieces of the ledger: name tags, not files."))
    result = plan_cut(_lines(pieces, asked, said), asked)
    if said["apply"]:
        trimmed_lengths(result)
    if label is not None:
        _put_labels(result, label, reader)
    if said["apply"]:
        _apply(result, said)
    reader.show(result, cut_document)


def _question(said: dict[str, Any]) -> CutQuestion:
    """Return what is asked."""
    from linewright.core.quantities import frequency_hz
    from linewright.verbs.cut import asked_of

    hertz = [frequency_hz(f, "--at") for f in said["at"]]
    return asked_of(
        hertz, said["band"], to=said["to"], stub=said["stub"], beyond=said["beyond"], load=said["load"],
        side_by_side=said["side_by_side"], sets_of=said["sets_of"],
    )  # fmt: skip


def _is_files(piece: str) -> bool:
    """Return whether a piece is named by its files."""
    import re

    return all(re.search(r"\.(s\d+p|ts)$", part, re.IGNORECASE) for part in piece.split("+"))


def _lines(pieces: Sequence[str], asked: CutQuestion, said: dict[str, Any]) -> list[ElectricalLine]:
    """Return the lines in the order they were named."""
    from linewright.verbs.cut import kept_lines
    from linewright.verbs.swept_line import swept_line

    tags = [p for p in pieces if not _is_files(p)]
    kept = {}
    if tags:
        with ledger_kept(said["ledger"]) as found:
            kept = dict(zip(tags, kept_lines(found, tags, asked.at_hz), strict=True))
    swept = [p for p in pieces if _is_files(p)]
    if said["taped"] and len(said["taped"]) != len(swept):
        rule = f"must be given once for each line in files; got {len(said['lengths'])} for {len(swept)}"
        raise InputError("--length", rule, cure="Leave it out, or write one for each, in their order.")
    files = [p.split("+") for p in swept]
    ends = _ends(files, said["far_end"])
    out = dict(kept)
    short = [" + ".join(Path(f).name for f in its) for its in files]
    for i, (piece, its, end) in enumerate(zip(swept, files, ends, strict=True)):
        name = piece if short.count(short[i]) > 1 else short[i]
        out[piece] = swept_line(
            [Path(f) for f in its], asked.at_hz, end, name=name, asked=_known(said, i), connectors=said["connectors"]
        )
    return [out[p] for p in pieces]


def _ends(files: Sequence[Sequence[str]], given: Sequence[str]) -> list[list[str]]:
    """Return the far ends of each line's files; none where nothing was told."""
    count = sum(map(len, files))
    if not given:
        return [[] for _ in files]
    if len(given) != count:
        rule = f"must be given once for each file; got {len(given)} for {count} files"
        raise InputError("--far-end", rule, cure="Write --far-end as often as there are files, in the same order.")
    rest = iter(given)
    return [[next(rest).lower() for _ in its] for its in files]


def _known(said: dict[str, Any], i: int) -> SweepQuestion:
    from linewright.core.nouns.sweep import SweepQuestion
    from linewright.core.quantities import length_m

    length = length_m(said["taped"][i], "--length") if said["taped"] else None
    return SweepQuestion(length_m=length, line=said["line_name"], own=own_lines(said["lines_file"]))


def _put_labels(result: CutResult, path: Path, reader: Reader) -> None:
    from linewright.present.labels import WantedLabels, label_pages
    from linewright.verbs.cut import cut_labels

    if path.suffix.lower() != ".pdf":
        raise InputError("--label", f"must end in .pdf; got {path.name!r}")
    labels = cut_labels(result)
    if not labels:
        raise InputError("--label", "has nothing to say: nothing is to be cut")
    path.write_bytes(label_pages(labels, WantedLabels(manner=reader.manner)))


def _apply(result: CutResult, said: dict[str, Any]) -> None:
    from linewright.verbs.cut import apply_cut
    from linewright.verbs.shelf import By

    day = said["day"].date() if said["day"] else None
    with ledger_kept(said["ledger"]) as found:
        kept = apply_cut(found, result, on=day, by=By(who=said["who"]))
    click.echo(kept_words(kept), err=True)
