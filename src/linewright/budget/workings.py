"""How each figure of a plan was worked out, so that anyone can check it with a pencil."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from linewright.budget.figures import RunFigures, line_at_antenna
from linewright.budget.reception import Hearing
from linewright.budget.workings_air import radiation_workings, reception_workings
from linewright.budget.workings_parts import CHAIN, POZAR, db, margin_words, part_workings, watts
from linewright.model.plan import BandFinding
from linewright.model.result import Working
from linewright.model.station import Antenna
from linewright.units.said import say, together
from linewright.units.writing import digits, frequency, interval, plain, quantity

DEFINITION = say("By definition.")
OWN = say("Means over the draws are means in dB, so that the parts add up. A choice of this project.")


def workings(found: RunFigures, bands: tuple[BandFinding, ...], heard: Hearing | None) -> tuple[Working, ...]:
    """Return the workings of every figure, frequency by frequency."""
    return tuple(w for i, band in enumerate(bands) for w in _band(found, band, i, heard))


def _band(found: RunFigures, x: BandFinding, i: int, heard: Hearing | None) -> Iterator[Working]:
    f = frequency(x.frequency_hz)
    yield from _losses(x, f)
    yield from _powers(found, x, i, f)
    yield from _swr(found, x, f)
    for figures, part in zip(found.parts, x.parts, strict=True):
        yield from part_workings(found, figures, part, i, f)
    yield from _worst(x, f)
    if heard is not None and x.reception is not None:
        yield from reception_workings(heard, x, x.reception, f)
    if x.eirp_w is not None:
        yield from radiation_workings(found, x, f)


def _losses(x: BandFinding, f: str) -> Iterator[Working]:
    matched, total = db(x.matched_loss_db), db(x.total_loss_db)
    yield Working(
        say("matched loss at {f}: {loss}", f=f, loss=matched),
        say("sum of the parts, each with a match behind it"),
        tuple((p.name, db(p.matched_loss_db)) for p in x.parts),
        OWN,
    )
    yield Working(
        say("total loss at {f}: {loss}",
            f=f, loss=interval(x.total_loss_db, x.total_loss_db_low, x.total_loss_db_high)),
        say("sum of the parts where they stand: 10 lg of power into a part over power out of it, Re(V I*) at either"
            " end"),
        tuple((p.name, db(p.loss_db)) for p in x.parts),
        CHAIN,
    )  # fmt: skip
    yield Working(
        say("extra loss through standing waves at {f}: {loss}", f=f, loss=db(x.mismatch_loss_db)),
        say("total loss - matched loss"),
        ((say("total"), total), (say("matched"), matched)),
        DEFINITION,
    )


def _powers(found: RunFigures, x: BandFinding, i: int, f: str) -> Iterator[Working]:
    run, given, arrives = found.run, watts(x.power_w), watts(x.power_at_antenna_w)
    yield Working(
        say("power of the radio at {f}: {power}", f=f, power=given),
        say("stated power · share given into this SWR"),
        (
            (say("stated power"), quantity(digits(run.power_w), "W")),
            (say("SWR at the radio"), plain(x.swr_at_radio, 3)),
            (say("share"), plain(float(found.share[i]), 3)),
            (say("curve"), _curve(run.fold_back)),
        ),
        say("The curve given; straight lines between its points."),
    )
    yield Working(
        say("power at the antenna at {f}: {power}",
            f=f, power=interval(x.power_at_antenna_w, x.power_at_antenna_w_low, x.power_at_antenna_w_high, "W")),
        say("power of the radio · 10^(-total loss / 10)"),
        ((say("power of the radio"), given), (say("total loss"), db(x.total_loss_db))),
        DEFINITION,
    )  # fmt: skip
    yield Working(
        say("heat at {f}: {heat}", f=f, heat=watts(x.heat_w)),
        say("duty · mode factor · (power of the radio - power at the antenna)"),
        (
            (say("duty"), digits(run.duty)),
            (say("mode factor"), digits(run.mode_factor)),
            (say("power of the radio"), given),
            (say("power at the antenna"), arrives),
        ),
        DEFINITION,
    )


def _curve(fold_back: Sequence[tuple[float, float]]) -> str:
    if not fold_back:
        return say("none: full power into any SWR")
    points = (say("{swr} to 1: {share} %", swr=digits(s), share=plain(100 * p, 0)) for s, p in fold_back)
    return together(points, ", ")


def _swr(found: RunFigures, x: BandFinding, f: str) -> Iterator[Working]:
    at_antenna = plain(x.swr_at_antenna, 3)
    seen, low, high = (plain(s, 3) for s in (x.swr_at_radio, x.swr_at_radio_low, x.swr_at_radio_high))
    yield Working(
        say("SWR at the antenna at {f}: {swr}", f=f, swr=at_antenna),
        say("(1 + |Γ|)/(1 - |Γ|), Γ = (Z - Z0)/(Z + Z0), median over the draws"),
        ((say("antenna"), _given(found.run.antenna)), ("Z0", _reference(found))),
        say("{book}, equations 2.35 and 2.41 (from memory).", book=POZAR),
    )
    yield Working(
        say("SWR at the radio at {f}: {swr} ({low} to {high})", f=f, swr=seen, low=low, high=high),
        say("as at the antenna, from V and I at the radio's end of the chain, in 50 ohms"),
        ((say("SWR at the antenna"), at_antenna), (say("total loss"), db(x.total_loss_db))),
        CHAIN,
    )
    highest = say("no limit") if x.highest_swr_at_radio is None else plain(x.highest_swr_at_radio, 3)
    yield Working(
        say("highest SWR the radio can see at {f}: {swr}", f=f, swr=highest),
        say("(1 + m)/(1 - m), m = |S11 + S12 S21 S22*/(1 - |S22|²)| + |S12 S21|/(1 - |S22|²) of the chain without"
            " tuners"),
        ((say("matched loss"), db(x.matched_loss_db)),),
        say("The circle that all total reflections become at the radio (from memory); on one matched line"
            " 1/tanh(ML/8.686), ham.stackexchange.com question 9722."),
    )  # fmt: skip


def _reference(found: RunFigures) -> str:
    line = line_at_antenna(found.walked.sections)
    if line is None:
        return say("{impedance} ohm", impedance="50")
    return say("{impedance} (1 - j x) ohm, x as in the workings of the last line", impedance=digits(line.impedance_ohm))


def _given(antenna: Antenna) -> str:
    if antenna.swr is not None:
        return say("by its SWR in 50 ohms, phase not known")
    return say("by its impedance") if antenna.impedance_ohm is not None else say("by a sweep")


def _worst(x: BandFinding, f: str) -> Iterator[Working]:
    volts, heat = (
        tuple((p.name, plain(m, 2)) for p in x.parts if (m := getattr(p, of)) is not None)
        for of in ("voltage_margin", "heat_margin")
    )
    least = say("the least of the parts' margins")
    peak = quantity(plain(x.peak_voltage_v, 1), "V")
    yield Working(
        say("voltage margin at {f}: {margin}; highest peak voltage: {peak}",
            f=f, margin=margin_words(x.voltage_margin), peak=peak),
        least, volts, DEFINITION,
    )  # fmt: skip
    yield Working(say("heat margin at {f}: {margin}", f=f, margin=margin_words(x.heat_margin)), least, heat, DEFINITION)
