"""Blank reading sheets as CSV: rows in order, their readings still to be filled in."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence

from linewright.core.errors import InputError
from linewright.core.formatting import frequency
from linewright.core.locale import ENGLISH, Manner
from linewright.core.messages import say
from linewright.core.nouns.paper import SheetStep
from linewright.files import fields
from linewright.files.tables import no_formula

HEADINGS = ("step", "meter", "frequency", "path", "reading", "swr", "low", "high", "note")


def template_csv(steps: Sequence[SheetStep], manner: Manner = ENGLISH) -> str:
    """Return the steps of a reading sheet as CSV with empty readings, for ``[readings] file``.

    With a decimal comma, a semicolon parts the cells, as spreadsheets of such places expect.

    Parameters
    ----------
    steps : sequence of SheetStep
        The steps, frequencies in hertz; those of ``blank_sheet``.
    manner : Manner
        Decimal mark and separator.

    Returns
    -------
    str
        The CSV.

    Raises
    ------
    InputError
        If ``steps`` holds something else than steps.

    >>> from linewright.core.nouns.paper import SheetStep
    >>> print(template_csv([SheetStep(1, "desk meter", 14.2e6, ())]), end="")
    step,meter,frequency,path,reading,swr,low,high,note
    1,desk meter,14.2 MHz,reference,,,,,
    """
    out = io.StringIO()
    writer = csv.writer(out, delimiter=";" if manner.decimal == "," else ",", lineterminator="\n")
    writer.writerow(HEADINGS)
    for s in steps:
        at = frequency(s.frequency_hz)
        writer.writerow([s.number, no_formula(s.meter), at, no_formula(s.path_name), *[""] * 5])
    return out.getvalue()


def bands_listed(text: str, name: str = "bands") -> tuple[float, ...]:
    """Return the frequencies of a written list, in hertz, rising; a comma with a space or a semicolon parts them.

    Raises
    ------
    InputError
        If one of them cannot be read, or there is none.

    >>> bands_listed("144.3 MHz, 14,2 MHz")
    (14200000.0, 144300000.0)
    """
    parts = [part.strip() for part in text.replace(";", ", ").split(", ")]
    found = sorted({fields.frequency(part, name) for part in parts if part})
    if not found:
        raise InputError(name, say("must name a frequency at least"), cure=say('Write "14.2 MHz, 144.3 MHz".'))
    return tuple(found)
