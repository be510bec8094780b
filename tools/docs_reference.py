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
SCHEMAS = DOCS / "reference" / "schemas"
COMMON = {"workings", "cautions", "remarks"}
"""Keys that most documents have, alike in all of them; they are told once."""


def part(name: str, what: str | None) -> str:
    """Return a generated part of a page by its name."""
    import docs_figures
    import docs_library

    makers: dict[str, Callable[[], str]] = {
        "commands": commands,
        "documents": documents,
        "files-read": files_read,
        "library": docs_library.library,
        "errors": errors,
        "card-losses": docs_figures.card_losses,
        "line-types": docs_figures.line_types,
        "line-types-in-full": docs_figures.line_types_in_full,
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
    """Return every document with its keys, read off its schema, and the schemas of the files that are read."""
    found = [json.loads(path.read_text(encoding="utf-8")) for path in sorted(SCHEMAS.glob("*.json"))]
    return "\n\n".join(_document(schema) for schema in found if schema["title"].startswith("linewright/"))


def _document(schema: dict[str, Any]) -> str:
    name = schema["title"].split("/")[1]
    rows = [(code(path), kind, plain(told)) for path, kind, told in keys(schema) if path.split("[]")[0] not in COMMON]
    shown = table(("key", "kind", "meaning"), rows)
    head = f"From `{schema['$comment']}`. Schema: [{name}.json](schemas/{name}.json)."
    return f"### {schema['title']}\n\n{head}\n\n{shown}"


def files_read() -> str:
    """Return the schemas of the files that are read, with what each is of."""
    rows = [
        (plain(schema["title"]), f"[{path.name}](schemas/{path.name})")
        for path in sorted(SCHEMAS.glob("read-*.json"))
        for schema in (json.loads(path.read_text(encoding="utf-8")),)
    ]
    return table(("file", "schema"), rows)


def keys(schema: dict[str, Any], path: str = "") -> Iterator[tuple[str, str, str]]:
    """Yield every key of a schema with its kind and its meaning; ``[]`` stands for any entry of a list.

    >>> inner = {"type": "object", "properties": {"b": {"type": ["null", "number"], "description": "a loss"}}}
    >>> list(keys({"type": "object", "properties": {"a": {"type": "array", "items": inner}}}))
    [('a[]', 'list', ''), ('a[].b', 'number or null', 'a loss')]
    """
    for name, inner in schema.get("properties", {}).items():
        if name == "schema" and not path:
            continue
        listed = "items" in inner or inner.get("type") == "array"
        here = f"{path}{name}{'[]' if listed else ''}"
        yield here, _kind(inner), inner.get("description", "")
        yield from keys(inner.get("items", {}) if listed else inner, f"{here}.")


def _kind(schema: dict[str, Any]) -> str:
    found = schema.get("type", [])
    types = [found] if isinstance(found, str) else found
    names = {"array": "list", "string": "text", "boolean": "true or false", "integer": "whole number"}
    return " or ".join(names.get(kind, kind) for kind in sorted(types, key="null".__eq__))


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


def errors() -> str:
    """Return every rule an error can name, read off the sources: where a brace stands, the culprit goes."""
    from docs_errors import rules

    rows = sorted({(plain(argument), plain(rule), plain(cure)) for argument, rule, cure in rules()})
    return table(("argument", "rule", "cure"), rows)
