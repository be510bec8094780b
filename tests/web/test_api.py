"""The interface for programs: the same documents as the commands write, and errors as data."""

import json
from pathlib import Path

import pytest
import schemathesis
from click.testing import CliRunner
from hypothesis import HealthCheck, Phase, settings
from schemathesis.checks import not_a_server_error
from schemathesis.specs.openapi.checks import response_schema_conformance
from starlette.testclient import TestClient

import linewright
from linewright.cli.door import main
from linewright.web.app import create_app
from linewright.web.settings import Settings

HOME = "http://localhost:8731"
DEMO = Path(linewright.__file__).parent / "workflows" / "demo_data"
CABLES = Path(__file__).parents[1] / "data" / "touchstone" / "cables"
SWR_CURVE = "frequency_mhz,swr\n" + "".join(f"{144 + 0.2 * i:.1f},{1.2 + 0.05 * abs(i - 5):.2f}\n" for i in range(11))


class Program(TestClient):
    """A program that speaks to the station: it asks for its token once, and sends it along."""

    def __init__(self):
        super().__init__(create_app(Settings()), base_url=HOME)
        self.headers["x-linewright-token"] = self.get("/api/session").json()["token"]

    def asks(self, path, **body):
        answer = self.post(path, json=body)
        assert answer.status_code == 200, answer.text
        return answer.json()


@pytest.fixture(scope="module")
def program():
    return Program()


def command(*words):
    ran = CliRunner().invoke(main, [*words, "--json"], standalone_mode=False)
    assert ran.exception is None, ran.exception
    return json.loads(ran.stdout)


def test_loss_answers_as_the_command(program):
    asked = {"line": "RG-213/U", "length": "100 ft", "frequency": ["14.2 MHz", "432 MHz"]}
    answer = program.get("/api/loss", params=asked).json()
    assert answer == command("loss", "RG-213/U", "100 ft", "14.2 MHz", "432 MHz")
    assert answer["losses"][1]["loss_db"] > answer["losses"][0]["loss_db"] > 0


def test_lines_answer_as_the_command(program):
    assert program.get("/api/lines").json() == command("lines")


def test_meaning_answers_as_the_command(program):
    asked = {"change": "2dB", "power": "50 W", "at": "144 MHz", "signal": "S7"}
    said = command("meaning", "2dB", "--power", "50 W", "--at", "144 MHz", "--signal", "S7")
    assert program.get("/api/meaning", params=asked).json() == said


def test_through_answers_as_the_command(program):
    asked = {"shack_swr": "1.3", "loss": "3 dB +- 0.5", "at": "144 MHz"}
    said = command("through", "--shack-swr", "1.3", "--loss", "3 dB +- 0.5", "--at", "144 MHz")
    assert program.get("/api/through", params=asked).json() == said


def test_a_curve_through_a_line_answers_as_the_command(program, tmp_path):
    file = tmp_path / "beam.csv"
    file.write_text(SWR_CURVE)
    curve = {"name": str(file), "text": SWR_CURVE}
    answer = program.asks("/api/through", curve=curve, line="RG-58C/U", length="20 m")
    assert answer == command("through", "--curve", str(file), "--line", "RG-58C/U", "--length", "20 m")
    assert len(answer["curve"]) == 11


def test_one_end_answers_as_the_command(program):
    rows = [
        {"frequency": "144 MHz", "far_end": "open", "swr": "7.1"},
        {"frequency": "144 MHz", "far_end": "short", "swr": "6.8"},
    ]
    answer = program.asks("/api/one-end", readings=rows, line="RG-58C/U", length="15 m")
    words = ("--open", "7.1", "--short", "6.8", "--at", "144 MHz", "--line", "RG-58C/U", "--length", "15 m")
    assert answer == command("one-end", *words)


@pytest.mark.parametrize(
    ("names", "ends"),
    [
        (["coax_10m_two_port.s2p"], ["through"]),
        (["coax_one_of_pair_open_end.s1p", "coax_one_of_pair_short_end.s1p"], ["open", "short"]),
    ],
)
def test_a_sweep_answers_as_the_command(program, names, ends):
    paths = [CABLES / name for name in names]
    files = [{"name": str(p), "text": p.read_text(), "far_end": e} for p, e in zip(paths, ends, strict=True)]
    answer = program.asks("/api/sweeps", files=files, length="10 m", line="RG-58C/U")
    far = [word for end in ends for word in ("--far-end", end)]
    assert answer == command("sweep", *map(str, paths), *far, "--length", "10 m", "--line", "RG-58C/U")


def test_a_plan_answers_as_the_command(program):
    text = (DEMO / "harbour-ridge-station.toml").read_text(encoding="utf-8")
    files = {n: (DEMO / n).read_text(encoding="utf-8") for n in ("harbour-ridge.toml", "harbour-ridge.csv")}
    said = command("plan", str(DEMO / "harbour-ridge-station.toml"))
    assert program.asks("/api/plan", station=text, files=files) == said
    assert program.asks("/api/plan", station="harbour-ridge") == said


def test_what_if_answers_as_the_command(program):
    change = "line 2 = RG-213/U"
    answer = program.asks("/api/what-if", station="harbour-ridge", run="two-metre beam", changes=[change])
    file = str(DEMO / "harbour-ridge-station.toml")
    assert answer == command("plan", file, "--run", "two-metre beam", "--with", change)


PRICES = (DEMO / "harbour-ridge-prices.csv").read_text(encoding="utf-8")
FILES = {n: (DEMO / n).read_text(encoding="utf-8") for n in ("harbour-ridge.toml", "harbour-ridge.csv")}


def test_a_choice_answers_as_the_command(program):
    file, prices = str(DEMO / "harbour-ridge-station.toml"), str(DEMO / "harbour-ridge-prices.csv")
    asked = {"tail": "3 m", "limit": "2 dB", "budget": 120}
    words = ("--tail", "3 m", "--limit", "2 dB", "--budget", "120")
    answer = program.asks(
        "/api/choose", station="harbour-ridge", run="two-metre beam", prices={"name": prices, "text": PRICES}, **asked
    )
    assert answer == command("choose", file, "--run", "two-metre beam", "--prices", prices, *words)
    assert answer["trade_off"]


def test_a_sharing_out_answers_as_the_command(program):
    file, prices = DEMO / "harbour-ridge-field-day.toml", str(DEMO / "harbour-ridge-prices.csv")
    text = file.read_text(encoding="utf-8")
    told = {"name": prices, "text": PRICES}
    answer = program.asks("/api/share", station=text, files=FILES, prices=told, budget=80)
    assert answer == command("share", str(file), "--prices", prices, "--budget", "80")
    assert len(answer["fed"]) == 3


@pytest.mark.parametrize(
    ("path", "body", "words"),
    [
        ("/api/share", {"station": "harbour-ridge"}, "route"),
        ("/api/choose", {"station": "harbour-ridge", "run": "none", "prices": {"name": "p", "text": "x"}}, "price"),
        ("/api/plan", {"station": "[[run]]"}, "is missing"),
        ("/api/plan", {"station": "harbour-ridge", "run": "nothing"}, "must be a run"),
        ("/api/plan", {}, "station"),
        ("/api/what-if", {"station": "harbour-ridge", "changes": ["line 99 = RG-213/U"]}, "must speak of"),
        ("/api/one-end", {"readings": [{"frequency": "144", "far_end": "open", "swr": 7.1}]}, "unit"),
        ("/api/sweeps", {"files": [{"name": "a.s1p", "text": "rubbish", "far_end": "open"}]}, "a.s1p"),
        ("/api/through", {"shack_swr": "0.8", "loss": "3 dB"}, "at least 1"),
    ],
)
def test_what_is_wrong_is_said_as_data(program, path, body, words):
    answer = program.post(path, json=body)
    assert answer.status_code == 422
    said = answer.json()
    assert said["schema"] == "linewright/error/1"
    assert words in said["message"]


def test_a_change_may_not_read_a_file_of_this_machine(program):
    for change in (
        "antenna touchstone = /etc/hostname.s1p",
        'add part 1 = {"touch\\u0073tone" = "/etc/hostname.s2p"}',
        "add part 1 = touchstone /etc/hostname.s2p",
    ):
        answer = program.post("/api/what-if", json={"station": "harbour-ridge", "changes": [change]})
        assert answer.status_code == 422
        assert "must not name a file" in answer.json()["message"]


def test_a_post_without_the_token_is_refused():
    visitor = TestClient(create_app(Settings()), base_url=HOME)
    assert visitor.post("/api/plan", json={"station": "harbour-ridge"}).status_code == 403


PROGRAM = Program()
SCHEMA = schemathesis.openapi.from_asgi("/api/openapi.json", PROGRAM.app, headers={"host": "localhost:8731"})


@SCHEMA.include(
    path_regex=r"^/api/(session|lines|loss|meaning|through|one-end|sweeps|plan|what-if|choose|share)$"
).parametrize()
@settings(
    max_examples=20, deadline=None, derandomize=True, phases=[Phase.explicit, Phase.generate],
    suppress_health_check=list(HealthCheck),
)  # fmt: skip
def test_no_question_breaks_it(case):
    """Whatever is asked is answered by the description of the interface, never with a fault of the server."""
    token = PROGRAM.headers["x-linewright-token"]
    answer = case.call(
        base_url=HOME, headers={"x-linewright-token": token, "host": "localhost:8731"}, cookies=dict(PROGRAM.cookies)
    )
    case.validate_response(
        answer,
        checks=[not_a_server_error, response_schema_conformance],
    )
