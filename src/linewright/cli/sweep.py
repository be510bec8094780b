"""``linewright sweep``: what Touchstone files of a line say."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from linewright.cli.options import Reader, answer_options, lines_option, own_lines
from linewright.core.errors import InputError

if TYPE_CHECKING:
    from linewright.core.nouns.sweep import SweepQuestion, SweepReport

HELP = """\
Read the sweeps of one line in FILES (Touchstone): loss, impedance, length, faults, type.

\b
linewright sweep drum.s2p --length "30 m"
linewright sweep open.s1p short.s1p --far-end open --far-end short --line RG-213/U
linewright sweep mast.s1p --far-end load --velocity-factor 0.66 --chart mast.svg

Say what is at the far end for each file, in the order of the files. A two-port goes through the line unless you say
otherwise. With a length or a velocity factor, distances are given in metres.
"""


@click.command(help=HELP, short_help="Find a line's loss, length, faults and type from an analyser's files.")
@click.argument("files", nargs=-1, required=True, type=click.Path(path_type=Path), metavar="FILES...")
@click.option(
    "--far-end", multiple=True, metavar="END", help="through, open, short or load; once for each file, in order."
)
@click.option("--length", metavar="LENGTH", help='How long the line is: "30 m".')
@click.option("--velocity-factor", metavar="NUMBER", help="Speed of the wave: 0.66, or 66 %.")
@click.option("--line", "line_name", metavar="TYPE", help="Its stated type.")
@click.option("--at", multiple=True, metavar="FREQ", help="A frequency to show besides the bands; may be repeated.")
@click.option("--option-line", metavar="LINE", help='Use this in place of a missing option line: "# GHz S RI R 50".')
@click.option("--chart", type=click.Path(path_type=Path), metavar="FILE", help="Draw the line as .svg, .png or .pdf.")
@lines_option
@answer_options()
def sweep(
    files: tuple[Path, ...], far_end: tuple[str, ...], chart: Path | None, reader: Reader, **given: Any,
) -> None:  # fmt: skip
    """Read a line's loss, length, faults and type from an analyser's files."""
    from linewright.present.compose.sweep import sweep_document
    from linewright.verbs.results import check_chart_place
    from linewright.verbs.sweep import read_sweep

    check_chart_place(chart)
    report = read_sweep(files, _ends(far_end), _question(given))
    if chart is not None:
        _draw(report, chart)
    reader.show(report, sweep_document)


def _ends(given: tuple[str, ...]) -> list[str]:
    """Return the far ends; "open,short" counts as two."""
    return [part for one in given for part in one.lower().replace("/", ",").replace(",", " ").split()]


def _question(given: dict[str, Any]) -> SweepQuestion:
    """Return what was told beside the files."""
    from linewright.core.nouns.sweep import SweepQuestion
    from linewright.core.quantities import frequency_hz, length_m

    length, line = given["length"], given["line_name"]
    return SweepQuestion(
        length_m=None if length is None else length_m(length, "--length"),
        velocity_factor=_velocity_factor(given["velocity_factor"]),
        line=line,
        own=own_lines(given["lines_file"]),
        option_line=given["option_line"],
        at_hz=tuple(frequency_hz(f, "--at") for f in given["at"]),
    )


def _velocity_factor(text: str | None) -> float | None:
    """Return a velocity factor written as a share or in percent."""
    if text is None:
        return None
    number, percent = text.strip().removesuffix("%"), text.strip().endswith("%")
    try:
        return float(number) / (100.0 if percent else 1.0)
    except ValueError:
        raise InputError("--velocity-factor", f"must be a number; got {text!r}", cure="Write 0.66 or 66 %.") from None


def _draw(report: SweepReport, path: Path) -> None:
    from linewright.present.charts.profile import profile_chart
    from linewright.verbs.results import put_chart

    if report.along is None:
        raise InputError("--chart", f"has nothing to draw. {report.along_why.rstrip('.')}")
    put_chart(profile_chart(report.along, report.finding.name), path)
