"""Sharing out what is on the shelf: what there is to feed, what may be bought, and who gets what."""

from __future__ import annotations

from dataclasses import asdict, dataclass, field
from typing import Any

from linewright.model.line import LineType
from linewright.model.result import Working


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
