"""The line types: all of them, or one in full. The address holds the type."""

from __future__ import annotations

from dataclasses import dataclass
from functools import partial
from urllib.parse import urlencode

from fastapi import APIRouter, Request
from fastapi.responses import Response

from linewright.catalogue import PowerPoint, power_points
from linewright.catalogue.names import succession
from linewright.catalogue.own import make_in
from linewright.catalogue.tables import worded
from linewright.core.formatting import digits, frequency, interval, percent, plain, quantity
from linewright.core.messages import say, together
from linewright.core.nouns.line import AttenuationPoint, LineType, Provenance
from linewright.present.charts.line_type import line_chart
from linewright.present.compose.line import GRADES, POINTS, figure_words
from linewright.verbs.line_page import SHOWN_HZ, LinePage, facts_of, line_page, show_line
from linewright.verbs.loss import list_lines
from linewright.verbs.shelf_nouns import own_lines_of
from linewright.web.ledgers import ledger_of
from linewright.web.pictures import answered
from linewright.web.rendering import page

router = APIRouter(include_in_schema=False)
HERE = "/lines"
LISTED_HZ = (14.2e6, 144.3e6, 432.2e6)


@dataclass(frozen=True)
class ListedType:
    """A type in the list: its address and what it loses."""

    name: str
    address: str
    ohm: str
    losses: tuple[str, ...]


@dataclass(frozen=True)
class ListPage:
    """Every type at hand."""

    heads: tuple[str, ...]
    types: tuple[ListedType, ...]
    cautions: tuple[str, ...]


@dataclass(frozen=True)
class BandWords:
    """A band of a type's page, in words."""

    frequency: str
    loss: str
    share: str
    power: str
    doubtful: bool


@dataclass(frozen=True)
class TypePage:
    """A type in full."""

    name: str
    leads: str
    note: str
    chart: str
    """The address of its drawing."""
    bands: tuple[BandWords, ...]
    facts: tuple[str, ...]
    mates: tuple[tuple[str, str], ...]
    settled: tuple[str, ...]
    figures: tuple[tuple[str, str, str], ...]
    points: tuple[tuple[str, ...], ...]
    powers: tuple[tuple[str, ...], ...]
    cautions: tuple[str, ...]


@router.get(HERE)
def line_types(request: Request) -> Response:
    """Show every type at hand, or the one that ``type`` names."""
    with ledger_of(request).reads() as snapshot:
        own = own_lines_of(snapshot)
    wanted = request.query_params.get("type", "")
    if wanted:
        found = show_line(wanted, own)
        shown = _in_full(line_page(found.types[0]), wanted, found.cautions)
        return page(request, "line_type.html", shown, place="elsewhere", title=shown.name)
    every = list_lines(own)
    heads = tuple(frequency(f) for f in LISTED_HZ)
    types = tuple(_listed(kind) for kind in every.types)
    return page(
        request, "line_types.html", ListPage(heads, types, every.cautions), place="elsewhere", title=say("Line types")
    )


@router.get(HERE + "/chart")
def chart(request: Request) -> Response:
    """Return a type's law, drawn."""
    wanted = request.query_params.get("type", "")
    with ledger_of(request).reads() as snapshot:
        kind = line_page(show_line(wanted, own_lines_of(snapshot)).types[0]).line
    return answered(request, partial(line_chart, kind), kind.designator)


def _listed(kind: LineType) -> ListedType:
    losses = tuple(plain(100 * float(kind.law.db_per_m(f)), 2) for f in LISTED_HZ)
    return ListedType(kind.designator, _address(kind.designator), digits(kind.impedance_ohm), losses)


def _address(name: str) -> str:
    return f"{HERE}?{urlencode({'type': name})}"


def _in_full(found: LinePage, wanted: str, cautions: tuple[str, ...]) -> TypePage:
    kind, old = found.line, succession(wanted)
    drawn = f"{HERE}/chart?{urlencode({'type': kind.designator})}"
    leads = "" if old is None else say("{name} is out of use; this is {line}.", name=wanted, line=worded(old[1]))
    return TypePage(
        kind.designator, leads, kind.note, drawn,
        tuple(_band(found, i) for i in range(len(SHOWN_HZ))), tuple(facts_of(found)),
        tuple((mate, _address(mate)) for mate in found.mates), tuple(found.settled_by),
        tuple((*figure_words(name, f.value), _known(f.provenance)) for name, f in kind.figures.items()),
        tuple(_point(p) for p in sorted(kind.points, key=lambda p: p.frequency_hz)),
        tuple(_power(p) for p in _powers(kind)), cautions,
    )  # fmt: skip


def _known(provenance: Provenance) -> str:
    """Return how a figure is known, and where it stands."""
    there = together([worded(part) for part in (provenance.source, provenance.note) if part], "; ")
    return say("{grade}: {source}", grade=say(GRADES[provenance.grade]), source=there)


def _point(p: AttenuationPoint) -> tuple[str, ...]:
    loss = quantity(digits(100 * p.attenuation_db_per_m, 4), "dB")
    return frequency(p.frequency_hz), loss, say(POINTS[p.kind]), _known(p.provenance)


def _powers(kind: LineType) -> tuple[PowerPoint, ...]:
    mine = any(p.provenance.grade == "person" for p in kind.points) or make_in(kind) is not None
    return () if mine or not kind.points else power_points(kind.designator)


def _power(p: PowerPoint) -> tuple[str, ...]:
    return frequency(p.frequency_hz), quantity(plain(p.power_w, 0), "W"), _known(p.provenance)


def _band(found: LinePage, i: int) -> BandWords:
    row = found.rows[i]
    x, power = row.loss, row.power_w
    low, high = (percent(v) for v in row.dielectric_share[1:])
    share = say("{low} to {high}", low=low, high=high)
    bears = "" if power is None else _bears(power.low, power.high)
    loss = interval(x.loss_db, x.loss_db_low, x.loss_db_high)
    return BandWords(frequency(x.frequency_hz), loss, share, bears, x.extrapolated)


def _bears(low_w: float, high_w: float) -> str:
    ends = say("{low} to {high}", low=_two_figures(low_w), high=_two_figures(high_w))
    return quantity(ends, "W")


def _two_figures(watts: float) -> str:
    return plain(float(f"{watts:.2g}"), 0)
