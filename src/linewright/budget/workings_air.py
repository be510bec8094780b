"""How the figures on the air were worked out: noise and reception, radiation and exposure."""

from __future__ import annotations

from collections.abc import Iterator

from linewright.budget.exposure import near_field_m
from linewright.budget.figures import RunFigures
from linewright.budget.reception import KELVIN_AT_0_CELSIUS, Hearing
from linewright.model.plan import BandFinding, ReceptionFinding
from linewright.model.result import Working
from linewright.units.writing import frequency, interval

NOISE = "ITU-R P.372-10, sections 2, 5 and 8; H. T. Friis' formula (Pozar, 4th ed., equation 10.22, from memory)."
OET = "OET Bulletin 65, equations 3 to 6 (numbers from memory); limits as their tables print them."
DEFINITION = "By definition."


def reception_workings(heard: Hearing, x: BandFinding, r: ReceptionFinding, at: str) -> Iterator[Working]:
    """Yield the workings of noise and of the loss of signal-to-noise."""
    site, sky = heard.outside.site, heard.run.sky_temperature_kelvin
    yield Working(
        f"external noise {at}: {r.external_noise_kelvin:.4g} K"
        f" ({r.external_noise_kelvin_low:.4g} to {r.external_noise_kelvin_high:.4g})",
        "290 K · 10^(Fa/10), Fa = c - d lg(f / 1 MHz) of the site, with the sky's noise added",
        (
            ("site", site.name),
            ("c, d", f"{site.c_db:g} dB, {site.d_db:g} dB"),
            ("stated for", f"{frequency(site.low_hz)} to {frequency(site.high_hz)}"),
            ("deciles", f"+{site.upper_decile_db:g} and -{site.lower_decile_db:g} dB"),
            ("sky", "galactic noise and the cosmic background" if sky is None else f"{sky:g} K, as given"),
        ),
        f"{site.provenance.grade}: {site.provenance.source}",
    )
    amplifier = heard.run.preamplifier
    inputs = (
        ("external noise", f"{r.external_noise_kelvin:.4g} K"),
        ("loss from antenna to radio", f"{x.total_loss_db:.3f} dB"),
        ("temperature of the line", f"{KELVIN_AT_0_CELSIUS + heard.run.temperature_celsius:.1f} K"),
        (
            "preamplifier",
            "none"
            if amplifier is None
            else f"{amplifier.gain_db:g} dB, noise figure {amplifier.noise_figure_db:g} dB, at the {amplifier.at}",
        ),
        ("receiver", f"noise figure {heard.receiver.noise_figure_db:g} dB"),
    )
    yield Working(
        f"system noise {at}: {r.system_noise_kelvin:.4g} K",
        "external + T1 + T2/G1 + T3/(G1 G2), at the antenna's terminals; a loss L at T adds T (L - 1)",
        inputs,
        NOISE,
    )
    yield Working(
        f"loss of signal-to-noise {at}:"
        f" {interval(r.reception_loss_db, r.reception_loss_db_low, r.reception_loss_db_high)}",
        "10 lg(system noise / system noise with a lossless line)",
        (*inputs, *((f"left with {what}", f"{left:.2f} dB") for what, left in r.remedies)),
        NOISE,
    )


def radiation_workings(found: RunFigures, x: BandFinding, at: str) -> Iterator[Working]:
    """Yield the workings of EIRP and of the distances to limits."""
    run = found.run
    yield Working(
        f"EIRP {at}: {x.eirp_w:.1f} W",
        "power at the antenna · 10^(gain / 10)",
        (("power at the antenna", f"{x.power_at_antenna_w:.2f} W"), ("gain", f"{run.gain_dbi:g} dBi")),
        DEFINITION,
    )
    for e in x.exposure:
        yield Working(
            f"distance by {e.limit}, {e.who}, {at}: {e.distance_m:.2f} m",
            "√(g · EIRP · duty · mode factor / (4 π S)), S the density of a plane wave that reaches the limit",
            (
                ("EIRP", f"{x.eirp_w:.1f} W"),
                ("duty · mode factor", f"{found.on_air:g}"),
                ("g, ground reflection in power", f"{run.exposure.ground_factor:g}"),
                (f"limit: {e.quantity}", f"{e.limit_value:g} {e.unit}"),
                ("limit by", e.source),
                ("far field from", f"{near_field_m(run, x.frequency_hz):.2f} m"),
                ("in the near field", "yes: the formula does not hold there" if e.in_near_field else "no"),
            ),
            OET,
        )
