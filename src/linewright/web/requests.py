"""What pages and programs ask, turned from text into the nouns the verbs take."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from pathlib import PurePath
from typing import TYPE_CHECKING, Any

from linewright.core.errors import InputError, gathered
from linewright.core.locale import Manner
from linewright.core.messages import say
from linewright.core.nouns.antenna import AntennaResult
from linewright.core.nouns.bench import BenchSheet
from linewright.core.nouns.choice import Choice, Prices, Shared
from linewright.core.nouns.cut import CutResult
from linewright.core.nouns.kept_sweeps import KeptSweeps
from linewright.core.nouns.line import LineType
from linewright.core.nouns.one_end import OneEndResult, OneEndTest
from linewright.core.nouns.plan import Plan
from linewright.core.nouns.rules import Rules
from linewright.core.nouns.station import Station
from linewright.core.nouns.sweep import Sweep, SweepQuestion, SweepReport
from linewright.core.nouns.through import LineBehind, Seen, ThroughResult
from linewright.core.quantities import loss_ratio_db, ratio_db
from linewright.files import curve as radio_side
from linewright.files import fields
from linewright.files.own_lines import impedance_ohm, read_lines_text
from linewright.present.document import Document
from linewright.store.ledger import Ledger
from linewright.web.stations import INVENTED, invented, station_of

if TYPE_CHECKING:
    from linewright.present.labels import WantedLabels as Labelled
    from linewright.verbs.chart import Chart, ChartWish
    from linewright.verbs.cut import CutQuestion
    from linewright.verbs.exposure import People

# What pages and programs ask, turned from text into the nouns the verbs take

READINGS = ("shack_swr", "return_loss", "impedance")
Given = Mapping[str, Any]


def own_lines(file: tuple[str, str] | None) -> tuple[LineType, ...]:
    """Return the person's own line types from a file's name and text; none without a file."""
    return () if file is None else read_lines_text(file[1], file[0])


def limit_at(limit: str | None, at: str | None) -> tuple[tuple[float, float], ...]:
    """Return the frequency and the limit whose passing is asked about, hertz and dB; none where neither is given."""
    if limit is None and at is None:
        return ()
    if limit is None or at is None:
        raise InputError("limit", say("goes with at: the loss that is passed, and at which frequency"))
    return ((fields.frequency(at, "at"), fields.above_zero(fields.loss(limit, "limit"), limit, "limit")),)


def bench(text: str, files: Mapping[str, str], own: Sequence[LineType] = ()) -> BenchSheet:
    """Return the bench sheet of a text with its files, or the invented one by its name."""
    from linewright.files.sheet import read_bench_sheet_text

    return read_bench_sheet_text(*bench_texts(text, files), own)


def bench_texts(text: str, files: Mapping[str, str]) -> tuple[str, Mapping[str, str]]:
    """Return a sheet's text and its files; those of the invented sheet for its name."""
    if text != INVENTED:
        return text, files
    known = invented()[1]
    return known[f"{INVENTED}.toml"], known


def see(
    given: Given,
    curve: tuple[str, str] | Seen | None = None,
    own: Sequence[LineType] = (),
    ledger: Ledger | None = None,
) -> ThroughResult:
    """Return what stands behind a line. ``given`` holds the names of ``ThroughQuestion``; a curve may be read already.

    A piece or a run is looked up in the ledger.

    Raises
    ------
    InputError
        If what was seen or the line is not told, or told twice, or cannot be read.
    """
    from linewright.verbs.through import see_through

    hertz = None if given.get("at") is None else fields.frequency(given["at"], "at")
    seen = _seen(given, hertz, curve)
    return see_through(seen, _line(given, hertz, own, ledger), at_hz=hertz if curve else None)


def antenna(
    given: Given, curves: Sequence[Seen], names: Sequence[str], own: Sequence[LineType] = (),
    ledger: Ledger | None = None,
) -> AntennaResult:  # fmt: skip
    """Return what sweeps of one antenna show. ``given`` holds the names of ``AntennaQuestion``; no line is an answer.

    Raises
    ------
    InputError
        If the line is told twice, or a curve is a single reading.
    """
    from linewright.verbs.antenna import see_antenna

    hertz = None if given.get("at") is None else fields.frequency(given["at"], "at")
    told = any(given.get(name) is not None for name in BEFORE)
    return see_antenna(curves, _line(given, hertz, own, ledger) if told else None, names=names)


def _seen(given: Given, hertz: float | None, curve: tuple[str, str] | Seen | None) -> Seen:
    told = [name for name in READINGS if given.get(name) is not None]
    if len(told) + (curve is not None) != 1:
        names = ", ".join((*READINGS, "curve"))
        raise InputError(
            "what was seen",
            say("must be told by one of {known}; got {value}", known=names, value=len(told) + (curve is not None)),
        )
    if isinstance(curve, Seen):
        return curve
    leak = None if given.get("directivity") is None else loss_ratio_db(given["directivity"], "directivity")
    step = given.get("step")
    if curve is None:
        return radio_side.written_seen(told[0], given[told[0]], hertz, step, leak)
    return curve_of(*curve, step=step, directivity_db=leak)


def curve_of(name: str, text: str, *, step: float | None = None, directivity_db: float | None = None) -> Seen:
    """Return a curve from a file's name and text: Touchstone by its ending, else CSV."""
    from linewright.files.curve import read_curve_text
    from linewright.files.touchstone import ports_of, read_touchstone_text
    from linewright.inference.load.seen import seen_sweep

    if ports_of(name) is not None or name.lower().endswith(".ts"):
        return seen_sweep(read_touchstone_text(text, name), directivity_db)
    return read_curve_text(text, name, step=step, directivity_db=directivity_db)


BEFORE = ("loss", "line", "piece", "run")
"""The ways to state the line before an antenna: one of these."""


def _line(given: Given, hertz: float | None, own: Sequence[LineType], ledger: Ledger | None = None) -> LineBehind:
    from linewright.verbs.through import kept_piece_behind, kept_run_behind, line_behind

    if sum(given.get(name) is not None for name in BEFORE) != 1:
        raise InputError("the line", say("must be told by one of a loss, a line type with its length, a piece, a run"))
    if ledger is not None and given.get("piece") is not None:
        return kept_piece_behind(ledger, given["piece"])
    if ledger is not None and given.get("run") is not None:
        return kept_run_behind(ledger, given["run"], station=given.get("station"), at_hz=hertz)
    if given.get("loss") is not None:
        db, half = radio_side.loss_with_interval(given["loss"], "loss")
        return line_behind(loss_db=db, half_width_db=half, at_hz=hertz)
    if given.get("length") is None:
        raise InputError("length", say("is missing"), cure=say("A type needs a length."))
    return line_behind(line=given["line"], length_m=fields.length(given["length"], "length"), own=own)


def one_end_test(rows: Sequence[Given], given: Given, own: Sequence[LineType] = ()) -> OneEndTest:
    """Return the test that readings at a line's near end make; every problem is gathered.

    Raises
    ------
    InputError
        If a reading cannot be read or cannot be one.
    """
    from linewright.catalogue.lines import line_type
    from linewright.files.one_end import reading_in
    from linewright.files.tables import SourceText

    source = SourceText("readings", "")
    found = [
        reading_in(source, i, {k: v for k, v in row.items() if v is not None}) for i, row in enumerate(rows, start=1)
    ]
    if source.problems:
        raise gathered(source.problems)
    return OneEndTest(
        tuple(reading for reading in found if reading is not None),
        directivity_db=_read(given, "directivity", ratio_db),
        source_swr=_read(given, "source_swr", fields.swr),
        impedance_ohm=_read(given, "impedance", impedance_ohm),
        line=None if given.get("line") is None else line_type(given["line"], own),
        length_m=_read(given, "length", fields.length),
    )


def prove(
    rows: Sequence[Given], given: Given, own: Sequence[LineType] = (), ledger: Ledger | None = None
) -> OneEndResult:
    """Return what a line loses from readings at its near end; a piece is looked up in the ledger.

    Raises
    ------
    InputError
        If a reading cannot be read or cannot be one, or type and length are told beside a piece.
    """
    from linewright.verbs.one_end import prove_one_end, test_of_piece

    test = one_end_test(rows, given, own)
    if ledger is None or given.get("piece") is None:
        return prove_one_end(test)
    if given.get("line") is not None or given.get("length") is not None:
        raise InputError("piece", say("brings its type and length: leave out line and length"))
    return prove_one_end(test_of_piece(ledger, given["piece"], test))


def _read(given: Given, name: str, read: Any) -> Any:
    return None if given.get(name) is None else read(given[name], name)


def read_sweeps(
    files: Sequence[tuple[str, str | bytes, str | None]], given: Given, own: Sequence[LineType] = ()
) -> SweepReport:
    """Return what sweeps say of a line. A file is its name, its text, and its far end where that is told.

    Raises
    ------
    InputError
        If a file cannot be read, a far end is not told, or the sweeps do not go together.
    """
    from linewright.files.touchstone import read_touchstone_text

    option = given.get("option_line")
    sweeps = [read_touchstone_text(text, name, option_line=option) for name, text, _ in files]
    ends = [end or _usual(sweep.ports, sweep.name) for sweep, (_, _, end) in zip(sweeps, files, strict=True)]
    return report(sweeps, ends, given, own)


def report(sweeps: Sequence[Sweep], ends: Sequence[str], given: Given, own: Sequence[LineType] = ()) -> SweepReport:
    """Return what sweeps that were read already say of a line. ``given`` holds the names of ``SweepQuestion``."""
    from linewright.verbs.sweep import read_sweep

    asked = SweepQuestion(
        length_m=_read(given, "length", fields.length),
        velocity_factor=_read(given, "velocity_factor", velocity_factor),
        line=given.get("line"),
        own=tuple(own),
        option_line=given.get("option_line"),
        at_hz=tuple(fields.frequency(f, "at") for f in given.get("at", ())),
    )
    return read_sweep(sweeps, ends, asked)


def cut(given: Given, ledger: Ledger | None, own: Sequence[LineType] = ()) -> CutResult:
    """Return how lines differ, and where to cut. ``given`` holds the names of ``CutQuestion``.

    Raises
    ------
    InputError
        If a line is not known, a sweep tells no phase, or what is asked cannot be read.
    """
    from linewright.files.touchstone import read_touchstone_text
    from linewright.verbs.cut import kept_lines, plan_cut
    from linewright.verbs.swept_line import swept_line

    wanted = cut_asked(given)
    found = [] if ledger is None else list(kept_lines(ledger, given["pieces"], wanted.at_hz))
    for line in given["sweeps"]:
        read = [read_touchstone_text(f["text"], f["name"]) for f in line["files"]]
        ends = [f["far_end"] for f in line["files"] if f["far_end"] is not None]
        known = SweepQuestion(length_m=_read(line, "length", fields.length), line=given.get("line"), own=tuple(own))
        found.append(swept_line(
            read, wanted.at_hz, ends, name=line["name"], asked=known, connectors=line["connectors"]
        ))  # fmt: skip
    return plan_cut(found, wanted)


def cut_asked(given: Given) -> CutQuestion:
    """Return what is asked of lines to be compared or cut."""
    from linewright.verbs.cut import asked_of

    hertz = [fields.frequency(f, "at") for f in given.get("at") or ()]
    names = ("to", "stub", "beyond", "load", "sets_of")
    told = {name: given.get(name) or None for name in names}
    return asked_of(hertz, given.get("band") or None, side_by_side=given.get("side_by_side") or 1, **told)


def sweeps_found(given: Given, ledger: Ledger) -> KeptSweeps:
    """Return the kept sweeps that are asked for. ``given`` holds the names of ``KeptSweepsQuestion``, empty for any."""
    from linewright.verbs.kept_sweeps import find_sweeps

    since, until = (_read_day(given, name) for name in ("since", "until"))
    return find_sweeps(
        ledger, piece=given.get("piece") or None, since=since, until=until, sha256=given.get("sha256") or None,
        archived=bool(given.get("archived")),
    )  # fmt: skip


def _read_day(given: Given, name: str) -> date | None:
    text = given.get(name)
    try:
        return date.fromisoformat(text) if text else None
    except ValueError as cause:
        raise InputError(
            name, say("must be a day; got {value}", value=repr(text)), cure=say("Write it as 2026-04-02.")
        ) from cause


def choose(given: Given, station: str, files: Mapping[str, str]) -> Choice:
    """Return the choice of a line. ``given`` holds the names of ``ChooseQuestion``.

    Raises
    ------
    InputError
        If the station, the prices or what is asked of the line cannot be read.
    """
    from linewright.files.prices import wishes_asked
    from linewright.verbs.choose import choose_for, wishing

    known, own, prices = _priced(given, station, files)
    wanted = wishing(known, given["run"], wishes_asked(given))
    return choose_for(wanted, given["run"], prices or Prices(), own=own)


def share(given: Given, station: str, files: Mapping[str, str]) -> Shared:
    """Return who gets which piece. ``given`` holds the names of ``ShareQuestion``; errors as of ``choose``."""
    from linewright.verbs.share import share_shelf

    known, own, prices = _priced(given, station, files)
    return share_shelf(known, prices=prices, budget=given["budget"], own=own)


def _priced(
    given: Given, station: str, files: Mapping[str, str]
) -> tuple[Station, tuple[LineType, ...], Prices | None]:
    """Return a station, the person's own line types, and the prices where there are any."""
    from linewright.files.prices import read_prices_text
    from linewright.web.stations import station_of

    lines, told = given.get("lines"), given.get("prices")
    own = own_lines((lines["name"], lines["text"]) if lines else None)
    known = station_of(station, files, own)
    return known, own, read_prices_text(told["text"], (*own, *known.lines), told["name"]) if told else None


def own_rules(file: tuple[str, str] | None) -> Rules:
    """Return the person's own limits and licence from a file's name and text; none without a file."""
    from linewright.files.rules import read_rules_text

    return Rules() if file is None else read_rules_text(file[1], file[0])


def people_near(distance: str | None, window: str | None, limits: Sequence[str] = ()) -> People:
    """Return how near people come, how high a window is, and whose limits are asked for, as written."""
    from linewright.files.station_run import standards
    from linewright.verbs.exposure import People

    people_m = fields.length(distance, "distance") if distance else None
    window_m = fields.length(window, "window") if window else None
    return People(people_m, window_m, standards(list(limits), "limits"))


def expose(given: Given, rules: Rules) -> Plan:
    """Return how far to keep away from one antenna. ``given``: the names of ``ExposureQuestion``.

    Raises
    ------
    InputError
        If something is missing or cannot be read.
    """
    from linewright.verbs.exposure import exposure_as_written

    there = {**given, "gain": given.get("gain") or given.get("antenna")}
    for name in ("power", "gain", "at"):
        if not there.get(name):
            raise InputError(name, say("is missing"), cure=say("Give a station, or power, at, and gain or antenna."))
    return exposure_as_written(given, rules=rules)


def _usual(ports: int, name: str) -> str:
    """Return the far end of a sweep that does not tell it: a two-port goes through the line."""
    if ports == 2:
        return "through"
    raise InputError("far end", say("must be told for {name}", name=name), cure=say("Say open, short or load."))


def velocity_factor(given: Any, name: str) -> float:
    """Return a velocity factor, as a share or in percent.

    >>> velocity_factor("0.66", "velocity factor"), velocity_factor("66 %", "velocity factor")
    (0.66, 0.66)
    """
    if not isinstance(given, str):
        return fields.number(given, name)
    bare = given.strip().removesuffix("%")
    return fields.written_number(bare, name) / (100.0 if given.strip().endswith("%") else 1.0)


# What programs ask to be shown: charts, reports and labels, turned from text into the nouns the verbs take


def charts(given: Given, ledger: Ledger | None) -> tuple[str, list[Chart]]:
    """Return what is to be drawn, and the charts there are of it. ``given`` holds the names of ``ChartQuestion``.

    Raises
    ------
    InputError
        If not just one thing is named, or it cannot be read.
    """
    from linewright.verbs import chart as verbs

    kind = _one_of(given, ("sheet", "station", "sweeps", "kept"))
    own = own_lines(_pair(given.get("lines")))
    if kind == "sheet":
        from linewright.verbs.prove import prove_cable

        sheet = bench(given["sheet"], given["files"], own)
        return sheet.title, verbs.charts_of_bench(sheet, prove_cable(sheet))
    if kind == "sweeps":
        files = [(f["name"], f["text"], f["far_end"]) for f in given["sweeps"]]
        told = {"length": given.get("length"), "line": given.get("line")}
        return " ".join(name for name, _, _ in files), verbs.charts_of_sweep(read_sweeps(files, told, own))
    if kind == "kept":
        assert ledger is not None
        return given["kept"], verbs.charts_of_kept(ledger, given["kept"], _wanted(given, own))
    known = station_of(given["station"], given["files"], own)
    return known.name, verbs.charts_of_station(known, _wanted(given, (*own, *known.lines)))


def _wanted(given: Given, own: Sequence[LineType]) -> ChartWish:
    from linewright.files.prices import read_prices_text
    from linewright.verbs.chart import ChartWish

    prices = _pair(given.get("prices"))
    return ChartWish(given.get("run"), read_prices_text(prices[1], own, prices[0]) if prices else None, own)


def report_of(given: Given, day: date, ledger: Ledger | None, ending: str = "") -> Document:
    """Return a report that becomes a file of an ending. ``given`` has the names of ``ReportQuestion``."""
    from linewright.files.station import read_station_text
    from linewright.verbs.report import ReportWish, report_of_given
    from linewright.verbs.report_kept import report_of_kept

    kind, lines = _one_of(given, ("sheet", "station", "kept")), _pair(given.get("lines"))
    if kind == "kept":
        assert ledger is not None
        return report_of_kept(ledger, given["kept"], ReportWish(day, _options(given, given["kept"], ending)))
    name, text = given[kind]["name"], given[kind]["text"]
    invented_text, known = invented()
    files: Mapping[str, str] = known if text == INVENTED else given["files"]
    if text == INVENTED:
        text = invented_text if kind == "station" else known[f"{INVENTED}.toml"]
    own = own_lines(lines)
    noun = bench(text, files, own) if kind == "sheet" else read_station_text(text, files, own)
    return report_of_given(
        (name, text),
        noun,
        files,
        ReportWish(day, _options(given, PurePath(name).stem, ending)),
        [lines] if lines else [],
    )


def _options(given: Given, name: str, ending: str) -> tuple[str, ...]:
    """Return the options that the command needs, besides the subject, to reproduce a report."""
    output = [("--output", f"{name}{ending}")] if ending else []
    usual = {"language": "en", "decimal": None, "lengths": "m", "paper": "a4"}
    told = [(f"--{name}", given[name]) for name, value in usual.items() if given[name] != value]
    lines = [("--lines", given["lines"]["name"])] if given.get("lines") else []
    return tuple(word for pair in (*output, *told, *lines) for word in pair)


def labels_wanted(given: Given, spoken: Manner) -> Labelled:
    """Return how labels are wanted. ``given`` holds the names of ``LabelQuestion``."""
    from linewright.present.labels import OWN_SIZE_MM, label_sheet, label_size
    from linewright.present.labels import WantedLabels as Wanted

    if given["sheet"] and given["size"]:
        raise InputError("size", say("must not stand beside a sheet, whose labels have a size of their own"))
    if given["first"] != 1 and not given["sheet"]:
        raise InputError("first", say("goes with a sheet"))
    return Wanted(
        label_sheet(given["sheet"]) if given["sheet"] else None,
        label_size(given["size"]) if given["size"] else OWN_SIZE_MM,
        given["first"], given["wrap"], given["qr"] or given["address"] is not None, given["address"], spoken,
    )  # fmt: skip


def _one_of(given: Given, names: Sequence[str]) -> str:
    told = [name for name in names if given.get(name)]
    if len(told) != 1:
        raise InputError(
            "what is asked about",
            say("must be told by one of {known}; got {value}", known=", ".join(names), value=len(told)),
        )
    return told[0]


def _pair(file: Mapping[str, str] | None) -> tuple[str, str] | None:
    return (file["name"], file["text"]) if file else None
