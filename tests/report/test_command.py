"""``linewright report``: what it takes, what it refuses, and that its last page tells how to make it again."""

from __future__ import annotations

import hashlib
import json
import os
import shlex
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner

from linewright.cli import main

NAMES = ("harbour-ridge.toml", "harbour-ridge.csv", "harbour-ridge-station.toml")


def asked(*words: str):
    """Run the command as a person does."""
    return CliRunner().invoke(main, ["report", *words])


@pytest.fixture
def desk(demo: Path, tmp_path: Path) -> Path:
    """Return a folder of one's own with the demo's files, and work in it."""
    for name in NAMES:
        shutil.copy(demo / name, tmp_path / name)
    before = Path.cwd()
    os.chdir(tmp_path)
    yield tmp_path
    os.chdir(before)


def last_page(document: dict) -> tuple[dict[str, str], dict[str, str]]:
    """Return the facts of the last section, and the files that went in with their SHA-256."""
    blocks = document["sections"][-1]["blocks"]
    facts = dict(next(b["rows"] for b in blocks if b["block"] == "facts"))
    table = next(b for b in blocks if b["block"] == "table")
    return facts, dict(row["cells"] for row in table["parts"][0]["rows"])


PDF, HTML = "-o a.pdf --paper letter", "-o a.html --decimal comma --lengths ft"


@pytest.mark.parametrize(
    ("subject", "options"),
    [
        ("harbour-ridge.toml", PDF),
        ("harbour-ridge-station.toml", HTML),
        pytest.param("harbour-ridge.toml", HTML, marks=pytest.mark.slow),
        pytest.param("harbour-ridge-station.toml", PDF, marks=pytest.mark.slow),
    ],
)
def test_the_command_on_the_last_page_makes_the_same_bytes_in_another_process(
    desk: Path, subject: str, options: str
) -> None:
    words = [subject, "--date", "2026-04-02", *shlex.split(options)]
    assert asked(*words).exit_code == 0
    made = {path.suffix: path.read_bytes() for path in desk.glob("a.*")}
    document = json.loads(asked(*words, "--json").stdout)
    (ending,) = made
    command = shlex.split(last_page(document)[0]["command that makes it again"])
    (desk / f"a{ending}").unlink()
    assert command[:2] == ["linewright", "report"]
    subprocess.run([sys.executable, "-m", *command], check=True, capture_output=True)
    assert (desk / f"a{ending}").read_bytes() == made[ending]


def test_every_file_that_went_in_is_listed_with_its_sum(desk: Path) -> None:
    document = json.loads(asked("harbour-ridge-station.toml", "--json", "--date", "2026-04-02").stdout)
    _, files = last_page(document)
    assert set(files) == set(NAMES)
    for name, digest in files.items():
        assert digest == hashlib.sha256((desk / name).read_bytes()).hexdigest()


def test_versions_stand_on_the_last_page(desk: Path) -> None:
    from linewright import __version__

    facts, _ = last_page(json.loads(asked("harbour-ridge.toml", "--json", "--date", "2026-04-02").stdout))
    assert facts["program"] == f"linewright {__version__}"
    assert facts["engine"].startswith(f"{__version__}/")
    assert len(facts["catalogue, SHA-256"]) == 64
    assert "typst" in facts["typesetter and drawings"]


def test_names_of_the_ledger_are_found_as_piece_session_and_station(ledger: str, tmp_path: Path, demo: Path) -> None:
    from linewright.verbs.shelf import all_kept, keep_station, open_ledger

    with open_ledger(ledger) as found:
        keep_station(found, demo / "harbour-ridge-station.toml")
        session = all_kept(found, "sheet")[0].key
    kinds = {}
    for name in ("blue 7", session, "Harbour Ridge station (invented)"):
        done = asked(name, "--json", "--ledger", ledger, "--date", "2026-04-02")
        kinds[name] = json.loads(done.stdout)["kind"]
    assert list(kinds.values()) == ["piece", "bench", "station"]


def test_without_a_date_it_bears_the_day(desk: Path) -> None:
    from datetime import datetime

    before = datetime.now().astimezone().date().isoformat()
    day = json.loads(asked("harbour-ridge.toml", "--json").stdout)["day"]
    assert before <= day <= datetime.now().astimezone().date().isoformat()


@pytest.mark.parametrize(
    ("words", "said", "status"),
    [
        ("harbour-ridge.toml", "Say where to write it", 2),
        ("harbour-ridge.toml -o report.doc", "must end in .pdf or .html", 2),
        ("nowhere.toml -o a.pdf", "must name a file that can be read", 2),
        ("'blue 9' -o a.pdf", "ledger must be begun first", 2),
        ("harbour-ridge.csv -o a.pdf", "must be a TOML file", 2),
        ("harbour-ridge.toml -o a.pdf --paper a5", "'a5' is not one of", 2),
        ("harbour-ridge.toml -o a.pdf --language xx", "'xx' is not one of", 2),
        ("harbour-ridge.toml -o a.pdf --date 2026-02-30", "'2026-02-30'", 2),
        ("harbour-ridge.toml -o nowhere/a.pdf --date 2026-04-02", "Cannot write nowhere/a.pdf", 1),
    ],
)
def test_what_is_wrong_is_said_and_nothing_is_written(desk: Path, words: str, said: str, status: int) -> None:
    done = asked(*shlex.split(words))
    assert said in " ".join(done.output.split())
    assert done.exit_code == status
    assert not list(desk.glob("a.*"))


def test_a_tag_that_is_no_path_is_looked_for_in_the_ledger(desk: Path) -> None:
    done = asked("x" * 5000, "-o", "a.pdf")
    assert done.exit_code == 2
    assert "ledger must be begun first" in " ".join(done.output.split())


def test_a_piece_nobody_measured_and_of_no_known_type_is_reported_all_the_same(tmp_path: Path) -> None:
    from linewright.verbs.shelf import By, add, open_ledger

    where = str(tmp_path / "ledger.sqlite")
    tag = "*find* #panic() \N{RADIO} כחול"
    with open_ledger(where) as found:
        add(found, "piece", {"tag": tag, "length": "3 m"}, by=By())
        add(found, "piece", {"tag": "new", "length": "3 m", "line": "RG-213/U"}, by=By())
    for name in (tag, "new"):
        for ending in (".pdf", ".html"):
            out = tmp_path / f"out{ending}"
            done = asked(name, "-o", str(out), "--ledger", where, "--date", "2026-04-02")
            assert done.exit_code == 0, done.output
            assert out.stat().st_size > 5000
