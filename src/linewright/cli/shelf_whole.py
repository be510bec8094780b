"""``linewright shelf export``, ``import``, ``backup``: the whole ledger at once."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from linewright.cli.options import debug_option, json_option
from linewright.cli.shelf_options import ledger_option, opened

if TYPE_CHECKING:
    from linewright.workflows.ledger_merge import Merged


@click.command("export", short_help="Write the whole ledger as a zip of open files.")
@click.argument("path", type=click.Path(path_type=Path))
@ledger_option
@json_option
@debug_option
def export(path: Path, ledger: str | None, as_json: bool) -> None:
    """Write the whole ledger to PATH: a zip of TOML, CSV and JSON, and every filed file as it came."""
    from linewright.workflows.shelf import export_ledger

    with opened(ledger) as found:
        export_ledger(found, path)
        where = found.where
    _said(as_json, "export", f"The ledger {where}\nis written to {path}.", path=str(path), ledger=where)


@click.command("import", short_help="Make a ledger of an export again.")
@click.argument("path", type=click.Path(path_type=Path))
@ledger_option
@json_option
@debug_option
@click.option("--clash", type=click.Choice(["mine", "both"]), help="Where something stands here otherwise: keep which.")
def import_(path: Path, ledger: str | None, as_json: bool, clash: Any) -> None:
    """Bring the export at PATH into the ledger: an empty one becomes the exported one, history and all.

    Into any other comes what is not there yet. Nothing is written over: where something stands there otherwise, nothing
    comes until --clash says whether mine is kept, or both.
    """
    from dataclasses import asdict

    from linewright.workflows.shelf import merge_ledger

    with opened(ledger) as found:
        merged = merge_ledger(found, path, clash=clash or "")
        where = found.where
    told = {"path": str(path), "ledger": where, "items": len(merged.came), **asdict(merged)}
    _said(as_json, "import", "\n".join(_came(merged, where)), **told)


def _came(merged: Merged, where: str) -> Iterator[str]:
    yield f"{len(merged.came)} things came into the ledger\n{where}."
    if merged.same:
        yield f"{merged.same} were there already, just so."
    for b in merged.clashed:
        what = f"theirs is called {b.called} here" if b.called else "mine stays, theirs was left out"
        yield f"{b.kind} {b.key}: {what}."


@click.command(short_help="Copy the ledger's file now.")
@ledger_option
@json_option
@debug_option
def backup(ledger: str | None, as_json: bool) -> None:
    """Copy the ledger's file now, beside it. A copy is made by itself once a day."""
    from linewright.workflows.shelf import back_up

    with opened(ledger) as found:
        copy = back_up(found)
        where = found.where
    _said(as_json, "backup", f"The ledger {where}\nis copied to {copy}.", path=str(copy), ledger=where)


def _said(as_json: bool, name: str, words: str, **told: Any) -> None:
    import json

    document = {"schema": f"linewright/{name}/1", **told}
    click.echo(json.dumps(document, indent=2, ensure_ascii=False).encode() if as_json else words)
