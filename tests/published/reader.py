"""Published values: read from the files beside this one, compared at the digits that are printed.

Each check names the function, its inputs, the digits as printed, the source and its place. ``known`` says how the
source was seen: "read" in the document, "quoted" in a text that quotes it, "memory", "worked" (worked out by another
hand from a published formula), or "common practice, no source". ``within`` widens the tolerance and ``why`` says why.
"""

from __future__ import annotations

import tomllib
from decimal import Decimal
from pathlib import Path
from typing import Any

KNOWN = {"read", "quoted", "memory", "worked", "common practice, no source"}


def checks(name: str, function: str | None = None) -> list[dict[str, Any]]:
    """Return the checks of one file, of one function if named; each must say where it comes from."""
    data = tomllib.loads((Path(__file__).parent / f"{name}.toml").read_text(encoding="utf-8"))
    for check in data["check"]:
        assert check["known"] in KNOWN, check
        assert check["source"], check
        assert "within" not in check or check["why"], check
    return [c for c in data["check"] if function in (None, c["function"])]


def tolerance(check: dict[str, Any]) -> float:
    """Return half a unit of the last printed digit, or the wider figure the check gives a reason for."""
    exponent = int(Decimal(check["printed"]).as_tuple().exponent)
    return float(check.get("within", 0.5 * 10.0**exponent)) * (1 + 1e-9)


def agrees(value: float, check: dict[str, Any]) -> bool:
    """Return whether a value agrees with the printed one."""
    return abs(float(value) - float(check["printed"])) <= tolerance(check)


def label(check: dict[str, Any]) -> str:
    """Return a short name of the check for the test's report."""
    return f"{check['function']}-{check['printed']}-{check['source'][:30]}"
