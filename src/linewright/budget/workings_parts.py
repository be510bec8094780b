"""How the figures of each part of a run were worked out: loss, voltage, heat, length."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from linewright.budget.figures import PartFigures, RunFigures
from linewright.budget.findings import load_w
from linewright.budget.sections import Line
from linewright.model.plan import PartFinding
from linewright.model.result import Working
from linewright.physics.coax import temperature_factor
from linewright.physics.line_input import impedance_skew
from linewright.units.said import say, together
from linewright.units.writing import digits, interval, length, metres, per_metre, plain, quantity

Floats = NDArray[np.float64]

POZAR = "D. M. Pozar, Microwave Engineering, 4th ed."
CHAIN = say(
    "{book}, section 4.4 (chain matrices) and equations 2.85 to 2.94 (lossy lines); places from memory.", book=POZAR
)
LINE = say(
    "Loss by the piece's belief. R0 (1 - j x) with x = (αc - αd)/β: first order of √((R + jωL)/(G + jωC)), {book},"
    " equation 2.7 (from memory). Temperature: an article on coaxial cable attenuation changes versus temperature,"
    " scribd.com/document/206070386.",
    book=POZAR,
)
VOLTAGE = say("|V|² = |V+|² (e^2αs + r² e^-2αs + 2 r cos(2βs - φ)): {book}, section 2.7 (from memory).", book=POZAR)
HEAT = say(
    "Heat per metre (R |I|² + G |V|²)/2; ambient factor linear to zero at the dielectric's limit (common practice, from"
    " memory). The worst of a long line is SWR times the matched heat, which this gives."
)

SURE_DB = 0.0005
"""An interval narrower than the digits of the workings says nothing."""

# Words of every part, written once: a plan says each some fifty times.
LOSS = say("10 lg(power in / power out)")
POWER_IN = say("power in")
POWER_OUT = say("power out, all branches")
MATCHED = say("behind a match")
CONDUCTOR = say("conductor part")
DIELECTRIC = say("dielectric part")
ENDS = say("connectors and joints of the piece")
TEMPERATURE = say("temperature")
RESTS_ON = say("rests on")
PEAK = say("|V| √(2 P / Re(V I*)), greatest along the part, upper end of the 95 % interval; margin: rating over it")
FULL_POWER = say("P, the radio's full power")
PEAK_RATING = say("rating, peak")
NONE_KNOWN = say("none known")
RATING_BY = say("rating by")
NOBODY = say("nobody")
NO_RATING = say("no rating known")
HOTTEST = say("at its hottest place")
PART_HEAT = say("duty · mode factor · (power in - power out), all branches; margin: rating over the load on it")
ON_AIR = say("duty · mode factor")
LOAD = say("load: power into a match that heats it so")
RATING = say("rating")


def db(value: float) -> str:
    """Write decibels as workings do, to three decimals."""
    return quantity(plain(value, 3), "dB")


def watts(value: float) -> str:
    """Write watts as workings do, to two decimals."""
    return quantity(plain(value, 2), "W")


def part_workings(found: RunFigures, figures: PartFigures, p: PartFinding, i: int, f: str) -> Iterator[Working]:
    """Yield the workings of one part at one frequency."""
    power_in, power_out = (quantity(plain(w, 3), "W") for w in (p.power_in_w, p.power_out_w * figures.section.ways))
    yield Working(
        say("loss of {part} at {f}: {loss}", part=p.name, f=f, loss=_loss(p)),
        LOSS,
        (
            (POWER_IN, power_in),
            (POWER_OUT, power_out),
            (MATCHED, db(p.matched_loss_db)),
            *_line_inputs(found, figures, i),
        ),
        LINE if p.kind == "line" else CHAIN,
    )
    yield _volts(found, figures, p, i, f)
    if p.power_rating_w is not None or p.heat_w_per_m is not None:
        yield _heat(found, figures, p, i, f)
    if p.electrical_length_deg is not None and p.length_m is not None:
        yield _length(p, p.electrical_length_deg, p.length_m, f)


def _loss(p: PartFinding) -> str:
    sure = p.loss_db_high - p.loss_db_low < SURE_DB
    return db(p.loss_db) if sure else interval(p.loss_db, p.loss_db_low, p.loss_db_high)


def _length(p: PartFinding, degrees: float, length_m: float, f: str) -> Working:
    said = say("electrical length of {part} at {f}: {length} degrees", part=p.name, f=f, length=plain(degrees, 1))
    long, source = (say("length"), metres(length_m)), say("{book}, section 2.1 (from memory).", book=POZAR)
    if not p.cut_m:
        return Working(said, say("360 · f · length / (velocity factor · c)"), (long,), source)
    cuts = together((length(c, 3) for c in p.cut_m), ", ")
    formula = say("360 · f · length / (velocity factor · c); cuts: that length, or whole half waves more")
    return Working(said, formula, (long, (say("cuts"), cuts)), source)


def _line_inputs(found: RunFigures, figures: PartFigures, i: int) -> tuple[tuple[str, str], ...]:
    line = figures.section.line
    if line is None:
        return ()
    own = getattr(figures.section.part, "temperature_celsius", None)
    celsius = found.run.celsius if own is None else own
    conductor, dielectric, ends = (
        quantity(plain(float(x[i].mean()), 4), "dB") for x in (line.conductor_db, line.dielectric_db, line.ends_db)
    )
    grows = plain(float(temperature_factor(celsius)), 4)
    return (
        (CONDUCTOR, conductor),
        (DIELECTRIC, dielectric),
        (ENDS, ends),
        (TEMPERATURE, say("{celsius} °C: loss times {factor}", celsius=digits(celsius), factor=grows)),
        ("R0, x", say("{impedance} ohm, {x}", impedance=digits(line.impedance_ohm), x=plain(float(_skew(line, i)), 5))),
        (RESTS_ON, line.belief.basis),
    )


def _skew(line: Line, i: int) -> Floats:
    row = impedance_skew(line.conductor_db[i], line.dielectric_db[i], line.phase_rad[i])
    return np.asarray(row.mean())


def _volts(found: RunFigures, figures: PartFigures, p: PartFinding, i: int, f: str) -> Working:
    peak = quantity(plain(p.peak_voltage_v, 1), "V")
    rated = None if p.voltage_rating_v is None else quantity(plain(p.voltage_rating_v, 0), "V")
    return Working(
        say("peak voltage on {part} at {f}: {peak}; margin: {margin}",
            part=p.name, f=f, peak=peak, margin=margin_words(p.voltage_margin)),
        PEAK,
        (
            (FULL_POWER, watts(float(found.power_w[i]))),
            (PEAK_RATING, rated or NONE_KNOWN),
            (RATING_BY, figures.ratings[i].voltage_source or NOBODY),
        ),
        VOLTAGE,
    )  # fmt: skip


def margin_words(margin: float | None) -> str:
    """Write a margin; where nobody states a rating there is none."""
    return NO_RATING if margin is None else plain(margin, 2)


def _heat(found: RunFigures, figures: PartFigures, p: PartFinding, i: int, f: str) -> Working:
    heat, per_m = quantity(plain(p.heat_w, 3), "W"), p.heat_w_per_m
    hottest = () if per_m is None else ((HOTTEST, per_metre(per_m, 3, "W")),)
    rated = None if p.power_rating_w is None else quantity(plain(p.power_rating_w, 0), "W")
    return Working(
        say("heat of {part} at {f}: {heat}; margin: {margin}",
            part=p.name, f=f, heat=heat, margin=margin_words(p.heat_margin)),
        PART_HEAT,
        (
            (ON_AIR, digits(found.on_air)),
            *hottest,
            (LOAD, watts(load_w(found, figures, i))),
            (RATING, rated or NONE_KNOWN),
            (RATING_BY, figures.ratings[i].power_source or NOBODY),
        ),
        HEAT,
    )  # fmt: skip
