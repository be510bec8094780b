"""When to test a piece again: by the weather it lives in and by how it stood last time."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, timedelta

from linewright.model.shelf import Reminder, ShelfPiece, Urgency
from linewright.units.said import mark, say

MONTHS: Mapping[str, int] = {
    mark("indoors"): 36, mark("outdoors"): 12, mark("buried"): 12, mark("portable"): 12, "": 24
}  # fmt: skip
"""How long a test holds, by where the piece lives; "" where nobody says. Common practice, no source."""
WORN = 1.1
"""From this multiple of its type's loss a piece is looked at twice as often. Common practice, no source."""
SOON_DAYS = 30


def reminder_of(piece: ShelfPiece, on: str) -> Reminder:
    """Return when a piece should be tested again, seen from a day."""
    if piece.tested_on is None:
        return Reminder(piece.tag, on, "due", say("It was never tested."))
    months = MONTHS[piece.exposure]
    worn = any(x.ratio_low is not None and x.ratio_low > WORN for x in piece.losses)
    months = months // 2 if worn else months
    due = date.fromisoformat(piece.tested_on) + timedelta(days=round(months * 30.437))
    left = (due - date.fromisoformat(on)).days
    urgency: Urgency = "due" if left <= 0 else "soon" if left <= SOON_DAYS else "later"
    return Reminder(piece.tag, due.isoformat(), urgency, _why(piece.exposure, worn, months, piece.tested_on))


def _why(exposure: str, worn: bool, months: int, tested_on: str) -> str:
    said: dict[str, str | int] = {"months": months, "day": tested_on}
    if exposure and worn:
        return say(
            "It is kept {where}, and it is worn: test it every {months} months; last on {day} (common practice, no"
            " source).",
            where=say(exposure), **said,
        )  # fmt: skip
    if exposure:
        return say("It is kept {where}: test it every {months} months; last on {day} (common practice, no source).",
                   where=say(exposure), **said)  # fmt: skip
    if worn:
        return say(
            "Where it lives is not said, and it is worn: test it every {months} months; last on {day} (common practice,"
            " no source).",
            **said,
        )  # fmt: skip
    return say("Where it lives is not said: test it every {months} months; last on {day} (common practice, no source).",
               **said)  # fmt: skip
