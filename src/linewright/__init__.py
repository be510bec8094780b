"""linewright: know what each feed line loses, honestly, from crude readings.

>>> import linewright as lw
>>> table = lw.line_loss("RG-213/U", 30.0, [14.2e6, 144e6])
>>> [row.extrapolated for row in table.rows]
[True, False]

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
    from linewright.catalogue import line_type, line_types, own_type
    from linewright.charts.render import render
    from linewright.errors import CannotError, InputError, LinewrightError, SheetError, UnitError, UnknownNameError
    from linewright.evidence.sweeps.belief import law_belief
    from linewright.evidence.sweeps.compare import deembed, difference_db, two_lengths
    from linewright.formats import read_bench_sheet, read_lines, read_station, read_touchstone, write_touchstone
    from linewright.formats.prices import read_prices
    from linewright.formats.template import template_csv
    from linewright.model.belief import Belief
    from linewright.model.bench import BenchSheet
    from linewright.model.ledger import ConflictError
    from linewright.model.meaning import Meaning
    from linewright.model.one_end import OneEndReading, OneEndResult, OneEndTest
    from linewright.model.plan import Budget, Plan
    from linewright.model.result import BenchResult
    from linewright.model.share import Shared
    from linewright.model.station import Run, Station
    from linewright.model.sweep import Sweep
    from linewright.model.sweep_report import SweepQuestion, SweepReport
    from linewright.model.through import LineBehind, Seen, ThroughResult
    from linewright.model.what_if import WhatIf
    from linewright.report.blank_sheet import sheet_pages
    from linewright.report.labels import label_pages, label_picture
    from linewright.workflows.blank_sheet import blank_sheet
    from linewright.workflows.chart import charts_of_file, charts_of_kept, charts_of_sweep
    from linewright.workflows.choose import choose_for
    from linewright.workflows.exposure import exposure_of
    from linewright.workflows.label import label_pieces
    from linewright.workflows.loss import line_loss, list_lines
    from linewright.workflows.meaning import meaning_of
    from linewright.workflows.one_end import prove_one_end
    from linewright.workflows.plan import plan_run, plan_station
    from linewright.workflows.prove import prove_cable
    from linewright.workflows.report import report_of_file, write_report
    from linewright.workflows.report_kept import report_of_kept
    from linewright.workflows.share import share_shelf
    from linewright.workflows.shelf import (
        add,
        add_note,
        archive,
        back_up,
        belief_of_piece,
        change,
        export_ledger,
        file_sheet,
        file_sweep,
        history_of,
        import_ledger,
        list_shelf,
        merge_ledger,
        open_ledger,
        rename,
        restore,
        show_piece,
        undo,
    )
    from linewright.workflows.sweep import read_sweep
    from linewright.workflows.through import line_behind, see_through
    from linewright.workflows.what_if import what_if

__version__ = "0.1.0"

_BLAS_THREADS = ("OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "BLIS_NUM_THREADS", "VECLIB_MAXIMUM_THREADS")
# OMP_NUM_THREADS and GOTO_NUM_THREADS are heeded too. They are never set here: the first speaks for other programs.
if not {*_BLAS_THREADS, "OMP_NUM_THREADS", "GOTO_NUM_THREADS"} & os.environ.keys():
    os.environ.update(dict.fromkeys(_BLAS_THREADS, "1"))

_NAMES = {
    "catalogue": "line_type line_types own_type",
    "charts.render": "render",
    "errors": "CannotError InputError LinewrightError SheetError UnitError UnknownNameError",
    "evidence.sweeps.belief": "law_belief",
    "evidence.sweeps.compare": "deembed difference_db two_lengths",
    "formats": "read_bench_sheet read_lines read_station read_touchstone write_touchstone",
    "formats.prices": "read_prices",
    "formats.template": "template_csv",
    "model.belief": "Belief",
    "model.bench": "BenchSheet",
    "model.ledger": "ConflictError",
    "model.meaning": "Meaning",
    "model.one_end": "OneEndReading OneEndResult OneEndTest",
    "model.plan": "Budget Plan",
    "model.result": "BenchResult",
    "model.share": "Shared",
    "model.station": "Run Station",
    "model.sweep": "Sweep",
    "model.sweep_report": "SweepQuestion SweepReport",
    "model.through": "LineBehind Seen ThroughResult",
    "model.what_if": "WhatIf",
    "report.blank_sheet": "sheet_pages",
    "report.labels": "label_pages label_picture",
    "workflows.blank_sheet": "blank_sheet",
    "workflows.chart": "charts_of_file charts_of_kept charts_of_sweep",
    "workflows.choose": "choose_for",
    "workflows.exposure": "exposure_of",
    "workflows.label": "label_pieces",
    "workflows.loss": "line_loss list_lines",
    "workflows.meaning": "meaning_of",
    "workflows.one_end": "prove_one_end",
    "workflows.plan": "plan_run plan_station",
    "workflows.prove": "prove_cable",
    "workflows.report": "report_of_file write_report",
    "workflows.report_kept": "report_of_kept",
    "workflows.share": "share_shelf",
    "workflows.shelf": "add add_note archive back_up belief_of_piece change export_ledger file_sheet file_sweep"
    " history_of import_ledger list_shelf merge_ledger open_ledger rename restore show_piece undo",
    "workflows.sweep": "read_sweep",
    "workflows.through": "line_behind see_through",
    "workflows.what_if": "what_if",
}
_HOME = {name: home for home, names in _NAMES.items() for name in names.split()}

__all__ = [
    "Belief",
    "BenchResult",
    "BenchSheet",
    "Budget",
    "CannotError",
    "ConflictError",
    "InputError",
    "LineBehind",
    "LinewrightError",
    "Meaning",
    "OneEndReading",
    "OneEndResult",
    "OneEndTest",
    "Plan",
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
    "archive",
    "back_up",
    "belief_of_piece",
    "blank_sheet",
    "change",
    "charts_of_file",
    "charts_of_kept",
    "charts_of_sweep",
    "choose_for",
    "deembed",
    "difference_db",
    "export_ledger",
    "exposure_of",
    "file_sheet",
    "file_sweep",
    "history_of",
    "import_ledger",
    "label_pages",
    "label_picture",
    "label_pieces",
    "law_belief",
    "line_behind",
    "line_loss",
    "line_type",
    "line_types",
    "list_lines",
    "list_shelf",
    "meaning_of",
    "merge_ledger",
    "open_ledger",
    "own_type",
    "plan_run",
    "plan_station",
    "prove_cable",
    "prove_one_end",
    "read_bench_sheet",
    "read_lines",
    "read_prices",
    "read_station",
    "read_sweep",
    "read_touchstone",
    "rename",
    "render",
    "report_of_file",
    "report_of_kept",
    "restore",
    "see_through",
    "share_shelf",
    "sheet_pages",
    "show_piece",
    "template_csv",
    "two_lengths",
    "undo",
    "what_if",
    "write_report",
    "write_touchstone",
]


def __getattr__(name: str) -> Any:
    if name not in _HOME:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(f"{__name__}.{_HOME[name]}"), name)


def __dir__() -> list[str]:
    return sorted(__all__)
