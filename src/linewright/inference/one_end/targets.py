"""A reading as a range of reflection: what the instrument showed, before any thought of what was behind it."""

from __future__ import annotations

from collections.abc import Iterator
from math import hypot, inf, isfinite, isnan, log10

from linewright.core.errors import Culprit, InputError, gathered
from linewright.core.frozen import dataclass
from linewright.core.messages import mark, say
from linewright.core.nouns.one_end import OneEndReading, OneEndTest
from linewright.inference.one_end.priors import OneEndPriors

# A reading as a range of reflection: what the instrument showed, before any thought of what was behind it

BELOW_ALL = -2.0
ABOVE_ALL = 3.0
"""Reflections no instrument shows: ends of one-sided readings."""


AT_HZ = 144e6
"""Where reactances are stated."""
LEAST_WIDTH = 0.05
"""No range is narrower than this share of its noise."""


@dataclass(frozen=True, slots=True)
class Target:
    """The range of reflection a reading stands for. ``noise`` is the spread of the reading itself, as a reflection.

    A resistance stands for a signed reflection; SWR and return loss stand for its magnitude.
    """

    low: float
    high: float
    noise: float

    @property
    def one_sided(self) -> bool:
        """Return whether the reading gives a limit only."""
        return self.low == BELOW_ALL or self.high == ABOVE_ALL

    @property
    def middle(self) -> float:
        """Return the middle of the range; of a one-sided reading, its only end."""
        if self.low == BELOW_ALL:
            return self.high
        return self.low if self.high == ABOVE_ALL else 0.5 * (self.low + self.high)

    @property
    def width(self) -> float:
        """Return how much of all that can be shown the range holds."""
        low = (0.0 if self.high >= 0.0 else -1.0) if self.low == BELOW_ALL else self.low
        return min(self.high, 1.0) - max(low, -1.0)


def reflection_of(quantity: str, value: float, reference_ohm: float) -> float:
    """Return the reflection behind a value: signed for a resistance, else its magnitude.

    >>> reflection_of("swr", 3.0, 50.0), round(reflection_of("resistance_ohm", 5.0, 50.0), 3)
    (0.5, -0.818)
    """
    if quantity == "return_loss_db":
        return float(10.0 ** (-value / 20.0))
    if value == inf:
        return 1.0
    return (value - 1.0) / (value + 1.0) if quantity == "swr" else (value - reference_ohm) / (value + reference_ohm)


def value_of(quantity: str, reflection: float, reference_ohm: float) -> float:
    """Return the value an instrument shows for a reflection; the way back of ``reflection_of``."""
    if quantity == "return_loss_db":
        return -20.0 * log10(min(max(reflection, 1e-6), 1.0))
    x = min(max(reflection, 0.0 if quantity == "swr" else -1.0), 1.0)
    ratio = inf if x >= 1.0 else (1.0 + x) / (1.0 - x)
    return ratio if quantity == "swr" else ratio * reference_ohm


def range_of(quantity: str, ends: tuple[float, float], reference_ohm: float) -> tuple[float, float]:
    """Return the range of reflection between two values, its open ends beyond everything."""
    least = {"swr": 1.0, "return_loss_db": 0.0, "resistance_ohm": 0.0}[quantity]
    low, high = (reflection_of(quantity, max(v, least), reference_ohm) for v in ends)
    if quantity == "return_loss_db":
        low, high = high, low
        return (low if isfinite(ends[1]) else BELOW_ALL), (high if ends[0] > 0.0 else ABOVE_ALL)
    return (low if ends[0] > least else BELOW_ALL), (high if isfinite(ends[1]) else ABOVE_ALL)


def target_of(reading: OneEndReading, test: OneEndTest, beside: int, priors: OneEndPriors) -> Target:
    """Return the range of reflection a reading stands for, ``beside`` so many others at its frequency.

    A range without width gets a little of its noise.
    """
    low, high = range_of(reading.quantity, reading.ends, test.reference_ohm)
    half = 0.5 * (high - low) if low > BELOW_ALL and high < ABOVE_ALL else 0.0
    noise = noise_of(half, max(beside - 1, 0) * error_size(test, reading.frequency_hz, priors), test, priors)
    least = LEAST_WIDTH * noise
    return Target(low, high, noise) if high - low >= least else Target(low - 0.5 * least, low + 0.5 * least, noise)


def noise_of(half: float, crowd: float, test: OneEndTest, priors: OneEndPriors) -> float:
    """Return the spread of a reading, as a reflection, beside its half step and the errors of a crowd of readings."""
    directivity = priors.noise_directivity * directivity_of(test, priors)
    return hypot(priors.noise_floor, directivity, priors.noise_step * half, priors.noise_crowd * crowd)


def error_size(test: OneEndTest, frequency_hz: float, priors: OneEndPriors) -> float:
    """Return how much instrument, connectors and a step of impedance usually add to a reflection, together."""
    directivity = priors.directivity_size * directivity_of(test, priors)
    return hypot(directivity, plugs(frequency_hz, priors), 0.5 * priors.impedance_unknown)


def plugs(frequency_hz: float, priors: OneEndPriors) -> float:
    """Return how much a connector's reactance usually reflects."""
    return min(priors.connector_reflection * frequency_hz / AT_HZ, priors.connector_most)


def directivity_of(test: OneEndTest, priors: OneEndPriors) -> float:
    """Return the directivity as a reflection: stated, or usual for what reads resistance and peaks, or for a bridge."""
    if test.directivity_db is not None:
        return float(10.0 ** (-test.directivity_db / 20.0))
    analyser = any(r.method in ("resonance", "antenna left connected") for r in test.readings)
    return float(10.0 ** (-(priors.analyser_directivity_db if analyser else priors.directivity_db) / 20.0))


# Whether a test can be one at all: clear errors for what no instrument shows

LEAST = {"swr": 1.0, "return_loss_db": 0.0, "resistance_ohm": 0.0}
CURE = {
    "swr": mark("An SWR of 1 is a perfect match; if this is a return loss, write it with dB."),
    "return_loss_db": mark("Write a return loss as a positive number of dB."),
    "resistance_ohm": mark("A resistance at resonance is a positive number of ohms."),
}


def sound(test: OneEndTest) -> None:
    """Raise for what cannot be: an SWR below 1, a negative return loss, a load nothing is known of.

    Raises
    ------
    InputError
        The first problem, the others beside it; each with the row of its reading.
    """
    problems = [*_test(test)]
    for reading in test.readings:
        where = Culprit(test.source, reading.row)
        problems += [error.at(where) for error in _reading(reading)]
    if problems:
        raise gathered(problems)


def _test(test: OneEndTest) -> Iterator[InputError]:
    if not test.readings:
        yield InputError(
            "readings", say("must hold at least one"), cure=say("Give an SWR with the far end open or shorted.")
        )
    positive = {
        "length_m": test.length_m, "impedance_ohm": test.impedance_ohm, "reference_ohm": test.reference_ohm,
        "directivity_db": test.directivity_db,
    }  # fmt: skip
    for name, value in positive.items():
        if value is not None and not (isfinite(value) and value > 0.0):
            yield InputError(name, say("must be above zero and finite; got {value}", value=format(value, "g")))
    if test.source_swr is not None and not 1.0 <= test.source_swr < inf:
        yield InputError(
            "source_swr", say("must be at least 1 and finite; got {value}", value=format(test.source_swr, "g"))
        )


def _reading(r: OneEndReading) -> Iterator[InputError]:
    if not (isfinite(r.frequency_hz) and r.frequency_hz > 0.0):
        yield InputError(
            "frequency_hz", say("must be above zero and finite; got {value}", value=format(r.frequency_hz, "g"))
        )
    values = {r.quantity: r.value} if r.direct is None else {r.quantity: r.value, "direct": r.direct}
    for name, value in values.items():
        if isnan(value) or value < LEAST[r.quantity]:
            yield InputError(
                name,
                say(
                    "must be at least {least}; got {value}",
                    least=format(LEAST[r.quantity], "g"),
                    value=format(value, "g"),
                ),
                cure=say(CURE[r.quantity]),
            )
    if r.value == inf and r.quantity != "swr":
        yield InputError(r.quantity, say("must be finite"), cure=say('Write a limit instead, as "over 40 dB".'))
    if r.direct == inf:
        yield InputError(
            "direct", say("must be finite"), cure=say("A load that reflects everything is an open or a short.")
        )
    for name, step in (("step", r.step), ("direct_step", r.direct_step)):
        if step is not None and not (isfinite(step) and step >= 0.0):
            yield InputError(name, say("must be zero or more and finite; got {value}", value=format(step, "g")))
    yield from _load(r)


def _load(r: OneEndReading) -> Iterator[InputError]:
    if r.quantity == "resistance_ohm" and r.far_end not in ("open", "short"):
        yield InputError("resistance_ohm", say("goes with an open or shorted far end; got {value}", value=r.far_end))
    if r.far_end != "load":
        return
    if r.load_swr is None and r.direct is None:
        cure = say("Say its SWR (load:3), or what the instrument shows with the load right at it.")
        yield InputError("load", say("must be known"), cure=cure)
    if r.load_swr is not None and not 1.0 < r.load_swr < inf:
        cure = say("A matched load returns nothing that could be measured; use one of SWR 2 to 5.")
        yield InputError(
            "load_swr", say("must be above 1 and finite; got {value}", value=format(r.load_swr, "g")), cure=cure
        )
