"""How the figures on the air were worked out: noise and reception, radiation and exposure."""

from __future__ import annotations

from collections.abc import Iterator

from linewright.budget.exposure import near_field_m
from linewright.budget.figures import RunFigures
from linewright.budget.reception import KELVIN_AT_0_CELSIUS, Hearing
from linewright.model.plan import BandFinding, ExposureFinding, ReceptionFinding
from linewright.model.result import Working
from linewright.model.station import Preamplifier
from linewright.physics.exposure import eirp_w
from linewright.units.said import say
from linewright.units.writing import digits, frequency, interval, length, plain, quantity, reach

NOISE = say("ITU-R P.372-10, sections 2, 5 and 8; H. T. Friis' formula (Pozar, 4th ed., equation 10.22, from memory).")
OET = say("OET Bulletin 65, equations 3 to 6 (numbers from memory); limits as their tables print them.")
DEFINITION = say("By definition.")


def reception_workings(heard: Hearing, x: BandFinding, r: ReceptionFinding, f: str) -> Iterator[Working]:
    """Yield the workings of noise and of the loss of signal-to-noise."""
    yield _outside(heard, r, f)
    inputs = _receiving(heard, x, r)
    yield Working(
        say("system noise at {f}: {noise}", f=f, noise=_kelvin(r.system_noise_kelvin)),
        say("external + T1 + T2/G1 + T3/(G1 G2), at the antenna's terminals; a loss L at T adds T (L - 1)"),
        inputs,
        NOISE,
    )
    yield Working(
        say("loss of signal-to-noise at {f}: {loss}",
            f=f, loss=interval(r.reception_loss_db, r.reception_loss_db_low, r.reception_loss_db_high)),
        say("10 lg(system noise / system noise with a lossless line)"),
        (*inputs, *((say("left with {remedy}", remedy=what), quantity(plain(left, 2), "dB"))
                    for what, left in r.remedies)),
        NOISE,
    )  # fmt: skip


def _kelvin(temperature: float) -> str:
    return quantity(digits(temperature, 4), "K")


def _outside(heard: Hearing, r: ReceptionFinding, f: str) -> Working:
    site, sky = heard.outside.site, heard.run.sky_temperature_kelvin
    low, high = (digits(t, 4) for t in (r.external_noise_kelvin_low, r.external_noise_kelvin_high))
    figure = say("external noise at {f}: {noise} ({low} to {high})",
                 f=f, noise=_kelvin(r.external_noise_kelvin), low=low, high=high)  # fmt: skip
    sky_said = say("galactic noise and the cosmic background")
    if sky is not None:
        sky_said = say("{noise}, as given", noise=quantity(digits(sky), "K"))
    if site is None:
        return Working(figure, say("the antenna temperature as given; no site is stated"),
                       ((say("sky"), sky_said),), DEFINITION)  # fmt: skip
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
        site.provenance.told,
    )  # fmt: skip


def _receiving(heard: Hearing, x: BandFinding, r: ReceptionFinding) -> tuple[tuple[str, str], ...]:
    celsius = KELVIN_AT_0_CELSIUS + heard.run.celsius
    noise = quantity(digits(heard.receiver.noise_figure_db), "dB")
    return (
        (say("external noise"), _kelvin(r.external_noise_kelvin)),
        (say("loss from antenna to radio"), quantity(plain(x.total_loss_db, 3), "dB")),
        (say("temperature of the line"), quantity(plain(celsius, 1), "K")),
        (say("preamplifier"), _preamplifier(heard.run.preamplifier)),
        (say("receiver"), say("noise figure {noise}", noise=noise)),
    )


def _preamplifier(amplifier: Preamplifier | None) -> str:
    if amplifier is None:
        return say("none")
    gain, noise = (quantity(digits(db), "dB") for db in (amplifier.gain_db, amplifier.noise_figure_db))
    if amplifier.at == "antenna":
        return say("{gain}, noise figure {noise}, at the antenna", gain=gain, noise=noise)
    return say("{gain}, noise figure {noise}, at the radio", gain=gain, noise=noise)


def radiation_workings(found: RunFigures, x: BandFinding, f: str) -> Iterator[Working]:
    """Yield the workings of EIRP and of the distances to limits."""
    assert x.eirp_w is not None
    assert found.run.gain_dbi is not None
    yield Working(
        say("EIRP at {f}: {power}", f=f, power=quantity(plain(x.eirp_w, 1), "W")),
        say("power at the antenna · 10^(gain / 10)"),
        (
            (say("power at the antenna"), quantity(plain(x.power_at_antenna_w, 2), "W")),
            (say("upper end of its interval"), quantity(plain(x.power_at_antenna_w_high, 2), "W")),
            (say("gain"), quantity(digits(found.run.gain_dbi), "dBi")),
        ),
        DEFINITION,
    )
    most = float(eirp_w(x.power_at_antenna_w_high, found.run.gain_dbi))
    eirp = say("{low} to {high}", low=plain(x.eirp_w, 1), high=quantity(plain(most, 1), "W"))
    yield from (_distance(found, x, e, f, eirp) for e in x.exposure)


def _distance(found: RunFigures, x: BandFinding, e: ExposureFinding, f: str, eirp: str) -> Working:
    run = found.run
    near, found_m = say("no"), say("no figure")
    if e.distance_m is None or e.distance_m_high is None:
        near = say("yes: the formula does not hold there; what is needed: {needs}", needs=e.needs)
    else:
        found_m = reach(e.distance_m, e.distance_m_high)
    return Working(
        say("distance by {limit}, {who}, at {f}: {distance}", limit=e.limit, who=say(e.who), f=f, distance=found_m),
        say("√(g · EIRP · duty · mode factor / (4 π S)), S the density of a plane wave that reaches the limit"),
        (
            ("EIRP", eirp),
            (say("duty · mode factor"), digits(found.on_air)),
            (say("g, ground reflection in power"), digits(run.exposure.ground_factor)),
            (say("limit: {quantity}", quantity=say(e.quantity)), quantity(digits(e.limit_value), e.unit)),
            (say("limit by"), e.source),
            (say("far field from"), length(near_field_m(run, x.frequency_hz), 2)),
            (say("in the near field"), near),
        ),
        OET,
    )  # fmt: skip
