"""Reports of a bench sheet, a station or a piece: documents first, files when asked."""

from __future__ import annotations

import hashlib
import shlex
from collections.abc import Callable, Iterator, Mapping, Sequence
from datetime import date
from importlib.resources import files
from pathlib import Path
from typing import TYPE_CHECKING, Any

from linewright import __version__
from linewright.core.errors import Culprit, InputError
from linewright.core.frozen import dataclass
from linewright.core.locale import ENGLISH, Manner
from linewright.core.messages import say
from linewright.core.nouns.line import LineType
from linewright.files.tables import decoded, is_file
from linewright.files.toml_reader import parse_toml
from linewright.present.compose.provenance import Input, Made
from linewright.present.document import Document
from linewright.verbs.once import ENGINE
from linewright.verbs.results import put_result

if TYPE_CHECKING:
    from linewright.core.nouns.bench import BenchSheet
    from linewright.core.nouns.station import Station

# The files a report rests on, each with the SHA-256 of what it holds, and what worked it out


def inputs_of(*paths: Path) -> tuple[Input, ...]:
    """Return some files and every file they name, each once.

    A TOML file names a file where one of its texts is the name of a file beside it.
    """
    found: dict[Path, Input] = {}
    for path in paths:
        _gather_inputs(path, path.parent, found)
    return tuple(found.values())


def _gather_inputs(path: Path, home: Path, found: dict[Path, Input]) -> None:
    if path in found:
        return
    content = path.read_bytes()
    found[path] = Input(_name(path, home), hashlib.sha256(content).hexdigest())
    if path.suffix.lower() == ".toml":
        for name in texts_in(parse_toml(decoded(content, "file", str(path)), str(path))):
            if is_file(path.parent, name):
                _gather_inputs(path.parent / name, home, found)


def _name(path: Path, home: Path) -> str:
    """Return what a file is called in a report: no folder of this machine, but those below the first file's."""
    return path.relative_to(home).as_posix() if path.is_relative_to(home) else path.name


def texts_in(value: Any) -> Iterator[str]:
    """Yield every text in plain data.

    >>> list(texts_in({"readings": {"file": "a.csv"}, "piece": [{"tag": "blue 7", "connectors": 2}]}))
    ['a.csv', 'blue 7']
    """
    if isinstance(value, str):
        yield value
    elif isinstance(value, dict):
        for inner in value.values():
            yield from texts_in(inner)
    elif isinstance(value, list):
        for inner in value:
            yield from texts_in(inner)


def versions() -> tuple[tuple[str, str], ...]:
    """Return what works a report out beside the program: its engines, the catalogue and the tools that draw and set."""
    from importlib.metadata import version

    return (
        (say("engine"), ENGINE),
        (say("catalogue, SHA-256"), catalogue_sha256()),
        (say("typesetter and drawings"), f"typst {version('typst')}, vl-convert {version('vl-convert-python')}"),
    )


def catalogue_sha256() -> str:
    """Return the SHA-256 of the catalogue's tables, one after the other by name.

    >>> len(catalogue_sha256())
    64
    """
    tables = sorted(files("linewright.catalogue").joinpath("data").iterdir(), key=lambda table: table.name)
    whole = hashlib.sha256()
    for table in tables:
        if table.name.endswith(".csv"):
            whole.update(table.name.encode() + b"\0" + table.read_bytes() + b"\0")
    return whole.hexdigest()


# Reports of a bench sheet, a station or a piece: documents first, files when asked

Progress = Callable[[float, str], None]


@dataclass(frozen=True, slots=True)
class ReportWish:
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


def report_of_file(path: Path | str, asked: ReportWish, *, progress: Progress | None = None) -> Document:
    """Return the report of a file: a station if it holds runs, else a bench sheet.

    Parameters
    ----------
    path : Path or str
        The TOML file; files it names are looked for beside it.
    asked : Asked
        The date it bears, and how to ask for it again.
    progress : callable, optional
        Called with the share done (0 to 1) and what is being done.

    Returns
    -------
    Document
        Headline, tables, charts, cautions and workings, for any writer.

    Raises
    ------
    InputError
        If the file breaks a rule.

    >>> from linewright.verbs.examples import demo_file
    >>> report_of_file(demo_file("harbour-ridge-2025.toml"), ReportWish(date(2026, 3, 14))).to_dict()["schema"]
    'linewright/report/1'
    """
    from linewright.files.sheet import read_bench_sheet
    from linewright.files.station import read_station
    from linewright.files.tables import SourceText, read_text

    path, own = Path(path), _own(asked.lines)
    tables = SourceText(str(path), read_text(path, "report")).parsed()
    if "run" in tables or "station" in tables:
        station = read_station(path, own)
        return report_of_station(station, asked.made(path.name, _inputs(path, asked)), progress=progress)
    sheet = read_bench_sheet(path, own)
    return report_of_sheet(sheet, asked.made(path.name, _inputs(path, asked)), progress=progress)


def _inputs(path: Path, asked: ReportWish) -> tuple[Input, ...]:
    return inputs_of(path, *([asked.lines] if asked.lines else []))


def _own(lines: Path | None) -> Sequence[LineType]:
    from linewright.files.own_lines import read_lines

    return read_lines(lines) if lines else ()


def report_of_sheet(sheet: BenchSheet, made: Made, *, progress: Progress | None = None) -> Document:
    """Judge a bench sheet and return its report."""
    from linewright.present.compose.bench import bench_report
    from linewright.verbs.prove import prove_cable

    return bench_report(sheet, prove_cable(sheet, progress=progress), made)


def report_of_station(station: Station, made: Made, *, progress: Progress | None = None) -> Document:
    """Plan a station and return its report."""
    from linewright.present.compose.station import station_report
    from linewright.verbs.plan import plan_station

    return station_report(station, plan_station(station, progress=progress), made)


def write_report(
    document: Document, path: Path, manner: Manner = ENGLISH, paper: str = "a4", *, appendix: bool = False
) -> Path:
    """Write a report where ``path`` says, as PDF or HTML by its ending, and return the path.

    Parameters
    ----------
    document : Document
        What ``report_of_file`` or ``report_of_kept`` returned.
    path : Path
        Ends in .pdf or .html.
    manner : Manner
        Language, decimal mark, unit of lengths.
    paper : str
        "a4" or "letter".
    appendix : bool
        Whether every reading and the workings follow on paper; a page has them closed, else open.

    Returns
    -------
    Path
        Where it was written.

    Raises
    ------
    InputError
        If the ending is neither, or something stands there that is no earlier result.
    CannotError
        If it cannot be written there, or a package that draws or sets is missing.

    >>> from linewright.verbs.examples import demo_file
    >>> from tempfile import TemporaryDirectory
    >>> with TemporaryDirectory() as place:
    ...     write_report(Document("prove", "Spring check"), Path(place) / "check.html").name
    'check.html'
    """
    from linewright.present.writers.html import report_html
    from linewright.present.writers.paper import report_pdf

    ending = ending_of(path)
    if ending == ".pdf":
        content = report_pdf(document if appendix else document.letter(), manner, paper)
    else:
        content = report_html(document, manner, opened=appendix)
    return put_result(path, content)


def ending_of(path: Path) -> str:
    """Return the ending of a report's file; raise InputError if it is neither .pdf nor .html."""
    ending = path.suffix.lower()
    if ending not in (".pdf", ".html"):
        raise InputError("report file", say("must end in .pdf or .html"), where=Culprit(file=str(path)))
    return ending


# Reports of files that are given as texts: the same bytes as of files on a disk

Given = tuple[str, str]
"""A file: its name and its text."""


def inputs_given(files: Mapping[str, str], *given: Given) -> tuple[Input, ...]:
    """Return some files and every one of ``files`` that they name, each once, with the SHA-256 of its text."""
    found: dict[str, Input] = {}
    for name, text in given:
        _gather(name, text, files, found)
    return tuple(found.values())


def _gather(name: str, text: str, files: Mapping[str, str], found: dict[str, Input]) -> None:
    if name in found:
        return
    found[name] = Input(name, hashlib.sha256(text.encode()).hexdigest())
    if name.lower().endswith(".toml"):
        for inner in texts_in(parse_toml(text, name)):
            if inner in files:
                _gather(inner, files[inner], files, found)


def report_of_given(
    subject: Given, noun: BenchSheet | Station, files: Mapping[str, str], asked: ReportWish, lines: Sequence[Given] = ()
) -> Document:
    """Return the report of a bench sheet or a station that was read from texts.

    Parameters
    ----------
    subject : pair of str
        The name and the text of its file.
    noun : BenchSheet or Station
        What was read from it.
    files : mapping of str to str
        The files it names.
    asked : Asked
        The date it bears, and how to ask for it again.
    lines : sequence of pairs of str
        The file of the person's own line types, if one was given.
    """
    from linewright.core.nouns.station import Station

    made: Made = asked.made(subject[0], inputs_given(files, subject, *lines))
    return report_of_station(noun, made) if isinstance(noun, Station) else report_of_sheet(noun, made)
