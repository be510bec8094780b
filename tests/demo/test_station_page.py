"""The page on plans names the keys that a station may hold, all of them and no other; its examples work."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from linewright.core.errors import InputError
from linewright.core.nouns.station import Station
from linewright.files.station import read_station_text
from linewright.verbs.changes import changed

PAGE = (Path(__file__).parents[2] / "docs" / "how-a-plan-works.md").read_text(encoding="utf-8")
SHEET = """
[[meter]]
name = "m"
[[piece]]
tag = "blue 7"
line = "RG-58C/U"
length = "7.2 m"
[[piece]]
tag = "blue 18"
line = "RG-58C/U"
length = "17.9 m"
"""
TWO_PORT = "# MHz S DB R 50\n100 -30 0 -0.4 -20 -0.4 -20 -30 0\n200 -30 0 -0.6 -40 -0.6 -40 -30 0\n"
FILES = {"spring.toml": SHEET, "filter.s2p": TWO_PORT}
BASE = """
[[run]]
name = "r"
frequencies = "144 MHz"
power = "5 W"
chain = [{0}]
antenna = {{swr = 1.5}}
"""
INNER = {"antenna", "receiver", "preamplifier", "exposure", "sky"}


def _known(text: str) -> set[str]:
    """Return the keys the reader says it knows, where a key of nobody's stands."""
    with pytest.raises(InputError) as caught:
        read_station_text(text, FILES)
    errors = getattr(caught.value, "problems", ()) or (caught.value,)
    said = next(str(e) for e in errors if "colour" in e.argument)
    listed = re.search(r"known are (.*?)(?: \(|\.)", said)
    assert listed is not None
    return set(listed[1].split(", "))


def _rows(heading: str) -> list[list[str]]:
    """Return the cells of the table under a heading row."""
    start = PAGE.index(f"| {heading} |")
    table = PAGE[start : PAGE.index("\n\n", start)].splitlines()[2:]
    return [[cell.strip() for cell in re.split(r"(?<!\\)\|", row)[1:-1]] for row in table]


def _documented() -> dict[str, set[str]]:
    """Return the keys of the page's first table, by their table; those of no table under the empty name."""
    found: dict[str, set[str]] = {}
    for cell, *_ in _rows("key"):
        keys = re.findall(r"`([^`]+)`", cell)
        table = re.match(r"\[+(\w+)\]+", keys[0])
        names = [re.sub(r"\[+\w+\]+ ?", "", key) for key in keys]
        found.setdefault(table[1] if table else "", set()).update(filter(None, names))
    return found


def test_the_page_names_every_key_of_every_table_and_no_other():
    documented = _documented()
    documented["part"] |= {"loss", "swr", "voltage", "power", "temperature"}
    for table in ("station", "run", "piece"):
        brackets = (f"[{table}]", f"[[{table}]]")[table != "station"]
        whole = f"{BASE.format('')}\n{brackets}\ncolour = 1\n"
        assert _known(whole) == documented[table], table
    chained = _known(f'{BASE.format("")}\n[[part]]\nname = "x"\nchain = []\ncolour = 1\n')
    lossy = _known(f'{BASE.format("")}\n[[part]]\nname = "x"\nloss = "1 dB"\ncolour = 1\n')
    assert chained | lossy == documented["part"]
    named = set(documented) - {""}
    assert _known(f"colour = 1\n{BASE.format('')}") == documented[""] | named


@pytest.mark.parametrize("row", _rows("entry"), ids=lambda row: row[0])
def test_the_page_names_every_key_of_every_entry_and_no_other(row):
    example = row[0].strip("`")
    own = set(re.findall(r"(\w+) = ", example))
    more = set(re.findall(r"`(\w+)`", row[2]))
    text = f'evidence = ["spring.toml"]\n{BASE}'
    assert _known(text.format(example.replace("}", ", colour = 1}"))) == own | more


@pytest.mark.parametrize("key", sorted(INNER))
def test_the_page_shows_every_key_of_an_inner_table(key):
    cell = next(meaning for name, meaning, _ in _rows("key") if name == f"`[[run]] {key}`")
    shown = set(re.findall(r"(\w+) = ", cell))
    text = BASE.format("").replace("antenna = {swr = 1.5}\n", "" if key == "antenna" else "antenna = {swr = 1.5}\n")
    assert _known(f"{text}\n{key} = {{colour = 1}}\n") == shown


def test_the_example_is_read():
    assert [p.name for p in _example().runs[0].chain][2] == "blue 7"


def _example() -> Station:
    example = re.search(r"```toml\n(.*?)```", PAGE, re.DOTALL)
    assert example is not None
    return read_station_text(example[1], FILES)


@pytest.mark.parametrize("change", [row[0].strip("`") for row in _rows("change")])
def test_every_change_of_the_page_is_made(change):
    station = _example()
    if "tuner" in change:
        station = changed(station, ["add part 1 = tuner desk tuner"])
    if change.startswith("preamplifier"):
        station = changed(station, ["add preamplifier = gain 18 dB, noise figure 0.8 dB, at antenna"])
    assert changed(station, [change]) != station


@pytest.mark.parametrize("entry", [row[0].strip("`") for row in _rows("entry")])
def test_every_entry_of_the_page_is_read(entry):
    text = f'evidence = ["spring.toml"]\n{BASE}'.format(entry)
    assert len(read_station_text(text, FILES).runs[0].chain) == 1
