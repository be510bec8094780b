"""Reports of a bench sheet, a station or a piece: documents first, files when asked."""

from __future__ import annotations

import shlex
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

from linewright import __version__
from linewright.errors import Culprit, InputError
from linewright.model.line import LineType
from linewright.report.document import Document
from linewright.report.made import Input, Made
from linewright.units.manner import ENGLISH, Manner
from linewright.workflows.report_inputs import inputs_of, is_file, versions
from linewright.workflows.results import put_result

if TYPE_CHECKING:
    from linewright.model.bench import BenchSheet
    from linewright.model.station import Station

Progress = Callable[[float, str], None]


@dataclass(frozen=True, slots=True)
class Asked:
    """How a report is asked for.

    Attributes
    ----------
    day : date
        The date it bears.
    options : tuple of str
        What the command said beside its subject and the date, to make the report again.
    lines : Path, optional
        The person's own line types.
    """

    day: date
    options: tuple[str, ...] = ()
    lines: Path | None = None

    def made(self, subject: str, inputs: tuple[Input, ...]) -> Made:
        """Return how a report of a subject came to be."""
        day = self.day.isoformat()
        command = shlex.join(["linewright", "report", subject, "--date", day, *self.options])
        return Made(day, command, inputs, f"linewright {__version__}", versions())


def report_of_file(path: Path | str, asked: Asked, *, progress: Progress | None = None) -> Document:
    """Return the report of a file: a station if it holds runs, else a bench sheet.

    Parameters
    ----------
    path : Path or str
        The TOML file; files it names are looked for beside it.
    asked : Asked
        The date it bears, and how to ask for it again.
    progress : callable, optional
        Called with the share done (0 to 1) and what is being done.

    Raises
    ------
    InputError
        If the file breaks a rule.
    """
    from linewright.formats.sheet import read_bench_sheet
    from linewright.formats.station import read_station
    from linewright.formats.tables import Source
    from linewright.formats.texts import read_text

    path, own = Path(path), _own(asked.lines)
    tables = Source(str(path), read_text(path, "report")).parsed()
    if "run" in tables or "station" in tables:
        station = read_station(path, own)
        return report_of_station(station, asked.made(path.name, _inputs(path, asked)), progress=progress)
    sheet = read_bench_sheet(path, own)
    return report_of_sheet(sheet, asked.made(path.name, _inputs(path, asked)), progress=progress)


def _inputs(path: Path, asked: Asked) -> tuple[Input, ...]:
    return inputs_of(path, *([asked.lines] if asked.lines else []))


def _own(lines: Path | None) -> Sequence[LineType]:
    from linewright.formats.own_lines import read_lines

    return read_lines(lines) if lines else ()


def report_of_sheet(sheet: BenchSheet, made: Made, *, progress: Progress | None = None) -> Document:
    """Judge a bench sheet and return its report."""
    from linewright.report.bench import bench_report
    from linewright.workflows.prove import prove_cable

    return bench_report(sheet, prove_cable(sheet, progress=progress), made)


def report_of_station(station: Station, made: Made, *, progress: Progress | None = None) -> Document:
    """Plan a station and return its report."""
    from linewright.report.station import station_report
    from linewright.workflows.plan import plan_station

    return station_report(station, plan_station(station, progress=progress), made)


def is_a_file(subject: str) -> bool:
    """Return whether a subject of a report is a file rather than the tag of a piece.

    >>> is_a_file("spring.toml"), is_a_file("blue 7")
    (True, False)
    """
    return subject.lower().endswith(".toml") or is_file(Path(), subject)


def write_report(document: Document, path: Path, manner: Manner = ENGLISH, paper: str = "a4") -> Path:
    """Write a report where ``path`` says, as PDF or HTML by its ending, and return the path.

    Raises
    ------
    InputError
        If the ending is neither, or something stands there that is no earlier result.
    CannotError
        If it cannot be written there, or a package that draws or sets is missing.
    """
    from linewright.report.html import report_html
    from linewright.report.pdf import report_pdf

    ending = ending_of(path)
    content = report_pdf(document, manner, paper) if ending == ".pdf" else report_html(document, manner)
    return put_result(path, content)


def ending_of(path: Path) -> str:
    """Return the ending of a report's file; raise InputError if it is neither .pdf nor .html."""
    ending = path.suffix.lower()
    if ending not in (".pdf", ".html"):
        raise InputError("report file", "must end in .pdf or .html", where=Culprit(file=str(path)))
    return ending
