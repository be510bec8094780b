"""linewright: know what each feed line loses, honestly, from crude readings.

>>> import linewright as lw
>>> table = lw.line_loss("RG-213/U", 30.0, [14.2e6, 144e6])
>>> [row.extrapolated for row in table.rows]
[False, False]

Everything is loaded when first asked for, so that the import costs next to nothing.

The engines multiply many small matrices, which threads of the BLAS library only slow down, 5 to 15 times on a busy
machine. So NumPy and SciPy get one thread when linewright is imported before them. Whoever sets one of the environment
variables of ``_BLAS_THREADS`` decides instead, and so does a program that loads NumPy first.
"""

from __future__ import annotations

import os
from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from linewright.catalogue import line_type, line_types, made_type, own_type
    from linewright.core.errors import CannotError, InputError, LinewrightError, SheetError, UnitError, UnknownNameError
    from linewright.core.nouns.antenna import AntennaResult
    from linewright.core.nouns.belief import Belief
    from linewright.core.nouns.bench import BenchSheet
    from linewright.core.nouns.bench_result import BenchResult
    from linewright.core.nouns.choice import Shared
    from linewright.core.nouns.cut import CutResult, ElectricalLine
    from linewright.core.nouns.ledger import ConflictError
    from linewright.core.nouns.meaning import Level, Meaning, Radiated
    from linewright.core.nouns.one_end import OneEndReading, OneEndResult, OneEndTest
    from linewright.core.nouns.plan import Budget, Plan, WhatIf
    from linewright.core.nouns.practice import Claim, PracticeBench, PracticeOutcome
    from linewright.core.nouns.station import Run, Station
    from linewright.core.nouns.sweep import Sweep, SweepQuestion, SweepReport
    from linewright.core.nouns.through import LineBehind, Seen, ThroughResult
    from linewright.files import read_bench_sheet, read_lines, read_station, read_touchstone, write_touchstone
    from linewright.files.blank_sheet import template_csv
    from linewright.files.prices import read_prices
    from linewright.inference.sweep.belief import law_belief
    from linewright.inference.sweep.compare import deembed, difference_db, two_lengths
    from linewright.present.blank_sheet import sheet_pages
    from linewright.present.charts.render import render
    from linewright.present.labels import label_pages, label_picture
    from linewright.verbs.antenna import see_antenna
    from linewright.verbs.blank_sheet import blank_sheet
    from linewright.verbs.chart import charts_of_file, charts_of_kept, charts_of_sweep
    from linewright.verbs.choose import choose_for
    from linewright.verbs.connector_list import list_connectors
    from linewright.verbs.cut import CutQuestion, apply_cut, cut_labels, kept_line, plan_cut
    from linewright.verbs.due import due_first
    from linewright.verbs.exposure import exposure_at, exposure_of, exposure_of_antenna
    from linewright.verbs.installation import check_installation
    from linewright.verbs.kept_sweeps import find_sweeps, sweep_file, write_sweeps
    from linewright.verbs.label import label_pieces
    from linewright.verbs.line_page import from_dimensions, line_page
    from linewright.verbs.listen import open_channel, take_number
    from linewright.verbs.loss import line_loss, list_lines
    from linewright.verbs.meaning import level_of, meaning_between, meaning_of, radiated_at, what_it_means
    from linewright.verbs.meters import calibrate_meter, list_meters, show_meter
    from linewright.verbs.one_end import prove_one_end
    from linewright.verbs.plan import plan_run, plan_station
    from linewright.verbs.practise import invent_bench, mark_answer, show_bench, take_reading
    from linewright.verbs.prove import prove_cable
    from linewright.verbs.report import report_of_file, write_report
    from linewright.verbs.report_kept import report_of_kept
    from linewright.verbs.share import share_shelf
    from linewright.verbs.shelf import (
        add,
        add_note,
        archive,
        back_up,
        belief_of_piece,
        change,
        check_ledger,
        export_ledger,
        file_sheet,
        file_sweep,
        history_of,
        import_ledger,
        list_shelf,
        merge_ledger,
        open_ledger,
        recover_ledger,
        rename,
        restore,
        show_piece,
        undo,
    )
    from linewright.verbs.shelf_lives import cut, fit_connectors, join, shorten
    from linewright.verbs.shelf_plans import drop_plan, keep_plan, kept_plans, lay_plan
    from linewright.verbs.shelf_stations import change_run, kept_gear, kept_runs
    from linewright.verbs.sweep import read_sweep
    from linewright.verbs.swept_line import swept_line
    from linewright.verbs.through import line_behind, see_through
    from linewright.verbs.what_if import what_if

__version__ = "0.1.0"

_BLAS_THREADS = ("OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "BLIS_NUM_THREADS", "VECLIB_MAXIMUM_THREADS")
# OMP_NUM_THREADS and GOTO_NUM_THREADS are heeded too. They are never set here: the first speaks for other programs.
if not {*_BLAS_THREADS, "OMP_NUM_THREADS", "GOTO_NUM_THREADS"} & os.environ.keys():
    os.environ.update(dict.fromkeys(_BLAS_THREADS, "1"))

_NAMES = {
    "catalogue": "line_type line_types made_type own_type",
    "core.errors": "CannotError InputError LinewrightError SheetError UnitError UnknownNameError",
    "core.nouns.antenna": "AntennaResult",
    "core.nouns.belief": "Belief",
    "core.nouns.bench": "BenchSheet",
    "core.nouns.bench_result": "BenchResult",
    "core.nouns.choice": "Shared",
    "core.nouns.cut": "CutResult ElectricalLine",
    "core.nouns.ledger": "ConflictError",
    "core.nouns.meaning": "Level Meaning Radiated",
    "core.nouns.one_end": "OneEndReading OneEndResult OneEndTest",
    "core.nouns.plan": "Budget Plan WhatIf",
    "core.nouns.practice": "Claim PracticeBench PracticeOutcome",
    "core.nouns.station": "Run Station",
    "core.nouns.sweep": "Sweep SweepQuestion SweepReport",
    "core.nouns.through": "LineBehind Seen ThroughResult",
    "files": "read_bench_sheet read_lines read_station read_touchstone write_touchstone",
    "files.blank_sheet": "template_csv",
    "files.prices": "read_prices",
    "inference.sweep.belief": "law_belief",
    "inference.sweep.compare": "deembed difference_db two_lengths",
    "present.blank_sheet": "sheet_pages",
    "present.charts.render": "render",
    "present.labels": "label_pages label_picture",
    "verbs.antenna": "see_antenna",
    "verbs.blank_sheet": "blank_sheet",
    "verbs.chart": "charts_of_file charts_of_kept charts_of_sweep",
    "verbs.choose": "choose_for",
    "verbs.cut": "CutQuestion apply_cut cut_labels kept_line plan_cut",
    "verbs.due": "due_first",
    "verbs.exposure": "exposure_at exposure_of exposure_of_antenna",
    "verbs.installation": "check_installation",
    "verbs.kept_sweeps": "find_sweeps sweep_file write_sweeps",
    "verbs.label": "label_pieces",
    "verbs.connector_list": "list_connectors",
    "verbs.line_page": "from_dimensions line_page",
    "verbs.listen": "open_channel take_number",
    "verbs.loss": "line_loss list_lines",
    "verbs.meaning": "level_of meaning_between meaning_of radiated_at what_it_means",
    "verbs.one_end": "prove_one_end",
    "verbs.plan": "plan_run plan_station",
    "verbs.practise": "invent_bench mark_answer show_bench take_reading",
    "verbs.prove": "prove_cable",
    "verbs.report": "report_of_file write_report",
    "verbs.report_kept": "report_of_kept",
    "verbs.meters": "calibrate_meter list_meters show_meter",
    "verbs.share": "share_shelf",
    "verbs.shelf_lives": "cut fit_connectors join shorten",
    "verbs.shelf_plans": "drop_plan keep_plan kept_plans lay_plan",
    "verbs.shelf_stations": "change_run kept_gear kept_runs",
    "verbs.shelf": "add add_note archive back_up belief_of_piece change check_ledger export_ledger file_sheet"
    " file_sweep history_of import_ledger list_shelf merge_ledger open_ledger recover_ledger rename restore show_piece"
    " undo",
    "verbs.sweep": "read_sweep",
    "verbs.swept_line": "swept_line",
    "verbs.through": "line_behind see_through",
    "verbs.what_if": "what_if",
}
_HOME = {name: home for home, names in _NAMES.items() for name in names.split()}

__all__ = [
    "AntennaResult",
    "Belief",
    "BenchResult",
    "BenchSheet",
    "Budget",
    "CannotError",
    "Claim",
    "ConflictError",
    "CutQuestion",
    "CutResult",
    "ElectricalLine",
    "InputError",
    "Level",
    "LineBehind",
    "LinewrightError",
    "Meaning",
    "OneEndReading",
    "OneEndResult",
    "OneEndTest",
    "Plan",
    "PracticeBench",
    "PracticeOutcome",
    "Radiated",
    "Run",
    "Seen",
    "Shared",
    "SheetError",
    "Station",
    "Sweep",
    "SweepQuestion",
    "SweepReport",
    "ThroughResult",
    "UnitError",
    "UnknownNameError",
    "WhatIf",
    "add",
    "add_note",
    "apply_cut",
    "archive",
    "back_up",
    "belief_of_piece",
    "blank_sheet",
    "calibrate_meter",
    "change",
    "change_run",
    "charts_of_file",
    "charts_of_kept",
    "charts_of_sweep",
    "check_installation",
    "check_ledger",
    "choose_for",
    "cut",
    "cut_labels",
    "deembed",
    "difference_db",
    "drop_plan",
    "due_first",
    "export_ledger",
    "exposure_at",
    "exposure_of",
    "exposure_of_antenna",
    "file_sheet",
    "file_sweep",
    "find_sweeps",
    "fit_connectors",
    "from_dimensions",
    "history_of",
    "import_ledger",
    "invent_bench",
    "join",
    "keep_plan",
    "kept_gear",
    "kept_line",
    "kept_plans",
    "kept_runs",
    "label_pages",
    "label_picture",
    "label_pieces",
    "law_belief",
    "lay_plan",
    "level_of",
    "line_behind",
    "line_loss",
    "line_page",
    "line_type",
    "line_types",
    "list_connectors",
    "list_lines",
    "list_meters",
    "list_shelf",
    "made_type",
    "mark_answer",
    "meaning_between",
    "meaning_of",
    "merge_ledger",
    "open_channel",
    "open_ledger",
    "own_type",
    "plan_cut",
    "plan_run",
    "plan_station",
    "prove_cable",
    "prove_one_end",
    "radiated_at",
    "read_bench_sheet",
    "read_lines",
    "read_prices",
    "read_station",
    "read_sweep",
    "read_touchstone",
    "recover_ledger",
    "rename",
    "render",
    "report_of_file",
    "report_of_kept",
    "restore",
    "see_antenna",
    "see_through",
    "share_shelf",
    "sheet_pages",
    "shorten",
    "show_bench",
    "show_meter",
    "show_piece",
    "sweep_file",
    "swept_line",
    "take_number",
    "take_reading",
    "template_csv",
    "two_lengths",
    "undo",
    "what_if",
    "what_it_means",
    "write_report",
    "write_sweeps",
    "write_touchstone",
]


def __getattr__(name: str) -> Any:
    if name not in _HOME:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    found = getattr(import_module(f"{__name__}.{_HOME[name]}"), name)
    if not isinstance(found, type):
        from linewright.core.arguments import checked

        found = checked(found)
    globals()[name] = found
    return found


def __dir__() -> list[str]:
    return sorted(__all__)
