"""Kept sweeps: found again by piece, day and hash, drawn over each other, written out byte for byte."""

from __future__ import annotations

import hashlib
import io
import json
import re
import zipfile
from datetime import date
from html import unescape

import pytest
from click.testing import CliRunner
from starlette.testclient import TestClient

import linewright as lw
from evidence.made_sweeps import Made
from linewright.cli.main import main
from linewright.core.errors import InputError
from linewright.verbs.kept_sweeps import find_sweeps, overlay, sweep_file, write_sweeps
from linewright.verbs.shelf import add, archive, file_sweep, open_ledger, rename
from linewright.web.app import create_app
from linewright.web.sessions import Settings

MADE = Made(k1_db=0.14, length_m=7.0, points=101, stop_hz=200e6)
KEPT = (("red 1", "through", 1, date(2025, 4, 1)), ("red 1", "through", 2, date(2026, 4, 1)),
        ("red 1", "open", 3, date(2026, 4, 1)), ("red 2", "through", 4, date(2026, 5, 3)))  # fmt: skip


@pytest.fixture(scope="module")
def place(tmp_path_factory):
    folder = tmp_path_factory.mktemp("kept")
    with open_ledger(str(folder / "ledger.sqlite")) as ledger:
        for tag in ("red 1", "red 2"):
            add(ledger, "piece", {"tag": tag, "line": "RG-58C/U", "length": "7 m"})
        for tag, end, seed, day in KEPT:
            path = folder / f"sweep{seed}.s{2 if end == 'through' else 1}p"
            lw.write_touchstone(MADE.through(seed) if end == "through" else MADE.ended(1, seed), path)
            file_sweep(ledger, path, tag, end, on=day)
    return folder


@pytest.fixture
def ledger(place):
    with open_ledger(str(place / "ledger.sqlite")) as found:
        yield found


def days(found):
    return [(s.piece, s.far_end, s.measured_on) for s in found.sweeps]


def test_sweeps_are_found_by_piece_day_and_hash_newest_first(ledger, place):
    assert len(find_sweeps(ledger).sweeps) == 4
    assert days(find_sweeps(ledger))[0] == ("red 2", "through", "2026-05-03")
    assert {s.piece for s in find_sweeps(ledger, piece="red 1").sweeps} == {"red 1"}
    assert len(find_sweeps(ledger, piece="red 1", since=date(2026, 1, 1)).sweeps) == 2
    assert days(find_sweeps(ledger, until=date(2025, 4, 1))) == [("red 1", "through", "2025-04-01")]
    sha = hashlib.sha256((place / "sweep3.s1p").read_bytes()).hexdigest()
    for hash_ in (sha, sha[:8], f"SHA256:{sha.upper()}"):
        assert [s.name for s in find_sweeps(ledger, sha256=hash_).sweeps] == ["sweep3.s1p"]
    with pytest.raises(InputError, match="first 4 digits"):
        find_sweeps(ledger, sha256="xy")
    with pytest.raises(InputError, match="nobody"):
        find_sweeps(ledger, piece="nobody")


def test_a_sweep_is_written_byte_for_byte_and_nothing_is_overwritten(ledger, place, tmp_path):
    (one,) = find_sweeps(ledger, piece="red 2").sweeps
    (path,) = write_sweeps(ledger, [one.key], tmp_path / "one.s2p")
    assert path.read_bytes() == (place / "sweep4.s2p").read_bytes()
    with pytest.raises(InputError, match="not be there already"):
        write_sweeps(ledger, [one.key], path)
    keys = [s.key for s in find_sweeps(ledger).sweeps]
    with pytest.raises(InputError, match="folder for 4"):
        write_sweeps(ledger, keys, tmp_path / "all.s2p")
    written = write_sweeps(ledger, keys, tmp_path / "all")
    assert len({p.name for p in written}) == 4
    assert {p.suffix for p in written} == {".s1p", ".s2p"}
    again = lw.read_touchstone(next(p for p in written if p.suffix == ".s1p"))
    assert len(again.frequency_hz) == 101


def test_curves_of_one_kind_lie_on_one_pair_of_axes(ledger):
    drawn = dict(overlay(ledger, [s.key for s in find_sweeps(ledger).sweeps]))
    assert set(drawn) == {"loss", "return loss"}
    lines = [x for x in drawn["loss"]["vconcat"][1]["layer"] if x["mark"]["type"] == "line"]
    assert [x["mark"]["style"] for x in lines] == ["series-1", "series-2", "series-3"]
    row = lines[0]["data"]["values"][50]
    at = row["mhz"] * 1e6
    assert row["value"] == pytest.approx(MADE.loss_at(at), abs=0.03)
    with pytest.raises(InputError, match="one to 6"):
        overlay(ledger, [])


def test_the_command_finds_draws_and_exports(place, tmp_path):
    base = ["shelf", "sweeps", "--ledger", str(place / "ledger.sqlite")]
    words = CliRunner().invoke(main, [*base, "red 1"], standalone_mode=False)
    assert words.exception is None, words.exception
    assert "sweep3.s1p" in words.stdout
    assert "sweep4.s2p" not in words.stdout
    same = CliRunner().invoke(main, [*base, "--same-as", str(place / "sweep2.s2p"), "--json"], standalone_mode=False)
    (found,) = json.loads(same.stdout)["sweeps"]
    assert found["measured_on"] == "2026-04-01"
    out = ["red 2", "--chart", str(tmp_path / "c.svg"), "--export", str(tmp_path / "folder")]
    drawn = CliRunner().invoke(main, [*base, *out], standalone_mode=False)
    assert drawn.exception is None, drawn.exception
    assert (tmp_path / "c.svg").read_text(encoding="utf-8").startswith("<svg")
    assert len(list((tmp_path / "folder").iterdir())) == 1


def test_the_page_finds_draws_and_hands_out(place, ledger):
    client = TestClient(create_app(Settings(str(place / "ledger.sqlite"))), base_url="http://localhost:8731")
    keys = [s.key for s in find_sweeps(ledger).sweeps]
    page = client.get("/sweeps/kept").text
    assert "4 sweeps kept." in page
    assert page.count("download") >= 5
    drawn = client.get("/sweeps/kept", params={"piece": "red 1", "draw": keys[1:]}).text
    assert "3 sweeps kept of red 1." in drawn
    assert "Return loss at the near end" in drawn
    pictures = dict.fromkeys(unescape(t) for t in re.findall(r'data-picture="([^"]+)"', drawn))
    svgs = [client.get(there).text for there in pictures]
    assert sum(svg.count('aria-roledescription="along"') for svg in svgs) == 3
    assert "must be a day" in client.get("/sweeps/kept?since=yesterday").text
    name, content = sweep_file(ledger, keys[0])
    one = client.get("/sweeps/kept/file", params={"key": keys[0]})
    assert one.content == content == client.get("/api/shelf/sweep", params={"key": keys[0]}).content
    assert name.endswith(".s2p")
    archive_ = zipfile.ZipFile(io.BytesIO(client.get("/sweeps/kept/file", params={"key": keys}).content))
    assert len(archive_.namelist()) == 4
    assert archive_.read(name) == content
    told = client.get("/api/shelf/sweeps", params={"piece": "red 2"}).json()
    assert told["schema"] == "linewright/kept-sweeps/1"
    assert [s["name"] for s in told["sweeps"]] == ["sweep4.s2p"]


def test_what_was_put_away_or_renamed_is_found_when_asked(tmp_path):
    with open_ledger(str(tmp_path / "l.sqlite")) as own:
        add(own, "piece", {"tag": "a", "line": "RG-58C/U", "length": "7 m"})
        lw.write_touchstone(MADE.through(9), tmp_path / "x.s2p")
        kept = file_sweep(own, tmp_path / "x.s2p", "a", on=date(2026, 4, 1))
        rename(own, "a", "b")
        assert [s.piece for s in find_sweeps(own, piece="b").sweeps] == ["b"]
        archive(own, "sweep", kept.item.key)
        assert find_sweeps(own).sweeps == ()
        (found,) = find_sweeps(own, archived=True).sweeps
        assert found.archived
