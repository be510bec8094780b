"""Faults seen from both ends of a line, joined."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from linewright.evidence.sweeps.faults import discontinuities, stepped
from linewright.evidence.sweeps.seen import Scale, Seen, look
from linewright.model.faults import Fault
from linewright.model.sweep import Sweep
from linewright.units.said import say
from linewright.units.writing import plain


def from_both(faults: list[Fault], seen: Seen, sweep: Sweep, scale: Scale, z0: float) -> list[Fault]:
    """Return faults as seen from port 1 joined with those seen from port 2."""
    back = sweep.s[:, 1, 1]
    if float(np.ptp(np.abs(back))) < 1e-9:
        return faults
    other = look(sweep.frequency_hz, back, seen.end, seen.fit.rate, None)
    if other.fit.end_delay_s is None:
        return faults
    end = other.fit.end_delay_s * scale.m_per_s
    mirrored = [_turned(x, end, scale.relative_u) for x in discontinuities(other, scale, z0)[0]]
    cell = seen.fit.cell_s * scale.m_per_s
    joined: list[Fault] = []
    for fault in faults:
        twins = [x for x in mirrored if abs(x.distance_m - fault.distance_m) < 2 * cell + (x.length_m or 0.0) * 0.5]
        lone = sum(x.kind in ("step", "bad joint") for x in faults) == 1
        joined.append(_joined(fault, twins[0], z0 if lone else None) if twins else fault)
        mirrored = [x for x in mirrored if x not in twins]
    return joined + mirrored


def _turned(fault: Fault, end_m: float, relative_u: float) -> Fault:
    """Return a fault seen from the far end as seen from the near one; a section begins at its other edge."""
    at = end_m - fault.distance_m - (fault.length_m or 0.0)
    own = 0.5 * (fault.high_m - fault.low_m)
    square = own**2 + (1.96 * relative_u) ** 2 * (at**2 - fault.distance_m**2)
    half = float(np.sqrt(max(square, (0.2 * own) ** 2)))
    return replace(fault, distance_m=at, low_m=max(0.0, at - half), high_m=at + half)


def _joined(near: Fault, far: Fault, z0: float | None) -> Fault:
    """Return one fault from two views. A step turns its sign round when seen from behind; a resistance does not.

    ``z0`` is None where other steps stand beside it: then the view from behind is of another impedance.
    """
    best = near if near.high_m - near.low_m <= far.high_m - far.low_m else far
    kinds = {near.kind, far.kind}
    if z0 and kinds <= {"step", "bad joint"} and near.impedance_ohm and far.impedance_ohm:
        up, down = near.impedance_ohm > z0, far.impedance_ohm > z0
        if up and down:
            series = 2.0 * z0 * near.size / max(1e-3, 1.0 - near.size)
            why = say(
                "About {resistance} ohm in series: it reflects alike from both ends. A corroded or loose joint.",
                resistance=plain(series, 0),
            )
            return replace(best, kind="bad joint", why=why, series_ohm=series, impedance_ohm=None)
        if up != down:
            why = stepped(near.impedance_ohm) if near.kind == "step" else near.why
            return replace(best, why=why, impedance_ohm=near.impedance_ohm)
    named = near if near.kind != "unclear" else far
    return replace(best, kind=named.kind, why=named.why, impedance_ohm=named.impedance_ohm, length_m=named.length_m)
