"""What the tests of the bench share: a bench of invented gear, and readings made from a stated law."""

from __future__ import annotations

from pathlib import Path

from linewright.core.nouns.shelf import SessionPlan
from linewright.verbs.shelf import add, add_note, add_reading, open_ledger, start_session

BANDS = ("14.2 MHz", "50.1 MHz", "144.3 MHz")
#: What the invented RG-58C/U loses: dB per metre at 1 MHz, the parts that grow with √f and with f (invented).
K1_DB_PER_M, K2_DB_PER_M = 0.0205, 0.00034
PATHS = ("reference", "blue 7", "blue 18", "blue 7+blue 18", "reference")
LENGTHS_M = {"reference": 0.9, "blue 7": 7.2, "blue 18": 17.9, "blue 7+blue 18": 25.1, "blue 18+blue 7": 25.1}


def bench_of(ledger: Path, title: str = "Spring", meters: tuple[str, ...] = ("desk meter", "pocket meter")) -> str:
    """Put gear on the shelf and begin a session of three bands; return what it is called."""
    with open_ledger(ledger) as kept:
        bodies = [
            ("meter", {"name": "desk meter", "division": "0.1 W"}),
            ("meter", {"name": "pocket meter", "division": "0.1 W"}),
            ("piece", {"tag": "blue 7", "line": "RG-58C/U", "length": "7.2 m", "connectors": 2, "stock": "drum"}),
            ("piece", {"tag": "blue 18", "line": "RG-58C/U", "length": "17.9 m", "connectors": 2, "stock": "drum"}),
        ]
        for kind, body in bodies:
            try:
                add(kept, kind, body)
            except ValueError:
                continue
        plan = SessionPlan(
            title, meters, ("blue 7", "blue 18"), {"power": "10 W"}, {"line": "RG-58C/U", "length": "0.9 m"}
        )
        key = start_session(kept, plan).key
        add_note(kept, "sheet", key, f"To read: {', '.join(BANDS)}; through blue 7+blue 18")
        return key


def read(ledger: Path, key: str, *meters: str, most: int = 1000, slip: tuple[str, ...] = (), shown: str = "") -> None:
    """Read the lines of a session of these meters in the order of its sheet, as far as ``most`` goes.

    The line ``slip``, (path, meter, frequency), is read as ``shown``. Typing them in a browser is far dearer.
    """
    rows = [(path, meter, band) for path in PATHS for meter in meters for band in BANDS][:most]
    with open_ledger(ledger) as kept:
        for path, meter, band in rows:
            value = shown if (path, meter, band) == slip else reading_of(f"{meter} · {band} · {path}")
            add_reading(kept, key, {"meter": meter, "frequency": band, "path": path, "reading": value})


def reading_of(where: str) -> str:
    """Return what a true meter shows for a line of the sheet, to its tenth of a watt."""
    _, band, path = where.split(" · ")
    metres = LENGTHS_M[path.removesuffix(" again")]
    mhz = float(band.replace("\xa0", " ").removesuffix(" MHz"))
    loss_db = metres * (K1_DB_PER_M * mhz**0.5 + K2_DB_PER_M * mhz)
    return f"{10 * 10 ** (-loss_db / 10):.1f}"
