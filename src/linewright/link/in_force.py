"""Which limits and licence rules hold on a frequency: those of the tables asked for, and a person's own."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from typing import Final

from linewright.catalogue.exposure_limits import Limit, covers, exposure_limits, limits_at
from linewright.core.formulas.exposure import erp_w
from linewright.core.messages import mark, say
from linewright.core.nouns.exposure import LicenceFinding, Verdict
from linewright.core.nouns.line import Figure, Provenance
from linewright.core.nouns.rules import LicenceRule, PowerQuantity, Rules, Who

WHO: Final[tuple[Who, ...]] = ("public", "occupational")
IN_ADDITION: Final = {"ICNIRP 2020": ("ICNIRP 2010",)}
"""Levels that hold besides: against nerve stimulation below 10 MHz (ICNIRP 2020 repeats them as its table 8, from
memory; ICNIRP 2010, table note 2: above 100 kHz the radio-frequency levels hold additionally)."""
POWERS: Final[dict[PowerQuantity, str]] = {
    "eirp": mark("EIRP"), "erp": mark("ERP"), "power": mark("transmitter power")
}  # fmt: skip
NEEDS_GAIN: Final = say("the antenna's gain")


def standards() -> tuple[str, ...]:
    """Return the names of the tables there are.

    >>> standards()
    ('47 CFR 1.1310', 'ICNIRP 2020', 'ICNIRP 2020 local', 'ICNIRP 2010')
    """
    return tuple(dict.fromkeys(row.standard for row in exposure_limits()))


def limits_in_force(asked: Sequence[str], rules: Rules, frequency_hz: float) -> tuple[Limit, ...]:
    """Return the limits that hold on a frequency, the public's before those at work, standard by standard.

    >>> [(limit.standard, limit.who) for limit in limits_in_force(["ICNIRP 2020"], Rules(), 3.65e6)][::2]
    [('ICNIRP 2020', 'public'), ('ICNIRP 2010', 'public')]
    """
    names = dict.fromkeys(name for one in asked for name in (one, *IN_ADDITION.get(one, ())))
    found = (
        _own(rules, name, who, frequency_hz) if name in rules.names else _printed(name, who, frequency_hz)
        for name in names
        for who in WHO
    )
    return tuple(limit for limit in found if limit is not None)


@lru_cache(maxsize=1024)
def _printed(standard: str, who: str, frequency_hz: float) -> Limit | None:
    """Return the limit of a table; None where it has none. A sweep of what-ifs asks for it again."""
    return limits_at(standard, who, frequency_hz) if covers(standard, who, frequency_hz) else None


def _own(rules: Rules, name: str, who: Who, frequency_hz: float) -> Limit | None:
    """Return the limit of a person's own rules; where two of them meet, the stricter figure."""
    held = [r for r in rules.exposure if (r.name, r.who) == (name, who) and r.low_hz <= frequency_hz <= r.high_hz]
    if not held:
        return None
    figures: dict[str, Figure] = {}
    for rule in held:
        value = rule.coefficient * (frequency_hz / 1e6) ** rule.exponent
        if rule.quantity not in figures or value < float(figures[rule.quantity].value):
            figures[rule.quantity] = Figure(value, Provenance("person", rule.source or name, rule.printed))
    e, h, s = (
        float(figures[key].value) if key in figures else None for key in ("e_v_per_m", "h_a_per_m", "s_w_per_m2")
    )
    source = next(iter(figures.values())).provenance
    return Limit(name, who, frequency_hz, e, h, s, min(r.averaging_s for r in held), source, figures)


def licence_findings(
    rules: Rules, frequency_hz: float, power_w: float, eirp_w: tuple[float, float, float] | None
) -> tuple[LicenceFinding, ...]:
    """Return what a licence allows on a frequency against what there is.

    Parameters
    ----------
    power_w : float
        Peak envelope power of the transmitter.
    eirp_w : tuple of float or None
        Peak EIRP as believed and the ends of its 95 % interval; None where the gain is not known.
    """
    return tuple(_licence(rule, power_w, eirp_w) for rule in rules.licence if rule.holds(frequency_hz))


def _licence(rule: LicenceRule, power_w: float, eirp_w: tuple[float, float, float] | None) -> LicenceFinding:
    name = POWERS[rule.quantity]
    if rule.quantity != "power" and eirp_w is None:
        return LicenceFinding(name, rule.limit_w, None, None, None, "cannot tell", rule.source, NEEDS_GAIN)
    value, low, high = (power_w,) * 3 if rule.quantity == "power" or eirp_w is None else eirp_w
    if rule.quantity == "erp":
        value, low, high = (float(erp_w(x)) for x in (value, low, high))
    verdict: Verdict = "within" if high <= rule.limit_w else "over" if low > rule.limit_w else "cannot tell"
    return LicenceFinding(name, rule.limit_w, value, low, high, verdict, rule.source)
