"""Made-up receiving runs with known truth, and what is said of reception held against it.

A world draws a run: parts from the radio to the antenna, each with a loss and a temperature, perhaps a preamplifier
somewhere, a receiver, a sky or a site. Lines lose what the catalogue says, give or take its spread; the noise of a site
is drawn between its deciles. The truth is reckoned the other way round than in the engine: signal and noise powers are
carried forward from the antenna to the receiver, part by part.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from linewright.catalogue import line_type
from linewright.catalogue.noise_sites import noise_site
from linewright.core.nouns.plan import ReceptionFinding
from linewright.files.station import read_station_text
from linewright.link.plan import plan_run

UNHEARD_DB = 0.3
LITTLE_DB = 0.15
"""Two remedies this close are as good as each other: nobody is misled by the one that is named."""
LINES = ("RG-58C/U", "RG-213/U", "foam low-loss 10 mm", "corrugated 1/2 in foam", "RG-174/U")
BANDS_HZ = (14.2e6, 50.1e6, 144.3e6, 432.1e6, 1296.1e6)
SITES = ("city", "residential", "rural", "quiet rural")
USUAL_GAIN_DB, USUAL_FIGURE_DB = 20.0, 1.0


@dataclass(frozen=True)
class Passed:
    """One part as a signal passes it: a loss at a temperature, or an amplifier (gain above zero)."""

    gain_db: float
    kelvin: float
    amplifies: bool = False
    line: bool = False


@dataclass(frozen=True)
class Receiving:
    """A run as text, and its truth from the antenna on."""

    text: str
    parts: tuple[Passed, ...]
    outside_kelvin: float
    receiver_kelvin: float


def world(number: int, seed: int) -> Receiving:
    """Return one run: entries from the radio to the antenna, the truth from the antenna on."""
    rng = np.random.default_rng([seed, number])
    hertz = float(rng.choice(BANDS_HZ))
    entries, parts = [], []
    for _ in range(int(rng.integers(0, 5))):
        entry, part = _part(rng, hertz, amplified=any(p.amplifies for p in parts))
        entries.append(entry)
        parts.append(part)
    figure_db = float(rng.uniform(0.5, 14.0))
    noise, outside = _outside(rng, hertz)
    text = (
        f'{noise[0]}\n[[run]]\nname = "run"\nfrequencies = ["{hertz / 1e6:.4f} MHz"]\npower = "50 W"\n'
        f"chain = [{', '.join(entries)}]\nantenna = {{swr = 1}}\n"
        f'receiver = {{noise_figure = "{figure_db:.4f} dB"}}\n{noise[1]}\n'
    )
    return Receiving(text, tuple(reversed(parts)), outside, 290.0 * (10 ** (figure_db / 10) - 1))


def _part(rng: np.random.Generator, hertz: float, *, amplified: bool) -> tuple[str, Passed]:
    kind = rng.random()
    if kind < 0.2 and not amplified:
        gain, figure = float(rng.uniform(10, 25)), float(rng.uniform(0.3, 3))
        entry = f'{{preamplifier = "lna", gain = "{gain:.4f} dB", noise_figure = "{figure:.4f} dB"}}'
        return entry, Passed(gain, 290.0 * (10 ** (figure / 10) - 1), amplifies=True)
    celsius = float(rng.uniform(-20, 40))
    if kind < 0.7:
        name, length = str(rng.choice(LINES)), float(np.exp(rng.uniform(np.log(1.0), np.log(60.0))))
        law = line_type(name).law
        told = length * float(law.db_per_m(hertz)) * (1.0 + 0.002 * (celsius - 20.0))
        loss = told * float(np.exp(rng.normal(0.0, law.spread)))
        entry = f'{{line = "{name}", length = "{length:.4f} m", temperature = "{celsius:.3f} °C"}}'
        return entry, Passed(-loss, 273.15 + celsius, line=True)
    loss = float(rng.uniform(0.05, 3.0))
    entry = f'{{part = "part", loss = "{loss:.5f} dB", temperature = "{celsius:.3f} °C"}}'
    return entry, Passed(-loss, 273.15 + celsius)


def _outside(rng: np.random.Generator, hertz: float) -> tuple[tuple[str, str], float]:
    """Return what the station and the run state of noise, and the noise that comes in, kelvin."""
    if rng.random() < 0.5:
        kelvin = float(np.exp(rng.uniform(np.log(15.0), np.log(5000.0))))
        return ("", f'sky_temperature = "{kelvin:.4f} K"'), kelvin
    site = noise_site(str(rng.choice(SITES)))
    station = read_station_text(
        f'[station]\nnoise = "{site.name}"\n[[run]]\nname = "r"\nfrequencies = ["{hertz / 1e6:.4f} MHz"]\n'
        'power = "5 W"\nchain = []\nantenna = {swr = 1}\nreceiver = {noise_figure = "3 dB"}\n', {},
    )  # fmt: skip
    heard = plan_run(station.runs[0], {}, noise=station.noise, draws=40).bands[0].reception
    assert heard is not None
    z = float(rng.normal()) / 1.2816
    swing = z * (site.upper_decile_db if z > 0 else site.lower_decile_db)
    return (f'[station]\nnoise = "{site.name}"', ""), heard.external_noise_kelvin * 10 ** (swing / 10)


def ratio(parts: Sequence[Passed], outside: float, receiver: float) -> float:
    """Return the signal-to-noise ratio behind some parts, of a signal of one: powers carried forward."""
    signal, noise = 1.0, outside
    for p in parts:
        gain = 10 ** (p.gain_db / 10)
        noise = (noise + p.kelvin) * gain if p.amplifies else noise * gain + p.kelvin * (1.0 - gain)
        signal *= gain
    return signal / (noise + receiver)


def cost_db(w: Receiving, parts: Sequence[Passed]) -> float:
    """Return what parts cost against the run's own preamplifiers and receiver alone, in truth."""
    bare = [p for p in w.parts if p.amplifies]
    return float(10 * np.log10(ratio(bare, w.outside_kelvin, w.receiver_kelvin)
                               / ratio(parts, w.outside_kelvin, w.receiver_kelvin)))  # fmt: skip


def left_db(w: Receiving, kind: str) -> float:
    """Return what a remedy leaves, in truth."""
    mast = Passed(USUAL_GAIN_DB, 290.0 * (10 ** (USUAL_FIGURE_DB / 10) - 1), amplifies=True)
    own = [p for p in w.parts if p.amplifies]
    rest = [p for p in w.parts if not p.amplifies]
    shares = {"line": 0.5, "route": 2.0 / 3.0}
    if kind in shares:
        return cost_db(w, [replace(p, gain_db=p.gain_db * shares[kind]) if p.line else p for p in w.parts])
    return cost_db(w, {"mast": [mast, *w.parts], "shack": [*w.parts, mast], "moved": [*own, *rest]}[kind])


def heard(w: Receiving) -> ReceptionFinding:
    """Return what is said of a run."""
    station = read_station_text(w.text, {})
    found = plan_run(station.runs[0], {}, noise=station.noise, draws=400).bands[0].reception
    assert found is not None
    return found


def statements(w: Receiving, r: ReceptionFinding) -> Iterator[tuple[str, float | None, bool]]:
    """Yield every statement: its kind, the probability it is made with, and whether it is true."""
    cost, own = cost_db(w, w.parts), _added_kelvin(w)
    low, high = r.reception_loss_db_low - 5e-3, r.reception_loss_db_high + 5e-3
    yield "a loss of signal-to-noise lies in its interval", 0.95, low <= cost <= high
    bare = [p for p in w.parts if not p.amplifies]
    loss = -sum(p.gain_db for p in bare)
    true = {
        "heard": cost >= UNHEARD_DB, "no loss": loss < 0.06, "little": cost < UNHEARD_DB,
        "hidden": cost < UNHEARD_DB and w.outside_kelvin > own,
        "amplified": cost < UNHEARD_DB and cost_db(w, bare) - cost_db(w, []) >= UNHEARD_DB,
    }  # fmt: skip
    words = {
        "heard": "reception: so much loss costs so much", "no loss": "reception: nothing loses enough to speak of",
        "little": "reception: little is lost", "hidden": "reception: noise from outside hides the loss",
        "amplified": "reception: the preamplifier makes up for the line",
    }  # fmt: skip
    yield words[r.state], None, bool(true[r.state])
    if r.remedies and r.state == "heard":
        best = min(r.remedies, key=lambda m: m.reception_loss_db)
        least = min(left_db(w, m.kind) for m in r.remedies)
        yield "reception: most is won by this remedy", None, bool(left_db(w, best.kind) <= least + LITTLE_DB)
    for m in r.remedies:
        yield "reception: a remedy that is offered wins something", None, bool(left_db(w, m.kind) < cost)


def _added_kelvin(w: Receiving) -> float:
    """Return what the run adds at the antenna's terminals, by the ratio of a signal of one."""
    return 1.0 / ratio(w.parts, w.outside_kelvin, w.receiver_kelvin) - w.outside_kelvin
