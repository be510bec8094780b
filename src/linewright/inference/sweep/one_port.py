"""A cable swept from one end, with the far end open, shorted or loaded, or several of these.

In the line's own impedance an open end sends the wave back whole and a short sends it back turned over:
``Γ = ±e^(-2γl)``. Seen from another impedance a reflection r of the near end is added, ``Γ = (r + E)/(1 + r E)`` with
E the wave there and back. Half the difference of open and short is E, with r (of the line, of the near connector and
of the analyser's directivity) gone to first order; from one of them alone r is found by its ripple.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from linewright.core.arrays import Complexes, Floats
from linewright.core.errors import InputError
from linewright.core.formatting import digits, frequency, plain
from linewright.core.formulas.delay import slope_delay_s, turned_back
from linewright.core.formulas.mismatch import return_loss_db
from linewright.core.formulas.sparameters import renormalise
from linewright.core.messages import mark, say, together
from linewright.core.nouns.line import LineType
from linewright.core.nouns.sweep import FarEnd, Health, Sweep, SweepFinding
from linewright.inference.sweep import health
from linewright.inference.sweep.echoes import LOW_PASS
from linewright.inference.sweep.impedance import (
    ImpedancePoints,
    Skin,
    along,
    course,
    fit_impedance,
    one_port_terms,
    points,
    steady,
)
from linewright.inference.sweep.line_end import end_by_reflection
from linewright.inference.sweep.reading import (
    LEAST_IMPEDANCES,
    MATCH,
    MISREAD,
    SWAPPED,
    LineQuestion,
    SweepTraces,
    alike,
    checked,
    question,
    read,
)
from linewright.inference.sweep.traces import Pilot, Trace, law_design, pilot, reach

SYSTEM_OHM = 50.0
TOTAL_ENDS: tuple[FarEnd, FarEnd] = ("open", "short")
ROUNDS = 4
LEAST_PERIODS, LEAST_PER_STRETCH, MOST_BINS = 3.0, 6, 40
ALONE = 0.011
"""What directivity, match and the near connector may add to a wave seen from one far end alone."""
NEIGHBOURS = 9
WHOLE = 0.75
"""An end that sends back less of the wave tells no open from a short."""
LEAST_RIPPLES, ADAPTERS_S, LEFT = 2.0, 4e-9, 0.3
"""A slower turn is the near end's own, and so is what comes back sooner, from connectors and adapters; the share of
what goes round that a mean over whole ripples leaves."""
LOAD_OHM = 1.5
"""How far a load at the far end may be off its nominal value: common practice, no source."""


def read_one_port(
    sweeps: Mapping[FarEnd, Sweep],
    *,
    length_m: float | None = None,
    velocity_factor: float | None = None,
    line: LineType | None = None,
    at_hz: Sequence[float] = (),
) -> SweepFinding:
    """Return what reflection sweeps of one cable say of it, from any of "open", "short" and "load" at its far end.

    Open and short together give loss and impedance outright (D. M. Pozar, Microwave Engineering, 4th ed., section 2.1:
    ``Z0² = Zo Zs``, ``tanh² γl = Zs/Zo``). One of them alone gives loss and delay, and the impedance if the sweep spans
    a few ripples. A load alone gives the impedance only.

    Parameters
    ----------
    sweeps : mapping of far end to Sweep
        One-ports over the same frequencies, 16 points at least.
    length_m, velocity_factor, line, at_hz
        As for ``read_two_port``.

    Raises
    ------
    InputError
        If there is no sweep, a far end is none of the three, a sweep is no one-port, or their frequencies differ.
    """
    _same(sweeps)
    first = next(iter(sweeps.values()))
    ask = question(first, length_m, velocity_factor, line, at_hz)
    with np.errstate(all="ignore"):
        return read(heard(sweeps, ask), ask)


def heard(sweeps: Mapping[FarEnd, Sweep], ask: LineQuestion) -> SweepTraces:
    """Return the line's trace and its impedance, as far as these far ends tell them."""
    first = next(iter(sweeps.values()))
    f = first.frequency_hz
    wave = {end: _evened(sweep) for end, sweep in sweeps.items()}
    name = together(dict.fromkeys(s.name for s in sweeps.values()), say(" and "))
    found = tuple(dict.fromkeys(h for s in sweeps.values() for h in health.checked(s)))
    base = SweepTraces(name, tuple(sweeps), found, remarks=_load(wave))
    reads: dict[FarEnd, int] = {end: _sign(f, wave[end]) for end in TOTAL_ENDS if end in wave}
    if len(reads) == 2:
        if reads == {"open": -1, "short": 1}:
            return _pair(_doubted(base, SWAPPED), f, wave["short"], wave["open"])
        if reads["open"] * reads["short"] > 0:
            read_as = say("open") if reads["open"] > 0 else say("short")
            return _doubted(base, say(SAME_BOTH, reads=read_as))
        return replace(_pair(base, f, wave["open"], wave["short"]), either_way=0 in reads.values())
    for end, far in zip(TOTAL_ENDS, (1, -1), strict=True):
        if end in wave:
            if reads[end] == -far:
                read_as = say("open") if far < 0 else say("short")
                base = _doubted(base, say(MISREAD, end=say(end), reads=read_as))
            alone = _alone(base, f, wave[end], float(reads[end] or far), ask.line)
            return replace(alone, either_way=reads[end] == 0)
    found_z0 = _loaded(f, wave["load"])
    if len(found_z0.frequency_hz) < LEAST_IMPEDANCES:
        return base
    return replace(base, impedance=fit_impedance(found_z0, Skin(0.0, 0.0), ask.at_hz, LOAD_OHM))


SAME_BOTH = mark(
    "Open and shorted at the far end, it reads the same, as {reads}: the line is broken, or one file was given twice."
)


def _doubted(base: SweepTraces, why: str) -> SweepTraces:
    return replace(base, health=(*base.health, Health("far end", "doubt", 1.0, why)))


def _sign(f: Floats, wave: Complexes) -> int:
    """Return whether a line's end throws the wave back as if open (1) or shorted (-1); 0 if that cannot be told.

    Only a sweep that reaches down near zero shows the sign of an echo.
    """
    if f[0] > LOW_PASS * f[-1]:
        return 0
    end = end_by_reflection(f, wave)
    return 0 if end is None or abs(end.reflection) < WHOLE else 1 if end.reflection > 0 else -1


def _same(sweeps: Mapping[FarEnd, Sweep]) -> None:
    if not sweeps:
        raise InputError(
            "sweeps", say("must hold one sweep at least"), cure=say("Sweep with the far end open, then shorted.")
        )
    for end, sweep in sweeps.items():
        if end not in ("open", "short", "load"):
            raise InputError("far_end", say("must be open, short or load; got {value}", value=repr(end)))
        checked(sweep, 1)
    alike(list(sweeps.values()))


def _evened(sweep: Sweep) -> Complexes:
    """Return the reflection in 50 ohms."""
    reference = complex(sweep.reference_ohm[0])
    if reference == SYSTEM_OHM:
        return sweep.reflection
    return renormalise(sweep.s, reference, SYSTEM_OHM)[:, 0, 0]


def _load(wave: Mapping[FarEnd, Complexes]) -> tuple[str, ...]:
    """Return what a load at the far end shows of the cable."""
    if "load" not in wave:
        return ()
    most = float(np.abs(wave["load"]).max())
    loss = float(return_loss_db(min(most, 1.0)))
    said = say(
        "With a load at the far end at most {share} of the wave comes back (return loss {loss} dB).",
        share=plain(most, 3), loss=plain(loss, 0),
    )  # fmt: skip
    alone = say("A load alone says nothing about the loss: sweep open or shorted as well.")
    return (said, alone) if len(wave) == 1 else (said,)


def _pair(base: SweepTraces, f: Floats, opened: Complexes, shorted: Complexes) -> SweepTraces:
    """Return the trace and the impedance of a line seen both open and shorted."""
    found = points(f, *one_port_terms(opened, shorted, SYSTEM_OHM))
    rough = pilot(Trace(f, (opened - shorted) / 2.0, 2))
    r = _reflection(found, _skin(rough), f)
    mine, other = (opened - r) / (1.0 - r * opened), (shorted - r) / (1.0 - r * shorted)
    wave = (mine - other) / 2.0
    # What is left of r keeps a share of the wave out on its way in, and in on its way out.
    kept_out = np.minimum(np.abs(_left((mine + other) / 2.0, 1.0 - wave**2)) ** 2, 0.9)
    near = float(np.sqrt(np.mean(np.abs(opened + shorted) ** 2))) / 2.0
    trace = Trace(f, wave / (1.0 - kept_out), 2, -10.0 * np.log10(1.0 - kept_out), 2.0 * MATCH * near)
    return replace(base, trace=trace, points=found)


def _left(mean: Complexes, share: Complexes) -> Complexes:
    """Return what is left of r along the sweep, from ``mean = r (1 - E²)``: the slope over a few neighbours."""
    window = np.ones(NEIGHBOURS)
    top = np.convolve(mean * np.conj(share), window, mode="same")
    return np.asarray(top / np.maximum(np.convolve(np.abs(share) ** 2, window, mode="same"), 1e-12))


def _skin(rough: Pilot) -> Skin:
    """Return the skin effect as a first look at a wave there and back knows it."""
    return Skin(float(max(rough.loss[1], 0.0)) / 2.0, rough.delay_s / 2.0)


def _reflection(found: ImpedancePoints, skin: Skin, f: Floats) -> Complexes:
    """Return the reflection of the line's Z0 along the sweep, none where Z0 is not known."""
    if not len(found.frequency_hz):
        return np.zeros(len(f), dtype=np.complex128)
    z0 = along(course(found, skin), skin, f)
    return np.asarray((z0 - SYSTEM_OHM) / (z0 + SYSTEM_OHM))


def _alone(base: SweepTraces, f: Floats, wave: Complexes, far: float, line: LineType | None) -> SweepTraces:
    """Return the trace of a line seen open only (``far`` 1) or shorted (-1), and its Z0 if the ripple shows it."""
    far_heard = reach(f, wave)
    if far_heard < len(f):
        above = frequency(float(f[far_heard]))
        said = say("Above {f} nearer reflections hide the far end: the sweep is used up to there.", f=above)
        base, f, wave = replace(base, remarks=(*base.remarks, said)), f[:far_heard], wave[:far_heard]
    periods = abs(pilot(Trace(f, far * wave, 2)).delay_s) * float(f[-1] - f[0])
    if periods < LEAST_PERIODS:
        usual = SYSTEM_OHM if line is None else line.impedance_ohm
        step = np.full(len(f), (usual - SYSTEM_OHM) / (usual + SYSTEM_OHM), dtype=np.complex128)
        said = say(
            "The sweep is too narrow to give the impedance from one far end alone: {impedance} ohms is assumed. "
            "Sweep it open and shorted.",
            impedance=digits(usual),
        )
        return replace(base, trace=_beyond(f, wave, step, far), remarks=(*base.remarks, said))
    r = np.full(len(f), _mean(wave), dtype=np.complex128)
    for _ in range(ROUNDS):
        found = _rippled(f, wave, r, far, periods)
        r = _reflection(found, _skin(pilot(_beyond(f, wave, r, far))), f)
    return replace(base, trace=_beyond(f, wave, r, far), points=_rippled(f, wave, r, far, periods))


def _beyond(f: Floats, wave: Complexes, r: Complexes, far: float) -> Trace:
    """Return the wave there and back with the near reflection taken out and the far end's sign turned right.

    What the near end reflects beside r is ripple: over few ripples it does not average out.
    """
    inner = far * (wave - r) / (1.0 - r * wave)
    periods = abs(slope_delay_s(f, inner)) * float(f[-1] - f[0])
    return Trace(f, inner, 2, off=ALONE / (1.0 + periods), rippled=True)


def _rippled(f: Floats, wave: Complexes, r: Complexes, far: float, periods: float) -> ImpedancePoints:
    """Return Z0 per stretch of whole ripples, from ``±Γ' ≈ E ± r' (1 - E²)``: r' is what r leaves of the true one."""
    trace = _beyond(f, wave, r, far)
    even = _course(trace)
    ripple, rest = far * (1.0 / even - even), trace.wave / even - 1.0
    count = int(np.clip(min(periods / 1.5, len(f) / LEAST_PER_STRETCH), 2, MOST_BINS))
    rows = [_stretch(f[s], rest[s], ripple[s]) for s in np.array_split(np.arange(len(f)), count)]
    centre, noise = np.array([row[0] for row in rows]), np.array([row[2] for row in rows])
    left = np.array([row[1] for row in rows])
    near = np.interp(centre, f, r.real) + 1j * np.interp(centre, f, r.imag)
    whole = (left + near) / (1.0 + left * near)
    return steady(centre, SYSTEM_OHM * (1.0 + whole) / (1.0 - whole), 2.0 * SYSTEM_OHM * noise)


def _course(trace: Trace) -> Complexes:
    """Return the smooth course of a trace: its pilot's delay, phase and loss."""
    rough = pilot(trace)
    loss = 10.0 ** (-(law_design(trace.frequency_hz) @ rough.loss) / 20.0)
    back = turned_back(trace.frequency_hz, np.ones(len(loss), dtype=np.complex128), -rough.delay_s)
    return np.asarray(loss * np.exp(1j * rough.phase_rad) * back)


def _stretch(f: Floats, rest: Complexes, ripple: Complexes) -> tuple[float, complex, float]:
    """Return the middle of a stretch, the reflection its ripple shows, and how far that may be off."""
    away = (f - f.mean()) / np.ptp(f)
    design = np.stack([ripple, np.ones(len(f)), away], axis=-1)
    b, *_ = np.linalg.lstsq(design, rest, rcond=None)
    left = rest - design @ b
    power = float(np.sum(np.abs(ripple - ripple.mean()) ** 2)) + 1e-30
    spread = float(np.sqrt(np.mean(np.abs(left) ** 2) * len(f) / max(len(f) - 3, 1) / 2.0))
    return float(f.mean()), complex(b[0]), spread / np.sqrt(power)


def _mean(wave: Complexes) -> complex:
    """Return what a wave is on average over its ripple, its ends weighed lightly.

    Γ = (r + ρ E²)/(1 + r ρ E²) is analytic in E: over whole turns of its phase its mean is r, however large.
    """
    weight = np.hanning(len(wave) + 2)[1:-1]
    return complex(np.average(wave, weights=weight))


def _ripples(f: Floats, wave: Complexes) -> float:
    """Return how many ripples a sweep spans: turns of the strongest echo beyond the near end; nothing where none shows.

    A line so long that its ripple is finer than the points counts by what its folded echo shows.
    """
    n = len(f)
    even = np.interp(np.linspace(f[0], f[-1], n), f, wave.real) + 1j * np.interp(
        np.linspace(f[0], f[-1], n), f, wave.imag
    )
    heard = np.abs(np.fft.fft((even - _mean(wave)) * np.hanning(n)))
    turns = np.minimum(np.arange(n), n - np.arange(n)).astype(np.float64)
    heard[turns < max(LEAST_RIPPLES, ADAPTERS_S * float(f[-1] - f[0]))] = 0.0
    return float(turns[int(np.argmax(heard))]) if heard.any() else 0.0


def _loaded(f: Floats, wave: Complexes) -> ImpedancePoints:
    """Return Z0 per stretch of a sweep with a load at the far end: what comes back is r on average over the ripple.

    A stretch holds two ripples or more: over a part of one, the mean is anything.
    """
    count = int(np.clip(min(_ripples(f, wave) / 2.0, len(f) / 8), 2, MOST_BINS))
    stretches = np.array_split(np.arange(len(f)), count)
    r = np.array([_mean(wave[s]) for s in stretches], dtype=np.complex128)
    # Of a mean over two ripples the rest that is left grows with what goes round: a tenth of it, and the noise's share.
    noise = np.array([np.std(wave[s]) / np.sqrt(2.0) for s in stretches]) * LEFT
    z0 = SYSTEM_OHM * (1.0 + r) / (1.0 - r)
    return steady(np.array([f[s].mean() for s in stretches]), z0, 2.0 * SYSTEM_OHM * np.maximum(noise, 1e-5))
