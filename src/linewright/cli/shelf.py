"""``linewright shelf``: the record of every piece, meter, sheet and sweep."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any
from zipfile import is_zipfile

import click

from linewright.cli.lines import make_options
from linewright.cli.options import (
    FAR_ENDS,
    F,
    debug_option,
    echo,
    explain_option,
    is_short,
    keep,
    kind_option,
    ledger_option,
    opened,
    piece_options,
    shown,
    shown_kept,
    view_options,
    who_option,
    write,
)
from linewright.core.messages import say, say_many, together

if TYPE_CHECKING:
    from linewright.core.nouns.shelf import Kept, PieceHistory
    from linewright.present.document import Document
    from linewright.store.ledger import Ledger
    from linewright.verbs.ledger_merge import Merged
    from linewright.verbs.shelf_open import By, Checked

DAY = click.DateTime(formats=["%Y-%m-%d"])


def looking(command: F) -> F:
    """Add which ledger, and how the answer is written."""
    return ledger_option(view_options(debug_option(command)))


def explaining(command: F) -> F:
    """Add the same, and how much of the answer is wanted."""
    return ledger_option(view_options(explain_option(debug_option(command))))


def keeping(command: F) -> F:
    """Add which ledger, on whose word something is kept, and how the answer is written."""
    return ledger_option(who_option(view_options(debug_option(command))))


# ``linewright shelf export``, ``import``, ``backup``: the whole ledger at once


@click.command("export", short_help="Write the whole ledger as a zip of open files, or a station as TOML.")
@click.argument("path", type=click.Path(path_type=Path))
@click.option("--station", metavar="NAME", help="Which station to write to a .toml file, if the ledger has several.")
@looking
def export(path: Path, station: str | None, ledger: str | None, as_json: bool) -> None:
    """Write the ledger to PATH. The ending decides: .toml for a station, .zip for everything.

    A zip holds TOML, CSV and JSON, and every filed file unchanged. A station is written with its pieces, as a file that
    you can edit; what was measured of them stays in the ledger.
    """
    from linewright.verbs.shelf import export_ledger, export_station

    with opened(ledger) as found:
        where = found.where
        if path.suffix.lower() == ".toml":
            export_station(found, path, station)
            said = say("Wrote the station to {path}.", path=str(path))
            _said(as_json, said, {"schema": "linewright/export/1", "path": str(path), "ledger": where})
            return
        export_ledger(found, path)
    said = say("The ledger {ledger}\nis written to {path}.", ledger=where, path=str(path))
    _said(as_json, said, {"schema": "linewright/export/1", "path": str(path), "ledger": where})


@click.command("import", short_help="Read in a station, gear or a sheet (TOML), or a whole ledger (zip).")
@click.argument("path", type=click.Path(path_type=Path))
@click.option("--on", type=DAY, metavar="DAY", help="Day of the measurements in the file (default: today).")
@keeping
@click.option("--clash", type=click.Choice(["mine", "both"]), help="Which to keep where the two differ.")
def import_(path: Path, on: datetime | None, ledger: str | None, who: str, as_json: bool, clash: Any) -> None:
    """Read PATH into the ledger. The ending decides: .toml for one file, .zip for a whole ledger.

    A TOML file is a station, a bench sheet, or gear; one that the ledger has already is changed, and every change can
    be undone.

    From a zip, an empty ledger becomes the exported one, history included; any other ledger gets what it lacks. Nothing
    is overwritten: where something differs, nothing is imported until --clash says whether to keep mine, or both.
    """
    from dataclasses import asdict

    from linewright.verbs.shelf import By, file_any, merge_ledger

    if path.suffix.lower() != ".zip" and not is_zipfile(path):
        with opened(ledger) as found:
            filed = file_any(found, path, on=on.date() if on else None, by=By(who=who))
        shown_kept(filed, as_json, filed.filed)
        return
    with opened(ledger) as found:
        merged = merge_ledger(found, path, clash=clash or "")
        where = found.where
    told = {"path": str(path), "ledger": where, "items": len(merged.came), **asdict(merged)}
    _said(as_json, together(_came(merged, where), "\n"), {"schema": "linewright/import/1", **told})


def _came(merged: Merged, where: str) -> Iterator[str]:
    yield say_many(
        "{count} thing came into the ledger\n{ledger}.",
        "{count} things came into the ledger\n{ledger}.",
        len(merged.came), ledger=where,
    )  # fmt: skip
    if merged.same:
        yield say_many("{count} was there already, just so.", "{count} were there already, just so.", merged.same)
    for b in merged.clashed:
        told = {"kind": say(b.kind), "key": b.key}
        if b.called:
            yield say("{kind} {key}: theirs is called {called} here.", called=b.called, **told)
        else:
            yield say("{kind} {key}: kept mine, left theirs out.", **told)


@click.command(short_help="Copy the ledger's file now.")
@looking
def backup(ledger: str | None, as_json: bool) -> None:
    """Copy the ledger's file now, beside it. A copy is made automatically once a day."""
    from linewright.verbs.shelf import back_up

    with opened(ledger) as found:
        copy = back_up(found)
        where = found.where
    said = say("The ledger {ledger}\nis copied to {path}.", ledger=where, path=str(copy))
    _said(as_json, said, {"schema": "linewright/backup/1", "path": str(copy), "ledger": where})


@click.command(short_help="Check the whole ledger: every page, every row.")
@looking
def check(ledger: str | None, as_json: bool) -> None:
    """Check the whole ledger: every page and index, every row against its checksum. Nothing is changed.

    The exit status is 1 if something is damaged.
    """
    from linewright.verbs.shelf import check_ledger

    found = check_ledger(ledger)
    _said(as_json, together(_soundness(found), "\n"), found.to_dict())
    click.get_current_context().exit(1 if found.hurt or found.unchecked else 0)


def _soundness(found: Checked) -> Iterator[str]:
    told = {"ledger": found.ledger}
    if found.unchecked:
        yield say("The ledger {ledger}\ncould not be checked: {what}.", what=", ".join(found.unchecked), **told)
    elif found.hurt:
        yield say("The ledger {ledger}\nis damaged in {what}.", what=", ".join(found.hurt), **told)
    else:
        yield say("The ledger {ledger}\nis whole.", **told)
    if found.hurt:
        newest = found.newest_whole
        yield say("The newest sound copy is {copy}.", copy=newest) if newest else say("None of its copies is sound.")
        yield say("`linewright shelf recover` repairs it.")


@click.command(short_help="Repair a damaged ledger.")
@looking
def recover(ledger: str | None, as_json: bool) -> None:
    """Repair a damaged ledger: keep what can be read, and take the rest from its newest sound copy.

    The damaged file is kept beside it. Stop the app and every other command on the ledger first.
    """
    from linewright.verbs.shelf import recover_ledger

    done = recover_ledger(ledger)
    lines = (
        say("The ledger {ledger}\nis whole again: {read} rows as they were, {copied} from the copy,\n"
            "{rebuilt} made again from the history, {lost} lost.",
            ledger=str(done.path), read=done.read, copied=done.copied, rebuilt=done.rebuilt, lost=done.lost),
        say("The copy was {copy}.", copy=str(done.copy)) if done.copy else say("There was no sound copy."),
        say("The damaged file is now {file}.", file=str(done.damaged)),
    )  # fmt: skip
    _said(as_json, together(lines, "\n"), done.to_dict())


def _said(as_json: bool, words: str, document: dict[str, Any]) -> None:
    import json

    if as_json:
        click.echo(json.dumps(document, indent=2, ensure_ascii=False).encode())
    else:
        echo(words)


# ``linewright shelf``: what is kept of every piece, meter, sheet and sweep

DAY = click.DateTime(formats=["%Y-%m-%d"])
date_option = click.option("--date", "day", type=DAY, metavar="DAY", help="Use tests up to this day (default: today).")


def limit_options(command: F) -> F:
    """Add the limit whose passing is asked about."""
    for option in (
        click.option("--at", metavar="FREQ", help="Frequency for --limit: 432MHz."),
        click.option("--limit", metavar="LOSS", help="Say when the loss will pass this: 3dB. Needs --at."),
    ):
        command = option(command)
    return command


def _limits(limit: str | None, at: str | None) -> list[tuple[float, float]]:
    if (limit is None) != (at is None):
        raise click.UsageError(say("--limit and --at go together: when the loss passes 3dB at 432MHz."))
    if limit is None or at is None:
        return []
    from linewright.files import fields

    return [(fields.frequency(at, "--at"), fields.above_zero(fields.loss(limit, "--limit"), limit, "--limit"))]


@click.group(short_help="Keep a record of pieces, meters, sheets and sweeps.")
def shelf() -> None:
    """Keep a record of pieces, meters, bench sheets and sweeps, and see what is known of each piece.

    Nothing is ever deleted: a change can be undone, and what is archived can be restored.
    """


@shelf.command(short_help="Put a piece on the shelf.")
@click.argument("tag")
@click.option("--length", required=True, help="Its length with its unit, such as 7.2m.")
@piece_options
@keeping
def add(tag: str, ledger: str | None, who: str, as_json: bool, **told: Any) -> None:
    """Put a piece on the shelf, under the TAG that is tied to it."""
    from linewright.verbs.shelf import add as put

    body = {"tag": tag} | {k: v for k, v in told.items() if v is not None}
    keep((ledger, who, as_json), lambda found, by: put(found, "piece", body, by=by))


@shelf.command(short_help="Change what the shelf says about a piece.")
@click.argument("tag")
@click.option("--length", help="Its length with its unit, such as 7.2m.")
@piece_options
@keeping
def change(tag: str, ledger: str | None, who: str, as_json: bool, **told: Any) -> None:
    """Change what the shelf says about the piece TAG. An empty value removes a field."""
    from linewright.verbs.shelf import change as put

    fields = {k: None if v == "" else v for k, v in told.items() if v is not None}
    keep((ledger, who, as_json), lambda found, by: put(found, "piece", tag, fields, by=by))


@shelf.command(short_help="Give a piece another tag.")
@click.argument("tag")
@click.argument("new")
@keeping
def rename(tag: str, new: str, ledger: str | None, who: str, as_json: bool) -> None:
    """Give the piece TAG the tag NEW. It keeps its tests and its history; the history shows both tags."""
    from linewright.verbs.shelf import rename as put

    keep((ledger, who, as_json), lambda found, by: put(found, tag, new, by=by))


new_option = click.option("--tag", "new", metavar="NEW", help="The new tag (default: the old one with a letter).")
when_option = click.option("--on", type=DAY, metavar="DAY", help="Day it was done (default: today).")


@shelf.command("cut", short_help="Cut a piece in two.")
@click.argument("tag")
@click.argument("length")
@click.option("--tags", nargs=2, metavar="A B", help="The tags of the two (default: the old one with a letter).")
@when_option
@keeping
def cut_(tag: str, length: str, tags: tuple[str, ...] | None, **how: Any) -> None:
    """Cut the piece TAG in two, the first part of this LENGTH. What was known of it carries over to both."""
    from linewright.verbs.shelf import cut

    _lived(how, lambda found, when: cut(found, tag, length, tags or (), **when))


@shelf.command("join", short_help="Join pieces of one type end to end.")
@click.argument("tags", nargs=-1, required=True)
@new_option
@click.option(
    "--connectors",
    type=click.IntRange(0, 50),
    help="Number of connectors left on it (default: all that the pieces had).",
)
@when_option
@keeping
def join_(tags: tuple[str, ...], new: str | None, connectors: int | None, **how: Any) -> None:
    """Join the pieces TAGS end to end for good, in this order. What was known of them carries over."""
    from linewright.verbs.shelf import join

    _lived(how, lambda found, when: join(found, tags, new, connectors=connectors, **when))


@shelf.command("shorten", short_help="Shorten a piece.")
@click.argument("tag")
@click.argument("length")
@new_option
@when_option
@keeping
def shorten_(tag: str, length: str, new: str | None, **how: Any) -> None:
    """Shorten the piece TAG to this LENGTH. What was known of it carries over, and its runs follow."""
    from linewright.verbs.shelf import shorten

    _lived(how, lambda found, when: shorten(found, tag, length, new, **when))


@shelf.command("connectors", short_help="Fit new connectors to a piece.")
@click.argument("tag")
@click.argument("count", type=click.IntRange(0, 50))
@new_option
@when_option
@keeping
def connectors_(tag: str, count: int, new: str | None, **how: Any) -> None:
    """Fit new connectors to the piece TAG, COUNT in all. What was known of its line stays, and its runs follow."""
    from linewright.verbs.shelf import fit_connectors

    _lived(how, lambda found, when: fit_connectors(found, tag, count, new, **when))


def _lived(how: dict[str, Any], done: Callable[[Ledger, dict[str, Any]], Kept]) -> None:
    day = how["on"].date() if how["on"] else None
    keep((how["ledger"], how["who"], how["as_json"]), lambda found, by: done(found, {"on": day, "by": by}))


@shelf.command("line", short_help="Add a line type of your own.")
@click.argument("name")
@click.option(
    "--point",
    "points",
    multiple=True,
    nargs=2,
    metavar="FREQ LOSS",
    help=('A point of its data sheet: "10 MHz" "1.5 dB/100m".'),
)
@make_options
@keeping
def line(
    name: str, points: tuple[tuple[str, str], ...], ledger: str | None, who: str, as_json: bool, **told: Any
) -> None:
    """Add a line type of your own as NAME, from a maker's points (--point, repeated), its construction, or both.

    You can use it wherever a type is asked for, and it is exported with the ledger.
    """
    from linewright.verbs.line_page import line_body_of
    from linewright.verbs.shelf import add as put

    body = line_body_of(name, points, {k: v for k, v in told.items() if v is not None})
    keep((ledger, who, as_json), lambda found, by: put(found, "line", body, by=by))


@shelf.command("list", short_help="List the pieces with the estimate for each.")
@click.option("--archived", is_flag=True, help="List archived things instead.")
@click.option("--due", is_flag=True, help="List what to test first, by how much your runs would gain.")
@date_option
@looking
def list_(archived: bool, due: bool, day: datetime | None, ledger: str | None, as_json: bool) -> None:
    """List the pieces with the estimate for each, which to test again, and the meters and runs in the ledger.

    With --due, list what to test first, starting with the piece whose test would narrow your runs' intervals most.
    """
    from linewright.cli.progress import Progress
    from linewright.present.compose.shelf import due_document, shelf_document
    from linewright.verbs.due import due_first
    from linewright.verbs.shelf_stations import kept_gear, shelf_with_runs

    if due and archived:
        raise click.UsageError(say("What is put away is not tested: give --due or --archived, not both."))
    if due:
        with opened(ledger) as found, Progress() as progress:
            first = due_first(found, on=day.date() if day else None, progress=progress)
        shown(first, as_json, lambda: due_document(first.due))
        return
    with opened(ledger) as found, Progress() as progress:
        listed = shelf_with_runs(found, archived=archived, on=day.date() if day else None, progress=progress)
        meters = [i for i in kept_gear(found).gear if i.kind == "meter" and not archived]
    shown(listed, as_json, lambda: shelf_document(listed, meters))


@shelf.command(short_help="Find filed sweeps, draw them over each other, export them.")
@click.argument("piece", required=False)
@click.option("--since", type=DAY, metavar="DAY", help="Swept on or after this day: 2024-04-02.")
@click.option("--until", type=DAY, metavar="DAY", help="Swept on or before it.")
@click.option("--hash", "sha256", metavar="SHA256", help="Only the file with this hash, or with these first digits.")
@click.option("--same-as", type=click.Path(path_type=Path), metavar="FILE", help="Only sweeps identical to this file.")
@click.option("--archived", is_flag=True, help="Include archived sweeps.")
@click.option("--chart", type=click.Path(path_type=Path), metavar="OUT", help="Draw them: .svg, .png or .pdf.")
@click.option(
    "--export",
    "place",
    type=click.Path(path_type=Path),
    metavar="PLACE",
    help="Write them as filed, in Touchstone: a .s1p or .s2p file, or a folder.",
)
@looking
def sweeps(piece: str | None, ledger: str | None, as_json: bool, **said: Any) -> None:
    """Find filed sweeps, of PIECE or of all pieces, by day or by the hash of the file.

    Sweeps through a piece are drawn as insertion loss, sweeps from one end as return loss, six at most.
    """
    from linewright.present.compose.shelf import sweeps_document
    from linewright.verbs.kept_sweeps import find_sweeps, hash_of, overlay, write_sweeps
    from linewright.verbs.results import check_chart_place, put_chart

    chart: Path | None = said["chart"]
    check_chart_place(chart)
    if said["same_as"] is not None and said["sha256"] is not None:
        raise click.UsageError(say("--hash and --same-as both name a file: give one of them."))
    since, until = (said[n].date() if said[n] else None for n in ("since", "until"))
    sha256 = hash_of(said["same_as"]) if said["same_as"] is not None else said["sha256"]
    with opened(ledger) as found:
        listed = find_sweeps(found, piece=piece, since=since, until=until, sha256=sha256, archived=said["archived"])
        keys = [s.key for s in listed.sweeps]
        if chart is not None:
            drawn = overlay(found, keys)
            for what, spec in drawn:
                named = chart if len(drawn) == 1 else chart.with_stem(f"{chart.stem} {what}")
                put_chart(spec, named)
        written = write_sweeps(found, keys, said["place"]) if said["place"] is not None else ()
    for path in written:
        echo(say("Written to {path}.", path=str(path)), err=True)
    shown(listed, as_json, lambda: sweeps_document(listed.sweeps))


@shelf.command(short_help="List the runs of all stations in the ledger.")
@looking
def runs(ledger: str | None, as_json: bool) -> None:
    """List the runs of every station in the ledger, each with its parts from the radio to the antenna."""
    from linewright.present.compose.shelf import runs_document
    from linewright.verbs.shelf_stations import kept_runs

    with opened(ledger) as found:
        listed = kept_runs(found)
    shown(listed, as_json, lambda: runs_document(listed.runs))


@shelf.command(short_help="List the gear in the ledger.")
@looking
def gear(ledger: str | None, as_json: bool) -> None:
    """List the meters, attenuators, loads, radios and antennas in the ledger, as they were entered."""
    from linewright.present.compose.shelf import gear_document
    from linewright.verbs.shelf_stations import kept_gear

    with opened(ledger) as found:
        listed = kept_gear(found)
    shown(listed, as_json, lambda: gear_document(listed.gear))


@shelf.command("run", short_help="Change a run of a station in the ledger.")
@click.argument("name")
@click.option(
    "--set", "settings", multiple=True, metavar="KEY=VALUE", help="A field, as in a station file; may be repeated."
)
@click.option("--add", is_flag=True, help="Add it as a new run.")
@click.option("--remove", is_flag=True, help="Delete the run.")
@click.option("--station", metavar="NAME", help="Which station, if the ledger has several.")
@keeping
def run_(name: str, settings: tuple[str, ...], ledger: str | None, as_json: bool, **how: Any) -> None:
    """Change the run NAME of a station in the ledger, field by field, as in a station file.

    An empty value removes a field.

    \b
    linewright shelf run "two-metre beam" --set power="25 W"
    linewright shelf run "two-metre beam" --set 'chain = [{piece = "blue 7"}, {connector = "N"}]'
    linewright shelf run "old wire" --remove
    """  # noqa: D301 (the command line library wants the control character itself)
    from linewright.files.toml_reader import written_field
    from linewright.verbs.shelf import change_run

    if how["remove"] == bool(settings) or (how["add"] and how["remove"]):
        raise click.UsageError(say("Say what becomes of it: --set KEY=VALUE, with --add for a new run, or --remove."))
    fields = None if how["remove"] else dict(written_field(text) for text in settings)
    keep(
        (ledger, how["who"], as_json),
        lambda found, by: change_run(found, name, fields, station=how["station"], new=how["add"], by=by),
    )


@shelf.command(short_help="List the plans saved beside runs, and what each would do.")
@click.argument("run", required=False)
@click.option("--station", metavar="NAME", help="Which station, if the ledger has several.")
@looking
def plans(run: str | None, station: str | None, ledger: str | None, as_json: bool) -> None:
    """List the plans saved beside runs, of one RUN or of all, and compare each with the run as it is."""
    from linewright.cli.progress import Progress
    from linewright.present.compose.shelf import plans_document
    from linewright.verbs.shelf import kept_plans

    with Progress() as progress, opened(ledger) as found:
        listed = kept_plans(found, run, station=station, progress=progress)
    shown(listed, as_json, lambda: plans_document(listed.plans))


@shelf.command("plan", short_help="Save a plan beside a run, apply it, or delete it.")
@click.argument("run")
@click.argument("name")
@click.option(
    "--set",
    "settings",
    multiple=True,
    metavar="KEY=VALUE",
    help="A field that differs, as in a station file; may be repeated.",
)
@click.option("--apply", is_flag=True, help="Put the plan in place of the run.")
@click.option("--drop", is_flag=True, help="Delete the plan.")
@click.option("--station", metavar="NAME", help="Which station, if the ledger has several.")
@keeping
def plan_(run: str, name: str, settings: tuple[str, ...], ledger: str | None, as_json: bool, **how: Any) -> None:
    """Save RUN, changed by --set, as the plan NAME beside it; or apply or delete that plan.

    A plan changes no run until it is applied. It then stays beside the run; shelf undo undoes the step.

    \b
    linewright shelf plan "two-metre beam" thicker --set 'chain = [{line = "corrugated 1/2 in foam", length = "20 m"}]'
    linewright shelf plans "two-metre beam"
    linewright shelf plan "two-metre beam" thicker --apply
    """  # noqa: D301 (the command line library wants the control character itself)
    from linewright.files.toml_reader import written_field
    from linewright.verbs.shelf import drop_plan, keep_plan, lay_plan

    if bool(settings) + how["apply"] + how["drop"] > 1:
        raise click.UsageError(say("One at a time: --set what is other in a new plan, or --apply, or --drop."))

    def done(found: Ledger, by: By) -> Kept:
        if how["apply"] or how["drop"]:
            return (lay_plan if how["apply"] else drop_plan)(found, run, name, station=how["station"], by=by)
        fields = dict(written_field(text) for text in settings)
        return keep_plan(found, run, name, fields, station=how["station"], by=by)

    keep((ledger, how["who"], as_json), done)


@shelf.command(short_help="Show everything known about a piece.")
@click.argument("tag")
@click.option(
    "--date",
    "day",
    type=click.DateTime(["%Y-%m-%d"]),
    metavar="DAY",
    help="Use tests up to this day (default: today).",
)
@limit_options
@explaining
def show(tag: str, day: datetime | None, ledger: str | None, as_json: bool, explain: bool, **ahead: Any) -> None:
    """Show the estimate for the piece TAG on a day, and the tests up to that day that it rests on."""
    from linewright.cli.progress import Progress
    from linewright.present.compose.shelf import piece_document
    from linewright.verbs.shelf import history_of

    limits = _limits(**ahead)
    with opened(ledger) as found, Progress() as progress:
        known = history_of(found, tag, on=day.date() if day else None, limits=limits, progress=progress)
    _shown_piece(known, as_json, lambda: piece_document(known), explain=explain)


@shelf.command(short_help="List the meters and how they read.")
@looking
def meters(ledger: str | None, as_json: bool) -> None:
    """List the meters, and how each reads on the bands that some session showed."""
    from linewright.present.compose.shelf import meters_document
    from linewright.verbs.meters import list_meters

    with opened(ledger) as found:
        known = list_meters(found)
    shown(known, as_json, lambda: meters_document(known.meters))


@shelf.command(short_help="Show how a meter reads, band by band.")
@click.argument("name")
@click.option(
    "-o", "--output", type=click.Path(path_type=Path), metavar="FILE", help="Write its correction card: .pdf, .html."
)
@date_option
@looking
def meter(name: str, output: Path | None, day: datetime | None, ledger: str | None, as_json: bool) -> None:
    """Show how the meter NAME reads on each band, since when that is known and from which sessions.

    With -o, write it as a correction card to print and keep with the meter.
    """
    from linewright.present.compose.shelf import meters_document
    from linewright.verbs.meters import show_meter
    from linewright.verbs.report import ReportWish, ending_of, write_report
    from linewright.verbs.report_kept import card_of_meter
    from linewright.verbs.results import check_place

    if output is not None:
        ending_of(output)
        check_place(output)
    with opened(ledger) as found:
        known = show_meter(found, name, on=day.date() if day else None)
        if output is not None:
            on = (day or datetime.now().astimezone()).date()
            write_report(card_of_meter(found, name, ReportWish(on, ("--output", output.name))), output)
    if output is not None:
        echo(say("Wrote {path}.", path=str(output)), err=as_json)
        if not as_json:
            return
    shown(known, as_json, lambda: meters_document([known]))


@shelf.command(short_help="Record what an SWR meter shows for known loads.")
@click.argument("name")
@click.option("--at", required=True, metavar="FREQ", help="The band: 144.3MHz.")
@click.option(
    "--load", "loads", multiple=True, nargs=2, required=True, metavar="LOAD SWR",
    help="A load, \"25 ohm\" or the tag of one in the ledger, and the SWR shown; may be repeated.",
)  # fmt: skip
@when_option
@keeping
def calibrate(  # noqa: PLR0913 - one argument an option
    name: str, at: str, loads: tuple[tuple[str, str], ...], on: datetime | None, ledger: str | None, who: str,
    as_json: bool,
) -> None:  # fmt: skip
    """Record what the SWR meter NAME shows for known loads, and say how it reads from then on.

    Two loads on either side of 50 ohms show how much its bridge leaks and how its scale stretches a reflection.

    \b
    linewright shelf calibrate bridge --at 144.3MHz --load "25 ohm" 2.1 --load "100 ohm" 1.9 --load "50 ohm" 1.1
    """  # noqa: D301 (the command line library wants the control character itself)
    from linewright.catalogue.cautions import CALIBRATING, cautions
    from linewright.files import fields
    from linewright.present.compose.shelf import meters_document
    from linewright.verbs.meters import calibrate_meter
    from linewright.verbs.shelf import By

    read = [(load, fields.swr(fields.written_number(swr, "--load"), "--load")) for load, swr in loads]
    hertz, day = fields.frequency(at, "--at"), on.date() if on else None
    with opened(ledger) as found:
        known = calibrate_meter(found, name, hertz, read, on=day, by=By(who=who))
    shown(known, as_json, lambda: meters_document([known], cautions(*CALIBRATING)))


@shelf.command(short_help="Show a piece over the years, or all changes of the ledger.")
@click.argument("tag", required=False)
@click.option("--most", type=click.IntRange(1), default=30, show_default=True, help="Most changes to show.")
@date_option
@limit_options
@explaining
def history(
    tag: str | None, most: int, day: datetime | None, ledger: str | None, as_json: bool, explain: bool, **ahead: Any
) -> None:
    """Show the piece TAG over the years: each test, the drift, the changes. Without it, the ledger's newest changes."""
    from linewright.cli.progress import Progress
    from linewright.present.compose.shelf import changes_document, history_document
    from linewright.verbs.shelf import changes, history_of

    limits = _limits(**ahead)
    with opened(ledger) as found:
        if tag is None:
            made = changes(found, most=most)
            shown(made, as_json, lambda: changes_document(made.changes))
            return
        with Progress() as progress:
            known = history_of(found, tag, on=day.date() if day else None, limits=limits, progress=progress)
    _shown_piece(known, as_json, lambda: history_document(known, most), explain=explain)


def _shown_piece(known: PieceHistory, as_json: bool, compose: Callable[[], Document], *, explain: bool) -> None:
    """Write what is known of a piece, in few lines where that is asked for."""
    if as_json or not is_short():
        shown(known, as_json, compose, explain=explain)
        return
    from linewright.cli.short import short_piece

    write(short_piece(known))


@shelf.command(short_help="Archive something.")
@click.argument("key")
@kind_option
@keeping
def archive(key: str, kind: Any, ledger: str | None, who: str, as_json: bool) -> None:
    """Archive a piece (or with --kind a sheet, a sweep). An archived sheet or sweep no longer counts as evidence."""
    from linewright.verbs.shelf import archive as put_away

    keep((ledger, who, as_json), lambda found, by: put_away(found, kind, key, by=by))


@shelf.command(short_help="Restore something from the archive.")
@click.argument("key")
@kind_option
@keeping
def restore(key: str, kind: Any, ledger: str | None, who: str, as_json: bool) -> None:
    """Bring back what was archived."""
    from linewright.verbs.shelf import restore as bring_back

    keep((ledger, who, as_json), lambda found, by: bring_back(found, kind, key, by=by))


@shelf.command(short_help="Undo one change.")
@click.argument("number", type=int)
@keeping
def undo(number: int, ledger: str | None, who: str, as_json: bool) -> None:
    """Undo the change of this NUMBER, as `linewright shelf history` counts them. Undoing is a change of its own."""
    from linewright.core.nouns.shelf import Changes
    from linewright.present.compose.shelf import changes_document
    from linewright.verbs.shelf import By
    from linewright.verbs.shelf import undo as set_back

    with opened(ledger) as found:
        made = Changes((set_back(found, number, by=By(who=who)),))
    shown(made, as_json, lambda: changes_document(made.changes))


@shelf.command("file", short_help="File a sheet, a sweep, a station or line types.")
@click.argument("path", type=click.Path(path_type=Path))
@click.option("--piece", metavar="TAG", help="The piece that was swept.")
@click.option(
    "--far-end", type=click.Choice(FAR_ENDS), default="through", show_default=True, help="Far end of a sweep."
)
@click.option(
    "--on",
    type=DAY,
    metavar="DAY",
    help="Day of the measurement, 2024-04-02 (default: today).",
)
@keeping
def file_(  # noqa: PLR0913 - one argument an option
    path: Path, piece: str | None, far_end: str, on: datetime | None, ledger: str | None, who: str, as_json: bool
) -> None:
    """File the bench sheet, sweep, station or line types at PATH. The file is kept exactly as it came."""
    from linewright.verbs.shelf import By, file_any

    day: date | None = on.date() if on else None
    with opened(ledger) as found:
        filed = file_any(found, path, piece, far_end, on=day, by=By(who=who))
    shown_kept(filed, as_json, filed.filed)


@shelf.command(short_help="Write a note on something.")
@click.argument("key")
@click.argument("text")
@kind_option
@keeping
def note(key: str, text: str, kind: Any, ledger: str | None, who: str, as_json: bool) -> None:
    """Write a note on a piece (or a meter, a sheet: --kind)."""
    from linewright.verbs.shelf import add_note

    keep((ledger, who, as_json), lambda found, by: add_note(found, kind, key, text, by=by))


for _command in (export, import_, backup, check, recover):
    shelf.add_command(_command)
