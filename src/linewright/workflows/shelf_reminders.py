"""When to test a piece again: by the weather it lives in and by how it stood last time."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, timedelta

from linewright.model.shelf import Reminder, ShelfPiece

MONTHS: Mapping[str, int] = {"indoors": 36, "outdoors": 12, "buried": 12, "portable": 12, "": 24}
"""How long a test holds, by where the piece lives; "" where nobody says. Common practice, no source."""
WORN = 1.1
"""From this multiple of its type's loss a piece is looked at twice as often. Common practice, no source."""
SOON_DAYS = 30


def reminder_of(piece: ShelfPiece, on: str) -> Reminder:
    """Return when a piece should be tested again, seen from a day."""
    if piece.tested_on is None:
        return Reminder(piece.tag, on, "due", "It was never tested.")
    months = MONTHS[piece.exposure]
    worn = any(x.ratio_low is not None and x.ratio_low > WORN for x in piece.losses)
    months = months // 2 if worn else months
    due = date.fromisoformat(piece.tested_on) + timedelta(days=round(months * 30.437))
    left = (due - date.fromisoformat(on)).days
    where = f"It is kept {piece.exposure}" if piece.exposure else "Where it lives is not said"
    also = ", and it is worn" if worn else ""
    why = f"{where}{also}: test it every {months} months; last on {piece.tested_on} (common practice, no source)."
    return Reminder(piece.tag, due.isoformat(), "due" if left <= 0 else "soon" if left <= SOON_DAYS else "later", why)
