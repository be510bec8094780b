"""Files in and out: sheets, readings, own line types, sweeps, stations, results. Loaded when first asked for."""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from linewright.files.own_lines import read_lines
    from linewright.files.sheet import read_bench_sheet, read_bench_sheet_text
    from linewright.files.station import read_station, read_station_text
    from linewright.files.tables import to_json
    from linewright.files.touchstone import read_touchstone, read_touchstone_text, touchstone_text, write_touchstone

_HOME = {
    "to_json": "tables",
    "read_lines": "own_lines",
    "read_bench_sheet": "sheet",
    "read_bench_sheet_text": "sheet",
    "read_station": "station",
    "read_station_text": "station",
    "read_touchstone": "touchstone",
    "read_touchstone_text": "touchstone",
    "touchstone_text": "touchstone",
    "write_touchstone": "touchstone",
}

__all__ = [
    "read_bench_sheet",
    "read_bench_sheet_text",
    "read_lines",
    "read_station",
    "read_station_text",
    "read_touchstone",
    "read_touchstone_text",
    "to_json",
    "touchstone_text",
    "write_touchstone",
]


def __getattr__(name: str) -> Any:
    if name not in _HOME:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(f"{__name__}.{_HOME[name]}"), name)
