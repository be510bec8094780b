"""What is said of an antenna behind a line."""

from __future__ import annotations

from dataclasses import replace
from math import degrees, floor, log10

from linewright.core.formatting import digits, frequency, interval, metres, plain, quantity
from linewright.core.formulas.deembedding import phase_constant_rad_per_m
from linewright.core.formulas.mismatch import reflection_from_swr
from linewright.core.messages import say, together
from linewright.core.nouns.bench_result import Working
from linewright.core.nouns.through import CurvePoint, Estimate, LineBehind, Seen, ThroughResult
from linewright.inference.load.antenna import ANALYSER_SCALE, DELAY_SPREAD, METER_SCALE

# What is said of an antenna behind a line

HIDDEN = 0.7
"""When the antenna's |Γ| may lie anywhere over so much of its range, the line hides it."""
MATCHED_SWR = 1.15
FAR_SWR = 20.0
DUMMY = say("A dummy load would look the same.")


def swr_words(value: float | None) -> str:
    """Write an SWR.

    >>> swr_words(1.0312), swr_words(7.41), swr_words(None), swr_words(33.0)
    ('1.03', '7.4', 'beyond telling', 'over 20')
    """
    if value is None:
        return say("beyond telling")
    if value > FAR_SWR:
        return say("over {limit}", limit=digits(FAR_SWR))
    return plain(value, 2 if value < 2 else 1)


def swr_interval(swr: Estimate) -> str:
    """Write an SWR with its interval.

    >>> swr_interval(Estimate(1.7, 1.4, 2.3))
    '1.70 (1.40 to 2.3)'
    """
    value, low, high = (swr_words(x) for x in (swr.value, swr.low, swr.high))
    return say("{value} ({low} to {high})", value=value, low=low, high=high)


def worded(r: ThroughResult, seen: Seen, line: LineBehind) -> ThroughResult:
    """Return an answer with its words: verdict, remarks, and how each figure was worked out."""
    return replace(r, verdict=verdict(r), remarks=remarks(r, seen, line), workings=workings(r, seen, line))


def verdict(r: ThroughResult) -> str:
    """Return the answer in words."""
    if r.contradiction:
        return say(
            "This line cannot give this reading: SWR {swr} at the radio allows {most}, not {loss}. One of the two is "
            "wrong.",
            swr=swr_words(r.radio_swr), most=_most(r), loss=_db(r.loss_db),
        )  # fmt: skip
    if r.flat_warning is not None and r.flat_warning.is_flat:
        return together([say("Too flat to be true."), DUMMY, _curve(r)])
    if r.curve:
        return _curve(r)
    return _single(r)


def _single(r: ThroughResult) -> str:
    g = r.antenna_reflection
    if (g.high or 0.0) - (g.low or 0.0) > HIDDEN:
        return say(
            "Cannot tell: the line hides the antenna. SWR {swr} at the radio fits anything from {low} to {high} at the"
            " antenna.",
            swr=swr_words(r.radio_swr), low=swr_words(r.antenna_swr.low), high=swr_words(r.antenna_swr.high),
        )  # fmt: skip
    said = say("SWR {swr} at the antenna, where the radio shows {radio}.",
               swr=swr_interval(r.antenna_swr), radio=swr_words(r.radio_swr))  # fmt: skip
    return together([said, DUMMY]) if (r.antenna_swr.low or 9.0) < MATCHED_SWR else said


def _curve(r: ThroughResult) -> str:
    best = swr_words(min(p.radio_swr for p in r.curve))
    said = say("The antenna's best SWR is {swr}, where the radio shows {radio}.",
               swr=swr_interval(r.best_swr), radio=best)  # fmt: skip
    if r.resonance_hz.value is None:
        return together([said, say("The curve does not reach its minimum: sweep wider.")])
    return together([said, say("Resonance at {f}.", f=hertz_words(r.resonance_hz))])


def hertz_words(f: Estimate) -> str:
    """Write a frequency with its interval, rounded to the interval's first figure.

    >>> hertz_words(Estimate(145.0312e6, 144.92e6, 145.15e6))
    '145 MHz (144.9 to 145.2)'
    """
    if f.value is None or f.low is None or f.high is None:
        return say("beyond telling")
    step = 10.0 ** floor(log10(max((f.high - f.low) / 2, 1.0)))
    value, low, high = (float(round(v / step) * step) for v in (f.value, f.low, f.high))
    ends = (digits(hertz / (1e6 if hertz >= 1e6 else 1e3), 7) for hertz in (low, high))
    return say("{value} ({low} to {high})", value=frequency(value), low=next(ends), high=next(ends))


def _most(r: ThroughResult) -> str:
    if r.largest_loss_db is None:
        return say("no bound")
    return say("at most {loss} dB of loss", loss=plain(r.largest_loss_db, 1))


def _db(e: Estimate) -> str:
    return say("nothing") if e.value is None or e.low is None or e.high is None else interval(e.value, e.low, e.high)


def remarks(r: ThroughResult, seen: Seen, line: LineBehind) -> tuple[str, ...]:
    """Return what a reader should know besides: the ceiling, the plain formula, the bound, what limits the answer."""
    said = [_ceiling(r), _plain(r)]
    if r.loss_tightened and not r.contradiction:
        said.append(say(
            "No antenna reflects more than it receives: losses that would need that are ruled out, which leaves "
            "{left} of {loss} for the line.",
            left=_db(r.updated_loss_db), loss=_db(r.loss_db),
        ))  # fmt: skip
    said += [flat] if (flat := flat_remark(r)) else []
    said += _shape(r)
    if r.antenna_reactance_ohm.value is not None and r.frequency_hz is not None:
        said.append(_turn(r.frequency_hz, line))
    if line.impedance_ohm is not None and abs(line.impedance_ohm / seen.reference_ohm - 1.0) > 0.02:
        said.append(_other_impedance(line, seen))
    if r.curve and line.belief is None and line.at_hz is not None:
        said.append(say("The stated loss is assumed to grow with √f around {f}.", f=frequency(line.at_hz)))
    return tuple(said)


def _ceiling(r: ThroughResult) -> str:
    return say(
        "Through {loss} a meter at the radio can never show more than SWR {swr}, whatever the antenna.",
        loss=_db(r.loss_db), swr=swr_interval(r.highest_swr_at_radio),
    )  # fmt: skip


def _plain(r: ThroughResult) -> str:
    if r.plain_swr is None:
        return say(
            "The plain formula gives |Γ| {reflection}, which is impossible: the loss or the reading is wrong.",
            reflection=plain(r.plain_reflection, 2),
        )
    return say("The plain formula, which takes loss and meter as exact, gives SWR {swr}.", swr=swr_words(r.plain_swr))


def flat_remark(r: ThroughResult) -> str:
    """Return whether the curve is too flat to be true; "" where that is not asked."""
    flat = r.flat_warning
    if flat is None:
        return ""
    if flat.is_flat is None:
        return say("Too flat? Cannot tell. {why}", why=flat.why)
    if not flat.is_flat:
        return say("Not too flat. {why}", why=flat.why)
    others = say("Else: {causes}.", causes=together(flat.alternatives, "; ")) if flat.alternatives else ""
    return together([say("Too flat. {why}", why=flat.why), others])


def _shape(r: ThroughResult) -> list[str]:
    if not r.curve or r.contradiction or r.bandwidth_hz.value is not None:
        return []
    if (r.best_swr.value or 1.0) > 2.0:
        return [say("The antenna's SWR does not fall to 2 anywhere on the curve.")]
    if (r.best_swr.high or 1.0) > 2.0:
        return [
            say(
                "The curve does not show for certain whether the antenna's SWR falls to 2, so its bandwidth is not "
                "given."
            )
        ]
    return [say("The bandwidth at SWR 2 extends beyond the curve: sweep further to find its ends.")]


def _turn(frequency_hz: float, line: LineBehind) -> str:
    """Say how far doubt about the line's electrical length turns the impedance."""
    radians = phase_constant_rad_per_m(frequency_hz, line.velocity_factor or 1.0) * (line.length_m or 0.0)
    turn = 2.0 * 1.96 * DELAY_SPREAD * degrees(radians)
    return say(
        "Resistance and reactance depend on the line's electrical length: 2 % of {waves} wavelengths turns the "
        "reflection by up to {turn} degrees. The SWR does not depend on it.",
        waves=plain(float(degrees(radians)) / 360, 1), turn=plain(float(turn), 0),
    )  # fmt: skip


def _other_impedance(line: LineBehind, seen: Seen) -> str:
    if seen.has_phase and line.has_phase:
        return say("The reading was converted exactly to the line's own {impedance} ohm and back.",
                   impedance=digits(line.impedance_ohm or 0.0))  # fmt: skip
    return say(
        "The line is {impedance} ohm and the meter {reference}: the SWR given for the antenna is the one on the "
        "line, and its interval allows for the step between the two.",
        impedance=digits(line.impedance_ohm or 0.0), reference=digits(seen.reference_ohm),
    )  # fmt: skip


# How the figures of an antenna behind a line were worked out

OWN = say("our own; the bridge's model is common practice")
CLOSED = "lossy line with a mismatched load: D. M. Pozar, Microwave Engineering, 4th ed., pages 81 to 82"


def workings(r: ThroughResult, seen: Seen, line: LineBehind) -> tuple[Working, ...]:
    """Return the workings, the plain formula first."""
    found = [_plain_working(r), _ceiling_working(r), _posterior(r, seen)]
    found.append(_return_loss(r))
    if line.has_phase and seen.has_phase:
        found.append(_impedance(r, line))
    if r.curve:
        found += _curve_working(r)
    return tuple(found)


def _plain_working(r: ThroughResult) -> Working:
    said = say("impossible") if r.plain_swr is None else say("SWR {swr}", swr=swr_words(r.plain_swr))
    return Working(
        say("plain formula: |Γ| {reflection}, {swr}", reflection=plain(r.plain_reflection, 3), swr=said),
        say("|Γ antenna| = |Γ radio| · 10^(loss/10); SWR = (1 + |Γ|)/(1 - |Γ|)"),
        (
            (say("SWR at the radio"), plain(r.radio_swr, 3)),
            (say("loss"), quantity(plain(r.loss_db.value or 0.0, 3), "dB")),
        ),
        CLOSED,
        ("plain formula",),
    )


def _ceiling_working(r: ThroughResult) -> Working:
    return Working(
        say("highest SWR a meter at the radio can show: {swr}", swr=swr_interval(r.highest_swr_at_radio)),
        say("(1 + L)/(1 - L), L = 10^(-loss/10)"),
        ((say("loss"), _range(r.loss_db.low, r.loss_db.high)),),
        "ham.stackexchange.com question 9722",
        ("highest SWR",),
    )


def _posterior(r: ThroughResult, seen: Seen) -> Working:
    scale = ANALYSER_SCALE if seen.has_phase else METER_SCALE
    row = int(seen.magnitude.argmin()) if r.curve else 0
    return Working(
        say("SWR at the antenna: {swr}", swr=swr_interval(r.antenna_swr)),
        say("all g with low ≤ |g A (1 + t) + d| ≤ high; A = 10^(-loss/10); before the reading g = sin² φ, φ even"),
        (
            (
                say("reading stands for |Γ|"),
                say("{low} to {high}", low=plain(float(seen.low[row]), 4), high=plain(float(seen.high[row]), 4)),
            ),
            (
                say("leak d"),
                say("anywhere within 10^(-{directivity}/20), phase unknown", directivity=digits(seen.directivity_db)),
            ),
            (say("scale error t"), say("{share} % (one sigma)", share=digits(100 * scale))),
            (say("line"), r.line),
            (say("largest loss the reading allows"), _bound(r)),
        ),
        OWN,
        ("antenna SWR",),
    )


def _return_loss(r: ThroughResult) -> Working:
    return Working(
        say("return loss at the antenna"),
        say("-20 lg |Γ antenna|, draw by draw"),
        ((say("SWR at the antenna"), swr_interval(r.antenna_swr)),),
        CLOSED,
        ("return loss",),
    )


def point_workings(p: CurvePoint) -> tuple[Working, ...]:
    """Return the workings of one point of a curve: what is believed, the plain formula, the most the radio can show."""
    at, through = frequency(round(p.frequency_hz, -1)), reflection_from_swr(p.highest_swr_at_radio)
    loss = (say("loss"), quantity(plain(-10.0 * log10(float(through)), 3), "dB"))
    radio = (say("SWR at the radio"), plain(p.radio_swr, 3))
    unmended = say("impossible") if p.plain_swr is None else swr_words(p.plain_swr)
    return (
        Working(
            say("SWR at the antenna at {f}: {swr}", f=at, swr=swr_interval(p.antenna_swr)),
            say("all g with low ≤ |g A (1 + t) + d| ≤ high; A = 10^(-loss/10); before the reading g = sin² φ, φ even"),
            (radio, loss), OWN, ("antenna SWR", p.frequency_hz),
        ),
        Working(
            say("plain formula at {f}: {swr}", f=at, swr=unmended),
            say("|Γ antenna| = |Γ radio| · 10^(loss/10); SWR = (1 + |Γ|)/(1 - |Γ|)"),
            (radio, loss), CLOSED, ("plain formula", p.frequency_hz),
        ),
        Working(
            say("highest SWR a meter at the radio can show at {f}: {swr}", f=at, swr=swr_words(p.highest_swr_at_radio)),
            say("(1 + L)/(1 - L), L = 10^(-loss/10)"),
            (loss,), "ham.stackexchange.com question 9722", ("highest SWR", p.frequency_hz),
        ),
    )  # fmt: skip


def _impedance(r: ThroughResult, line: LineBehind) -> Working:
    return Working(
        say(
            "antenna's impedance: {resistance} resistance, {reactance} reactance",
            resistance=_range(r.antenna_resistance_ohm.low, r.antenna_resistance_ohm.high, "ohm"),
            reactance=_range(r.antenna_reactance_ohm.low, r.antenna_reactance_ohm.high, "ohm"),
        ),
        say("ZL = Z0 (Zin - Z0 tanh γl)/(Z0 - Zin tanh γl); Z0 = R0 (1 - j (αc - αd)/β)"),
        (
            ("R0", say("{impedance} ohm", impedance=digits(line.impedance_ohm or 0.0))),
            (say("velocity factor"), digits(line.velocity_factor or 0.0)),
            (
                say("length"),
                say("{length}, electrically within 1 % (one sigma)", length=metres(line.length_m or 0.0, 6)),
            ),
        ),
        "D. M. Pozar, Microwave Engineering, 4th ed., equation 2.91 solved for the load; section 2.7 for Z0",
        ("impedance",),
    )


def _curve_working(r: ThroughResult) -> list[Working]:
    found = [
        Working(
            say("best SWR: {swr}", swr=swr_interval(r.best_swr))
            if r.resonance_hz.value is None
            else say("best SWR: {swr} at {f}", swr=swr_interval(r.best_swr), f=hertz_words(r.resonance_hz)),
            say("lowest point of a parabola through 1/(1 - |Γ|²) near the bottom of each draw's curve"),
            ((say("points"), str(len(r.curve))),),
            say("series resonant circuit: 1/(1 - |Γ|²) = ((R + R0)² + X²)/(4 R R0)"),
            ("best SWR",),
        )
    ]
    if r.bandwidth_hz.value is not None:
        found.append(_width())
    flat = r.flat_warning
    if flat is not None and flat.probability is not None:
        least = say("none does")
        if flat.smallest_loss_db is not None:
            least = quantity(plain(flat.smallest_loss_db, 1), "dB")
        found.append(
            Working(
                say("probability of a curve so flat: {probability}", probability=plain(flat.probability, 4)),
                say("share of plausible antennas behind the believed line whose |Γ| moves no more over the span"),
                (
                    (
                        say("antennas"),
                        say("series resonance in or near the band, Q 6 to 40, one in ten from 3; R around 50 ohm"),
                    ),
                    (say("loss that makes such a curve common (5 in 100)"), least),
                ),
                say("common practice for the antennas; the test is our own"),
                ("flatness",),
            )
        )
    return found


def _width() -> Working:
    return Working(
        say("width at SWR 2"),
        say("from where each draw's curve rises through SWR 2 on one side of its bottom to where it does on the other"),
        (),
        say("common practice"),
        ("width",),
    )


def _range(low: float | None, high: float | None, unit: str = "dB") -> str:
    if low is None or high is None:
        return say("cannot be told")
    return say("{low} to {high} {unit}", low=digits(low, 3), high=digits(high, 3), unit=unit)


def _bound(r: ThroughResult) -> str:
    return say("no bound") if r.largest_loss_db is None else quantity(plain(r.largest_loss_db, 2), "dB")
