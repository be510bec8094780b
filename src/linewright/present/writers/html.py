"""A report as one page of HTML: style and drawings inside, no script, nothing fetched."""

from __future__ import annotations

from functools import lru_cache
from typing import TYPE_CHECKING

from linewright.core.frozen import dataclass
from linewright.core.locale import ENGLISH, Manner
from linewright.core.messages import mark
from linewright.present.charts.theme import DARK, PRINT, Palette
from linewright.present.document import Document, plain
from linewright.present.localize import in_manner
from linewright.present.writers.drawings import SIGNS, ChartSvg, drawn, panels_of
from linewright.present.writers.paper import APPENDIX, TEMPLATES

if TYPE_CHECKING:
    from jinja2 import Template

CONTENTS = mark("Contents")


@dataclass(frozen=True, slots=True)
class Ink:
    """One ink of the drawings: what stands in a drawing, and the name it has in the style."""

    name: str
    light: str
    dark: str


def report_html(document: Document, manner: Manner = ENGLISH, *, opened: bool = False) -> bytes:
    """Return a report as a page that opens by itself: self-contained, light and dark, narrow and wide, fit to print.

    Parameters
    ----------
    document : Document
        What to report.
    manner : Manner
        Language, decimal mark, unit of length.
    opened : bool
        Whether the appendix is open from the start; else a reader opens it, and it is not printed.

    Raises
    ------
    CannotError
        If the converter of drawings is missing.
    """
    said = in_manner(document, manner)
    page = _template().render(
        report=plain(said), drawings=_inlined([drawn(p, manner) for p in panels_of(said)]), signs=SIGNS,
        language=manner.language, contents=manner.message(CONTENTS),
        appendix=manner.message(APPENDIX), opened=opened,
        style=(TEMPLATES / "report.css").read_text(encoding="utf-8"), inks=inks(),
    )  # fmt: skip
    return page.encode()


def inks(light: Palette = PRINT, dark: Palette = DARK) -> tuple[Ink, ...]:
    """Return the inks of drawings, by which a page turns them for the dark.

    >>> [ink.name for ink in inks()][:2]
    ['paper', 'ink']
    """
    names = ("paper", "ink", "quiet", "rule", "teal", "ochre", "brick")
    return tuple(Ink(name, getattr(light, name), getattr(dark, name)) for name in names)


def _inlined(found: list[ChartSvg]) -> list[str]:
    return [d.inline(i) for i, d in enumerate(found)]


@lru_cache
def _template() -> Template:
    import jinja2

    loader = jinja2.FileSystemLoader(TEMPLATES)
    made = jinja2.Environment(loader=loader, autoescape=True, trim_blocks=True, lstrip_blocks=True,
                              undefined=jinja2.StrictUndefined)  # fmt: skip
    return made.get_template("report.html")
