"""Where results go: an earlier result makes room, anything else that bears the name stays as it is."""

from __future__ import annotations

import io
import json
import shutil
import zipfile
from pathlib import Path
from xml.etree import ElementTree

import pypdf
import pypdfium2
import pytest

from cli.doors import DATA, ask, words_of

STATION = "harbour-ridge-station.toml"
SHEET = "harbour-ridge.toml"
MINE = b"What somebody made by hand.\n"
WRITERS = {
    "report.pdf": ("report", SHEET, "-o"),
    "report.html": ("report", SHEET, "-o"),
    "chart.svg": ("chart", SHEET, "-o"),
    "chart.png": ("chart", SHEET, "-o"),
    "chart.pdf": ("chart", SHEET, "-o"),
    "chart.vl.json": ("chart", SHEET, "-o"),
    "label.pdf": ("label", "blue", "-o"),
    "label.svg": ("label", "blue", "-o"),
    "label.png": ("label", "blue", "-o"),
    "sheet.pdf": ("sheet", SHEET, "-o"),
    "share.svg": ("share", "harbour-ridge-field-day.toml", "--prices", "harbour-ridge-prices.csv", "--chart"),
    "choose.svg": ("choose", STATION, "--run", "two-metre beam", "--prices", "harbour-ridge-prices.csv", "--chart"),
    "shelf.zip": ("shelf", "export"),
}
"""A file that each command writes, and the words before its name."""


@pytest.fixture(scope="module")
def desk(tmp_path_factory):
    folder = tmp_path_factory.mktemp("desk")
    for path in DATA.glob("harbour-ridge*"):
        shutil.copy(path, folder)
    patch = pytest.MonkeyPatch()
    patch.chdir(folder)
    patch.setenv("LINEWRIGHT_LEDGER", str(folder / "ledger.sqlite"))
    assert ask("shelf", "add", "blue", "--length", "7 m", "--line", "RG-58C/U").exit_code == 0
    yield folder
    patch.undo()


def wrote(name: str):
    """Ask the command that writes a file of this name."""
    return ask(*WRITERS[name], name)


@pytest.mark.parametrize(
    "name", [pytest.param(n, marks=[pytest.mark.slow] if n in ("chart.svg", "chart.pdf") else []) for n in WRITERS]
)
def test_a_result_takes_the_place_of_an_earlier_one(desk, name):
    assert wrote(name).exit_code == 0
    first = Path(name).read_bytes()
    Path(name).write_bytes(first[:50] + b"?" + first[51:])
    told = wrote(name)
    assert told.exit_code == 0, told.output
    assert len(Path(name).read_bytes()) > 1000
    assert b"?" + first[51:60] not in Path(name).read_bytes()


@pytest.mark.parametrize("name", WRITERS)
def test_what_is_no_result_stays_and_the_person_is_told(desk, name):
    path = Path(f"mine-{name}")
    path.write_bytes(MINE)
    told = ask(*WRITERS[name], str(path))
    assert told.exit_code == 2
    assert path.read_bytes() == MINE
    assert "output must be a new file or an earlier result" in words_of(told.stderr)
    assert "Name another file" in words_of(told.stderr)


def test_neither_ledger_nor_input_makes_room_under_whatever_name(desk):
    for kept, link in (("ledger.sqlite", "ledger.pdf"), (SHEET, "bench.html"), ("harbour-ridge.csv", "readings.svg")):
        before = Path(kept).read_bytes()
        Path(link).symlink_to(kept)
        words = ("chart", SHEET) if link.endswith(".svg") else ("report", SHEET)
        assert ask(*words, "-o", link).exit_code == 2
        assert Path(kept).read_bytes() == before


def test_a_folder_is_no_place_for_a_result(desk):
    Path("folder.pdf").mkdir()
    told = ask("report", SHEET, "-o", "folder.pdf")
    assert (told.exit_code, "there is a folder of that name" in words_of(told.stderr)) == (2, True)


def test_an_earlier_result_is_kept_where_the_new_one_cannot_be_written(desk, monkeypatch):
    assert ask("label", "blue", "-o", "kept.svg").exit_code == 0
    before = Path("kept.svg").read_bytes()

    def full(self, content):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(Path, "write_bytes", full)
    told = ask("label", "blue", "-o", "kept.svg", "--qr")
    assert told.exit_code == 1
    assert "Cannot write kept.svg: No space left on device" in words_of(told.stderr)
    assert Path("kept.svg").read_bytes() == before
    assert not list(Path().glob("*.part"))


def test_what_marks_a_result_breaks_none_of_its_forms(desk):
    for name in WRITERS:
        if not Path(name).exists():
            assert wrote(name).exit_code == 0
    for path in Path().glob("*.svg"):
        if not path.is_symlink() and not path.name.startswith("mine-"):
            assert ElementTree.parse(path).getroot().tag.endswith("svg")
    for name in ("report.pdf", "chart.pdf", "label.pdf", "sheet.pdf"):
        content = Path(name).read_bytes()
        reader = pypdf.PdfReader(io.BytesIO(content), strict=True)
        assert len(reader.pages) == len(pypdfium2.PdfDocument(content)) > 0
    for name in ("chart.png", "label.png"):
        chunks = dict(png_chunks(Path(name).read_bytes()))
        assert chunks[b"tEXt"] == b"Software\0made by linewright"
    assert json.loads(Path("chart.vl.json").read_text())["$schema"].endswith(".json")
    with zipfile.ZipFile("shelf.zip") as whole:
        assert whole.testzip() is None
    assert ask("shelf", "import", "shelf.zip", "--ledger", "again.sqlite").exit_code == 0


def png_chunks(content: bytes):
    """Yield each chunk's name and body; its sum must be right."""
    import zlib

    at = 8
    while at < len(content):
        long = int.from_bytes(content[at : at + 4], "big")
        kind, body = content[at + 4 : at + 8], content[at + 8 : at + 8 + long]
        assert zlib.crc32(kind + body) == int.from_bytes(content[at + 8 + long : at + 12 + long], "big")
        yield kind, body
        at += 12 + long
