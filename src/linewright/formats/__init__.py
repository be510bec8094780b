"""Files in and out: bench sheets, readings, a person's own line types, results as JSON. Loaded when first asked for."""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from linewright.formats.documents import to_json
    from linewright.formats.own_lines import read_lines
    from linewright.formats.sheet import read_bench_sheet, read_bench_sheet_text

_HOME = {
    "to_json": "documents",
    "read_lines": "own_lines",
    "read_bench_sheet": "sheet",
    "read_bench_sheet_text": "sheet",
}

__all__ = ["read_bench_sheet", "read_bench_sheet_text", "read_lines", "to_json"]


def __getattr__(name: str) -> Any:
    if name not in _HOME:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(f"{__name__}.{_HOME[name]}"), name)
