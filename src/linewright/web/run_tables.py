"""The tables under a run's picture: every figure written with its interval, and the address that opens it."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from linewright.core.formatting import digits, frequency, interval, plain, quantity, signed, swr
from linewright.core.messages import say, together
from linewright.core.nouns.exposure import ExposureFinding
from linewright.core.nouns.plan import BandFinding, Plan, ReceptionFinding
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
from linewright.present.compose.plan_words import (
    assumptions,
    grounds,
    highest_voltages,
    is_ample,
    loss_cell,
    noise_scale,
    noises,
    on_air,
    rating_note,
    swr_interval,
    watts,
    well_rated,
)
from linewright.present.compose.reception import cascade_table, lost, needs, reasons, remedy_rows
from linewright.web.drawing import Bar, bar
from linewright.web.run_state import RunState, address
from linewright.web.workings import word


@dataclass(frozen=True, slots=True)
class LinkedFigure:
    """A figure as it is written, the address that opens it, and what it is called there."""

    words: str
    address: str = ""
    word: str = ""
    mark: str = ""


@dataclass(frozen=True, slots=True)
class BandRow:
    """One frequency: losses, power at the antenna with its bar, standing waves."""

    frequency: str
    matched: LinkedFigure
    extra: LinkedFigure
    total: LinkedFigure
    arrives: LinkedFigure
    bar: Bar
    radio: LinkedFigure
    swing: str
    antenna: LinkedFigure
    highest: LinkedFigure


@dataclass(frozen=True, slots=True)
class RatedRow:
    """A part whose margin is worth a second look."""

    frequency: str
    name: str
    voltage: str
    voltage_margin: LinkedFigure
    power: str
    heat_margin: LinkedFigure
    note: str


@dataclass(frozen=True, slots=True)
class HeardRow:
    """What is received on one frequency."""

    frequency: str
    noise: LinkedFigure
    figure: LinkedFigure
    system: LinkedFigure
    merit: LinkedFigure
    lost: LinkedFigure


@dataclass(frozen=True, slots=True)
class ExposedRow:
    """How far to keep away on one frequency, a figure a limit."""

    frequency: str
    eirp: LinkedFigure
    distances: tuple[LinkedFigure, ...]


@dataclass(frozen=True, slots=True)
class Margin:
    """How often a rating holds the load: in words, how high it is drawn of 100, and the address that opens it."""

    words: str
    high: float
    mark: str
    address: str


@dataclass(frozen=True, slots=True)
class RatedPart:
    """One part with its two margins, as wide as its slice; None where nobody states a rating."""

    name: str
    grown: int
    voltage: Margin | None
    heat: Margin | None


@dataclass(frozen=True, slots=True)
class OnScale:
    """One row of a scale: its words, the figure, and a dot with its interval in per cent."""

    name: str
    figure: LinkedFigure
    dot: float
    low: float
    width: float


@dataclass(frozen=True, slots=True)
class Arc:
    """How far one limit reaches, drawn as a quarter circle on a ruler of metres; no radius where there is no figure."""

    name: str
    figure: LinkedFigure
    radius: float | None
    doubtful: bool
    public: bool


@dataclass(frozen=True, slots=True)
class Ruler:
    """The arcs of one frequency, the largest first, and the marks of the ruler they lie on."""

    frequency: str
    eirp: LinkedFigure
    arcs: tuple[Arc, ...]
    marks: tuple[tuple[str, float], ...]
    size: float | None


@dataclass(frozen=True, slots=True)
class RunTables:
    """Every table of a run."""

    bands: tuple[BandRow, ...]
    part_names: tuple[tuple[int, str, str], ...]
    part_losses: tuple[tuple[LinkedFigure, ...], ...]
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
    margins: tuple[RatedPart, ...] = ()
    lost: tuple[OnScale, ...] = ()
    lost_marks: tuple[tuple[str, float], ...] = ()
    adds: tuple[OnScale, ...] = ()
    ruler: Ruler | None = None


def run_tables(state: RunState, plan: Plan, x: BandFinding, size_m: float | None = None) -> RunTables:
    """Return the figures of a plan of one run, ``x`` the frequency that is drawn; ``size_m`` is that of its antenna."""
    budget = plan.budgets[0]
    bands = budget.bands
    kinds = list(dict.fromkeys((e.limit, e.who) for x in bands for e in x.exposure))
    parts = bands[0].parts
    heard = [(x, x.reception) for x in bands if x.reception is not None]
    return RunTables(
        bands=tuple(_band(state, x) for x in bands),
        part_names=tuple((i, p.name, address(state, open=str(i), how="")) for i, p in enumerate(parts, start=1)),
        part_losses=tuple(tuple(_part(state, x, i) for x in bands) for i in range(len(parts))),
        grounds=tuple(grounds(bands)),
        rated=tuple(_rated(state, bands)),
        rated_words=together((*highest_voltages(plan), well_rated(plan.budgets))),
        heard=tuple(_heard(state, x, r) for x, r in heard),
        heard_words=(*reasons(plan), *noise_scale(r for _, r in heard), *needs(plan), *assumptions(plan.budgets)),
        cascade=_cascade(plan),
        remedies=_remedies([r for _, r in heard]),
        limits=tuple(_whose(limit, who) for limit, who in kinds),
        reaches=tuple(headlines(plan)),
        exposed=tuple(_exposed(state, x, kinds) for x in bands if x.exposure),
        terms=(
            *distance_notes(e for x in bands for e in x.exposure),
            *budget.terms,
        ),
        sources=_sources([e for x in bands for e in x.exposure]),
        people=tuple(_people_and_licence(budget.run, bands, plan)),
        margins=tuple(_margins(state, x)) if state.view == "ratings" else (),
        lost=_lost(state, heard),
        lost_marks=_lost_marks(heard),
        adds=_adds(state, x),
        ruler=_ruler(state, x, size_m),
    )


# Ratings, reception and exposure drawn, each on a scale of its own

FULL_TIMES = 300.0
"""A margin drawn as high as may be."""
MOST_ARC = 340.0
"""The radius of the widest arc in its box."""


def _margins(state: RunState, x: BandFinding) -> Iterator[RatedPart]:
    """Yield the margins of each part at one frequency."""
    from linewright.web.drawing import drawn_band

    for s, (i, p) in zip(drawn_band(x).slices, enumerate(x.parts, start=1), strict=True):
        known = p.beyond("known")
        yield RatedPart(
            p.name,
            s.grown,
            _times(state, p.voltage_margin, (i, x), known="voltage" in known),
            _times(state, p.heat_margin, (i, x), known="heat" in known),
        )


def _times(state: RunState, value: float | None, where: tuple[int, BandFinding], *, known: bool) -> Margin | None:
    if value is None:
        return None
    number, x = where
    high = 100.0 * math.log(1.0 + min(value, FULL_TIMES)) / math.log(1.0 + FULL_TIMES)
    said = word(f"part{number}", x.frequency_hz)
    words = quantity(plain(value, 0 if value >= 10.0 else 1 if value >= 1.0 else 2), "×")
    mark = "" if value >= 1.0 else "over" if known else "doubt"
    return Margin(words, round(max(2.0, high), 1), mark, address(state, how="" if state.how == said else said))


def _top(heard: list[tuple[BandFinding, ReceptionFinding]]) -> float:
    return max([r.reception_loss_db_high for _, r in heard] + [1.0]) * 1.05


def _lost(state: RunState, heard: list[tuple[BandFinding, ReceptionFinding]]) -> tuple[OnScale, ...]:
    """Return what is lost of signal-to-noise, a row a band."""
    top = _top(heard)
    return tuple(
        OnScale(
            frequency(x.frequency_hz),
            _opened(state, lost(r), "heard", x),
            round(100 * max(0.0, r.reception_loss_db) / top, 2),
            *_interval(r.reception_loss_db_low, r.reception_loss_db_high, top),
        )
        for x, r in heard
    )


def _interval(low: float, high: float, top: float) -> tuple[float, float]:
    a, b = (min(100.0, max(0.0, 100 * end / top)) for end in (low, high))
    return round(a, 2), round(max(0.6, b - a), 2)


def _lost_marks(heard: list[tuple[BandFinding, ReceptionFinding]]) -> tuple[tuple[str, float], ...]:
    return scale(_top(heard), 7)


def scale(top: float, most: int) -> tuple[tuple[str, float], ...]:
    """Return round figures from 0 to ``top``, at most so many steps, each with its place in percent."""
    steps = (m * 10.0**e for e in range(-2, 6) for m in (1, 2, 5))
    step = next(s for s in steps if top / s <= most)
    return tuple((digits(i * step), round(100 * i * step / top, 2)) for i in range(int(top / step) + 1))


def _adds(state: RunState, x: BandFinding) -> tuple[OnScale, ...]:
    """Return what each part of the receiving chain counts for, as noise at the antenna's terminals."""
    r = x.reception
    if r is None:
        return ()
    rows = [(say("from outside"), r.antenna_temperature_kelvin), *((s.name, s.noise_kelvin) for s in r.sources)]
    top = max([k for _, k in rows] + [1.0])
    return tuple(
        OnScale(
            name,
            LinkedFigure(quantity(plain(k, 0), "K")),
            round(100 * max(0.0, k) / top, 2),
            0.0,
            round(100 * max(0.0, k) / top, 2),
        )
        for name, k in rows
    )


def _whose(limit: str, who: str) -> str:
    return say("{limit}, {who}", limit=limit, who=say(who))


def _ruler(state: RunState, x: BandFinding, size_m: float | None) -> Ruler | None:
    if not x.exposure:
        return None
    far = max([e.distance_m_high or 0.0 for e in x.exposure] + [size_m or 0.0, 0.5]) * 1.08
    arcs = [
        Arc(
            _whose(e.limit, e.who),
            _distance(state, x, e),
            None if e.distance_m_high is None else round(MOST_ARC * e.distance_m_high / far, 1),
            e.distance_m is None or e.in_near_field,
            e.who == "public",
        )
        for e in sorted(x.exposure, key=lambda e: -(e.distance_m_high or 1e9))
    ]
    marks = tuple((name, round(MOST_ARC * at / 100, 1)) for name, at in scale(far, 6))
    size = None if size_m is None else round(MOST_ARC * size_m / far, 1)
    return Ruler(
        frequency(x.frequency_hz),
        _eirp(state, x),
        tuple(arcs),
        marks,
        size,
    )


def _eirp(state: RunState, x: BandFinding) -> LinkedFigure:
    return _opened(state, together(on_air(x, x.eirp_w)), "eirp", x) if x.eirp_w else LinkedFigure("")


def _opened(state: RunState, words: str, figure: str, x: BandFinding, mark: str = "") -> LinkedFigure:
    said = word(figure, x.frequency_hz)
    return LinkedFigure(words, address(state, how="" if state.how == said else said), said, mark)


def _band(state: RunState, x: BandFinding) -> BandRow:
    most = "over 10 000" if x.highest_swr_at_radio is None else swr(x.highest_swr_at_radio)
    drawn = bar(x.power_at_antenna_w, x.power_at_antenna_w_low, x.power_at_antenna_w_high, x.power_w)
    total = interval(x.total_loss_db, x.total_loss_db_low, x.total_loss_db_high)
    return BandRow(
        frequency(x.frequency_hz),
        _opened(state, quantity(plain(x.matched_loss_db, 2), "dB"), "matched", x),
        _opened(state, quantity(plain(x.mismatch_loss_db, 2), "dB"), "extra", x),
        _opened(state, total, "total", x),
        _opened(state, together(watts(x)), "power", x),
        drawn,
        _opened(state, swr(x.swr_at_radio), "radio", x),
        swr_interval(x),
        _opened(state, swr(x.swr_at_antenna), "antenna", x),
        _opened(state, most, "highest", x),
    )


def _part(state: RunState, x: BandFinding, i: int) -> LinkedFigure:
    p = x.parts[i]
    return _opened(state, loss_cell(p), f"part{i + 1}", x)


def _rated(state: RunState, bands: tuple[BandFinding, ...]) -> Iterator[RatedRow]:
    for x in bands:
        for i, p in enumerate(x.parts, start=1):
            if not is_ample(p):
                rated = say("not stated") if p.voltage_rating_v is None else quantity(plain(p.voltage_rating_v, 0), "V")
                power = say("not stated") if p.power_rating_w is None else quantity(plain(p.power_rating_w, 0), "W")
                peak = say("{peak} of {rated}", peak=quantity(plain(p.peak_voltage_v, 0), "V"), rated=rated)
                known = p.beyond("known")
                yield RatedRow(
                    frequency(x.frequency_hz), p.name, peak,
                    _margin(state, p.voltage_margin, (i, x), known="voltage" in known), power,
                    _margin(state, p.heat_margin, (i, x), known="heat" in known), rating_note(p),
                )  # fmt: skip


def _margin(state: RunState, value: float | None, where: tuple[int, BandFinding], *, known: bool) -> LinkedFigure:
    """Return a margin; one below 1 is marked as over where its rating is known, as a doubt where it is from memory."""
    if value is None:
        return LinkedFigure("")
    number, x = where
    times = plain(value, 1 if value >= 1.0 else 2)
    words = say("{times} times", times=times)
    if value < 1.0:
        words = say("{times} times: over", times=times) if known else say("{times} times: look it up", times=times)
    return _opened(state, words, f"part{number}", x, "" if value >= 1.0 else "over" if known else "doubt")


def _heard(state: RunState, x: BandFinding, r: ReceptionFinding) -> HeardRow:
    outside, system = (_opened(state, words, "noise", x) for words in noises(r))
    figure = quantity(plain(r.noise_figure_db, 2), "dB")
    merit = "" if r.g_over_t_db_per_kelvin is None else quantity(signed(r.g_over_t_db_per_kelvin, 1), "dB/K")
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
    return tuple((name, tuple(quantity(db, "dB") if db else "" for db in cells)) for name, *cells in rows)


def _exposed(state: RunState, x: BandFinding, kinds: list[tuple[str, str]]) -> ExposedRow:
    at = {(e.limit, e.who): e for e in x.exposure}
    distances = (_distance(state, x, at[kind]) if kind in at else LinkedFigure("") for kind in kinds)
    return ExposedRow(frequency(x.frequency_hz), _eirp(state, x), tuple(distances))


def _distance(state: RunState, x: BandFinding, e: ExposureFinding) -> LinkedFigure:
    return _opened(state, distance(e), f"distance {e.limit}, {e.who}", x, "near" if e.distance_m is None else "")


def _people_and_licence(run: str, bands: Iterable[BandFinding], plan: Plan) -> Iterator[str]:
    """Yield the share of each limit used where people are, and the check against the licence."""
    for x in bands:
        yield from used((run, x.frequency_hz, d) for d in x.density)
        yield from dict.fromkeys(filter(None, (exemption(x.frequency_hz, d, run) for d in x.density)))
        yield from (licence(x.frequency_hz, c) for c in x.licence)
    yield from all_at_once(plan.together)
    yield from exempt_from((run, x.frequency_hz, e) for x in bands for e in x.exposure)


def _sources(found: list[ExposureFinding]) -> tuple[str, ...]:
    out = dict.fromkeys(
        say("{whose}: {source}.", whose=_whose(e.limit, e.who), source=e.source.partition(": ")[2]) for e in found
    )
    return tuple(out)
