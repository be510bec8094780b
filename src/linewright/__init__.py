"""linewright: know what each feed line loses, honestly, from crude readings.

>>> import linewright as lw
>>> table = lw.line_loss("RG-213/U", 30.0, [14.2e6, 144e6])
>>> [row.extrapolated for row in table.rows]
[True, False]

Everything is loaded when first asked for, so that the import costs next to nothing.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from linewright.catalogue import line_type, line_types, own_type
    from linewright.errors import CannotError, InputError, LinewrightError, SheetError, UnitError, UnknownNameError
    from linewright.formats import read_bench_sheet, read_lines
    from linewright.model.bench import BenchSheet
    from linewright.model.result import BenchResult
    from linewright.workflows.loss import line_loss, list_lines
    from linewright.workflows.prove import prove_cable

__version__ = "0.1.0"

_ERRORS = ("CannotError", "InputError", "LinewrightError", "SheetError", "UnitError", "UnknownNameError")
_HOME = {
    **dict.fromkeys(_ERRORS, "errors"),
    **dict.fromkeys(("line_type", "line_types", "own_type"), "catalogue"),
    **dict.fromkeys(("read_bench_sheet", "read_lines"), "formats"),
    **dict.fromkeys(("line_loss", "list_lines"), "workflows.loss"),
    "BenchSheet": "model.bench",
    "BenchResult": "model.result",
    "prove_cable": "workflows.prove",
}

__all__ = [
    "BenchResult", "BenchSheet", "CannotError", "InputError", "LinewrightError", "SheetError", "UnitError",
    "UnknownNameError", "line_loss", "line_type", "line_types", "list_lines", "own_type", "prove_cable",
    "read_bench_sheet", "read_lines",
]  # fmt: skip


def __getattr__(name: str) -> Any:
    if name not in _HOME:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(f"{__name__}.{_HOME[name]}"), name)


def __dir__() -> list[str]:
    return sorted(__all__)
