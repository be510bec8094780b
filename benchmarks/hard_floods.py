"""Floods against a served app: strangers, wrong phrases, heavy files, half-open connections, and being told to end."""

from __future__ import annotations

import io
import json
import random
import re
import signal
import socket
import statistics
import subprocess
import sys
import tempfile
import threading
import time
import zipfile
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any

import httpx2 as httpx

from web.bench_helpers import bench_of
from web.conftest import free_port
from web.mixed_load import Visitor, all_at_once, visitors

PHRASE = "amber cove reed oak wren"
SERVE = """
import sys
from linewright.web import serving
if sys.argv[3]:
    serving.pass_phrase = lambda: sys.argv[3]
    serving.own_names = lambda: iter(("127.0.0.1",))
serving.serve_app(int(sys.argv[1]), sys.argv[2], lan=bool(sys.argv[3]), tell=lambda text: None)
"""


class Served:
    """A served app, with its address and its process."""

    def __init__(self, ledger: Path, phrase: str = "") -> None:
        self.port = free_port()
        self.address = f"http://localhost:{self.port}"
        self.process = subprocess.Popen([sys.executable, "-c", SERVE, str(self.port), str(ledger), phrase])
        for _ in range(600):
            with suppress(httpx.TransportError):
                httpx.get(self.address)
                return
            time.sleep(0.1)
        raise RuntimeError("the server does not answer")

    def peak_mb(self) -> int:
        """Return the most memory it has had."""
        told = Path(f"/proc/{self.process.pid}/status").read_text(encoding="utf-8")
        return int(re.search(r"VmHWM:\s+(\d+)", told)[1]) // 1024  # type: ignore[index]

    def end(self, sig: int = signal.SIGTERM) -> float:
        """Tell it to end; return how long that took, in seconds."""
        began = time.perf_counter()
        self.process.send_signal(sig)
        self.process.wait(300)
        return time.perf_counter() - began


@contextmanager
def served(phrase: str = "") -> Iterator[Served]:
    """Serve a ledger with a session in it."""
    with tempfile.TemporaryDirectory() as folder:
        ledger = Path(folder) / "ledger.sqlite"
        bench_of(ledger)
        app = Served(ledger, phrase)
        try:
            yield app
        finally:
            if app.process.poll() is None:
                app.end()


def token_of(client: httpx.Client) -> dict[str, str]:
    """Return the header that lets a form of ours in."""
    return {"x-linewright-token": client.get("/door").text.split('name="token" content="')[1].split('"')[0]}


def floods() -> dict[str, Any]:
    """Run every flood; return what became of each."""
    found: dict[str, Any] = {}
    with served(PHRASE) as app:
        found |= _told(door(app))
    with served() as app:
        found |= _told(heavy(app))
        found |= _told(half_open(app))
        found["most memory of the server through all of the above, MB"] = app.peak_mb()
    return {"outcome": found}


def _told(found: dict[str, Any]) -> dict[str, Any]:
    print(json.dumps(found, indent=1, ensure_ascii=False), file=sys.stderr, flush=True)
    return found


def door(app: Served) -> dict[str, Any]:
    """Strangers, wrong phrases and forms from elsewhere, while somebody is inside."""
    inside = httpx.Client(base_url=app.address, timeout=60)
    let_in = inside.post("/door", data={"pass_phrase": PHRASE}, headers=token_of(inside))
    if let_in.status_code != 303:
        raise RuntimeError(f"the right phrase was answered {let_in.status_code}")
    began = time.perf_counter()
    for _ in range(520):
        httpx.get(f"{app.address}/door")
    strangers_s, after = time.perf_counter() - began, inside.get("/").status_code
    for _ in range(510):
        httpx.post(f"{app.address}/settings", headers={"origin": "http://evil.example"})
    mine = inside.post("/settings", data={"theme": "dark"}, headers=token_of(inside)).status_code
    said = Counter()
    for i in range(12):
        with httpx.Client(base_url=app.address, timeout=60) as stranger:
            wrong = stranger.post("/door", data={"pass_phrase": f"wrong {i}"}, headers=token_of(stranger))
            said[wrong.status_code] += 1
    wait_s = int(wrong.headers.get("retry-after", 0))
    still = inside.get("/").status_code
    time.sleep(min(wait_s, 30) + 0.1)
    with httpx.Client(base_url=app.address, timeout=60) as late:
        right = late.post("/door", data={"pass_phrase": PHRASE}, headers=token_of(late)).status_code
    return {
        f"520 anonymous requests in {strangers_s:.1f} s: who is inside gets": after,
        "510 forms of a foreign origin: one's own form gets": mine,
        "12 wrong phrases from one address get": dict(said), "then who is inside gets": still,
        "then the right phrase, having waited as told, gets": right,
    }  # fmt: skip


def heavy(app: Served) -> dict[str, Any]:
    """Files that once stopped the machine; meanwhile another person looks at pages."""
    dotted = b"a." * 20_000 + b"b = 1"
    tables = b"".join(b"[t%d]\n" % i for i in range(5_000))
    million = b"meter,frequency,path,reading\n" + b"desk meter,14.2 MHz,blue 7,8.2\n" * 1_000_000
    bomb = io.BytesIO()
    with zipfile.ZipFile(bomb, "w", zipfile.ZIP_DEFLATED) as packed:
        packed.writestr("readings.json", b"[" + b"[]," * 100_000_000 + b"[]]")
    deep = b"[" * 500_000

    def sheet(content: bytes, csv: bytes = b"") -> Callable[[httpx.Client], httpx.Response]:
        files = [("files", ("x.toml", content))] + ([("files", ("x.csv", csv))] if csv else [])
        return lambda c: c.post("/shelf/import/sheet", files=files, data={"on": ""}, headers=token_of(c))

    def prove(text: bytes) -> Callable[[httpx.Client], httpx.Response]:
        body = json.dumps({"sheet": text.decode()})
        return lambda c: c.post("/api/prove", content=body, headers={**token_of(c), "content-type": "application/json"})

    asked = {
        "40 kB of TOML, one long dotted key": prove(dotted), "5,000 unknown tables": prove(tables),
        "a CSV of a million rows": sheet(SHEET, million),
        "a zip of 0.3 MB that unpacks to 300 MB": lambda c: c.post(
            "/shelf/import/ledger", files={"files": ("a.zip", bomb.getvalue())}, headers=token_of(c)
        ),
        "JSON 500,000 deep": lambda c: c.post(
            "/api/prove", content=deep, headers={**token_of(c), "content-type": "application/json"}
        ),
        "200 MB uploaded": lambda c: c.post(
            "/sweeps", files={"files": ("a.s2p", bytes(200 << 20))}, headers=token_of(c)
        ),
    }  # fmt: skip
    return {
        f"{name}: answered, and another person's slowest page meanwhile": _beside(app, ask)
        for name, ask in asked.items()
    }


SHEET = b"""title = "x"
[source]
power = "10 W"
[reference]
line = "RG-58C/U"
length = "0.9 m"
[[meter]]
name = "desk meter"
division = "0.1 W"
[[piece]]
tag = "blue 7"
line = "RG-58C/U"
length = "7.2 m"
[readings]
file = "x.csv"
"""


def _beside(app: Served, ask: Callable[[httpx.Client], httpx.Response]) -> str:
    took, over = [], threading.Event()

    def look() -> None:
        with httpx.Client(base_url=app.address, timeout=120) as other:
            while not over.is_set():
                began = time.perf_counter()
                other.get("/bench")
                took.append(time.perf_counter() - began)
                time.sleep(0.05)

    looking = threading.Thread(target=look, daemon=True)
    with httpx.Client(base_url=app.address, timeout=300) as client:
        client.get("/")
        looking.start()
        time.sleep(0.3)
        began = time.perf_counter()
        try:
            answer = ask(client)
            words = re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", answer.text.partition("<main")[2] or answer.text))
            said = f"{answer.status_code}, “{_rule(words)}”"
        except httpx.TransportError as error:
            said = f"connection closed ({type(error).__name__})"
        seconds = time.perf_counter() - began
    over.set()
    looking.join()
    return f"{seconds:.2f} s with {said}; {max(took):.2f} s"


def _rule(words: str) -> str:
    found = re.search(r'(must [^.("]*|That is more than[^."]*|nests [^."]*|needs [^."]*)', words)
    return (found[1] if found else words[:80]).strip()


# One person's heavy work beside twenty benches


EVERY_S, DEEDS = 4.0, 10


def fairness() -> dict[str, Any]:
    """Let twenty people type readings, alone and beside one person who sends what is heaviest, on and on."""
    found: dict[str, Any] = {}
    with tempfile.TemporaryDirectory() as folder:
        ledger = Path(folder) / "ledger.sqlite"
        people = visitors("", str(ledger), 20)
        app = Served(ledger)
        try:
            _readings(app, people, ())  # everything is loaded, every session was judged once
            alone = _readings(app, people, ())
            found["twenty people type readings, answered in s (median, 95th percentile, longest)"] = _spread(alone)
            for name, ask in heaviest().items():
                done: list[str] = []
                took = _readings(app, people, (ask, done))
                answers = ", ".join(f"{n} times {said}" for said, n in Counter(done).items()) or "none yet"
                found[f"beside one person's {name} over six connections"] = f"{_spread(took)}; it got {answers}"
            found["most memory of the server through it, MB"] = app.peak_mb()
            found["SIGTERM beside the last, s"] = round(app.end(), 2)
        finally:
            if app.process.poll() is None:
                app.end()
    return {"outcome": _told(found)}


def heaviest() -> dict[str, Callable[[httpx.Client], httpx.Response]]:
    """Return what costs most of what is let in."""
    points = b"".join(b"%d 0.012345 0.001234 -0.71 0.62 -0.71 0.62 0.015 0.0033\n" % (10**6 + 10**4 * i)
                      for i in range(199_000))  # fmt: skip
    sweep = b"# Hz S RI R 50\n" + points
    rows = (f"desk meter,{14 + i // 2 / 100} MHz,{'blue 7' if i % 2 else 'reference'},{8 + i * 7919 % 10 / 10}\n"
            for i in range(12_000))  # fmt: skip
    bench = {"sheet": SHEET.decode(), "files": {"x.csv": "meter,frequency,path,reading\n" + "".join(rows)}}
    return {
        "sweeps of 199,000 points": lambda c: c.post(
            "/sweeps", files={"files": ("a.s2p", sweep)}, headers=token_of(c)
        ),
        "bench of 6,000 frequencies": lambda c: c.post("/api/prove", json=bench, headers=token_of(c)),
    }  # fmt: skip


def _readings(app: Served, people: list[Visitor], beside: Any) -> list[float]:
    """Return how long each reading took, with another person's asking meanwhile."""
    over = threading.Event()

    def ask() -> None:
        heavy, done = beside
        with suppress(httpx.HTTPError), httpx.Client(base_url=app.address, timeout=400, cookies=mine) as client:
            while not over.is_set():
                done.append(str(heavy(client).status_code))
                time.sleep(0.2)

    if beside:
        with httpx.Client(base_url=app.address) as first:
            first.get("/")
            mine = dict(first.cookies)
        for _ in range(6):
            threading.Thread(target=ask, daemon=True).start()
        time.sleep(2)
    typing = [Typist(app.address, p.session, p.seed, p.piece) for p in people]
    all_at_once(typing, DEEDS, EVERY_S)
    over.set()
    return [s for p in typing for kind in p.took.values() for s in kind]


class Typist(Visitor):
    """A visitor who types readings and does nothing else."""

    def do_page(self, n: int, draw: random.Random) -> httpx.Response:
        """Type a reading in place of what another would do."""
        return self.do_reading(n, draw)

    do_piece = do_what_if = do_sweep = do_page


def _spread(took: list[float]) -> str:
    inside = sorted(took)
    return f"{statistics.median(inside):.2f}, {inside[int(0.95 * len(inside))]:.2f}, {inside[-1]:.2f}"


def half_open(app: Served, many: int = 400) -> dict[str, Any]:
    """Open connections that send half a head; a page must still be answered, and they must be closed."""
    open_ends = []
    for _ in range(many):
        end = socket.create_connection(("127.0.0.1", app.port))
        end.sendall(b"GET / HTTP/1.1\r\nHost: localhost")
        open_ends.append(end)
    times = []
    for _ in range(10):
        began = time.perf_counter()
        httpx.get(f"{app.address}/bench", timeout=120)
        times.append(time.perf_counter() - began)
    time.sleep(12)
    closed = 0
    for end in open_ends:
        end.settimeout(0.05)
        with suppress(OSError):
            closed += end.recv(4096) == b"" or 1
        end.close()
    return {
        f"{many} half-open connections: a page takes (median of 10), s": round(statistics.median(times), 3),
        "of them closed after 12 s": closed,
    }  # fmt: skip


def endings(times: int = 4) -> dict[str, Any]:
    """Tell the app to end while it is at work, so many times; it must be gone within 2 s."""
    took: dict[str, list[str]] = {}
    for sig in (signal.SIGTERM, signal.SIGINT) * times:
        with served() as app:
            workers = [threading.Thread(target=_press, args=(app.address,), daemon=True) for _ in range(10)]
            for worker in workers:
                worker.start()
            time.sleep(3)
            took.setdefault(sig.name, []).append(f"{app.end(sig):.2f}")
    words = "told to end by {} under ten people who press pages and choices, s"
    return {"outcome": _told({words.format(name): ", ".join(sorted(said)) for name, said in took.items()})}


def _press(address: str) -> None:
    pages = ("/bench", "/shelf", "/runs?station=harbour-ridge", "/runs/choose?station=harbour-ridge&run=two-metre+beam")
    with suppress(httpx.HTTPError), httpx.Client(base_url=address, timeout=60) as client:
        while True:
            for path in pages:
                client.get(path)
