"""``linewright check``: what is wrong with this installation, and the cure."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from linewright.cli.options import debug_option, json_option, ledger_option, shown

if TYPE_CHECKING:
    from linewright.present.document import Document
    from linewright.verbs.installation import Installation

SIGN = {"good": "", "doubt": "mind", "wrong": "WRONG"}


@click.command(short_help="Say what is wrong with this installation, and how to mend it.")
@ledger_option
@json_option
@debug_option
def check(ledger: str | None, as_json: bool) -> None:
    """Try each thing that linewright needs on this machine, and say what is wrong and what to do about it.

    It tests Python and the packages, arithmetic, fonts, charts, the browser, the app's port, the data folder, the
    ledger, the clock and the console. Nothing is changed. The exit status is 1 if something is wrong. `linewright shelf
    check` checks every row of a ledger.
    """
    from linewright.verbs.installation import check_installation

    found = check_installation(ledger)

    shown(found, as_json, lambda: _document(found))
    click.get_current_context().exit(0 if found.serves else 1)


def _document(found: Installation) -> Document:
    from linewright.present.document import Column, Document, Paragraph, Row, Section, section, table

    columns = (Column(""), Column(""), Column("", "wide"))
    parts = table(columns, (Row((p.part, SIGN[p.soundness], p.found), note=p.cure) for p in found.parts))
    wrong = sum(p.soundness == "wrong" for p in found.parts)
    said = f"{wrong} of {len(found.parts)} must be mended." if wrong else "Nothing is wrong."
    return Document("label", f"linewright {found.version}", sections=(
        Section("", (parts,)), section("", Paragraph(said)),
    ))  # fmt: skip
