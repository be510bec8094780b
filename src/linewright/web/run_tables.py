"""The tables under a run's picture: every figure written with its interval, and the address that opens it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from linewright.core.formatting import frequency, interval, plain, signed, swr
from linewright.core.messages import together
from linewright.core.nouns.exposure import ExposureFinding
from linewright.core.nouns.plan import BandFinding, PartFinding, Plan, ReceptionFinding
from linewright.present.compose.exposure import headlines
from linewright.present.compose.exposure_words import (
    all_at_once,
    distance,
    distance_notes,
    exempt_from,
    exemption,
    licence,
    used,
)
from linewright.present.compose.plan_words import assumptions, highest_voltages, noise_scale, noises, rating_note, watts
from linewright.present.compose.reception import cascade_table, lost, needs, reasons, remedy_rows
from linewright.web.drawing import Bar, bar
from linewright.web.run_state import RunState, address
from linewright.web.workings import word

SURE_DB = 0.005
"""An interval narrower than this is not worth showing."""
AMPLE = 3.0
"""A margin above this needs no second look (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Figure:
    """A figure as it is written, the address that opens it, and what it is called there."""

    words: str
    address: str = ""
    word: str = ""
    mark: str = ""


@dataclass(frozen=True, slots=True)
class BandRow:
    """One frequency: losses, power at the antenna with its bar, standing waves."""

    frequency: str
    matched: Figure
    extra: Figure
    total: Figure
    arrives: Figure
    bar: Bar
    radio: Figure
    swing: str
    antenna: Figure
    highest: Figure


@dataclass(frozen=True, slots=True)
class RatedRow:
    """A part whose margin is worth a second look."""

    frequency: str
    name: str
    voltage: str
    voltage_margin: Figure
    power: str
    heat_margin: Figure
    note: str


@dataclass(frozen=True, slots=True)
class HeardRow:
    """What is received on one frequency."""

    frequency: str
    noise: Figure
    figure: Figure
    system: Figure
    merit: Figure
    lost: Figure


@dataclass(frozen=True, slots=True)
class ExposedRow:
    """How far to keep away on one frequency, a figure a limit."""

    frequency: str
    eirp: Figure
    distances: tuple[Figure, ...]


@dataclass(frozen=True, slots=True)
class RunTables:
    """Every table of a run."""

    bands: tuple[BandRow, ...]
    part_names: tuple[tuple[int, str, str], ...]
    part_losses: tuple[tuple[Figure, ...], ...]
    grounds: tuple[str, ...]
    rated: tuple[RatedRow, ...]
    rated_words: str
    heard: tuple[HeardRow, ...]
    heard_words: tuple[str, ...]
    cascade: tuple[tuple[str, ...], ...]
    remedies: tuple[tuple[str, tuple[str, ...]], ...]
    limits: tuple[str, ...]
    reaches: tuple[str, ...]
    exposed: tuple[ExposedRow, ...]
    terms: tuple[str, ...]
    sources: tuple[str, ...]
    people: tuple[str, ...] = ()


def run_tables(state: RunState, plan: Plan) -> RunTables:
    """Return the tables of a plan of one run."""
    budget = plan.budgets[0]
    bands = budget.bands
    kinds = list(dict.fromkeys((e.limit, e.who) for x in bands for e in x.exposure))
    parts = bands[0].parts
    heard = [(x, x.reception) for x in bands if x.reception is not None]
    return RunTables(
        bands=tuple(_band(state, x) for x in bands),
        part_names=tuple((i, p.name, address(state, at=i, how="")) for i, p in enumerate(parts, start=1)),
        part_losses=tuple(tuple(_part(state, x, i) for x in bands) for i in range(len(parts))),
        grounds=tuple(_grounds(bands)),
        rated=tuple(_rated(state, bands)),
        rated_words=" ".join((*highest_voltages(plan), _rated_words(bands))),
        heard=tuple(_heard(state, x, r) for x, r in heard),
        heard_words=(*reasons(plan), *noise_scale(r for _, r in heard), *needs(plan), *assumptions(plan.budgets)),
        cascade=_cascade(plan),
        remedies=_remedies([r for _, r in heard]),
        limits=tuple(f"{limit}, {who}" for limit, who in kinds),
        reaches=tuple(headlines(plan)),
        exposed=tuple(_exposed(state, x, kinds) for x in bands if x.exposure),
        terms=(
            *distance_notes(e for x in bands for e in x.exposure),
            *budget.terms,
        ),
        sources=_sources([e for x in bands for e in x.exposure]),
        people=tuple(_people_and_licence(budget.run, bands, plan)),
    )


def _opened(state: RunState, words: str, figure: str, x: BandFinding, mark: str = "") -> Figure:
    said = word(figure, x.frequency_hz)
    return Figure(words, address(state, how="" if state.how == said else said), said, mark)


def _band(state: RunState, x: BandFinding) -> BandRow:
    low, high = x.swr_at_radio_low, x.swr_at_radio_high
    most = "over 10 000" if x.highest_swr_at_radio is None else swr(x.highest_swr_at_radio)
    drawn = bar(x.power_at_antenna_w, x.power_at_antenna_w_low, x.power_at_antenna_w_high, x.power_w)
    total = interval(x.total_loss_db, x.total_loss_db_low, x.total_loss_db_high)
    return BandRow(
        frequency(x.frequency_hz),
        _opened(state, f"{plain(x.matched_loss_db, 2)} dB", "matched", x),
        _opened(state, f"{plain(x.mismatch_loss_db, 2)} dB", "extra", x),
        _opened(state, total, "total", x),
        _opened(state, together(watts(x)), "power", x),
        drawn,
        _opened(state, swr(x.swr_at_radio), "radio", x),
        f"({swr(low)} to {swr(high)})" if high - low >= 0.1 else "",
        _opened(state, swr(x.swr_at_antenna), "antenna", x),
        _opened(state, most, "highest", x),
    )


def _part(state: RunState, x: BandFinding, i: int) -> Figure:
    p = x.parts[i]
    sure = p.loss_db_high - p.loss_db_low < SURE_DB
    words = f"{plain(p.loss_db, 2)} dB" if sure else interval(p.loss_db, p.loss_db_low, p.loss_db_high)
    return _opened(state, words, f"part{i + 1}", x)


def _grounds(bands: tuple[BandFinding, ...]) -> Iterator[str]:
    found: dict[str, dict[str, None]] = {}
    for x in bands:
        for p in x.parts:
            if p.basis:
                found.setdefault(p.basis, {})[p.name] = None
    for basis, names in found.items():
        yield f"From the {basis}: {', '.join(names)}."


def _least(p: PartFinding) -> float:
    return min((m for m in (p.voltage_margin, p.heat_margin) if m is not None), default=AMPLE)


def _rated(state: RunState, bands: tuple[BandFinding, ...]) -> Iterator[RatedRow]:
    for x in bands:
        for i, p in enumerate(x.parts, start=1):
            if _least(p) < AMPLE:
                rated = "not stated" if p.voltage_rating_v is None else f"{p.voltage_rating_v:.0f} V"
                power = "not stated" if p.power_rating_w is None else f"{p.power_rating_w:.0f} W"
                known = p.beyond("known")
                yield RatedRow(
                    frequency(x.frequency_hz), p.name, f"{p.peak_voltage_v:.0f} V of {rated}",
                    _margin(state, p.voltage_margin, (i, x), known="voltage" in known), power,
                    _margin(state, p.heat_margin, (i, x), known="heat" in known), rating_note(p),
                )  # fmt: skip


def _margin(state: RunState, value: float | None, where: tuple[int, BandFinding], *, known: bool) -> Figure:
    """Return a margin; one below 1 is marked as over where its rating is known, as a doubt where it is from memory."""
    if value is None:
        return Figure("")
    number, x = where
    below = "over" if known else "look it up"
    words = f"{value:.1f} times" if value >= 1.0 else f"{value:.2f} times: {below}"
    return _opened(state, words, f"part{number}", x, "" if value >= 1.0 else "over" if known else "doubt")


def _rated_words(bands: tuple[BandFinding, ...]) -> str:
    rest = "Every other" if any(_least(p) < AMPLE for x in bands for p in x.parts) else "Every"
    bare = dict.fromkeys(p.name for x in bands for p in x.parts if p.voltage_margin is None and p.heat_margin is None)
    unrated = f" Nobody states a rating for {', '.join(bare)}." if bare else ""
    return f"{rest} known margin is {AMPLE:.0f} times or more.{unrated}"


def _heard(state: RunState, x: BandFinding, r: ReceptionFinding) -> HeardRow:
    outside, system = (_opened(state, words, "noise", x) for words in noises(r))
    figure = f"{plain(r.noise_figure_db, 2)} dB"
    merit = "" if r.g_over_t_db_per_kelvin is None else f"{signed(r.g_over_t_db_per_kelvin, 1)} dB/K"
    return HeardRow(
        frequency(x.frequency_hz), outside, _opened(state, figure, "figure", x), system,
        _opened(state, merit, "merit", x), _opened(state, lost(r), "heard", x),
    )  # fmt: skip


def _cascade(plan: Plan) -> tuple[tuple[str, ...], ...]:
    """Return what each part adds to the noise, on the band where the line costs most."""
    return tuple(row.cells for part in cascade_table(plan).parts for row in part.rows)


def _remedies(heard: list[ReceptionFinding]) -> tuple[tuple[str, tuple[str, ...]], ...]:
    """Return what is lost with each remedy, a figure a band; nothing where none wins anything."""
    if not any(r.remedies for r in heard):
        return ()
    rows = (row.cells for row in remedy_rows(heard))
    return tuple((name, tuple(f"{db} dB" if db else "" for db in cells)) for name, *cells in rows)


def _exposed(state: RunState, x: BandFinding, kinds: list[tuple[str, str]]) -> ExposedRow:
    at = {(e.limit, e.who): e for e in x.exposure}
    eirp = x.eirp_w or 0.0
    words = f"{eirp:.0f} W" if eirp >= 100.0 else f"{eirp:.3g} W"
    distances = (_distance(state, x, at[kind]) if kind in at else Figure("") for kind in kinds)
    return ExposedRow(frequency(x.frequency_hz), _opened(state, words, "eirp", x), tuple(distances))


def _distance(state: RunState, x: BandFinding, e: ExposureFinding) -> Figure:
    return _opened(state, distance(e), f"distance {e.limit}, {e.who}", x, "near" if e.distance_m is None else "")


def _people_and_licence(run: str, bands: Iterable[BandFinding], plan: Plan) -> Iterator[str]:
    """Yield what is used up where people are, and what the licence allows."""
    for x in bands:
        yield from used((run, x.frequency_hz, d) for d in x.density)
        yield from dict.fromkeys(filter(None, (exemption(x.frequency_hz, d, run) for d in x.density)))
        yield from (licence(x.frequency_hz, c) for c in x.licence)
    yield from all_at_once(plan.together)
    yield from exempt_from((run, x.frequency_hz, e) for x in bands for e in x.exposure)


def _sources(found: list[ExposureFinding]) -> tuple[str, ...]:
    out = dict.fromkeys(f"{e.limit}, {e.who}: {e.source.partition(': ')[2]}." for e in found)
    return tuple(out)
