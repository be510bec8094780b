"""Figures of a run to findings: one a frequency, one a part."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from math import floor, isfinite
from typing import Any

import numpy as np

from linewright.catalogue.connectors import connector
from linewright.core.formatting import frequency, plain, prefixed, quantity
from linewright.core.formulas.exposure import eirp_w, erp_w
from linewright.core.formulas.heating import hot_spot_factor
from linewright.core.messages import mark, say, together
from linewright.core.nouns.belief import CATALOGUE
from linewright.core.nouns.plan import BandFinding, PartFinding, ReceptionFinding
from linewright.core.nouns.rules import Rules
from linewright.core.nouns.station import (
    ConnectorPart,
    LinePart,
    LossPart,
    Part,
    PreamplifierPart,
    Run,
    SplitterPart,
    SweepPart,
    TransformerPart,
    TunerPart,
)
from linewright.core.quantities import delivered_fraction
from linewright.link.exposure import density_finding, emitter_of, exposure_finding
from linewright.link.figures import PartFigures, RunFigures
from linewright.link.in_force import licence_findings, limits_in_force
from linewright.link.reception import Hearing

# What a person should know of a plan beyond its figures

TELLING_SWR = 3.0
"""Where a radio cannot see more than this whatever happens at the antenna, its SWR says little of the antenna."""


def remarks(found: RunFigures, heard: Hearing | None) -> tuple[str, ...]:
    """Return remarks on a run, each once."""
    said = [
        *_antenna(found),
        *_lines(found),
        *_connectors(found),
        *_splitters(found),
        *_radio(found),
        *(heard.outside.remarks if heard else ()),
    ]
    return tuple(dict.fromkeys(said))


def _at(found: RunFigures, which: Iterable[bool]) -> str:
    """Name the frequencies at which something holds; empty where it does nowhere."""
    return together((frequency(f) for f, yes in zip(found.run.frequencies_hz, which, strict=True) if yes), ", ")


def _antenna(found: RunFigures) -> Iterator[str]:
    swr = found.run.antenna.swr
    if swr is not None and any(s > 1.0 for _, s in swr):
        yield say("The phase of the antenna's SWR is not known: intervals cover all phases.")
    highest = found.highest_swr
    if where := _at(found, highest < TELLING_SWR):
        most = plain(float(highest[highest < TELLING_SWR].max()), 1)
        yield say(
            "At {frequencies} the line hides the antenna: even with an open or a short there, the radio would show "
            "no more than {swr} to 1.",
            frequencies=where, swr=most,
        )  # fmt: skip


def _lines(found: RunFigures) -> Iterator[str]:
    for p in found.parts:
        part, line = p.section.part, p.section.line
        if not isinstance(part, LinePart) or line is None:
            continue
        law = line.belief.law
        if where := _at(found, [not law.covers(f) for f in found.run.frequencies_hz]):
            yield say("{part}: at {frequencies} the loss of its type is less well known than usual.",
                      part=part.name, frequencies=where)  # fmt: skip
        if part.measured and line.belief.basis == CATALOGUE:
            yield say("{part}: there is no evidence for it, so it is taken as new, and its connectors as lossless.",
                      part=part.name)  # fmt: skip


def _connectors(found: RunFigures) -> Iterator[str]:
    for part in found.run.chain:
        if isinstance(part, ConnectorPart):
            family = connector(part.family)
            if where := _at(found, [f > family.max_hz for f in found.run.frequencies_hz]):
                yield say(
                    "{part}: {family} connectors are meant for up to {most}; used at {frequencies}.",
                    part=part.name, family=family.name, most=frequency(family.max_hz), frequencies=where,
                )  # fmt: skip


def _splitters(found: RunFigures) -> Iterator[str]:
    for part in found.run.chain:
        if isinstance(part, SplitterPart):
            yield say(
                "After {part}, powers, voltages and margins are for one of {ways} branches; losses and heat, and the "
                "power at the antenna, are for all of them together.",
                part=part.name, ways=part.ways,
            )  # fmt: skip


def _radio(found: RunFigures) -> Iterator[str]:
    lowered: Sequence[bool] = list(found.share < 0.995)
    for f, share, power, yes in zip(found.run.frequencies_hz, found.share, found.power_w, lowered, strict=True):
        if yes:
            yield say(
                "At {frequency} the radio folds back to {power}, {share} of its full power.",
                frequency=frequency(f), power=quantity(plain(float(power), 0), "W"),
                share=quantity(plain(100.0 * float(share), 0), "%"),
            )  # fmt: skip


# What to replace first, in words

HIGH_V = 500.0
"""A peak voltage worth a word: small connectors and switches are rated for no more (common practice, no source)."""
LITTLE_DB = 0.3
"""A loss nobody hears: about 7 % of the power (common practice, no source)."""


def weakest(parts: Sequence[PartFinding], total_db: float) -> str:
    """Return a sentence or two: what is over its rating, then which part takes most.

    >>> weakest((), 0.0)
    'There is nothing between radio and antenna.'
    """
    if not parts:
        return say("There is nothing between radio and antenna.")
    return together([*_over(parts), _most(parts, total_db), *_highest(parts)])


def _over(parts: Sequence[PartFinding]) -> list[str]:
    """Return what is over its rating; a rating from memory is not quoted, only asked for."""
    said = []
    for p in parts:
        known, doubtful = p.beyond("known"), p.beyond("memory")
        if "voltage" in known:
            said.append(_over_voltage(p))
        if "voltage" in doubtful:
            said.append(say("{part} sees {sees} peak: look up its maker's rating.",
                            part=p.name, sees=quantity(plain(p.peak_voltage_v, 0), "V")))  # fmt: skip
        if "heat" in known and p.heat_margin is not None:
            times = plain(1.0 / p.heat_margin, 1)
            said.append(say("{part} gets {times} times the heat that its rating allows.", part=p.name, times=times))
        if "heat" in doubtful:
            said.append(say("{part} gets as hot as with {load} into a match: look up its maker's rating.",
                            part=p.name, load=prefixed(p.load_w, "W")))  # fmt: skip
    return said


def _highest(parts: Sequence[PartFinding]) -> list[str]:
    """Return the highest voltage and where it stands, where it is high; nothing where that part was spoken of."""
    most = max(parts, key=lambda p: p.peak_voltage_v)
    if most.peak_voltage_v < HIGH_V or "voltage" in (*most.beyond("known"), *most.beyond("memory")):
        return []
    volts = prefixed(most.peak_voltage_v, "V")
    if most.voltage_rating_v is None:
        return [say("The highest voltage is {volts} peak, on {part}; no rating is stated for it.",
                    volts=volts, part=most.name)]  # fmt: skip
    return [say("The highest voltage is {volts} peak, on {part}.", volts=volts, part=most.name)]


def _over_voltage(p: PartFinding) -> str:
    assert p.voltage_rating_v is not None
    sees, rated = (quantity(plain(volts, 0), "V") for volts in (p.peak_voltage_v, p.voltage_rating_v))
    return say("{part} sees {sees} peak and is rated for {rated}.", part=p.name, sees=sees, rated=rated)


def _most(parts: Sequence[PartFinding], total_db: float) -> str:
    most = max(parts, key=lambda p: p.loss_db)
    total = quantity(plain(total_db, 2), "dB")
    if total_db < LITTLE_DB:
        return say("The loss is too small to be worth replacing anything: {total} in all.", total=total)
    share = quantity(plain(100.0 * (1.0 - delivered_fraction(most.loss_db)), 0), "%")
    takes = say(
        "Most is lost in {part}: {loss} of {total}, {share} of the power that enters it.",
        part=most.name, loss=plain(most.loss_db, 2), total=total, share=share,
    )  # fmt: skip
    if most.loss_db - most.matched_loss_db <= 0.5 * most.loss_db:
        return takes
    return together(
        [takes, say("Most of that comes from the standing wave: a better match at the antenna would save it.")]
    )


# Figures of a run to findings: one a frequency, one a part

KINDS: dict[type[Part], str] = {
    LinePart: mark("line"), ConnectorPart: mark("connector"), LossPart: mark("part"), SweepPart: mark("sweep"),
    TunerPart: mark("tuner"), TransformerPart: mark("transformer"), SplitterPart: mark("splitter"),
    PreamplifierPart: mark("preamplifier"),
}  # fmt: skip

NO_RULES = Rules()
LEAST_SHARE = 1e-6
"""A part that takes up less of its power than this has no loss to speak of."""


def band_finding(
    found: RunFigures, at: int, reception: ReceptionFinding | None = None, rules: Rules = NO_RULES
) -> BandFinding:
    """Return what a run does at its frequency number ``at``."""
    run = found.run
    parts = tuple(part_finding(found, p, at) for p in found.parts)
    arrives = float(found.at_antenna_w.middle[at])
    total, highest = found.total_db, float(found.highest_swr[at])
    radiated = _radiated_w(run, [float(x[at]) for x in found.at_antenna_w])
    return BandFinding(
        frequency_hz=float(found.frequency_hz[at]),
        matched_loss_db=float(found.matched_db[at]),
        mismatch_loss_db=float(total.middle[at] - found.matched_db[at]),
        total_loss_db=float(total.middle[at]),
        total_loss_db_low=float(total.low[at]),
        total_loss_db_high=float(total.high[at]),
        power_w=float(found.power_w[at]),
        power_at_antenna_w=arrives,
        power_at_antenna_w_low=float(found.at_antenna_w.low[at]),
        power_at_antenna_w_high=float(found.at_antenna_w.high[at]),
        swr_at_radio=float(found.swr_at_radio.middle[at]),
        swr_at_radio_low=float(found.swr_at_radio.low[at]),
        swr_at_radio_high=float(found.swr_at_radio.high[at]),
        swr_at_antenna=float(found.swr_at_antenna[at]),
        highest_swr_at_radio=highest if isfinite(highest) else None,
        peak_voltage_v=max((p.peak_voltage_v for p in parts), default=0.0),
        peak_voltage_part=max(parts, key=lambda p: p.peak_voltage_v).name if parts else "",
        voltage_margin=min((p.voltage_margin for p in parts if p.voltage_margin is not None), default=None),
        heat_w=found.on_air * (float(found.power_w[at]) - arrives),
        heat_margin=min((p.heat_margin for p in parts if p.heat_margin is not None), default=None),
        parts=parts,
        eirp_w=None if radiated is None else radiated[0],
        erp_w=None if radiated is None else float(erp_w(radiated[0])),
        reception=reception,
        weakest=weakest(parts, float(total.middle[at])),
        **_exposure(found, at, radiated, rules),
    )


def _exposure(found: RunFigures, at: int, radiated: tuple[float, float, float] | None, rules: Rules) -> dict[str, Any]:
    """Return how far each limit reaches, what is used up of it where people are, and what the licence says."""
    run, f, power_w = found.run, float(found.frequency_hz[at]), float(found.power_w[at])
    limits = limits_in_force(run.exposure.standards, rules, f)
    emitter = emitter_of(run, f, float(found.at_antenna_w.middle[at]), float(found.at_antenna_w.high[at]))
    people_m = run.exposure.people_m
    return {
        "exposure": tuple(exposure_finding(emitter, limit) for limit in limits),
        "density": ()
        if people_m is None
        else tuple(density_finding(emitter, limit, people_m, power_w) for limit in limits),
        "licence": licence_findings(rules, f, power_w, radiated),
    }


def _radiated_w(run: Run, at_antenna_w: Sequence[float]) -> tuple[float, float, float] | None:
    """Return the EIRP of the power at the antenna with the ends of its interval, W; None where no gain is known."""
    if run.gain_dbi is None:
        return None
    value, low, high = (float(eirp_w(power, run.gain_dbi)) for power in at_antenna_w)
    return value, low, high


def part_finding(found: RunFigures, p: PartFigures, at: int) -> PartFinding:
    """Return what one part does at frequency number ``at``."""
    part, rating = p.section.part, p.ratings[at]
    volts, loss, load = float(p.peak_voltage_v[at]), p.loss_db, load_w(found, p, at)
    return PartFinding(
        name=part.name,
        kind=KINDS[type(part)],
        loss_db=float(loss.middle[at]),
        loss_db_low=float(loss.low[at]),
        loss_db_high=float(loss.high[at]),
        matched_loss_db=float(p.matched_db[at]),
        power_in_w=float(p.power_in_w[at]),
        power_out_w=float(p.power_out_w[at]),
        heat_w=float(p.heat_w[at]),
        heat_w_per_m=None if p.heat_w_per_m is None else float(p.heat_w_per_m[at]),
        peak_voltage_v=volts,
        voltage_rating_v=rating.voltage_v,
        voltage_margin=_margin(rating.voltage_v, volts),
        voltage_rating_by=rating.voltage_source,
        voltage_rating_grade=rating.voltage_grade,
        power_rating_w=rating.power_w,
        load_w=load,
        heat_margin=_margin(rating.power_w, load),
        power_rating_by=rating.power_source,
        power_rating_grade=rating.power_grade,
        swr_in=float(p.swr_in[at]),
        **_of_a_line(p, at),
    )


def load_w(found: RunFigures, p: PartFigures, at: int) -> float:
    """Return the mean power a rating is held against.

    The power into a match that would heat it so: for a line its hottest place, for another part the whole of it. That
    is the heat it gives off over the share of its power that it takes up behind a match; never less than the average
    power into it. A part without loss counts as a pad of next to none, in a standing wave ``(S + 1/S)/2`` times as hot
    (``physics.heating.hot_spot_factor``). A tuner is rated for the mismatch it tunes: the average power alone.
    """
    if p.alike_w is not None:
        return float(p.alike_w[at])
    average_w = float(found.on_air * p.power_in_w[at])
    if isinstance(p.section.part, TunerPart):
        return average_w
    taken_up = 1.0 - delivered_fraction(float(p.matched_db[at]))
    if taken_up < LEAST_SHARE:
        return average_w * float(hot_spot_factor(max(1.0, p.swr_in[at]))[1])
    lost = 1.0 - delivered_fraction(float(p.loss_db.middle[at]))
    return average_w * max(1.0, lost / taken_up)


def _margin(rating: float | None, load: float) -> float | None:
    return None if rating is None or load <= 0.0 else rating / load


def _of_a_line(p: PartFigures, at: int) -> dict[str, Any]:
    line, part = p.section.line, p.section.part
    if line is None or not isinstance(part, LinePart):
        return {}
    degrees, length_m = float(np.degrees(line.phase_rad[at, 0])), part.piece.length_m
    return {
        "length_m": length_m,
        "electrical_length_deg": degrees,
        "velocity_factor": part.velocity_factor or (part.piece.line.velocity_factor if part.piece.line else None),
        "velocity_swept": part.velocity_factor is not None,
        "cut_m": () if part.cut_deg is None else cuts_m(length_m, degrees, part.cut_deg),
        "basis": line.belief.basis,
    }


def cuts_m(length_m: float, degrees: float, cut_deg: float) -> tuple[float, ...]:
    """Return the lengths nearest to this one that are ``cut_deg`` long, or that and whole half waves more.

    A line repeats the impedance at its end every half wave. Where even the shortest is longer than the length at hand,
    that one alone.

    >>> cuts_m(10.0, 400.0, 90.0)  # of 90, 270, 450 ... degrees
    (6.75, 11.25)
    """
    per_deg = length_m / degrees
    more = floor((degrees - cut_deg) / 180.0 + 1e-9)
    if more < 0:
        return (cut_deg * per_deg,)
    return (cut_deg + 180.0 * more) * per_deg, (cut_deg + 180.0 * (more + 1)) * per_deg
