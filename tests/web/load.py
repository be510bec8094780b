"""Many people at one ledger: each reads into a sheet over HTTP, as a page does; whatever is acknowledged is counted."""

from __future__ import annotations

import re
import threading
import time
from dataclasses import dataclass, field
from urllib.parse import quote

import httpx2 as httpx


@dataclass
class Person:
    """One visitor with a session of their own, and what was acknowledged: line and value."""

    address: str
    session: str
    lines: list[str]
    kept: dict[str, str] = field(default_factory=dict)
    seconds: list[float] = field(default_factory=list)
    troubles: list[str] = field(default_factory=list)

    def work(self, rest_s: float) -> None:
        """Read every line of mine once."""
        with httpx.Client(base_url=self.address, timeout=None) as client:
            page = client.get("/").text
            headers = {"x-part": "1", "x-linewright-token": page.split('name="token" content="')[1].split('"')[0]}
            for i, line in enumerate(self.lines):
                value = f"{9.5 - 0.1 * (i % 40):.1f}"
                began = time.perf_counter()
                told = {f"reading.{line}": value, f"was.{line}": "0.0.0"}
                answer = client.post(f"/bench/read/{quote(self.session)}", data=told, headers=headers)
                self.seconds.append(time.perf_counter() - began)
                if answer.status_code == 200 and 'class="over"' not in answer.text:
                    self.kept[line] = value
                else:
                    self.troubles.append(f"{answer.status_code} {answer.text[:200]}")
                time.sleep(rest_s)


def lines_of(address: str, session: str) -> list[str]:
    """Return the lines of a sheet, in order."""
    page = httpx.get(f"{address}/bench/at/{quote(session)}", timeout=None, follow_redirects=True).text
    return re.findall(r'name="reading\.(r\w+)"', page)


def crowd(people: list[Person], rest_s: float = 0.0) -> None:
    """Let all of them work at once, and wait for them."""
    threads = [threading.Thread(target=person.work, args=(rest_s,), daemon=True) for person in people]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(600)


def standing(address: str, session: str) -> dict[str, str]:
    """Return what the station shows for every line that holds a reading."""
    page = httpx.get(f"{address}/bench/at/{quote(session)}", timeout=None, follow_redirects=True).text
    rows = re.findall(r'name="reading\.(r\w+)" value="([^"]*)"', page)
    return {line: value for line, value in rows if value}
