"""The command ``linewright``: its commands, and what each ending means.

Exit 0: answered, also when the answer is doubtful. 2: what was given is wrong. 1: it could not be done here. 70: a
bug. 130: the person stopped it. Nothing but a bug under ``--debug`` shows a traceback.
"""

from __future__ import annotations

import gc
import os
import re
import sys
from collections.abc import Iterator, MutableMapping, Sequence
from importlib import import_module
from itertools import chain, pairwise
from typing import Any

import click

from linewright import __version__
from linewright.cli.completion import VARIABLE, teach
from linewright.cli.options import debug_option
from linewright.core.errors import CannotError, InputError
from linewright.core.locale import ENGLISH, Manner
from linewright.core.machine import reader_left, steady_console
from linewright.core.messages import say, together

# Trouble in words: what is wrong, where, and what to do about it. Everything here goes to standard error, in the manner
# that was asked for. What the command-line library and the system say of themselves stays English


def manner_asked(given: Sequence[str]) -> Manner:
    """Return the manner that a command's words ask for, whatever else is wrong with them."""
    from linewright.core.formatting import manner

    asked = dict(pairwise(chain.from_iterable(word.split("=", 1) for word in given)))
    try:
        return manner(asked.get("--language", "en"), asked.get("--decimal"), asked.get("--lengths", "m"))
    except InputError:
        return ENGLISH


MOST = 40
"""Nobody mends more at once."""


def input_words(error: InputError) -> str:
    """Return what is wrong with what was given, one problem a paragraph, with their number when there are several."""
    from linewright.present.writers.terminal import WIDEST, wrapped

    others: tuple[InputError, ...] = getattr(error, "others", ())
    if not others:
        return _wrapped(str(error))
    problems = [error, *others]
    lines = wrapped(say("{count} problems:", count=len(problems)))
    for one in problems[:MOST]:
        lines += wrapped(str(one), WIDEST, first="- ", rest="  ")
    if len(problems) > MOST:
        lines += wrapped(say("And {count} more.", count=len(problems) - MOST))
    return "\n".join(lines)


def usage_words(error: click.UsageError) -> str:
    """Return what is wrong with the command as typed, and how it is written."""
    from linewright.present.writers.terminal import WIDEST, wrapped

    ctx, wrong = error.ctx, _wrapped(_typed_wrong(error))
    if ctx is None:
        return wrong
    usage = say("Usage: {words}", words=" ".join(ctx.get_usage().split()).removeprefix("Usage: "))
    return "\n".join(
        [wrong, *wrapped(usage, WIDEST), _wrapped(say("Help: {words}", words=f"{ctx.command_path} --help"))]
    )


def _typed_wrong(error: click.UsageError) -> str:
    """Return what is wrong, as a message where it is one of the slips of every day."""
    if isinstance(error, click.NoSuchOption):
        near = say("Did you mean {names}?", names=", ".join(error.possibilities)) if error.possibilities else ""
        return together([say("No such option '{name}'.", name=error.option_name), near])
    if isinstance(error, click.MissingParameter) and not error.message and isinstance(error.param, click.Argument):
        return say("Missing argument {name}.", name=error.param.get_error_hint(error.ctx))
    if isinstance(error, click.BadParameter) and error.param is not None:
        return _no_number(error, error.param) or _no_day(error, error.param) or error.format_message()
    return error.format_message()


def _no_number(error: click.BadParameter, param: click.Parameter) -> str:
    """Return that an option wants a number, and which; empty where it wants something else."""
    kind, name = param.type, param.opts[-1] if isinstance(param, click.Option) else param.human_readable_name
    if not isinstance(kind, click.types.IntParamType | click.types.FloatParamType):
        return ""
    value, low, high = _given(error), *_ends(kind)
    if isinstance(kind, click.types.FloatParamType):
        if low is None:
            return say("{name} must be a number without a unit; got {value}.", name=name, value=value)
        return say(
            "{name} must be a number without a unit, {low} or more; got {value}.", name=name, low=low, value=value
        )
    if low is None:
        return say("{name} must be a whole number; got {value}.", name=name, value=value)
    if high is None:
        return say("{name} must be a whole number, {low} or more; got {value}.", name=name, low=low, value=value)
    return say("{name} must be a whole number from {low} to {high}; got {value}.",
               name=name, low=low, high=high, value=value)  # fmt: skip


def _no_day(error: click.BadParameter, param: click.Parameter) -> str:
    """Return that an option wants a day, and how it is written; empty where it wants something else."""
    if not isinstance(param.type, click.DateTime):
        return ""
    value = _given(error)
    return say("{name} must be a day, written like 2026-03-14; got {value}.", name=param.opts[-1], value=value)


def _given(error: click.BadParameter) -> str:
    """Return the value that was refused, in quotes: the message of the library begins with it."""
    found = re.match(r"'(.*?)'|(\S+)", error.message)
    return repr((found[1] or found[2]) if found else error.message)


def _ends(kind: Any) -> tuple[str | None, str | None]:
    low, high = (getattr(kind, end, None) for end in ("min", "max"))
    return None if low is None else f"{low:g}", None if high is None else f"{high:g}"


def cannot_words(cause: BaseException) -> str:
    """Return why it could not be done here."""
    if isinstance(cause, OSError):
        why = cause.strerror or str(cause)
        return _wrapped(say("Could not: {why}.", why=f"{cause.filename}: {why}" if cause.filename else why))
    return _wrapped(str(cause))


def bug_words(cause: BaseException, *, debug: bool) -> str:
    """Return the one line that admits a bug; under ``--debug`` its traceback as well."""
    from linewright.present.writers.terminal import clean

    kind = type(cause).__name__
    if debug:
        import traceback

        admitted = say("This is a bug in linewright ({kind}). Please report it.", kind=kind)
        return "".join(traceback.format_exception(cause)) + clean(admitted)
    return clean(
        say(
            "This is a bug in linewright ({kind}). Please report it with what the same command says with --debug.",
            kind=kind,
        )
    )


def _wrapped(text: str) -> str:
    from linewright.present.writers.terminal import WIDEST, wrapped

    return "\n".join(wrapped(text, WIDEST))


# The command ``linewright``: its commands, and what each ending means

ANSWERED, CANNOT, WRONG, BUG, STOPPED = 0, 1, 2, 70, 130


class Commands(MutableMapping[str, click.Command]):
    """Commands by their names, each loaded when it is asked for: starting one costs nothing of the others."""

    def __init__(self, files: dict[str, str]) -> None:
        self._files = files
        self._loaded: dict[str, click.Command] = {}

    def __getitem__(self, name: str) -> click.Command:
        """Return a command; its function is called like it."""
        if name not in self._loaded:
            file = import_module(f"linewright.cli.{self._files[name]}")
            self._loaded[name] = getattr(file, name.replace("-", "_"))
            if VARIABLE in os.environ:
                teach(self._loaded[name], name)
        return self._loaded[name]

    def __setitem__(self, name: str, command: click.Command) -> None:
        self._loaded[name] = command
        self._files.setdefault(name, name)

    def __delitem__(self, name: str) -> None:
        del self._files[name]
        self._loaded.pop(name, None)

    def __iter__(self) -> Iterator[str]:
        return iter(self._files)

    def __len__(self) -> int:
        return len(self._files)

    def __contains__(self, name: object) -> bool:
        return name in self._files


COLLECT_FROM = 100_000
"""Objects made before they are looked through for circles: a command that ends within a second leaves few, and looking
through thousands of definitions while they are loaded takes a twelfth of its time."""


class Door(click.Group):
    """A group of commands that ends calmly whatever happens behind it."""

    def main(  # type: ignore[override]
        self, args: Sequence[str] | None = None, *, standalone_mode: bool = True, **extra: Any
    ) -> Any:
        """Run a command and leave with its exit status; without ``standalone_mode``, return or raise."""
        if not standalone_mode:
            return super().main(args, standalone_mode=False, **extra)
        gc.set_threshold(COLLECT_FROM)
        given = list(sys.argv[1:] if args is None else args)
        status = self._ended(given, **extra)
        gc.freeze()  # what is left goes with the process; looking through it for circles takes longer than --help
        sys.exit(status)

    def _ended(self, given: list[str], **extra: Any) -> int:
        steady_console(sys.stdout, sys.stderr)
        try:
            status = super().main(given, standalone_mode=False, **extra)
            sys.stdout.flush()
        except BaseException as cause:
            from linewright.present.writers.terminal import manner_of

            with manner_of(manner_asked(given)):
                return _status(cause, debug="--debug" in given)
        return status if isinstance(status, int) else ANSWERED

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Return the commands in the order a person meets them."""
        return list(self.commands)


def _status(cause: BaseException, *, debug: bool) -> int:
    """Say what went wrong and return the exit status that stands for it."""
    if isinstance(cause, SystemExit) and VARIABLE in os.environ:
        sys.stdout.flush()
        return int(cause.code or 0)
    # Else the command-line library leaves by itself in one case only: the pipe broke.
    if isinstance(cause, SystemExit) or reader_left(cause):
        return _reader_left()
    if isinstance(cause, (KeyboardInterrupt, click.Abort)):
        return _said(_wrapped(say("Stopped.")), STOPPED)
    if isinstance(cause, InputError):
        return _said(input_words(cause), WRONG)
    if isinstance(cause, click.UsageError):
        return _said(usage_words(cause), WRONG)
    if isinstance(cause, (CannotError, OSError)):
        return _said(cannot_words(cause), CANNOT)
    if not isinstance(cause, Exception):
        raise cause
    return _said(bug_words(cause, debug=debug), BUG)


def _said(words: str, status: int) -> int:
    click.echo(words, err=True)
    return status


def _reader_left() -> int:
    """Whoever read the output has had enough (``| head``): no error, and nothing more to write."""
    nowhere = os.open(os.devnull, os.O_WRONLY)
    os.dup2(nowhere, sys.stdout.fileno())
    return ANSWERED


# In the order a person meets them: each command's name, and the file it is in.
COMMANDS = {
    "prove": "prove", "one-end": "one_end", "through": "through", "sweep": "sweep", "plan": "plan",
    "reception": "plan", "exposure": "plan", "choose": "choose", "share": "share", "cut": "cut",
    "shelf": "shelf",
    "chart": "chart", "report": "paper", "label": "paper", "sheet": "paper", "serve": "serve",
    "listen": "listen", "meaning": "meaning",
    "loss": "lines", "lines": "lines", "impedance": "lines", "connectors": "lines", "practise": "practise",
    "demo": "demo",
    "check": "check", "completion": "completion", "manual": "manual",
}  # fmt: skip


@click.group(
    cls=Door,
    commands=Commands(COMMANDS),
    invoke_without_command=True,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
)
@click.version_option(__version__, prog_name="linewright", message="%(prog)s %(version)s")
@debug_option
@click.pass_context
def main(ctx: click.Context) -> None:
    """Know what each coax line loses on every band, from crude readings, honestly.

    Quantities carry their units: "7.2 m", "24 ft", 144MHz. Where the readings do not settle a question, linewright says
    so.
    """
    if ctx.invoked_subcommand is None:
        click.echo(ctx.get_help())
