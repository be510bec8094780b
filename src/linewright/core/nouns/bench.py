"""What lies on the bench: meters, pieces, attenuators, the readings, and the sheet that holds them together."""

from __future__ import annotations

from dataclasses import field
from typing import Literal

from linewright.core.frozen import dataclass
from linewright.core.messages import mark, say
from linewright.core.nouns.bench_result import Scale
from linewright.core.nouns.line import LineType
from linewright.core.nouns.one_end import OneEndTest

REFERENCE = mark("reference")
"""The path of a reading with no piece in line, as written."""


@dataclass(frozen=True, slots=True)
class Source:
    """The transmitter, giving a constant carrier. Power in watts; SWR of its output seen from the line."""

    power_w: float | None = None
    swr: float | None = None


@dataclass(frozen=True, slots=True)
class Reference:
    """What is in place while the reference reading is taken: a short jumper of known type and length."""

    line: LineType | None = None
    length_m: float = 0.0
    in_place: Literal["replaced", "stays"] = "replaced"


@dataclass(frozen=True, slots=True)
class Meter:
    """A power meter as it is used here.

    ``division`` is the smallest step that can be read, in the meter's own scale. ``card`` is the conversion card of a
    bare scale: pairs of (scale reading, power in watts), rising. ``rated_hz`` is the band its maker rated it for.
    """

    name: str
    scale: Scale = "watts"
    division: float | None = None
    rated_hz: tuple[float, float] | None = None
    card: tuple[tuple[float, float], ...] = ()
    swr: float | None = None

    def in_rated_band(self, frequency_hz: float) -> bool | None:
        """Return whether a frequency lies in the rated band; None when no band was stated."""
        if self.rated_hz is None:
            return None
        low, high = self.rated_hz
        return low * 0.999 <= frequency_hz <= high * 1.001


@dataclass(frozen=True, slots=True)
class Piece:
    """A length of cable with a tag on it. ``line`` is the type it is claimed to be, None when nobody knows."""

    tag: str
    length_m: float
    line: LineType | None = None
    connectors: int = 2
    stock: str | None = None

    @property
    def stock_name(self) -> str:
        """The stock it was cut from; a piece of no stated stock is a stock of its own."""
        return self.stock if self.stock is not None else f"\x00{self.tag}"


@dataclass(frozen=True, slots=True)
class Attenuator:
    """An attenuator of known loss: it shows how linear a detector is. ``tolerance_db`` is a 95 % half width."""

    tag: str
    loss_db: float
    tolerance_db: float = 0.1


@dataclass(frozen=True, slots=True)
class Reading:
    """One reading. ``path`` is empty for the reference, else the tags in line; ``row`` is its place in its file."""

    row: int
    meter: str
    frequency_hz: float
    path: tuple[str, ...]
    reading: float
    step: float | None = None
    swr: float | None = None
    low: float | None = None
    high: float | None = None
    note: str = ""

    @property
    def path_name(self) -> str:
        """The path as written on the sheet."""
        return "+".join(self.path) if self.path else say(REFERENCE)


SAME_BAND = 0.03
"""A detector reads alike at frequencies nearer to each other than this share."""


@dataclass(frozen=True, slots=True)
class KnownExponent:
    """The log detector exponent of a meter on a band, mean and standard deviation, as known from other sessions."""

    meter: str
    frequency_hz: float
    log_mean: float
    log_sd: float

    def covers(self, frequency_hz: float) -> bool:
        """Return whether a frequency is of the same band."""
        return abs(frequency_hz / self.frequency_hz - 1.0) < SAME_BAND


@dataclass(frozen=True, slots=True)
class KnownBottom:
    """The level (dB on the meter's scale) below which a meter shows nothing on a band, as known from other sessions."""

    meter: str
    frequency_hz: float
    level_db: float
    sd_db: float

    def covers(self, frequency_hz: float) -> bool:
        """Return whether a frequency is of the same band."""
        return abs(frequency_hz / self.frequency_hz - 1.0) < SAME_BAND


@dataclass(frozen=True, slots=True)
class Limits:
    """Loss a use can bear, decibels per run. Common practice, no source; a sheet may set its own."""

    home_db: float = 1.0
    portable_db: float = 3.0
    receive_db: float = 6.0


@dataclass(frozen=True, slots=True)
class BenchSheet:
    """Everything a person wrote down at the bench.

    ``one_end`` holds the tests of pieces with one end in hand; ``waiting`` counts the lines of its reading sheet that
    nobody has filled in yet. ``known_exponents`` and ``known_bottoms`` are what other sessions showed of its meters.
    """

    title: str
    meters: tuple[Meter, ...]
    pieces: tuple[Piece, ...]
    readings: tuple[Reading, ...]
    source: Source = field(default_factory=Source)
    reference: Reference = field(default_factory=Reference)
    attenuators: tuple[Attenuator, ...] = ()
    limits: Limits = field(default_factory=Limits)
    one_end: tuple[OneEndTest, ...] = ()
    waiting: int = 0
    known_exponents: tuple[KnownExponent, ...] = ()
    known_bottoms: tuple[KnownBottom, ...] = ()

    def meter(self, name: str) -> Meter:
        """Return the meter of this name."""
        return next(m for m in self.meters if m.name == name)

    def piece(self, tag: str) -> Piece:
        """Return the piece of this tag."""
        return next(p for p in self.pieces if p.tag == tag)


@dataclass(frozen=True, slots=True)
class ReadingPlan:
    """What a bench means to read: frequencies in hertz, and joined paths; None where the order may choose them."""

    frequencies_hz: tuple[float, ...] = ()
    joined: tuple[tuple[str, ...], ...] | None = None
