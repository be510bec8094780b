"""All that is known of one line type: its law and doubt, its make, what shares its core, what would settle it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from typing import Any

from linewright.catalogue import line_type
from linewright.catalogue.cautions import cautions_of
from linewright.catalogue.construction import core_mates, impedance_from_dimensions_ohm
from linewright.catalogue.names import succession
from linewright.catalogue.properties import (
    AGREED,
    StatedFigure,
    capacitance,
    contradictions,
    delay_s_per_m,
    impedance,
    make_of,
    power_rating_w,
    velocity_factor,
)
from linewright.catalogue.tables import by_designator, worded
from linewright.core.formatting import plain, quantity
from linewright.core.frozen import dataclass
from linewright.core.messages import say
from linewright.core.nouns.line import Dimensions, LineList, LineType, LossRow
from linewright.verbs.loss import line_loss

SHOWN_HZ = (1.9e6, 3.65e6, 7.1e6, 14.2e6, 28.5e6, 50.2e6, 144.3e6, 432.2e6, 1296.2e6)
"""A frequency in each of the bands a page shows."""


@dataclass(frozen=True, slots=True)
class PageRow:
    """A band of a page: the loss of 100 m, the dielectric's share, the mean power it bears (None: unknown)."""

    loss: LossRow
    dielectric_share: tuple[float, float, float]
    power_w: StatedFigure | None


@dataclass(frozen=True, slots=True)
class LinePage:
    """A type in full. ``sources`` counts those read; ``mates`` are types made on the same core."""

    line: LineType
    rows: tuple[PageRow, ...]
    impedance_ohm: StatedFigure
    velocity_factor: StatedFigure
    capacitance_f_per_m: StatedFigure
    delay_s_per_m: StatedFigure
    from_dimensions_ohm: float | None
    mates: tuple[str, ...]
    sources: int
    contradictions: tuple[str, ...]
    settled_by: tuple[str, ...]

    def to_dict(self) -> dict[str, Any]:
        """Return the page as plain data, beside what the type itself says."""
        return {
            "bands": [
                {
                    "frequency_hz": row.loss.frequency_hz,
                    "loss_db_per_100m": row.loss.loss_db,
                    "loss_db_per_100m_low": row.loss.loss_db_low,
                    "loss_db_per_100m_high": row.loss.loss_db_high,
                    "doubtful": row.loss.extrapolated,
                    "dielectric_share": list(row.dielectric_share),
                    "power_w": None if row.power_w is None else _interval(row.power_w),
                }
                for row in self.rows
            ],
            "impedance_ohm": _interval(self.impedance_ohm),
            "velocity_factor": _interval(self.velocity_factor),
            "capacitance_f_per_m": _interval(self.capacitance_f_per_m),
            "delay_s_per_m": _interval(self.delay_s_per_m),
            "impedance_from_dimensions_ohm": self.from_dimensions_ohm,
            "same_core": list(self.mates),
            "sources_read": self.sources,
            "contradictions": list(self.contradictions),
            "facts": list(facts_of(self)),
            "settled_by": list(self.settled_by),
        }


def _interval(known: StatedFigure) -> dict[str, Any]:
    return {"value": known.value, "low": known.low, "high": known.high, "source": str(known.source)}


def line_page(kind: LineType) -> LinePage:
    """Return a type in full, a person's own as well.

    Parameters
    ----------
    kind : LineType
        The type.

    Returns
    -------
    LinePage
        Losses on nine bands, what it bears, what shares its core, its figures and what would settle their doubts.

    Raises
    ------
    InputError
        If the argument is no line type.

    >>> from linewright.catalogue import line_type
    >>> page = line_page(line_type("RG-58A/U"))
    >>> page.mates, page.rows[3].loss.extrapolated
    (('RG-58C/U',), False)
    """
    losses = line_loss(kind, 100.0, SHOWN_HZ).rows
    rows = tuple(PageRow(row, _share(kind, row.frequency_hz), power_rating_w(kind, row.frequency_hz)) for row in losses)
    make = make_of(kind)
    known = make is not None and kind.designator in by_designator("constructions")
    return LinePage(
        kind, rows, impedance(kind), velocity_factor(kind), capacitance(kind), delay_s_per_m(kind),
        None if make is None else impedance_from_dimensions_ohm(make), core_mates(kind.designator) if known else (),
        _sources(kind), contradictions(kind), _settled(kind, losses),
    )  # fmt: skip


def _share(kind: LineType, frequency_hz: float) -> tuple[float, float, float]:
    middle, low, high = (float(x) for x in kind.law.dielectric_share(frequency_hz))
    return middle, low, high


def _sources(kind: LineType) -> int:
    return len({p.provenance.source for p in kind.points if p.provenance.grade == "read" and p.kind != "set aside"})


def _settled(kind: LineType, rows: tuple[LossRow, ...]) -> tuple[str, ...]:
    """Return what would settle a type's doubts."""
    out = []
    if kind.steel_centre and any(row.extrapolated for row in rows):
        out.append(say(
            "One known length, measured near 2 MHz and near 30 MHz, tells how thick the copper on the steel is."
        ))  # fmt: skip
    if kind.law.curve is not None and _sources(kind) < 2 and kind.points:
        out.append(say("A second table that was measured for itself, from 10 to 500 MHz."))
    if not kind.points:
        out.append(say("A table, or one known length measured on two bands far apart."))
    if contradictions(kind):
        out.append(say("A caliper, and the capacitance and electrical length of one metre."))
    if not out:
        wide = quantity(plain(100 * kind.law.spread, 0), "%")
        out.append(say("Its tables differ by {spread}; of your piece only a measurement tells more.", spread=wide))
    return tuple(out)


def from_dimensions(told: Mapping[str, str], name: str = "this line") -> Dimensions:
    """Return what written dimensions make of a line; metals, screen and impedance not told are the usual ones.

    Parameters
    ----------
    told : mapping of str
        Dimensions as people write them: ``centre_diameter``, ``dielectric_diameter`` or ``spacing``,
        ``velocity_factor``, and what ``linewright impedance --help`` names besides.
    name : str
        What to call the line.

    Returns
    -------
    Dimensions
        Impedance in ohms, and the page of the line they make.

    Raises
    ------
    InputError
        If a dimension is missing, cannot be read or cannot be.

    References
    ----------
    Coaxial line: D. M. Pozar, Microwave Engineering, 4th ed., table 2.1. Two wires: the exact acosh form,
    ``docs/catalogue.md`` says with which losses.

    >>> found = from_dimensions({"centre_diameter": "2 mm", "spacing": "150 mm", "velocity_factor": "0.97"})
    >>> round(found.impedance_ohm)
    583
    """
    kind = made_line(told, name)
    make = make_of(kind)
    assert make is not None
    return Dimensions(impedance_from_dimensions_ohm(make), line_page(kind).to_dict(), cautions_of("impedance"))


def made_line(told: Mapping[str, str], name: str) -> LineType:
    """Return a person's line type of written dimensions."""
    from linewright.catalogue import made_type
    from linewright.files.own_lines import written_make

    usual = {"centre": "copper", "dielectric": "air" if "spacing" in told else "PE", "velocity_factor": "0.66"}
    make = written_make({**usual, **told})
    if "impedance" not in told:
        make = replace(make, impedance_ohm=impedance_from_dimensions_ohm(make))
    return made_type(name, make)


def line_body_of(name: str, points: Sequence[tuple[str, str]], told: Mapping[str, str]) -> dict[str, Any]:
    """Return a user's line type in its stored form: as written, after validation."""
    made = {k: v for k, v in told.items() if k not in ("impedance", "velocity_factor")}
    body: dict[str, Any] = {"name": name}
    if made:
        kind = made_line(told, name)
        body |= made | {key: str(kind.figures[key].value) for key in ("centre", "dielectric")}
        body |= {"impedance": f"{kind.impedance_ohm:.6g} ohm", "velocity_factor": kind.velocity_factor}
        if "strands" in made:
            body["strands"] = int(float(made["strands"]))
    else:
        body |= {k: v for k, v in told.items() if k == "impedance"}
        if "velocity_factor" in told:
            from linewright.files.fields import written_number

            body["velocity_factor"] = written_number(told["velocity_factor"], "velocity_factor")
    return body | ({"points": [list(point) for point in points]} if points else {})


def facts_of(page: LinePage) -> Iterator[str]:
    """Yield what a type is, a sentence each."""
    ohm, factor, farads = page.impedance_ohm, page.velocity_factor, page.capacitance_f_per_m
    yield say(
        "{ohm} ohm ({low} to {high}), velocity factor {factor} ({slow} to {fast}).",
        ohm=plain(ohm.value, 0), low=plain(ohm.low, 0), high=plain(ohm.high, 0),
        factor=plain(factor.value, 2), slow=plain(factor.low, 2), fast=plain(factor.high, 2),
    )  # fmt: skip
    yield say(
        "{capacitance} ({low} to {high}), {delay}.",
        capacitance=quantity(plain(1e12 * farads.value, 1), "pF/m"), low=plain(1e12 * farads.low, 1),
        high=plain(1e12 * farads.high, 1), delay=quantity(plain(1e9 * page.delay_s_per_m.value, 2), "ns/m"),
    )  # fmt: skip
    agrees = page.from_dimensions_ohm and abs(page.from_dimensions_ohm / ohm.value - 1.0) <= AGREED
    if page.from_dimensions_ohm is not None and agrees:
        yield say("Its dimensions give {ohm}.", ohm=quantity(plain(page.from_dimensions_ohm, 1), "ohm"))
    if page.mates:
        yield say("Made on the same core: {types}.", types=", ".join(page.mates))
    yield (say("Sources read: {count}.", count=str(page.sources)) if page.sources else say("No table of it was read."))
    power = next((row.power_w for row in page.rows if row.power_w is not None), None)
    if power is not None:
        yield say("The power it bears is told by the heat of a metre, {source}: matched, still air, no sun.",
                  source=power.source)  # fmt: skip
    yield from page.contradictions


def show_line(name: str, own: Sequence[LineType] = ()) -> LineList:
    """Return one line type by its name, a person's own first, with its page.

    Raises
    ------
    UnknownNameError
        If nothing answers to the name.
    """
    kind, old = line_type(name, own), succession(name)
    page = line_page(kind).to_dict()
    if old is not None:
        gone = say("{name} is out of use; {line} is {why}.", name=name, line=kind.designator, why=worded(old[1]))
        page["facts"] = [gone, *page["facts"]]
    return LineList((kind,), cautions_of("lines"), page)
