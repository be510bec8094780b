"""The command ``linewright``: its commands, and what each ending means.

Exit 0: answered, also when the answer is doubtful. 2: what was given is wrong. 1: it could not be done here. 70: a
bug. 130: the person stopped it. Nothing but a bug under ``--debug`` shows a traceback.
"""

from __future__ import annotations

import io
import os
import sys
import traceback
from collections.abc import Sequence
from typing import Any

import click

from linewright import __version__
from linewright.cli.chart import chart
from linewright.cli.choose import choose
from linewright.cli.connectors import connectors
from linewright.cli.demo import demo
from linewright.cli.exposure import exposure
from linewright.cli.impedance import impedance
from linewright.cli.label import label
from linewright.cli.lines import lines
from linewright.cli.loss import loss
from linewright.cli.meaning import meaning
from linewright.cli.one_end import one_end
from linewright.cli.options import debug_option
from linewright.cli.plan import plan
from linewright.cli.prove import prove
from linewright.cli.reception import reception
from linewright.cli.report import report
from linewright.cli.serve import serve
from linewright.cli.share import share
from linewright.cli.sheet import sheet
from linewright.cli.shelf import shelf
from linewright.cli.sweep import sweep
from linewright.cli.through import through
from linewright.core.errors import CannotError, InputError
from linewright.present.writers.terminal import WIDEST, wrapped

# Trouble in words: what is wrong, where, and what to do about it. Everything here goes to standard error

MOST = 40
"""Nobody mends more at once."""


def input_words(error: InputError) -> str:
    """Return what is wrong with what was given, one problem a paragraph, with their number when there are several."""
    others: tuple[InputError, ...] = getattr(error, "others", ())
    if not others:
        return _wrapped(str(error))
    problems = [error, *others]
    lines = [f"{len(problems)} problems:"]
    for one in problems[:MOST]:
        lines += wrapped(str(one), WIDEST, first="- ", rest="  ")
    if len(problems) > MOST:
        lines.append(f"And {len(problems) - MOST} more.")
    return "\n".join(lines)


def usage_words(error: click.UsageError) -> str:
    """Return what is wrong with the command as typed, and how it is written."""
    ctx = error.ctx
    if ctx is None:
        return _wrapped(error.format_message())
    usage = " ".join(ctx.get_usage().split())
    return "\n".join([_wrapped(error.format_message()), *wrapped(usage, WIDEST), f"Help: {ctx.command_path} --help"])


def cannot_words(cause: BaseException) -> str:
    """Return why it could not be done here."""
    if isinstance(cause, OSError):
        place = f"{cause.filename}: " if cause.filename else ""
        return _wrapped(f"Could not: {place}{cause.strerror or cause}.")
    return _wrapped(str(cause))


def bug_words(cause: BaseException, *, debug: bool) -> str:
    """Return the one line that admits a bug; under ``--debug`` its traceback as well."""
    kind = type(cause).__name__
    if debug:
        return "".join(traceback.format_exception(cause)) + f"This is a bug in linewright ({kind}). Please report it."
    return f"This is a bug in linewright ({kind}). Please report it with what the same command says with --debug."


def _wrapped(text: str) -> str:
    return "\n".join(wrapped(text, WIDEST))


# The command ``linewright``: its commands, and what each ending means

ANSWERED, CANNOT, WRONG, BUG, STOPPED = 0, 1, 2, 70, 130


class Door(click.Group):
    """A group of commands that ends calmly whatever happens behind it."""

    def main(  # type: ignore[override]
        self, args: Sequence[str] | None = None, *, standalone_mode: bool = True, **extra: Any
    ) -> Any:
        """Run a command and leave with its exit status; without ``standalone_mode``, return or raise."""
        if not standalone_mode:
            return super().main(args, standalone_mode=False, **extra)
        given = list(sys.argv[1:] if args is None else args)
        sys.exit(self._ended(given, **extra))

    def _ended(self, given: list[str], **extra: Any) -> int:
        _never_fail_on_a_sign()
        try:
            status = super().main(given, standalone_mode=False, **extra)
            sys.stdout.flush()
        except BaseException as cause:
            return _status(cause, debug="--debug" in given)
        return status if isinstance(status, int) else ANSWERED

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Return the commands in the order a person meets them."""
        return list(self.commands)


def _never_fail_on_a_sign() -> None:
    """Let a terminal that lacks a sign (√, ±) show another instead."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="replace")


def _status(cause: BaseException, *, debug: bool) -> int:
    """Say what went wrong and return the exit status that stands for it."""
    # Outside standalone mode the command-line library leaves by itself in one case only: the pipe broke.
    if isinstance(cause, (BrokenPipeError, SystemExit)):
        return _reader_left()
    if isinstance(cause, (KeyboardInterrupt, click.Abort)):
        return _said("Stopped.", STOPPED)
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


@click.group(
    cls=Door,
    invoke_without_command=True,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
)
@click.version_option(__version__, prog_name="linewright", message="%(prog)s %(version)s")
@debug_option
@click.pass_context
def main(ctx: click.Context) -> None:
    """Know what each coax line loses on every band, from crude readings, honestly.

    Quantities carry their units: "7.2 m", "24 ft", 144MHz. Where the readings cannot say, neither does linewright.
    """
    if ctx.invoked_subcommand is None:
        click.echo(ctx.get_help())


# In the order a person meets them.
_COMMANDS = (
    prove, one_end, through, sweep, plan, reception, exposure, choose, share, shelf, chart, report, label, sheet,
    serve, meaning, loss, lines, impedance, connectors, demo,
)  # fmt: skip
for _command in _COMMANDS:
    main.add_command(_command)
