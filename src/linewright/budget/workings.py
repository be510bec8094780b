"""How each figure of a plan was worked out, so that anyone can check it with a pencil."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from linewright.budget.figures import PartFigures, RunFigures, line_at_antenna
from linewright.budget.findings import load_w
from linewright.budget.reception import Hearing
from linewright.budget.sections import Line
from linewright.budget.workings_air import radiation_workings, reception_workings
from linewright.model.plan import BandFinding, PartFinding
from linewright.model.result import Working
from linewright.model.station import Antenna
from linewright.physics.coax import temperature_factor
from linewright.physics.line_input import impedance_skew
from linewright.units.writing import frequency, interval

Floats = NDArray[np.float64]

POZAR = "D. M. Pozar, Microwave Engineering, 4th ed."
CHAIN = f"{POZAR}, section 4.4 (chain matrices) and equations 2.85 to 2.94 (lossy lines); places from memory."
DEFINITION = "By definition."
OWN = "Means over the draws are means in dB, so that the parts add up. A choice of this project."
LINE = (
    f"Loss by the piece's belief. R0 (1 - j x) with x = (αc - αd)/β: first order of √((R + jωL)/(G + jωC)), {POZAR},"
    " equation 2.7 (from memory). Temperature: an article on coaxial cable attenuation changes versus temperature,"
    " scribd.com/document/206070386."
)
VOLTAGE = f"|V|² = |V+|² (e^2αs + r² e^-2αs + 2 r cos(2βs - φ)): {POZAR}, section 2.7 (from memory)."
HEAT = (
    "Heat per metre (R |I|² + G |V|²)/2; ambient factor linear to zero at the dielectric's limit (common practice, from"
    " memory). The worst of a long line is SWR times the matched heat, which this gives."
)


def workings(found: RunFigures, bands: tuple[BandFinding, ...], heard: Hearing | None) -> tuple[Working, ...]:
    """Return the workings of every figure, frequency by frequency."""
    return tuple(w for i, band in enumerate(bands) for w in _band(found, band, i, heard))


def _band(found: RunFigures, x: BandFinding, i: int, heard: Hearing | None) -> Iterator[Working]:
    at = f"at {frequency(x.frequency_hz)}"
    yield from _losses(x, at)
    yield from _powers(found, x, i, at)
    yield from _swr(found, x, at)
    for figures, part in zip(found.parts, x.parts, strict=True):
        yield from _part(found, figures, part, i, at)
    yield from _worst(x, at)
    if heard is not None and x.reception is not None:
        yield from reception_workings(heard, x, x.reception, at)
    if x.eirp_w is not None:
        yield from radiation_workings(found, x, at)


def _losses(x: BandFinding, at: str) -> Iterator[Working]:
    yield Working(
        f"matched loss {at}: {x.matched_loss_db:.3f} dB",
        "sum of the parts, each with a match behind it",
        tuple((p.name, f"{p.matched_loss_db:.3f} dB") for p in x.parts),
        OWN,
    )
    yield Working(
        f"total loss {at}: {interval(x.total_loss_db, x.total_loss_db_low, x.total_loss_db_high)}",
        "sum of the parts where they stand: 10 lg of power into a part over power out of it, Re(V I*) at either end",
        tuple((p.name, f"{p.loss_db:.3f} dB") for p in x.parts),
        CHAIN,
    )
    yield Working(
        f"extra loss through standing waves {at}: {x.mismatch_loss_db:.3f} dB",
        "total loss - matched loss",
        (("total", f"{x.total_loss_db:.3f} dB"), ("matched", f"{x.matched_loss_db:.3f} dB")),
        DEFINITION,
    )


def _powers(found: RunFigures, x: BandFinding, i: int, at: str) -> Iterator[Working]:
    run = found.run
    curve = ", ".join(f"{s:g} to 1: {100 * p:.0f} %" for s, p in run.fold_back)
    yield Working(
        f"power of the radio {at}: {x.power_w:.2f} W",
        "stated power · share given into this SWR",
        (
            ("stated power", f"{run.power_w:g} W"),
            ("SWR at the radio", f"{x.swr_at_radio:.3f}"),
            ("share", f"{float(found.share[i]):.3f}"),
            ("curve", curve or "none: full power into any SWR"),
        ),
        "The curve given; straight lines between its points.",
    )
    yield Working(
        f"power at the antenna {at}:"
        f" {interval(x.power_at_antenna_w, x.power_at_antenna_w_low, x.power_at_antenna_w_high, 'W')}",
        "power of the radio · 10^(-total loss / 10)",
        (("power of the radio", f"{x.power_w:.2f} W"), ("total loss", f"{x.total_loss_db:.3f} dB")),
        DEFINITION,
    )
    yield Working(
        f"heat {at}: {x.heat_w:.2f} W",
        "duty · mode factor · (power of the radio - power at the antenna)",
        (
            ("duty", f"{run.duty:g}"),
            ("mode factor", f"{run.mode_factor:g}"),
            ("power of the radio", f"{x.power_w:.2f} W"),
            ("power at the antenna", f"{x.power_at_antenna_w:.2f} W"),
        ),
        DEFINITION,
    )


def _swr(found: RunFigures, x: BandFinding, at: str) -> Iterator[Working]:
    yield Working(
        f"SWR at the antenna {at}: {x.swr_at_antenna:.3f}",
        "(1 + |Γ|)/(1 - |Γ|), Γ = (Z - Z0)/(Z + Z0), median over the draws",
        (("antenna", _given(found.run.antenna)), ("Z0", _reference(found))),
        f"{POZAR}, equations 2.35 and 2.41 (from memory).",
    )
    yield Working(
        f"SWR at the radio {at}: {x.swr_at_radio:.3f} ({x.swr_at_radio_low:.3f} to {x.swr_at_radio_high:.3f})",
        "as at the antenna, from V and I at the radio's end of the chain, in 50 ohms",
        (("SWR at the antenna", f"{x.swr_at_antenna:.3f}"), ("total loss", f"{x.total_loss_db:.3f} dB")),
        CHAIN,
    )
    highest = "no limit" if x.highest_swr_at_radio is None else f"{x.highest_swr_at_radio:.3f}"
    yield Working(
        f"highest SWR the radio can see {at}: {highest}",
        "(1 + m)/(1 - m), m = |S11 + S12 S21 S22*/(1 - |S22|²)| + |S12 S21|/(1 - |S22|²) of the chain without tuners",
        (("matched loss", f"{x.matched_loss_db:.3f} dB"),),
        "The circle that all total reflections become at the radio (from memory); on one matched line 1/tanh(ML/8.686),"
        " ham.stackexchange.com question 9722.",
    )


def _reference(found: RunFigures) -> str:
    line = line_at_antenna(found.walked.sections)
    return "50 ohm" if line is None else f"{line.impedance_ohm:g} (1 - j x) ohm, x as in the workings of the last line"


def _given(antenna: Antenna) -> str:
    if antenna.swr is not None:
        return "by its SWR in 50 ohms, phase not known"
    return "by its impedance" if antenna.impedance_ohm is not None else "by a sweep"


def _part(found: RunFigures, figures: PartFigures, p: PartFinding, i: int, at: str) -> Iterator[Working]:
    yield Working(
        f"loss of {p.name} {at}: {interval(p.loss_db, p.loss_db_low, p.loss_db_high)}",
        "10 lg(power in / power out)",
        (
            ("power in", f"{p.power_in_w:.3f} W"),
            ("power out, all branches", f"{p.power_out_w * figures.section.ways:.3f} W"),
            ("behind a match", f"{p.matched_loss_db:.3f} dB"),
            *_line_inputs(found, figures, i),
        ),
        LINE if p.kind == "line" else CHAIN,
    )
    yield _volts(found, figures, p, i, at)
    if p.power_rating_w is not None or p.heat_w_per_m is not None:
        yield _heat(found, figures, p, i, at)
    if p.electrical_length_deg is not None:
        cuts = ", ".join(f"{c:.3f} m" for c in p.cut_m)
        yield Working(
            f"electrical length of {p.name} {at}: {p.electrical_length_deg:.1f} degrees",
            "360 · f · length / (velocity factor · c)"
            + ("; cuts: that length, or whole half waves more" if cuts else ""),
            (("length", f"{p.length_m:.4g} m"), *((("cuts", cuts),) if cuts else ())),
            f"{POZAR}, section 2.1 (from memory).",
        )


def _line_inputs(found: RunFigures, figures: PartFigures, i: int) -> tuple[tuple[str, str], ...]:
    line = figures.section.line
    if line is None:
        return ()
    part = figures.section.part
    own = getattr(part, "temperature_celsius", None)
    celsius = found.run.temperature_celsius if own is None else own
    return (
        ("conductor part", f"{float(line.conductor_db[i].mean()):.4f} dB"),
        ("dielectric part", f"{float(line.dielectric_db[i].mean()):.4f} dB"),
        ("connectors and joints of the piece", f"{float(line.ends_db[i].mean()):.4f} dB"),
        ("temperature", f"{celsius:g} °C: loss times {float(temperature_factor(celsius)):.4f}"),
        ("R0, x", f"{line.impedance_ohm:g} ohm, {float(_skew(line, i)):.5f}"),
        ("rests on", line.belief.basis),
    )


def _skew(line: Line, i: int) -> Floats:
    row = impedance_skew(line.conductor_db[i], line.dielectric_db[i], line.phase_rad[i])
    return np.asarray(row.mean())


def _volts(found: RunFigures, figures: PartFigures, p: PartFinding, i: int, at: str) -> Working:
    rating = figures.ratings[i]
    margin = "no rating known" if p.voltage_margin is None else f"{p.voltage_margin:.2f}"
    return Working(
        f"peak voltage on {p.name} {at}: {p.peak_voltage_v:.1f} V; margin: {margin}",
        "|V| √(2 P / Re(V I*)), greatest along the part, upper end of the 95 % interval; margin: rating over it",
        (
            ("P, the radio's full power", f"{float(found.power_w[i]):.2f} W"),
            ("rating, peak", "none known" if p.voltage_rating_v is None else f"{p.voltage_rating_v:.0f} V"),
            ("rating by", rating.voltage_source or "nobody"),
        ),
        VOLTAGE,
    )


def _heat(found: RunFigures, figures: PartFigures, p: PartFinding, i: int, at: str) -> Working:
    rating = figures.ratings[i]
    margin = "no rating known" if p.heat_margin is None else f"{p.heat_margin:.2f}"
    hottest = () if p.heat_w_per_m is None else (("at its hottest place", f"{p.heat_w_per_m:.3f} W/m"),)
    return Working(
        f"heat of {p.name} {at}: {p.heat_w:.3f} W; margin: {margin}",
        "duty · mode factor · (power in - power out), all branches; margin: rating over the load on it",
        (
            ("duty · mode factor", f"{found.on_air:g}"),
            *hottest,
            ("load: power into a match that heats it so", f"{load_w(found, figures, i):.2f} W"),
            ("rating", "none known" if p.power_rating_w is None else f"{p.power_rating_w:.0f} W"),
            ("rating by", rating.power_source or "nobody"),
        ),
        HEAT,
    )


def _worst(x: BandFinding, at: str) -> Iterator[Working]:
    for what, unit, of in (("voltage", "V", "voltage_margin"), ("heat", "W", "heat_margin")):
        margins = tuple((p.name, f"{m:.2f}") for p in x.parts if (m := getattr(p, of)) is not None)
        least = getattr(x, of)
        said = "no rating known" if least is None else f"{least:.2f}"
        peak = f"; highest peak voltage: {x.peak_voltage_v:.1f} {unit}" if what == "voltage" else ""
        yield Working(f"{what} margin {at}: {said}{peak}", "the least of the parts' margins", margins, DEFINITION)
