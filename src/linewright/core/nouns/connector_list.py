"""What the catalogue knows of connectors, adapters and other things put into a line."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict
from typing import Any

from linewright.core.frozen import dataclass
from linewright.core.nouns.line import Figure


@dataclass(frozen=True, slots=True)
class PairLoss:
    """What a mated pair takes at a frequency between matched ends, dB: its heat, and that and what it reflects."""

    frequency_hz: float
    heat_db: float
    loss_db: float


@dataclass(frozen=True, slots=True)
class ConnectorFamily:
    """A family of connectors, per mated pair: loss on some bands, volts rms, and every figure with its source.

    ``losses`` stop where the family is no longer used: at ``max_hz``, but for a family with an impedance step.
    """

    name: str
    impedance_ohm: float
    max_hz: float
    voltage_v: float
    losses: tuple[PairLoss, ...]
    figures: Mapping[str, Figure]


@dataclass(frozen=True, slots=True)
class Inserted:
    """An adapter, splice, arrestor, relay or the like: what is known of it, in words and figures."""

    name: str
    figures: Mapping[str, Figure]


@dataclass(frozen=True, slots=True)
class ConnectorList:
    """Connectors and what else stands in a line."""

    families: tuple[ConnectorFamily, ...]
    fittings: tuple[Inserted, ...]
    cautions: tuple[str, ...] = ()

    @property
    def each(self) -> tuple[ConnectorFamily | Inserted, ...]:
        """Return the families, then the fittings."""
        return (*self.families, *self.fittings)

    def to_dict(self) -> dict[str, Any]:
        """Return the document of schema ``linewright/connectors/1``."""
        return {
            "schema": "linewright/connectors/1",
            "families": [
                {
                    "name": c.name, "impedance_ohm": c.impedance_ohm, "max_hz": c.max_hz,
                    "voltage_rating_v": c.voltage_v,
                    "losses": [asdict(x) for x in c.losses], "figures": _figures(c.figures),
                }
                for c in self.families
            ],
            "fittings": [{"name": f.name, "figures": _figures(f.figures)} for f in self.fittings],
            "cautions": list(self.cautions),
        }  # fmt: skip


def _figures(figures: Mapping[str, Figure]) -> dict[str, Any]:
    return {name: {"value": f.value, **asdict(f.provenance)} for name, f in figures.items()}
