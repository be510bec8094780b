"""Invented gear of the Harbour Ridge club, to fill ledgers with."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest

from linewright.core.nouns.shelf import SessionPlan
from linewright.verbs import shelf
from linewright.verbs.shelf import By

#: What is refused by rules is refused whatever the ledger lies in: a file every day, a server too in thorough runs.
FILE_FIRST = pytest.mark.parametrize("where", ["file", pytest.param("server", marks=pytest.mark.slow)], indirect=True)
NOON = datetime(2026, 4, 2, 12, 0, tzinfo=UTC)
BY = By(NOON, "the club")
BLUE = {"tag": "blue 7", "line": "RG-58C/U", "length": "24 ft", "connectors": 2, "stock": "blue drum"}
BLACK = {"tag": "black 20", "line": "RG-213/U", "length": "20.4 m", "exposure": "outdoors"}
METER = {"name": "desk meter", "rated": "1.8 MHz to 60 MHz", "scale": "watts", "division": "0.1 W"}
DRUM = {
    "name": "club drum", "impedance": "50 ohm", "velocity_factor": 0.8,
    "points": [["10 MHz", "1.5 dB/100m"], ["100 MHz", "5.1 dB/100m"], ["1 GHz", "18 dB/100m"]],
}  # fmt: skip


def reading(value, path="reference", frequency="14.2 MHz", **more):
    return {"meter": "desk meter", "frequency": frequency, "path": path, "reading": str(value), **more}


def stock_up(ledger):
    shelf.add(ledger, "piece", BLUE, by=BY)
    shelf.add(ledger, "piece", BLACK, by=BY)
    shelf.add(ledger, "meter", METER, by=BY)


def session(ledger, title="Spring", by=BY):
    plan = SessionPlan(
        title, ("desk meter",), ("blue 7", "black 20"), {"power": "10 W"}, {"line": "RG-58C/U", "length": "0.9 m"}
    )
    return shelf.start_session(ledger, plan, by=by).key


def sound_bench(ledger, by=BY, worse=1.0):
    """Keep a session whose losses are those of the types, the blue piece's times ``worse``."""
    from linewright.catalogue import line_type

    key = session(ledger, by=by)
    numbers = 0
    for mhz in (7.1, 14.2, 28.5, 50.1):
        jumper = 0.9 * float(line_type("RG-58C/U").law.db_per_m(mhz * 1e6))
        for path, name, metres, times in (
            ("reference", "RG-58C/U", 0.9, 1.0), ("blue 7", "RG-58C/U", 7.3152, worse),
            ("black 20", "RG-213/U", 20.4, 1.0), ("reference", "RG-58C/U", 0.9, 1.0),
        ):  # fmt: skip
            loss = metres * times * float(line_type(name).law.db_per_m(mhz * 1e6)) - jumper
            numbers += 1
            cells = reading(f"{10 * 10 ** (-loss / 10):.2f}", path, f"{mhz} MHz")
            shelf.add_reading(ledger, key, cells, token=f"n{numbers}", by=by)
    return key


def sweep_bytes(loss=1.3, metres=7.3152):
    """Return a two-port sweep of RG-58C/U, its loss times ``loss``."""
    import numpy as np

    from linewright.catalogue import line_type

    line = line_type("RG-58C/U")
    f = np.linspace(1e6, 200e6, 400)
    db = loss * metres * line.law.db_per_m(f)
    through = 10 ** (-db / 20) * np.exp(-2j * np.pi * f * metres / (299792458.0 * line.velocity_factor))
    rows = [
        f"{x:.0f} 0.01 0 {t.real:.9f} {t.imag:.9f} {t.real:.9f} {t.imag:.9f} 0.01 0"
        for x, t in zip(f, through, strict=True)
    ]
    return ("! invented\r\n# Hz S RI R 50\r\n" + "\r\n".join(rows) + "\r\n").encode()
