"""``linewright check``: what is wrong with this installation, and the cure."""

from __future__ import annotations

import click

from linewright.cli.options import debug_option, json_option, ledger_option, shown

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

    def view() -> str:
        from linewright.cli.text import Table, bold, items, page

        table = Table(("", "", ""), "llw")
        for p in found.parts:
            table.add(p.part, SIGN[p.soundness], p.found)
            table.under(p.cure)
        wrong = sum(p.soundness == "wrong" for p in found.parts)
        said = f"{wrong} of {len(found.parts)} must be mended." if wrong else "Nothing is wrong."
        return page([[bold(f"linewright {found.version}")], table.lines(), items([said])])

    shown(found, as_json, view)
    click.get_current_context().exit(0 if found.serves else 1)
