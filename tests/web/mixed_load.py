"""Ten minutes of people at one ledger, pressed together: what each does next is drawn from a list."""

from __future__ import annotations

import html
import random
import re
import threading
import time
from dataclasses import dataclass, field
from urllib.parse import quote, urlencode

import httpx2 as httpx

from ledger.gear import sweep_bytes
from web.bench_helpers import bench_of
from web.load import lines_of, standing

WEIGHTS = {"reading": 40, "page": 12, "piece": 4, "what if": 4, "sweep": 1}
"""What a person does in ten minutes: about four readings a minute, a page between, now and then the rest."""
BROWSER = {"accept": "text/html,application/xhtml+xml,*/*;q=0.8"}
PAGES = ("/", "/bench", "/shelf", "/runs", "/sweeps")


@dataclass
class Visitor:
    """One person with a session and a piece of their own; what was acknowledged, and how long each thing took."""

    address: str
    session: str
    seed: int
    piece: str = ""
    kept: dict[str, str] = field(default_factory=dict)
    notes: list[str] = field(default_factory=list)
    took: dict[str, list[float]] = field(default_factory=lambda: {name: [] for name in WEIGHTS})
    troubles: list[str] = field(default_factory=list)

    def work(self, deeds: int, every_s: float = 0.0) -> None:
        """Do so many things, one after the other: without a pause, or one in each span of time."""
        draw = random.Random(self.seed)
        asked = {"base_url": self.address, "timeout": None, "follow_redirects": True, "headers": BROWSER}
        with httpx.Client(**asked) as self.client:
            page = self.client.get("/").text
            self.headers = {"x-linewright-token": page.split('name="token" content="')[1].split('"')[0]}
            self.lines = lines_of(self.address, self.session)
            self.was = dict.fromkeys(self.lines, "0.0.0")
            start = time.perf_counter()
            for n in range(deeds):
                time.sleep(max(start + every_s * (n + draw.random()) - time.perf_counter(), 0.0))
                (deed,) = draw.choices(list(WEIGHTS), list(WEIGHTS.values()))
                began = time.perf_counter()
                try:
                    answer = getattr(self, "do_" + deed.replace(" ", "_"))(n, draw)
                except httpx.TransportError as cause:
                    self.troubles.append(f"{deed}: {type(cause).__name__}")
                    continue
                self.took[deed].append(time.perf_counter() - began)
                if answer.status_code >= 400:
                    said = html.unescape(re.sub(r"<[^>]+>", " ", answer.text.rpartition("<main")[2]))
                    what = f"{deed}: {answer.url.path} {answer.status_code}"
                    self.troubles.append(f"{what} {' '.join(said.split())[:200]}")

    def do_reading(self, n: int, draw: random.Random) -> httpx.Response:
        """Type one reading, or correct it."""
        line, value = self.lines[n % len(self.lines)], f"{5 + draw.random() * 5:.1f}"
        told = {f"reading.{line}": value, f"was.{line}": self.was[line]}
        answer = self.client.post(
            f"/bench/read/{quote(self.session)}", data=told, headers={**self.headers, "x-part": "1"}
        )
        if answer.status_code == 200:
            mine = answer.text.split(f'id="x-{line}"')[1]
            self.was[line] = mine.split('data-was="')[1].split('"')[0]
            self.kept[line] = value
        return answer

    def do_page(self, _: int, draw: random.Random) -> httpx.Response:
        """Look at a place."""
        return self.client.get(draw.choice(PAGES))

    def do_piece(self, n: int, _: random.Random) -> httpx.Response:
        """Write a note on the piece of one's own."""
        note = f"looked at {n}"
        answer = self.client.post(f"/shelf/note/piece/{quote(self.piece)}", data={"text": note}, headers=self.headers)
        if answer.status_code == 200:
            self.notes.append(note)
        return answer

    def do_what_if(self, _: int, draw: random.Random) -> httpx.Response:
        """Change a length of the invented station's run."""
        runs = re.findall(r'href="(/runs/run[^"]*)"', self.client.get("/runs?station=harbour-ridge").text)
        address = html.unescape(draw.choice(runs)).partition("&how=")[0]
        asked = {"open": 1, "do": "set", "f.length": f"{2 + 5 * draw.random():.1f}"}
        return self.client.get(f"{address}&{urlencode(asked)}")

    def do_sweep(self, _: int, draw: random.Random) -> httpx.Response:
        """Hand in a sweep and see what it says."""
        content = sweep_bytes(1 + draw.random())
        return self.client.post("/sweeps", files={"files": ("line.s2p", content)}, headers=self.headers)

    def lost(self) -> int:
        """Count what was acknowledged and does not stand."""
        there = standing(self.address, self.session)
        with httpx.Client(base_url=self.address, timeout=None) as client:
            said = client.get(f"/shelf/piece/{quote(self.piece)}").text
        notes = sum(note not in said for note in self.notes)
        return notes + sum(there.get(line) != value for line, value in self.kept.items())


def visitors(address: str, ledger: str, many: int) -> list[Visitor]:
    """Return people, each with a piece and a session begun."""
    from linewright.verbs.shelf import add, open_ledger

    found = []
    for i in range(many):
        session = bench_of(ledger, f"Visitor {i}", ("desk meter",))
        with open_ledger(ledger) as kept:
            add(kept, "piece", {"tag": f"own {i}", "line": "RG-58C/U", "length": "5 m"})
        found.append(Visitor(address, session, i, f"own {i}"))
    return found


def all_at_once(people: list[Visitor], deeds: int, every_s: float = 0.0) -> float:
    """Let all of them work at once; return how long it took, in seconds."""
    began = time.perf_counter()
    threads = [threading.Thread(target=person.work, args=(deeds, every_s), daemon=True) for person in people]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(1800)
    return time.perf_counter() - began
