"""What a run does to reception: noise from outside, from the line, from preamplifier and receiver."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from linewright.catalogue.belief import even_normals
from linewright.catalogue.noise_sites import LEAST_KELVIN, ExternalNoise, external_noise, noise_site
from linewright.core.arrays import Floats
from linewright.core.formatting import digits, frequency, plain, quantity
from linewright.core.formulas.noise import (
    Stage,
    active_stage,
    passive_stage,
    receiving_stages,
    reception_loss_db,
    spread_db,
    system_temperature_kelvin,
)
from linewright.core.messages import say, together
from linewright.core.nouns.plan import ReceptionFinding
from linewright.core.nouns.station import LinePart, NoiseSite, Preamplifier, Receiver, Run
from linewright.link.draws import SEED, Spread, mean_spread
from linewright.link.figures import RunFigures

KELVIN_AT_0_CELSIUS = 273.15
USUAL_PREAMPLIFIER = Preamplifier(20.0, 1.0, "antenna")
"""What a remedy is reckoned with where the station has none; common practice, no source."""
UNHEARD_DB = 0.3
"""A loss of signal-to-noise nobody notices; common practice, no source."""


@dataclass(frozen=True, slots=True)
class Hearing:
    """What reception is reckoned from: noise outside (f, draws), its middle (f,), the loss of the run (f, draws)."""

    run: Run
    receiver: Receiver
    outside: ExternalNoise
    external_kelvin: Floats
    loss_db: Floats
    line_db: Floats

    @property
    def middle_kelvin(self) -> Floats:
        """The median of the noise outside, (f,)."""
        return np.atleast_1d(self.outside.temperature_kelvin)

    def stages(self, loss_db: Floats, preamplifier: Preamplifier | None) -> tuple[Stage, ...]:
        """Return the receiving chain with a loss and a preamplifier.

        A passive reciprocal chain's available gain from the antenna is its power gain from the radio with the same
        antenna, so its noise temperature is ``T (L - 1)`` with L the loss in place (Pozar, Microwave Engineering,
        4th ed., section 10.1; the reciprocity of the two gains from memory).
        """
        line = passive_stage(np.maximum(loss_db, 0.0), KELVIN_AT_0_CELSIUS + self.run.celsius)
        active = None if preamplifier is None else active_stage(preamplifier.gain_db, preamplifier.noise_figure_db)
        at = "antenna" if preamplifier is None else preamplifier.at
        return receiving_stages(line, self.receiver.noise_figure_db, active, at)

    def cost_db(self, external: Floats, loss_db: Floats, preamplifier: Preamplifier | None) -> Floats:
        """Return the loss of signal-to-noise against the run as it is with a lossless line."""
        lossless = self.stages(np.zeros_like(loss_db), self.run.preamplifier)
        return reception_loss_db(external, self.stages(loss_db, preamplifier), lossless)


def hearing(found: RunFigures, noise: NoiseSite | None) -> Hearing | None:
    """Return what reception is reckoned from; None without a receiver, or without a site and a sky temperature."""
    run = found.run
    if run.receiver is None or (noise is None and run.sky_temperature_kelvin is None):
        return None
    site = None if noise is None else noise_site(noise)
    outside = external_noise(site, found.frequency_hz, run.sky_temperature_kelvin)
    lines = [loss for p, loss in zip(run.chain, found.walked.loss_db, strict=True) if isinstance(p, LinePart)]
    total = found.walked.total_db
    return Hearing(run, run.receiver, outside, _draws(outside, total), total, sum(lines, np.zeros_like(total)))


def _draws(outside: ExternalNoise, like: Floats) -> Floats:
    """Return draws of the noise outside; where only the sky counts, nobody states its spread."""
    count = max(like.shape[-1], 1)
    if outside.site is None:
        return np.repeat(np.atleast_1d(outside.temperature_kelvin)[:, None], count, axis=1)
    z = np.random.default_rng(SEED).permutation(even_normals(count))
    site = outside.site
    varies = np.atleast_1d(site.covers(outside.frequency_hz) | outside.extrapolated)[:, None]
    swing = np.where(varies, spread_db(z, site.upper_decile_db, site.lower_decile_db), 0.0)
    return np.asarray(np.atleast_1d(outside.temperature_kelvin)[:, None] * 10.0 ** (swing / 10.0))


def reception_findings(found: RunFigures, heard: Hearing | None) -> tuple[ReceptionFinding | None, ...]:
    """Return what a run does to reception at each frequency.

    The middle is reckoned from the median noise outside and the mean loss; intervals from the draws of both.
    """
    if heard is None:
        return (None,) * len(found.frequency_hz)
    own = heard.run.preamplifier
    loss = found.total_db.middle
    cost = heard.cost_db(heard.middle_kelvin, loss, own)
    reach = mean_spread(heard.cost_db(heard.external_kelvin, heard.loss_db, own))
    system = system_temperature_kelvin(heard.middle_kelvin, heard.stages(loss, own))
    outside = mean_spread(heard.external_kelvin)
    remedies = _remedies(heard, loss)
    return tuple(
        _finding(
            heard, i, outside, float(system[i]), (cost, reach), [(what, float(left[i])) for what, left in remedies]
        )
        for i in range(len(loss))
    )


def _finding(
    heard: Hearing,
    i: int,
    outside: Spread,
    system: float,
    cost: tuple[Floats, Spread],
    remedies: Sequence[tuple[str, float]],
) -> ReceptionFinding:
    middle, reach = float(cost[0][i]), cost[1]
    return ReceptionFinding(
        external_noise_kelvin=float(heard.middle_kelvin[i]),
        external_noise_kelvin_low=float(outside.low[i]),
        external_noise_kelvin_high=float(outside.high[i]),
        system_noise_kelvin=system,
        reception_loss_db=middle,
        reception_loss_db_low=min(middle, float(reach.low[i])),
        reception_loss_db_high=max(middle, float(reach.high[i])),
        remedies=tuple(remedies),
        why=_why(heard, i, middle, remedies),
        assumed=tuple(_assumed(heard)),
    )


def _assumed(heard: Hearing) -> Iterator[str]:
    """Yield what was taken for granted where nobody stated it."""
    sky, site = heard.run.sky_temperature_kelvin, heard.outside.site
    if sky is None:
        yield say(
            "No antenna temperature is stated: the sky is galactic noise and the cosmic background, and no antenna is"
            " taken to hear less than {least}.",
            least=quantity(digits(LEAST_KELVIN), "K"),
        )  # fmt: skip
    elif site is None:
        yield say(
            "No site is stated: the antenna temperature of {noise} is taken as all that comes in, and as steady.",
            noise=quantity(digits(sky), "K"),
        )  # fmt: skip
    else:
        yield say(
            "A site and an antenna temperature are stated: up to {high} the noise of a {site} site is added to the"
            " {noise}; above that they stand alone.",
            high=frequency(site.high_hz), site=say(site.name), noise=quantity(digits(sky), "K"),
        )  # fmt: skip
    if heard.run.temperature_celsius is None:
        yield say("No temperature is stated: the line and its parts are taken to be at {celsius} °C.",
                  celsius=digits(heard.run.celsius))  # fmt: skip


def _remedies(heard: Hearing, loss_db: Floats) -> list[tuple[str, Floats]]:
    """Return what could be done, and the loss of signal-to-noise left with it, (f,).

    Line loss goes in proportion; that of the other parts stays.
    """
    line_db, own = np.broadcast_to(heard.line_db.mean(axis=-1), loss_db.shape), heard.run.preamplifier
    out = [
        (say("a line of half the loss"), heard.cost_db(heard.middle_kelvin, loss_db - line_db / 2.0, own)),
        (say("a route shorter by a third"), heard.cost_db(heard.middle_kelvin, loss_db - line_db / 3.0, own)),
    ]
    if own is None or own.at == "radio":
        moved = USUAL_PREAMPLIFIER if own is None else Preamplifier(own.gain_db, own.noise_figure_db, "antenna")
        out.append((_moved(moved, own is None), heard.cost_db(heard.middle_kelvin, loss_db, moved)))
    return out


def _moved(amplifier: Preamplifier, new: bool) -> str:
    gain, noise = (quantity(digits(db), "dB") for db in (amplifier.gain_db, amplifier.noise_figure_db))
    if new:
        return say(
            "a preamplifier at the antenna, bypassed on transmit ({gain}, noise figure {noise})", gain=gain, noise=noise
        )
    return say(
        "the preamplifier at the antenna, bypassed on transmit ({gain}, noise figure {noise})", gain=gain, noise=noise
    )


def _why(heard: Hearing, i: int, cost_db: float, remedies: Sequence[tuple[str, float]]) -> str:
    f, kelvin = frequency(float(heard.outside.frequency_hz[i])), float(heard.middle_kelvin[i])
    loss, cost = (quantity(plain(db, 1), "dB") for db in (float(heard.loss_db[i].mean()), abs(cost_db)))
    if cost_db < UNHEARD_DB:
        return _unheard(f, kelvin, loss, cost)
    what, left = min(remedies, key=lambda r: r[1])
    said = say(
        "At {frequency} little noise comes in ({noise}), so {loss} of loss costs {cost} of signal-to-noise.",
        frequency=f, noise=quantity(plain(kelvin, 0), "K"), loss=loss, cost=cost,
    )  # fmt: skip
    return together([said, _won(what, left)])


def _unheard(f: str, kelvin: float, loss: str, cost: str) -> str:
    if kelvin > 2900.0:
        return say(
            "Noise from outside is far louder than the receiver's at {frequency}: {loss} of loss costs {cost} of"
            " signal-to-noise.",
            frequency=f, loss=loss, cost=cost,
        )  # fmt: skip
    return say(
        "Little is lost at {frequency}: {loss} of loss costs {cost} of signal-to-noise.",
        frequency=f, loss=loss, cost=cost,
    )  # fmt: skip


def _won(what: str, left_db: float) -> str:
    left = quantity(plain(abs(left_db), 1), "dB")
    if left_db >= 0:
        return say("Most is won by {remedy}: {left} left.", remedy=what, left=left)
    return say("Most is won by {remedy}: {left} better than with a lossless line alone.", remedy=what, left=left)
