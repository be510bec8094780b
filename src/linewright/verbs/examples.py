"""What examples stand on: the invented files of the demo, and a small ledger that is gone afterwards."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import date
from importlib.resources import files
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Final

from linewright.store.ledger import Ledger
from linewright.verbs.shelf_filing import file_sheet, file_sheet_files, keep_station_files
from linewright.verbs.shelf_open import open_ledger

SHEET: Final = b"""
title = "One meter, one band (invented)"
[source]
power = "10 W"
[reference]
line = "RG-58C/U"
length = "0.9 m"
[[meter]]
name = "desk meter"
rated = "1.8 MHz to 60 MHz"
division = "0.1 W"
[[piece]]
tag = "blue 7"
line = "RG-58C/U"
length = "7.2 m"
stock = "blue drum"
[[reading]]
meter = "desk meter"
frequency = "14.2 MHz"
path = "reference"
reading = 9.4
[[reading]]
meter = "desk meter"
frequency = "14.2 MHz"
path = "blue 7"
reading = 8.3
"""
STATION: Final = b"""
[station]
name = "Harbour Ridge (invented)"
noise = "residential"
[[run]]
name = "portable mast"
frequencies = ["14.2 MHz"]
power = "20 W"
route = "7 m"
chain = [{piece = "blue 7"}, {connector = "BNC"}]
antenna = {swr = 1.6}
receiver = {noise_figure = "6 dB"}
"""


def demo_file(name: str) -> Path:
    """Return where a file of the demo lies in the package.

    >>> demo_file("harbour-ridge.toml").exists()
    True
    """
    return Path(str(files("linewright.verbs.demo_data").joinpath(name)))


@contextmanager
def example_ledger() -> Iterator[Ledger]:
    """Open a ledger for examples: two invented tests, three pieces, a meter, a station of one run; gone afterwards.

    >>> from linewright.verbs.shelf_items import all_kept
    >>> with example_ledger() as ledger:
    ...     [item.key for item in all_kept(ledger, "piece")]
    ['black 20', 'blue 18', 'blue 7']
    """
    with TemporaryDirectory() as place, open_ledger(Path(place) / "ledger.sqlite") as ledger:
        file_sheet(ledger, demo_file("harbour-ridge-2025.toml"), on=date(2025, 3, 15))
        file_sheet_files(ledger, {"bench.toml": SHEET}, on=date(2026, 3, 14))
        keep_station_files(ledger, {"station.toml": STATION})
        yield ledger
