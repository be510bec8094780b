"""What a plan says, as sentences that the terminal, the pages and the reports share."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence

from linewright.core.formatting import (
    frequency,
    interval,
    is_loud,
    noise,
    per_metre,
    places_for,
    plain,
    power,
    prefixed,
    quantity,
    swr,
)
from linewright.core.messages import say, together
from linewright.core.nouns.plan import BandFinding, Budget, Difference, PartFinding, Plan, ReceptionFinding

MOST_BANDS = 24
"""Nobody reads a table of more frequencies."""
SURE_DB, NARROW_SWR, LEAST_W = 0.005, 0.1, 0.05
"""A narrower interval of a loss or an SWR is not worth showing, nor is less heat."""
KILOWATTS = 999.5
"""From so many watts a power is written in kilowatts, as ``power`` does."""
AMPLE = 3.0
"""A margin above this needs no second look (common practice, no source)."""


def shown(budget: Budget, most: int = MOST_BANDS) -> list[BandFinding]:
    """Return the bands of a run that are shown: all, or of very many those that lose most."""
    gravest = sorted(range(len(budget.bands)), key=lambda i: -budget.bands[i].total_loss_db)[:most]
    return [budget.bands[i] for i in sorted(gravest)]


def unshown(plan: Plan) -> Iterator[str]:
    """Yield which runs are not shown whole."""
    for b in plan.budgets:
        if len(b.bands) > MOST_BANDS:
            yield say(
                "{run}: the {shown} of {count} frequencies with the most loss are shown; --json has all of them.",
                run=b.run, count=str(len(b.bands)), shown=str(MOST_BANDS),
            )  # fmt: skip


def remarks_of(budgets: Sequence[Budget], wanted: Callable[[Budget], Iterable[str]]) -> tuple[str, ...]:
    """Return the remarks that are wanted, each once, with the runs it holds for where it does not hold for all."""
    runs: dict[str, dict[str, None]] = {}
    for budget in budgets:
        for said in wanted(budget):
            runs.setdefault(said, {})[budget.run] = None
    return tuple(
        said if len(names) == len(budgets) else say("{runs}: {remark}", runs=together(names, ", "), remark=said)
        for said, names in runs.items()
    )


def in_watts(value_w: float, low_w: float, high_w: float) -> tuple[str, str]:
    """Return a power and its interval in brackets, empty where that says nothing more.

    >>> in_watts(535.2, 521.0, 549.0), in_watts(14.0, 14.0, 14.0), in_watts(136e3, 130e3, 142e3)
    (('535 W', '(521 to 549)'), ('14 W', ''), ('136 kW', '(130 to 142)'))
    """
    unit, size = ("kW", 1e3) if value_w >= KILOWATTS else ("W", 1.0)
    value, low, high = value_w / size, low_w / size, high_w / size
    fine = places_for(low, high)
    coarse = max(0, fine - 1) if value >= 10.0 else fine
    places = coarse if plain(low, coarse) != plain(high, coarse) else fine
    ends = plain(low, places), plain(high, places)
    if ends[0] == ends[1]:
        return power(value_w), ""
    return quantity(plain(value, places), unit), say("({low} to {high})", low=ends[0], high=ends[1])


def watts(x: BandFinding) -> tuple[str, str]:
    """Return the power at the antenna and its interval in brackets."""
    return in_watts(x.power_at_antenna_w, x.power_at_antenna_w_low, x.power_at_antenna_w_high)


def arrival(x: BandFinding) -> str:
    """Return what reaches the antenna, as a sentence: "25 W of 50 W reach the antenna (23 to 27)."."""
    arrives, reach = watts(x)
    given = power(x.power_w, 4)
    if not reach:
        return say("{arrives} of {given} reach the antenna.", arrives=arrives, given=given)
    return say("{arrives} of {given} reach the antenna {reach}.", arrives=arrives, given=given, reach=reach)


def radiated(x: BandFinding) -> str:
    """Return what is radiated in the main lobe, over an isotropic antenna and over a dipole; empty without a gain."""
    if x.eirp_w is None or x.erp_w is None:
        return ""
    eirp, erp = (together(on_air(x, w)) for w in (x.eirp_w, x.erp_w))
    return say("That is an EIRP of {eirp} and an ERP of {erp}.", eirp=eirp, erp=erp)


def on_air(x: BandFinding, radiated_w: float | None) -> tuple[str, str]:
    """Return an EIRP or an ERP and its interval, that of the power at the antenna; empty where no gain is known."""
    if radiated_w is None:
        return "", ""
    times = radiated_w / x.power_at_antenna_w if x.power_at_antenna_w else 0.0
    return in_watts(radiated_w, times * x.power_at_antenna_w_low, times * x.power_at_antenna_w_high)


def highest_voltages(plan: Plan) -> Iterator[str]:
    """Yield the highest voltage of every run, and where it stands."""
    for b in plan.budgets:
        x = max(b.bands, key=lambda x: x.peak_voltage_v, default=None)
        if x is None or not x.peak_voltage_part:
            continue
        volts, f = prefixed(x.peak_voltage_v, "V"), frequency(x.frequency_hz)
        said = say("The highest voltage is {volts} peak, on {part} at {frequency}.",
                   volts=volts, part=x.peak_voltage_part, frequency=f)  # fmt: skip
        yield said if len(plan.budgets) == 1 else say("{run}: {remark}", run=b.run, remark=said)


def loss_cell(p: PartFinding) -> str:
    """Return what a part loses, with its interval where that says more."""
    if p.loss_db_high - p.loss_db_low < SURE_DB:
        return quantity(plain(p.loss_db, 2), "dB")
    return interval(p.loss_db, p.loss_db_low, p.loss_db_high)


def heat_cell(p: PartFinding) -> str:
    """Return what a part takes as heat, with what that is on a metre of a line; empty where it is next to nothing."""
    if p.heat_w < LEAST_W:
        return ""
    heat = quantity(plain(p.heat_w, 1), "W")
    if p.heat_w_per_m is None or p.heat_w_per_m < LEAST_W:
        return heat
    return together([heat, per_metre(p.heat_w_per_m, 1, "W")], ", ")


def swr_interval(x: BandFinding) -> str:
    """Return between which ends the SWR at the radio lies, in brackets; empty where that says nothing more."""
    low, high = x.swr_at_radio_low, x.swr_at_radio_high
    return "" if high - low < NARROW_SWR else say("({low} to {high})", low=swr(low), high=swr(high))


def grounds(found: Iterable[BandFinding]) -> Iterator[str]:
    """Yield what the losses of lines rest on: names, by what they rest on."""
    names: dict[str, dict[str, None]] = {}
    for x in found:
        for p in x.parts:
            if p.basis:
                names.setdefault(p.basis, {})[p.name] = None
    for basis, some in names.items():
        yield say("From the {basis}: {names}.", basis=basis, names=together(list(some), ", "))


def is_ample(p: PartFinding) -> bool:
    """Return whether every known margin of a part is ample."""
    return all(m is None or m >= AMPLE for m in (p.voltage_margin, p.heat_margin))


def well_rated(budgets: Sequence[Budget]) -> str:
    """Return that the margins not told of are ample, and the parts for which nobody states a rating."""
    found = [p for b in budgets for x in shown(b) for p in x.parts]
    ample = plain(AMPLE, 0)
    known = (
        say("Every known margin is {ample} times or more.", ample=ample)
        if all(map(is_ample, found))
        else say("Every other known margin is {ample} times or more.", ample=ample)
    )
    bare = dict.fromkeys(p.name for p in found if p.voltage_margin is None and p.heat_margin is None)
    names = together(list(bare), ", ")
    return together([known, say("No rating is known for {parts}.", parts=names) if bare else ""])


def rating_note(p: PartFinding) -> str:
    """Return where the ratings of a part come from and what was assumed, in a sentence or two."""
    said = []
    if p.voltage_rating_by:
        said.append(say("Volts: {source}.", source=p.voltage_rating_by))
    if p.power_rating_by:
        load = prefixed(p.load_w, "W")
        said.append(say("Power: {source}; compared with {load} on average.", source=p.power_rating_by, load=load))
    return together(said)


def noises(r: ReceptionFinding) -> tuple[str, str]:
    """Return noise from outside with its interval, and that of the whole system, in one unit."""
    loud = is_loud(r.external_noise_kelvin)
    outside = noise(r.external_noise_kelvin, r.external_noise_kelvin_low, r.external_noise_kelvin_high, loud=loud)
    return outside, noise(r.system_noise_kelvin, loud=loud)


def noise_scale(found: Iterable[ReceptionFinding]) -> Iterator[str]:
    """Yield what decibels of noise are counted from, where any are shown."""
    if any(is_loud(r.external_noise_kelvin) for r in found):
        yield say("Noise in decibels is relative to kT0, the noise at 290 K.")


def assumptions(budgets: Sequence[Budget]) -> tuple[str, ...]:
    """Return what reception takes for granted, each once, with the runs it holds for where it does not hold for all."""
    return remarks_of(budgets, lambda budget: (s for x in budget.bands if x.reception for s in x.reception.assumed))


def changed(d: Difference) -> str:
    """Return what a change does at one frequency, after what arrives was said."""
    if d.after is None or d.before is None or d.delivered_ratio is None:
        return say("It is no longer planned.") if d.after is None else say("It was not planned before.")
    as_if = ""
    if d.after.power_w == d.before.power_w:
        as_if = power(d.before.power_w * d.delivered_ratio)
    return together([_arriving(d.delivered_ratio, as_if), _heard(d.signal_to_noise_db)])


def _arriving(ratio: float, as_if: str) -> str:
    if abs(ratio - 1.0) < 0.005:
        return say("That is the same as before.")
    if ratio >= 2.0:
        times = plain(ratio, 1)
        if as_if:
            return say("That is {times} times as much as before, as if the radio gave {power}.",
                       times=times, power=as_if)  # fmt: skip
        return say("That is {times} times as much as before.", times=times)
    part = quantity(plain(100 * abs(ratio - 1.0), 0), "%")
    if as_if and ratio > 1:
        return say("That is {part} more than before, as if the radio gave {power}.", part=part, power=as_if)
    if as_if:
        return say("That is {part} less than before, as if the radio gave {power}.", part=part, power=as_if)
    return (
        say("That is {part} more than before.", part=part)
        if ratio > 1
        else say("That is {part} less than before.", part=part)
    )


def _heard(change_db: float | None) -> str:
    if change_db is None:
        return ""
    if abs(change_db) < 0.05:
        return say("Reception does not change.")
    change = quantity(plain(abs(change_db), 1), "dB")
    if change_db > 0:
        return say("Signal-to-noise ratio is {change} better.", change=change)
    return say("Signal-to-noise ratio is {change} worse.", change=change)


def cut_notes(asked: Sequence[PartFinding]) -> tuple[str, ...]:
    """Return by which velocity factors the lengths to be cut are told: those of swept pieces, else their types'."""
    swept = dict.fromkeys(
        say("{part}: by the velocity factor from its own sweep, {factor}.", part=p.name,
            factor=plain(p.velocity_factor or 0.0, 3))
        for p in asked if p.velocity_swept
    )  # fmt: skip
    typed = [say("By the velocity factor of the type; measure before the final cut.")]
    return (*swept, *(typed if any(not p.velocity_swept for p in asked) else ()))
