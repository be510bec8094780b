"""Pictures that answer: a chart as a page shows it, whose points can be read and lead to what stands behind them.

A page names a picture by its address. Its script asks for the drawing as wide as its column; whoever has no script gets
it as a plain picture. The same address gives the drawing, the figures in it, and its specification as files.
"""

from __future__ import annotations

import csv
import io
import json
import re
from collections import OrderedDict
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from html import escape
from itertools import count
from typing import Any
from urllib.parse import quote, urlencode
from zlib import crc32

from fastapi import Request
from fastapi.responses import Response

from linewright.core.errors import UnknownNameError
from linewright.core.machine import file_name
from linewright.core.messages import say
from linewright.present.charts.render import render, to_svg
from linewright.present.charts.theme import DARK, LIGHT, Spec
from linewright.verbs.chart import table_of
from linewright.web.language import now_written, spoken

ENLARGED = 1.25
"""A drawing stands so much larger on the page than it was laid out: its smallest letters, 10.5 px, have 13 px there."""
LEAST_PX, MOST_PX, STEP_PX = 240, 1000, 20
FORMS = {
    "svg": "image/svg+xml", "png": "image/png", "csv": "text/csv; charset=utf-8", "vl.json": "application/json",
}  # fmt: skip
READING = "reading"
"""What a point that can be read calls itself in the drawing."""
ALONG = "along"
"""What a line that can be read anywhere calls itself; its name there leads to what is read on it."""
MOST_STOPS = 120
"""Places at which a line is read: one every few pixels of its width."""
SERIES = ("piece", "meter")
Lead = Callable[[Mapping[str, Any]], str]
"""Returns where the figure of a row is explained, "" for nowhere."""


def answered(request: Request, draw: Callable[..., Spec], name: str, lead: Lead | None = None) -> Response:
    """Return a chart in the form a request asks for.

    Parameters
    ----------
    request : Request
        ``wide`` is the width in pixels it has on the page, ``paper`` "dark" for dark paper, ``without`` names pieces or
        meters that are left out, ``form`` one of svg, png, csv, vl.json asks for a file.
    draw : callable
        Lays it out; ``width_px``, ``palette`` and ``manner`` are told.
    name : str
        What a file of it is called.
    lead : callable, optional
        Where the figure of a row is explained.
    """
    asked = request.query_params
    form = asked.get("form", "")
    if form and form not in FORMS:
        raise UnknownNameError(
            "form", say("must be one of {known}; got {value}", known=", ".join(FORMS), value=repr(form[:20]))
        )
    spec = draw(width_px=_width(asked.get("wide", "")), palette=DARK if asked.get("paper") == "dark" else LIGHT,
                manner=spoken())  # fmt: skip
    names = _series(spec)
    spec = _without(spec, set(asked.getlist("without")))
    if not form:
        return Response(_drawn(spec, names, lead), media_type=FORMS["svg"])
    content = _as_csv(spec) if form == "csv" else render(spec, form)
    kept = quote(file_name(name[:80], f".{form}"), safe="")
    return Response(
        content, media_type=FORMS[form], headers={"content-disposition": f"attachment; filename*=UTF-8''{kept}"}
    )


def _width(asked: str) -> int:
    wide = int(asked) if asked.isascii() and asked.isdigit() and len(asked) < 6 else 760
    return min(MOST_PX, max(LEAST_PX, int(wide / ENLARGED) // STEP_PX * STEP_PX))


def _layers(part: Any) -> Iterator[dict[str, Any]]:
    """Yield every layer of a specification that has rows of its own."""
    if isinstance(part, list):
        for inner in part:
            yield from _layers(inner)
    elif isinstance(part, dict):
        if isinstance(part.get("data"), dict) and "mark" in part:
            yield part
        for name, inner in part.items():
            if name not in ("data", "config"):
                yield from _layers(inner)


def _series(spec: Spec) -> list[str]:
    """Return the pieces, and the meters, of a chart that shows several."""
    rows = [row for layer in _layers(spec) for row in layer["data"].get("values", ())]
    found: list[str] = []
    for kind in SERIES:
        names = list(dict.fromkeys(str(row[kind]) for row in rows if row.get(kind)))
        found += names if len(names) > 1 else []
    return found


def _without(spec: Spec, hidden: set[str]) -> Spec:
    """Return a specification without the rows of some pieces or meters."""
    if hidden:
        for layer in _layers(spec):
            rows = layer["data"].get("values", ())
            layer["data"]["values"] = [r for r in rows if not hidden & {str(r.get(kind)) for kind in SERIES}]
    return spec


@dataclass(slots=True)
class Answering:
    """What a drawing tells: where the figures of points lead, and what is read along each line, by its name.

    Of a line so many places are told, every ``step``-th of those it is drawn through.
    """

    leads: dict[str, str] = field(default_factory=dict)
    lines: dict[str, dict[str, Any]] = field(default_factory=dict)


def answering(spec: Spec, lead: Lead | None = None) -> Answering:
    """Let every point and every line with something to tell say it in the drawing; return what is told beside it.

    >>> rows = [{"band": "14 MHz", "said": "3 dB (2 to 4)"}]
    >>> encoding = {"tooltip": [{"field": "band"}, {"field": "said"}]}
    >>> spec = {"layer": [{"data": {"values": rows}, "mark": {"type": "point"}, "encoding": encoding}]}
    >>> answering(spec, lambda row: "#worked").leads, spec["layer"][0]["encoding"]["description"]["field"]
    ({'14 MHz: 3 dB (2 to 4)': '#worked'}, 'told')
    >>> spec["layer"][0]["mark"]["type"] = "line"
    >>> answering(spec).lines
    {'line 1': {'step': 1, 'told': ['14 MHz: 3 dB (2 to 4)']}}
    """
    found, number = Answering(), count(1)
    for layer in _layers(spec):
        fields = [tip["field"] for tip in layer.get("encoding", {}).get("tooltip", ()) if isinstance(tip, dict)]
        kind, rows = layer["mark"].get("type"), layer["data"].get("values", ())
        if fields and kind in ("point", "bar", "rect"):
            for row in rows:
                row["told"] = _told(row, fields)
                if lead is not None and (to := lead(row)):
                    found.leads[row["told"]] = to
            layer["mark"]["ariaRoleDescription"] = READING
            layer["encoding"]["description"] = {"field": "told", "type": "nominal"}
        elif fields and rows and kind == "line":
            step = -(-len(rows) // MOST_STOPS)
            name = f"line {next(number)}"
            found.lines[name] = {"step": step, "told": [_told(row, fields) for row in rows[::step]]}
            layer["mark"]["ariaRoleDescription"] = ALONG
            layer["encoding"]["description"] = {"value": name}
    return found


def _told(row: Mapping[str, Any], fields: Iterable[str]) -> str:
    return ": ".join(now_written(str(row[f])) for f in fields if row.get(f) not in (None, ""))


def _drawn(spec: Spec, names: list[str], lead: Lead | None) -> str:
    told = answering(spec, lead)
    kept = rf' aria-label="[^"]*"(?! role="graphics-symbol" aria-roledescription="(?:{READING}|{ALONG})")'
    svg = re.sub(kept, "", to_svg(spec))
    svg = re.sub(r"\bclip(\d+)\b", rf"c{crc32(svg.encode()):08x}-\1", svg)  # a page holds several drawings
    parts = {"series": names, "leads": told.leads, "lines": told.lines}
    data = " ".join(
        f'data-{name}="{escape(json.dumps(part, ensure_ascii=False, separators=(",", ":")))}"'
        for name, part in parts.items()
    )
    return svg.replace("<svg ", f"<svg {data} ", 1)


def _as_csv(spec: Spec) -> str:
    rows = table_of(spec)
    heads = list(dict.fromkeys(key for row in rows for key in row if not key.endswith("_px")))
    text = io.StringIO()
    writer = csv.DictWriter(text, heads, extrasaction="ignore", lineterminator="\r\n")
    writer.writeheader()
    writer.writerows(rows)
    return text.getvalue()


# Charts of an answer that is dear to work out: held for the drawings that a page asks for

MOST_HELD = 12
LOOKS = ("wide", "paper", "without", "form", "v")
"""What the address of a drawing holds beside that of its page."""


@dataclass(frozen=True, slots=True)
class Drawable:
    """A chart of an answer: its name in an address, what it shows in words, and what lays it out."""

    name: str
    about: str
    draw: Callable[..., Spec]


@dataclass(frozen=True, slots=True)
class PageChart:
    """A chart on a page: the address of its drawing, and what it shows in words."""

    address: str
    about: str


@dataclass(slots=True)
class HeldCharts:
    """The charts of the pages shown last, by their addresses. What is not held any longer is worked out again."""

    _known: OrderedDict[str, tuple[Drawable, ...]] = field(default_factory=OrderedDict)

    def hold(self, page: str, charts: Iterable[Drawable]) -> tuple[Drawable, ...]:
        """Keep the charts of a page, and return them."""
        found = self._known[page] = tuple(charts)
        self._known.move_to_end(page)
        while len(self._known) > MOST_HELD:
            self._known.popitem(last=False)
        return found

    def get(self, page: str, again: Callable[[], Iterable[Drawable]]) -> tuple[Drawable, ...]:
        """Return the charts of a page."""
        return self._known.get(page) or self.hold(page, again())


def charts_on(request: Request, route: str, charts: Iterable[Drawable]) -> tuple[PageChart, ...]:
    """Return the charts of a page as it shows them; their drawings are asked for at ``route``/chart/NAME."""
    asked = _asked(request)
    held = _held(request).hold(f"{route}?{asked}", charts)
    return tuple(PageChart(f"{route}/chart/{quote(c.name)}?{asked}", c.about) for c in held)


def chart_of(request: Request, route: str, name: str, again: Callable[[], Iterable[Drawable]]) -> Response:
    """Return a drawing of a page, in the form a request asks for.

    Raises
    ------
    UnknownNameError
        If the page has no such chart.
    """
    charts = _held(request).get(f"{route}?{_asked(request)}", again)
    found = next((c for c in charts if c.name == name), None)
    if found is None:
        raise UnknownNameError(
            "chart",
            say("must be one of this page; got {value}", value=repr(name[:40])),
            cure=say("Load the page again."),
        )
    return answered(request, found.draw, name)


def _asked(request: Request) -> str:
    return urlencode([pair for pair in request.query_params.multi_items() if pair[0] not in LOOKS])


def _held(request: Request) -> HeldCharts:
    state = request.app.state
    if not hasattr(state, "held_charts"):
        state.held_charts = HeldCharts()
    found: HeldCharts = state.held_charts
    return found
