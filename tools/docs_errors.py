"""The rules that errors name, read off the sources without running them."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path
from string import Formatter

SOURCES = Path(__file__).parents[1] / "src" / "linewright"
RAISED = {"InputError", "UnitError", "UnknownNameError", "SheetError"}
SAID = {"say", "say_many"}
"""Calls whose first argument is a message; of two for one and for several, the one for one."""


def rules() -> Iterator[tuple[str, str, str]]:
    """Yield argument, rule and cure of every error that the sources raise with a rule written out."""
    for path in sorted(SOURCES.rglob("*.py")):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and getattr(node.func, "id", "") in RAISED and len(node.args) >= 2:
                cure = next((word.value for word in node.keywords if word.arg == "cure"), None)
                argument, rule = worded(node.args[0]), worded(node.args[1])
                if rule:
                    yield argument or "…", rule, worded(cure) if cure else ""


def worded(node: ast.expr) -> str:
    """Return a text or a message as it is written, with … where something is put in; nothing where it is neither.

    >>> worded(ast.parse('f"must be {least} or more"', mode="eval").body)
    'must be … or more'
    >>> worded(ast.parse('say("must be {least} or more", least=3)', mode="eval").body)
    'must be … or more'
    """
    if isinstance(node, ast.Call) and getattr(node.func, "id", "") in SAID and isinstance(node.args[0], ast.Constant):
        return "".join(text + ("" if name is None else "…") for text, name, *_ in Formatter().parse(node.args[0].value))
    if isinstance(node, ast.Constant):
        return str(node.value)
    if isinstance(node, ast.JoinedStr):
        return "".join(worded(part) or "…" for part in node.values)
    return ""
