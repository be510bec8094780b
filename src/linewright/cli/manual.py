"""``linewright manual``: the help of every command as one page of the manual, in the language of man(7)."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator

import click

from linewright import __version__
from linewright.cli.options import debug_option

PARAGRAPHS = re.compile(r"\n\s*\n")
EXITS = (
    ("0", "Answered, also where the answer is doubtful."),
    ("1", "It could not be done here."),
    ("2", "What was given is wrong."),
    ("70", "A bug in linewright."),
    ("130", "Stopped by you."),
)
VARIABLES = (
    ("LINEWRIGHT_LEDGER", "The ledger: a file, or the URL of a PostgreSQL database."),
    ("NO_COLOR", "Set to anything, it takes bold and dim away."),
    ("PAGER", "The program that shows long answers on a terminal page by page; cat for none."),
    ("OPENBLAS_NUM_THREADS", "How many threads may work on numbers; one unless this is set."),
)
HELP = """\
Print the help of every command as one manual page.

\b
linewright manual | man -l -
linewright manual > ~/.local/share/man/man1/linewright.1
"""


@click.command(help=HELP, short_help="Print the manual page.")
@debug_option
@click.pass_context
def manual(ctx: click.Context) -> None:
    """Print the manual."""
    root = ctx.find_root()
    click.echo("\n".join(manual_lines(root.command)).encode())


def manual_lines(root: click.Command) -> Iterator[str]:
    """Yield the page of the manual, line by line."""
    yield f'.TH LINEWRIGHT 1 "" "linewright {__version__}" "User Commands"'
    yield ".SH NAME"
    yield rf"linewright \- {_text(_first(root))}"
    yield ".SH SYNOPSIS"
    yield r".B linewright"
    yield r".I COMMAND"
    yield r"[\fIOPTIONS\fR] [\fIARGUMENTS\fR]"
    yield ".SH DESCRIPTION"
    yield from _told(root)
    yield ".SH OPTIONS"
    yield from _options(root, "linewright")
    yield ".SH COMMANDS"
    for name, command in _every(root, "linewright"):
        if command is not root:
            yield from _command(name, command)
    yield ".SH EXIT STATUS"
    yield from _terms(EXITS)
    yield ".SH ENVIRONMENT"
    yield from _terms(VARIABLES)
    yield ".SH FILES"
    yield "Where the ledger lies unless it is named is what"
    yield r".B linewright check"
    yield "tells."


def _every(command: click.Command, name: str) -> Iterator[tuple[str, click.Command]]:
    yield name, command
    for below in command.commands if isinstance(command, click.Group) else ():
        yield from _every(command.commands[below], f"{name} {below}")  # type: ignore[attr-defined]


def _command(name: str, command: click.Command) -> Iterator[str]:
    context = click.Context(command, info_name=name, terminal_width=100)
    yield f'.SS "{_text(name)}"'
    yield rf"\fB{_text(name)}\fR {_text(' '.join(command.collect_usage_pieces(context)))}"
    yield ".PP"
    yield from _told(command)
    yield from _options(command, name)


def _options(command: click.Command, name: str) -> Iterator[str]:
    context = click.Context(command, info_name=name, terminal_width=100)
    records = (p.get_help_record(context) for p in command.params)
    return _terms(record for record in records if record and record[1])


def _first(command: click.Command) -> str:
    return " ".join(PARAGRAPHS.split((command.help or "").strip())[0].split()).rstrip(".")


def _told(command: click.Command) -> Iterator[str]:
    """Yield the paragraphs of a command's help; after a backspace the lines stay as they are."""
    for words in PARAGRAPHS.split((command.help or "").strip()):
        if "\b" in words:
            yield from (".PP", ".nf", ".RS 4")
            yield from (_text(line) for line in words.replace("\b", "").strip("\n").splitlines())
            yield from (".RE", ".fi", ".PP")
        else:
            yield _text(" ".join(words.split()))
            yield ".PP"


def _terms(pairs: Iterable[tuple[str, str]]) -> Iterator[str]:
    for term, words in pairs:
        yield ".TP"
        yield rf"\fB{_text(term)}\fR"
        yield _text(" ".join(words.split()))


def _text(words: str) -> str:
    r"""Return words that man(7) takes as they are: no line begins with a request, a hyphen is a hyphen.

    >>> _text("--far-end"), _text(".toml \\ x"), _text("√f ± 1 °")
    ('\\-\\-far\\-end', '\\&.toml \\(rs x', '\\[u221A]f \\[u00B1] 1 \\[u00B0]')
    """
    plain = words.replace("\\", r"\(rs").replace("-", r"\-").replace("`", "")
    plain = "".join(sign if sign.isascii() else rf"\[u{ord(sign):04X}]" for sign in plain)
    return rf"\&{plain}" if plain[:1] in (".", "'") else plain
