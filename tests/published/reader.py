"""Check values: read from the files beside this one, compared at the digits that are printed.

Each check names the function, its inputs, the digits as printed, the source and its place. ``known`` says what the
check is; ``KNOWN`` lists the words. ``within`` widens the tolerance and ``why`` says why.
"""

from __future__ import annotations

import re
import tomllib
from decimal import Decimal
from pathlib import Path
from typing import Any

KNOWN = {
    "read": "published",  # seen in the document, which source and place lead to
    "quoted": "published",  # seen in a text that quotes the document
    "reader": "reader",  # seen, but the source is not named here or has no address: nobody else can look it up
    "recomputed": "recomputed",  # worked out by this project from a published formula or published inputs
    "worked": "recomputed",
    "memory": "memory",
    "common practice, no source": "common practice",
    "own estimate": "own estimate",  # another estimator of ours on the same measured file
}
"""What a check may be called, and what it counts as: only what can be looked up counts as published."""
ADDRESS = re.compile(r"\b[\w-]+(\.[\w-]+)+\.?(/\S+| (question|document) \d+)")
WORK = re.compile(
    r"\b(EA-4/02|JCGM|NIST|ITU-R|ICNIRP|IARU|47 CFR|OET|IEEE)\b|\bed\.|Touchstone file format specification"
    r"|US amateur question pool"
)
PLACE = re.compile(r"\d")


def kind(check: dict[str, Any]) -> str:
    """Return what a check counts as."""
    return KNOWN[check["known"]]


def leads_there(check: dict[str, Any]) -> bool:
    """Return whether source and place lead a reader to the printed value: an address, or a known work and its place."""
    source, place = check["source"], check.get("place", "")
    return bool(ADDRESS.search(f"{source} {place}")) or bool(WORK.search(source) and PLACE.search(f"{source} {place}"))


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
