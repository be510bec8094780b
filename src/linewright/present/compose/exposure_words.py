"""What is found about people near an antenna, as sentences that the terminal, the pages and the reports share."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from math import ceil, floor, log10
from typing import Final

from linewright.core.formatting import digits, frequency, length, metres, percent, plain, power, quantity, reach
from linewright.core.messages import say, together
from linewright.core.nouns.exposure import DensityFinding, ExposureFinding, LicenceFinding, SumFinding

MOST_POWER_W: Final = 10_000.0


def distance(e: ExposureFinding) -> str:
    """Return how far to keep away: at the power that is believed, and at the upper end of its interval.

    An antenna whose losses decide and are not stated begins with losses that are common.
    """
    if e.distance_m is None or e.distance_m_high is None:
        return say("no figure")
    return reach(e.distance_m if e.distance_m_low is None else e.distance_m_low, e.distance_m_high)


def level_distance(distance_m: float | None) -> str:
    """Return how far from the feed a limit reaches, level; empty where that was not reckoned."""
    if distance_m is None:
        return ""
    return say("nowhere") if distance_m == 0.0 else length(distance_m, 2 if distance_m < 10.0 else 1)


def farthest(found: Iterable[ExposureFinding]) -> ExposureFinding:
    """Return which of some limits keeps people away farthest; one without a figure goes before all others."""
    return max(found, key=lambda e: float("inf") if e.distance_m_high is None else e.distance_m_high)


def distance_notes(found: Iterable[ExposureFinding]) -> Iterator[str]:
    """Yield what the two distances go with where there are any, and what is needed where there is no figure."""
    found = list(found)
    if any(e.distance_m is not None for e in found):
        yield distance_terms()
    if any(e.method == "near field" for e in found):
        yield say(
            "By the near field: from the nearest wire; the second distance has 10 % added for the model, rounded "
            "up. It does not cover touching: wires can burn anyone who touches them. Current on the feed line, "
            "house wiring and metal nearby are not included.")  # fmt: skip
    if any(e.method == "far field" for e in found):
        yield say("By the far-field formula: from the antenna, in its main lobe.")
    if any(e.method == "far field" and e.in_near_field for e in found):
        yield say(
            "Some of these are where the lobe has not formed yet: there the formula gives too far rather than too "
            "near.")  # fmt: skip
    for needs in dict.fromkeys(e.needs for e in found if e.distance_m is None and e.in_near_field):
        yield say("No figure: there the far-field formula points inside the near field, where it does not hold. What is"
                  " needed: {needs}.", needs=needs)  # fmt: skip
    for needs in dict.fromkeys(e.needs for e in found if e.distance_m is None and not e.in_near_field):
        yield say("No figure. What is needed: {needs}.", needs=needs)


def distance_terms() -> str:
    """Return what the two distances go with."""
    return say("The first distance is for the estimated power, the second for the upper end of its interval (95 %).")


def used(found: Iterable[tuple[str, float, DensityFinding]], *, over_only: bool = False) -> Iterator[str]:
    """Yield what is used up where people are: on each frequency of each run the limit most used, for each group.

    Where there is no figure, what would give one, once for all groups. ``over_only`` leaves limits that are kept out.
    """
    groups: dict[tuple[str, float, str], list[DensityFinding]] = {}
    for run, frequency_hz, d in found:
        groups.setdefault((run, frequency_hz, d.who), []).append(d)
    said = (
        _used(run, frequency_hz, d)
        for (run, frequency_hz, _), densities in groups.items()
        if (d := most_used(densities)).fraction_high is None or d.fraction_high > 1.0 or not over_only
    )
    yield from dict.fromkeys(said)


def near_distance() -> str:
    """Return what a distance at which people are means near a wire."""
    return say("Near a wire the distance is level, from below the feed; the worst place from there outwards counts, 0.1"
               " to 2 m above ground and at the window's height, with 10 % more field for the model.")  # fmt: skip


def most_used(found: Iterable[DensityFinding]) -> DensityFinding:
    """Return the limit most used up; one without a figure goes before all others."""
    return max(found, key=lambda d: float("inf") if d.fraction_high is None else d.fraction_high)


def most_power(power_w: float) -> str:
    """Return the most power that keeps a limit, rounded down; beyond what anybody has it is not told."""
    if power_w > MOST_POWER_W:
        return say("over {power}", power=quantity(plain(MOST_POWER_W / 1e3, 0), "kW"))
    if power_w <= 0.0:
        return quantity("0", "W")
    step = 10.0 ** (floor(log10(power_w)) - 2)
    kept = floor(power_w / step + 1e-9) * step
    return quantity(plain(kept, 0) if kept >= 100.0 else digits(kept, 3), "W")


def _used(run: str, frequency_hz: float, d: DensityFinding) -> str:
    where = {"run": run, "frequency": frequency(frequency_hz), "distance": metres(d.distance_m)}
    if d.fraction_high is None or d.max_power_w is None:
        return say("{run}, {frequency}, {distance} away: no figure. What is needed: {needs}.", needs=d.needs, **where)
    at = say("{run}, {frequency}, {distance} away, {limit}, {who}", limit=d.limit, who=say(d.who), **where)
    power = most_power(d.max_power_w)
    share = say("{at}: {share} of the limit is used.", at=at, share=percent(d.fraction_high))
    if d.fraction_high <= 1.0 or not d.max_over_s:
        return together([share, say("The most transmitter power that meets it: {power}.", power=power)])
    over, averaging = (plain(x / 60.0, 1) for x in (d.max_over_s, d.averaging_s))
    return together([share, say(
        "The most transmitter power that meets it: {power}; or overs of {over} in any {averaging} minutes.",
        power=power, over=over, averaging=averaging)])  # fmt: skip


def exemption(frequency_hz: float, d: DensityFinding, run: str) -> str:
    """Return whether a station is exempt by its distance; empty where the rule says nothing."""
    if d.exempt is None or d.exempt_erp_w is None:
        return ""
    given = {"run": run, "frequency": frequency(frequency_hz), "power": most_power(d.exempt_erp_w)}
    if d.exempt:
        return say("{run}, {frequency}: exempt by 47 CFR 1.1307(b)(3)(i)(C), up to {power} ERP at that distance.",
                   **given)  # fmt: skip
    return say("{run}, {frequency}: more than the {power} ERP that 47 CFR 1.1307(b)(3)(i)(C) exempts at that distance.",
               **given)  # fmt: skip


def exempt_from(found: Iterable[tuple[str, float, ExposureFinding]]) -> Iterator[str]:
    """Yield from which distance a run is exempt on each frequency, where the rule says; a sentence a run."""
    runs: dict[str, list[str]] = {}
    for run, frequency_hz, e in found:
        if e.exempt_distance_m is not None:
            at = say("{distance} at {frequency}", frequency=frequency(frequency_hz),
                     distance=length(ceil(e.exempt_distance_m * 10.0 - 1e-9) / 10.0, 1))  # fmt: skip
            runs.setdefault(run, []).append(at)
    for run, where in runs.items():
        yield say(
            "{run}: exempt from routine evaluation by 47 CFR 1.1307(b)(3)(i)(C), if nobody comes nearer than "
            "{where}.", run=run, where=together(where, ", "))  # fmt: skip


def all_at_once(found: Iterable[SumFinding]) -> Iterator[str]:
    """Yield what several runs use up together of each limit; where it holds for one of them alone there is no sum."""
    return (_sum(one) for one in found if len(one.runs) > 1)


def _sum(found: SumFinding) -> str:
    runs = together(found.runs, ", ")
    if found.fraction is None:
        return say("{limit}, {who}: {runs} together give no figure. What is needed: {needs}.",
                   limit=found.limit, who=say(found.who), runs=runs, needs=found.needs)  # fmt: skip
    return say("{limit}, {who}: {runs} on the air together use {share}.",
               limit=found.limit, who=say(found.who), runs=runs, share=percent(found.fraction))  # fmt: skip


def licence(frequency_hz: float, c: LicenceFinding) -> str:
    """Return what a licence allows against what there is: a sentence that begins with its word."""
    at, allowed = frequency(frequency_hz), power(c.limit_w, 4)
    what = say(c.quantity)
    if c.value_w is None or c.value_w_low is None or c.value_w_high is None:
        return say("Licence at {at}: {what} is not known against the {allowed} allowed. What is needed: {needs}.",
                   at=at, what=what, allowed=allowed, needs=c.needs)  # fmt: skip
    value = power(c.value_w)
    if c.verdict == "over":
        return say("Licence at {at}: {what} of {value} is over the {allowed} allowed.",
                   at=at, what=what, value=value, allowed=allowed)  # fmt: skip
    if c.verdict == "within":
        return say("Licence at {at}: {what} of {value} is within the {allowed} allowed.",
                   at=at, what=what, value=value, allowed=allowed)  # fmt: skip
    return say("Licence at {at}: {what} of {value} ({low} to {high}) is about the {allowed} allowed: cannot tell.",
               at=at, what=what, value=value, allowed=allowed, low=digits(c.value_w_low, 3),
               high=digits(c.value_w_high, 3))  # fmt: skip
