"""Generic line types, connectors and bands, with provenance on every figure.

Lines are reached from here (``catalogue.line_type("RG-213/U")``), each name loaded when first asked for. Connectors and
bands stand in files of their own: ``catalogue.connectors`` and ``catalogue.bands``.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from linewright.catalogue.fit import fit_law
    from linewright.catalogue.lines import PowerPoint, line_type, line_types, power_points
    from linewright.catalogue.names import designators
    from linewright.catalogue.own import own_type

_HOME = {
    "fit_law": "fit",
    "PowerPoint": "lines", "line_type": "lines", "line_types": "lines", "power_points": "lines",
    "designators": "names",
    "own_type": "own",
}  # fmt: skip

__all__ = ["PowerPoint", "designators", "fit_law", "line_type", "line_types", "own_type", "power_points"]


def __getattr__(name: str) -> Any:
    if name not in _HOME:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(f"{__name__}.{_HOME[name]}"), name)
