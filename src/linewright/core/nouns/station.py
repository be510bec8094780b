"""A station: its runs, each a chain of parts from the radio to the antenna. What a run does, ``budget`` says."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import field
from typing import TYPE_CHECKING, Literal

from linewright.core.frozen import dataclass
from linewright.core.messages import mark
from linewright.core.nouns.bench import BenchSheet, Piece
from linewright.core.nouns.choice import Wishes
from linewright.core.nouns.exposure import Over
from linewright.core.nouns.line import LineType
from linewright.core.nouns.rules import Rules
from linewright.core.nouns.wire_antenna import WireAntenna

if TYPE_CHECKING:
    from linewright.core.nouns.shelf import PieceBelief
    from linewright.core.nouns.sweep import Sweep

Curve = tuple[tuple[float, float], ...]
"""Pairs of (frequency in hertz, value), rising; one pair holds for all frequencies."""
NoiseSite = Literal["city", "residential", "rural", "quiet rural"]
"""Site categories of Recommendation ITU-R P.372."""
USUAL_CELSIUS = 20.0
"""Lines and the air about them where nobody states a temperature; the catalogue's losses hold for it."""
Place = Literal["antenna", "radio"]
FarEnd = Literal["through", "open", "short"]
NOISE_SITES = (mark("city"), mark("residential"), mark("rural"), mark("quiet rural"))
PLACES = (mark("antenna"), mark("radio"))
FAR_END_WORDS = (mark("through"), mark("open"), mark("short"))


@dataclass(frozen=True, slots=True)
class Ratings:
    """What a part bears, as whoever knows it states it, by frequency; None where nobody says. Voltages are rms."""

    voltage_v: Curve | None = None
    power_w: Curve | None = None
    source: str = ""


@dataclass(frozen=True, slots=True)
class LinePart:
    """A length of feed line. ``piece`` holds type, length and connectors; its belief is looked up by its tag.

    ``measured`` says that the tag is that of a piece on hand, so that evidence may speak of it. ``cut_deg`` asks for
    the nearest lengths of that electrical length (180 for half waves). ``velocity_factor`` is that of the piece where
    it was swept; without one, its type's holds.
    """

    name: str
    piece: Piece
    measured: bool = False
    temperature_celsius: float | None = None
    cut_deg: float | None = None
    velocity_factor: float | None = None


@dataclass(frozen=True, slots=True)
class ConnectorPart:
    """Mated pairs of one connector family."""

    name: str
    family: str
    pairs: int = 1
    temperature_celsius: float | None = None


@dataclass(frozen=True, slots=True)
class LossPart:
    """A matched part known by its loss: an arrestor, a switch, a filter, an attenuator. ``loss_db`` is a curve."""

    name: str
    loss_db: Curve
    swr: float = 1.0
    ratings: Ratings = field(default_factory=Ratings)
    temperature_celsius: float | None = None


@dataclass(frozen=True, slots=True)
class SweepPart:
    """A part known by a two-port sweep, port 1 toward the radio."""

    name: str
    sweep: Sweep
    ratings: Ratings = field(default_factory=Ratings)
    temperature_celsius: float | None = None


@dataclass(frozen=True, slots=True)
class TunerPart:
    """An L network that makes its radio side ``match_ohm``, with coils and capacitors of finite Q."""

    name: str
    q_inductor: float = 150.0
    q_capacitor: float = 1000.0
    match_ohm: float = 50.0
    ratings: Ratings = field(default_factory=Ratings)
    temperature_celsius: float | None = None


@dataclass(frozen=True, slots=True)
class TransformerPart:
    """A balun or transformer: impedance on the antenna side over that on the radio side, and a loss when matched."""

    name: str
    ratio: float = 1.0
    loss_db: Curve = ((0.0, 0.0),)
    ratings: Ratings = field(default_factory=Ratings)
    temperature_celsius: float | None = None


@dataclass(frozen=True, slots=True)
class SplitterPart:
    """A splitter to ``ways`` equal branches, each ending in an antenna like the one given.

    What follows it in the chain is one branch. A plain tee joins the branches in parallel; a matched one keeps 50 ohm.
    """

    name: str
    ways: int = 2
    matched: bool = True
    loss_db: Curve = ((0.0, 0.0),)
    ratings: Ratings = field(default_factory=Ratings)
    temperature_celsius: float | None = None


@dataclass(frozen=True, slots=True)
class PreamplifierPart:
    """A preamplifier where it stands in the chain; bypassed while transmitting, when it has the loss of its relays."""

    name: str
    gain_db: float
    noise_figure_db: float
    loss_db: Curve = ((0.0, 0.0),)
    ratings: Ratings = field(default_factory=Ratings)
    temperature_celsius: float | None = None


Part = LinePart | ConnectorPart | LossPart | SweepPart | TunerPart | TransformerPart | SplitterPart | PreamplifierPart


@dataclass(frozen=True, slots=True)
class Antenna:
    """What ends the chain: exactly one of an SWR (phase unknown), impedances, or a one-port sweep.

    ``shape`` is the antenna by its lengths, for the fields about it; ``loss_ohm`` what is lost in series with its feed,
    None where nobody says.
    """

    swr: Curve | None = None
    impedance_ohm: tuple[tuple[float, complex], ...] | None = None
    sweep: Sweep | None = None
    shape: WireAntenna | None = None
    loss_ohm: float | None = None


@dataclass(frozen=True, slots=True)
class Receiver:
    """The receiver by its noise figure; one stated in kelvin has the figure of that noise temperature."""

    noise_figure_db: float


@dataclass(frozen=True, slots=True)
class Preamplifier:
    """A preamplifier, at the antenna or at the radio; bypassed while transmitting."""

    gain_db: float
    noise_figure_db: float
    at: Place = "antenna"


@dataclass(frozen=True, slots=True)
class Sky:
    """Where an antenna looks: the elevation of its main lobe, and what share of all it hears comes from the ground."""

    elevation_deg: float
    ground_share: float


@dataclass(frozen=True, slots=True)
class Exposure:
    """How exposure is reckoned: the limits asked for, the ground reflection, and what of the time is transmission.

    ``ground_factor`` multiplies power density: 1 without reflection, 2.56 and 4 after OET Bulletin 65. ``window_m`` is
    the height of a neighbour's window, ``people_m`` how near people come to the antenna.
    """

    standards: tuple[str, ...] = ("ICNIRP 2020", "47 CFR 1.1310")
    ground_factor: float = 2.56
    antenna_size_m: float | None = None
    window_m: float | None = None
    people_m: float | None = None


@dataclass(frozen=True, slots=True)
class Run:
    """One run from radio to antenna.

    Attributes
    ----------
    duty : float
        Share of an averaging time in which the transmitter is on.
    mode_factor : float
        Average over peak power while it is on (1 for FM or a carrier).
    over : Over, optional
        Overs and pauses, where they are known: then each limit has the duty of its own averaging time.
    fold_back : pairs of (swr, share of power)
        How the radio lowers its power as SWR rises; empty: it gives its power into any SWR.
    sky_temperature_kelvin : float, optional
        What the antenna hears, as stated: all that comes in, unless a site is stated too.
    sky : Sky, optional
        Where the antenna looks, in place of a temperature: then what it hears follows the band.
    temperature_celsius : float, optional
        Of lines and air, as stated; see ``celsius``.
    """

    name: str
    frequencies_hz: tuple[float, ...]
    power_w: float
    chain: tuple[Part, ...]
    antenna: Antenna
    gain_dbi: float | None = None
    duty: float = 1.0
    mode_factor: float = 1.0
    fold_back: Curve = ()
    receiver: Receiver | None = None
    preamplifier: Preamplifier | None = None
    sky_temperature_kelvin: float | None = None
    temperature_celsius: float | None = None
    exposure: Exposure = field(default_factory=Exposure)
    wishes: Wishes = field(default_factory=Wishes)
    over: Over | None = None
    sky: Sky | None = None

    @property
    def celsius(self) -> float:
        """The temperature that losses and noise are reckoned at: the one stated, else ``USUAL_CELSIUS``."""
        return USUAL_CELSIUS if self.temperature_celsius is None else self.temperature_celsius


@dataclass(frozen=True, slots=True)
class SweepEvidence:
    """A sweep of a piece on hand: through it, or from one end with the other open or shorted."""

    piece: str
    sweep: Sweep
    far_end: FarEnd = "through"


@dataclass(frozen=True, slots=True)
class Station:
    """A station.

    Attributes
    ----------
    evidence : tuple of str
        The files its pieces are judged from.
    pieces : mapping
        The pieces met in them and in the station file, by tag.
    sheets : mapping
        The bench sheets among the evidence, by file.
    sweeps : tuple of SweepEvidence
        The sweeps among it.
    lines : tuple of LineType
        The person's own line types.
    remarks : tuple of str
        What was taken for granted when the file was read.
    beliefs : mapping
        What a ledger believes of its pieces, by tag; it goes before the sheets and sweeps.
    rules : Rules
        The person's own limits of exposure, and what their licence allows.
    """

    name: str
    runs: tuple[Run, ...]
    noise: NoiseSite | None = None
    evidence: tuple[str, ...] = ()
    pieces: Mapping[str, Piece] = field(default_factory=dict)
    sheets: Mapping[str, BenchSheet] = field(default_factory=dict)
    sweeps: tuple[SweepEvidence, ...] = ()
    lines: tuple[LineType, ...] = ()
    remarks: tuple[str, ...] = ()
    beliefs: Mapping[str, PieceBelief] = field(default_factory=dict)
    rules: Rules = field(default_factory=Rules)

    def run(self, name: str) -> Run:
        """Return the run of this name."""
        return next(r for r in self.runs if r.name == name)
