"""How each figure of a plan was worked out, so that anyone can check it with a pencil."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from linewright.core.arrays import Floats
from linewright.core.formatting import (
    digits,
    frequency,
    interval,
    length,
    metres,
    per_metre,
    plain,
    quantity,
    reach,
    signed,
)
from linewright.core.formulas.coax import temperature_factor
from linewright.core.formulas.exposure import DIPOLE_GAIN, eirp_w
from linewright.core.formulas.lossy_line import impedance_skew
from linewright.core.frozen import dataclass
from linewright.core.messages import say, together
from linewright.core.nouns.bench_result import Key, Working
from linewright.core.nouns.exposure import ExposureFinding
from linewright.core.nouns.plan import BandFinding, NoiseSource, PartFinding, ReceptionFinding
from linewright.core.nouns.station import Antenna
from linewright.link.exposure import emitter_of, far_from_m
from linewright.link.figures import PartFigures, RunFigures, line_at_antenna
from linewright.link.findings import load_w
from linewright.link.near_exposure import solved, typical_loss_ohm
from linewright.link.reception import Hearing
from linewright.link.sections import Line

# How the figures on the air were worked out: noise and reception, radiation and exposure

NOISE = say("ITU-R P.372-10, sections 2, 5 and 8; H. T. Friis' formula (Pozar, 4th ed., equation 10.22, from memory).")
SKY = say("ITU-R P.372-16, equations 10, 11 and 13, and P.372-12, equation 15, as quoted; the loss A of the air by the"
          " oxygen of P.676 (from memory).")  # fmt: skip
OET = say("OET Bulletin 65, equations 3 to 6 (numbers from memory); limits as their tables print them.")
MOMENTS = say("A method of moments with piecewise sinusoids; see the page on fields near wires. Limits as their tables"
              " print them.")  # fmt: skip


def reception_workings(heard: Hearing, x: BandFinding, r: ReceptionFinding, f: str) -> Iterator[Working]:
    """Yield the workings of noise and of the loss of signal-to-noise."""
    yield _outside(heard, x.frequency_hz, r, f)
    own, system = _kelvin(r.noise_temperature_kelvin), _kelvin(r.system_noise_kelvin)
    yield Working(
        say("noise figure from the antenna's terminals on at {f}: {figure}, or {noise}",
            f=f, figure=quantity(plain(r.noise_figure_db, 2), "dB"), noise=own),
        say("T = T1 + T2/G1 + T3/(G1 G2) + ..., F = 10 lg(1 + T/290 K); a loss L at the temperature Tp adds Tp (L - 1)"
            " at its input"),
        tuple(map(_counted, r.sources)),
        NOISE, ("noise figure", x.frequency_hz),
    )  # fmt: skip
    yield Working(
        say("system noise at {f}: {noise}", f=f, noise=system),
        say("external noise + noise temperature of the chain, at the antenna's terminals"),
        ((say("external noise"), _kelvin(r.external_noise_kelvin)), (say("noise temperature of the chain"), own)),
        NOISE,
        ("system noise", x.frequency_hz),
    )
    if r.g_over_t_db_per_kelvin is not None and heard.run.gain_dbi is not None:
        yield Working(
            say("G/T at {f}: {figure}", f=f, figure=quantity(plain(r.g_over_t_db_per_kelvin, 1), "dB/K")),
            say("gain - 10 lg(system noise / 1 K)"),
            ((say("gain"), quantity(digits(heard.run.gain_dbi), "dBi")), (say("system noise"), system)),
            say("Defined in ITU-R S.733 (place from memory)."), ("G/T", x.frequency_hz),
        )  # fmt: skip
    yield Working(
        say("loss of signal-to-noise at {f}: {loss}",
            f=f, loss=interval(r.reception_loss_db, r.reception_loss_db_low, r.reception_loss_db_high)),
        say("10 lg(system noise / system noise without a loss before the receiver)"),
        (
            (say("system noise"), system),
            (say("without a loss"), _kelvin(r.system_noise_kelvin / 10.0 ** (r.reception_loss_db / 10.0))),
            *((say("left with {remedy}", remedy=x.what), quantity(plain(x.reception_loss_db, 2), "dB"))
              for x in r.remedies),
        ),
        NOISE, ("reception loss", x.frequency_hz),
    )  # fmt: skip


def _counted(source: NoiseSource) -> tuple[str, str]:
    """Return one part of the cascade: its gain, its own noise temperature, and what that counts for."""
    gain, own, counts = (
        quantity(signed(source.gain_db, 2), "dB"),
        _kelvin(source.noise_temperature_kelvin),
        _kelvin(source.noise_kelvin),
    )
    if source.temperature_kelvin is None:
        return source.name, say("{gain}, adds {own}, counts {counts}", gain=gain, own=own, counts=counts)
    warm = quantity(plain(source.temperature_kelvin, 1), "K")
    return source.name, say(
        "{gain} at {warm}, adds {own}, counts {counts}", gain=gain, warm=warm, own=own, counts=counts
    )


def _kelvin(temperature: float) -> str:
    return quantity(digits(temperature, 4), "K")


def _outside(heard: Hearing, frequency_hz: float, r: ReceptionFinding, f: str) -> Working:
    site, sky = heard.outside.site, heard.run.sky_temperature_kelvin
    low, high = (digits(t, 4) for t in (r.external_noise_kelvin_low, r.external_noise_kelvin_high))
    figure = say("external noise at {f}: {noise} ({low} to {high})",
                 f=f, noise=_kelvin(r.external_noise_kelvin), low=low, high=high)  # fmt: skip
    sky_said = say("galactic noise and the cosmic background")
    if heard.run.sky is not None:
        sky_said = say(
            "share · 290 K + (1 - share) · (275 K (1 - 1/A) + (galaxy + 2.7 K)/A): share {ground}, elevation {up}°",
            ground=quantity(digits(100.0 * heard.run.sky.ground_share), "%"), up=digits(heard.run.sky.elevation_deg),
        )  # fmt: skip
    elif sky is not None:
        sky_said = say("{noise}, as given", noise=quantity(digits(sky), "K"))
    if site is None:
        formula, source = say("the antenna temperature as given; no site is stated"), DEFINITION
        if heard.run.sky is not None:
            formula, source = say("what the antenna hears of sky and ground; no site is stated"), SKY
        return Working(figure, formula, ((say("sky"), sky_said),), source, ("external noise", frequency_hz))
    return Working(
        figure,
        say("290 K · 10^(Fa/10), Fa = c - d lg(f / 1 MHz) of the site, with the sky's noise added"),
        (
            (say("site"), say(site.name)),
            ("c, d", say("{c} dB, {d} dB", c=digits(site.c_db), d=digits(site.d_db))),
            (say("stated for"), say("{low} to {high}", low=frequency(site.low_hz), high=frequency(site.high_hz))),
            (say("deciles"),
             say("+{upper} and -{lower} dB", upper=digits(site.upper_decile_db), lower=digits(site.lower_decile_db))),
            (say("sky"), sky_said),
        ),
        site.provenance.told, ("external noise", frequency_hz),
    )  # fmt: skip


def radiation_workings(found: RunFigures, x: BandFinding, f: str) -> Iterator[Working]:
    """Yield the workings of EIRP and of the distances to limits."""
    eirp = say("not known: no gain is stated")
    if x.eirp_w is not None and found.run.gain_dbi is not None:
        most = float(eirp_w(x.power_at_antenna_w_high, found.run.gain_dbi))
        eirp = say("{low} to {high}", low=plain(x.eirp_w, 1), high=quantity(plain(most, 1), "W"))
        yield _eirp(found.run.gain_dbi, x, f)
        yield _erp(x, f)
    for e in x.exposure:
        yield _near(found, x, e, f) if e.method == "near field" else _far(found, x, e, f, eirp)


def _eirp(gain_dbi: float, x: BandFinding, f: str) -> Working:
    assert x.eirp_w is not None
    return Working(
        say("EIRP at {f}: {power}", f=f, power=quantity(plain(x.eirp_w, 1), "W")),
        say("power at the antenna · 10^(gain / 10)"),
        (
            (say("power at the antenna"), quantity(plain(x.power_at_antenna_w, 2), "W")),
            (say("upper end of its interval"), quantity(plain(x.power_at_antenna_w_high, 2), "W")),
            (say("gain"), quantity(digits(gain_dbi), "dBi")),
        ),
        DEFINITION,
        ("EIRP", x.frequency_hz),
    )


def _erp(x: BandFinding, f: str) -> Working:
    assert x.erp_w is not None
    assert x.eirp_w is not None
    return Working(
        say("ERP at {f}: {power}", f=f, power=quantity(plain(x.erp_w, 1), "W")),
        say("EIRP / {ratio}, the gain of a half-wave dipole", ratio=digits(DIPOLE_GAIN)),
        ((say("EIRP"), quantity(plain(x.eirp_w, 1), "W")),),
        say("47 CFR 1.1307(b)(3)(i)(C) counts so."),
        ("ERP", x.frequency_hz),
    )


def _figure(e: ExposureFinding, f: str) -> str:
    none = e.distance_m is None or e.distance_m_high is None
    return say("distance by {limit}, {who}, at {f}: {distance}", limit=e.limit, who=say(e.who), f=f,
               distance=say("no figure") if none else reach(e.distance_m or 0.0, e.distance_m_high or 0.0))  # fmt: skip


def _share(e: ExposureFinding) -> tuple[str, str]:
    if e.averaging_s == 0.0:
        return say("average over peak power"), say("1: this limit is not averaged, the highest moment counts")
    share, minutes = digits(e.share, 4), digits(e.averaging_s / 60.0)
    return say("average over peak power"), say("{share} in the worst {minutes} minutes", share=share, minutes=minutes)


def _near(found: RunFigures, x: BandFinding, e: ExposureFinding, f: str) -> Working:
    antenna = found.run.antenna
    assert antenna.shape is not None
    impedance = complex(solved(antenna.shape, x.frequency_hz).impedance_ohm[0])
    loss = say("that of its wires alone") if antenna.loss_ohm is None else quantity(digits(antenna.loss_ohm), "Ω")
    low = () if e.distance_m_low is None else (
        (say("distance with typical losses"), length(e.distance_m_low, 2)),
        (say("typical losses"), quantity(digits(typical_loss_ohm(antenna.shape, x.frequency_hz), 3), "Ω")),
    )  # fmt: skip
    window = () if e.window_distance_m is None else (
        (say("from the feed, at the window's height"), _level(e.window_distance_m)),
    )  # fmt: skip
    return Working(
        _figure(e, f),
        say("where max(E/E limit, H/H limit) falls below 1 on ways out of the wires; E and H of the currents that a"
            " method of moments finds on them"),
        (
            (say("power at the antenna"), quantity(plain(x.power_at_antenna_w, 2), "W")),
            (say("upper end of its interval"), quantity(plain(x.power_at_antenna_w_high, 2), "W")),
            _share(e),
            (say("resistance at the feed, reckoned"), quantity(digits(impedance.real, 3), "Ω")),
            (say("loss in series with it"), loss),
            (say("limit: {quantity}", quantity=say(e.quantity)), quantity(digits(e.limit_value), e.unit)),
            (say("limit by"), e.source),
            *low,
            (say("from the feed, where people stand"), _level(e.ground_distance_m)),
            *window,
        ),
        MOMENTS, ("distance", e.limit, e.who, x.frequency_hz),
    )  # fmt: skip


def _level(distance_m: float | None) -> str:
    return length(distance_m, 2) if distance_m else say("nowhere")


def _far(found: RunFigures, x: BandFinding, e: ExposureFinding, f: str, eirp: str) -> Working:
    run = found.run
    near = (
        say("yes: the formula counts the whole gain before the lobe is formed, so the distance is too far")
        if e.in_near_field
        else say("no")
    )
    if e.distance_m is None:
        near = (
            say("yes: the formula does not hold there; what is needed: {needs}", needs=e.needs)
            if e.in_near_field
            else say("not known; what is needed: {needs}", needs=e.needs)
        )
    emitter = emitter_of(run, x.frequency_hz, x.power_at_antenna_w, x.power_at_antenna_w_high)
    return Working(
        _figure(e, f),
        say("√(g · EIRP · duty · mode factor / (4 π S)), S the density of a plane wave that reaches the limit"),
        (
            ("EIRP", eirp),
            _share(e),
            (say("g, ground reflection in power"), digits(run.exposure.ground_factor)),
            (say("limit: {quantity}", quantity=say(e.quantity)), quantity(digits(e.limit_value), e.unit)),
            (say("limit by"), e.source),
            (say("far field from"), length(far_from_m(emitter), 2)),
            (say("in the near field"), near),
        ),
        OET, ("distance", e.limit, e.who, x.frequency_hz),
    )  # fmt: skip


# How the figures of each part of a run were worked out: loss, voltage, heat, length


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
MATCHED = say("into a match")
CONDUCTOR = say("conductor part")
DIELECTRIC = say("dielectric part")
ENDS = say("connectors and joints of the piece")
TEMPERATURE = say("temperature")
RESTS_ON = say("rests on")
PEAK = say("|V| √(2 P / Re(V I*)), greatest along the part, upper end of the 95 % interval; margin: rating over it")
FULL_POWER = say("P, the radio's full power")
PEAK_RATING = say("rating, peak")
NONE_KNOWN = say(
    "Of a part's matched loss the median counts, as on the shelf; of what standing waves add, the mean. So the parts"
    " add up. A choice of this project."
)
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


@dataclass(frozen=True, slots=True)
class Here:
    """Which part at which frequency: its number from 1 at the radio, the frequency's place in the run, and both said.

    A part has a number because two parts may be called alike.
    """

    number: int
    i: int
    frequency_hz: float

    @property
    def f(self) -> str:
        """The frequency in words."""
        return frequency(self.frequency_hz)

    def key(self, kind: str) -> Key:
        """Return the key of one figure of this part."""
        return kind, self.number, self.frequency_hz


def part_workings(found: RunFigures, figures: PartFigures, p: PartFinding, here: Here) -> Iterator[Working]:
    """Yield the workings of one part at one frequency."""
    power_in, power_out = (quantity(plain(w, 3), "W") for w in (p.power_in_w, p.power_out_w * figures.section.ways))
    yield Working(
        say("loss of {part} at {f}: {loss}", part=p.name, f=here.f, loss=_loss(p)),
        LOSS,
        (
            (POWER_IN, power_in),
            (POWER_OUT, power_out),
            (MATCHED, db(p.matched_loss_db)),
            *_line_inputs(found, figures, here.i),
        ),
        LINE if p.kind == "line" else CHAIN,
        here.key("part loss"),
    )
    yield _volts(found, figures, p, here)
    if p.power_rating_w is not None or p.heat_w_per_m is not None:
        yield _heat(found, figures, p, here)
    if p.electrical_length_deg is not None and p.length_m is not None:
        yield _length(p, p.electrical_length_deg, p.length_m, here)


def _loss(p: PartFinding) -> str:
    sure = p.loss_db_high - p.loss_db_low < SURE_DB
    return db(p.loss_db) if sure else interval(p.loss_db, p.loss_db_low, p.loss_db_high)


def _length(p: PartFinding, degrees: float, length_m: float, here: Here) -> Working:
    said = say("electrical length of {part} at {f}: {length} degrees", part=p.name, f=here.f, length=plain(degrees, 1))
    long, source = (say("length"), metres(length_m)), say("{book}, section 2.1 (from memory).", book=POZAR)
    factor = (say("velocity factor, by its sweep") if p.velocity_swept else say("velocity factor, of its type"),
              plain(p.velocity_factor or 0.0, 4))  # fmt: skip
    if not p.cut_m:
        formula = say("360 · f · length / (velocity factor · c)")
        return Working(said, formula, (long, factor), source, here.key("part length"))
    cuts = together((length(c, 3) for c in p.cut_m), ", ")
    formula = say("360 · f · length / (velocity factor · c); cuts: that length, or whole half waves more")
    return Working(said, formula, (long, factor, (say("cuts"), cuts)), source, here.key("part length"))


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


def _volts(found: RunFigures, figures: PartFigures, p: PartFinding, here: Here) -> Working:
    peak = quantity(plain(p.peak_voltage_v, 1), "V")
    rated = None if p.voltage_rating_v is None else quantity(plain(p.voltage_rating_v, 0), "V")
    return Working(
        say("peak voltage on {part} at {f}: {peak}; margin: {margin}",
            part=p.name, f=here.f, peak=peak, margin=margin_words(p.voltage_margin)),
        PEAK,
        (
            (FULL_POWER, watts(float(found.power_w[here.i]))),
            (PEAK_RATING, rated or NONE_KNOWN),
            (RATING_BY, figures.ratings[here.i].voltage_source or NOBODY),
        ),
        VOLTAGE, here.key("part voltage"),
    )  # fmt: skip


def margin_words(margin: float | None) -> str:
    """Write a margin; where nobody states a rating there is none."""
    return NO_RATING if margin is None else plain(margin, 2)


def _heat(found: RunFigures, figures: PartFigures, p: PartFinding, here: Here) -> Working:
    heat, per_m = quantity(plain(p.heat_w, 3), "W"), p.heat_w_per_m
    hottest = () if per_m is None else ((HOTTEST, per_metre(per_m, 3, "W")),)
    rated = None if p.power_rating_w is None else quantity(plain(p.power_rating_w, 0), "W")
    return Working(
        say("heat of {part} at {f}: {heat}; margin: {margin}",
            part=p.name, f=here.f, heat=heat, margin=margin_words(p.heat_margin)),
        PART_HEAT,
        (
            (ON_AIR, digits(found.on_air)),
            *hottest,
            (LOAD, watts(load_w(found, figures, here.i))),
            (RATING, rated or NONE_KNOWN),
            (RATING_BY, figures.ratings[here.i].power_source or NOBODY),
        ),
        HEAT, here.key("part heat"),
    )  # fmt: skip


# How each figure of a plan was worked out, so that anyone can check it with a pencil

DEFINITION = say("By definition.")
OWN = say(
    "Of a part's matched loss the median counts, as on the shelf; of what standing waves add, the mean. So the parts"
    " add up. A choice of this project."
)


def workings(found: RunFigures, bands: tuple[BandFinding, ...], heard: Hearing | None) -> tuple[Working, ...]:
    """Return the workings of every figure, frequency by frequency."""
    return tuple(w for i, band in enumerate(bands) for w in _band(found, band, i, heard))


def _band(found: RunFigures, x: BandFinding, i: int, heard: Hearing | None) -> Iterator[Working]:
    f = frequency(x.frequency_hz)
    yield from _losses(x, f)
    yield from _powers(found, x, i, f)
    yield from _swr(found, x, f)
    for number, (figures, part) in enumerate(zip(found.parts, x.parts, strict=True), start=1):
        yield from part_workings(found, figures, part, Here(number, i, x.frequency_hz))
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
        ("matched loss", x.frequency_hz),
    )
    yield Working(
        say("total loss at {f}: {loss}",
            f=f, loss=interval(x.total_loss_db, x.total_loss_db_low, x.total_loss_db_high)),
        say("sum of the parts where they stand: 10 lg of power into a part over power out of it, Re(V I*) at either"
            " end"),
        tuple((p.name, db(p.loss_db)) for p in x.parts),
        CHAIN, ("total loss", x.frequency_hz),
    )  # fmt: skip
    yield Working(
        say("extra loss through standing waves at {f}: {loss}", f=f, loss=db(x.mismatch_loss_db)),
        say("total loss - matched loss"),
        ((say("total"), total), (say("matched"), matched)),
        DEFINITION,
        ("extra loss", x.frequency_hz),
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
        ("radio power", x.frequency_hz),
    )
    yield Working(
        say("power at the antenna at {f}: {power}",
            f=f, power=interval(x.power_at_antenna_w, x.power_at_antenna_w_low, x.power_at_antenna_w_high, "W")),
        say("power of the radio · 10^(-total loss / 10)"),
        ((say("power of the radio"), given), (say("total loss"), db(x.total_loss_db))),
        DEFINITION, ("antenna power", x.frequency_hz),
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
        ("heat", x.frequency_hz),
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
        ("antenna SWR", x.frequency_hz),
    )
    yield Working(
        say("SWR at the radio at {f}: {swr} ({low} to {high})", f=f, swr=seen, low=low, high=high),
        say("as at the antenna, from V and I at the radio's end of the chain, in 50 ohms"),
        ((say("SWR at the antenna"), at_antenna), (say("total loss"), db(x.total_loss_db))),
        CHAIN,
        ("radio SWR", x.frequency_hz),
    )
    highest = say("no limit") if x.highest_swr_at_radio is None else plain(x.highest_swr_at_radio, 3)
    yield Working(
        say("highest SWR the radio can see at {f}: {swr}", f=f, swr=highest),
        say("(1 + m)/(1 - m), m = |S11 + S12 S21 S22*/(1 - |S22|²)| + |S12 S21|/(1 - |S22|²) of the chain without"
            " tuners"),
        ((say("matched loss"), db(x.matched_loss_db)),),
        say("The circle that all total reflections become at the radio (from memory); on one matched line"
            " 1/tanh(ML/8.686), ham.stackexchange.com question 9722."),
        ("highest SWR", x.frequency_hz),
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
        least, volts, DEFINITION, ("voltage margin", x.frequency_hz),
    )  # fmt: skip
    yield Working(
        say("heat margin at {f}: {margin}", f=f, margin=margin_words(x.heat_margin)),
        least, heat, DEFINITION, ("heat margin", x.frequency_hz),
    )  # fmt: skip
