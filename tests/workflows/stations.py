"""Stations for tests: small ones, made of lines of the catalogue."""

from __future__ import annotations

from linewright.core.nouns.station import Station
from linewright.files.station import read_station_text

TEXT = """\
[station]
name = "Test hill"
noise = "rural"
[[run]]
name = "beam"
frequencies = ["144.3 MHz"]
power = "50 W"
chain = [
  {line = "RG-58C/U", length = "1 m"},
  {connector = "N", pairs = 2},
  {line = "RG-213/U", length = "20 m"},
  {part = "surge arrestor", loss = "0.1 dB"},
]
antenna = {swr = 1.5}
gain = "11 dBi"
receiver = {noise_figure = "4 dB"}
[[run]]
name = "wire"
frequencies = ["3.65 MHz", "14.2 MHz"]
power = "100 W"
chain = [
  {tuner = "desk tuner"},
  {line = "window line", length = "15 m"},
]
antenna = {impedance = [["3.65 MHz", "45-320j"], ["14.2 MHz", "2600+900j"]]}
"""


def station(text: str = TEXT, **files: str) -> Station:
    """Return the station of a text."""
    return read_station_text(text, files)
