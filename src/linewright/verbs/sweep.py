"""The verb of a sweep: files of an analyser to all they say of a line."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np

from linewright.catalogue.cautions import cautions_of
from linewright.catalogue.lines import line_type
from linewright.core.errors import InputError
from linewright.core.messages import mark, say, say_many, together
from linewright.core.nouns.line import LineType
from linewright.core.nouns.sweep import (
    FarEnd,
    FaultFinding,
    Interval,
    Sweep,
    SweepFinding,
    SweepQuestion,
    SweepReport,
)
from linewright.core.quantities import DB_PER_NEPER, SPEED_OF_LIGHT_M_PER_S, TWO_PI
from linewright.inference.priors import DEFAULT
from linewright.inference.sweep.along import FASTEST_OPEN_WIRE, SLOWEST, Known, find_faults
from linewright.inference.sweep.health import GAIN_REFUSE
from linewright.inference.sweep.law import bent_db
from linewright.inference.sweep.one_port import read_one_port
from linewright.inference.sweep.resemblance import Measured, jacket_words, resembles
from linewright.inference.sweep.traces import coarser
from linewright.inference.sweep.two_port import read_two_port
from linewright.present.compose.sweep import likeness, verdict

ENDS: tuple[FarEnd, ...] = ("through", "open", "short", "load")
NORMAL_95 = 1.96
TAPED, TAPED_M, TAPED_SHARE = 0.005, 0.12, 0.1
"""A length by tape measure: half a percent, and twelve centimetres for connectors and adapters that were counted or
not, but no more than a tenth of it; standard uncertainty. Common practice, no source."""

MAY_WELL = 0.05
"""A delay more probable than this may fold what lies along the line."""

NOTHING_HOLDS = mark("Delay, faults and type of the line are not given, because the sweep itself is not sound.")
LOWEST_HZ, PAD_DB = 1e6, 3.0
"""Below the first every line loses much within a wavelength; a constant loss above the second is a pad's."""
STATED, TYPICAL = 0.005, 0.013
"""A velocity factor that was stated, and one taken from the type. Common practice, no source."""


def read_sweep(
    files: Sequence[Sweep | Path | str], far_end: Sequence[str] = (), asked: SweepQuestion | None = None
) -> SweepReport:
    """Read one or several sweeps of one line.

    Parameters
    ----------
    files : sequence of Sweep or Path or str
        Touchstone files, or sweeps already read, ``s`` of shape (f, ports, ports): one two-port through the line, or
        one-ports of it with the far end open, shorted or loaded.
    far_end : sequence of str
        "through", "open", "short" or "load" for each file, in the same order; a lone two-port is through unless said
        otherwise. Of a two-port with another far end only the first port counts.
    asked : SweepQuestion, optional
        Length, velocity factor, type, frequencies wanted.

    Returns
    -------
    SweepReport
        Law (dB), impedance (ohm), delay (s), length (m), faults along the line, the types it resembles; 95 % intervals.

    Raises
    ------
    InputError
        If a file cannot be read, its far end is not told, or the sweeps do not go together.

    References
    ----------
    ``docs/how-sweeps-work.md``; open and short together: D. M. Pozar, Microwave Engineering, 4th ed., equation 2.91.

    >>> from linewright.verbs.examples import demo_file
    >>> report = read_sweep([demo_file("drum.s2p")], (), SweepQuestion(length_m=30.0))
    >>> 0.6 < report.finding.velocity_factor.value < 0.9
    True
    """
    asked = asked or SweepQuestion()
    sweeps = _sweeps(files, far_end, asked)
    line = line_type(asked.line, asked.own) if isinstance(asked.line, str) else asked.line
    finding = _finding(sweeps, asked, line)
    refused = any(h.severity == "refuse" for h in finding.health)
    finding = _withheld(finding) if refused else finding
    found = NOTHING_HOLDS if refused else find_faults(*_clearest(sweeps, finding), _known(finding, asked, line))
    along, why = (None, say(found)) if isinstance(found, str) else (found, "")
    seen = _measured(finding, asked)
    ended = _ends_elsewhere(finding, along)
    likely = () if refused or ended or seen.law is None else resembles(seen, asked.own)
    jacket = "" if line is None or refused else jacket_words(likely, line.designator, ended=ended)
    if jacket and along and along.faults:
        jacket = together([jacket, say("The faults along it weigh on this.")])
    by_type = line is not None and asked.length_m is None and asked.velocity_factor is None
    flaws = tuple(remark for sweep in sweeps.values() for remark in sweep.remarks)
    return SweepReport(
        finding, along, why, likely, jacket, verdict(finding, along, likely, jacket, by_type=by_type),
        cautions_of("sweep"),
        tuple(dict.fromkeys([*finding.remarks, *(along.remarks if along else ()), *flaws])),
        (*finding.workings, *(along.workings if along else ()), *likeness(likely)),
    )  # fmt: skip


def _withheld(finding: SweepFinding) -> SweepFinding:
    """Return what is left of a sweep that nobody should go by: its losses, for what they are worth, and its flaws."""
    return replace(
        finding, impedance_ohm=None, impedances=(), delay_s=None, candidates=(), length_m=None, velocity_factor=None
    )


def _sweeps(files: Sequence[Sweep | Path | str], far_end: Sequence[str], asked: SweepQuestion) -> dict[FarEnd, Sweep]:
    """Return the sweeps by their far end, each cut to the ports it needs."""
    if not files:
        raise InputError("files", say("must hold one sweep at least"))
    if far_end and len(far_end) != len(files):
        rule = say(
            "must be given once for each file; got {value} for {count} files", value=len(far_end), count=len(files)
        )
        raise InputError("far end", rule, cure=say("Write --far-end as often as there are files, in the same order."))
    out: dict[FarEnd, Sweep] = {}
    for i, file in enumerate(files):
        sweep = file if isinstance(file, Sweep) else _read(file, asked.option_line)
        end = _end(far_end[i] if far_end else None, sweep)
        if end in out:
            raise InputError("far end", say("must differ from file to file; {end} was given twice", end=end))
        out[end] = coarser(_cut(sweep, end)) if len(files) == 1 else _cut(sweep, end)
    if "through" in out and len(out) > 1:
        rule = say("goes with no other file: a sweep through the line answers alone")
        raise InputError(
            "far end through", rule, cure=say("Read it by itself, or give the others as open, short, load.")
        )
    return out


def _read(file: Path | str, option_line: str | None) -> Sweep:
    from linewright.files.touchstone import read_touchstone

    return read_touchstone(Path(file), option_line=option_line)


def _end(given: str | None, sweep: Sweep) -> FarEnd:
    if given is None:
        if sweep.ports == 2:
            return "through"
        rule = say_many(
            "must be told for {name}, which has {count} port",
            "must be told for {name}, which has {count} ports",
            sweep.ports,
            name=sweep.name,
        )
        raise InputError("far end", rule, cure=say("Add --far-end open, short or load."))
    for end in ENDS:
        if end == given:
            return end
    if given == "antenna":
        cure = say(
            "An antenna behind its line: linewright through --curve {name} --line TYPE --length LENGTH.",
            name=sweep.name,
        )
        raise InputError(
            "far end", say("must be an end of a line, through, open, short or load; got 'antenna'"), cure=cure
        )
    raise InputError("far end", say("must be through, open, short or load; got {value}", value=repr(given)))


def _cut(sweep: Sweep, end: FarEnd) -> Sweep:
    """Return the ports a far end needs; the reader of each kind refuses what has too few."""
    if end == "through" or sweep.ports == 1:
        return sweep
    return replace(sweep, s=sweep.s[:, :1, :1], reference_ohm=sweep.reference_ohm[:1])


def _finding(sweeps: dict[FarEnd, Sweep], asked: SweepQuestion, line: LineType | None) -> SweepFinding:
    if "through" in sweeps:
        return read_two_port(
            sweeps["through"], length_m=asked.length_m, velocity_factor=asked.velocity_factor, line=line,
            at_hz=asked.at_hz,
        )  # fmt: skip
    return read_one_port(
        sweeps, length_m=asked.length_m, velocity_factor=asked.velocity_factor, line=line, at_hz=asked.at_hz
    )


def _clearest(sweeps: dict[FarEnd, Sweep], finding: SweepFinding) -> tuple[Sweep, FarEnd]:
    """Return the sweep that shows most along the line: through has both ends, a total end tells the loss.

    Of an open and a shorted one that were swapped, each is read as what it is.
    """
    end = next(end for end in ENDS if end in sweeps)
    if finding.losses and any(h.check == "far end" for h in finding.health) and {"open", "short"} <= sweeps.keys():
        return sweeps["short"], "open"
    if any(h.check == "far end" for h in finding.health) and {"open", "short"} <= sweeps.keys():
        return _contradicted(sweeps)
    return sweeps[end], end


def _contradicted(sweeps: dict[FarEnd, Sweep]) -> tuple[Sweep, FarEnd]:
    """Return, of an open and a shorted sweep that read alike, the one that is not what was said."""
    for end in ("open", "short"):
        found = find_faults(sweeps[end], end, Known())
        if not isinstance(found, str) and any(f.kind in ("open", "short") for f in found.faults):
            return sweeps[end], end
    return sweeps["open"], "open"


def _ends_elsewhere(finding: SweepFinding, along: FaultFinding | None) -> bool:
    """Return whether a line is broken, or its far end is not as stated: its delay and loss are not those of its length.

    Of open and shorted files that were swapped they are.
    """
    if along is not None and any(f.kind in ("open", "short") for f in along.faults):
        return True
    swapped = {"open", "short"} <= set(finding.far_end) and bool(finding.losses)
    return not swapped and any(h.check == "far end" for h in finding.health)


def _known(finding: SweepFinding, asked: SweepQuestion, line: LineType | None) -> Known:
    """Return what helps to place faults: what was stated, and what the sweep itself said."""
    factor = None
    if asked.velocity_factor is not None:
        factor = (asked.velocity_factor, STATED * asked.velocity_factor)
    elif line is not None:
        factor = (line.velocity_factor, TYPICAL)
    length = None if asked.length_m is None else (asked.length_m, _taped_u_m(asked.length_m))
    law = None
    if finding.law and finding.length_m and finding.length_m.value > 0:
        law = (max(finding.law.k1_db.value, 0.0) / finding.length_m.value,
               max(finding.law.k2_db.value, 0.0) / finding.length_m.value)  # fmt: skip
    elif line is not None:
        law = (line.law.k1_db_per_m, line.law.k2_db_per_m)
    ohm = finding.impedance_ohm
    sure = ohm is not None and ohm.value > 0 and ohm.high - ohm.low < 0.5 * ohm.value
    own = ohm.value if ohm and sure else None
    constant = finding.law.k0_db.value if finding.law is not None and finding.law.constant else 0.0
    constant = constant if 0.0 < constant < PAD_DB else 0.0
    u = _figure(ohm)[1] / ohm.value if ohm and ohm.value > 0 else np.inf
    doubted = any(h.check in ("far end", "length") for h in finding.health)
    told_s = finding.delay_s.value if finding.delay_s and asked.length_m is not None and not doubted else None
    per_radian = _nepers_per_radian(finding)
    return Known(
        factor, length, own, law, _longest_s(finding), *per_radian, constant, u, told_s, finding.delay_s is None
    )


def _taped_u_m(length_m: float) -> float:
    """Return how far a length by tape measure may be off."""
    return float(np.hypot(TAPED * length_m, min(TAPED_M, TAPED_SHARE * length_m)))


def _nepers_per_radian(finding: SweepFinding) -> tuple[float | None, float]:
    """Return the line's loss over how far it turns a wave, at the middle of the sweep, and what a constant adds to it.

    None where loss or delay is unknown. A constant loss so large that it is a pad's adds nothing.
    """
    if finding.law is None or finding.delay_s is None or finding.delay_s.value <= 0.0:
        return None, 0.0
    law, (low, high) = finding.law, finding.law.valid_hz
    middle = float(np.sqrt(max(low, LOWEST_HZ) * high))
    k0 = law.k0_db.value if law.constant and law.k0_db.value < PAD_DB else 0.0
    loss = law.k1_db.value * float(np.sqrt(middle / 1e6)) + law.k2_db.value * middle / 1e6
    turn = DB_PER_NEPER * TWO_PI * middle * finding.delay_s.value
    return loss / turn, k0 / turn


def _longest_s(finding: SweepFinding) -> float | None:
    """Return the delay, or the longest of those that may well be it."""
    if finding.delay_s is not None:
        return finding.delay_s.value
    return max((c.delay_s for c in finding.candidates if c.probability > MAY_WELL), default=None)


def _measured(finding: SweepFinding, asked: SweepQuestion) -> Measured:
    """Return what may be compared with the catalogue. A length that a velocity factor made is no measurement."""
    seen = Measured()
    if ohm := finding.impedance_ohm:
        value, u = _figure(ohm)
        seen = Measured(impedance_ohm=(value, float(np.hypot(u, 2.0 * _excess(finding) * value))))
    delay = finding.delay_s
    if delay is None or delay.value <= 0:
        return seen
    # A length that gives a velocity factor no line has is not that of what was swept.
    agreed = all(SLOWEST < h.size < FASTEST_OPEN_WIRE for h in finding.health if h.check == "length")
    if asked.length_m is not None and finding.velocity_factor is not None and agreed:
        length, u = asked.length_m, _taped_u_m(asked.length_m)
        factor = length / (delay.value * SPEED_OF_LIGHT_M_PER_S)
        rough = float(np.hypot(u / length, _figure(delay)[1] / delay.value))
        seen = replace(seen, velocity_factor=(factor, factor * rough))
    else:
        factor = asked.velocity_factor or 0.66
        length = factor * SPEED_OF_LIGHT_M_PER_S * delay.value
        stated = None if asked.velocity_factor is None else (factor, STATED * factor)
        seen = replace(seen, velocity_factor=stated, reckoned_at=None if stated else factor)
    return _with_law(seen, finding, length)


def _excess(finding: SweepFinding) -> float:
    """Return by how much more comes out than goes in, in amplitude: a calibration may be off by as much everywhere."""
    sizes = (h.size for h in finding.health if h.check in ("passivity", "calibration"))
    return min(max(sizes, default=0.0), GAIN_REFUSE)


def _with_law(seen: Measured, finding: SweepFinding, length_m: float) -> Measured:
    """Return the measurement with the law a metre, less what two connectors usually take, known to its own size."""
    law = finding.law
    if law is None:
        return seen
    draws = law.draws[:, 1:] / length_m
    k1, k2 = (float(x) for x in draws.mean(axis=0))
    top = law.valid_hz[1] / 1e6
    if k1 * np.sqrt(top) + k2 * top <= 0.0:
        return seen
    spread = np.cov(draws.T) + np.cov(bent_db(law, DB_PER_NEPER * _excess(finding)).T) / length_m**2
    ends = 2.0 * DEFAULT.connector_db_per_sqrt_mhz / length_m
    k1 -= min(ends, 0.5 * max(k1, 0.0))
    spread[0, 0] += ends**2
    return replace(
        seen, k1_db_per_m=(k1, float(np.sqrt(spread[0, 0]))), k2_db_per_m=(k2, float(np.sqrt(spread[1, 1]))),
        law_covariance=spread.tolist(), valid_hz=law.valid_hz,
    )  # fmt: skip


def _figure(interval: Interval) -> tuple[float, float]:
    return interval.value, max(interval.high - interval.low, 1e-12) / (2.0 * NORMAL_95)
