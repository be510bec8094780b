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
from linewright.core.formatting import frequency, interval, percent, plain
from linewright.core.messages import say
from linewright.core.nouns.line import AttenuationPoint, LineType, Provenance
from linewright.present.charts.line_type import ABOUT, line_chart
from linewright.present.compose.line import GRADES, POINTS, figure_words
from linewright.verbs.line_page import SHOWN_HZ, LinePage, facts_of, line_page, show_line
from linewright.verbs.loss import list_lines
from linewright.verbs.shelf_nouns import own_lines_of
from linewright.web.ledgers import ledger_of
from linewright.web.rendering import PageChart, chart, page

router = APIRouter(include_in_schema=False)
HERE = "/lines"
LISTED_HZ = (14.2e6, 144.3e6, 432.2e6)


@dataclass(frozen=True)
class Listed:
    """A type in the list: its address and what it loses."""

    name: str
    address: str
    ohm: str
    losses: tuple[str, ...]


@dataclass(frozen=True)
class ListPage:
    """Every type at hand."""

    heads: tuple[str, ...]
    types: tuple[Listed, ...]
    cautions: tuple[str, ...]


@dataclass(frozen=True)
class Band:
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
    chart: PageChart
    bands: tuple[Band, ...]
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
        request, "line_types.html", ListPage(heads, types, every.cautions), place="elsewhere", title="Line types"
    )


def _listed(kind: LineType) -> Listed:
    losses = tuple(f"{100 * float(kind.law.db_per_m(f)):.2f}" for f in LISTED_HZ)
    return Listed(kind.designator, _address(kind.designator), f"{kind.impedance_ohm:g}", losses)


def _address(name: str) -> str:
    return f"{HERE}?{urlencode({'type': name})}"


def _in_full(found: LinePage, wanted: str, cautions: tuple[str, ...]) -> TypePage:
    kind, old = found.line, succession(wanted)
    drawn = chart(partial(_wide, kind), str(ABOUT))
    return TypePage(
        kind.designator, "" if old is None else f"{wanted} is out of use; this is {old[1]}.", kind.note, drawn,
        tuple(_band(found, i) for i in range(len(SHOWN_HZ))), tuple(map(str, facts_of(found))),
        tuple((mate, _address(mate)) for mate in found.mates), tuple(map(str, found.settled_by)),
        tuple((*figure_words(name, f.value), _known(f.provenance)) for name, f in kind.figures.items()),
        tuple(_point(p) for p in sorted(kind.points, key=lambda p: p.frequency_hz)),
        tuple(_power(p) for p in _powers(kind)), cautions,
    )  # fmt: skip


def _known(provenance: Provenance) -> str:
    """Return how a figure is known, and where it stands."""
    return f"{say(GRADES[provenance.grade])}: {'; '.join(filter(None, (provenance.source, provenance.note)))}"


def _point(p: AttenuationPoint) -> tuple[str, ...]:
    loss = f"{100 * p.attenuation_db_per_m:.4g} dB"
    return frequency(p.frequency_hz), loss, str(say(POINTS[p.kind])), _known(p.provenance)


def _powers(kind: LineType) -> tuple[PowerPoint, ...]:
    mine = any(p.provenance.grade == "person" for p in kind.points) or make_in(kind) is not None
    return () if mine or not kind.points else power_points(kind.designator)


def _power(p: PowerPoint) -> tuple[str, ...]:
    return frequency(p.frequency_hz), f"{p.power_w:.0f} W", _known(p.provenance)


def _wide(kind: LineType, width_px: int) -> dict[str, object]:
    return line_chart(kind, width_px=width_px)


def _band(found: LinePage, i: int) -> Band:
    row = found.rows[i]
    x, power = row.loss, row.power_w
    share = " to ".join(percent(v) for v in row.dielectric_share[1:])
    bears = "" if power is None else f"{_two_figures(power.low)} to {_two_figures(power.high)} W"
    loss = interval(x.loss_db, x.loss_db_low, x.loss_db_high)
    return Band(frequency(x.frequency_hz), loss, share, bears, x.extrapolated)


def _two_figures(watts: float) -> str:
    return plain(float(f"{watts:.2g}"), 0)
