"""What if: the same station planned before and after some changes."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path

from linewright.core.formatting import digits, frequency, plain, quantity, signed
from linewright.core.messages import say
from linewright.core.nouns.bench_result import Working
from linewright.core.nouns.line import LineType
from linewright.core.nouns.plan import BandFinding, Budget, Difference, WhatIf
from linewright.core.nouns.station import Station
from linewright.verbs.beliefs import Beliefs
from linewright.verbs.changes import changed, read_change
from linewright.verbs.plan import DRAWS, planned, read, the_run


def what_if(
    station: Station | Path | str,
    changes: Sequence[str],
    *,
    run: str | None = None,
    own: Sequence[LineType] = (),
    progress: Callable[[float, str], None] | None = None,
) -> WhatIf:
    """Return what changes do to a station's runs.

    Parameters
    ----------
    station : Station or Path or str
        The station, or the TOML file it stands in.
    changes : sequence of str
        Changes, made together: "line 2 = RG-213/U", "drop part 3", "power = 100 W".
    run : str, optional
        The only run to plan.
    own : sequence of LineType
        The person's own line types.
    progress : callable, optional
        Called with the share done (0 to 1) and what is being done, while a bench sheet is judged.

    Returns
    -------
    WhatIf
        A difference a run and frequency, of the runs that change.

    Raises
    ------
    InputError
        If a change cannot be read or fits nothing, or the station breaks a rule.

    >>> from linewright.verbs.examples import demo_file
    >>> found = what_if(demo_file("harbour-ridge-station.toml"), ["power = 20 W"], run="repeater link")
    >>> [difference.run for difference in found.differences]
    ['repeater link']
    """
    known = read(station, own)
    made = [read_change(text) for text in changes]
    only = None if run is None else the_run(known, run).name
    beliefs = Beliefs(known, DRAWS, progress)
    before = planned(known, only, beliefs)
    after = planned(changed(known, made, only), only, beliefs)
    found = tuple(d for b, a in zip(before.budgets, after.budgets, strict=True) for d in differences(b, a))
    moved = tuple(d for d in found if d.before != d.after)
    still = dict.fromkeys(d.run for d in found if d.run not in {m.run for m in moved})
    remarks = tuple(say("Nothing changes in {run}.", run=name) for name in still)
    return WhatIf(tuple(c.text for c in made), moved, before, after, remarks, _workings(moved))


def differences(before: Budget, after: Budget) -> Iterator[Difference]:
    """Yield a difference a frequency."""
    was = {b.frequency_hz: b for b in before.bands}
    now = {b.frequency_hz: b for b in after.bands}
    for f in sorted({*was, *now}):
        yield _difference(after.run, f, was.get(f), now.get(f))


def _difference(run: str, f: float, was: BandFinding | None, now: BandFinding | None) -> Difference:
    if was is None or now is None:
        return Difference(run, f, was, now)
    ratio = now.power_at_antenna_w / was.power_at_antenna_w
    heard = None
    if was.reception and now.reception:
        heard = _noise_db(was) - _noise_db(now)
    return Difference(run, f, was, now, now.total_loss_db - was.total_loss_db, 10.0 * math.log10(ratio), ratio, heard)


def _workings(found: Sequence[Difference]) -> tuple[Working, ...]:
    """Return how the changes were worked out; what stands before and after, the plans' own workings say."""
    return tuple(w for d in found if d.before and d.after for w in _of_difference(d, d.before, d.after))


def _of_difference(d: Difference, was: BandFinding, now: BandFinding) -> Iterator[Working]:
    assert d.delivered_db is not None
    assert d.delivered_ratio is not None
    f = frequency(d.frequency_hz)
    before, after = (quantity(plain(x.power_at_antenna_w, 3), "W") for x in (was, now))
    yield Working(
        say("change of the power at the antenna, {run} at {f}: {change} dB, {ratio} times",
            run=d.run, f=f, change=signed(d.delivered_db, 2), ratio=plain(d.delivered_ratio, 3)),
        say("10 lg(power after / power before)"),
        ((say("before"), before), (say("after"), after)),
        say("By definition."), ("change of power", d.run, d.frequency_hz),
    )  # fmt: skip
    if d.signal_to_noise_db is not None and was.reception and now.reception:
        before, after = (quantity(digits(x.system_noise_kelvin, 4), "K") for x in (was.reception, now.reception))
        yield Working(
            say("change of signal-to-noise, {run} at {f}: {change} dB",
                run=d.run, f=f, change=signed(d.signal_to_noise_db, 2)),
            say("10 lg(system noise before / system noise after), both at the antenna's terminals"),
            ((say("before"), before), (say("after"), after)),
            say("By definition: the signal at the antenna's terminals is the same."),
            ("change of signal-to-noise", d.run, d.frequency_hz),
        )  # fmt: skip


def _noise_db(band: BandFinding) -> float:
    """Return the system noise at the antenna's terminals, dB over 1 K: what falls there, signal over noise gains."""
    assert band.reception is not None
    return 10.0 * math.log10(band.reception.system_noise_kelvin)
