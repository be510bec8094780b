"""The terminal view of a plan: what reaches the antenna first, then the figures."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence

from linewright.cli.text import WIDEST, Table, bold, clean, cut, groups, items, page, section, workings_view, wrapped
from linewright.core.formatting import frequency, interval, metres, percent, plain, signed
from linewright.core.messages import together
from linewright.core.nouns.bench_result import Working
from linewright.core.nouns.exposure import DensityFinding, ExposureFinding, LicenceFinding
from linewright.core.nouns.plan import (
    EXPOSURE,
    RECEPTION,
    BandFinding,
    Budget,
    Difference,
    PartFinding,
    Plan,
    ReceptionFinding,
    WhatIf,
)
from linewright.present.compose.plan_words import (
    arrival,
    assumptions,
    changed,
    distance,
    distance_notes,
    farthest,
    level_distance,
    noise_scale,
    noises,
    watts,
)

# Words that the views of a plan share

TERMS = "Exposure "
"""How a remark begins that says what exposure is reckoned with."""


MOST_BANDS = 24
"""Nobody reads a table of more frequencies."""


def shown(budget: Budget, most: int = MOST_BANDS) -> list[BandFinding]:
    """Return the bands of a run that are shown: all, or of very many those that lose most."""
    gravest = sorted(range(len(budget.bands)), key=lambda i: -budget.bands[i].total_loss_db)[:most]
    return [budget.bands[i] for i in sorted(gravest)]


def left_out(plan: Plan) -> list[str]:
    """Return which runs are not shown whole."""
    return [
        f"{b.run}: of {len(b.bands)} frequencies the {MOST_BANDS} that lose most are shown; --json has them all."
        for b in plan.budgets
        if len(b.bands) > MOST_BANDS
    ]


def title(plan: Plan, budget: Budget, x: BandFinding) -> str:
    """Return what to call a band: its frequency, with its run where there are several."""
    return (f"{budget.run}, " if len(plan.budgets) > 1 else "") + frequency(x.frequency_hz)


def other_remarks(plan: Plan) -> list[str]:
    """Return what is left out, and the runs' remarks that do not speak of exposure."""
    return [*left_out(plan), *remarks_of(plan.budgets, lambda said: not said.startswith(TERMS))]


def remarks_of(budgets: Sequence[Budget], wanted: Callable[[str], bool]) -> list[str]:
    """Return the remarks that are wanted, each once, with the runs it holds for where it does not hold for all."""
    runs: dict[str, list[str]] = {}
    for budget in budgets:
        for said in filter(wanted, budget.remarks):
            runs.setdefault(said, []).append(budget.run)
    return [s if len(names) == len(budgets) else f"{', '.join(names)}: {s}" for s, names in runs.items()]


# Tables of a plan: bands, parts, ratings, lengths to cut

NARROW_SWR = 0.1
SURE_DB = 0.005
"""An interval narrower than this is not worth showing."""
AMPLE = 3.0
"""A margin above this needs no second look (common practice, no source)."""


def bands(plan: Plan) -> list[str]:
    """Return losses, watts and SWR of every run and band."""
    heads = ("", "matched", "by SWR", "total (95 %)", "arrives (95 %)", "radio", "antenna")
    table = Table(heads, "rdddddd")
    for budget in plan.budgets:
        if len(plan.budgets) > 1:
            table.part(budget.run)
        for x in shown(budget):
            table.add(*_band(x))
            table.under(_swing(x))
    return table.lines()


def _band(x: BandFinding) -> tuple[str, ...]:
    return (
        frequency(x.frequency_hz),
        f"{plain(x.matched_loss_db, 2)} dB",
        f"{plain(x.mismatch_loss_db, 2)} dB",
        interval(x.total_loss_db, x.total_loss_db_low, x.total_loss_db_high),
        together(watts(x)),
        _swr(x.swr_at_radio),
        _swr(x.swr_at_antenna),
    )


def _swing(x: BandFinding) -> str:
    low, high = x.swr_at_radio_low, x.swr_at_radio_high
    return "" if high - low < NARROW_SWR else f"SWR at the radio: {_swr(x.swr_at_radio)} ({_swr(low)} to {_swr(high)})."


def _swr(value: float) -> str:
    return f"{value:.2f}" if value < 10 else f"{value:.0f}"


def _each(plan: Plan) -> Iterator[tuple[str, BandFinding]]:
    """Yield every band of every run with its title."""
    for budget in plan.budgets:
        for x in shown(budget):
            yield title(plan, budget, x), x


def parts(plan: Plan) -> list[str]:
    """Return what every part loses, and how warm it grows; of several runs, on the band that loses most."""
    table = Table(("", "loss (95 %)", "behind a match", "heat"), "lddr")
    gravest = [max(b.bands, key=lambda x: x.total_loss_db) for b in plan.budgets if b.bands]
    several = len(plan.budgets) > 1 and any(len(b.bands) > 1 for b in plan.budgets)
    for name, x in _each(plan):
        if several and x not in gravest:
            continue
        if x.parts:
            table.part(name)
        for p in x.parts:
            table.add(p.name, _loss(p), f"{plain(p.matched_loss_db, 2)} dB", _heat(p))
    more = ["Of every run the band that loses most; --run NAME shows them all."] if several else []
    return [*table.lines(), *items([*_grounds(plan), *more])]


def _loss(p: PartFinding) -> str:
    if p.loss_db_high - p.loss_db_low < SURE_DB:
        return f"{plain(p.loss_db, 2)} dB"
    return interval(p.loss_db, p.loss_db_low, p.loss_db_high)


def _grounds(plan: Plan) -> Iterator[str]:
    """Say what the losses of lines rest on: names, by what they rest on."""
    found: dict[str, dict[str, None]] = {}
    for _, x in _each(plan):
        for p in x.parts:
            if p.basis:
                found.setdefault(p.basis, {})[p.name] = None
    for basis, names in found.items():
        yield f"From the {basis}: {', '.join(names)}."


def _heat(p: PartFinding) -> str:
    if p.heat_w < 0.05:
        return ""
    most = f", {p.heat_w_per_m:.1f} W/m" if p.heat_w_per_m is not None and p.heat_w_per_m >= 0.05 else ""
    return f"{plain(p.heat_w, 1)} W{most}"


def ratings(plan: Plan) -> list[str]:
    """Return the parts whose margins are worth a look; where every margin is ample, one sentence says so."""
    table = Table(("", "peak voltage", "rated", "margin", "power rating", "margin"), "lrrrrr")
    narrow = False
    for name, x in _each(plan):
        close = [p for p in x.parts if _least(p) < AMPLE]
        if close:
            table.part(name)
            narrow = True
        for p in close:
            table.add(
                p.name,
                f"{p.peak_voltage_v:.0f} V",
                _or_unknown(p.voltage_rating_v, "V"),
                _margin(p.voltage_margin),
                _or_unknown(p.power_rating_w, "W"),
                _margin(p.heat_margin),
            )
    rest = "Every other" if narrow else "Every"
    return [*table.lines(), *items([f"{rest} known margin is {AMPLE:.0f} times or more. {_unrated(plan)}"])]


def _unrated(plan: Plan) -> str:
    names = dict.fromkeys(
        p.name for _, x in _each(plan) for p in x.parts if p.voltage_margin is None and p.heat_margin is None
    )
    return f"Nobody states a rating for {', '.join(names)}." if names else ""


def _least(p: PartFinding) -> float:
    return min((m for m in (p.voltage_margin, p.heat_margin) if m is not None), default=AMPLE)


def _or_unknown(value: float | None, unit: str) -> str:
    return "not stated" if value is None else f"{value:.0f} {unit}"


def _margin(value: float | None) -> str:
    if value is None:
        return ""
    return f"{value:.1f} times" if value >= 1.0 else f"{value:.2f}: OVER"


def cuts(plan: Plan) -> list[str]:
    """Return the lengths asked for, beside the length as it is."""
    table = Table(("", "as it is", "electrical", "cut to"), "lrrl")
    for name, x in _each(plan):
        asked = [p for p in x.parts if p.cut_m]
        if asked:
            table.part(name)
        for p in asked:
            lengths = " or ".join(f"{cut_m:.3f} m" for cut_m in p.cut_m)
            table.add(p.name, f"{p.length_m or 0.0:.3f} m", f"{p.electrical_length_deg or 0.0:.0f}°", lengths)
    note = "By the velocity factor of the type; measure before the last cut."
    return [*table.lines(), *items([note])] if table.lines() else []


# What a change does, on a terminal: before and after, band by band


def what_if_view(found: WhatIf, *, explain: bool = False) -> str:
    """Return what changes do to a station, for a terminal."""
    return page(
        [
            [bold(cut(f"{found.after.station}, changed", WIDEST))],
            items(found.changes),
            items(_sentences(found)),
            section("Before and after", _table(found)),
            section("Margins that become narrow", items(_narrow(found))),
            section("Remarks", items([*found.remarks, *_left_out(found)])),
            section("Cautions", items(found.after.cautions)),
            workings_view(_workings(found)) if explain else [],
        ]
    )


def _workings(found: WhatIf) -> list[Working]:
    """Return how the changes are worked out, and the figures of the runs that change as they are afterwards."""
    runs = {d.run for d in found.differences}
    return [*found.workings, *(w for budget in found.after.budgets if budget.run in runs for w in budget.workings)]


def _sentences(found: WhatIf) -> list[str]:
    return [f"{d.run} at {frequency(d.frequency_hz)}: {_said(d)}" for d in _shown(found)]


def _shown(found: WhatIf) -> list[Difference]:
    """Return the differences, or of very many those that change most."""
    of = found.differences
    gravest = sorted(range(len(of)), key=lambda i: -abs(of[i].delivered_db or 0.0))[:MOST_BANDS]
    return [of[i] for i in sorted(gravest)]


def _left_out(found: WhatIf) -> list[str]:
    count = len(found.differences)
    more = f"Of {count} differences the {MOST_BANDS} largest are shown; --json has them all."
    return [more] if count > MOST_BANDS else []


def _said(d: Difference) -> str:
    return together([arrival(d.after) if d.after else "", changed(d)])


def _table(found: WhatIf) -> list[str]:
    heads = ("", "loss", "then", "at the antenna", "then", "change", "signal-to-noise")
    table = Table(heads, "rddrrdd")
    runs = dict.fromkeys(d.run for d in found.differences)
    for run in runs:
        if len(found.after.budgets) > 1:
            table.part(run)
        for d in _shown(found):
            if d.run == run:
                table.add(*_row(d))
    return table.lines()


def _row(d: Difference) -> tuple[str, ...]:
    return (
        frequency(d.frequency_hz),
        _loss_change(d.before),
        _loss_change(d.after),
        _power(d.before),
        _power(d.after),
        "" if d.delivered_db is None else f"{signed(d.delivered_db, 2)} dB",
        "" if d.signal_to_noise_db is None else f"{signed(d.signal_to_noise_db, 2)} dB",
    )


def _loss_change(x: BandFinding | None) -> str:
    return "" if x is None else f"{plain(x.total_loss_db, 2)} dB"


def _power(x: BandFinding | None) -> str:
    return "" if x is None else watts(x)[0]


def _narrow(found: WhatIf) -> list[str]:
    """Return the margins that fall under one."""
    said = []
    for d in found.differences:
        for what in ("voltage", "heat"):
            was, now = (None if x is None else getattr(x, f"{what}_margin") for x in (d.before, d.after))
            if now is not None and now < 1.0 and (was is None or was >= 1.0):
                said.append(f"{d.run} at {frequency(d.frequency_hz)}: {what} over a rating, margin {now:.2f}.")
    return said


# Exposure on a terminal: distances to limits, each with its source, and the cautions that go with them

SHORT = {"ICNIRP 2020": "ICNIRP", "ICNIRP 2010": "ICNIRP", "47 CFR 1.1310": "47 CFR", "occupational": "occup."}


LETTER = {"electric field": "E", "magnetic field": "H", "power density": "S"}
LETTERS = "E, H or S: the electric field, the magnetic field or the power density reaches its limit farthest out."
BOTH = "ICNIRP: whichever reaches farther, the levels of 2020 or those of 2010 below 10 MHz, which are not averaged."


def exposure(plan: Plan) -> list[str]:
    """Return distances, what they are reckoned with, and whose limits they are."""
    limits = dict.fromkeys(e.limit for b in plan.budgets for x in b.bands for e in x.exposure)
    whose = f"Limits of {' and '.join(limits)}; the command linewright exposure shows each with its source."
    return [*distances(plan), *items([*_terms(plan), whose])] if limits else []


def distances(plan: Plan) -> list[str]:
    """Return the distances of every run and band, a column a set of limits; ICNIRP's two sets share one."""
    found = [e for b in plan.budgets for x in b.bands for e in x.exposure]
    both = {"ICNIRP 2020", "ICNIRP 2010"} <= {e.limit for e in found}
    notes = [BOTH] if both else []
    letters = [LETTERS] if any(e.distance_m is not None for e in found) else []
    return [
        *_exposure_view_table(plan, _distance, eirp=True).lines(),
        *items([*distance_notes(found), *notes, *letters]),
    ]


def _distance(e: ExposureFinding) -> str:
    letter = "" if e.distance_m is None else f" {LETTER[e.quantity]}"
    return f"{distance(e)}{letter}"


def on_the_ground(plan: Plan) -> list[str]:
    """Return how far from the feed, level, the limits reach where people stand; nothing without a near field."""
    if all(e.ground_distance_m is None for b in plan.budgets for x in b.bands for e in x.exposure):
        return []
    said = "Level from below the feed, 0.1 to 2 m above ground, at the power that is believed."
    return [*_exposure_view_table(plan, lambda e: level_distance(e.ground_distance_m)).lines(), *items([said])]


def at_the_window(plan: Plan) -> list[str]:
    """Return the same at the height of a window; nothing where no run names one."""
    if all(e.window_distance_m is None for b in plan.budgets for x in b.bands for e in x.exposure):
        return []
    return _exposure_view_table(plan, lambda e: level_distance(e.window_distance_m)).lines()


def _exposure_view_table(plan: Plan, cell: Callable[[ExposureFinding], str], *, eirp: bool = False) -> Table:
    found = [e for b in plan.budgets for x in b.bands for e in x.exposure]
    kinds = list(dict.fromkeys((_family(e.limit), e.who) for e in found))
    heads = [f"{limit}, {SHORT.get(who, who)}" for limit, who in kinds]
    table = Table(("", *(["EIRP"] if eirp else []), *heads), "r" + "r" * (len(kinds) + eirp))
    for budget in plan.budgets:
        shown = _distance_cell(budget)
        if shown and len(plan.budgets) > 1:
            table.part(budget.run)
        for x in shown:
            at = {kind: [e for e in x.exposure if (_family(e.limit), e.who) == kind] for kind in kinds}
            cells = (cell(farthest(some)) if some else "" for some in at.values())
            radiated = [] if not eirp else ["" if x.eirp_w is None else _watts(x.eirp_w)]
            table.add(frequency(x.frequency_hz), *radiated, *cells)
    return table


def _family(limit: str) -> str:
    return SHORT.get(limit, limit)


def _distance_cell(budget: Budget) -> list[BandFinding]:
    return [x for x in shown(budget) if x.exposure]


def _watts(value: float) -> str:
    return f"{value:.0f} W" if value >= 100.0 else f"{value:.3g} W"


def exposure_view(plan: Plan, *, explain: bool = False) -> str:
    """Return how far to keep away, for a terminal; the cautions always stand below."""
    unknown = [b.run for b in plan.budgets if not _distance_cell(b)]
    missing = f"Nothing can be said of {', '.join(unknown)}: no limit that was asked for holds there."
    parts = [
        [bold(f"Exposure at {plan.station}")],
        section("Distance at which the limit is reached", distances(plan)),
        items([missing] if unknown else []),
        section("Where people stand", on_the_ground(plan)),
        section("At the window", at_the_window(plan)),
        section("At a distance", at_a_distance(plan)),
        section("All on the air at once", all_at_once(plan)),
        section("Licence", licensed(plan)),
        section("Limits", _limits(plan)),
        section("Reckoned with", items([*_terms(plan), *left_out(plan)])),
        section("Cautions", items(plan.cautions)),
    ]
    if explain:
        parts.append(workings_view([w for b in plan.budgets for w in b.workings if w.figure.startswith(EXPOSURE)]))
    return page(parts)


def at_a_distance(plan: Plan) -> list[str]:
    """Return what is used up of each limit where people are, the most power and the longest over that keep it."""
    table = Table(("", "", "of the limit", "most power", "longest over"), "rlrrr")
    needs: dict[str, None] = {}
    rows = [(b.run, x, d) for b in plan.budgets for x in _distance_cell(b) for d in x.density]
    for run, x, d in rows:
        where = f"{run}, {frequency(x.frequency_hz)}, {metres(d.distance_m)}"
        table.add(where, f"{d.limit}, {SHORT.get(d.who, d.who)}", *_used(d))
        needs |= dict.fromkeys([d.needs] if d.needs else [])
    if not rows:
        return []
    exempt = [_exempt(x, d) for _, x, d in rows if d.exempt is not None]
    return [*table.lines(), *items([USED, *(f"No figure. What is needed: {n}." for n in needs), *exempt])]


def _used(d: DensityFinding) -> tuple[str, str, str]:
    if d.fraction_high is None or d.max_power_w is None:
        return "no figure", "", ""
    over = "no end" if d.max_over_s is None else "none" if d.max_over_s == 0.0 else minutes(d.max_over_s, d.averaging_s)
    return percent(d.fraction_high), _watts(d.max_power_w), over


def minutes(over_s: float, averaging_s: float) -> str:
    """Return how long an over may last in an averaging time: "2.5 of 6 min"."""
    return f"{over_s / 60.0:.1f} of {averaging_s / 60.0:g} min"


def _exempt(x: BandFinding, d: DensityFinding) -> str:
    yes = "is exempt by" if d.exempt else "is over what is exempt by"
    return (
        f"{frequency(x.frequency_hz)}: it {yes} 47 CFR 1.1307(b)(3)(i)(C), {_watts(d.exempt_erp_w or 0.0)} ERP there."
    )


def all_at_once(plan: Plan) -> list[str]:
    """Return what all runs use up together of each limit."""
    said = [
        f"{s.limit}, {s.who}: {', '.join(s.runs)} together "
        + (f"use {percent(s.fraction)}." if s.fraction is not None else f"give no figure. What is needed: {s.needs}.")
        for s in plan.together
    ]
    return items(said)


def licensed(plan: Plan) -> list[str]:
    """Return what the licence allows against what there is."""
    found = [(b.run, x, c) for b in plan.budgets for x in _distance_cell(b) for c in x.licence]
    return items([_licence(run, x, c) for run, x, c in found])


def _licence(run: str, x: BandFinding, c: LicenceFinding) -> str:
    verdict = {"within": "within", "over": "over", "cannot tell": "cannot tell whether within"}[c.verdict]
    value = "not known" if c.value_w is None else _watts(c.value_w)
    needs = f" What is needed: {c.needs}." if c.needs else ""
    source = f" ({c.source})" if c.source else ""
    allowed = f"{verdict} the {_watts(c.limit_w)} allowed{source}"
    return f"{run}, {frequency(x.frequency_hz)}: {c.quantity} {value}, {allowed}.{needs}"


USED = (
    "Of the limit: at the upper end of the power's interval. Levels that are not averaged count the field, all others"
    " the power. The most power is that of the transmitter; the longest over is in each averaging time."
)


def _limits(plan: Plan) -> list[str]:
    """Return what each limit is on each band, and where it stands."""
    table = Table(("", "", "", ""), "rllr")
    found: dict[tuple[float, str, str], ExposureFinding] = {}
    for budget in plan.budgets:
        for x in _distance_cell(budget):
            found |= {(x.frequency_hz, e.limit, e.who): e for e in x.exposure}
    last = 0.0
    for (f, limit, who), e in sorted(found.items(), key=lambda pair: pair[0][0]):
        table.add("" if f == last else frequency(f), limit, who, f"{e.limit_value:.3g} {e.unit}")
        last = f
    return [*table.lines(), *items(_sources(found.values()))]


def _sources(found: Iterable[ExposureFinding]) -> list[str]:
    who: dict[tuple[str, str], dict[str, None]] = {}
    for e in found:
        who.setdefault((e.limit, e.source), {})[e.who] = None
    return [_source(limit, source, " and ".join(names)) for (limit, source), names in who.items()]


def _source(limit: str, source: str, who: str) -> str:
    _, _, text = source.partition(": ")
    return f"{limit}, {who}: {text.removeprefix(f'{limit}, ')}."


def _terms(plan: Plan) -> list[str]:
    return remarks_of(plan.budgets, lambda said: said.startswith(TERMS))


# Reception on a terminal: what the line costs in signal-to-noise, before and after each remedy

HEARD_DB = 0.3
"""A loss of signal-to-noise below this nobody notices; common practice, no source."""
NOTHING_DB = 0.05
COLUMNS = 5
NOTHING = "Nothing can be said of {}: add receiver = {{noise_figure = ...}} to the run, and noise = ... to the station."


def reception(plan: Plan) -> list[str]:
    """Return the loss of signal-to-noise of every run and band, and why where it can be heard."""
    table = Table(("", "noise outside (95 %)", "system noise", "signal-to-noise lost (95 %)"), "rddd")
    found = []
    for budget in plan.budgets:
        heard = _heard(budget)
        if heard and len(plan.budgets) > 1:
            table.part(budget.run)
        for x, r in heard:
            table.add(frequency(x.frequency_hz), *noises(r), _lost(r))
            found.append(r)
    return [*table.lines(), *items(noise_scale(found)), *items(_why(found)), *items(assumptions(plan.budgets))]


def _lost(r: ReceptionFinding) -> str:
    if r.reception_loss_db_high < NOTHING_DB:
        return "0.0 dB"
    return interval(r.reception_loss_db, r.reception_loss_db_low, r.reception_loss_db_high)


def _why(found: Sequence[ReceptionFinding]) -> list[str]:
    said = list(dict.fromkeys(r.why for r in found if r.reception_loss_db >= HEARD_DB))
    quiet = len(found) - sum(r.reception_loss_db >= HEARD_DB for r in found)
    where = "Elsewhere" if said else "Here"
    return [*said, *([f"{where} noise from outside hides what the line takes from reception."] if quiet else [])]


def _heard(budget: Budget) -> list[tuple[BandFinding, ReceptionFinding]]:
    return [(x, x.reception) for x in shown(budget) if x.reception is not None]


def reception_view(plan: Plan, *, explain: bool = False) -> str:
    """Return what runs do to reception, before and after every remedy, for a terminal."""
    found = [r for b in plan.budgets for _, r in _heard(b)]
    deaf = [b.run for b in plan.budgets if not _heard(b)]
    parts = [
        [bold(f"Reception at {plan.station}")],
        items(_why(found)),
        section("Noise at the antenna's terminals", _noise(plan)),
        *(section(f"{b.run}: signal-to-noise lost, dB", _remedies(b)) for b in plan.budgets),
        items([NOTHING.format(", ".join(deaf))] if deaf else []),
        section("Assumed", items(assumptions(plan.budgets))),
        section("Remarks", items(other_remarks(plan))),
        section("Cautions", items(plan.cautions)),
    ]
    if explain:
        parts.append(workings_view([w for b in plan.budgets for w in b.workings if w.figure.startswith(RECEPTION)]))
    return page(parts)


def _noise(plan: Plan) -> list[str]:
    table = Table(("", "outside (95 %)", "system"), "rdd")
    for budget in plan.budgets:
        if _heard(budget) and len(plan.budgets) > 1:
            table.part(budget.run)
        for x, r in _heard(budget):
            table.add(frequency(x.frequency_hz), *noises(r))
    return [*table.lines(), *items(noise_scale(r for b in plan.budgets for _, r in _heard(b)))]


def _remedies(budget: Budget) -> list[str]:
    """Return what is lost with each remedy, a column a band."""
    lines: list[str] = []
    for some in groups(_heard(budget), COLUMNS):
        table = Table(("", *(frequency(x.frequency_hz) for x, _ in some)), "l" + "d" * len(some))
        table.add("as it is", *(plain(r.reception_loss_db, 2) for _, r in some))
        named = list(dict.fromkeys(what for _, r in some for what, _ in r.remedies))
        for what in named:
            left = (dict(r.remedies).get(what) for _, r in some)
            table.add(f"with {what}", *("" if db is None else plain(db, 2) for db in left))
        rows = table.lines()
        lines += [*rows, *items(f"With {what}." for what in named if not any(what in line for line in rows))]
    return lines


# The terminal view of a plan: what reaches the antenna first, then the figures

MOST_VERDICTS = 12
"""Nobody reads more of them in one run."""


def plan_view(plan: Plan, *, explain: bool = False) -> str:
    """Return a plan for a terminal, no line wider than 100 columns."""
    return page([
        [bold(cut(plan.station, WIDEST))],
        verdicts(plan),
        section("Losses, power at the antenna, SWR at radio and antenna", bands(plan)),
        section("Where the power goes", parts(plan)),
        section("Voltage and heat against ratings", ratings(plan)),
        section("Lengths to cut", cuts(plan)),
        section("Reception", reception(plan)),
        section("Exposure", exposure(plan)),
        section("Remarks", items([*other_remarks(plan), *plan.remarks])),
        section("Cautions", items(plan.cautions)),
        workings_view([w for budget in plan.budgets for w in budget.workings]) if explain else [],
    ])  # fmt: skip


def verdicts(plan: Plan, most: int = MOST_VERDICTS) -> list[str]:
    """Return a sentence a run and band: what reaches the antenna, and what to look at first.

    Of more than ``most`` bands in a run, those that lose most.
    """
    return [line for budget in plan.budgets for x in shown(budget, most) for line in _verdict(budget.run, x)]


def _verdict(run: str, x: BandFinding) -> list[str]:
    lead = clean(f"{run} at {frequency(x.frequency_hz)}:")
    lines = wrapped(f"{lead} {arrival(x)} {x.weakest}", rest="  ")
    if lines[0].startswith(lead):
        lines[0] = bold(lead) + lines[0][len(lead) :]
    return lines
