"""Choosing a line for a run: what is asked of it, what is on sale, and what is answered."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, field
from typing import Any, Literal

from linewright.core.frozen import dataclass
from linewright.core.nouns.bench_result import Working
from linewright.core.nouns.line import LineType

# Sharing out what is on the shelf: what there is to feed, what may be bought, and who gets what


@dataclass(frozen=True, slots=True)
class Need:
    """A run to be fed: how far, on which frequencies, and how much its decibels count against those of others."""

    name: str
    route_m: float
    frequencies_hz: tuple[float, ...]
    weight: float = 1.0
    impedance_ohm: float = 50.0


@dataclass(frozen=True, slots=True)
class Offer:
    """A line that may be bought by the metre. Prices are the person's own, all in one currency.

    ``outdoors`` is whether the seller rates it for sun and rain; None where nobody says.
    """

    line: LineType
    price_per_m: float
    connector_price: float = 0.0
    currency: str = ""
    note: str = ""
    outdoors: bool | None = None


@dataclass(frozen=True, slots=True)
class Bought:
    """A section to buy, with a connector on either end."""

    line: str
    length_m: float
    price: float


@dataclass(frozen=True, slots=True)
class FedLoss:
    """What a fed run loses at one frequency: the middle, the 95 % interval and the 90th percentile, dB."""

    frequency_hz: float
    loss_db: float
    loss_db_low: float
    loss_db_high: float
    loss_db_90: float


@dataclass(frozen=True, slots=True)
class Fed:
    """What one run gets. ``short_m`` is what no piece and no money could bridge; ``spare_m`` is left over in coils."""

    run: str
    route_m: float
    pieces: tuple[str, ...]
    bought: Bought | None
    joints: int
    spare_m: float
    short_m: float
    losses: tuple[FedLoss, ...]
    why: str


@dataclass(frozen=True, slots=True)
class Worth:
    """What knowing one piece exactly would be worth: weighted decibels gained on average, how often plans change."""

    piece: str
    gain_db: float
    p_change: float
    why: str


@dataclass(frozen=True, slots=True)
class Shared:
    """The whole sharing-out. ``gap_db`` is how far the plan may be from the best there is: 0 when proved best.

    ``cautious`` is the plan by 90th-percentile losses where it differs from the plan by expected ones.
    """

    fed: tuple[Fed, ...]
    left_over: tuple[str, ...]
    weighted_loss_db: float
    gap_db: float
    price: float
    currency: str
    cautious: tuple[Fed, ...] = ()
    worth: tuple[Worth, ...] = ()
    cautions: tuple[str, ...] = ()
    remarks: tuple[str, ...] = ()
    workings: tuple[Working, ...] = field(default=(), compare=False)

    def to_dict(self) -> dict[str, Any]:
        """Return the document of schema ``linewright/share/1``."""
        return {"schema": "linewright/share/1", **asdict(self)}


# Choosing a line for a run: what is asked of it, what is on sale, and what is answered


@dataclass(frozen=True, slots=True)
class Wishes:
    """What a person asks of the line of one run; None and empty where nothing is asked.

    Attributes
    ----------
    route_m : float, optional
        How far the run has to reach. For sharing out, a run without it keeps what it has.
    weight : float
        How much the decibels of this run count against those of others.
    replace : tuple of str
        The parts whose place the new line takes, first to last; empty: the longest line of the chain.
    tail_m : float
        How much of it, at the antenna's end, is a flexible tail.
    limit_db : pairs of (frequency in hertz, dB)
        The most the run may lose; one pair holds for all frequencies.
    sure : float
        How probable it must be that a limit is kept.
    most_diameter_m, most_kg_per_m, bend_radius_m : float, optional
        What fits the entry, what the mast bears, and the tightest bend there is.
    voltage_margin, heat_margin : float
        Rating over load, at least.
    budget : float, optional
        In the currency of the prices.
    impedance_ohm : float, optional
        Of the line; None: as the line it replaces.
    any_impedance, outdoors : bool
        Whether every impedance will do; whether the line lies in sun and rain.
    connector : str
        The connector family of a joint.
    shorter_m, moved_m : float, optional
        The length left if the route is made shorter, and if the radio is moved.
    preamplifier : (gain, noise figure), optional
        Of the preamplifier that may be bought, dB.
    """

    route_m: float | None = None
    weight: float = 1.0
    replace: tuple[str, ...] = ()
    tail_m: float = 0.0
    limit_db: tuple[tuple[float, float], ...] = ((0.0, 1.0),)
    sure: float = 0.5
    most_diameter_m: float | None = None
    most_kg_per_m: float | None = None
    bend_radius_m: float | None = None
    voltage_margin: float = 1.0
    heat_margin: float = 1.0
    budget: float | None = None
    impedance_ohm: float | None = None
    any_impedance: bool = False
    outdoors: bool = False
    connector: str = "N"
    shorter_m: float | None = None
    moved_m: float | None = None
    preamplifier: tuple[float, float] | None = None


@dataclass(frozen=True, slots=True)
class Prices:
    """A person's own prices, all in one currency. ``each`` holds what is bought by the piece, by name."""

    offers: tuple[Offer, ...] = ()
    each: Mapping[str, float] = field(default_factory=dict)
    currency: str = ""
    remarks: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Stretch:
    """One section of a choice: a line, or a piece on hand by its tag, as long as it lies. A piece costs nothing."""

    name: str
    length_m: float
    price: float | None
    on_hand: bool = False


@dataclass(frozen=True, slots=True)
class Check:
    """One limit held against one choice: kept, broken, or None for "cannot tell". ``over`` is by how much, in words."""

    limit: str
    ok: bool | None
    said: str


@dataclass(frozen=True, slots=True)
class ChosenBand:
    """What a choice does at one frequency, the whole run counted. Losses are means, their interval 95 %."""

    frequency_hz: float
    loss_db: float
    loss_db_low: float
    loss_db_high: float
    loss_db_90: float
    limit_db: float
    p_meets: float
    power_at_antenna_w: float
    reception_loss_db: float | None = None
    voltage_margin: float | None = None
    heat_margin: float | None = None


@dataclass(frozen=True, slots=True)
class Option:
    """One choice. ``loss_db`` and ``reception_loss_db`` are means over the bands; ``p_meets`` is for all bands at once.

    ``price`` is None where a price is missing.
    """

    name: str
    stretches: tuple[Stretch, ...]
    price: float | None
    loss_db: float
    loss_db_90: float
    reception_loss_db: float | None
    p_meets: float
    bands: tuple[ChosenBand, ...]
    checks: tuple[Check, ...]
    meets: bool


@dataclass(frozen=True, slots=True)
class Beaten:
    """A choice that no one need make: which other costs no more and does no worse, in words."""

    name: str
    price: float
    loss_db: float
    by: str
    why: str


@dataclass(frozen=True, slots=True)
class Barred:
    """A line or piece that breaks a limit whatever it is joined to, and by how much."""

    name: str
    why: str


@dataclass(frozen=True, slots=True)
class LongestRun:
    """How long one line may be at one frequency within the limit, alone from end to end; 0 where none is short enough.

    The middle keeps the limit on average; the interval is 95 %.
    """

    line: str
    frequency_hz: float
    limit_db: float
    length_m: float
    length_m_low: float
    length_m_high: float


@dataclass(frozen=True, slots=True)
class Step:
    """From one choice of the trade-off to the next dearer one: more money, fewer decibels."""

    from_name: str
    to_name: str
    price: float
    saves_db: float
    price_per_db: float


RemedyKind = Literal["preamplifier", "route", "moved"]


@dataclass(frozen=True, slots=True)
class Remedy:
    """Something that may be done instead. Gains are against the run as it is, means over the bands; a loss is below 0.

    ``price`` is None where none is stated.
    """

    what: str
    price: float | None
    transmit_gain_db: float
    reception_gain_db: float | None
    why: str
    kind: RemedyKind


@dataclass(frozen=True, slots=True)
class Measure:
    """A piece whose measuring would settle a choice: how doubtful it is, and what may be saved."""

    piece: str
    p_meets: float
    saves: float | None
    why: str


@dataclass(frozen=True, slots=True)
class Choice:
    """All that a choice answers. ``trade_off`` runs from cheap to dear, each losing less than the one before.

    ``cheapest`` keeps every limit, ``cautious`` keeps it with a probability of 90 %; either is None where none does,
    and ``binding`` then says which limit stands in the way and by how much.
    """

    run: str
    currency: str
    length_m: float
    tail_m: float
    power_w: float
    as_it_is: Option
    trade_off: tuple[Option, ...]
    cheapest: Option | None
    cautious: Option | None
    binding: tuple[str, ...]
    beaten: tuple[Beaten, ...]
    barred: tuple[Barred, ...]
    unpriced: tuple[Option, ...]
    longest: tuple[LongestRun, ...]
    steps: tuple[Step, ...]
    remedies: tuple[Remedy, ...]
    measure: tuple[Measure, ...]
    cautions: tuple[str, ...] = ()
    remarks: tuple[str, ...] = ()
    workings: tuple[Working, ...] = field(default=(), compare=False)

    def to_dict(self) -> dict[str, Any]:
        """Return the document of schema ``linewright/choose/1``."""
        return {"schema": "linewright/choose/1", **asdict(self)}
