"""Charts in a page: drawn as SVG text, once for a desk and once for a phone; a page's style gives them its inks."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass

from linewright.charts.render import to_svg
from linewright.charts.theme import Spec

DESK_PX, PHONE_PX = 760, 336


@dataclass(frozen=True, slots=True)
class Chart:
    """A chart in both widths, and what it shows in words."""

    desk: str
    phone: str
    about: str


def chart(make: Callable[[int], Spec], about: str) -> Chart:
    """Return a chart for a page; ``make`` returns its specification for a width in pixels."""
    desk, phone = (_drawn(make(width), prefix) for width, prefix in ((DESK_PX, "d"), (PHONE_PX, "p")))
    return Chart(desk, phone, about)


def _drawn(spec: Spec, prefix: str) -> str:
    """Return a drawing whose clips have names of their own, since a page holds several."""
    mark = f"{prefix}{abs(hash(str(spec))) % 10**8}-"
    return re.sub(r"\bclip(\d+)\b", rf"{mark}\1", to_svg(spec)).replace("<svg ", '<svg aria-hidden="true" ', 1)
