"""What programs ask to be shown: charts, reports and labels, turned from text into the nouns the verbs take."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from pathlib import PurePath
from typing import TYPE_CHECKING, Any

from linewright.errors import InputError
from linewright.ledger.store import Ledger
from linewright.model.line import LineType
from linewright.report.document import Document
from linewright.units.manner import Manner
from linewright.web.asked import bench, own_lines, read_sweeps
from linewright.web.stations import INVENTED, invented, station_of

if TYPE_CHECKING:
    from linewright.report.labels import Wanted as Labelled
    from linewright.workflows.chart import Chart, Wanted

Given = Mapping[str, Any]


def charts(given: Given, ledger: Ledger | None) -> tuple[str, list[Chart]]:
    """Return what is to be drawn, and the charts there are of it. ``given`` holds the names of ``ChartQuestion``.

    Raises
    ------
    InputError
        If not just one thing is named, or it cannot be read.
    """
    from linewright.workflows import chart as verbs

    kind = _one_of(given, ("sheet", "station", "sweeps", "kept"))
    own = own_lines(_pair(given.get("lines")))
    if kind == "sheet":
        from linewright.workflows.prove import prove_cable

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


def _wanted(given: Given, own: Sequence[LineType]) -> Wanted:
    from linewright.formats.prices import read_prices_text
    from linewright.workflows.chart import Wanted

    prices = _pair(given.get("prices"))
    return Wanted(given.get("run"), read_prices_text(prices[1], own, prices[0]) if prices else None, own)


def report_of(given: Given, day: date, ledger: Ledger | None, ending: str = "") -> Document:
    """Return a report that becomes a file of an ending. ``given`` has the names of ``ReportQuestion``."""
    from linewright.formats.station import read_station_text
    from linewright.workflows.report import Asked
    from linewright.workflows.report_given import report_of_given
    from linewright.workflows.report_kept import report_of_kept

    kind, lines = _one_of(given, ("sheet", "station", "kept")), _pair(given.get("lines"))
    if kind == "kept":
        assert ledger is not None
        return report_of_kept(ledger, given["kept"], Asked(day, _options(given, given["kept"], ending)))
    name, text = given[kind]["name"], given[kind]["text"]
    invented_text, known = invented()
    files: Mapping[str, str] = known if text == INVENTED else given["files"]
    if text == INVENTED:
        text = invented_text if kind == "station" else known[f"{INVENTED}.toml"]
    own = own_lines(lines)
    noun = bench(text, files, own) if kind == "sheet" else read_station_text(text, files, own)
    return report_of_given(
        (name, text), noun, files, Asked(day, _options(given, PurePath(name).stem, ending)), [lines] if lines else []
    )


def _options(given: Given, name: str, ending: str) -> tuple[str, ...]:
    """Return what the command would be told beside its subject, to make a report again."""
    output = [("--output", f"{name}{ending}")] if ending else []
    usual = {"language": "en", "decimal": None, "lengths": "m", "paper": "a4"}
    told = [(f"--{name}", given[name]) for name, value in usual.items() if given[name] != value]
    lines = [("--lines", given["lines"]["name"])] if given.get("lines") else []
    return tuple(word for pair in (*output, *told, *lines) for word in pair)


def labels_wanted(given: Given, spoken: Manner) -> Labelled:
    """Return how labels are wanted. ``given`` holds the names of ``LabelQuestion``."""
    from linewright.report.label_sheets import label_sheet, label_size
    from linewright.report.labels import OWN_SIZE_MM, Wanted

    if given["sheet"] and given["size"]:
        raise InputError("size", "must not stand beside a sheet, whose labels have a size of their own")
    if given["first"] != 1 and not given["sheet"]:
        raise InputError("first", "goes with a sheet")
    return Wanted(
        label_sheet(given["sheet"]) if given["sheet"] else None,
        label_size(given["size"]) if given["size"] else OWN_SIZE_MM,
        given["first"], given["wrap"], given["qr"] or given["address"] is not None, given["address"], spoken,
    )  # fmt: skip


def _one_of(given: Given, names: Sequence[str]) -> str:
    told = [name for name in names if given.get(name)]
    if len(told) != 1:
        raise InputError("what is asked about", f"must be told by one of {', '.join(names)}; got {len(told)}")
    return told[0]


def _pair(file: Mapping[str, str] | None) -> tuple[str, str] | None:
    return (file["name"], file["text"]) if file else None
