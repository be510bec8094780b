"""What connectors, adapters and other things in a line take and bear."""

from __future__ import annotations

from typing import Final

from linewright.catalogue.cautions import cautions_of
from linewright.catalogue.connectors import Connector, connectors, fittings, pair_loss_db
from linewright.core.nouns.connector_list import ConnectorFamily, ConnectorList, Inserted, PairLoss

SHOWN_HZ: Final = (14.2e6, 50.2e6, 144.3e6, 432.2e6, 1296.2e6)
"""A frequency in each of the bands a list shows."""


def list_connectors() -> ConnectorList:
    """Return every connector family with what a mated pair takes on five bands, and the other things put into a line.

    Returns
    -------
    ConnectorList
        Families in the catalogue's order, losses in dB at frequencies in hertz; then adapters, splices, arrestors,
        relays and the like, in words. Each figure says how it is known and where it stands: connectors.csv and
        fittings.csv of the catalogue. A pair's heat grows with the root of frequency (Pozar, 4th ed., section 2.7);
        what an impedance step reflects is that of a short line (section 2.3; places from memory).

    Examples
    --------
    >>> found = list_connectors()
    >>> found.families[0].name, [round(x.loss_db, 3) for x in found.families[0].losses]
    ('N', [0.006, 0.011, 0.019, 0.033, 0.057])
    """
    return ConnectorList(
        tuple(map(_family, connectors())),
        tuple(Inserted(one.name, one.figures) for one in fittings()),
        cautions_of("connectors"),
    )


def _family(one: Connector) -> ConnectorFamily:
    shown = [f for f in SHOWN_HZ if f <= one.max_hz or one.line_section is not None]
    losses = tuple(PairLoss(f, float(one.heat_loss_db(f)), float(pair_loss_db(one, f, _system(one)))) for f in shown)
    return ConnectorFamily(one.name, one.impedance_ohm, one.max_hz, one.voltage_v, losses, one.figures)


def _system(one: Connector) -> float:
    """Return the line's impedance that a family is used in: its own, but 50 ohm where it has a step."""
    return one.impedance_ohm if one.line_section is None else 50.0
