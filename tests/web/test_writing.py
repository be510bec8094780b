"""Writing through the interface for programs: what a token lets in, what it keeps, and what nobody else may."""

from __future__ import annotations

import json
import threading

import pytest
import schemathesis
from hypothesis import HealthCheck
from schemathesis.checks import not_a_server_error
from schemathesis.specs.openapi.checks import response_schema_conformance
from starlette.testclient import TestClient

from examples import ASKED, few
from ledger.conftest import fresh
from linewright.verbs import tokens as verbs
from linewright.verbs.shelf import By, add_reading, changes, history_of, kept, open_ledger, readings_of
from linewright.web import bearers
from linewright.web.app import create_app
from linewright.web.sessions import Settings

HOME = "http://localhost:8731"


class Script(TestClient):
    """A program that has a token of a scope, and no cookie."""

    def __init__(self, ledger, scope="write", name="bench script", **settings):
        super().__init__(create_app(Settings(str(ledger), **settings)), base_url=HOME)
        self.ledger = ledger
        with open_ledger(ledger) as opened:
            self.secret = verbs.make_token(opened, name, scope)
        self.headers["authorization"] = f"Bearer {self.secret}"

    def kept(self, read, *asked):
        with open_ledger(self.ledger) as opened:
            return read(opened, *asked)


@pytest.fixture
def script(tmp_path):
    return Script(tmp_path / "ledger.db")


def session_of(script, **more) -> str:
    """Put gear on the shelf and begin a session by the interface alone."""
    for place, body in (
        ("meter", {"name": "desk meter", "division": "0.1 W"}),
        ("piece", {"tag": "blue 7", "line": "RG-58C/U", "length": "7.2 m", "connectors": 2}),
    ):
        made = script.post(f"/api/shelf/{place}", json=body)
        assert made.status_code == 201, made.text
    body = {
        "title": "Spring", "meters": ["desk meter"], "pieces": ["blue 7"], "power": "10 W",
        "reference": {"line": "RG-58C/U", "length": "0.9 m"}, "frequencies": ["144.3 MHz", "14.2 MHz"],
    }  # fmt: skip
    made = script.post("/api/bench/sessions", json=body | more)
    assert made.status_code == 201, made.text
    return made.json()["item"]["key"]


READING = {"meter": "desk meter", "frequency": "14.2 MHz", "path": "reference", "reading": 10}


def read(script, session, key="", **more):
    headers = {"idempotency-key": key} if key else {}
    return script.post("/api/bench/readings", params={"session": session}, json=READING | more, headers=headers)


def test_from_an_empty_ledger_to_a_verdict_by_programs_alone(script):
    session = session_of(script, date="2026-04-02")
    assert session == "2026-04-02 Spring"
    shown = {"reference": "10.0", "blue 7": "8.4"}
    seen = []
    while (field := script.get("/api/bench/next", params={"session": session}).json()["field"]) is not None:
        seen.append((field["frequency"], field["path"]))
        answer = read(script, session, field["key"], frequency=field["frequency"], path=field["path"],
                      reading=shown[field["path"]])  # fmt: skip
        assert answer.status_code == 201, answer.text
    # As on the page of the bench: what is put in changes last.
    bands = ("14.2 MHz", "144.3 MHz")
    assert seen == [(band, path) for path in ("reference", "blue 7", "reference") for band in bands]
    (listed,) = script.get("/api/bench/sessions").json()["sessions"]
    assert (listed["measured_on"], listed["readings"], listed["frequencies"]) == (
        "2026-04-02", 6, ["14.2 MHz", "144.3 MHz"],
    )  # fmt: skip
    result = script.get("/api/bench/result", params={"session": session})
    while result.status_code == 202:
        result = script.get("/api/bench/result", params={"session": session})
    assert result.json()["pieces"][0]["piece"] == "blue 7"


def test_a_clubs_server_keeps_what_two_apps_are_sent(server):
    """Tokens, keys and versions are the ledger's: whichever app of it is asked, the answer is the same."""
    where = fresh(server)
    one = Script(where)
    other = TestClient(create_app(Settings(where)), base_url=HOME, headers=dict(one.headers))
    session = session_of(one)
    field = other.get("/api/bench/next", params={"session": session}).json()["field"]
    told = {"frequency": field["frequency"], "path": field["path"]}
    assert read(one, session, field["key"], **told).status_code == 201
    assert read(other, session, field["key"], **told).status_code == 200
    assert read(other, session, field["key"], **told, reading=3).status_code == 422
    assert len(one.kept(readings_of, session)) == 1
    with open_ledger(where) as opened:
        verbs.revoke_token(opened, verbs.tokens(opened)[0].id)
    is_error(other.get("/api/shelf"), 401)
    for program in (one, other):
        program.app.state.opened.close()


def test_a_second_try_adds_no_second_reading(script):
    session = session_of(script)
    first, again = read(script, session, "morning 1"), read(script, session, "morning 1")
    assert (first.status_code, again.status_code) == (201, 200)
    assert first.json()["readings"] == again.json()["readings"]
    other = read(script, session, "morning 1", reading=9.1)
    assert other.status_code == 422
    assert other.json()["argument"] == "Idempotency-Key"
    assert read(script, session, "morning 2", reading=9.1).status_code == 201
    assert len(script.get("/api/bench/readings", params={"session": session}).json()["readings"]) == 2


def test_many_tries_at_once_add_one_reading_and_begin_one_session(script):
    session = session_of(script)
    answers = []

    def send():
        answers.append(read(script, session, "the same").json()["readings"][0]["number"])
        body = {"title": "Once", "meters": ["desk meter"], "pieces": ["blue 7"], "power": "10 W",
                "frequencies": ["14.2 MHz"]}  # fmt: skip
        made = script.post("/api/bench/sessions", json=body, headers={"idempotency-key": "begin"})
        answers.append(made.json()["item"]["key"])

    threads = [threading.Thread(target=send) for _ in range(6)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(set(answers)) == 2
    assert len(script.get("/api/bench/sessions").json()["sessions"]) == 2
    assert len(script.kept(readings_of, session)) == 1


def test_two_programs_may_call_their_readings_alike(script):
    session = session_of(script)
    with open_ledger(script.ledger) as opened:
        other = verbs.make_token(opened, "other script", "write")
    assert read(script, session, "1").status_code == 201
    script.headers["authorization"] = f"Bearer {other}"
    assert read(script, session, "1", reading=9.0).status_code == 201


def test_a_field_that_was_read_meanwhile_is_not_read_over(script):
    """The key of a field is the same for everyone, so whoever comes second is told."""
    session = session_of(script)
    field = script.get("/api/bench/next", params={"session": session}).json()["field"]
    with open_ledger(script.ledger) as opened:
        add_reading(opened, session, {**READING, "reading": "9.9"}, token=field["key"])
    answer = read(script, session, field["key"])
    assert answer.status_code == 422
    assert "came before with another reading" in answer.json()["message"]
    assert [r.cells["reading"] for r in script.kept(readings_of, session)] == ["9.9"]


def test_a_reading_is_corrected_taken_back_and_set_back_by_undo(script):
    session = session_of(script)
    made = read(script, session, note="warm").json()
    number = made["readings"][0]["number"]
    place = {"session": session, "number": number}
    corrected = script.patch("/api/bench/reading", params=place, json={"reading": 9.5}).json()
    assert corrected["readings"][0]["cells"] == {
        "meter": "desk meter", "frequency": "14.2 MHz", "path": "reference", "reading": "9.5", "note": "warm",
    }  # fmt: skip
    without = script.patch("/api/bench/reading", params=place, json={"note": None}).json()
    assert "note" not in without["readings"][0]["cells"]
    gone = script.delete("/api/bench/reading", params=place).json()
    assert gone["readings"][0]["cells"] is None
    undone = script.post("/api/undo", json={"change": gone["change"]}).json()
    assert undone["changes"][0]["undoes"] == gone["change"]
    assert [r.cells["reading"] for r in script.kept(readings_of, session)] == ["9.5"]
    assert {c.who for c in script.kept(changes).changes} == {"bench script"}


def test_two_who_correct_one_reading_are_both_told(script):
    session = session_of(script)
    number = read(script, session).json()["readings"][0]["number"]
    place = {"session": session, "number": number}
    assert script.patch("/api/bench/reading", params=place, json={"reading": 9.5, "expect": 1}).status_code == 200
    clash = script.patch("/api/bench/reading", params=place, json={"reading": 9.7, "expect": 1})
    assert clash.status_code == 409
    told = clash.json()
    assert (told["mine"]["reading"], told["theirs"]["reading"], told["version"]) == ("9.7", "9.5", 2)
    assert script.delete("/api/bench/reading", params=place | {"expect": 1}).status_code == 409


def test_a_session_is_changed_dated_put_away_and_brought_back(script):
    session = session_of(script)
    told = {"power": "5 W", "date": "2025-03-01", "frequencies": ["50.1 MHz"], "title": "Autumn", "expect": 1}
    item = script.patch("/api/bench/session", params={"key": session}, json=told).json()["item"]
    assert item["body"]["measured_on"] == "2025-03-01"
    assert item["body"]["sheet"]["source"] == {"power": "5 W"}
    assert item["body"]["title"] == "Autumn"
    assert script.get("/api/bench/next", params={"session": session}).json()["field"]["frequency"] == "50.1 MHz"
    stale = script.patch("/api/bench/session", params={"key": session}, json={"power": "6 W", "expect": 1})
    assert stale.status_code == 409
    away = script.patch("/api/bench/session", params={"key": session}, json={"archived": True}).json()
    assert away["item"]["archived"]
    assert read(script, session).status_code == 503
    assert script.get("/api/bench/sessions").json()["sessions"] == []
    assert len(script.get("/api/bench/sessions", params={"archived": True}).json()["sessions"]) == 1
    script.patch("/api/bench/session", params={"key": session}, json={"archived": False})
    assert read(script, session).status_code == 201


def test_pieces_are_made_changed_and_put_away(script):
    session_of(script)
    again = script.post("/api/shelf/piece", json={"tag": "blue 7", "length": "3 m"})
    assert again.status_code == 422
    assert again.json()["argument"] == "tag"
    place = {"tag": "blue 7"}
    changed = script.patch("/api/shelf/piece", params=place, json={"exposure": "outdoors", "line": None}).json()["item"]
    assert changed["body"]["exposure"] == "outdoors"
    assert "line" not in changed["body"]
    assert script.patch("/api/shelf/piece", params=place, json={"length": "7 m", "expect": 1}).status_code == 409
    assert script.patch("/api/shelf/piece", params=place, json={"archived": True}).json()["item"]["archived"]
    assert script.kept(kept, "piece", "blue 7").archived
    assert "desk meter" in script.get("/api/shelf/gear").text


def test_runs_are_made_changed_and_taken_out(script):
    session_of(script)
    fields = {"power": "50 W", "bands": ["2 m"], "chain": [{"piece": "blue 7"}], "antenna": {"swr": 1.5}}
    body = {"name": "two-metre beam", "station": "Harbour Ridge", "fields": fields}
    assert script.post("/api/shelf/run", json=body).status_code == 201
    assert script.post("/api/shelf/run", json=body).status_code == 422
    second = script.post("/api/shelf/run", json={"name": "six-metre dipole", "fields": fields | {"bands": ["6 m"]}})
    assert second.status_code == 201, second.text
    place = {"name": "two-metre beam"}
    changed = script.patch("/api/shelf/run", params=place, json={"fields": {"power": "25 W"}})
    assert changed.status_code == 200, changed.text
    listed = script.get("/api/shelf/runs").json()["runs"]
    assert [(r["run"], r["power"]) for r in listed] == [("two-metre beam", "25 W"), ("six-metre dipole", "50 W")]
    wrong = script.patch("/api/shelf/run", params=place, json={"fields": {"power": "25"}})
    assert wrong.status_code == 422
    assert "unit" in wrong.json()["message"]
    assert script.delete("/api/shelf/run", params=place).status_code == 200
    assert [r["run"] for r in script.get("/api/shelf/runs").json()["runs"]] == ["six-metre dipole"]
    last = script.get("/api/shelf/changes", params={"most": 1}).json()["changes"][0]["id"]
    assert script.post("/api/undo", json={"change": last}).status_code == 200
    assert len(script.get("/api/shelf/runs").json()["runs"]) == 2


def test_plans_are_kept_compared_applied_and_dropped(script):
    session_of(script)
    fields = {"power": "50 W", "bands": ["2 m"], "chain": [{"piece": "blue 7"}], "antenna": {"swr": 1.5}}
    body = {"name": "two-metre beam", "station": "Harbour Ridge", "fields": fields}
    assert script.post("/api/shelf/run", json=body).status_code == 201
    place = {"run": "two-metre beam", "plan": "half the power"}
    assert script.post("/api/shelf/plan", json={**place, "fields": {"power": "25 W"}}).status_code == 201
    assert script.post("/api/shelf/plan", json=place).status_code == 422
    (found,) = script.get("/api/shelf/plans", params={"run": "two-metre beam"}).json()["plans"]
    assert (found["plan"], found["fields"]) == ("half the power", {"power": "25 W"})
    assert round(found["differences"][0]["delivered_ratio"], 3) == 0.5
    assert script.get("/api/shelf/runs").json()["runs"][0]["power"] == "50 W"
    assert script.post("/api/shelf/plan/apply", json=place).status_code == 200
    assert script.get("/api/shelf/runs").json()["runs"][0]["power"] == "25 W"
    assert script.delete("/api/shelf/plan", params=place).status_code == 200
    assert script.get("/api/shelf/plans").json()["plans"] == []
    assert script.post("/api/shelf/plan/apply", json=place).status_code == 422


# Whoever is not who they should be

WRITES = [
    ("post", "/api/bench/sessions", {"title": "x", "meters": ["m"], "pieces": ["p"], "power": "1 W",
                                     "frequencies": ["14 MHz"]}),
    ("patch", "/api/bench/session?key=x", {"title": "y"}),
    ("post", "/api/bench/readings?session=x", READING),
    ("patch", "/api/bench/reading?session=x&number=1", {"reading": 1}),
    ("delete", "/api/bench/reading?session=x&number=1", None),
    ("post", "/api/shelf/piece", {"tag": "x", "length": "1 m"}),
    ("patch", "/api/shelf/piece?tag=x", {"length": "2 m"}),
    ("post", "/api/shelf/meter", {"name": "x"}),
    ("patch", "/api/shelf/meter?name=x", {"division": "1 W"}),
    ("post", "/api/shelf/run", {"name": "x", "fields": {}}),
    ("patch", "/api/shelf/run?name=x", {"fields": {}}),
    ("delete", "/api/shelf/run?name=x", None),
    ("post", "/api/shelf/plan", {"run": "x", "plan": "y"}),
    ("post", "/api/shelf/plan/apply", {"run": "x", "plan": "y"}),
    ("delete", "/api/shelf/plan?run=x&plan=y", None),
    ("post", "/api/undo", {"change": 1}),
]  # fmt: skip


def sent(program, method, path, body):
    return program.request(method.upper(), path, **({} if body is None else {"json": body}))


def is_error(answer, status):
    assert answer.status_code == status, answer.text
    told = answer.json()
    assert told["schema"] == "linewright/error/1"
    assert told["message"]
    return told


def test_the_list_of_writes_here_is_whole(script):
    paths = script.get("/api/openapi.json").json()["paths"]
    found = [(m, p, how) for p, ways in paths.items() for m, how in ways.items() if "writing" in how.get("tags", ())]
    assert all(how["security"] == [{"token": []}] for *_, how in found)
    writes = {(method, path) for method, path, _ in found}
    assert writes == {(method, path.partition("?")[0]) for method, path, _ in WRITES}


@pytest.mark.parametrize(("method", "path", "body"), WRITES)
def test_nobody_writes_without_a_token_that_may(tmp_path, method, path, body):
    reader = Script(tmp_path / "ledger.db", "read")
    before = reader.kept(changes).changes
    told = is_error(sent(reader, method, path, body), 403)
    assert "may only read" in told["rule"]
    reader.headers["authorization"] = "Bearer lwt_" + "x" * 43
    is_error(sent(reader, method, path, body), 401)
    del reader.headers["authorization"]
    is_error(sent(reader, method, path, body), 403)  # as any form that came from elsewhere
    page = {"x-linewright-token": reader.get("/api/session").json()["token"]}
    answer = reader.request(method.upper(), path, headers=page, **({} if body is None else {"json": body}))
    told = is_error(answer, 401)  # a browser's own session may ask, and write by its pages alone
    assert told["argument"] == "token"
    assert told["cure"]
    assert answer.headers["www-authenticate"].startswith("Bearer")
    assert reader.kept(changes).changes == before


@pytest.mark.parametrize(
    "header",
    ["Bearer", "Bearer ", "Basic eDp5", "Bearer lwt_x", "Bearer " + "x" * 10_000, "lwt_x", "Bearer a b", "Bearer \x7f"],
)
def test_a_bent_header_lets_nobody_in(script, header):
    script.headers["authorization"] = header
    answer = script.get("/api/shelf")
    is_error(answer, 401)
    assert script.secret not in answer.text


def test_two_headers_let_nobody_in(script):
    two = [("authorization", f"Bearer {script.secret}"), ("authorization", "Bearer lwt_x")]
    del script.headers["authorization"]
    is_error(script.get("/api/shelf", headers=two), 401)


def test_a_token_is_no_cookie_and_opens_no_page(tmp_path):
    """On the local network: the interface by the token alone, the pages by the pass phrase alone."""
    script = Script(tmp_path / "ledger.db", pass_phrase="amber anchor apple basin beacon")
    answer = script.get("/api/shelf")
    assert answer.status_code == 200
    assert "set-cookie" not in answer.headers
    page = script.get("/shelf", follow_redirects=False)
    assert page.headers["location"].startswith("/door")
    del script.headers["authorization"]
    is_error(script.get("/api/shelf"), 401)


def test_a_revoked_token_lets_nobody_in_from_then_on(script):
    assert script.get("/api/shelf").status_code == 200
    with open_ledger(script.ledger) as opened:
        (token,) = verbs.tokens(opened)
        assert token.used_at is not None
        verbs.revoke_token(opened, token.id)
    is_error(script.get("/api/shelf"), 401)


def test_wrong_tokens_have_to_wait_and_right_ones_do_not(script):
    right = script.headers["authorization"]
    script.headers["authorization"] = "Bearer lwt_wrong"
    found = [script.get("/api/shelf") for _ in range(7)]
    assert [answer.status_code for answer in found[:5]] == [401] * 5
    is_error(found[-1], 429)
    assert int(found[-1].headers["retry-after"]) >= 1
    script.headers["authorization"] = right
    assert script.get("/api/shelf").status_code == 200


def test_a_token_that_asks_too_often_is_told_when_to_go_on(script, monkeypatch):
    monkeypatch.setattr(bearers, "BURST", 3.0)
    monkeypatch.setattr(bearers, "EACH_S", 3600.0)
    answers = [script.get("/api/connectors") for _ in range(4)]
    assert [answer.status_code for answer in answers] == [200, 200, 200, 429]
    assert is_error(answers[-1], 429)["argument"] == "token"
    assert answers[-1].headers["retry-after"] == "1"


@pytest.mark.parametrize("origin", ["http://evil.example", "null"])
def test_another_sites_page_gets_no_leave_to_send_a_token(script, origin):
    asked = {"origin": origin, "access-control-request-method": "POST",
             "access-control-request-headers": "authorization"}  # fmt: skip
    del script.headers["authorization"]
    answer = script.options("/api/shelf/piece", headers=asked)
    assert not [name for name in answer.headers if name.startswith("access-control")]
    assert script.get("/api/shelf", headers={"host": "evil.example:8731"}).status_code == 421


@pytest.mark.parametrize(
    ("path", "body"),
    [
        ("/api/shelf/piece", {"tag": "x" * 201, "length": "1 m"}),
        ("/api/shelf/piece", {"tag": "x", "length": "1 m", "owner": "me"}),
        ("/api/shelf/piece", {"tag": "x", "length": "1"}),
        ("/api/shelf/piece", {"tag": "a\ud800b", "length": "1 m"}),
        ("/api/shelf/meter", {"name": "m", "card": [[0, "0 W"]] * 201}),
        ("/api/shelf/meter", {"name": "m", "division": True}),
        ("/api/bench/sessions", {"title": "x", "meters": ["none"], "pieces": ["none"], "power": "1 W",
                                 "frequencies": ["14 MHz"]}),
        ("/api/bench/sessions", {"title": "x", "meters": [], "pieces": [], "power": "1 W", "frequencies": []}),
        ("/api/bench/readings?session=none", READING),
        ("/api/bench/readings?session=none", {**READING, "reading": [1]}),
        ("/api/shelf/run", {"name": "x", "station": "s", "fields": {"chain": [{"touchstone": "/etc/hostname.s2p"}]}}),
        ("/api/undo", {"change": 10**12}),
        ("/api/undo", {"change": 99}),
    ],
)  # fmt: skip
def test_a_write_that_breaks_a_rule_is_refused_and_stores_nothing(script, path, body):
    before = script.kept(changes).changes
    answer = script.post(path, content=json.dumps(body), headers={"content-type": "application/json"})
    told = is_error(answer, 422)
    assert told["rule"]
    assert len(answer.text) < 5000
    assert script.kept(changes).changes == before


def test_a_body_that_is_too_large_is_not_read(script):
    answer = script.post("/api/shelf/piece", json={"tag": "x", "length": "1 m", "note": "y" * (1 << 20)})
    is_error(answer, 413)


# Tokens themselves


def test_a_token_is_stored_only_as_a_hash_and_never_exported(tmp_path):
    from linewright.verbs.shelf import back_up, export_ledger

    path = tmp_path / "ledger.db"
    with open_ledger(path) as opened:
        secret = verbs.make_token(opened, "bench script", "write")
        export_ledger(opened, tmp_path / "all.zip")
        copy = back_up(opened)
        assert opened.path is not None
    assert len(secret) > 40
    everything = b"".join(p.read_bytes() for p in (path, copy, tmp_path / "all.zip"))
    assert secret.encode() not in everything
    assert b"bench script" not in (tmp_path / "all.zip").read_bytes()


def test_tokens_are_bounded_in_number_and_name(tmp_path, monkeypatch):
    from linewright.core.errors import InputError, UnknownNameError

    monkeypatch.setattr(verbs, "MOST", 2)
    with open_ledger(tmp_path / "ledger.db") as opened:
        verbs.make_token(opened, "one", "read")
        for name, scope in (("ONE", "read"), ("", "read"), ("x" * 61, "read"), ("two", "admin"), ("a\x07b", "read")):
            with pytest.raises(InputError):
                verbs.make_token(opened, name, scope)
        verbs.make_token(opened, "two", "write")
        with pytest.raises(InputError, match="at most"):
            verbs.make_token(opened, "three", "read")
        with pytest.raises(UnknownNameError):
            verbs.revoke_token(opened, 99)


def test_the_last_use_is_kept_to_the_minute(tmp_path):
    from datetime import UTC, datetime, timedelta

    noon = datetime(2026, 4, 2, 12, tzinfo=UTC)
    with open_ledger(tmp_path / "ledger.db") as opened:
        secret = verbs.make_token(opened, "one", "read", by=By(noon))
        uses = []
        for seconds in (0, 30, 59, 60):
            verbs.token_of(opened, secret, at=noon + timedelta(seconds=seconds))
            uses.append(verbs.tokens(opened)[0].used_at)
    assert uses == ["2026-04-02T12:00:00.000Z"] * 3 + ["2026-04-02T12:01:00.000Z"]


# Whatever is sent: never a fault of the server


@pytest.fixture(scope="module")
def any_script(tmp_path_factory):
    script = Script(tmp_path_factory.mktemp("any") / "ledger.db")
    session_of(script)
    return script


DESCRIBED = create_app(Settings())
SCHEMA = schemathesis.openapi.from_asgi("/api/openapi.json", DESCRIBED, headers={"host": "localhost:8731"})


@SCHEMA.include(tag=["writing", "bench"]).parametrize()
@few(10, 120, deadline=None, derandomize=True, phases=ASKED, suppress_health_check=list(HealthCheck))
def test_no_writing_breaks_it(case, any_script, monkeypatch):
    monkeypatch.setattr(bearers, "BURST", 1e9)
    case.operation.app = any_script.app
    headers = {"authorization": any_script.headers["authorization"], "host": "localhost:8731"}
    answer = case.call(base_url=HOME, headers=headers, app=any_script.app)
    case.validate_response(answer, checks=[not_a_server_error, response_schema_conformance])


def test_history_tells_the_programs_name(script):
    session_of(script)
    script.patch("/api/shelf/piece", params={"tag": "blue 7"}, json={"exposure": "buried"})
    assert script.kept(history_of, "blue 7").to_dict()
    assert {c.who for c in script.kept(changes).changes} == {"bench script"}
