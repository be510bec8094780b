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
    from linewright.catalogue.own import made_type, own_type
    from linewright.catalogue.properties import contradictions

_HOME = {
    "fit_law": "fit",
    "PowerPoint": "lines", "line_type": "lines", "line_types": "lines", "power_points": "lines",
    "designators": "names",
    "made_type": "own", "own_type": "own",
    "contradictions": "properties",
}  # fmt: skip

__all__ = [
    "PowerPoint",
    "contradictions",
    "designators",
    "fit_law",
    "line_type",
    "line_types",
    "made_type",
    "own_type",
    "power_points",
]


def __getattr__(name: str) -> Any:
    if name not in _HOME:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(f"{__name__}.{_HOME[name]}"), name)
