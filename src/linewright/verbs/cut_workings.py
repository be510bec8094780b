"""How electrical lengths, differences and cuts were worked out."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from math import degrees

from linewright.core.formatting import digits, fine, frequency, metres, plain, quantity
from linewright.core.messages import say
from linewright.core.nouns.bench_result import Working
from linewright.core.nouns.cut import CutTo, ElectricalLine, LengthDifference
from linewright.core.quantities import SPEED_OF_LIGHT_M_PER_S
from linewright.inference.lengths import Slowness

SOURCE = "D. M. Pozar, Microwave Engineering, 4th ed., section 2.1: β l = 2π f l/(v c)."
ENGINE = "inference/sweep/phase.py, inference/lengths.py"


def workings(
    lines: Sequence[ElectricalLine], slow: Mapping[str, Slowness], pairs: Sequence[LengthDifference],
    cut: CutTo | None, at: int,
) -> tuple[Working, ...]:  # fmt: skip
    """Return how each figure of the answer was worked out."""
    out = [w for x in lines for w in _line(x, slow[x.family])]
    out += [_pair(d, _family(lines, slow, d.longer)) for d in pairs]
    if cut is not None:
        out += _cut(cut, _family(lines, slow, cut.piece))
    return tuple(out)


def _family(lines: Sequence[ElectricalLine], slow: Mapping[str, Slowness], name: str) -> Slowness:
    return slow[next(x for x in lines if x.name == name).family]


def _per_m(s: Slowness) -> str:
    return quantity(plain(s.per_m_s * 1e9, 4), "ns/m")


def _line(x: ElectricalLine, s: Slowness) -> list[Working]:
    phases = [
        Working(
            say("electrical length of {line} at {f}: {angle}°", line=x.name, f=frequency(float(f)),
                angle=plain(degrees(p), 2)),
            say("-(phase of the wave along it), whole turns counted by its delay"),
            ((say("rests on"), x.why), (say("standard uncertainty"), say("{angle}°", angle=plain(degrees(u), 2)))),
            SOURCE, ("phase", x.name, float(f)),
        )
        for f, p, u in zip(x.frequency_hz, x.phase_rad, x.phase_u_rad, strict=True)
    ]  # fmt: skip
    factor = 1.0 / (s.per_m_s * SPEED_OF_LIGHT_M_PER_S)
    tape = metres(x.length_m) if x.length_m is not None else say("not known")
    known = ((say("by tape"), tape), (say("connectors"), digits(x.connectors)), (say("delay of a metre"), _per_m(s)))
    how = say(
        "l/(v c) + n ε = delay; v of its stock or type, ε of a connector: least squares with what is usual of both"
    )
    return [
        *phases,
        Working(say("velocity factor of {line}: {factor}", line=x.name, factor=plain(factor, 4)), how, known, ENGINE,
                ("velocity factor", x.name)),
        Working(say("ends of {line}: {ends}", line=x.name, ends=fine(x.connectors * s.end_s / s.per_m_s)), how, known,
                ENGINE, ("ends", x.name)),
    ]  # fmt: skip


def _pair(d: LengthDifference, s: Slowness) -> Working:
    return Working(
        say("{longer} against {shorter} at {f}: {angle}°, {trim}", longer=d.longer, shorter=d.shorter,
            f=frequency(d.frequency_hz), angle=plain(d.difference_deg, 2), trim=fine(d.trim_m)),
        say("trim = difference/(360 f · delay of a metre); left: phases, share of the trim, saw, connector"),
        ((say("difference"), say("{angle}°", angle=plain(d.difference_deg, 2))), (say("delay of a metre"), _per_m(s))),
        SOURCE, ("difference", d.longer, d.shorter),
    )  # fmt: skip


def _cut(c: CutTo, s: Slowness) -> list[Working]:
    trim = fine(c.trim_m or 0.0)
    found = [Working(
        say("cut of {line} for {angle}° at {f}: {trim} off", line=c.piece, angle=plain(c.target_deg, 1),
            f=frequency(c.frequency_hz), trim=trim),
        say("(phase now - phase wanted)/(360 f · delay of a metre); or what stays, (θ/360 f - n ε)/delay of a metre"),
        ((say("phase wanted"), say("{angle}°", angle=plain(c.target_deg, 2))), (say("delay of a metre"), _per_m(s)),
         (say("delay of a connector"), quantity(plain(s.end_s * 1e12, 1), "ps"))),
        SOURCE, ("cut", c.piece),
    )]  # fmt: skip
    found += [Working(
        say("stub at {f}: {loss} dB", f=frequency(x.frequency_hz), loss=plain(x.loss_db, 1)),
        say("20 lg |1 + 50/(2 Zs)|, Zs = Z0 coth γl open, Z0 tanh γl shorted"),
        ((say("purpose"), say(c.purpose)),),
        "D. M. Pozar, Microwave Engineering, 4th ed., table 4.1 and equation 2.91 (places from memory).",
        ("stub", x.frequency_hz),
    ) for x in c.stub]  # fmt: skip
    if c.transformed is not None:
        t = c.transformed
        found.append(Working(
            say("{load} through {angle}°: {ohm} ohm", load=t.load_ohm, angle=plain(c.target_deg, 1),
                ohm=plain(t.resistance_ohm, 1)),
            say("Z0 (Zl + Z0 tanh γl)/(Z0 + Zl tanh γl), over the lines side by side"),
            ((say("load"), t.load_ohm), (say("lines"), digits(t.lines))),
            "D. M. Pozar, Microwave Engineering, 4th ed., equation 2.91 (place from memory).",
            ("transformed", c.piece),
        ))  # fmt: skip
    return found
