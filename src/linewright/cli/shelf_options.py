"""Options and beginnings that the commands of the shelf share."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from contextlib import AbstractContextManager
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from linewright.cli.options import write, write_json

if TYPE_CHECKING:
    from linewright.formats.documents import Document
    from linewright.ledger.store import Ledger
    from linewright.model.line import LineType
    from linewright.model.station import Station

F = TypeVar("F", bound=Callable[..., Any])
FAR_ENDS = ("through", "open", "short")
EXPOSURES = ("indoors", "outdoors", "buried", "portable")
KINDS = ("piece", "stock", "line", "meter", "sheet", "sweep", "station", "note")

ledger_option = click.option(
    "--ledger", metavar="PATH", help="The ledger, a file or a PostgreSQL URL; else the usual place."
)
beside_option = click.option(
    "--ledger",
    metavar="PATH",
    help="Look here for pieces of which the file brings no evidence: a ledger's file, or a PostgreSQL URL.",
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


def station_with(
    path: Path, own: Sequence[LineType], ledger: str | None, progress: Callable[[float, str], None] | None = None
) -> Station:
    """Return the station of a file, its pieces looked for in a ledger where one is named.

    Raises
    ------
    InputError
        If there is no such ledger, or the station breaks a rule.
    """
    if ledger is None:
        from linewright.workflows.plan import read

        return read(path, own)
    from linewright.workflows.shelf_stations import read_station_beside

    with ledger_there(ledger) as found:
        return read_station_beside(found, path, own, progress=progress)


def ledger_there(where: str) -> AbstractContextManager[Ledger]:
    """Return an open ledger; one that is not there is refused, not made."""
    from linewright.errors import InputError

    if "://" not in where and not Path(where).exists():
        raise InputError("--ledger", f"must be a ledger that is there; got {where!r}", cure="Look at its path.")
    return opened(where)


def shown(document: Document, as_json: bool, view: Callable[[], str]) -> None:
    """Write an answer, for programs or for people."""
    if as_json:
        write_json(document)
    else:
        write(view())
