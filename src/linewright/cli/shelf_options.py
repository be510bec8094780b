"""Options and beginnings that the commands of the shelf share."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import AbstractContextManager
from typing import TYPE_CHECKING, Any, TypeVar

import click

from linewright.cli.options import write, write_json

if TYPE_CHECKING:
    from linewright.formats.documents import Document
    from linewright.ledger.store import Ledger

F = TypeVar("F", bound=Callable[..., Any])
FAR_ENDS = ("through", "open", "short")
EXPOSURES = ("indoors", "outdoors", "buried", "portable")
KINDS = ("piece", "stock", "line", "meter", "sheet", "sweep", "station", "note")

ledger_option = click.option(
    "--ledger", metavar="PATH", help="The ledger, a file or a PostgreSQL URL; else the usual place."
)
who_option = click.option("--who", default="", help="On whose word; stands in the history.")
kind_option = click.option("--kind", type=click.Choice(KINDS), default="piece", show_default=True, help="What it is.")


def piece_options(command: F) -> F:
    """Add what can be said of a piece."""
    for option in (
        click.option("--note", help="Anything worth knowing."),
        click.option("--since", metavar="DAY", help="In use since: 2024-04-02."),
        click.option("--exposure", type=click.Choice(EXPOSURES), help="Where it lives; sets when to test it again."),
        click.option("--stock", help="The drum it was cut from; pieces of one stock share their law."),
        click.option("--connectors", type=click.IntRange(0, 50), help="How many connectors are on it; 2 unless told."),
        click.option("--line", help="Its type, such as RG-213/U."),
    ):
        command = option(command)
    return command


def opened(where: str | None) -> AbstractContextManager[Ledger]:
    """Return the open ledger, having said what went amiss on opening."""
    from linewright.workflows.shelf_open import open_ledger

    found = open_ledger(where)
    for remark in found.remarks:
        click.echo(remark, err=True)
    return found


def shown(document: Document, as_json: bool, view: Callable[[], str]) -> None:
    """Write an answer, for programs or for people."""
    if as_json:
        write_json(document)
    else:
        write(view())
