"""Reports of files that are given as texts: the same bytes as of files on a disk."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from linewright.formats.toml_reader import parse_toml
from linewright.report.document import Document
from linewright.report.made import Input, Made
from linewright.workflows.report import Asked, report_of_sheet, report_of_station
from linewright.workflows.report_inputs import texts_in

if TYPE_CHECKING:
    from linewright.model.bench import BenchSheet
    from linewright.model.station import Station

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
    subject: Given, noun: BenchSheet | Station, files: Mapping[str, str], asked: Asked, lines: Sequence[Given] = ()
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
    from linewright.model.station import Station

    made: Made = asked.made(subject[0], inputs_given(files, subject, *lines))
    return report_of_station(noun, made) if isinstance(noun, Station) else report_of_sheet(noun, made)
