"""The zone to keep clear around an antenna, from above and from the side, with its wires, all on one scale."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from linewright.core.formatting import frequency, metres
from linewright.core.frozen import dataclass
from linewright.core.locale import ENGLISH, Manner
from linewright.core.messages import mark, say
from linewright.core.nouns.exposure import Span, Zone
from linewright.present.charts.frame import KeyEntry, Sample, framed, in_manner, key, layer, wrapped
from linewright.present.charts.strips import length_axis
from linewright.present.charts.theme import LIGHT, Palette, Spec

AXIS_PX: Final = 44
LEAST_PX: Final = 60
"""No picture is lower, however flat its zone is."""
MOST_PX: Final = 420
MARGIN_M: Final = 0.5
PEOPLE_M: Final = 2.0
CAUTION_LINES: Final = 8
"""A caution is never cut short."""
_ABOUT: Final = mark(
    "The zone around an antenna in which a limit of exposure is reached, from above and from the side."
)
_CAUTION: Final = mark(
    "An estimate; not for touching: burns and contact currents are not covered. Feed line, house wiring and metal"
    " nearby are not counted. Local rules and licensed practice decide."
)
FLUSH_M: Final = 1e-6
"""Rows whose edges are so near touch each other."""
ENDS: Final[Spec] = {"x2": {"field": "x2"}, "y2": {"field": "y2"}}
Box = tuple[float, float, float, float]
"""From left to right and from the lowest to the highest, metres."""


@in_manner
def zone_chart(
    zone: Zone,
    title: str,
    *,
    frequency_hz: float,
    width_px: int = 660,
    palette: Palette = LIGHT,
    manner: Manner = ENGLISH,
) -> Spec:
    """Return the zone of a run on one frequency.

    Parameters
    ----------
    zone : Zone
        Where a limit is reached.
    title : str
        The run, and whose limits they are.
    frequency_hz : float
        Frequency, Hz.
    width_px : int
        Width of the whole figure.

    Returns
    -------
    dict
        A Vega-Lite specification; metres or feet, level and upright on the same scale, the feed at 0.
    """
    above, side = _box(zone, (*zone.above, *zone.people), upright=1), _box(zone, zone.side, upright=2)
    inner = width_px - 20 - AXIS_PX
    room = inner / max(above[1] - above[0], side[1] - side[0])
    metre_px = min(room, MOST_PX / max(above[3] - above[2], side[3] - side[2]))
    from_above, from_side = _View(above, 1, metre_px), _View(side, 2, metre_px)
    ground = {"x": side[0], "x2": side[1], "y": 0.0}
    rules = [_rule(from_side, "base", ground), _rule(from_side, "hair", {**ground, "y": PEOPLE_M})]
    shades = [_shade(from_above, "belief-band", zone.above), _shade(from_above, "power", zone.people)]
    panels = [
        _panel(say("From above"), from_above, zone, shades),
        _panel(say("From the side"), from_side, zone, [_shade(from_side, "belief-band", zone.side), *rules]),
    ]
    body: Spec = {
        "title": {
            "text": wrapped(say("{run}, {frequency}", run=title, frequency=frequency(frequency_hz)), inner,
                            letter_px=7.6),
            "subtitle": wrapped(say(_CAUTION), inner, most=CAUTION_LINES),
        },
        "vconcat": [_key(inner), *panels],
    }  # fmt: skip
    return framed(body, say(_ABOUT), palette)


@dataclass(frozen=True, slots=True)
class _View:
    """One picture: what it shows, which of y and z stands upright, and pixels to a metre."""

    box: Box
    upright: int
    metre_px: float

    @property
    def size_px(self) -> tuple[float, float]:
        return self.metre_px * (self.box[1] - self.box[0]), max(self.metre_px * (self.box[3] - self.box[2]), LEAST_PX)

    def places(self) -> dict[str, Spec]:
        """Return the scales of a mark that lies between two places."""
        width, height = self.size_px
        spare = (height / self.metre_px - (self.box[3] - self.box[2])) / 2.0
        x = _scaled("x", self.box[:2], length_axis(*self.box[:2], max(3, int(width / 60))))
        y = _scaled(
            "y", (self.box[2] - spare, self.box[3] + spare), length_axis(*self.box[2:], max(2, int(height / 50)))
        )
        return {"x": x, "y": y}


def _box(zone: Zone, spans: Sequence[Span], *, upright: int) -> Box:
    """Return what a picture shows: the zone, the wires, and some room around them; from the side the ground as well."""
    ends = [end for wire in zone.wires_m for end in wire]
    level = [x for span in spans for x in span[2:]] + [end[0] for end in ends]
    rows = [at for span in spans for at in span[:2]] + [end[upright] for end in ends]
    rows += [0.0, PEOPLE_M] if upright == 2 else []
    return min(level) - MARGIN_M, max(level) + MARGIN_M, min(rows) - MARGIN_M, max(rows) + MARGIN_M


def _panel(heading: str, view: _View, zone: Zone, layers: Sequence[Spec]) -> Spec:
    wires = [{"x": a[0], "x2": b[0], "y": a[view.upright], "y2": b[view.upright]} for a, b in zone.wires_m]
    drawn = layer("rule", "spec-tick", wires, {**view.places(), **ENDS})
    feed = layer("point", "spec-point", [{"x": zone.feed_m[0], "y": zone.feed_m[view.upright]}], view.places())
    width, height = view.size_px
    return {
        "title": {"text": [heading], "subtitle": []},
        "width": width, "height": height, "layer": [*layers, drawn, feed],
    }  # fmt: skip


def _shade(view: _View, style: str, spans: Sequence[Span]) -> Spec:
    """Return a zone as one area for each part that hangs together; hundreds of thin bars would not lie flush."""
    rows = [
        {"part": number, "x": left, "x2": right, "y": at}
        for number, part in enumerate(strands(spans))
        for at, left, right in _outline(part)
    ]
    encoding = {**view.places(), "x2": ENDS["x2"], "detail": {"field": "part", "type": "nominal"}}
    return layer("area", style, rows, encoding, clip=True, orient="horizontal")


def strands(spans: Sequence[Span]) -> list[list[Span]]:
    """Return spans that follow on each other upwards, one strand for each; where a zone forks new ones begin.

    >>> [len(strand) for strand in strands([(0, 1, 0, 9), (1, 2, 0, 4), (1, 2, 5, 9), (2, 3, 0, 4)])]
    [1, 2, 1]
    """
    found: list[list[Span]] = []
    going: list[list[Span]] = []
    rows: dict[float, list[Span]] = {}
    for span in sorted(spans):
        rows.setdefault(round(span[0], 9), []).append(span)
    for row in rows.values():
        below = [strand for strand in going if abs(strand[-1][1] - row[0][0]) < FLUSH_M]
        met = {i: [s for s in below if _meet(s[-1], span)] for i, span in enumerate(row)}
        alone = {i: some[0] for i, some in met.items()
                 if len(some) == 1 and sum(some[0] in other for other in met.values()) == 1}  # fmt: skip
        going = []
        for i, span in enumerate(row):
            if i in alone:
                alone[i].append(span)
            else:
                found.append([span])
            going.append(alone[i] if i in alone else found[-1])
    return found


def _meet(a: Span, b: Span) -> bool:
    return a[2] < b[3] and b[2] < a[3]


def _outline(strand: Sequence[Span]) -> list[tuple[float, float, float]]:
    """Return (upright, left, right) of a strand: its lower edge, the middle of each row, its upper edge."""
    first, last = strand[0], strand[-1]
    middles = [((low + high) / 2.0, left, right) for low, high, left, right in strand]
    return [(first[0], *first[2:]), *middles, (last[1], *last[2:])]


def _rule(view: _View, style: str, row: dict[str, float]) -> Spec:
    return layer("rule", style, [row], {**view.places(), "x2": ENDS["x2"]}, clip=True)


def _scaled(field: str, domain: tuple[float, float], axis: Spec) -> Spec:
    scale = {"domain": list(domain), "nice": False, "zero": False}
    return {"field": field, "type": "quantitative", "scale": scale, "axis": axis}


def _key(width_px: float) -> Spec:
    entries = [
        KeyEntry(say("a limit is reached there, at some height"), (Sample("band", "belief-band", 6, 6),)),
        KeyEntry(
            say("and where people stand, up to {height}", height=metres(PEOPLE_M)), (Sample("band", "power", 6, 6),)
        ),
        KeyEntry(say("the antenna's wires; a dot where they are fed"), (Sample("span", "spec-tick"),)),
        KeyEntry(say("{height} above ground", height=metres(PEOPLE_M)), (Sample("span", "hair"),)),
    ]
    return key(entries, width_px)
