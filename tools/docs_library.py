"""The reference of the library as Markdown: every public name with its docstring, read off the package itself."""

from __future__ import annotations

import inspect
import re
from collections.abc import Iterator
from dataclasses import fields, is_dataclass
from importlib import import_module
from typing import Any

SECTION = re.compile(r"^(?P<title>[A-Z][\w ]*)\n-+\n", re.MULTILINE)
PARAGRAPHS = re.compile(r"\n\s*\n(?=\S)|\n\n+(?=\s)")
LISTED = {"Parameters", "Attributes", "Returns", "Raises"}
ROOMS = {
    "catalogue": "Line types",
    "core": "Errors and nouns",
    "files": "Files in and out",
    "inference": "Sweeps by hand",
    "present": "Charts, labels, sheets",
    "verbs": "Verbs",
}


def public() -> Iterator[tuple[str, str, Any]]:
    """Yield every public name with the module it lives in and what it stands for."""
    import linewright

    for name in linewright.__all__:
        home = linewright._HOME[name]
        yield name, home, getattr(import_module(f"linewright.{home}"), name)


def library() -> str:
    """Return the documentation of every public name, room by room."""
    rooms: dict[str, list[str]] = {}
    for name, home, thing in public():
        rooms.setdefault(home.partition(".")[0], []).append(_entry(name, thing))
    return "\n\n".join(f"## {ROOMS[room]}\n\n" + "\n\n".join(entries) for room, entries in sorted(rooms.items()))


def described(thing: Any) -> dict[str, str]:
    """Return what is said of each parameter of a function, in the order of the call, as entries of a section.

    What the verbs of the ledger have in common is said once, by ``linewright.verbs.shelf``.
    """
    told = _by_name(inspect.getdoc(thing))
    if "ledger" in inspect.signature(thing).parameters:
        from linewright.verbs import shelf

        told = {**_by_name(shelf.__doc__), **told}
    return {name: told[name] for name in inspect.signature(thing).parameters if name in told}


def _by_name(text: str | None) -> dict[str, str]:
    """Return the entries of a docstring's parameters by the names they describe."""
    entries = re.split(r"\n(?=\S)", parted(text or "")[1].get("Parameters", ""))
    return {name.strip(): entry for entry in entries for name in entry.partition(" : ")[0].split(",")}


def _entry(name: str, thing: Any) -> str:
    lead, sections = parted(inspect.getdoc(thing) or "")
    if not isinstance(thing, type) and (told := described(thing)):
        sections.pop("Parameters", None)
        sections = {"Parameters": "\n".join(dict.fromkeys(told.values())), **sections}
    parts = [f"### {name}", *([] if isinstance(thing, type) else [f"```text\n{call(name, thing)}\n```"]), marked(lead)]
    if isinstance(thing, type) and is_dataclass(thing) and "Attributes" not in sections:
        parts.append("Fields: " + ", ".join(f"`{item.name}`" for item in fields(thing)) + ".")
    for title, body in sections.items():
        listed = title in LISTED and not body.startswith(">>>")
        parts.append(f"**{title}**\n\n{entries(body) if listed else marked(body)}")
    return "\n\n".join(part for part in parts if part)


def call(name: str, thing: Any) -> str:
    """Return how a function is called: names and defaults, and what comes back.

    >>> def loss(length_m: float, *, own: tuple[str, ...] = ()) -> float: ...
    >>> call("loss", loss)
    'loss(length_m, *, own=()) -> float'
    """
    found = inspect.signature(thing)
    bare = [one.replace(annotation=one.empty, default=_shown(one.default)) for one in found.parameters.values()]
    back = found.return_annotation
    words = str(found.replace(parameters=bare, return_annotation=inspect.Signature.empty))
    told = "" if back is inspect.Signature.empty else f" -> {back if isinstance(back, str) else back.__name__}"
    return f"{name}{words}{told}"


class _Written:
    """A default that is too long to write out."""

    def __repr__(self) -> str:
        return "..."


def _shown(default: Any) -> Any:
    plain = default is inspect.Parameter.empty or isinstance(default, (str, int, float, tuple, type(None)))
    return default if plain and len(repr(default)) < 40 else _Written()


def parted(text: str) -> tuple[str, dict[str, str]]:
    r"""Return what stands before the sections of a docstring, and each section; examples at its end are one too.

    >>> lead, rest = parted("Return it.\n\nRaises\n------\nInputError\n    If not.\n\n>>> 1\n1")
    >>> lead, rest
    ('Return it.', {'Raises': 'InputError\n    If not.', 'Examples': '>>> 1\n1'})
    """
    text, _, examples = text.partition("\n\n>>> ")
    pieces = SECTION.split(text)
    found = {title: body.strip("\n") for title, body in zip(pieces[1::2], pieces[2::2], strict=True)}
    if examples:
        found["Examples"] = f">>> {examples}"
    return pieces[0].strip(), found


def marked(text: str) -> str:
    r"""Return running text of a docstring as Markdown; examples and indented blocks stay as they are.

    >>> marked("``a`` is\nmore::\n\n    x = 1")
    '`a` is\nmore:\n\n    x = 1'
    """
    out = []
    for part in PARAGRAPHS.split(text):
        if part.lstrip().startswith(">>>"):
            out.append(f"```pycon\n{part}\n```")
        elif part.startswith(" "):
            out.append(part)
        else:
            out.append(part.replace("``", "`").replace("::", ":") if part.endswith("::") else part.replace("``", "`"))
    return "\n\n".join(out).replace("\n```\n\n```pycon\n", "\n\n")


def entries(body: str) -> str:
    r"""Return the entries of a section as a list.

    >>> entries("power_w : float\n    At the antenna,\n    watts.\nrun : Run")
    '- `power_w`, float: At the antenna, watts.\n- `run`, Run'
    """
    rows: list[list[str]] = []
    for line in body.splitlines():
        if line and not line.startswith(" "):
            name, _, kind = line.partition(" : ")
            rows.append([f"- `{name}`" + (f", {kind}" if kind else "")])
        elif line.strip() and rows:
            rows[-1].append(line.strip().replace("``", "`"))
    return "\n".join(f"{row[0]}: {' '.join(row[1:])}" if row[1:] else row[0] for row in rows)
