"""The files a report rests on, each with the SHA-256 of what it holds, and what worked it out."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from importlib.resources import files
from pathlib import Path
from typing import Any

from linewright.formats.texts import decoded
from linewright.formats.toml_reader import parse_toml
from linewright.report.made import Input
from linewright.units.said import say
from linewright.workflows.engine import ENGINE


def inputs_of(*paths: Path) -> tuple[Input, ...]:
    """Return some files and every file they name, each once.

    A TOML file names a file where one of its texts is the name of a file beside it.
    """
    found: dict[Path, Input] = {}
    for path in paths:
        _gather(path, path.parent, found)
    return tuple(found.values())


def _gather(path: Path, home: Path, found: dict[Path, Input]) -> None:
    if path in found:
        return
    content = path.read_bytes()
    found[path] = Input(_name(path, home), hashlib.sha256(content).hexdigest())
    if path.suffix.lower() == ".toml":
        for name in texts_in(parse_toml(decoded(content, "file", str(path)), str(path))):
            if is_file(path.parent, name):
                _gather(path.parent / name, home, found)


def _name(path: Path, home: Path) -> str:
    """Return what a file is called in a report: no folder of this machine, but those below the first file's."""
    return path.relative_to(home).as_posix() if path.is_relative_to(home) else path.name


def is_file(folder: Path, name: str) -> bool:
    """Return whether a text is the name of a file in a folder."""
    try:
        return bool(name.strip()) and (folder / name).is_file()
    except (OSError, ValueError):
        return False


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
