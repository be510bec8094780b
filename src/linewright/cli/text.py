"""What the views that are not documents yet take from the writer of the terminal."""

from __future__ import annotations

from collections.abc import Sequence

from linewright.core.nouns.bench_result import Working
from linewright.present.document import Document
from linewright.present.writers.terminal import Grid as Table
from linewright.present.writers.terminal import (
    bold,
    clean,
    cut,
    groups,
    items,
    page,
    paragraph,
    room,
    section,
    terminal,
    width,
    wrapped,
)

__all__ = [
    "Table", "bold", "clean", "cut", "groups", "items", "page", "paragraph", "room", "section",
    "width", "workings_view", "wrapped",
]  # fmt: skip


def workings_view(workings: Sequence[Working]) -> list[str]:
    """Return every working: figure, formula, inputs and source."""
    if not workings:
        return []
    from linewright.present.compose.provenance import worked

    return terminal(Document("bench", "", sections=(worked(workings),)), explain=True).splitlines()
