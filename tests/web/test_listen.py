"""``linewright listen``: what an instrument says lands once, in its field and unit; what is no reading does not."""

from __future__ import annotations

import json
import os
import re
import shutil
import socket
import subprocess
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from importlib.util import find_spec
from urllib.parse import quote

import pytest
from click.testing import CliRunner

from demo.tool import ROOT
from linewright.cli.main import main
from linewright.core.errors import CannotError, InputError
from linewright.verbs.listen import RemoteSession, in_scale, open_channel, take_number
from linewright.verbs.shelf import add_reading, changes, open_ledger, readings_of
from linewright.verbs.tokens import make_token
from web.bench_helpers import bench_of, reading_of

METER = ("--meter", "desk meter")


class Instrument:
    """An instrument of ours on loopback that speaks lines: who it is, and one number for each ``MEAS?``."""

    def __init__(self, answers, silent=(), known=b"Harbour Ridge,invented power meter,0,1.0") -> None:
        self.answers, self.silent, self.known = iter(answers), silent, known
        self.heard: list[str] = []
        self._door = socket.create_server(("127.0.0.1", 0))
        self.address = f"tcp:127.0.0.1:{self._door.getsockname()[1]}"

    def serve(self) -> None:
        line, _ = self._door.accept()
        with line, line.makefile("rb") as asked:
            for text in asked:
                self.heard.append(text.decode().strip())
                if self.heard[-1] in self.silent or not self.heard[-1].endswith("?"):
                    continue
                answer = self.known if self.heard[-1] == "*IDN?" else str(next(self.answers)).encode()
                line.sendall(answer + b"\n")

    def close(self) -> None:
        self._door.close()


@contextmanager
def instrument(answers, **how) -> Iterator[Instrument]:
    found = Instrument(answers, **how)
    thread = threading.Thread(target=found.serve, daemon=True)
    thread.start()
    yield found
    found.close()


@pytest.fixture
def bench(tmp_path):
    ledger = tmp_path / "ledger.db"
    return ledger, bench_of(ledger)


def ran(*words, typed="", status=0, **environment):
    found = CliRunner(env=environment).invoke(main, ["listen", *words], input=typed)
    assert found.exit_code == status, found.output
    return found


def kept_in(bench):
    with open_ledger(bench[0]) as ledger:
        return readings_of(ledger, bench[1])


def test_a_pipe_fills_the_fields_in_their_order(bench):
    found = ran("--ledger", str(bench[0]), "--unit", "W", *METER, "--json", typed="10.0\n8.3 W\n8310 mW\n")
    document = json.loads(found.stdout)
    assert document["session"] == bench[1]
    assert [r["cells"]["reading"] for r in document["readings"]] == ["10", "8.3", "8.31"]
    assert {r["cells"]["meter"] for r in document["readings"]} == {"desk meter"}
    assert [r.cells for r in kept_in(bench)] == [r["cells"] for r in document["readings"]]
    assert document["readings"][0]["cells"]["path"] == "reference"
    assert any("input takes far less" in caution for caution in document["cautions"])
    with open_ledger(bench[0]) as ledger:
        assert changes(ledger, kind="reading", most=1).changes[0].who == "instrument"


def test_an_instrument_is_asked_set_up_and_averaged(bench):
    with instrument(["+8.20E+00", "+8.60E+00", "+8.30E+00"] * 2) as meter:
        words = ("--from", meter.address, "--ask", "MEAS?", "--setup", "RANGE 10", "--unit", "W", "--readings", "3")
        found = ran(*words, "--ledger", str(bench[0]), "--most", "2", "--at-once")
        assert "Harbour Ridge" in found.stderr
        assert meter.heard == ["*IDN?", "RANGE 10", *["MEAS?"] * 6]
    first, second = kept_in(bench)
    assert first.cells["reading"] == second.cells["reading"] == "8.3"
    assert first.cells["note"] == "median of 3: 8.2 to 8.6 W"


def test_a_person_reads_passes_over_and_ends(bench):
    with instrument(["10.0", "9.0"]) as meter:
        words = ("--from", meter.address, "--ask", "MEAS?", "--unit", "W", *METER)
        found = ran(*words, "--ledger", str(bench[0]), typed="\ns\n\nq\n")
    first, second = kept_in(bench)
    assert first.cells["path"] == "reference"
    nexts = [line for line in found.stderr.splitlines() if line.startswith("Next: ")]
    assert len(nexts) == 4
    assert nexts[1] != nexts[2]
    place = f"{second.cells['path']} on the desk meter at {second.cells['frequency']}"
    assert place in nexts[2]


def test_a_whole_bench_is_fed_through_the_app_by_a_token(site):
    session = bench_of(site.ledger, "Fed", meters=("desk meter",))
    with open_ledger(site.ledger) as ledger:
        token = make_token(ledger, "bench instrument", "write")
    station = RemoteSession(site.address, token, session)
    assert station.begin() == session
    shown = []
    while (place := station.next(None, len(shown))) is not None:
        shown.append(reading_of(f" · {place['frequency']} · {place['label']}"))
    with instrument(shown) as meter:
        words = ("--from", meter.address, "--ask", "MEAS?", "--unit", "W", "--at-once", "--station", site.address)
        found = ran(session, *words, LINEWRIGHT_TOKEN=token)
    assert "Nothing is left to read here." in found.stderr
    assert token not in found.output
    with open_ledger(site.ledger) as ledger:
        there = readings_of(ledger, session)
        assert len(there) == len(shown) > 10
        assert {c.who for c in changes(ledger, kind="reading", most=5).changes} == {"bench instrument"}


def test_a_field_that_somebody_else_read_keeps_theirs(bench, monkeypatch):
    from linewright.web.feeding import KeptBench

    plain = KeptBench.next

    def slow(self, meter, passed):
        place = plain(self, meter, passed)
        if not self.ledger.remarks:  # the first time
            self.ledger.remarks.append("read")
            cells = {k: place[k] for k in ("meter", "frequency", "path")} | {"reading": "9.9"}
            add_reading(self.ledger, self.session, cells, token=place["key"])
        return place

    monkeypatch.setattr(KeptBench, "next", slow)
    found = ran("--ledger", str(bench[0]), "--unit", "W", *METER, typed="5\n6\n")
    assert "theirs stays" in found.stderr
    assert [r.cells["reading"] for r in kept_in(bench)] == ["9.9", "6"]


def test_a_broken_connection_is_tried_again_and_keeps_one_reading(bench, monkeypatch):
    """The answer to a reading is lost; the second try has the same key."""
    from urllib import request

    from starlette.testclient import TestClient

    from linewright.verbs import listen as verbs
    from linewright.web.app import create_app
    from linewright.web.sessions import Settings

    with open_ledger(bench[0]) as ledger:
        token = make_token(ledger, "bench instrument", "write")
    app = TestClient(create_app(Settings(str(bench[0]))), base_url="http://localhost:8731")
    lost = []

    class Answer:
        def __init__(self, answer):
            self._answer = answer

        def read(self, _most):
            return self._answer.content

        def __enter__(self):
            return self

        def __exit__(self, *_):
            return None

    def through(asked: request.Request, **_):
        answer = app.request(asked.method, asked.full_url, content=asked.data, headers=dict(asked.header_items()))
        if asked.method == "POST" and not lost:
            lost.append(answer.status_code)
            raise ConnectionResetError("gone")
        return Answer(answer)

    monkeypatch.setattr(verbs, "urlopen", through)
    monkeypatch.setattr(verbs, "AGAIN_S", 0.0)
    ran("--unit", "W", "--most", "1", "--station", "http://localhost:8731", typed="9.4\n", LINEWRIGHT_TOKEN=token)
    assert lost == [201]
    assert [r.cells["reading"] for r in kept_in(bench)] == ["9.4"]


@pytest.mark.parametrize(
    ("line", "words"),
    [
        ("9.91E37", "has none"), ("+9.90000E+37", "has none"), ("OVLD", "must be one number"), ("", "Ask"),
        ("1.0,2.0", "Ask the instrument for one number"), ("8.2 furlong", "fit the meter's scale"),
        ("9" * 5000, "must be"), ("nan", "must be one number"), ("8.2 V", "fit the meter's scale"),
        ("-1 W", "must not be negative"),
    ],
)  # fmt: skip
def test_what_is_no_reading_keeps_nothing_and_says_why(bench, line, words):
    with instrument([line or "1,2"]) as meter:
        asked = ("--from", meter.address, "--ask", "MEAS?", "--unit", "W", "--at-once", "--ledger", str(bench[0]))
        found = ran(*asked, status=2)
    assert words in " ".join(found.output.split())
    assert kept_in(bench) == ()


def test_a_number_without_a_unit_is_refused_unless_one_is_stated(bench):
    found = ran("--ledger", str(bench[0]), typed="8.2\n", status=2)
    assert "--unit" in found.output
    assert kept_in(bench) == ()


@pytest.mark.parametrize(
    ("line", "unit", "scale", "value"),
    [
        ("40", "dBm", "W", 10.0), ("10 W", None, "dBm", 40.0), ("250", "mV", "V", 0.25), ("3.5", "dB", "dB", 3.5),
        ("62", "scale", "scale", 62.0), ("8,2", "W", "W", 8.2), ("-3", "dBm", "mW", 0.501187),
        ("1e3 uW", None, "mW", 1),
    ],
)  # fmt: skip
def test_units_become_those_of_the_scale(line, unit, scale, value):
    assert in_scale(line, scale, unit) == pytest.approx(value, rel=1e-5)


@pytest.mark.parametrize(("line", "unit", "scale"), [("0", "W", "dBm"), ("1e9", "dBm", "W"), ("3", "dB", "W")])
def test_units_that_do_not_fit_are_refused(line, unit, scale):
    with pytest.raises(InputError):
        in_scale(line, scale, unit)


def test_an_instrument_that_does_not_say_what_it_is_is_read_all_the_same(bench, monkeypatch):
    from linewright.verbs import listen as verbs

    monkeypatch.setattr(verbs, "WHO_S", 0.05)
    with instrument(["8.2"], silent=("*IDN?",)) as meter:
        words = ("--from", meter.address, "--ask", "MEAS?", "--unit", "W", "--at-once", "--most", "1")
        found = ran(*words, "--ledger", str(bench[0]))
    assert "does not say what it is" in found.stderr
    assert len(kept_in(bench)) == 1


def test_an_instrument_that_falls_silent_is_reported(bench, monkeypatch):
    from linewright.verbs import listen as verbs

    monkeypatch.setattr(verbs, "WAIT_S", 0.2)
    with instrument([], silent=("MEAS?",)) as meter:
        words = ("--from", meter.address, "--ask", "MEAS?", "--unit", "W", "--at-once", "--ledger", str(bench[0]))
        assert "does not answer in time" in ran(*words, status=1).output


@pytest.mark.parametrize(
    ("where", "words"),
    [
        ("tcp:127.0.0.1:1", "Nothing answers"), ("tcp:127.0.0.1:99999", "port"),
        ("no/such/file", "must be an instrument"),
        ("serial:/dev/null", "must be a serial port"), ("serial:/no/port@9600", "must be a serial port"),
        ("serial:/dev/null@7", "rate"), ("visa:TCPIP::192.0.2.7::INSTR", "linewright[instruments]"),
    ],
)  # fmt: skip
def test_what_cannot_be_reached_is_said(bench, where, words):
    if where.startswith("visa:") and find_spec("pyvisa"):
        pytest.skip("PyVISA is installed here")
    found = CliRunner().invoke(main, ["listen", "--from", where, "--ledger", str(bench[0])])
    assert found.exit_code in (1, 2)
    assert words in " ".join(found.output.split())


def test_an_instrument_that_pyvisa_reaches_is_asked(bench):
    """With the extra installed, over its own socket; else nobody can tell."""
    pytest.importorskip("pyvisa_py", reason="the extra linewright[instruments] is not installed")
    with instrument(["8.2", "8.3"]) as meter:
        resource = f"visa:TCPIP0::127.0.0.1::{meter.address.rpartition(':')[2]}::SOCKET"
        words = ("--from", resource, "--ask", "MEAS?", "--unit", "W", "--at-once", "--most", "2")
        found = ran(*words, "--ledger", str(bench[0]))
    assert "Harbour Ridge" in found.stderr
    assert [r.cells["reading"] for r in kept_in(bench)] == ["8.2", "8.3"]


def test_a_serial_port_is_read_and_asked():
    if not hasattr(os, "openpty"):
        pytest.skip("no pseudo terminal here")
    instrument_end, ours = os.openpty()
    channel = open_channel(f"serial:{os.ttyname(ours)}@19200", typed=None)
    os.write(instrument_end, b"8.2 W\r\n")
    assert take_number(channel, scale="W").value == 8.2
    channel.send("MEAS?")
    assert os.read(instrument_end, 100) == b"MEAS?\n"
    channel.close()
    os.close(ours)
    os.close(instrument_end)


def test_a_median_leaves_one_slip_of_five_aside():
    class Lines:
        def __init__(self, *lines):
            self.lines = list(lines)

        def send(self, text):
            raise AssertionError("nothing was to be asked")

        def line(self, most_s):
            return self.lines.pop(0) if self.lines else None

        def close(self):
            raise AssertionError("it was not ours to close")

    waited, lines = [], Lines("8.2", "8.3", "82", "8.2", "8.1")
    found = take_number(lines, scale="W", unit="W", readings=5, settle_s=0.5, pause=waited.append)
    assert found.value == 8.2
    assert waited == [0.5]
    assert take_number(lines, scale="W", unit="W") is None


def test_without_a_token_nothing_is_tried():
    found = ran("--unit", "W", "--station", "http://localhost:8731", status=2, typed="1\n", LINEWRIGHT_TOKEN="")
    assert "Settings, Tokens" in " ".join(found.output.split())


def test_a_wrong_token_and_a_station_that_is_not_there_are_told(site, monkeypatch):
    from linewright.verbs import listen as verbs

    monkeypatch.setattr(verbs, "AGAIN_S", 0.0)
    found = ran("--station", site.address, status=2, typed="1\n", LINEWRIGHT_TOKEN="lwt_x")
    assert "must be one that was made here" in found.output
    with pytest.raises(CannotError, match="does not answer"):
        RemoteSession("http://127.0.0.1:9", "lwt_x").begin()
    with pytest.raises(InputError, match="http://"):
        RemoteSession("localhost:8731", "lwt_x").begin()


PAGE = ROOT / "docs" / "how-to" / "feed-readings.md"


def test_the_program_and_the_command_of_the_page_keep_a_reading_each(site, tmp_path):
    session = bench_of(site.ledger, "Of the page")
    with open_ledger(site.ledger) as ledger:
        token = make_token(ledger, "page", "write")
        there = len(readings_of(ledger, session))
    text = PAGE.read_text(encoding="utf-8")
    program = re.search(r"<!-- file: feed.py -->\n```py\n(.*?)```", text, re.DOTALL)[1]
    assert len([line for line in program.splitlines() if line]) <= 11
    (tmp_path / "feed.py").write_text(program, encoding="utf-8")
    told = {**os.environ, "LINEWRIGHT_TOKEN": token, "STATION": site.address}
    done = subprocess.run(
        [sys.executable, str(tmp_path / "feed.py"), "9.8"], env=told, capture_output=True, text=True, check=True
    )
    assert "'9.8'" in done.stdout
    block = re.search(r"```sh\n(.*?)```", text, re.DOTALL)[1]
    command = f"curl{block.rpartition(chr(10) + 'curl')[2]}"
    command = command.replace("http://localhost:8731", site.address)
    command = command.replace("2026-03-14%20Spring", quote(session)).replace(
        "curl", "curl --silent --fail-with-body", 1
    )
    many = 1
    if shutil.which("curl"):
        for _ in range(2):
            subprocess.run(["sh", "-c", command], env=told, check=True, capture_output=True)
        many = 2
    with open_ledger(site.ledger) as ledger:
        assert len(readings_of(ledger, session)) == there + many
