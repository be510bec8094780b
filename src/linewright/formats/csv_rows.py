"""Rows of a CSV file as people's spreadsheets write them: any of three separators, comments, blank lines."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator, Sequence

from linewright.errors import InputError
from linewright.formats.fields import nearest
from linewright.formats.tables import Source

SEPARATORS = ",;\t"


def csv_rows(
    source: Source, needed: Sequence[str], optional: Sequence[str], *, may_wait: Sequence[str] = ()
) -> Iterator[tuple[int, dict[str, str]]]:
    """Yield each row as (row number as an editor counts, cells by heading); what is wrong is noted in the source.

    Empty cells of optional columns are left out, and those of needed ones that ``may_wait`` names. Lines that start
    with # and blank lines are skipped.
    """
    lines = source.text.split("\n")
    top = next((i for i, line in enumerate(lines) if line.strip() and not line.lstrip().startswith("#")), None)
    if top is None:
        source.note(InputError("readings", "is empty", cure=f"Start with the headings {','.join(needed)}."))
        return
    separator = max(SEPARATORS, key=lines[top].count)
    headings = [h.strip().strip('"').strip().lower() for h in lines[top].split(separator)]
    if not _sound(source, headings, top + 1, needed, optional):
        return
    told = ("" if line.lstrip().startswith("#") else line for line in lines[top + 1 :])
    reader = csv.reader(io.StringIO("\n".join(told)), delimiter=separator, skipinitialspace=True, strict=True)
    while True:
        row = top + 2 + reader.line_num
        try:
            cells = next(reader)
        except StopIteration:
            return
        except csv.Error as cause:
            cure = "Close every quote; the rows after this one were not read."
            source.note(InputError("row", f"cannot be read: {cause}", cure=cure), row)
            return
        if not any(c.strip() for c in cells):
            continue
        found = _cells(source, headings, cells, row, [n for n in needed if n not in may_wait])
        if found is not None:
            yield row, found


def _sound(source: Source, headings: list[str], row: int, needed: Sequence[str], optional: Sequence[str]) -> bool:
    known = [*needed, *optional]
    before = len(source.problems)
    for heading in headings:
        if heading and heading not in known:
            cure = nearest(heading, known)
            source.note(
                InputError(f"column {heading}", f"means nothing here; known are {', '.join(known)}", cure=cure), row
            )
        if heading and headings.count(heading) > 1 and not source.problems[before:]:
            source.note(InputError(f"column {heading}", "stands twice in the headings", cure="Drop one."), row)
    for name in needed:
        if name not in headings:
            source.note(
                InputError(f"column {name}", "is missing from the headings", cure="Add it to the first line."), row
            )
    return len(source.problems) == before


def _cells(
    source: Source, headings: list[str], cells: list[str], row: int, needed: Sequence[str]
) -> dict[str, str] | None:
    if len(cells) > len(headings) and any(c.strip() for c in cells[len(headings) :]):
        source.note(
            InputError(
                "row",
                f"has {len(cells)} cells where the headings have {len(headings)}",
                cure="A decimal comma or a comma in a note needs quotes around it.",
            ),
            row,
        )
        return None
    found = {h: c.strip() for h, c in zip(headings, cells, strict=False) if h and c.strip()}
    missing = [name for name in needed if name not in found]
    for name in missing:
        source.note(InputError(name, "is missing", cure="Fill in the cell."), row)
    return None if missing else found
