"""What is said of reception: what was taken for granted, what could be done and what that needs, and why."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Literal

from linewright.catalogue.noise_sites import LEAST_KELVIN, ExternalNoise
from linewright.core.formatting import digits, frequency, noise, plain, quantity
from linewright.core.formulas.sky import GROUND_KELVIN
from linewright.core.messages import say, together
from linewright.core.nouns.plan import ReceptionFinding
from linewright.core.nouns.station import Preamplifier, Run

RemedyKind = Literal["line", "route", "mast", "shack", "moved"]


def source_words(of: Literal["preamplifier", "receiver"]) -> str:
    """Return what stands in the chain without a name of its own."""
    return say("preamplifier") if of == "preamplifier" else say("receiver")


# What was taken for granted where nobody stated it


def assumed(run: Run, outside: ExternalNoise, amplified: bool) -> tuple[str, ...]:
    """Return what was taken for granted where nobody stated it."""
    return tuple(_assumed(run, outside, amplified))


def _assumed(run: Run, outside: ExternalNoise, amplified: bool) -> Iterator[str]:
    yield from _antenna(run, outside)
    if run.temperature_celsius is None:
        yield say("No temperature is stated: the line and its parts are taken to be at {celsius} °C.",
                  celsius=digits(run.celsius))  # fmt: skip
    if amplified:
        yield say("A preamplifier is taken as matched at both ends, so its gain and noise figure are those stated.")


def _antenna(run: Run, outside: ExternalNoise) -> Iterator[str]:
    sky, site = run.sky_temperature_kelvin, outside.site
    if run.sky is not None:
        yield say(
            "The antenna points {elevation}° above the horizon and takes {ground} of its noise from ground at "
            "{warm}: the sky is clear, the galaxy is the median of ITU-R P.372, and sun and moon are elsewhere.",
            elevation=digits(run.sky.elevation_deg), ground=quantity(digits(100.0 * run.sky.ground_share), "%"),
            warm=quantity(digits(GROUND_KELVIN), "K"),
        )  # fmt: skip
        if site is not None:
            yield say(
                "A site is stated beside the sky: up to {high} the noise of a {site} site is added to it.",
                high=frequency(site.high_hz), site=say(site.name),
            )  # fmt: skip
    elif sky is None:
        yield say(
            "No antenna temperature is stated: the sky is taken as galactic noise and the cosmic background, and no "
            "antenna is assumed to hear less than {least}.",
            least=quantity(digits(LEAST_KELVIN), "K"),
        )  # fmt: skip
    elif site is None:
        yield say(
            "No site is stated: the antenna temperature of {noise} is taken as all the noise that comes in, and as "
            "steady.",
            noise=quantity(digits(sky), "K"),
        )  # fmt: skip
    else:
        yield say(
            "A site and an antenna temperature are stated: up to {high} the noise of a {site} site is added to the"
            " {noise}; above that they stand alone.",
            high=frequency(site.high_hz), site=say(site.name), noise=quantity(digits(sky), "K"),
        )  # fmt: skip


# What could be done


def remedy_words(kind: RemedyKind, amplifier: str) -> str:
    """Return what could be done, to stand after "with" and after "won by"; ``amplifier`` is the one that is there."""
    if kind == "line":
        return say("a line of half the loss")
    if kind == "route":
        return say("a route shorter by a third")
    if kind == "moved":
        return say("{preamplifier} moved to the antenna, bypassed on transmit", preamplifier=amplifier)
    if kind == "mast":
        return say("a preamplifier at the antenna, bypassed on transmit")
    return say("a preamplifier at the radio, bypassed on transmit")


BYPASS = say("a bypass that switches before power arrives")
MAST_NEEDS = (BYPASS, say("a supply up the mast"), say("protection against lightning and surges"))


def needs_of(kind: RemedyKind, amplifier: Preamplifier | None) -> tuple[str, ...]:
    """Return what a remedy needs, each to stand in a list."""
    if kind in ("line", "route"):
        return ()
    needs = MAST_NEEDS if kind in ("mast", "moved") else (BYPASS,)
    if amplifier is None:
        return needs
    gain, figure = (quantity(digits(db), "dB") for db in (amplifier.gain_db, amplifier.noise_figure_db))
    return (say("{gain} of gain at a noise figure of {noise}", gain=gain, noise=figure), *needs)


# Why a run costs what it costs


def why(r: ReceptionFinding, frequency_hz: float) -> str:
    """Return what a run costs in signal-to-noise at one frequency, why, and what would win most."""
    f, cost = frequency(frequency_hz), quantity(plain(abs(r.reception_loss_db), 1), "dB")
    loss = quantity(plain(-sum(s.gain_db for s in r.sources if s.temperature_kelvin is not None), 1), "dB")
    if r.state == "heard":
        return together([_heard(r, f, loss, cost), _won(r)])
    if r.state == "no loss":
        return say("At {frequency} nothing between antenna and receiver loses enough to speak of.", frequency=f)
    if r.state == "amplified":
        return say(
            "The preamplifier makes up for the line at {frequency}: {loss} of loss costs {cost} of signal-to-noise "
            "ratio.",
            frequency=f, loss=loss, cost=cost,
        )  # fmt: skip
    if r.state == "hidden":
        return say(
            "External noise is louder than all the noise that the run adds at {frequency}: {loss} of loss costs "
            "{cost} of signal-to-noise ratio.",
            frequency=f, loss=loss, cost=cost,
        )  # fmt: skip
    return say(
        "Little is lost at {frequency}: {loss} of loss costs {cost} of signal-to-noise ratio.",
        frequency=f, loss=loss, cost=cost,
    )  # fmt: skip


def _heard(r: ReceptionFinding, f: str, loss: str, cost: str) -> str:
    outside, own = (noise(t, loud=False) for t in (r.external_noise_kelvin, r.noise_temperature_kelvin))
    ahead = _ahead_db(r)
    if ahead is not None:
        return say(
            "At {frequency} the antenna brings in {outside} of noise and the run adds {own}: {loss} of loss, {ahead} "
            "of it ahead of the preamplifier, costs {cost} of signal-to-noise ratio.",
            frequency=f, outside=outside, own=own, loss=loss, ahead=quantity(plain(ahead, 1), "dB"), cost=cost,
        )  # fmt: skip
    return say(
        "At {frequency} the antenna brings in {outside} of noise and the run adds {own}: {loss} of loss costs {cost} "
        "of signal-to-noise ratio.",
        frequency=f, outside=outside, own=own, loss=loss, cost=cost,
    )  # fmt: skip


def _ahead_db(r: ReceptionFinding) -> float | None:
    """Return the loss between the antenna and the first preamplifier; None where there is none."""
    lost = 0.0
    for source in r.sources[:-1]:
        if source.temperature_kelvin is None:
            return lost
        lost -= source.gain_db
    return None


def _won(r: ReceptionFinding) -> str:
    if not r.remedies:
        return ""
    best = min(r.remedies, key=lambda x: x.reception_loss_db)
    left = quantity(plain(abs(best.reception_loss_db), 1), "dB")
    if best.reception_loss_db >= 0:
        return say("The best remedy is {remedy}, which leaves {left}.", remedy=best.what, left=left)
    return say(
        "The best remedy is {remedy}: {left} better than with a lossless line alone.", remedy=best.what, left=left
    )
