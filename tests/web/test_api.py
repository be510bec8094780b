"""The interface for programs: the same documents as the commands write, and errors as data."""

import json
from pathlib import Path

import pytest
import schemathesis
from click.testing import CliRunner
from hypothesis import HealthCheck
from schemathesis.specs.openapi.checks import positive_data_acceptance
from starlette.testclient import TestClient

import linewright
from examples import ASKED, few
from linewright.cli.main import main
from linewright.verbs.results import signed
from linewright.web.app import create_app
from linewright.web.sessions import Settings

HOME = "http://localhost:8731"
DEMO = Path(linewright.__file__).parent / "verbs" / "demo_data"
CABLES = Path(__file__).parents[1] / "data" / "touchstone" / "cables"
SWR_CURVE = "frequency_mhz,swr\n" + "".join(f"{144 + 0.2 * i:.1f},{1.2 + 0.05 * abs(i - 5):.2f}\n" for i in range(11))


class Program(TestClient):
    """A program that speaks to the station: it asks for its token once, and sends it along."""

    def __init__(self, ledger=None):
        super().__init__(create_app(Settings(ledger)), base_url=HOME)
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


OWN_LINES = """
[[line]]
name = "club drum"
impedance = "50 ohm"
velocity_factor = 0.80
points = [["10 MHz", "1.5 dB/100m"], ["1 GHz", "18 dB/100m"]]
"""


def test_own_line_types_serve_a_plan_as_with_the_command(program, tmp_path):
    file = tmp_path / "club.toml"
    file.write_text(OWN_LINES, encoding="utf-8")
    lines, station = {"name": str(file), "text": OWN_LINES}, str(DEMO / "harbour-ridge-station.toml")
    asked = {"station": "harbour-ridge", "run": "two-metre beam", "lines": lines}
    words = (station, "--run", "two-metre beam", "--lines", str(file))
    change = "line 2 = club drum"
    answer = program.asks("/api/what-if", changes=[change], **asked)
    assert answer == command("plan", *words, "--with", change)
    assert "club drum" in json.dumps(answer)
    assert program.asks("/api/reception", **asked) == command("reception", *words)


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


STATION, SHEET = str(DEMO / "harbour-ridge-station.toml"), str(DEMO / "harbour-ridge.toml")


def test_a_bench_answers_as_the_command(program):
    said = command("prove", SHEET)
    text = Path(SHEET).read_text(encoding="utf-8")
    assert program.asks("/api/prove", sheet=text, files=FILES) == said
    assert program.asks("/api/prove", sheet="harbour-ridge") == said
    assert len(said["losses"]) > 3


def test_reception_answers_as_the_command(program):
    answer = program.asks("/api/reception", station="harbour-ridge", run="two-metre beam")
    assert answer == command("reception", STATION, "--run", "two-metre beam")


def test_exposure_answers_as_the_command(program):
    assert program.asks("/api/exposure", station="harbour-ridge") == command("exposure", STATION)
    asked = {"power": "100 W", "gain": "2.15 dBi", "at": ["14.2 MHz"], "mode": "SSB", "duty": "50 %", "size": "4.2 m"}
    words = [word for name, value in asked.items() if name != "at" for word in (f"--{name}", value)]
    assert program.asks("/api/exposure", **asked) == command("exposure", *words, "--at", "14.2 MHz")


def test_one_line_answers_as_the_command(program):
    assert program.get("/api/lines", params={"name": "RG-213/U"}).json() == command("lines", "RG-213/U")


def test_every_wish_that_a_station_states_may_be_asked_here(program, tmp_path):
    """The wishes of ``[run.choose]`` in a station's file, and the same wishes asked beside the file without them."""
    wishes = {
        "replace": ["black 20", "rotator tail"], "tail": "2 m", "limit": [["144.3 MHz", "3 dB"]], "sure": 0.6,
        "max_diameter": "16 mm", "max_mass": "300 g/m", "bend_radius": "200 mm", "voltage_margin": 2,
        "heat_margin": 1.5, "budget": 120, "impedance": "50 ohm", "outdoors": True, "connector": "N",
        "shorter": "15 m", "moved": "8 m", "preamplifier": {"gain": "15 dB", "noise_figure": "0.7 dB"},
    }  # fmt: skip
    plain = Path(STATION).read_text(encoding="utf-8")
    head, mark, rest = plain.partition('name = "two-metre beam"\n')
    assert mark
    assert "[run.choose]" not in plain
    inside = {**wishes, "preamplifier": '{gain = "15 dB", noise_figure = "0.7 dB"}'}
    stated = ", ".join(f"{k} = {v if k == 'preamplifier' else json.dumps(v)}" for k, v in inside.items())
    for name, text in FILES.items():
        (tmp_path / name).write_text(text, encoding="utf-8")
    file = tmp_path / "station.toml"
    file.write_text(f"{head}{mark}choose = {{{stated}}}\n{rest}", encoding="utf-8")
    prices = str(DEMO / "harbour-ridge-prices.csv")
    said = command("choose", str(file), "--run", "two-metre beam", "--prices", prices)
    told = {"name": prices, "text": PRICES}
    answer = program.asks("/api/choose", station=plain, files=FILES, run="two-metre beam", prices=told, **wishes)
    assert answer == said
    unasked = program.asks("/api/choose", station=plain, files=FILES, run="two-metre beam", prices=told)
    assert unasked != said


@pytest.mark.parametrize(
    ("asked", "words"),
    [
        ({"sheet": "harbour-ridge"}, [SHEET]),
        ({"sheet": "harbour-ridge", "kind": "trust", "language": "de", "dark": True},
         [SHEET, "--kind", "trust", "--language", "de", "--dark"]),
        ({"station": "harbour-ridge", "run": "two-metre beam", "kind": "flow", "width": 400},
         [STATION, "--run", "two-metre beam", "--kind", "flow", "--width", "400"]),
        ({"sweeps": [{"name": "coax_10m_two_port.s2p", "text": (CABLES / "coax_10m_two_port.s2p").read_text(),
                      "far_end": "through"}], "length": "10 m"},
         [str(CABLES / "coax_10m_two_port.s2p"), "--far-end", "through", "--length", "10 m"]),
    ],
)  # fmt: skip
def test_a_chart_answers_as_the_command(program, asked, words):
    answer, said = program.asks("/api/chart", **asked), command("chart", *words)
    assert {**answer, "what": ""} == {**said, "what": ""}
    assert answer["specification"]["$schema"].startswith("https://vega.github.io/schema/vega-lite/")
    assert len(answer["table"]) > 2


def test_a_chart_comes_in_the_form_that_is_asked_for(program):
    asked = {"sheet": "harbour-ridge", "kind": "trust"}
    document = program.asks("/api/chart", **asked)
    begins = {"image/svg+xml": b"<svg", "image/png": b"\x89PNG", "application/pdf": b"%PDF"}
    for form, start in begins.items():
        answer = program.post("/api/chart", json=asked, headers={"accept": form})
        assert answer.headers["content-type"] == form
        assert answer.content.startswith(start)
    form = "application/vnd.vegalite.v6+json"
    answer = program.post("/api/chart", json=asked, headers={"accept": f"text/plain, {form};q=0.5"})
    assert answer.json() == document["specification"]
    refused = program.post("/api/chart", json=asked, headers={"accept": "video/mp4"})
    assert refused.status_code == 422
    assert "must take one of" in refused.json()["message"]


def test_the_table_of_a_chart_has_the_figures_of_the_bench(program):
    table = program.asks("/api/chart", sheet="harbour-ridge")["table"]
    for x in program.asks("/api/prove", sheet="harbour-ridge")["losses"]:
        same = [row for row in table if row.get("piece") == x["piece"] and row["frequency_hz"] == x["frequency_hz"]]
        assert any(row["loss_db"] == pytest.approx(x["loss_db"], abs=1e-9) for row in same)


@pytest.mark.parametrize("form", ["application/pdf", "text/html"])
def test_a_report_has_the_bytes_of_the_command(program, tmp_path, form):
    ending = {"application/pdf": ".pdf", "text/html": ".html"}[form]
    out = tmp_path / f"harbour-ridge{ending}"
    command("report", SHEET, "-o", str(out), "--date", "2026-04-02", "--language", "de")
    text = Path(SHEET).read_text(encoding="utf-8")
    asked = {"sheet": {"name": "harbour-ridge.toml", "text": text}, "files": FILES, "date": "2026-04-02"}
    answer = program.post("/api/report", json={**asked, "language": "de"}, headers={"accept": form})
    assert answer.headers["content-type"].startswith(form)
    assert len(answer.content) > 20_000
    assert out.read_bytes() == signed(answer.content, out.name)


def test_a_report_of_a_station_answers_as_the_command(program):
    said = command("report", STATION, "--date", "2026-04-02")
    text = Path(STATION).read_text(encoding="utf-8")
    file = {"name": "harbour-ridge-station.toml", "text": text}
    answer = program.post(
        "/api/report", json={"station": file, "files": FILES, "date": "2026-04-02"},
        headers={"accept": "application/json"},
    )  # fmt: skip
    assert answer.json() == said


def test_a_blank_sheet_answers_as_the_command(program, tmp_path):
    text = Path(SHEET).read_text(encoding="utf-8")
    answer = program.asks("/api/sheet", sheet=text, files=FILES, repeats=2)
    assert answer == command("sheet", SHEET, "--repeats", "2")
    out = tmp_path / "blank.csv"
    command("sheet", SHEET, "-o", str(out))
    rows = program.post("/api/sheet", json={"sheet": "harbour-ridge"}, headers={"accept": "text/csv"})
    assert rows.content == out.read_bytes()


@pytest.fixture(scope="module")
def keeper(tmp_path_factory):
    """A program that speaks to a station with the invented bench on its shelf, and that station's ledger."""
    ledger = str(tmp_path_factory.mktemp("kept") / "ledger.sqlite")
    command("shelf", "file", SHEET, "--ledger", ledger)
    return Program(ledger), ledger


def test_the_shelf_answers_as_the_command(keeper):
    program, ledger = keeper
    listed = program.get("/api/shelf").json()
    assert listed == command("shelf", "list", "--ledger", ledger)
    tag = listed["pieces"][0]["tag"]
    known = program.get("/api/shelf/piece", params={"tag": tag}).json()
    assert known == command("shelf", "show", tag, "--ledger", ledger)
    made = program.get("/api/shelf/changes", params={"most": 3}).json()
    assert made == command("shelf", "history", "--most", "3", "--ledger", ledger)


def test_labels_answer_as_the_command(keeper, tmp_path):
    program, ledger = keeper
    asked = {"tag": "blue 7", "date": "2026-04-02"}
    words = ("--date", "2026-04-02", "--ledger", ledger)
    assert program.get("/api/label", params=asked).json() == command("label", "blue 7", *words)
    out = tmp_path / "label.svg"
    command("label", "blue 7", "-o", str(out), *words)
    drawn = program.get("/api/label", params=asked, headers={"accept": "image/svg+xml"})
    assert drawn.headers["content-type"] == "image/svg+xml"
    assert out.read_bytes().startswith(drawn.content)
    whole = program.get("/api/label", params={"date": "2026-04-02"}).json()
    assert whole == command("label", "--all", *words)
    several = program.get("/api/label", params={"tag": ["blue 7", "blue 18"]}, headers={"accept": "image/png"})
    assert "must name one piece" in several.json()["message"]


def test_charts_and_reports_of_the_ledger_answer_as_the_command(keeper):
    program, ledger = keeper
    answer, said = program.asks("/api/chart", kept="blue 7"), command("chart", "blue 7", "--ledger", ledger)
    assert answer == said
    asked = {"kept": "blue 7", "date": "2026-04-02"}
    report = program.post("/api/report", json=asked, headers={"accept": "application/json"}).json()
    assert report == command("report", "blue 7", "--date", "2026-04-02", "--ledger", ledger)


def test_every_verb_of_the_command_that_answers_has_a_place(program):
    """What only acts on this machine, and the demo, which is the bench and the station that come along, has none."""
    places = {path.removeprefix("/api/").split("/")[0] for path in program.get("/api/openapi.json").json()["paths"]}
    named = {"sweep": "sweeps"}
    for verb in main.commands.keys() - {"serve", "listen", "demo", "check", "completion", "manual"}:
        assert named.get(verb, verb) in places, verb


@pytest.mark.parametrize(
    ("path", "body", "words"),
    [
        ("/api/prove", {"sheet": "[[meter]]"}, "is missing"),
        ("/api/exposure", {"power": "100 W"}, "gain is missing"),
        ("/api/chart", {}, "must be told by one of"),
        ("/api/chart", {"sheet": "harbour-ridge", "kind": "none"}, "There is loss"),
        ("/api/report", {"kept": "no such piece"}, "must be a file, or a piece"),
        ("/api/report", {"sheet": {"name": "a.toml", "text": "harbour-ridge"}, "date": "today"}, "must be a day"),
        ("/api/sheet", {"sheet": "harbour-ridge", "date": "x"}, "must be a day"),
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


# A stream of events answers for as long as one listens; tests/web/test_live.py does.
@SCHEMA.include(path_regex=r"^/api/(?!openapi|events)").parametrize()
@few(10, 160, deadline=None, derandomize=True, phases=ASKED, suppress_health_check=list(HealthCheck))
def test_no_question_breaks_it(case):
    """Whatever is asked is answered by the description of the interface, never with a fault of the server.

    All checks there are, but for the one that holds every text to be right: "7 parsecs" is a text and no length.
    """
    token = PROGRAM.headers["x-linewright-token"]
    answer = case.call(
        base_url=HOME, headers={"x-linewright-token": token, "host": "localhost:8731"}, cookies=dict(PROGRAM.cookies)
    )
    case.validate_response(answer, excluded_checks=[positive_data_acceptance])
