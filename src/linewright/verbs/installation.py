"""What is wrong with an installation: each thing that linewright needs is tried, and what fails comes with its cure."""

from __future__ import annotations

import re
import shutil
import socket
import sys
import tempfile
from collections.abc import Iterator
from datetime import UTC, datetime
from importlib import metadata
from pathlib import Path
from typing import Any, Literal, TextIO

from linewright import __version__
from linewright.core import machine
from linewright.core.errors import CannotError
from linewright.core.frozen import dataclass
from linewright.core.nouns.bench_result import document
from linewright.verbs.names import usual_place

Soundness = Literal["good", "doubt", "wrong"]
"""All is well; something works less well than it could; something does not work."""


@dataclass(frozen=True, slots=True)
class PartFound:
    """One thing that linewright needs: its name, what is there, how well that serves, and the cure."""

    part: str
    found: str
    soundness: Soundness = "good"
    cure: str = ""


@dataclass(frozen=True, slots=True)
class Installation:
    """All that was looked at, and whether it serves."""

    version: str
    parts: tuple[PartFound, ...]

    @property
    def serves(self) -> bool:
        """Whether nothing is wrong; doubts may be left."""
        return all(p.soundness != "wrong" for p in self.parts)

    def to_dict(self) -> dict[str, Any]:
        """Return the document of schema ``linewright/installation/1``."""
        return {**document("linewright/installation/1", self), "serves": self.serves}


LEAST_PYTHON = (3, 11)
SIGNS = "√±×·µΩ°–…"
"""What answers are written with beside letters and digits."""
PAPER_FONTS = ("Libertinus Serif", "DejaVu Sans Mono")
"""What reports, labels and sheets are set in (``present/templates``)."""
PORT = 8731
LEAST_BYTES = 200_000_000
"""Room for the ledger, its fourteen daily copies and a report or two, by a wide margin."""
BUILT = datetime(2026, 1, 1, tzinfo=UTC)
"""No clock that is right shows an earlier time than that of this version's making."""
AHEAD_S = 86_400.0
"""How far the ledger's newest change may lie ahead: clubs write from several time zones and machines."""


def check_installation(
    ledger: str | Path | None = None, *, at: datetime | None = None, console: TextIO | None = None
) -> Installation:
    """Try each thing that linewright needs here, and return what was found, with a cure for what fails.

    Nothing is changed but for an empty file, made in the ledger's folder and taken away again.

    Parameters
    ----------
    ledger : str or Path, optional
        A file, or the URL of a PostgreSQL database. Without it: LINEWRIGHT_LEDGER, or the usual place.
    at : datetime, optional
        The time now.
    console : file, optional
        Where answers are written; standard output unless told.

    Returns
    -------
    Installation
        Its ``parts`` are good, doubtful or wrong; ``serves`` tells whether nothing is wrong.

    Raises
    ------
    InputError
        If an argument is of another type; what is wrong with the installation is an answer.

    >>> found = check_installation()
    >>> {p.part for p in found.parts} >= {"Python", "packages", "ledger", "clock"}
    True
    """
    place = str(ledger) if ledger is not None else usual_place()
    if "://" not in place:
        place = str(Path(place).expanduser().absolute())
    moment = at or datetime.now(UTC)
    parts = (
        _python(), _command(), *_packages(), _numbers(), _fonts(), _drawing(), _browser(), _port(),
        *_folder(place), _ledger(place), _clock(place, moment), _console(console or sys.stdout),
    )  # fmt: skip
    return Installation(__version__, parts)


# The program and what it stands on


def _python() -> PartFound:
    found = f"{sys.version.split()[0]} on {machine.system()}, {sys.executable}"
    if sys.version_info[:2] < LEAST_PYTHON:
        return PartFound("Python", found, "wrong", "Install Python 3.11 or later, and linewright with it.")
    if machine.system() not in machine.TRIED:
        cure = "Nobody has tried this system yet; please report what you find."
        return PartFound("Python", found, "doubt", cure)
    return PartFound("Python", found)


def _command() -> PartFound:
    found = shutil.which("linewright")
    if found is None and not getattr(sys, "frozen", False):
        cure = f"Start it with {' '.join(machine.own_command())}, or run pipx ensurepath and open a new terminal."
        return PartFound("command", "linewright is not on the PATH", "doubt", cure)
    return PartFound("command", found or sys.executable)


def _packages() -> Iterator[PartFound]:
    """Yield a part for each package that is missing or too old, else one for all."""
    try:
        asked = metadata.requires("linewright") or []
        known = metadata.version("linewright")
    except metadata.PackageNotFoundError:
        yield PartFound("packages", "linewright runs from its source, not installed", "doubt", "Install it.")
        return
    cure = "Install linewright again: pipx install --force, or pip install --force-reinstall, with the wheel's file."
    if known != __version__:
        yield PartFound("packages", f"linewright {known} is installed, {__version__} runs", "wrong", cure)
    wanted = [found for line in asked if (found := _wanted(line))]
    amiss = [words for name, least in wanted if (words := _amiss(name, least))]
    for words in amiss:
        yield PartFound("packages", words, "wrong", cure)
    if not amiss:
        yield PartFound("packages", f"all {len(wanted)} that linewright {known} needs are there")


def _wanted(line: str) -> tuple[str, str] | None:
    """Return name and least version of a requirement; None of one that only an extra asks for.

    >>> _wanted("numpy>=2.0"), _wanted('ruff>=0.9; extra == "dev"')
    (('numpy', '2.0'), None)
    """
    if "extra ==" in line:
        return None
    found = re.match(r"([\w.-]+)(?:\[[^]]*\])?\s*(?:>=\s*([\d.]+))?", line)
    return (found[1], found[2] or "0") if found else None


def _amiss(name: str, least: str) -> str:
    try:
        there = metadata.version(name)
    except metadata.PackageNotFoundError:
        return f"{name} is missing"
    return f"{name} is {there}, {least} or later is needed" if _number(there) < _number(least) else ""


def _number(version: str) -> tuple[int, ...]:
    return tuple(int(part) for part in re.findall(r"\d+", version.partition("+")[0])[:3])


def _numbers() -> PartFound:
    """Solve something whose answer is known: a library of numbers that is built wrong fails here."""
    try:
        import numpy as np
        from scipy.linalg import solve

        right = bool(np.allclose(solve(np.array([[2.0, 1.0], [1.0, 3.0]]), np.array([3.0, 5.0])), [0.8, 1.4]))
    except Exception as cause:
        return PartFound("numbers", f"NumPy or SciPy does not work: {cause}", "wrong", "Install both again.")
    if not right:
        return PartFound("numbers", "NumPy and SciPy solve wrongly", "wrong", "Install both again.")
    return PartFound("numbers", f"NumPy {metadata.version('numpy')}, SciPy {metadata.version('scipy')}")


def _fonts() -> PartFound:
    from linewright.present.writers.paper import font_families

    cure = "Install the package typst again: it brings them along."
    try:
        missing = [name for name in PAPER_FONTS if name not in font_families()]
    except CannotError as cause:
        return PartFound("paper", str(cause), "wrong", cure)
    if missing:
        return PartFound("paper", f"the fonts {', '.join(missing)} are missing", "wrong", cure)
    return PartFound("paper", f"reports and labels are set in {' and '.join(PAPER_FONTS)}")


def _drawing() -> PartFound:
    from linewright.present.charts.frame import framed
    from linewright.present.charts.render import to_svg

    words = {"mark": {"type": "text", "text": "3 dB"}, "data": {"values": [{}]}}
    try:
        drawn = to_svg(framed(words, "Words"))
    except Exception as cause:
        return PartFound("charts", f"none can be drawn: {cause}", "wrong", "Install vl-convert-python again.")
    return PartFound("charts", "can be drawn" if "<svg" in drawn else "are drawn empty")


# What the machine gives


def _browser() -> PartFound:
    if why := machine.no_browser():
        cure = f"Open http://localhost:{PORT}/ in any browser of this machine, or linewright serve --lan for a phone."
        return PartFound("browser", why, "doubt", cure)
    return PartFound("browser", "one can be opened")


def _port() -> PartFound:
    with socket.socket(socket.AF_INET, socket.SOCK_STREAM) as probe:
        probe.settimeout(0.5)
        if probe.connect_ex(("127.0.0.1", PORT)):
            return PartFound("port", f"{PORT} is free for the app")
    cure = "If that is not the app itself, choose another: linewright serve --port 8732."
    return PartFound("port", f"something listens on {PORT}", "doubt", cure)


def _folder(place: str) -> Iterator[PartFound]:
    """Yield whether the ledger's folder can be written to, and how much room it has."""
    if "://" in place:
        return
    folder = Path(place).parent
    there = next((p for p in (folder, *folder.parents) if p.exists()), folder)
    try:
        with tempfile.TemporaryFile(dir=there):
            pass
        free_bytes = shutil.disk_usage(there).free
    except OSError as cause:
        cure = "Let your account write there, or name another place in LINEWRIGHT_LEDGER or with --ledger."
        yield PartFound("data folder", f"{there}: {cause.strerror or cause}", "wrong", cure)
        return
    made = "" if there == folder else ", made when it is first needed"
    if free_bytes < LEAST_BYTES:
        yield PartFound("data folder", f"{folder}: {free_bytes / 1e6:.0f} MB free", "doubt", "Make room on that disk.")
    else:
        yield PartFound("data folder", f"{folder}{made}; {free_bytes / 1e9:.1f} GB free")


def _ledger(place: str) -> PartFound:
    if "://" in place:
        return _on_server(place)
    from linewright.store.names import standing_of
    from linewright.store.opening import REVISIONS

    path = Path(place)
    if not path.exists():
        return PartFound("ledger", f"none yet; the first one is made at {path}")
    try:
        revision, _ = standing_of(path)
    except CannotError as cause:
        cure = f'See what is hurt: linewright shelf check --ledger "{path}"'
        return PartFound("ledger", str(cause), "wrong", cure)
    if revision not in REVISIONS:
        return PartFound("ledger", f"{path} was written by a newer linewright", "wrong", "Update linewright.")
    return PartFound("ledger", f"{path}, {path.stat().st_size / 1e6:.1f} MB")


def _on_server(place: str) -> PartFound:
    from linewright.store.opening import answering

    try:
        return PartFound("ledger", f"{answering(place)} answers")
    except (CannotError, ValueError) as cause:
        cure = "Ask whoever runs the server, and look at name and password in the address."
        return PartFound("ledger", str(cause), "wrong", cure)


def _clock(place: str, moment: datetime) -> PartFound:
    shown = f"{moment.astimezone():%Y-%m-%d %H:%M %Z}".strip()
    newest = _newest_change(place)
    if moment < BUILT or (newest and (newest - moment).total_seconds() > AHEAD_S):
        why = f"; the ledger's newest change is of {newest:%Y-%m-%d}" if newest and newest > moment else ""
        cure = "Set the clock: tests are kept under the day on which they are filed."
        return PartFound("clock", f"{shown}{why}", "wrong", cure)
    return PartFound("clock", shown)


def _newest_change(place: str) -> datetime | None:
    from linewright.store.names import standing_of

    if "://" in place or not Path(place).exists():
        return None
    try:
        return datetime.fromisoformat(standing_of(Path(place))[1])
    except (CannotError, ValueError):
        return None


def _console(stream: TextIO) -> PartFound:
    encoding = getattr(stream, "encoding", None) or "unknown"
    lacking = machine.lacks_signs(stream, SIGNS)
    if lacking:
        found = f"{encoding} cannot write {' '.join(lacking)}; others stand for them"
        return PartFound("console", found, "doubt", machine.encoding_cure())
    return PartFound("console", f"writes {encoding}")
