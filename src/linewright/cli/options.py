"""Options that several commands share."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Mapping, Sequence
from contextlib import AbstractContextManager
from functools import wraps
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar, cast

import click

from linewright.core.frozen import dataclass
from linewright.core.messages import say

if TYPE_CHECKING:
    from linewright.core.locale import Manner
    from linewright.core.nouns.ledger import Item
    from linewright.core.nouns.line import LineType
    from linewright.core.nouns.shelf import Kept
    from linewright.core.nouns.station import Station
    from linewright.files.tables import PlainData
    from linewright.present import document as present
    from linewright.store.ledger import Ledger
    from linewright.verbs.shelf_open import By

# Options that several commands share

R = TypeVar("R", bound="PlainData")
F = TypeVar("F", bound=Callable[..., Any])
debug_option = click.option("--debug", is_flag=True, expose_value=False, help="Show the traceback of a bug.")

NARROWEST, BROADEST = 40, 400
SHORT, MANNER = "linewright.short", "linewright.manner"


def _set_room(ctx: click.Context, _: click.Parameter, cells: int | None) -> None:
    """Let the answer be so wide: as asked, else as the terminal is, up to what reads well."""
    from linewright.present.writers.terminal import WIDEST, room_of

    if cells is None and sys.stdout.isatty():
        import shutil

        cells = max(NARROWEST, min(shutil.get_terminal_size((WIDEST, 24)).columns, WIDEST))
    if cells is not None:
        ctx.with_resource(room_of(cells))


def _set_short(ctx: click.Context, _: click.Parameter, short: bool) -> None:
    ctx.meta[SHORT] = short


def is_short() -> bool:
    """Return whether --short asks for the verdict alone."""
    ctx = click.get_current_context(silent=True)
    return ctx is not None and bool(ctx.meta.get(SHORT))


def json_option(command: F) -> F:
    """Add how an answer is written that programs may want too: --json, and for people --width."""
    width = click.option(
        "--width",
        type=click.IntRange(NARROWEST, BROADEST),
        metavar="CELLS",
        expose_value=False,
        callback=_set_room,
        help="Most characters in a line (default: as wide as the terminal, 100 at most).",
    )
    return bare_json_option(width(command))


bare_json_option = click.option("--json", "as_json", is_flag=True, help="Write JSON, for programs.")
"""For a command whose answer for people is a file."""


def explain_option(command: F) -> F:
    """Add how much of a long answer is wanted: --short, the verdict alone, and --explain, all of it."""
    return _short_option(_workings_option(command))


_workings_option = click.option("--explain", is_flag=True, help="Show how every figure was worked out.")


def _short_option(command: F) -> F:
    short = click.option(
        "--short",
        is_flag=True,
        expose_value=False,
        callback=_set_short,
        help="Show only the verdict, the odd reading and the next step, in 12 lines at most.",
    )
    return short(command)


lines_option = click.option(
    "--lines",
    "lines_file",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="Your own line types, TOML or CSV; they override the catalogue.",
)


def own_lines(lines_file: Path | None) -> tuple[LineType, ...]:
    """Return the person's own line types; none without a file."""
    if lines_file is None:
        return ()
    from linewright.files.own_lines import read_lines

    return read_lines(lines_file)


MANNERS: Mapping[str, dict[str, Any]] = {
    "--language": {
        "type": click.Choice(["en", "de"]), "default": "en", "show_default": True, "help": "Output language.",
    },
    "--decimal": {
        "type": click.Choice(["point", "comma"]), "help": "Decimal mark (default: that of the language).",
    },
    "--lengths": {
        "type": click.Choice(["m", "ft"]), "default": "m", "show_default": True, "help": "Unit of lengths.",
    },
}  # fmt: skip
"""The options that say in which manner an answer is written."""


@dataclass(frozen=True, slots=True)
class Reader:
    """Who reads an answer: a program, or a person in a manner, with or without the workings."""

    manner: Manner
    as_json: bool
    explain: bool = False

    @property
    def explained(self) -> bool:
        """Whether it is read how figures were worked out; else that need not be written down."""
        return self.explain or self.as_json

    def show(
        self, result: R, compose: Callable[[R], present.Document], short: Callable[[R], str] | None = None
    ) -> None:
        """Write an answer: for a program the result as it is, for a person the document composed of it.

        Where --short asks for it, ``short`` writes it in few lines; without that, what the document begins with stays.
        """

        def whole() -> str:
            from linewright.present.writers.terminal import terminal

            return terminal(compose(result), explain=self.explain)

        def brief() -> str:
            from linewright.cli.short import short_document

            return short(result) if short else short_document(compose(result))

        self.write(result, whole, brief)

    def write(self, result: PlainData, view: Callable[[], str], short: Callable[[], str] | None = None) -> None:
        """Write an answer: for a program the result, for a person its view or, under --short, the short one."""
        if self.as_json:
            write_json(result)
            return
        write(short() if short and is_short() else view())


def answer_options(*, explain: bool = True, short: bool = True) -> Callable[[F], F]:
    """Add how an answer is written: language, decimal mark, lengths, JSON, workings; the command gets a ``reader``."""

    def added(command: F) -> F:
        @wraps(command)
        def with_reader(*args: Any, language: str, decimal: str | None, lengths: str, **given: Any) -> Any:
            from linewright.core.formatting import manner
            from linewright.present.writers.terminal import manner_of

            how = manner(language, decimal, lengths), given.pop("as_json"), given.pop("explain", False)
            with manner_of(how[0]):
                return command(*args, reader=Reader(*how), **given)

        workings = () if not explain else (explain_option,) if short else (_workings_option,)
        how = [click.option(name, **said) for name, said in MANNERS.items()]
        return _with_options(cast("F", with_reader), (*how, json_option, *workings, debug_option))

    return added


def language_option(command: F) -> F:
    """Add the language that a command speaks, for one that writes sentences as it goes and no answer."""
    how = click.option("--language", expose_value=False, callback=_set_manner, **MANNERS["--language"])
    return _with_options(command, (how,))


def view_options(command: F) -> F:
    """Add how an answer is written, as ``answer_options`` does, for a command that shows what it did."""
    how = [click.option(n, expose_value=False, callback=_set_manner, **said) for n, said in MANNERS.items()]
    return _with_options(command, (*how, json_option))


def _set_manner(ctx: click.Context, option: click.Parameter, said: str | None) -> None:
    """Write messages from here on as this option says, and those before it."""
    if said == option.default or option.name is None:
        return
    from linewright.core.formatting import manner
    from linewright.present.writers.terminal import manner_of

    ctx.meta[MANNER] = ctx.meta.get(MANNER, {}) | {option.name: said}
    ctx.with_resource(manner_of(manner(**ctx.meta[MANNER])))


def _with_options(command: F, options: Sequence[Callable[[F], F]]) -> F:
    for option in reversed(options):
        command = option(command)
    return command


def echo(words: str, *, err: bool = False) -> None:
    """Say something short in the reader's manner."""
    from linewright.core.messages import written
    from linewright.present.writers.terminal import manner

    click.echo(written(words, manner()), err=err)


def write(text: str) -> None:
    """Write an answer to standard output, on a terminal page by page if it is longer than the screen.

    Without bold and dim where the person or the place wants none (NO_COLOR, https://no-color.org). PAGER names another
    program to page with; PAGER=cat none.
    """
    color = False if os.environ.get("NO_COLOR") or os.environ.get("TERM") == "dumb" else None
    if is_longer_than_the_screen(text):
        click.echo_via_pager(text if color is None else click.unstyle(text), color=color)
    else:
        click.echo(text, color=color)


def is_longer_than_the_screen(text: str) -> bool:
    """Return whether a person at a terminal would see the answer run away; false where nobody reads along."""
    if not (sys.stdin.isatty() and sys.stdout.isatty()) or os.environ.get("TERM") == "dumb":
        return False
    import shutil

    return text.count("\n") + 2 > shutil.get_terminal_size((80, 24)).lines


def write_json(document: PlainData) -> None:
    """Write an answer for programs: UTF-8, whatever the terminal speaks."""
    from linewright.files.tables import to_json

    click.echo(to_json(document).encode())


# Options and beginnings that the commands of the shelf share

FAR_ENDS = ("through", "open", "short")
EXPOSURES = ("indoors", "outdoors", "buried", "portable")
KINDS = (
    "piece",
    "stock",
    "line",
    "meter",
    "sheet",
    "sweep",
    "station",
    "note",
    "attenuator",
    "load",
    "radio",
    "antenna",
)

run_option = click.option("--run", metavar="NAME", help="Which run (default: all).")
ledger_option = click.option(
    "--ledger", metavar="PATH", help="The ledger: a file or a PostgreSQL URL (default: the usual place)."
)
who_option = click.option("--who", default="", help="Who makes the change; shown in the history.")
kind_option = click.option(
    "--kind", type=click.Choice(KINDS), default="piece", show_default=True, help="What kind of thing it is."
)


def piece_options(command: F) -> F:
    """Add what can be said of a piece."""
    for option in (
        click.option("--note", help="Anything worth knowing."),
        click.option("--since", metavar="DAY", help="In use since this day: 2024-04-02."),
        click.option(
            "--exposure", type=click.Choice(EXPOSURES), help="Where it is used; decides when to test it again."
        ),
        click.option("--stock", help="The drum it was cut from; pieces of one stock share their law."),
        click.option("--connectors", type=click.IntRange(0, 50), help="Number of connectors on it (default: 2)."),
        click.option("--line", help="Its type, such as RG-213/U."),
    ):
        command = option(command)
    return command


def opened(where: str | None) -> AbstractContextManager[Ledger]:
    """Return the open ledger, having said what went amiss on opening."""
    from linewright.verbs.shelf_open import open_ledger

    found = open_ledger(where)
    for remark in found.remarks:
        echo(remark, err=True)
    return found


@dataclass(frozen=True, slots=True)
class StationAsked:
    """Which station and which run a command is asked about; ``given`` is a file, the name of a run, or nothing."""

    given: str | None
    run: str | None = None
    station: str | None = None
    ledger: str | None = None

    @property
    def is_file(self) -> bool:
        """Whether a station file is named."""
        from linewright.files.tables import is_a_file

        return self.given is not None and is_a_file(self.given)


def station_options(argument: str = "[STATION.toml|RUN]") -> Callable[[F], F]:
    """Return a decorator that adds which station and run are asked about, given to the command as ``asked``."""
    options = (
        click.argument("given", required=False, metavar=argument),
        *([run_option] if "RUN" in argument else []),
        click.option("--station", "station", metavar="NAME", help="Which station, if the ledger has several."),
        click.option(
            "--ledger",
            metavar="PATH",
            help=(
                "The ledger: a file or a PostgreSQL URL (default: the usual place). With a station file: where to "
                "find its pieces that have no evidence in the file."
            ),
        ),
    )

    def decorated(command: F) -> F:
        @wraps(command)
        def with_asked(
            *args: Any, given: str | None, station: str | None, ledger: str | None, run: str | None = None, **how: Any
        ) -> Any:
            return command(*args, asked=StationAsked(given, run, station, ledger), **how)

        found: Any = with_asked
        for option in reversed(options):
            found = option(found)
        return cast("F", found)

    return decorated


def asked_station(
    asked: StationAsked,
    own: Sequence[LineType] = (),
    progress: Callable[[float, str], None] | None = None,
    *,
    whole: bool = False,
) -> tuple[Station, str | None]:
    """Return the station that is asked about, and its run where one is.

    A file stands alone; its pieces are looked for in a ledger where one is named. Without a file, the station is the
    ledger's, and ``whole`` lets the pieces that lie in no run join it.

    Raises
    ------
    InputError
        If there is no such ledger, station or run, or the station breaks a rule.
    """
    if asked.given is not None and asked.is_file:
        if asked.station is not None:
            raise click.UsageError(say("--station names one that is kept: give a file or --station, not both."))
        return _of_file(Path(asked.given), own, asked.ledger, progress), asked.run
    if asked.given is not None and asked.run is not None:
        raise click.UsageError(say("Name the run once: as it is, or with --run."))
    from linewright.verbs.plan import the_run
    from linewright.verbs.shelf_stations import station_of, the_station

    run = asked.given or asked.run
    with ledger_kept(asked.ledger) as found:
        name = the_station(found, asked.station, run=run)
        station = station_of(found, name, own, whole=whole, progress=progress)
    return station, None if run is None else the_run(station, run).name


def _of_file(
    path: Path, own: Sequence[LineType], ledger: str | None, progress: Callable[[float, str], None] | None
) -> Station:
    if ledger is None:
        from linewright.verbs.plan import read

        return read(path, own)
    from linewright.verbs.shelf_stations import read_station_beside

    with ledger_there(ledger) as found:
        return read_station_beside(found, path, own, progress=progress)


def applied(asked: StationAsked, done: Callable[[Ledger, str], Kept], run: str | None = None) -> None:
    """Write into the ledger what was worked out for its station, and say so.

    Raises
    ------
    UsageError
        If the station is a file.
    """
    from linewright.verbs.shelf_stations import the_station

    with ledger_kept(asked.ledger) as found:
        kept = done(found, the_station(found, asked.station, run=run))
    click.echo(kept_words((kept,)), err=True)


def refuse_file(asked: StationAsked) -> None:
    """Refuse to apply anything to a station file: it is the person's own."""
    if asked.is_file:
        raise click.UsageError(say("--apply changes the station in the ledger: name no file, or import it first."))


def ledger_kept(where: str | None) -> AbstractContextManager[Ledger]:
    """Return the open ledger that answers without a file: the one named, else that of the usual place.

    Raises
    ------
    InputError
        If it is not there; it is not made.
    """
    if where is not None:
        return ledger_there(where)
    from linewright.core.errors import InputError
    from linewright.verbs.names import usual_place

    place = usual_place()
    if "://" not in place and not Path(place).exists():
        cure = "Name a station file, or begin a ledger: linewright shelf import STATION.toml."
        raise InputError("ledger", f"must be begun first; there is none at {place}", cure=cure)
    return opened(None)


def ledger_there(where: str) -> AbstractContextManager[Ledger]:
    """Return an open ledger; one that is not there is refused, not made."""
    from linewright.core.errors import InputError

    if "://" not in where and not Path(where).exists():
        raise InputError("--ledger", f"must be a ledger that is there; got {where!r}", cure="Look at its path.")
    return opened(where)


def shown(
    document: PlainData, as_json: bool, compose: Callable[[], present.Document], *, explain: bool = False
) -> None:
    """Write an answer: for programs as it is, for people the document composed of it."""
    if as_json:
        write_json(document)
        return
    from linewright.present.writers.terminal import terminal

    write(terminal(compose(), explain=explain))


def kept_words(kept: Sequence[Kept]) -> str:
    """Return what was written into the ledger, for a terminal."""
    from linewright.present.writers.terminal import items

    said: list[str] = []
    for one in kept:
        item = one.item
        told = {"kind": say(item.kind), "key": item.key, "version": str(item.version)}
        said.append(
            say("Archived {kind} {key} (version {version}).", **told)
            if item.archived
            else say("Saved {kind} {key} (version {version}).", **told)
        )
        said += [say("Also: {kind} {key}.", kind=say(i.kind), key=i.key) for i in one.with_it]
        said += one.remarks
    return "\n".join(line.strip() for line in items(said))


def keep(how: tuple[str | None, str, bool], done: Callable[[Ledger, By], Kept | Item]) -> None:
    """Do something in a ledger (which one, on whose word), and write what was kept, as JSON or in words."""
    from linewright.core.nouns.shelf import Kept
    from linewright.verbs.shelf import By

    ledger, who, as_json = how
    with opened(ledger) as found:
        made = done(found, By(who=who))
    kept = made if isinstance(made, Kept) else Kept(made)
    shown_kept(kept, as_json, (kept,))


def shown_kept(document: PlainData, as_json: bool, kept: Sequence[Kept]) -> None:
    """Write what was kept: for programs the answer as it is, for people in words."""
    if as_json:
        write_json(document)
    else:
        write(kept_words(kept))
