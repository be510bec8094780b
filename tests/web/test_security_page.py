"""The page on security names every item of the standard's first level, with tests that are there."""

from __future__ import annotations

import math
import re
import sys
import unicodedata
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from linewright.present.charts import render
from linewright.web import serving
from linewright.web.apart import Drawer
from linewright.web.app import create_app
from linewright.web.sessions import Sessions, Settings
from web.conftest import free_port

ROOT = Path(__file__).parents[2]
PAGE = (ROOT / "docs" / "reference" / "security.md").read_text(encoding="utf-8")
HOME = "http://localhost:8731"
#: Items of level 1 by chapter and section (OWASP ASVS 4.0.3, its table of requirements).
LEVEL_1 = {
    "2.1": range(1, 13), "2.2": range(1, 4), "2.3": (1,), "2.5": range(1, 7), "2.7": range(1, 5), "2.8": (1,),
    "3.1": (1,), "3.2": range(1, 4), "3.3": (1, 2), "3.4": range(1, 6), "3.7": (1,),
    "4.1": (1, 2, 3, 5), "4.2": (1, 2), "4.3": (1, 2),
    "5.1": range(1, 6), "5.2": range(1, 9), "5.3": range(1, 11), "5.5": range(1, 5),
    "6.2": (1,), "7.1": (1, 2), "7.4": (1,), "8.2": range(1, 4), "8.3": range(1, 5), "9.1": range(1, 4),
    "10.3": range(1, 4), "11.1": range(1, 6),
    "12.1": (1,), "12.3": range(1, 6), "12.4": (1, 2), "12.5": (1, 2), "12.6": (1,),
    "13.1": (1, 3), "13.2": range(1, 4), "13.3": (1,),
    "14.2": range(1, 4), "14.3": (2, 3), "14.4": range(1, 8), "14.5": range(1, 4),
}  # fmt: skip


def client(**settings):
    return TestClient(create_app(Settings(**settings)), base_url=HOME, follow_redirects=False)


def test_the_page_has_every_item_of_the_first_level_once():
    items = [f"{section}.{number}" for section, numbers in LEVEL_1.items() for number in numbers]
    assert re.findall(r"^\| (\d+\.\d+\.\d+) \|", PAGE, re.MULTILINE) == items
    assert f"{len(items)} items." in PAGE


def test_every_test_that_the_page_names_is_there():
    there = {
        name
        for path in (ROOT / "tests").rglob("test_*.py")
        for name in re.findall(r"^def (test_\w+)", path.read_text(encoding="utf-8"), re.MULTILINE)
    }
    named = set(re.findall(r"`(test_\w+)`", PAGE))
    assert len(named) > 40
    assert named - there == set()


def test_a_pass_phrase_is_long_and_anew_at_each_start():
    phrases = {serving.pass_phrase() for _ in range(50)}
    assert len(phrases) == 50
    assert min(len(p) for p in phrases) >= 12
    assert serving.LENGTH * math.log2(len(set(serving.WORDS))) > 30
    assert 8 * serving.KEY_BYTES >= 60  # of the picture
    sessions = Sessions("amber cove reed oak wren")
    assert sessions.admit("", "  Amber  cove reed oak wren ", "a", 0.0).session
    assert not sessions.admit("", "amber cove reed oak wre", "a", 0.0).session
    assert not sessions.admit("", unicodedata.lookup("RADIO") * 64, "a", 0.0).session


@pytest.mark.parametrize(
    "path", ["/static/", "/static", "/static/../app.py", "/static/%2e%2e/app.py", "/.git/config", "/docs"]
)
def test_a_folder_is_not_listed(path):
    answer = client().get(path)
    assert answer.status_code in (307, 404)
    assert "style.css</a>" not in answer.text


@pytest.mark.parametrize("method", ["PUT", "DELETE", "PATCH", "TRACE", "OPTIONS", "PROPFIND"])
@pytest.mark.parametrize("path", ["/", "/shelf", "/api/lines"])
def test_only_methods_in_use_are_answered(method, path):
    visitor = client()
    token = visitor.get("/door").text.split('name="token" content="')[1].split('"')[0]
    answer = visitor.request(method, path, headers={"x-linewright-token": token})
    assert answer.status_code == 405
    assert "access-control-allow-methods" not in answer.headers


def test_charts_are_drawn_apart_while_the_station_serves_and_here_once_it_ends(monkeypatch):
    import uvicorn

    while_served = []
    monkeypatch.setattr(uvicorn.Server, "run", lambda self: while_served.extend(render._draws))
    serving.serve_app(free_port(), None, lan=False, tell=lambda _: None)
    assert [type(draws) for draws in while_served] == [Drawer]
    assert render._draws == []


def test_a_page_has_the_interpreter_half_a_millisecond_after_it_asks_for_it(monkeypatch):
    import uvicorn

    before, while_served = sys.getswitchinterval(), []
    monkeypatch.setattr(uvicorn.Server, "run", lambda self: while_served.append(sys.getswitchinterval()))
    serving.serve_app(free_port(), None, lan=False, tell=lambda _: None)
    sys.setswitchinterval(before)
    assert while_served == [pytest.approx(0.0005)]


def test_no_header_names_a_program(monkeypatch):
    import uvicorn

    met = []
    monkeypatch.setattr(uvicorn.Server, "run", lambda self: met.append(self.config))
    serving.serve_app(free_port(), None, lan=False, tell=lambda _: None)
    assert met[0].server_header is False
    headers = client().get("/").headers
    assert {"server", "x-powered-by", "via"}.isdisjoint(headers)


@pytest.mark.parametrize(
    "path", ["/", "/nothing", "/static/style.css", "/static/parts.js", "/api/lines", "/api/nothing"]
)
def test_every_answer_has_its_type(path):
    kind = client().get(path).headers["content-type"]
    assert "charset=utf-8" in kind if kind.startswith("text/") else kind == "application/json"


@pytest.mark.parametrize("origin", ["null", "http://evil.example", HOME])
def test_no_other_origin_is_allowed(origin):
    answer = client().get("/api/lines", headers={"origin": origin})
    assert not [name for name in answer.headers if name.startswith("access-control-")]


def test_a_certificate_of_the_stations_own_is_made_once_and_bears_its_names(tmp_path):
    import ssl
    import stat

    from linewright.web.certificates import fingerprint, own_certificate

    ledger = str(tmp_path / "ledger.sqlite")
    files = own_certificate(ledger, ("localhost", "127.0.0.1", "[::1]", "hut"))
    first = fingerprint(files[0])
    assert re.fullmatch(r"([0-9A-F]{2}:){31}[0-9A-F]{2}", first)
    assert stat.S_IMODE(Path(files[1]).stat().st_mode) == 0o600
    served, visitor = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER), ssl.create_default_context(cafile=files[0])
    served.load_cert_chain(*files)
    for name in ("localhost", "127.0.0.1", "hut"):
        assert shaken(served, visitor, name)
    with pytest.raises(ssl.SSLCertVerificationError):
        shaken(served, visitor, "elsewhere")
    assert fingerprint(own_certificate(ledger, ("localhost", "hut"))[0]) == first
    assert fingerprint(own_certificate(ledger, ("localhost", "hut", "192.0.2.7"))[0]) != first


def shaken(served, visitor, name):
    """Return the version of TLS that two ends agree on, without a network."""
    import ssl

    there, back = ssl.MemoryBIO(), ssl.MemoryBIO()
    ends = [served.wrap_bio(there, back, server_side=True), visitor.wrap_bio(back, there, server_hostname=name)]
    for _ in range(10):
        done = 0
        for end in ends:
            try:
                end.do_handshake()
                done += 1
            except ssl.SSLWantReadError:
                continue
        if done == 2:
            return ends[0].version() >= "TLSv1.2"
    return False


def test_without_openssl_it_is_said_how_to_serve_over_tls(tmp_path, monkeypatch):
    from linewright.core.errors import CannotError
    from linewright.web.certificates import own_certificate

    monkeypatch.setenv("PATH", str(tmp_path))
    with pytest.raises(CannotError, match="openssl, or give a certificate with --certificate"):
        own_certificate(str(tmp_path / "ledger.sqlite"), ("localhost",))
