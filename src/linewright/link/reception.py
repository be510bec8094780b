"""What a run does to reception: noise from outside, from each part where it stands, from preamplifier and receiver."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from linewright.catalogue.belief import even_normals
from linewright.catalogue.noise_sites import ExternalNoise, external_noise, noise_site
from linewright.core.arrays import Floats, median
from linewright.core.formulas.noise import (
    Stage,
    active_stage,
    cascade_temperature_kelvin,
    contributions_kelvin,
    gain_over_temperature_db_per_kelvin,
    noise_figure_db,
    passive_stage,
    reception_loss_db,
    spread_db,
)
from linewright.core.formulas.sky import antenna_kelvin, sky_kelvin
from linewright.core.frozen import dataclass
from linewright.core.nouns.plan import NoiseSource, ReceptionFinding, ReceptionRemedy, ReceptionState
from linewright.core.nouns.station import LinePart, NoiseSite, Preamplifier, PreamplifierPart, Receiver, Run
from linewright.link.chain import Walk
from linewright.link.draws import SEED, IntervalByBand, lean_db, mean_spread
from linewright.link.figures import RunFigures
from linewright.link.reception_words import RemedyKind, assumed, needs_of, remedy_words, source_words, why

KELVIN_AT_0_CELSIUS = 273.15
USUAL_PREAMPLIFIER = Preamplifier(20.0, 1.0, "antenna")
"""What a remedy is reckoned with where the station has none; common practice, no source."""
UNHEARD_DB = 0.3
"""A loss of signal-to-noise nobody notices; common practice, no source."""
LEAST_WON_DB = 0.1
"""A remedy that wins less is not offered: our choice, half of what a careful ear hears side by side."""
LEAST_LOSS_DB = 0.05
"""Less loss than this ahead of a receiver is none to speak of, as the table of losses rounds it."""


# The chain as a signal meets it: from the antenna to the receiver


@dataclass(frozen=True, slots=True)
class Link:
    """One part on the way from the antenna to the receiver.

    ``loss_db`` is its loss where it stands, ``matched_db`` between matched ends, (f, draws), (f, 1) or (f,);
    ``kelvin`` its physical temperature. Behind a preamplifier the matched loss counts: its output is taken as matched.
    """

    name: str
    loss_db: Floats
    matched_db: Floats
    kelvin: float
    line: bool = False
    amplifier: Stage | None = None

    def scaled(self, factor: float) -> Link:
        """Return the part with another share of its loss."""
        return replace(self, loss_db=self.loss_db * factor, matched_db=self.matched_db * factor)

    @property
    def middle(self) -> Link:
        """The part with its losses in the middle, (f,), as a plan tells them."""
        middle = self.loss_db.mean(axis=-1) - lean_db(self.matched_db)
        return replace(self, loss_db=middle, matched_db=median(self.matched_db, axis=-1))


Links = tuple[Link, ...]


def amplifier_link(name: str, amplifier: Preamplifier | PreamplifierPart) -> Link:
    """Return a preamplifier as a part on the way."""
    none = np.zeros((1, 1))
    stage = active_stage(amplifier.gain_db, amplifier.noise_figure_db)
    return Link(name, none, none, 0.0, amplifier=stage)


def links_of(run: Run, walked: Walk) -> Links:
    """Return the parts of a walked run from the antenna to the radio, and the preamplifier stated beside the chain."""
    own = run.preamplifier
    found = [_link(run, i, walked) for i in reversed(range(len(run.chain)))]
    if own is not None:
        found.insert(0 if own.at == "antenna" else len(found), amplifier_link(source_words("preamplifier"), own))
    return tuple(found)


def _link(run: Run, i: int, walked: Walk) -> Link:
    part = run.chain[i]
    if isinstance(part, PreamplifierPart):
        return amplifier_link(part.name, part)
    celsius = run.celsius if part.temperature_celsius is None else part.temperature_celsius
    return Link(part.name, walked.loss_db[i], walked.sections[i].matched_db, KELVIN_AT_0_CELSIUS + celsius,
                isinstance(part, LinePart))  # fmt: skip


def stages_of(links: Sequence[Link], receiver: Receiver) -> tuple[Stage, ...]:
    """Return the cascade of the parts and the receiver.

    A passive reciprocal part's available gain from the antenna is its power gain from the radio with the same antenna
    behind it, so its noise temperature is ``T (L - 1)`` with L its loss in place (Pozar, Microwave Engineering, 4th
    ed., section 10.1; the reciprocity of the two gains from memory).
    """
    out, amplified = [], False
    for link in links:
        if link.amplifier is not None:
            out.append(link.amplifier)
            amplified = True
        else:
            loss_db = link.matched_db if amplified else link.loss_db
            out.append(passive_stage(np.maximum(loss_db, 0.0), link.kelvin))
    return (*out, active_stage(0.0, receiver.noise_figure_db))


def amplifiers(links: Sequence[Link]) -> Links:
    """Return the preamplifiers among the parts: the chain without a loss."""
    return tuple(link for link in links if link.amplifier is not None)


@dataclass(frozen=True, slots=True)
class Hearing:
    """What reception is reckoned from: noise outside (f, draws), its middle (f,), the parts from the antenna on."""

    run: Run
    receiver: Receiver
    outside: ExternalNoise
    external_kelvin: Floats
    links: Links

    @property
    def middle_kelvin(self) -> Floats:
        """The median of the noise outside, (f,)."""
        return np.atleast_1d(self.outside.temperature_kelvin)

    def cost_db(self, external: Floats, links: Sequence[Link]) -> Floats:
        """Return the loss of signal-to-noise of some parts against the run's own receiver and preamplifiers alone."""
        ours, lossless = stages_of(links, self.receiver), stages_of(amplifiers(self.links), self.receiver)
        return reception_loss_db(external, ours, lossless)

    def cost_of(self, links: Sequence[Link]) -> Floats:
        """Return what parts cost in the middle of all that is doubtful, (f,)."""
        shape = self.middle_kelvin.shape
        return np.broadcast_to(self.cost_db(self.middle_kelvin, [link.middle for link in links]), shape)


def hearing(found: RunFigures, noise: NoiseSite | None, draws: int) -> Hearing | None:
    """Return what reception is reckoned from; None without a receiver, or without a site and a sky."""
    run = found.run
    if run.receiver is None or (noise is None and run.sky_temperature_kelvin is None and run.sky is None):
        return None
    site = None if noise is None else noise_site(noise)
    outside = external_noise(site, found.frequency_hz, _sky_kelvin(run, found.frequency_hz))
    return Hearing(run, run.receiver, outside, _draws(outside, draws), links_of(run, found.walked))


def _sky_kelvin(run: Run, frequency_hz: Floats) -> Floats | None:
    """Return what is stated of the sky, one for all or one a frequency; None where nothing is."""
    if run.sky is not None:
        return antenna_kelvin(sky_kelvin(frequency_hz, run.sky.elevation_deg), run.sky.ground_share)
    return None if run.sky_temperature_kelvin is None else np.asarray(run.sky_temperature_kelvin)


def _draws(outside: ExternalNoise, count: int) -> Floats:
    """Return draws of the noise outside; where only the sky counts, nobody states its spread."""
    if outside.site is None:
        return np.atleast_1d(outside.temperature_kelvin)[:, None]
    z = np.random.default_rng(SEED).permutation(even_normals(count))
    site = outside.site
    varies = np.atleast_1d(site.covers(outside.frequency_hz) | outside.extrapolated)[:, None]
    swing = np.where(varies, spread_db(z, site.upper_decile_db, site.lower_decile_db), 0.0)
    return np.asarray(np.atleast_1d(outside.temperature_kelvin)[:, None] * 10.0 ** (swing / 10.0))


# What could be done, and what it would leave


def with_amplifier(links: Links, amplifier: Preamplifier, at: str = "antenna") -> Links:
    """Return the parts with a preamplifier at one end of the way."""
    link = amplifier_link(source_words("preamplifier"), amplifier)
    return (link, *links) if at == "antenna" else (*links, link)


def _ways(heard: Hearing) -> Iterator[tuple[RemedyKind, Preamplifier | None, Links]]:
    """Yield what could be done to a run, each with the parts it would leave: only what the run has room for."""
    links, own = heard.links, amplifiers(heard.links)
    if any(link.line for link in links):
        yield "line", None, tuple(link.scaled(0.5) if link.line else link for link in links)
        yield "route", None, tuple(link.scaled(2.0 / 3.0) if link.line else link for link in links)
    if not own:
        yield "mast", USUAL_PREAMPLIFIER, with_amplifier(links, USUAL_PREAMPLIFIER)
        yield "shack", USUAL_PREAMPLIFIER, with_amplifier(links, USUAL_PREAMPLIFIER, "radio")
    elif links[0].amplifier is None:
        yield "moved", None, (own[0], *(link for link in links if link is not own[0]))


def _remedies(heard: Hearing, cost: Floats) -> list[tuple[ReceptionRemedy, Floats, NDArray[np.bool_]]]:
    """Return what could be done, with what it would leave and where it wins enough to be offered, (f,) each."""
    out, own = [], next((link.name for link in amplifiers(heard.links)), "")
    for kind, amplifier, links in _ways(heard):
        left = heard.cost_of(links)
        bare = ReceptionRemedy(kind, remedy_words(kind, own), 0.0, needs_of(kind, amplifier))
        out.append((bare, left, cost - left >= LEAST_WON_DB))
    return out


def reception_findings(found: RunFigures, heard: Hearing | None) -> tuple[ReceptionFinding | None, ...]:
    """Return what a run does to reception at each frequency.

    The middle is reckoned from the median noise outside and the mean losses; intervals from the draws of both.
    """
    if heard is None:
        return (None,) * len(found.frequency_hz)
    cost, parts = heard.cost_of(heard.links), stages_of([link.middle for link in heard.links], heard.receiver)
    reach = mean_spread(heard.cost_db(heard.external_kelvin, heard.links))
    outside, remedies = mean_spread(heard.external_kelvin), _remedies(heard, cost)
    states = _states(heard, cost, cascade_temperature_kelvin(parts), outside.high)
    return tuple(
        _finding(
            heard, i, (cost, reach, outside), _sources(heard, parts, i),
            [replace(r, reception_loss_db=float(left[i])) for r, left, offered in remedies if offered[i]], states[i],
        )
        for i in range(len(found.frequency_hz))
    )  # fmt: skip


def _states(heard: Hearing, cost: Floats, own_kelvin: Floats, loudest_kelvin: Floats) -> list[ReceptionState]:
    """Return what each cost comes from, (f,). A preamplifier helps where it does so in the loudest noise as well."""
    lossy = sum((np.maximum(x.middle.loss_db, 0.0) for x in heard.links if not x.amplifier), np.zeros(1))
    bare = [link.middle for link in heard.links if link.amplifier is None]
    without = heard.cost_db(loudest_kelvin, bare) - heard.cost_db(loudest_kelvin, [])
    loss, added, helped = (np.broadcast_to(x, cost.shape) for x in (lossy, own_kelvin, without))
    return [_state(*values) for values in zip(cost, loss, heard.middle_kelvin - added, helped, strict=True)]


def _state(cost_db: float, loss_db: float, over_kelvin: float, without_db: float) -> ReceptionState:
    if cost_db >= UNHEARD_DB:
        return "heard"
    if loss_db < LEAST_LOSS_DB:
        return "no loss"
    if without_db >= UNHEARD_DB:
        return "amplified"
    return "hidden" if over_kelvin > 0.0 else "little"


def _sources(heard: Hearing, stages: Sequence[Stage], i: int) -> tuple[NoiseSource, ...]:
    """Return what each part counts for at frequency number ``i``, from the antenna on, the receiver last."""
    count = len(heard.middle_kelvin)
    named = [(link.name, None if link.amplifier else link.kelvin) for link in heard.links]
    named.append((source_words("receiver"), None))
    out = []
    for (name, kelvin), stage, counts in zip(named, stages, contributions_kelvin(stages), strict=True):
        gain, own, share = (
            float(np.broadcast_to(np.squeeze(x), (count,))[i])
            for x in (stage.gain_db, stage.temperature_kelvin, counts)
        )
        out.append(NoiseSource(name, gain, kelvin, own, share))
    return tuple(out)


def _finding(
    heard: Hearing,
    i: int,
    figures: tuple[Floats, IntervalByBand, IntervalByBand],
    sources: tuple[NoiseSource, ...],
    remedies: Sequence[ReceptionRemedy],
    state: ReceptionState,
) -> ReceptionFinding:
    (cost, reach, outside), gain = figures, heard.run.gain_dbi
    external, own, middle = float(heard.middle_kelvin[i]), sum(s.noise_kelvin for s in sources), float(cost[i])
    low, high = (float(np.broadcast_to(x, cost.shape)[i]) for x in (reach.low, reach.high))
    bare = ReceptionFinding(
        external_noise_kelvin=external,
        external_noise_kelvin_low=float(outside.low[i]),
        external_noise_kelvin_high=float(outside.high[i]),
        antenna_temperature_kelvin=external,
        noise_temperature_kelvin=own,
        noise_figure_db=float(noise_figure_db(own)),
        system_noise_kelvin=external + own,
        g_over_t_db_per_kelvin=None
        if gain is None
        else float(gain_over_temperature_db_per_kelvin(gain, external + own)),
        reception_loss_db=middle,
        reception_loss_db_low=min(middle, low),
        reception_loss_db_high=max(middle, high),
        state=state,
        sources=sources,
        remedies=tuple(remedies),
        assumed=assumed(heard.run, heard.outside, bool(amplifiers(heard.links))),
    )
    return replace(bare, why=why(bare, float(heard.outside.frequency_hz[i])))
