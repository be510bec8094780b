"""The generated parts of the reference, as Markdown: commands, documents, the library's names, errors."""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Iterator
from html import escape
from pathlib import Path
from typing import Any

import click

ROOT = Path(__file__).parents[1]
DOCS = ROOT / "docs"
PARAGRAPHS = re.compile(r"\n\s*\n")
LINK = re.compile(r"\]\((?!#|\w+:)")
DOCUMENTS = (
    "prove harbour-ridge.toml",
    "one-end --open 5.2 --short 4.9 --at 50MHz --line RG-213/U --length 30m",
    "through --shack-swr 1.3 --at 144.3MHz --piece 'blue 18' --sheet harbour-ridge.toml",
    "sweep drum.s2p --length 30m --line RG-213/U",
    "plan harbour-ridge-station.toml",
    "plan harbour-ridge-station.toml --run 'two-metre beam' --with power=25W",
    "reception harbour-ridge-station.toml --run 'two-metre beam'",
    "exposure harbour-ridge-station.toml --run 'two-metre beam'",
    "choose harbour-ridge-station.toml --run 'two-metre beam' --prices harbour-ridge-prices.csv",
    "share harbour-ridge-field-day.toml",
    "meaning 3dB --at 144MHz --signal S7",
    "loss RG-213/U 30m 14.2MHz",
    "lines",
    "shelf add 'blue 7' --line RG-58C/U --length 7.2m",
    "shelf file harbour-ridge.toml --on 2026-03-14",
    "shelf list",
    "shelf history 'blue 7'",
    "shelf history",
    "chart harbour-ridge.toml --list",
    "report harbour-ridge.toml -o bench.html --date 2026-03-14",
    "label 'blue 7'",
    "sheet harbour-ridge.toml -o to-fill-in.csv",
)
"""One command for each kind of document; what it writes shows the keys."""


def part(name: str, what: str | None) -> str:
    """Return a generated part of a page by its name."""
    import docs_figures

    makers: dict[str, Callable[[], str]] = {
        "commands": commands,
        "documents": documents,
        "library": library,
        "errors": errors,
        "line-types": docs_figures.line_types,
    }
    if name == "section":
        return section(*str(what).split("#"))
    return docs_figures.check_values(str(what)) if name == "check-values" else makers[name]()


def table(head: tuple[str, ...], rows: list[tuple[str, ...]]) -> str:
    r"""Return a Markdown table; bars inside cells are kept as text.

    >>> table(("a", "b"), [("1|2", "3")]).splitlines()[-1]
    '| 1\\|2 | 3 |'
    """
    lines = [head, tuple("---" for _ in head), *rows]
    return "\n".join("| " + " | ".join(re.sub(r"(?<!\\)\|", r"\\|", cell) for cell in line) + " |" for line in lines)


def plain(text: str) -> str:
    r"""Return text that Markdown shows as it is, on one line; code in it stays code.

    >>> plain("a_b < `c_d`")
    'a\\_b &lt; `c_d`'
    """
    parts = re.split(r"(`[^`]+`)", " ".join(text.split()))
    return "".join(
        part if at % 2 else re.sub(r"([*_\[\]`])", r"\\\1", escape(part, quote=False)) for at, part in enumerate(parts)
    )


def code(text: str) -> str:
    """Return a code span."""
    return f"`{' '.join(text.split())}`"


def section(page: str, heading: str) -> str:
    """Return what stands under a heading of a page, so that it is written once and found in both places."""
    text = (DOCS / page).read_text(encoding="utf-8")
    start = re.search(rf"^## {re.escape(heading.replace('-', ' '))}\n", text, re.MULTILINE | re.IGNORECASE)
    if start is None:
        raise KeyError(f"{page} has no heading {heading!r}")
    return LINK.sub("](../", text[start.end() :].partition("\n## ")[0].strip())


def every_command(command: click.Command, name: str) -> Iterator[tuple[str, click.Command]]:
    """Yield a command with its full name, and the commands under it."""
    yield name, command
    for below in command.commands if isinstance(command, click.Group) else ():
        yield from every_command(command.commands[below], f"{name} {below}")


def commands() -> str:
    """Return every command with its help and every option with its own."""
    from linewright.cli import main

    return "\n\n".join(_command(name, command) for name, command in every_command(main, "linewright"))


def _command(name: str, command: click.Command) -> str:
    context = click.Context(command, info_name=name, terminal_width=100)
    usage = " ".join(command.collect_usage_pieces(context))
    told = [_paragraph(words) for words in PARAGRAPHS.split(command.help or "") if words.strip()]
    rows = [record for option in command.params if (record := option.get_help_record(context))]
    asked = table(("option", "what it does"), [(code(names), plain(words)) for names, words in rows])
    return "\n\n".join([f"## {name}", f"```text\n{name} {usage}\n```", *told, asked])


def _paragraph(words: str) -> str:
    """Return a paragraph of help: after a backspace its lines stay as they are."""
    if "\b" not in words:
        return plain(words)
    lines = words.replace("\b", "").strip("\n").splitlines()
    return "\n".join(["```text", *(line.removeprefix("  ") for line in lines), "```"])


def documents() -> str:
    """Return every document with its keys, read off one that was really written, and their words of the glossary."""
    import readme

    known = glossary()
    with readme.workplace() as folder:
        written = [json.loads(readme.ran(f"linewright {words} --json", folder)) for words in DOCUMENTS]
    return "\n\n".join(_document(words, doc, known) for words, doc in zip(DOCUMENTS, written, strict=True))


def _document(words: str, document: dict[str, Any], known: dict[str, tuple[str, str]]) -> str:
    rows = []
    for path, kind in keys(document).items():
        name = path.rpartition(".")[2].removesuffix("[]")
        unit, meaning = known.get(name) or known.get(re.sub(r"_(low|high|u)$", "", name)) or ("", "")
        rows.append((code(path), kind, unit, meaning))
    shown = table(("key", "kind", "unit", "meaning"), rows)
    return f"## {document['schema']}\n\nFrom `linewright {words} --json`.\n\n{shown}"


def keys(value: Any, path: str = "") -> dict[str, str]:
    """Return every key of a document with the kind of its value, in order; ``[]`` stands for any entry of a list.

    >>> keys({"a": [{"b": 1.5}, {"b": None}]})
    {'a[]': 'list', 'a[].b': 'number'}
    """
    found: dict[str, str] = {}
    if isinstance(value, dict):
        for name, inner in value.items():
            here = f"{path}.{name}" if path else str(name)
            here += "[]" if isinstance(inner, list) else ""
            found[here] = _kind(inner)
            found |= {key: kind for key, kind in keys(inner, here).items() if key not in found}
    elif isinstance(value, list):
        for inner in value:
            found |= {key: kind for key, kind in keys(inner, path).items() if key not in found}
    return found


def _kind(value: Any) -> str:
    names = {dict: "object", list: "list", str: "text", bool: "true or false", int: "number", float: "number"}
    return names.get(type(value), "null here")


def glossary() -> dict[str, tuple[str, str]]:
    """Return unit and meaning of every key in the tables of the glossary."""
    found = {}
    for row in (DOCS / "glossary.md").read_text(encoding="utf-8").splitlines():
        cells = [cell.strip() for cell in re.split(r"(?<!\\)\|", row)[1:-1]]
        named = next((cell for cell in cells if cell.startswith("`")), None)
        if named is not None:
            after = cells[cells.index(named) + 1 :]
            unit, meaning = after if len(after) == 2 else ("", after[-1])
            found |= dict.fromkeys(re.findall(r"`([^`]+)`", named), (unit, meaning))
    return found


def library() -> str:
    """Return where the documentation of every public name of the package goes, room by room."""
    import linewright

    rooms: dict[str, list[str]] = {}
    for name in linewright.__all__:
        rooms.setdefault(linewright._HOME[name].partition(".")[0], []).append(name)
    entries = {
        room: "\n\n".join(f"::: linewright.{linewright._HOME[name]}.{name}" for name in names)
        for room, names in rooms.items()
    }
    return "\n\n".join(f"## {room}\n\n{text}" for room, text in sorted(entries.items()))


def errors() -> str:
    """Return every rule an error can name, read off the sources: where a brace stands, the culprit goes."""
    from docs_errors import rules

    rows = sorted({(plain(argument), plain(rule), plain(cure)) for argument, rule, cure in rules()})
    return table(("argument", "rule", "cure"), rows)
