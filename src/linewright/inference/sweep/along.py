"""What lies along a line: one sweep, or both ports of one, to faults, landmarks and a profile."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Literal

import numpy as np

from linewright.core.formatting import digits, metres, percent, plain, quantity, reach
from linewright.core.formulas.delay import slope_delay_s
from linewright.core.formulas.sparameters import renormalise
from linewright.core.frozen import dataclass
from linewright.core.messages import mark, say, together
from linewright.core.nouns.bench_result import Working
from linewright.core.nouns.sweep import Fault, FaultFinding, FaultKind, Landmark, Profile, Sweep
from linewright.core.quantities import DB_PER_NEPER, SPEED_OF_LIGHT_M_PER_S
from linewright.inference.sweep.connectors import MATCHED, SURE_OHM, in_series_beyond, poor_far_end
from linewright.inference.sweep.echoes import APART_CELLS, FULL, Echo, Rate
from linewright.inference.sweep.faults import (
    AS_MUCH,
    CONNECTORS_S,
    LEAST_SIZE,
    MODEL_CELLS,
    blind_s,
    discontinuities,
    edges,
    from_both,
    ghost,
    in_series,
    least_told,
)
from linewright.inference.sweep.health import completed, filler
from linewright.inference.sweep.line_end import (
    LEAST_THROUGH,
    LineEnd,
    LineScale,
    SeenPair,
    end_by_reflection,
    end_by_transmission,
    look,
)
from linewright.inference.sweep.picture import profile
from linewright.inference.sweep.unfold import MOST_CELLS, MOST_FOLDS, hidden, placed, seen_unfolded

FarEnd = Literal["through", "open", "short", "load"]

USUAL_VELOCITY = (0.76, 0.07)
"""Velocity factor of a line nobody named: solid polyethylene 0.66 to foam 0.88. Common practice, no source."""

USUAL_DB_PER_M = (0.008, 0.00006)
"""Loss of a line nobody named, where the sweep does not tell: between RG-58C/U and RG-213/U."""

SLOWER = 0.12
"""By how much a wave may be slower in a wet or foreign section than in the line; chosen here."""

FEWEST_POINTS, FEWEST_CELLS = 32, 8.0
MOST_SURE_END, OR_MISSTATED, IF_IT_FITS = 0.99, 0.9, 0.7
"""No fault is told with more than the first; one that a mistake about the far end explains too, with the second. Where
nothing tells the line's delay, and it may be too long for the steps of its sweep, no more than the third: of 40 such
faults of simulated lines 27 were there."""
WHOLE = 0.75
"""An end that sends back less of the wave, its loss taken back, is not sure to be open or shorted."""
LEAST_END, END_SHARE = 0.008, 0.1
"""A far end that shows only as one more echo throws back so much at least, and this share of the strongest echo."""
NEAR_BREAK_CELLS, NEAR_CELLS = 2.0, 0.3
"""So near the near end an open or shorted line is told by its phase alone, and to so many cells (standard uncertainty).
"""
ALL_BACK = 0.9
"""Of an open or a short so near this much comes back at nearly all frequencies. Less may be a line of another
impedance: one of 600 ohm reflects 0.85 of a wave of 50.
"""
MOST_LOST_DB = 25.0
"""No echo that lost more on its way, there and back at the sweep's middle, is a far end that nothing else tells."""
ALIKE = 0.03
"""A line so near in impedance to what it is swept with throws next to nothing to and fro."""
SLOWEST, FASTEST, FASTEST_OPEN_WIRE, OPEN_WIRE_OHM = 0.66, 0.94, 0.985, 150.0
"""Velocity factor of solid polyethylene; that no coax passes, nor a balanced line, told by its impedance. Common
practice, no source."""
MISMATCHED = 0.1
"""A near end that reflects more belongs to a line of another impedance, where no other figure tells it."""
LOADED = 0.45
"""A far end said to be loaded, whose own reflection in the sweep's reference is below this, holds a load."""
LOAD_ALIKE, LATER = 0.4, 0.3
"""A load at the far end of a line of another impedance reflects what their difference does, to so much, relative; and
so much of it at most comes back later still."""
NARROW = 0.9
"""A sweep that starts above this share of its top is too narrow to look along a line with."""

EVEN = 1e-3
"""Steps of a sweep that differ by less, relative, are all alike."""

RESISTIVE = 0.06
"""A line that loses more nepers a radian at the middle of a sweep is no cable: RG-174/U loses 0.037 at 8 MHz."""

FOLDS = mark(
    "Faults along the line cannot be found: steps of {step} MHz are too wide for so long a line. Take more points."
)


@dataclass(frozen=True, slots=True)
class Known:
    """What is known of a line from elsewhere: value and standard uncertainty, or None.

    ``db_per_m`` holds k1 and k2 in dB/m at 1 MHz, ``delay_s`` the longest one-way delay that the line may well have,
    ``listed`` whether it is one of several.
    ``nepers_per_radian`` is its loss over its phase at the middle of the sweep, ``constant_db`` the loss that is there
    at all frequencies alike and ``constant_per_radian`` what it adds to the former; ``impedance_u`` the relative
    standard uncertainty of the impedance. ``told_s`` is the delay that a stated length told, by which places may be
    unfolded.
    """

    velocity_factor: tuple[float, float] | None = None
    length_m: tuple[float, float] | None = None
    impedance_ohm: float | None = None
    db_per_m: tuple[float, float] | None = None
    delay_s: float | None = None
    nepers_per_radian: float | None = None
    constant_per_radian: float = 0.0
    constant_db: float = 0.0
    impedance_u: float = np.inf
    told_s: float | None = None
    listed: bool = False


def find_faults(sweep: Sweep, far_end: FarEnd, known: Known | None = None) -> FaultFinding | str:
    """Return what lies along a line, or a sentence that says why the sweep cannot tell.

    Parameters
    ----------
    sweep : Sweep
        Port 1 looks into the line. With two ports and ``through`` the other end is looked at from port 2 as well.
    far_end : "through", "open", "short" or "load"
        What the far end is meant to be.
    known : Known, optional
        Length, velocity factor, impedance and loss, as far as they are known.

    Returns
    -------
    FaultFinding or str
        Distances are from the plane of port 1. An end that is total where none should be, or nearer than the length
        says, is a fault; the far end itself is a landmark.
    """
    known = known or Known()
    if _unfolds(sweep, far_end, known):
        return _unfolded(sweep, known)
    trouble = _unfit(sweep) or _folded(sweep, known) or _resistive(known)
    found = trouble or _looked_along(sweep, far_end, known)
    if isinstance(found, str) or not (why := _resistive(known, constant=True)):
        return found
    joint = _witnessed(found.faults, known, float(sweep.reference_ohm[0].real))
    return replace(found, faults=(joint,)) if joint else why


def _looked_along(sweep: Sweep, far_end: FarEnd, known: Known) -> FaultFinding | str:
    """Return what lies along a line that its sweep can hold, or why it cannot be told once the line's end is seen."""
    swept_ohm = float(sweep.reference_ohm[0].real)
    sweep = _in_its_own(sweep, known.impedance_ohm)
    told = known.velocity_factor or USUAL_VELOCITY
    speed = told[0] * SPEED_OF_LIGHT_M_PER_S
    k1, k2 = known.db_per_m or USUAL_DB_PER_M
    rate = Rate(k1 / DB_PER_NEPER * speed, k2 / DB_PER_NEPER * speed)
    wanted = known.length_m[0] / speed if known.length_m else None
    seen = _seen(sweep, far_end, rate, wanted, (told[1] / told[0], known.delay_s), swept_ohm)
    if known.impedance_ohm is None and abs(seen.fit.near.size) > MISMATCHED:
        near = float(np.clip(seen.fit.near.size, -0.9, 0.9))
        known = replace(known, impedance_ohm=swept_ohm * (1.0 + near) / (1.0 - near))
        sweep = _in_its_own(sweep, known.impedance_ohm)
        seen = _seen(sweep, far_end, rate, wanted, (told[1] / told[0], known.delay_s), swept_ohm)
    own_ohm = known.impedance_ohm or swept_ohm
    seen = replace(seen, mismatch=abs(own_ohm - swept_ohm) / (own_ohm + swept_ohm))
    beyond_s = _beyond(sweep, far_end, seen)
    cut_short = not beyond_s and _cut_short(seen, far_end, known, swept_ohm)
    scale, remarks = _scale(seen, known, cut_short=cut_short, beyond_s=beyond_s)
    if seen.end and (trouble := _folded(sweep, Known(delay_s=seen.end.delay_s))):
        return trouble
    z0 = known.impedance_ohm or float(sweep.reference_ohm[0].real)
    if seen.fit.end_delay_s and seen.fit.end_delay_s < FEWEST_CELLS * seen.fit.cell_s:
        if not (cut_short or (seen.total and beyond_s)):
            return _short_line(seen, scale)
        # So little of the line is left that nothing but its end shows.
        broken, ends, more = _ends(seen, scale, far_end, known, cut_short=cut_short, both=bool(beyond_s))
        broken = _if_they_fit(broken, seen, scale, known)
        reference_ohm = float(sweep.reference_ohm[0].real)
        return _finding(seen, scale, reference_ohm, (broken, ends), (*remarks, *more, _short_line(seen, scale)))
    faults, marks = discontinuities(seen, scale, z0, known.constant_db)
    if known.length_m and (slow := _slowed(faults, seen, scale)):
        scale = replace(scale, relative_u=float(np.hypot(scale.relative_u, slow)))
        faults, marks = discontinuities(seen, scale, z0, known.constant_db)
    if far_end == "through" and sweep.ports >= 2 and seen.fit.end_delay_s and not seen.total:
        faults = from_both(faults, seen, sweep, scale, z0, known.constant_db)
        if all(fault.kind != "step" for fault in faults):
            constant_db = 0.0 if faults else known.constant_db
            faults += poor_far_end(sweep, seen, scale, constant_db, (z0, known.impedance_u))
    if far_end != "through" and known.impedance_u < SURE_OHM and not faults and not cut_short:
        faults = in_series_beyond(seen, scale, known.constant_db, z0)
    matched = far_end == "load" and _is_load(seen, z0, swept_ohm)
    broken, ends, more = _ends(
        replace(seen, total=0) if matched else seen, scale, far_end, known, cut_short=cut_short, both=bool(beyond_s)
    )
    there = _if_they_fit(sorted([*faults, *broken], key=lambda x: x.distance_m), seen, scale, known)
    reference_ohm = float(sweep.reference_ohm[0].real)
    found = _finding(seen, scale, reference_ohm, (there, [*ends, *marks]), remarks + more + _loss_remark(seen, known))
    either = far_end == "through" and sweep.ports >= 2 and not seen.total
    return replace(found, least_joints=least_joints(seen, scale, z0, either_way=either))


def least_joints(
    seen: SeenPair, scale: LineScale, impedance_ohm: float, *, either_way: bool
) -> tuple[tuple[float, float], ...]:
    """Return the least resistance in series that would be told, as (m, ohm), from the near end's connectors to the far.

    Of a line swept ``either_way`` the nearer port tells it. What reflects r stands for ``R = 2 Z0 r/(1 - r)`` (D. M.
    Pozar, Microwave Engineering, 4th ed., section 2.3: ``R + Z0`` at the end of a line of ``Z0``).
    """
    end_s, hidden_s = seen.fit.end_delay_s, blind_s(seen.fit)
    if end_s is None or end_s <= 2.0 * hidden_s:
        return ()
    out = []
    for delay in (hidden_s, 0.5 * end_s, end_s - hidden_s):
        size = least_told(min(delay, end_s - delay) if either_way else delay, seen)
        if size is not None:
            out.append((delay * scale.m_per_s, 2.0 * impedance_ohm * size / (1.0 - size)))
    return tuple(out)


def _if_they_fit(faults: list[Fault], seen: SeenPair, scale: LineScale, known: Known) -> list[Fault]:
    """Return faults, doubted where nothing tells the line's delay and it may be too long for the steps of its sweep."""
    if known.delay_s is not None or known.length_m is not None:
        return faults
    return [_if_it_fits(fault, seen.fit.range_s * scale.m_per_s) for fault in faults]


def _if_it_fits(fault: Fault, range_m: float) -> Fault:
    """Return a fault on a line that may be too long for the steps of its sweep."""
    why = say("On a line longer than {range} it may stand farther out: the steps of the sweep would fold its place.",
              range=metres(range_m))  # fmt: skip
    return replace(fault, confidence=min(fault.confidence, IF_IT_FITS), why=together([fault.why, why]))


def _unfolds(sweep: Sweep, far_end: FarEnd, known: Known) -> bool:
    """Return whether a delay that the length told lets places be unfolded: both ports show them, and there are few."""
    both = far_end == "through" and sweep.ports == 2 and not filler(sweep).any()
    if not both or known.told_s is None or known.length_m is None or known.db_per_m is None or _unfit(sweep):
        return False
    steps = np.diff(sweep.frequency_hz)
    step_hz = float(np.median(steps))
    cells = 2.0 * known.told_s * float(sweep.frequency_hz[-1] - sweep.frequency_hz[0])
    few = 2.0 * known.told_s * step_hz < MOST_FOLDS and cells < MOST_CELLS and bool(np.ptp(steps) < EVEN * step_hz)
    return few and bool(_folded(sweep, known)) and not _resistive(known, constant=True)


def _unfolded(sweep: Sweep, known: Known) -> FaultFinding:
    """Return what lies along a line longer than the steps of its sweep can hold, by the delay that its length told."""
    assert known.told_s is not None
    assert known.length_m is not None
    assert known.db_per_m is not None
    swept_ohm = float(sweep.reference_ohm[0].real)
    own_ohm = known.impedance_ohm or swept_ohm
    sweep = _in_its_own(sweep, known.impedance_ohm)
    length_m, u_m = known.length_m
    scale = LineScale(length_m / (known.told_s * SPEED_OF_LIGHT_M_PER_S), u_m / length_m)
    rate = Rate(*(k / DB_PER_NEPER * scale.m_per_s for k in known.db_per_m))
    mismatch = abs(own_ohm - swept_ohm) / (own_ohm + swept_ohm)
    seen, other = (seen_unfolded(sweep, port, known.told_s, rate, mismatch) for port in (0, 1))
    faults, marks = discontinuities(seen, scale, own_ohm, known.constant_db)
    if slow := _slowed(faults, seen, scale):
        scale = replace(scale, relative_u=float(np.hypot(scale.relative_u, slow)))
        faults, marks = discontinuities(seen, scale, own_ohm, known.constant_db)
    both = (placed(fault, seen, other, scale) for fault in faults)
    _, ends, _ = _ends(seen, scale, "through", Known(), cut_short=False, both=False)
    words = say(
        "Steps of {step} MHz are too wide for so long a line: distances fold back, and were unfolded with the length "
        "given, {length}. More points would settle them directly.",
        step=digits(float(np.median(np.diff(sweep.frequency_hz))) / 1e6, 3), length=metres(length_m),
    )  # fmt: skip
    folded = hidden(seen.fit)
    ways = together((metres(float(delay * scale.m_per_s), 3) for delay in folded), say(" or "))
    blind = say("Anything at {places} shows at the same place as an end of the line, and is hidden by it.", places=ways)
    things = (sorted((x for x in both if x), key=lambda x: x.distance_m), [*ends, *marks])
    return _finding(seen, scale, float(sweep.reference_ohm[0].real), things, (words, blind))


def _in_its_own(sweep: Sweep, impedance_ohm: float | None) -> Sweep:
    """Return a sweep seen from the line's own impedance, where that is known and not nearly the sweep's.

    Seen from another one every echo comes again and again, thrown back by both ends.
    """
    if impedance_ohm is None:
        return sweep
    apart = np.abs(sweep.reference_ohm - impedance_ohm) / impedance_ohm
    if float(apart.max()) < ALIKE or sweep.ports > 2:
        return sweep
    whole = completed(sweep) if sweep.ports == 2 else sweep
    if filler(whole).any():
        whole = replace(whole, s=whole.s[:, :1, :1], reference_ohm=whole.reference_ohm[:1])
    turned = renormalise(whole.s, whole.reference_ohm, impedance_ohm)
    return replace(whole, s=turned, reference_ohm=np.full(whole.ports, impedance_ohm + 0j))


def _cut_short(seen: SeenPair, far_end: FarEnd, known: Known, swept_ohm: float) -> bool:
    """Return whether what throws the wave back is not the line's far end as it was said to be."""
    if not (seen.total and seen.end) or abs(seen.end.reflection) < WHOLE:
        return False
    if far_end == "through":
        return True
    if far_end == "load":
        # Of a narrow sweep the end's size and the line's loss cannot be told apart.
        return seen.fit.low_pass and not _is_load(seen, known.impedance_ohm or swept_ohm, swept_ohm)
    return seen.total != (1 if far_end == "open" else -1) or _too_fast(seen, known)


def _too_fast(seen: SeenPair, known: Known) -> bool:
    """Return whether the length given makes a wave faster than any usual line's: the line ends before its length."""
    if known.velocity_factor or not (taped := _by_length(seen, known, 0.0)):
        return False
    open_wire = (known.impedance_ohm or 0.0) > OPEN_WIRE_OHM
    return taped[0] > (FASTEST_OPEN_WIRE if open_wire else FASTEST)


def _beyond(sweep: Sweep, far_end: FarEnd, seen: SeenPair) -> float:
    """Return the delay of what lies beyond a break, as port 2 sees it; nothing where it sees none, or there is none."""
    if far_end != "through" or sweep.ports < 2 or not seen.total:
        return 0.0
    back = end_by_reflection(sweep.frequency_hz, sweep.s[:, 1, 1])
    return back.delay_s if back else 0.0


def _is_load(seen: SeenPair, z0: float, swept_ohm: float) -> bool:
    """Return whether what throws nearly all of the wave back is only a load far from the line's own impedance."""
    if not (seen.total and seen.end):
        return False
    ohm = z0 * (1.0 + seen.end.reflection) / max(1.0 - seen.end.reflection, 1e-3)
    return bool(abs(ohm - swept_ohm) < LOADED * (ohm + swept_ohm)) if ohm > 0 else False


def _witnessed(faults: Sequence[Fault], known: Known, reference_ohm: float) -> Fault | None:
    """Return the one fault that makes the loss which is there at all frequencies alike, if there is one."""
    series = in_series(known.constant_db, known.impedance_ohm or reference_ohm)
    joints = [f for f in faults if f.kind in ("bad joint", "step") and abs(np.log(f.size / series)) < AS_MUCH]
    return joints[0] if len(joints) == 1 else None


def _resistive(known: Known, *, constant: bool = False) -> str:
    """Return why faults cannot be found along a line with a high loss per wavelength; empty if they can.

    Its impedance then changes along the sweep by as much as any fault: ``Zc = √(L/C) √(1 - j R/(ω L))``. A ``constant``
    loss counts as that of thin conductors, unless a joint is seen that makes it.
    """
    more = known.constant_per_radian if constant else 0.0
    if known.nepers_per_radian is None or known.nepers_per_radian + more < RESISTIVE:
        return ""
    return say(
        "Faults along the line cannot be found: it loses so much within a wavelength that its own impedance changes "
        "with frequency as much as a fault would change it. Lines of film or on a wafer do that; a sound cable does "
        "not."
    )


def _unfit(sweep: Sweep) -> str:
    """Return why the reflections of a sweep cannot be looked along; empty if they can."""
    f, s = sweep.frequency_hz, sweep.reflection
    if len(f) < FEWEST_POINTS:
        return say("Faults along the line cannot be found from {points} points; it takes at least {least}.",
                   points=len(f), least=FEWEST_POINTS)  # fmt: skip
    if float(np.ptp(np.abs(s))) < 1e-9 and float(np.ptp(np.angle(s))) < 1e-9:
        return say(
            "Faults along the line cannot be found: the reflection is the same number throughout, not a measurement."
        )
    if f[0] > NARROW * f[-1]:
        return say(
            "Faults along the line cannot be found: the sweep spans only {span} MHz of {top} MHz. Sweep from near "
            "zero.",
            span=digits(float(f[-1] - f[0]) / 1e6, 4), top=digits(float(f[-1]) / 1e6, 4),
        )  # fmt: skip
    return ""


def _folded(sweep: Sweep, known: Known) -> str:
    """Return why places cannot be told where the steps of a sweep are too wide for the line; empty if they can.

    In steps of Δf a reflection later than 1/Δf, there and back, stands in the place of an earlier one. Along a stated
    length a wave may be as slow as in solid polyethylene, where nothing tells its delay.
    """
    step_hz = float(np.median(np.diff(sweep.frequency_hz)))
    factor = known.velocity_factor[0] if known.velocity_factor else SLOWEST
    by_length = known.length_m[0] / (factor * SPEED_OF_LIGHT_M_PER_S) if known.length_m else 0.0
    delay_s = by_length if known.delay_s is None else known.delay_s
    if 2.0 * delay_s * step_hz <= FULL:
        return ""
    step = digits(step_hz / 1e6, 3)
    if not known.listed:
        return say(FOLDS, step=step)
    return say(
        "Faults along the line cannot be found until its delay is known: for the longest likely delay, {delay}, "
        "steps of {step} MHz are too wide. Give the length or the type of the line, or take more points.",
        delay=quantity(digits(1e9 * delay_s, 4), "ns"), step=step,
    )  # fmt: skip


def _short_line(seen: SeenPair, scale: LineScale) -> str:
    if (seen.fit.end_delay_s or 0.0) < 0.5 * seen.fit.cell_s:
        return say("Faults along the line cannot be found: there is next to no length of line here.")
    cell, end = seen.fit.cell_s * scale.m_per_s, (seen.fit.end_delay_s or 0.0) * scale.m_per_s
    wanted = FEWEST_CELLS * 2 * (seen.fit.frequency_hz[-1] - seen.fit.frequency_hz[0]) * cell / max(end, 1e-6) / 2e6
    return say(
        "Faults along the line cannot be found: the sweep resolves {cell}, and the line is {length} long. Sweep over "
        "{wanted} MHz.",
        cell=metres(float(cell), 3), length=metres(float(end), 3), wanted=plain(float(wanted), 0),
    )  # fmt: skip


def _seen(
    sweep: Sweep,
    far_end: FarEnd,
    rate: Rate,
    wanted_s: float | None,
    known: tuple[float, float | None],
    swept_ohm: float,
) -> SeenPair:
    """Look from port 1. A far end that only shows as one more echo is looked for where the length puts it.

    ``known`` is how loosely that is, relative, and the delay that the phase of the sweep tells, where it tells one.
    Else the last echo is it, but none from so far that a usual line would have lost it on the way.
    """
    loose, phased_s = known
    f, s = sweep.frequency_hz, sweep.reflection
    through = None
    if far_end == "through" and sweep.ports >= 2:
        through = end_by_transmission(f, sweep.transmission, s)
    seen = look(f, s, through, rate, None, most_s=1.3 * wanted_s if wanted_s else None)
    if seen.end:
        return seen
    if near := _near_break(sweep, far_end, seen):
        return near
    if far_end == "through" and sweep.ports >= 2 and (short_s := _unresolved(sweep)):
        return look(f, s, None, rate, short_s)
    if far_end in ("open", "short") and phased_s and phased_s < FEWEST_CELLS * seen.fit.cell_s:
        return look(f, s, None, rate, max(phased_s, 0.1 * seen.fit.cell_s))
    most = max((e.drop for e in seen.fit.echoes), default=0.0)
    least = max(LEAST_END, END_SHARE * most)
    echoes = [e for e in seen.fit.echoes if e.strength > seen.fit.threshold and e.drop > least]
    if not wanted_s:
        middle = -rate.exponent(np.array([0.5 * (f[0] + f[-1])])).real[0] * DB_PER_NEPER
        echoes = [e for e in echoes if e.delay_s * middle < MOST_LOST_DB]
    if wanted_s:
        reach = 3.0 * loose * wanted_s + 4.0 * seen.fit.cell_s
        echoes = [e for e in echoes if abs(e.delay_s - wanted_s) < reach]
        delay = max(echoes, key=lambda e: _as_end(e, wanted_s, reach)).delay_s if echoes else wanted_s
    elif far_end == "load" and (loaded := _loaded(echoes, seen, float(sweep.reference_ohm[0].real), swept_ohm)):
        delay = loaded.delay_s
    elif not echoes or _closes(last := _last(echoes, seen), echoes, seen):
        return seen
    else:
        delay = last.delay_s
    return look(f, s, None, rate, delay)


def _near_break(sweep: Sweep, far_end: FarEnd, seen: SeenPair) -> SeenPair | None:
    """Return a line open or shorted so near the near end that its echo is not told from it: all comes back at once."""
    s, fit = sweep.reflection, seen.fit
    if far_end not in ("through", "load") or not fit.low_pass or float(np.quantile(np.abs(s), 0.1)) < ALL_BACK:
        return None
    delay = slope_delay_s(sweep.frequency_hz, s) / 2.0
    if delay > NEAR_BREAK_CELLS * fit.cell_s:
        return None
    sign = 1 if float(np.mean(s[: max(4, len(s) // 20)].real)) > 0 else -1
    delay = max(delay, 0.1 * fit.cell_s)
    own = look(sweep.frequency_hz, s, None, fit.rate, delay)
    return replace(own, end=LineEnd(delay, fit.rate, float(sign)), total=sign)


def _unresolved(sweep: Sweep) -> float | None:
    """Return the delay of a line that lets the wave through and is too short to be told from its ends, or None."""
    wave = sweep.transmission
    if float(np.median(np.abs(wave))) < LEAST_THROUGH:
        return None
    delay = slope_delay_s(sweep.frequency_hz, wave)
    cell = 1.0 / (2.0 * float(sweep.frequency_hz[-1] - sweep.frequency_hz[0]))
    return max(delay, 0.1 * cell) if delay < FEWEST_CELLS * cell else None


def _loaded(echoes: list[Echo], seen: SeenPair, own_ohm: float, swept_ohm: float) -> Echo | None:
    """Return the echo that a load of what the line is swept in makes at its far end; None where the line is like it.

    What comes later must be far smaller: waves that go to and fro. Adapters before the load make several echoes of one
    end, next to each other and of any shape.
    """
    wanted = (swept_ohm - own_ohm) / (swept_ohm + own_ohm) if own_ohm != swept_ohm else -seen.fit.near.size
    if abs(wanted) < MATCHED or not echoes:
        return None
    most = max(echoes, key=lambda e: e.drop)
    reach_s = CONNECTORS_S + APART_CELLS * seen.fit.cell_s
    about = [e for e in echoes if abs(e.delay_s - most.delay_s) < reach_s]
    later = max((e.drop for e in echoes if e.delay_s > most.delay_s and e not in about), default=0.0)
    like = most.shape == "step" and abs(most.size - wanted) < LOAD_ALIKE * abs(wanted)
    like = like or (len(about) > 1 and most.drop > (1.0 - LOAD_ALIKE) * abs(wanted))
    return most if like and later < LATER * most.drop else None


def _closes(last: Echo, echoes: list[Echo], seen: SeenPair) -> bool:
    """Return whether the last echo is the far edge of a section, back to the impedance before it, and no far end."""
    before = [e for e in echoes if e.delay_s < last.delay_s]
    return bool(before) and edges(before[-1], last, seen.fit)


def _last(echoes: list[Echo], seen: SeenPair) -> Echo:
    """Return the last echo that is not thrown to and fro between nearer ones; where all are, the strongest."""
    for i in range(len(echoes) - 1, -1, -1):
        if not ghost(echoes[i], echoes[:i], seen.fit):
            return echoes[i]
    return max(echoes, key=lambda e: e.drop)


def _as_end(echo: Echo, wanted_s: float, reach_s: float) -> float:
    """Return how well an echo does for the far end: strong, and where the length puts it."""
    return float(np.log(echo.strength) - 0.5 * (3.0 * (echo.delay_s - wanted_s) / reach_s) ** 2)


def _scale(
    seen: SeenPair, known: Known, *, cut_short: bool = False, beyond_s: float = 0.0
) -> tuple[LineScale, tuple[str, ...]]:
    """Return how delays become metres, and what to say of it: by the velocity factor, the length, or both.

    Where the line is ``cut_short`` the length is not that of what is seen; ``beyond_s`` is the delay of what lies
    beyond a break, seen from the other port.
    """
    told, taped = known.velocity_factor, None if cut_short else _by_length(seen, known, beyond_s)
    if told and taped and abs(told[0] - taped[0]) < 3.0 * np.hypot(told[1], taped[1]):
        weights = np.array([told[1], taped[1]]) ** -2.0
        value = float(np.average([told[0], taped[0]], weights=weights))
        return LineScale(value, float(weights.sum() ** -0.5) / value), ()
    if told:
        return LineScale(told[0], told[1] / told[0]), ()
    if taped and 0.4 < taped[0] < 0.985:
        return LineScale(taped[0], taped[1] / taped[0]), (
            say("Distances by the length given: velocity factor {factor}.", factor=plain(taped[0], 3)),
        )
    value, u = USUAL_VELOCITY
    words = say(
        "The velocity factor is not known: distances are for {factor} and may be off by a sixth; they scale with it.",
        factor=digits(value),
    )
    return LineScale(value, u / value, assumed=True), (words,)


def _slowed(faults: list[Fault], seen: SeenPair, scale: LineScale) -> float:
    """Return how unsure a section of other line makes a velocity factor that the whole length gave."""
    long = sum(fault.length_m or 0.0 for fault in faults)
    end = (seen.fit.end_delay_s or 0.0) * scale.m_per_s
    return SLOWER * long / end if end else 0.0


def _by_length(seen: SeenPair, known: Known, beyond_s: float) -> tuple[float, float] | None:
    """Return the velocity factor that the length and the far end's delay make, with its standard uncertainty."""
    if not (known.length_m and seen.end):
        return None
    value = known.length_m[0] / ((seen.end.delay_s + beyond_s) * SPEED_OF_LIGHT_M_PER_S)
    return value, value * known.length_m[1] / known.length_m[0]


def _ends(
    seen: SeenPair, scale: LineScale, far_end: FarEnd, known: Known, *, cut_short: bool, both: bool
) -> tuple[list[Fault], list[Landmark], tuple[str, ...]]:
    """Return the faults that are ends, the landmarks at both ends, and remarks."""
    fit = seen.fit
    near = say("The near end: its connector, and any mismatch of the line.")
    marks = [Landmark(0.0, "connector", fit.near.drop, near)]
    if fit.end_delay_s is None:
        return [], marks, (say("The far end does not show: nothing comes back from it."),)
    at = fit.end_delay_s * scale.m_per_s
    reads: FaultKind = "open" if seen.total > 0 else "short"
    early = not cut_short and not both and _too_early(at, scale, known, fit.cell_s * scale.m_per_s)
    size = min(1.0, abs(seen.end.reflection)) if seen.end and seen.total else fit.end.drop if fit.end else 0.0
    misread = far_end in ("open", "short") and reads != far_end and bool(seen.total)
    if seen.total and (early or cut_short or (both and far_end == "through")):
        why = say("The line is shorted here: the whole wave comes back.")
        if reads == "open":
            why = say("The line is open here: the whole wave comes back.")
        if misread:
            why = together([why, say("Or its far end is not {end}.", end=say(far_end))])
        elif far_end == "load":
            why = together([why, say("Or its far end holds no load.")])
        if (early or cut_short) and known.length_m:
            why = together([why, say("It should be {length} long.", length=metres(known.length_m[0]))])
        # Next to the near end its connectors are in the echo.
        cells = MODEL_CELLS if fit.end_delay_s > NEAR_BREAK_CELLS * fit.cell_s else NEAR_CELLS
        u = np.hypot(cells * fit.cell_s * scale.m_per_s, scale.relative_u * at)
        sure = OR_MISSTATED if misread or far_end == "load" else MOST_SURE_END
        return (
            [Fault(at, float(max(at - 1.96 * u, 0.0)), float(at + 1.96 * u), reads, size, sure, why)],
            marks,
            (_contradiction(seen, far_end, reads) if misread else ()),
        )
    words = {
        "through": say("The far end: where port 2 is."), "load": say("The far end: the termination."),
        "open": say("The far end: open."), "short": say("The far end: shorted."),
    }  # fmt: skip
    said = far_end if not seen.total or far_end == reads else reads
    marks.append(Landmark(at, "far end", size, words[said]))
    return [], marks, _contradiction(seen, far_end, reads)


def _contradiction(seen: SeenPair, far_end: FarEnd, reads: str) -> tuple[str, ...]:
    if far_end in ("open", "short") and not seen.total:
        return (say(
            "The far end was stated as {end}, but nothing reflects the whole wave: the line is long, or ends in a "
            "load.",
                    end=say(far_end)),)  # fmt: skip
    if far_end in ("open", "short") and reads != far_end:
        return (say("The far end was stated as {end}, but it reads as {reads}. Were files swapped?",
                    end=say(far_end), reads=say(reads)),)  # fmt: skip
    return ()


def _too_early(at: float, scale: LineScale, known: Known, cell_m: float) -> bool:
    """Return whether a line ends before its stated length by more than doubt allows."""
    if not known.length_m:
        return False
    length, u = known.length_m
    doubt = 4.0 * float(np.hypot(u, scale.relative_u * at)) + cell_m
    return length - at > doubt


def _loss_remark(seen: SeenPair, known: Known) -> tuple[str, ...]:
    if seen.end or known.db_per_m:
        return ()
    return (say("The loss of the line is not known: a usual one is assumed, so sizes farther out are rough."),)


def _finding(
    seen: SeenPair,
    scale: LineScale,
    reference_ohm: float,
    found: tuple[list[Fault], list[Landmark]],
    remarks: tuple[str, ...],
) -> FaultFinding:
    fit = seen.fit
    end = fit.end_delay_s
    picture = profile(fit, scale.m_per_s, reference_ohm)
    return FaultFinding(
        faults=tuple(found[0]),
        landmarks=tuple(sorted(found[1], key=lambda m: m.distance_m)),
        profile=picture,
        assumed=scale.assumed,
        end_m=end * scale.m_per_s if end else None,
        end_delay_s=end,
        velocity_factor=scale.velocity_factor,
        velocity_factor_u=scale.velocity_factor * scale.relative_u,
        cell_m=fit.cell_s * scale.m_per_s,
        blind_m=blind_s(fit) * scale.m_per_s,
        least_size=LEAST_SIZE,
        remarks=remarks,
        workings=(*_workings(seen, scale, picture), *_faults_worked(found[0], seen, scale)),
    )


def _workings(seen: SeenPair, scale: LineScale, picture: Profile) -> tuple[Working, ...]:
    fit = seen.fit
    low, high = (digits(float(f) / 1e6) for f in (fit.frequency_hz[0], fit.frequency_hz[-1]))
    span = say("{low} to {high} MHz, {points} points", low=low, high=high, points=len(fit.frequency_hz))
    cell = Working(
        say("resolution cell {cell}", cell=metres(float(fit.cell_s * scale.m_per_s), 3)),
        say("velocity factor · c / (2 · bandwidth)"),
        ((say("sweep looked at"), span), (say("velocity factor"), digits(scale.velocity_factor, 4)),
         (say("folds back beyond"), metres(float(fit.range_s * scale.m_per_s)))),
        say("sampling of a band-limited signal; common practice in time-domain reflectometry"),
        ("resolution",),
    )  # fmt: skip
    search = Working(
        say("faults: {echoes} echoes above {threshold} times the noise",
            echoes=len(fit.echoes), threshold=plain(float(fit.threshold), 1)),
        say("the strongest delayed wave is fitted, all are fitted again, until none stands out of what is left"),
        ((say("noise taken from"), say("the median of what is left along the line")),
         (say("least size"), digits(LEAST_SIZE))),
        say("matched filter and successive least squares; threshold √(2 ln(4 cells / 0.002)) from Rayleigh's tail"),
        ("echoes",),
    )  # fmt: skip
    told = picture.impedance_ohm is not None
    shown = Working(
        say("impedance along the line") if told else say("what comes back along the line"),
        say("impulse response of the windowed sweep, the line's loss taken back, peeled layer by layer")
        if told
        else say("size of the windowed sweep turned back to each distance, the line's loss taken back"),
        ((say("window"), picture.window), (say("why"), picture.why)),
        "A. M. Bruckstein and T. Kailath, SIAM Review 29 (1987), the Schur recursion (from memory)",
        ("profile",),
    )
    return (cell, search, shown)


def _faults_worked(faults: list[Fault], seen: SeenPair, scale: LineScale) -> list[Working]:
    return [_fault(number, fault, seen, scale) for number, fault in enumerate(faults, start=1)]


def _fault(number: int, fault: Fault, seen: SeenPair, scale: LineScale) -> Working:
    """Return how the place, the size and the certainty of a fault, counted from 1 at the near end, were worked out."""
    factor = say("{factor}, within {share} (one sigma)",
                 factor=digits(scale.velocity_factor, 4), share=percent(scale.relative_u))  # fmt: skip
    inputs = [
        (say("delay, one way"), quantity(plain(1e9 * fault.distance_m / scale.m_per_s, 3), "ns")),
        (say("velocity factor"), factor),
        (say("95 %"), reach(fault.low_m, fault.high_m)),
        (say("resolution cell"), metres(float(seen.fit.cell_s * scale.m_per_s), 3)),
        (say("least size"), digits(LEAST_SIZE)),
        (say("sure"), say("{chance}; 0.99 is the most that is said", chance=plain(fault.confidence, 2))),
    ]
    if fault.length_m is not None:
        inputs.append((say("length"), metres(fault.length_m, 3)))
    if fault.impedance_ohm is not None:
        inputs.append((say("impedance there"), quantity(plain(fault.impedance_ohm, 1), "ohm")))
    if fault.series_ohm is not None:
        inputs.append((say("resistance in series"), quantity(plain(fault.series_ohm, 1), "ohm")))
    return Working(
        say("{fault}: {kind} at {place}, {size} comes back",
            fault=say("fault {number}", number=number), kind=say(fault.kind), place=metres(fault.distance_m),
            size=percent(fault.size)),
        say(
            "velocity factor · c · delay; size: the largest reflection, the line's loss before it taken back;"
            " sure: 1 - 0.1 (wanted/size)^1.5 (15/strength)^0.7, size times the root of the share its shape explains"
        ),
        tuple(inputs),
        say("matched filter and successive least squares; what sound simulated lines show: inference/sweep/faults.py"),
        ("fault", number),
    )  # fmt: skip
