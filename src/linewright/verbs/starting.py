"""The app in the menu and at login: written for one person, on this machine, and taken away again."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from importlib.resources import files
from pathlib import Path

from linewright.core import machine
from linewright.core.errors import CannotError
from linewright.core.frozen import dataclass
from linewright.core.messages import say


@dataclass(frozen=True, slots=True)
class Arranged:
    """The files written or removed, and the system's message where it failed."""

    files: tuple[Path, ...]
    trouble: tuple[str, ...]
    is_tried: bool


def arrange(options: Sequence[str], *, run: Callable[[Sequence[str]], str] = machine.done) -> Arranged:
    """Write what starts the app from the menu and at login, and start it now.

    Parameters
    ----------
    options : sequence of str
        The words after ``serve``, the same for both.
    run : callable
        Runs a command of the system and returns why it failed; "" if it did not.

    Raises
    ------
    CannotError
        If a file cannot be written.
    """
    found = _starter(options)
    for path, content in found.files.items():
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_bytes(content)
            if path in found.runnable:
                path.chmod(0o755)
        except OSError as cause:
            raise CannotError(say("Cannot write {path}: {value}.", path=path, value=cause.strerror or cause)) from cause
    return _told(found, found.files, found.after, run)


def clear(*, run: Callable[[Sequence[str]], str] = machine.done) -> Arranged:
    """Stop the app that was started at login, and take away what ``arrange`` wrote. The ledger stays.

    Raises
    ------
    CannotError
        If a file cannot be taken away.
    """
    found = _starter(())
    there = [path for path in found.files if path.exists()]
    told = _told(found, there, found.before_removal if there else (), run)
    for path in there:
        try:
            path.unlink()
        except OSError as cause:
            raise CannotError(
                say("Cannot take {path} away: {value}.", path=path, value=cause.strerror or cause)
            ) from cause
    return told


def _starter(options: Sequence[str]) -> machine.Starter:
    mark = files("linewright.web").joinpath("static", "mark.svg").read_bytes()
    return machine.starter(machine.own_command(), options, mark)


def _told(
    found: machine.Starter,
    paths: Iterable[Path],
    commands: Sequence[Sequence[str]],
    run: Callable[[Sequence[str]], str],
) -> Arranged:
    trouble = [f"{' '.join(command)}: {why}" for command in commands if (why := run(command))]
    return Arranged(tuple(paths), tuple(trouble), machine.system() in machine.TRIED)
