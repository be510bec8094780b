"""The frame around every page: who may come in, what is refused, what a browser makes of it."""

import socket
import threading
import time
from types import SimpleNamespace

import httpx2 as httpx
import pytest
from starlette.testclient import TestClient

from linewright.web import sessions
from linewright.web.app import create_app
from linewright.web.sessions import Settings
from web.conftest import free_port

HOME = "http://localhost:8731"
COOKIE = Settings().cookie


def client(settings=None):
    return TestClient(create_app(settings or Settings()), base_url=HOME, follow_redirects=False)


def test_every_answer_shuts_out_scripts_of_others():
    for path in ("/", "/nothing", "/static/style.css", "/manifest.webmanifest"):
        headers = client().get(path).headers
        assert "script-src 'self'" in headers["content-security-policy"]
        assert "unsafe" not in headers["content-security-policy"]
        assert headers["x-content-type-options"] == "nosniff"


def test_a_name_that_was_bent_to_this_address_is_refused():
    assert client().get("/", headers={"host": "evil.example:8731"}).status_code == 421
    assert client().get("/", headers={"host": "localhost:9999"}).status_code == 421


@pytest.mark.parametrize(
    "headers",
    [
        {"host": "127.0.0.1:²"},
        {"host": "127.0.0.1:8731:8731"},
        {"host": "[evil"},
        {"host": "localhost:8731/..//"},
        {"host": "u@localhost:8731"},
        {"origin": "http://[evil"},
        {"origin": "localhost"},
        {"origin": "http://localhost:²"},
    ],
    ids=lambda headers: (
        "".join(f"{name} {value}" for name, value in headers.items()).encode("ascii", "replace").decode()
    ),
)
@pytest.mark.parametrize("path", ["/", "/api/session"])
def test_a_malformed_header_is_refused_with_the_headers_that_every_answer_has(path, headers):
    from linewright.web.guard import HEADERS

    raw = [(name, value.encode()) for name, value in headers.items()]
    for answer in (client().get(path, headers=raw), client().post(path, headers=raw)):
        assert answer.status_code == 400
        assert "malformed" in answer.text
        assert HEADERS.items() <= dict(answer.headers).items()


def test_two_hosts_at_once_are_malformed():
    assert client().get("/", headers=[("host", "localhost:8731"), ("host", "evil.example")]).status_code == 400


def test_an_answer_to_a_fault_of_ours_has_the_headers_too():
    from linewright.web.guard import HEADERS

    app = create_app(Settings())
    app.state.opened = None
    answer = TestClient(app, base_url=HOME, raise_server_exceptions=False).get("/shelf")
    assert answer.status_code == 500
    assert HEADERS.items() <= dict(answer.headers).items()
    assert "What was kept stays kept" in answer.text


@pytest.mark.parametrize("headers", [{"origin": "http://evil.example"}, {"sec-fetch-site": "cross-site"}])
def test_a_form_from_elsewhere_is_refused(headers):
    assert client().post("/settings", data={"look": "dark"}, headers=headers).status_code == 403


def test_a_form_without_its_token_is_refused_and_with_it_taken():
    visitor = client()
    page = visitor.get("/").text
    token = page.split('name="token" content="')[1].split('"')[0]
    assert visitor.post("/settings", data={"look": "dark"}).status_code == 403
    assert visitor.post("/settings", data={"look": "dark", "token": "x" * 64}).status_code == 403
    assert visitor.post("/settings", data={"look": "dark", "token": token}).status_code == 303
    assert 'data-paper="dark"' in visitor.get("/").text
    assert client().post("/settings", data={"look": "dark", "token": token}).status_code == 403


def test_a_body_that_is_too_large_is_refused():
    assert client().post("/settings", content=b"x" * (2 << 20)).status_code == 413


def test_an_address_may_not_lead_away():
    visitor = client()
    token = visitor.get("/").text.split('name="token" content="')[1].split('"')[0]
    for away in ("//evil.example", "https://evil.example"):
        answer = visitor.post("/settings", data={"look": "", "back": away, "leave": "1", "token": token})
        assert answer.headers["location"] == "/"


def test_on_the_local_network_nothing_is_seen_before_the_pass_phrase():
    visitor = client(Settings(pass_phrase="amber cove reed oak wren"))
    assert visitor.get("/").headers["location"] == "/door"
    assert visitor.get("/api/openapi.json").status_code == 401
    token = visitor.get("/door").text.split('name="token" content="')[1].split('"')[0]
    assert visitor.post("/door", data={"pass_phrase": "amber", "token": token}).status_code == 403
    assert visitor.get("/").status_code == 303
    said = {"pass_phrase": " Amber cove  reed oak wren ", "token": token}
    assert visitor.post("/door", data=said).headers["location"] == "/"
    assert visitor.get("/").status_code == 200


def test_the_door_leads_to_where_one_wanted_to_go():
    visitor = client(Settings(pass_phrase="amber cove reed oak wren"))
    door = visitor.get("/shelf?on=2026-04-02").headers["location"]
    assert door == "/door?to=%2Fshelf%3Fon%3D2026-04-02"
    for wanted, led in ((None, "/shelf?on=2026-04-02"), ("//evil.example", "/")):
        visitor = client(Settings(pass_phrase="amber cove reed oak wren"))
        shown = visitor.get(door).text
        token, to = (shown.split(f'name="{name}" value="')[1].split('"')[0] for name in ("token", "to"))
        said = {"pass_phrase": "amber cove reed oak wren", "token": token, "to": wanted or to}
        assert visitor.post("/door", data=said).headers["location"] == led


PHRASE = "amber cove reed oak wren"


def at_the_door(app, host="192.0.2.1"):
    """Return a visitor from an address, and what it sends with the token of its own session."""
    visitor = TestClient(app, base_url=HOME, follow_redirects=False, client=(host, 50_000))

    def say(pass_phrase):
        token = visitor.get("/door").text.split('name="token" content="')[1].split('"')[0]
        return visitor.post("/door", data={"pass_phrase": pass_phrase, "token": token})

    return visitor, say


def test_guessing_makes_the_visitor_wait_and_nobody_else(monkeypatch):
    from linewright.web.pages import login as door

    monkeypatch.setattr(door, "time", SimpleNamespace(monotonic=lambda: 7.0))
    app = create_app(Settings(pass_phrase=PHRASE))
    guest, guess = at_the_door(app)
    assert [guess("guess").status_code for _ in range(5)] == [403] * 4 + [429]
    answer = guess(PHRASE)
    assert answer.status_code == 429
    assert answer.headers["retry-after"] == "1"
    for told in (answer.text, guest.get("/door").text):
        assert "The next can be made in 1 s." in told
        assert "That is not it" not in told
    _, say = at_the_door(app, "192.0.2.2")
    assert say(PHRASE).status_code == 303


def test_when_ten_people_mistype_once_each_the_next_comes_in():
    app = create_app(Settings(pass_phrase=PHRASE))
    doors = [at_the_door(app, f"192.0.2.{n}")[1] for n in range(1, 11)]
    assert [say("amber cave").status_code for say in doors] == [403] * 10
    assert [say(PHRASE).status_code for say in doors] == [303] * 10


def test_who_is_inside_stays_inside_whatever_strangers_do(monkeypatch):
    monkeypatch.setattr(sessions, "MAX_ADMITTED", 10)
    app = create_app(Settings(pass_phrase=PHRASE))
    member, say = at_the_door(app)
    say(PHRASE)
    for number in range(20):
        TestClient(app, base_url=HOME, cookies={COOKIE: f"made up {number}"}).get("/manifest.webmanifest")
    stranger, guess = at_the_door(app)  # from the same address
    for _ in range(6):
        guess("guess")
    assert member.get("/settings").status_code == 200
    assert stranger.get("/settings").status_code == 303


def test_a_wrong_phrase_throws_nobody_out():
    member, say = at_the_door(create_app(Settings(pass_phrase=PHRASE)))
    say(PHRASE)
    assert say("guess").status_code == 303
    assert member.get("/settings").status_code == 200


def test_who_comes_in_gets_a_new_cookie_and_the_old_one_stays_outside():
    app = create_app(Settings(pass_phrase=PHRASE))
    visitor, say = at_the_door(app)
    visitor.get("/door")
    before = visitor.cookies[COOKIE]
    say(PHRASE)
    assert visitor.cookies[COOKIE] != before
    old = TestClient(app, base_url=HOME, cookies={COOKIE: before}, follow_redirects=False)
    assert old.get("/settings").status_code == 303


def test_requests_with_a_foreign_origin_spoil_no_form_of_ours(monkeypatch):
    monkeypatch.setattr(sessions, "MAX_ADMITTED", 10)
    app = create_app(Settings())
    visitor = TestClient(app, base_url=HOME, follow_redirects=False)
    token = visitor.get("/").text.split('name="token" content="')[1].split('"')[0]
    for _ in range(20):
        TestClient(app, base_url=HOME).post("/settings", headers={"origin": "http://evil.example"})
    assert visitor.post("/settings", data={"look": "dark", "token": token}).status_code == 303


@pytest.mark.parametrize("path", ["/nothing", "/shelf/piece/nothing", "/runs/choose"])
def test_a_page_of_trouble_leads_everywhere(site, path):
    with httpx.Client(base_url=site.address) as visitor:
        told = visitor.get(path)
    assert told.status_code in (404, 422)
    assert all(f'<a href="{at}"' in told.text for at in ("/", "/bench", "/shelf", "/runs", "/sweeps"))


WORDS = (
    ("/api/prove", b'{"sheet": ', 422, "body must be JSON: expecting value at its character 11"),
    ("/api/prove", b"[" * 100_000, 400, "nests lists and tables too deeply"),
    ("/api/prove", b'{"sheet": "' + b"x" * (1 << 20) + b'"}', 413, "more than this page takes, which is 1 MB"),
    ("/api/prove", b'{"sheet": "x", "' + b"nope" * 1000 + b'": 1}', 422, "...: Extra inputs are not permitted"),
    ("/api/share", b'{"station": "x", "budget": ' + b"9" * 5000 + b"}", 400, "must be JSON"),
)


@pytest.mark.parametrize(("path", "body", "status", "words"), WORDS, ids=lambda x: None if isinstance(x, bytes) else x)
def test_a_body_that_cannot_be_taken_is_told_in_the_right_words(tmp_path, path, body, status, words):
    visitor = client(Settings(str(tmp_path / "ledger.sqlite")))
    token = visitor.get("/").text.split('name="token" content="')[1].split('"')[0]
    answer = visitor.post(path, content=body, headers={"x-linewright-token": token, "content-type": "application/json"})
    assert (answer.status_code, answer.json()["schema"]) == (status, "linewright/error/1")
    assert words in answer.text
    assert len(answer.content) < 1000


@pytest.mark.parametrize(
    ("form", "words"),
    [({}, "change: Field required."), ({"change": "9" * 5000}, "exceeded maximum size"),
     ({"change": "9" * 20}, "change must be one that was made")],
    ids=["missing", "of thousands of digits", "beyond 64 bits"],
)  # fmt: skip
def test_a_form_that_is_not_filled_in_rightly_is_told_on_a_page(tmp_path, form, words):
    visitor = client(Settings(str(tmp_path / "ledger.sqlite")))
    token = visitor.get("/").text.split('name="token" content="')[1].split('"')[0]
    answer = visitor.post("/shelf/undo", data={**form, "token": token})
    assert answer.status_code == 422
    assert words in answer.text
    assert "Nothing was changed." in answer.text
    assert "9" * 81 not in answer.text


@pytest.mark.parametrize(
    ("path", "takes"), [("/api/through", "GET, POST"), ("/api/prove", "POST"), ("/bench", "GET"),
                        ("/settings", "GET, POST"), ("/static/mark.svg", "GET, HEAD")],
)  # fmt: skip
@pytest.mark.parametrize("method", ["PUT", "TRACE", "DELETE"])
def test_an_address_says_what_it_takes_instead(tmp_path, path, takes, method):
    visitor = client(Settings(str(tmp_path / "ledger.sqlite")))
    token = visitor.get("/api/session").json()["token"]
    answer = visitor.request(method, path, headers={"x-linewright-token": token})
    assert (answer.status_code, answer.headers["allow"]) == (405, takes)


@pytest.mark.parametrize("name", ["..", ".", "a\x00b.zip", "x" * 300 + ".zip", "../../x.zip", "\ud800.zip"])
def test_an_export_may_be_called_anything(tmp_path, name):
    visitor = client(Settings(str(tmp_path / "ledger.sqlite")))
    token = visitor.get("/").text.split('name="token" content="')[1].split('"')[0]
    told = f'--x\r\nContent-Disposition: form-data; name="files"; filename="{name}"\r\n\r\nPK\r\n--x--\r\n'
    headers = {"x-linewright-token": token, "content-type": "multipart/form-data; boundary=x"}
    answer = visitor.post("/shelf/import/ledger", content=told.encode(errors="surrogatepass"), headers=headers)
    assert answer.status_code == 422
    assert "must be a zip that an export wrote" in answer.text


def test_too_large_an_upload_is_refused_with_the_limit(tmp_path):
    visitor = client(Settings(str(tmp_path / "ledger.sqlite")))
    token = visitor.get("/").text.split('name="token" content="')[1].split('"')[0]
    told = {"x-linewright-token": token, "content-length": str(200 << 20), "content-type": "multipart/form-data"}
    answer = visitor.post("/sweeps", content=b"", headers=told)
    assert answer.status_code == 413
    assert "more than this page takes, which is 48 MB" in answer.text


def test_a_form_of_the_start_before_says_how_it_is_sent_again():
    answer = client().post("/settings", data={"look": "dark", "token": "of the start before"})
    assert answer.status_code == 403
    assert "Go back: what you typed is still there" in answer.text
    assert 'href="/"' in answer.text


def test_a_page_before_charts_is_light(site):
    with httpx.Client(base_url=site.address) as visitor:
        weight = sum(len(visitor.get(path).content) for path in ("/", "/static/style.css", "/static/parts.js"))
    assert weight < 150_000


def test_every_icon_is_as_large_as_the_manifest_says_and_shown_before_the_pass_phrase():
    visitor = client(Settings(pass_phrase="amber anchor apple basin beacon"))
    sized = [i for i in visitor.get("/manifest.webmanifest").json()["icons"] if i["type"] == "image/png"]
    assert len(sized) == 2
    for icon in [*sized, {"src": "/mark-180.png", "sizes": "180x180"}]:
        answer = visitor.get(icon["src"])
        assert (answer.status_code, answer.content[:8]) == (200, b"\x89PNG\r\n\x1a\n")
        wide, high = (int.from_bytes(answer.content[at : at + 4]) for at in (16, 20))
        assert f"{wide}x{high}" == icon["sizes"]
    assert visitor.get("/mark-7.png").status_code in (404, 422)


def token_of(answer):
    return answer.text.split('name="token" content="')[1].split('"')[0]


def come_in(visitor, said=PHRASE):
    return visitor.post("/door", data={"pass_phrase": said, "token": token_of(visitor.get("/door"))})


def test_a_device_can_be_signed_out_by_another_and_by_itself():
    app = create_app(Settings(pass_phrase=PHRASE))
    phone, desk = (
        TestClient(app, base_url=HOME, follow_redirects=False, headers={"user-agent": name})
        for name in ("tiny", "wide")
    )
    assert phone.get("/devices").status_code == 303
    come_in(phone)
    come_in(desk)
    listed = desk.get("/devices").text
    assert "tiny" in listed
    assert "wide" in listed
    name = next(n for n, d in app.state.sessions.devices(0.0).items() if d.what == "tiny")
    desk.post("/devices/out", data={"device": name, "token": token_of(desk.get("/devices"))})
    assert phone.get("/devices").status_code == 303
    assert desk.get("/devices").status_code == 200
    desk.post("/devices/out", data={"token": token_of(desk.get("/devices"))})
    assert desk.get("/devices").status_code == 303


def test_the_address_in_the_picture_leads_in_with_one_button_and_changes_nothing_by_itself():
    visitor = client(Settings(pass_phrase=PHRASE, key="k" * 22))
    shown = visitor.get(f"/door?key={'k' * 22}")
    assert f'name="pass_phrase" value="{"k" * 22}"' in shown.text
    assert visitor.get("/").status_code == 303
    assert come_in(visitor, "k" * 22).headers["location"] == "/"
    assert visitor.get("/devices").status_code == 200


def test_over_tls_cookies_are_secure_and_the_browser_is_told_to_stay_with_it():
    answer = client(Settings(tls=True)).get("/manifest.webmanifest")
    assert "Secure" in answer.headers["set-cookie"]
    assert answer.headers["set-cookie"].startswith("__Host-linewright-")
    assert "; Path=/;" in answer.headers["set-cookie"]
    assert answer.headers["strict-transport-security"] == "max-age=31536000"
    plain = client().get("/manifest.webmanifest")
    assert "Secure" not in plain.headers["set-cookie"]
    assert "strict-transport-security" not in plain.headers


@pytest.mark.parametrize("path", ["/api/session", "/api/nothing", "/api/meaning?change=3dB", "/api/openapi.json"])
def test_an_answer_for_programs_is_never_shown_as_a_page(path):
    assert client().get(path).headers["content-disposition"] == 'attachment; filename="api.json"'
    assert "content-disposition" not in client().get("/door").headers


def test_what_is_too_large_is_refused_with_the_limit_before_it_is_read():
    answer = client().post("/settings", content=b"", headers={"content-length": str(200 << 20)})
    assert answer.status_code == 413
    assert "which is 1 MB" in answer.text


def test_a_form_that_cannot_be_read_is_not_called_a_wrong_address():
    visitor = client()
    headers = {"x-linewright-token": token_of(visitor.get("/")), "content-type": "multipart/form-data; boundary=x"}
    answer = visitor.post("/shelf/import/sheet", content=b"--x\r\nno header", headers=headers)
    assert answer.status_code == 400
    assert "cannot be read" in answer.text
    assert "mistyped" not in answer.text


@pytest.mark.parametrize("sent", [b"", b"GET / HTTP/1.1\r\nhost:"], ids=["silent", "half a head"])
def test_a_connection_on_which_no_whole_request_comes_is_closed(sent):
    import uvicorn

    from linewright.web.serving import impatient

    port = free_port()
    config = uvicorn.Config(create_app(Settings(port=port)), port=port, log_level="error", http=impatient(0.2))
    server = uvicorn.Server(config)
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    while not server.started:
        time.sleep(0.01)
    with socket.create_connection(("127.0.0.1", port), timeout=60) as held:
        held.sendall(sent)
        assert held.recv(100) == b""
    with httpx.Client(base_url=f"http://127.0.0.1:{port}") as kept:
        assert kept.get("/manifest.webmanifest").status_code == 200
        (connection,) = server.server_state.connections
        assert connection.late is None  # between two requests it may be idle
        assert kept.get("/manifest.webmanifest").status_code == 200
    server.should_exit = True
    thread.join(60)


def test_a_clock_that_a_test_sets_runs_for_no_other_test(browser):
    how = {"viewport": {"width": 401, "height": 701}}
    for sets_it in (True, False):
        context = browser.new_context(**how)
        page = context.new_page()
        if sets_it:
            page.clock.install(time=0)
        page.goto("data:text/html,a page")
        assert (page.evaluate("Date.now()") < 1e12) == sets_it
        context.close()
