"""``linewright demo``: the invented bench and station, end to end."""

from __future__ import annotations

from pathlib import Path

import click

from linewright.cli.options import debug_option, view_options, write, write_json
from linewright.core.messages import say


@click.command(short_help="Judge an invented bench, plan its station from a ledger, and leave the files in a folder.")
@click.argument("folder", type=click.Path(path_type=Path), default=Path("linewright-demo"))
@view_options
@debug_option
def demo(folder: Path, as_json: bool) -> None:
    """Judge an invented bench and plan the station made of its pieces.

    It leaves bench sheets from two years, a station, a ledger with both, results and charts in FOLDER (linewright-demo
    if none is named).
    """
    from linewright.cli.progress import Progress
    from linewright.present.compose.plan import verdicts
    from linewright.present.compose.prove import bench_document
    from linewright.present.document import Document, Section
    from linewright.present.writers.terminal import paragraph, section, terminal
    from linewright.verbs.demo import run_demo

    with Progress() as progress:
        done = run_demo(folder, tell=progress.say, on_progress=progress)
    if as_json:
        write_json(done.result)
    else:
        write(terminal(bench_document(done.result)))
        title = say("The station made of these pieces, each run on the band that loses most")
        each = terminal(Document("station", "", sections=(Section("", tuple(verdicts(done.plan, 1))),)))
        write("\n".join(["", *section(title, each.splitlines())]))
        write("\n".join(["", *paragraph(_afterwards(done.folder))]))


def _afterwards(folder: Path) -> str:
    return say(
        "Everything is in {folder}: what-is-here.md lists it and compares the answer with the truth. Change a reading"
        " in harbour-ridge.csv there and judge again: {prove}. See what each run of the station does: {plan}; from the"
        " tests of two years: {kept}",
        folder=str(folder), prove="linewright prove harbour-ridge.toml",
        plan="linewright plan harbour-ridge-station.toml", kept="linewright plan --ledger harbour-ridge.sqlite",
    )  # fmt: skip
