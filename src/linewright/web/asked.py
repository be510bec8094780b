"""What pages and programs ask, turned from text into the nouns the verbs take."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from linewright.errors import InputError, gathered
from linewright.formats import fields, radio_side
from linewright.formats.own_lines import impedance_ohm, read_lines_text
from linewright.model.bench import BenchSheet
from linewright.model.choose import Choice, Prices
from linewright.model.line import LineType
from linewright.model.one_end import OneEndResult, OneEndTest
from linewright.model.plan import Plan
from linewright.model.share import Shared
from linewright.model.station import Station
from linewright.model.sweep import Sweep
from linewright.model.sweep_report import SweepQuestion, SweepReport
from linewright.model.through import LineBehind, Seen, ThroughResult
from linewright.units.quantities import loss_ratio_db, ratio_db
from linewright.web.stations import INVENTED, invented

READINGS = ("shack_swr", "return_loss", "impedance")
Given = Mapping[str, Any]


def own_lines(file: tuple[str, str] | None) -> tuple[LineType, ...]:
    """Return the person's own line types from a file's name and text; none without a file."""
    return () if file is None else read_lines_text(file[1], file[0])


def bench(text: str, files: Mapping[str, str], own: Sequence[LineType] = ()) -> BenchSheet:
    """Return the bench sheet of a text with its files, or the invented one by its name."""
    from linewright.formats.sheet import read_bench_sheet_text

    return read_bench_sheet_text(*bench_texts(text, files), own)


def bench_texts(text: str, files: Mapping[str, str]) -> tuple[str, Mapping[str, str]]:
    """Return a sheet's text and its files; those of the invented sheet for its name."""
    if text != INVENTED:
        return text, files
    known = invented()[1]
    return known[f"{INVENTED}.toml"], known


def see(given: Given, curve: tuple[str, str] | Seen | None = None, own: Sequence[LineType] = ()) -> ThroughResult:
    """Return what stands behind a line. ``given`` holds the names of ``ThroughQuestion``; a curve may be read already.

    Raises
    ------
    InputError
        If what was seen or the line is not told, or told twice, or cannot be read.
    """
    from linewright.workflows.through import see_through

    hertz = None if given.get("at") is None else fields.frequency(given["at"], "at")
    seen = _seen(given, hertz, curve)
    return see_through(seen, _line(given, hertz, own), at_hz=hertz if curve else None)


def _seen(given: Given, hertz: float | None, curve: tuple[str, str] | Seen | None) -> Seen:
    told = [name for name in READINGS if given.get(name) is not None]
    if len(told) + (curve is not None) != 1:
        names = ", ".join((*READINGS, "curve"))
        raise InputError("what was seen", f"must be told by one of {names}; got {len(told) + (curve is not None)}")
    if isinstance(curve, Seen):
        return curve
    leak = None if given.get("directivity") is None else loss_ratio_db(given["directivity"], "directivity")
    step = given.get("step")
    if curve is None:
        return radio_side.written_seen(told[0], given[told[0]], hertz, step, leak)
    return curve_of(*curve, step=step, directivity_db=leak)


def curve_of(name: str, text: str, *, step: float | None = None, directivity_db: float | None = None) -> Seen:
    """Return a curve from a file's name and text: Touchstone by its ending, else CSV."""
    from linewright.evidence.through.seen import seen_sweep
    from linewright.formats.curve import read_curve_text
    from linewright.formats.touchstone import ports_of, read_touchstone_text

    if ports_of(name) is not None or name.lower().endswith(".ts"):
        return seen_sweep(read_touchstone_text(text, name), directivity_db)
    return read_curve_text(text, name, step=step, directivity_db=directivity_db)


def _line(given: Given, hertz: float | None, own: Sequence[LineType]) -> LineBehind:
    from linewright.workflows.through import line_behind

    if (given.get("loss") is None) == (given.get("line") is None):
        raise InputError("the line", "must be told by a loss, or by a line type with its length")
    if given.get("loss") is not None:
        db, half = radio_side.loss_with_interval(given["loss"], "loss")
        return line_behind(loss_db=db, half_width_db=half, at_hz=hertz)
    if given.get("length") is None:
        raise InputError("length", "is missing", cure="A type needs a length.")
    return line_behind(line=given["line"], length_m=fields.length(given["length"], "length"), own=own)


def prove(rows: Sequence[Given], given: Given, own: Sequence[LineType] = ()) -> OneEndResult:
    """Return what a line loses from readings at its near end; every problem is gathered.

    Raises
    ------
    InputError
        If a reading cannot be read or cannot be one.
    """
    from linewright.catalogue.lines import line_type
    from linewright.formats.one_end import reading_in
    from linewright.formats.tables import Source
    from linewright.workflows.one_end import prove_one_end

    source = Source("readings", "")
    found = [
        reading_in(source, i, {k: v for k, v in row.items() if v is not None}) for i, row in enumerate(rows, start=1)
    ]
    if source.problems:
        raise gathered(source.problems)
    test = OneEndTest(
        tuple(reading for reading in found if reading is not None),
        directivity_db=_read(given, "directivity", ratio_db),
        source_swr=_read(given, "source_swr", fields.swr),
        impedance_ohm=_read(given, "impedance", impedance_ohm),
        line=None if given.get("line") is None else line_type(given["line"], own),
        length_m=_read(given, "length", fields.length),
    )
    return prove_one_end(test)


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
    from linewright.formats.touchstone import read_touchstone_text

    option = given.get("option_line")
    sweeps = [read_touchstone_text(text, name, option_line=option) for name, text, _ in files]
    ends = [end or _usual(sweep.ports, sweep.name) for sweep, (_, _, end) in zip(sweeps, files, strict=True)]
    return report(sweeps, ends, given, own)


def report(sweeps: Sequence[Sweep], ends: Sequence[str], given: Given, own: Sequence[LineType] = ()) -> SweepReport:
    """Return what sweeps that were read already say of a line. ``given`` holds the names of ``SweepQuestion``."""
    from linewright.workflows.sweep import read_sweep

    asked = SweepQuestion(
        length_m=_read(given, "length", fields.length),
        velocity_factor=_read(given, "velocity_factor", velocity_factor),
        line=given.get("line"),
        own=tuple(own),
        option_line=given.get("option_line"),
        at_hz=tuple(fields.frequency(f, "at") for f in given.get("at", ())),
    )
    return read_sweep(sweeps, ends, asked)


def choose(given: Given, station: str, files: Mapping[str, str]) -> Choice:
    """Return the choice of a line. ``given`` holds the names of ``ChooseQuestion``.

    Raises
    ------
    InputError
        If the station, the prices or what is asked of the line cannot be read.
    """
    from linewright.formats.choice import wishes_asked
    from linewright.workflows.choose import choose_for, wishing

    known, own, prices = _priced(given, station, files)
    wanted = wishing(known, given["run"], wishes_asked(given))
    return choose_for(wanted, given["run"], prices or Prices(), own=own)


def share(given: Given, station: str, files: Mapping[str, str]) -> Shared:
    """Return who gets which piece. ``given`` holds the names of ``ShareQuestion``; errors as of ``choose``."""
    from linewright.workflows.share import share_shelf

    known, own, prices = _priced(given, station, files)
    return share_shelf(known, prices=prices, budget=given["budget"], own=own)


def _priced(
    given: Given, station: str, files: Mapping[str, str]
) -> tuple[Station, tuple[LineType, ...], Prices | None]:
    """Return a station, the person's own line types, and the prices where there are any."""
    from linewright.formats.prices import read_prices_text
    from linewright.web.stations import station_of

    lines, told = given.get("lines"), given.get("prices")
    own = own_lines((lines["name"], lines["text"]) if lines else None)
    known = station_of(station, files, own)
    return known, own, read_prices_text(told["text"], (*own, *known.lines), told["name"]) if told else None


def expose(given: Given) -> Plan:
    """Return how far to keep away from an antenna of a power and a gain. ``given``: the names of ``ExposureQuestion``.

    Raises
    ------
    InputError
        If something is missing or cannot be read.
    """
    from linewright.workflows.exposure import exposure_as_written

    for name in ("power", "gain", "at"):
        if not given.get(name):
            raise InputError(name, "is missing", cure="Give a station, or power, gain and at.")
    return exposure_as_written(given)


def _usual(ports: int, name: str) -> str:
    """Return the far end of a sweep that does not tell it: a two-port goes through the line."""
    if ports == 2:
        return "through"
    raise InputError("far end", f"must be told for {name}", cure="Say open, short or load.")


def velocity_factor(given: Any, name: str) -> float:
    """Return a velocity factor, as a share or in percent.

    >>> velocity_factor("0.66", "velocity factor"), velocity_factor("66 %", "velocity factor")
    (0.66, 0.66)
    """
    if not isinstance(given, str):
        return fields.number(given, name)
    bare = given.strip().removesuffix("%")
    return fields.written_number(bare, name) / (100.0 if given.strip().endswith("%") else 1.0)
