"""Generic line types, connectors and bands, with provenance on every figure.

The names stand in rooms of their own: ``catalogue.lines`` (types), ``catalogue.fit`` (laws from points),
``catalogue.own`` (a person's own type), ``catalogue.connectors``, ``catalogue.bands``. They are reached from here
too, and loaded when first asked for.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from linewright.catalogue.bands import Band, band, bands
    from linewright.catalogue.connectors import Connector, connector, connectors
    from linewright.catalogue.fit import fit_law
    from linewright.catalogue.lines import PowerPoint, line_type, line_types, power_points
    from linewright.catalogue.names import designators
    from linewright.catalogue.own import own_type

_HOME = {
    "Band": "bands", "band": "bands", "bands": "bands",
    "Connector": "connectors", "connector": "connectors", "connectors": "connectors",
    "fit_law": "fit",
    "PowerPoint": "lines", "line_type": "lines", "line_types": "lines", "power_points": "lines",
    "designators": "names",
    "own_type": "own",
}  # fmt: skip

__all__ = [
    "Band",
    "Connector",
    "PowerPoint",
    "band",
    "bands",
    "connector",
    "connectors",
    "designators",
    "fit_law",
    "line_type",
    "line_types",
    "own_type",
    "power_points",
]


def __getattr__(name: str) -> Any:
    if name not in _HOME:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    home = import_module(f"{__name__}.{_HOME[name]}")
    for other, where in _HOME.items():
        if where == _HOME[name]:
            # A file and a function may share a name (bands): the function is the one people mean.
            globals()[other] = getattr(home, other)
    return globals()[name]
