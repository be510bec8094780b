"""Keep the catalogues of messages in step with the sources.

``python tools/messages.py`` takes every message of the sources into each ``linewright.po``, keeps the translations that
still hold, and writes the compiled catalogue beside it. ``--check`` says what is missing, fuzzy or out of step, and
fails if anything is.

A message is the first literal of ``say``, ``mark`` or ``message``, or the first two of ``say_many``, and every run of
words in a template of a page. What the data files of the catalogue say of their sources are messages, too.
``docs/translating.md`` tells how to add a language.
"""

from __future__ import annotations

import argparse
import io
import sys
from datetime import UTC, datetime
from pathlib import Path
from string import Formatter

from babel.messages.catalog import Catalog
from babel.messages.extract import extract_from_dir
from babel.messages.mofile import write_mo
from babel.messages.pofile import read_po, write_po

from linewright.catalogue.tables import messages
from linewright.web.rendering import messages_in

ROOT = Path(__file__).parents[1]
SOURCES = ROOT / "src" / "linewright"
LOCALE = SOURCES / "locale"
PASSING = tuple(
    f'"{name}'.encode()
    for name in ("POT-Creation-Date", "PO-Revision-Date", "Generated-By", "Report-Msgid", "Last-Tr", "Language-Team")
)
"""Lines of the head that change from day to day or say nothing."""
NO_DAY = datetime(2000, 1, 1, tzinfo=UTC)
"""Stands in the compiled head, which must not change from minute to minute."""
KEYWORDS = {"say": None, "mark": None, "message": None, "say_many": (1, 2)}
METHODS = [("**.py", "python"), ("web/templates/**.html", messages_in)]
"""How messages are found in a kind of file."""


def template() -> Catalog:
    """Return every message of the sources, sorted, with the files that use it and no line numbers."""
    found = Catalog(project="linewright", charset="utf-8")
    for name, _, message, comments, _ in extract_from_dir(SOURCES, METHODS, keywords=KEYWORDS):
        if message:
            found.add(message, locations=[(f"src/linewright/{name}", None)], auto_comments=comments)
    for message in messages():
        found.add(message, locations=[("src/linewright/catalogue/data", None)])
    return found


def updated(path: Path, found: Catalog) -> Catalog:
    """Return a catalogue brought in step: new messages empty, old ones dropped, nothing guessed."""
    with path.open("rb") as file:
        kept = read_po(file, locale=path.parts[-3])
    kept.update(found, no_fuzzy_matching=True)
    kept.obsolete.clear()
    return kept


def texts(catalogue: Catalog) -> tuple[bytes, bytes]:
    """Return a catalogue as the bytes of its .po and .mo file; the same messages give the same bytes."""
    po, mo = io.BytesIO(), io.BytesIO()
    catalogue.creation_date = NO_DAY
    write_po(po, catalogue, width=100, sort_output=True)
    write_mo(mo, catalogue)
    lines = [line for line in po.getvalue().splitlines(keepends=True) if not line.startswith(PASSING)]
    return b"".join(lines), mo.getvalue()


def told(po: bytes) -> list[bytes]:
    """Return the lines of a .po file but for where messages are used: a sentence that moved is the same sentence."""
    return [line for line in po.splitlines() if not line.startswith(b"#:")]


def faults(catalogue: Catalog) -> list[str]:
    """Return what keeps a catalogue from being complete: empty, fuzzy, or other places than the English."""
    said = []
    for message in catalogue:
        if not message.id:
            continue
        if not all(message.string if isinstance(message.string, tuple) else (message.string,)):
            said.append(f"not translated: {message.id!r}")
        elif message.fuzzy:
            said.append(f"marked fuzzy: {message.id!r}")
        elif places(message.id) != places(message.string):
            said.append(f"other places than the English: {message.id!r}")
    return said


def places(message: str | tuple[str, ...] | list[str]) -> set[str]:
    """Return the names in braces."""
    texts_of = [message] if isinstance(message, str) else message
    return {name for text in texts_of for _, name, _, _ in Formatter().parse(text) if name}


def main() -> int:
    """Bring the catalogues in step, or check that they are."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--check", action="store_true", help="write nothing; fail if anything is out of step")
    check = parser.parse_args().check
    found, bad = template(), []
    for path in sorted(LOCALE.glob("*/LC_MESSAGES/linewright.po")):
        catalogue = updated(path, found)
        po, mo = texts(catalogue)
        bad += faults(catalogue)
        compiled = path.with_suffix(".mo")
        if check and (told(path.read_bytes()) != told(po) or not compiled.exists() or compiled.read_bytes() != mo):
            bad.append(f"out of step with the sources: {path.relative_to(ROOT)}; run python tools/messages.py")
        if not check:
            path.write_bytes(po)
            compiled.write_bytes(mo)
    for line in bad:
        sys.stderr.write(f"{line}\n")
    sys.stdout.write(f"{len(found)} messages, {len(bad)} faults\n")
    return 1 if bad and check else 0


if __name__ == "__main__":
    raise SystemExit(main())
