"""Trouble in words: what is wrong, where, and what to do about it. Everything here goes to standard error."""

from __future__ import annotations

import traceback

import click

from linewright.cli.cells import WIDEST, wrapped
from linewright.errors import InputError

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
