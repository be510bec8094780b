"""How many degrees a swept line is long: the phase of one pass, read off the sweep itself and not off a slope.

A sweep tells the phase of a line at each frequency far better than delay times frequency does, for what connectors and
the skin effect add is in it. Whole turns are counted by the delay, which the reading of the sweep has settled.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from linewright.core.arrays import Floats
from linewright.core.errors import InputError
from linewright.core.formatting import frequency
from linewright.core.frozen import dataclass
from linewright.core.messages import mark, say
from linewright.core.nouns.sweep import FarEnd, Sweep, SweepFinding
from linewright.core.quantities import DB_PER_NEPER, TWO_PI
from linewright.inference.sweep import one_port, two_port
from linewright.inference.sweep.delays import END, PHASE_RAD, PLANE_S
from linewright.inference.sweep.reading import question
from linewright.inference.sweep.traces import bins, pilot

CURE = mark("Sweep again with more points, or give the length of the line.")


@dataclass(frozen=True, slots=True)
class ElectricalLength:
    """The phase of one pass along a line at some frequencies.

    Attributes
    ----------
    frequency_hz, phase_rad, phase_u_rad : ndarray, shape (f,)
        Where; the phase, rising with length; its standard uncertainty.
    """

    frequency_hz: Floats
    phase_rad: Floats
    phase_u_rad: Floats


def electrical_length(
    sweeps: Mapping[FarEnd, Sweep], finding: SweepFinding, at_hz: Sequence[float], *, length_m: float | None = None
) -> ElectricalLength:
    """Return how long a line is in radians at some frequencies, connectors included.

    Below the start of the sweep the phase is carried down to nothing at zero frequency.

    Parameters
    ----------
    sweeps : mapping of far end to Sweep
        "through" alone, a two-port; or any of "open" and "short", one-ports.
    finding : SweepFinding
        What these very sweeps say; its delay counts the whole turns.
    at_hz : sequence of float
        Where, in hertz.

    Raises
    ------
    InputError
        If the finding has no delay, or a frequency lies above the sweep.
    """
    delay = finding.delay_s
    if delay is None:
        raise InputError(
            "sweep", say("must tell one delay; {name} fits several or none", name=finding.name), cure=say(CURE)
        )
    first = next(iter(sweeps.values()))
    ask = question(first, length_m, None, finding.line, ())
    with np.errstate(all="ignore"):
        through = "through" in sweeps
        traces = two_port.heard(sweeps["through"], ask.at_hz) if through else one_port.heard(sweeps, ask)
    if traces.trace is None:
        raise InputError(
            "sweep", say("must hold the wave along the line; {name} does not", name=finding.name), cure=say(CURE)
        )
    trace = traces.trace.sound()
    f_hz = np.asarray(at_hz, dtype=np.float64)
    top = float(trace.frequency_hz[-1])
    if np.any(f_hz > top * (1.0 + 1e-6)):
        rule = say("must lie within the sweep of {name}, which ends at {top}", name=finding.name, top=frequency(top))
        raise InputError("frequency", rule, cure=say("Sweep it up to the band it is wanted for."))
    course = replace(pilot(trace), delay_s=trace.passes * delay.value, phase_rad=0.0)
    found = bins(trace, course)
    left = -np.unwrap(np.angle(found.ratio)) / trace.passes - _expected(finding, found.frequency_hz)
    left -= TWO_PI / trace.passes * np.round(np.median(left) * trace.passes / TWO_PI)
    noise = found.noise / np.abs(found.ratio) / trace.passes
    at, rest, doubt = (np.concatenate([[0.0], x]) for x in (found.frequency_hz, left, noise))
    phase = TWO_PI * f_hz * delay.value + _expected(finding, f_hz) + np.interp(f_hz, at, rest)
    planes = PLANE_S * (END if trace.rippled else 1.0)
    u = np.sqrt(
        np.interp(f_hz, at, doubt) ** 2 + PHASE_RAD**2 + (TWO_PI * f_hz * planes) ** 2 + (trace.off / trace.passes) ** 2
    )
    return ElectricalLength(f_hz, phase, u)


def _expected(finding: SweepFinding, f_hz: Floats) -> Floats:
    """Return the phase that the skin effect adds to group delay times frequency: it turns as it takes, k1 √f."""
    k1 = 0.0 if finding.law is None else max(finding.law.k1_db.value, 0.0) / DB_PER_NEPER / 1e3
    top = finding.law.valid_hz[1] if finding.law is not None else float(np.max(f_hz))
    middle = top / 2.0
    return np.asarray(k1 * (np.sqrt(f_hz) - f_hz / (2.0 * np.sqrt(middle))))
