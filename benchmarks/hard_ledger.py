"""A ledger whose writers are killed, whose file and copies are damaged, whose server goes away."""

from __future__ import annotations

import os
import random
import shutil
import signal
import socket
import sqlite3
import subprocess
import tempfile
import threading
import time
from collections import Counter
from contextlib import closing, suppress
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from ledger.gear import BLUE, BY, reading, session, stock_up
from ledger.server import programs
from ledger.test_export import filled
from ledger.writers import KILL_WRITERS, start
from linewright.core.errors import CannotError, DamagedError, InputError, LinewrightError
from linewright.store import backups
from linewright.store.opening import open_at
from linewright.verbs import shelf
from linewright.verbs.shelf import open_ledger
from linewright.verbs.shelf_open import check_ledger, recover_ledger

NOW = datetime(2026, 4, 2, 12, 0, tzinfo=UTC)


def kills(times: int) -> dict[str, Any]:
    """Kill a writer in the midst of writing, so many times; count what was acknowledged and is not there."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "ledger.sqlite"
        with open_ledger(path) as ledger:
            stock_up(ledger)
            key = session(ledger)
        killer = start(KILL_WRITERS, str(path), key, str(times))
        said, trouble = killer.communicate()
        if killer.returncode:
            raise RuntimeError(trouble)
        with open_ledger(path) as ledger:
            there = [r.cells["reading"] for r in shelf.readings_of(ledger, key) if r.cells]
        whole = not check_ledger(path).hurt
    acknowledged = set(said.split())
    return {"outcome": {
        f"writers killed in the midst of writing, {times} times: readings acknowledged": len(acknowledged),
        "of them lost": len(acknowledged - set(there)),
        "kept twice": len(there) - len(set(there)),
        "the file checked whole afterwards": "yes" if whole else "NO",
    }}  # fmt: skip


# Corruptions of a ledger's file, of its copies, or of both


def corruptions(times: int, seed: int, first: int = 0) -> dict[str, Any]:
    """Damage a ledger and its copies, so many times, each time anew; say how each damage was met."""
    met: Counter[str] = Counter()
    faults: list[str] = []
    with tempfile.TemporaryDirectory() as folder:
        made = Path(folder) / "made"
        made.mkdir()
        _prepare(made / "ledger.sqlite")
        before = _rows(made / "ledger.sqlite")
        for i in range(first, first + times):
            draw, place = random.Random(f"{seed} {i}"), Path(folder) / "one"
            shutil.copytree(made, place)
            how = _hurt(place / "ledger.sqlite", draw)
            said = _met(place / "ledger.sqlite", before, draw)
            met[said] += 1
            if said.isupper():
                faults.append(f"{seed} {i}: {how}: {said}")
            shutil.rmtree(place)
    return {"first": first, "inputs": times, "outcome": dict(sorted(met.items())), "over": faults}


def _prepare(path: Path) -> None:
    """Make a ledger that holds something of every kind, with copies of five days."""
    with open_at(str(path), NOW - timedelta(days=9)) as ledger:
        filled(ledger)
        shelf.list_shelf(ledger)
    for day in range(5):
        with open_at(str(path), NOW - timedelta(days=5 - day)) as ledger:
            shelf.add(ledger, "piece", BLUE | {"tag": f"day {day}"}, by=BY)
    with closing(sqlite3.connect(path)) as raw:
        raw.execute("PRAGMA wal_checkpoint(TRUNCATE)")


TABLES = ("item", "reading", "blob", "change", "derived")


def _rows(path: Path) -> dict[str, list[Any]]:
    with closing(sqlite3.connect(path)) as raw:
        raw.text_factory = bytes
        return {name: raw.execute(f'SELECT * FROM "{name}" ORDER BY 1').fetchall() for name in TABLES}


def _hurt(path: Path, draw: random.Random) -> str:
    """Damage the ledger, and in one of three cases some of its copies too; return how."""
    how = draw.choice(("page zeroed", "page of noise", "bits flipped", "run of noise", "cut short", "pages swapped",
                       "text changed in place", "value changed by SQL", "first page zeroed"))  # fmt: skip
    _one(path, how, draw)
    copies = backups.backups(path)
    if draw.random() < 0.33:
        for copy in draw.sample(copies, draw.randint(1, len(copies) - 1)):
            _one(copy, draw.choice(("page zeroed", "bits flipped", "value changed by SQL", "cut short")), draw)
    return how


COLUMNS = (("item", "body"), ("reading", "cells"), ("change", "after"), ("blob", "content"), ("derived", "body"))


def _one(path: Path, how: str, draw: random.Random) -> None:
    content = bytearray(path.read_bytes())
    pages = len(content) // 4096
    at = draw.randrange(1, pages) * 4096
    if how == "page zeroed":
        content[at : at + 4096] = bytes(4096)
    elif how == "first page zeroed":
        content[:4096] = bytes(4096)
    elif how == "page of noise":
        content[at : at + 4096] = draw.randbytes(4096)
    elif how == "bits flipped":
        for _ in range(draw.randint(1, 8)):
            content[draw.randrange(len(content))] ^= 1 << draw.randrange(8)
    elif how == "run of noise":
        at = draw.randrange(100, len(content) - 300)
        content[at : at + 200] = draw.randbytes(200)
    elif how == "cut short":
        del content[draw.randrange(4096, len(content)) :]
    elif how == "pages swapped":
        other = draw.randrange(1, pages) * 4096
        content[at : at + 4096], content[other : other + 4096] = content[other : other + 4096], content[at : at + 4096]
    elif how == "text changed in place":
        spots = [i for i in range(len(content) - 1) if 48 <= content[i] < 58 and content[i + 1] == 46]  # "8."
        content[draw.choice(spots)] = 48 + draw.randrange(10)
    else:
        with closing(sqlite3.connect(path)) as raw:
            table, column = draw.choice(COLUMNS)
            rows = raw.execute(f"SELECT rowid, {column} FROM {table} WHERE {column} IS NOT NULL").fetchall()
            number, value = draw.choice(rows)
            new = value.replace("8", "9").replace("1", "7") if isinstance(value, str) else value[:-1] + b"x"
            raw.execute(f"UPDATE {table} SET {column} = ? WHERE rowid = ?", (new, number))
            raw.commit()
        return
    path.write_bytes(content)


def _met(path: Path, before: dict[str, list[Any]], draw: random.Random) -> str:
    """Return how a damage was met; a fault in capitals."""
    whole = {p for p in backups.backups(path) if _is_whole(p)}
    said = _told(path, before)
    for day in range(20):  # every day somebody tries to open it
        with suppress(LinewrightError):
            open_at(str(path), NOW + timedelta(days=day)).close()
    if not any(p.exists() and _is_whole(p) for p in whole) and whole:
        return "NO WHOLE COPY LEFT"
    if said.startswith("told") and draw.random() < 0.5:
        try:
            found = recover_ledger(path, at=NOW)
        except InputError:
            return said
        if check_ledger(path).hurt:
            return "RECOVERED, AND STILL HURT"
        return f"{said}; recovered {'with nothing lost' if not found.lost else 'and the rows lost were told'}"
    return said


def _is_whole(path: Path) -> bool:
    from linewright.store.soundness import check_file

    return check_file(path, 60.0, rows=True).whole


def _told(path: Path, before: dict[str, list[Any]]) -> str:
    try:
        with open_at(str(path), NOW) as ledger:
            shelf.list_shelf(ledger)
            shelf.changes(ledger, most=None)
    except DamagedError as error:
        cure = "whole" in str(error) and "recover" in str(error)
        return "told at opening, with the cure" if cure else "TOLD WITHOUT A CURE"
    except (CannotError, InputError) as error:
        return "told in use" if "damaged" in str(error) or "ledger" in str(error) else f"TOLD AS {error!s:.60}".upper()
    except Exception as error:
        return f"CRASHED: {error!r:.60}".upper()
    if check_ledger(path).hurt:
        return "told by the whole check, which runs before every copy and once a day"
    after = _rows(path)
    same = all(after[name] == before[name] for name in TABLES if name != "derived")
    return "harmless: every row is as it was" if same else "CHANGED AND NOT TOLD"


# A server that is killed, whose network is cut, whose disk is full


class Proxy:
    """A way to a server that can be cut: it passes on what comes, both ways, until then."""

    def __init__(self, to: int) -> None:
        self.to, self.cut, self._open = to, False, []
        self._door = socket.create_server(("127.0.0.1", 0))
        self.port = self._door.getsockname()[1]
        threading.Thread(target=self._serve, daemon=True).start()

    def _serve(self) -> None:
        while True:
            try:
                mine, _ = self._door.accept()
                if self.cut:
                    mine.close()
                    continue
                theirs = socket.create_connection(("127.0.0.1", self.to))
            except OSError:
                return
            self._open += [mine, theirs]
            for one, other in ((mine, theirs), (theirs, mine)):
                threading.Thread(target=self._pass, args=(one, other), daemon=True).start()

    def _pass(self, one: socket.socket, other: socket.socket) -> None:
        with suppress(OSError):
            while got := one.recv(65536):
                other.sendall(got)
        for end in (one, other):
            with suppress(OSError):  # closed alone, it would stay open for whoever still listens to it
                end.shutdown(socket.SHUT_RDWR)
            with suppress(OSError):
                end.close()

    def stop(self) -> None:
        """Cut every connection, and let none through any more."""
        self.cut = True
        for end in self._open:
            with suppress(OSError):
                end.shutdown(socket.SHUT_RDWR)

    def mend(self) -> None:
        """Let connections through again."""
        self.cut = False


class Postgres:
    """A server with a folder of its own, which writes through to the disk as one in use does."""

    def __init__(self, home: Path) -> None:
        from ledger.server import _free_port

        self.home, self.port, self.where = home, _free_port(), programs()
        self.user = {"user": "postgres", "group": "postgres", "extra_groups": []} if os.geteuid() == 0 else {}
        if self.user:
            shutil.chown(home, "postgres", "postgres")
        asked = [str(self.where / "initdb"), "-D", str(home / "data"), "-U", "club", "-A", "trust", "-E", "UTF8"]
        subprocess.run(asked, cwd=home, capture_output=True, check=True, **self.user)
        self.start()

    def start(self) -> None:
        """Start it, after a kill too, and wait until it answers."""
        import psycopg

        self.log = (self.home / "log").open("a")
        words = [
            "-D",
            str(self.home / "data"),
            "-p",
            str(self.port),
            "-c",
            "listen_addresses=127.0.0.1",
            "-k",
            str(self.home),
        ]
        self.running = subprocess.Popen(
            [str(self.where / "postgres"), *words], cwd=self.home, stdout=self.log, stderr=self.log, **self.user
        )
        for _ in range(600):
            try:
                psycopg.connect(
                    host="127.0.0.1", port=self.port, user="club", dbname="postgres", connect_timeout=2
                ).close()
                return
            except psycopg.OperationalError:
                time.sleep(0.1)
        raise RuntimeError("the server does not answer")

    def kill(self) -> None:
        """Kill all of it at once, as a power failure does to its processes."""
        with suppress(ProcessLookupError):
            children = subprocess.run(
                ["pgrep", "-P", str(self.running.pid)], capture_output=True, text=True, check=False
            )
            self.running.send_signal(signal.SIGKILL)
            for pid in children.stdout.split():
                with suppress(ProcessLookupError):
                    os.kill(int(pid), signal.SIGKILL)
        self.running.wait()
        self.log.close()
        time.sleep(0.5)

    def end(self) -> None:
        """Stop it in order."""
        self.running.send_signal(signal.SIGINT)
        self.running.wait(60)
        self.log.close()


def server_trouble() -> dict[str, Any]:
    """Write to a server that is killed five times, then cut off five times; say what was lost and what was said."""
    if programs() is None:
        return {"outcome": {"PostgreSQL": "not installed, not run"}}
    with tempfile.TemporaryDirectory() as folder:
        home = Path(folder)
        home.chmod(0o755)
        (home / "pg").mkdir()
        server = Postgres(home / "pg")
        try:
            killed = _through_trouble(server.port, server.kill, server.start)
            proxy = Proxy(server.port)
            cut = _through_trouble(proxy.port, proxy.stop, proxy.mend)
        finally:
            server.end()
    return {"outcome": {f"killed five times, {what}": said for what, said in killed.items()}
            | {f"network cut five times, {what}": said for what, said in cut.items()}}  # fmt: skip


def _through_trouble(port: int, hurt: Any, mend: Any, times: int = 5) -> dict[str, Any]:
    """Write through troubles; each reading that was refused is sent again, as the browser does, under its token."""
    where = f"postgresql://club@127.0.0.1:{port}/postgres"
    said: Counter[str] = Counter()
    acknowledged: list[str] = []
    stop = threading.Event()
    with open_ledger(where) as ledger:
        if not shelf.all_kept(ledger, "piece"):
            stock_up(ledger)
        key = session(ledger, f"Through {port}")

        def write() -> None:
            number = 0
            while not stop.is_set():
                value, token = f"{5 + number % 50 / 10:.1f}", f"{port}-{number}"
                try:
                    shelf.add_reading(ledger, key, reading(value, note=token), token=token)
                except LinewrightError as error:
                    said[str(error).replace(str(port), "PORT")] += 1
                    time.sleep(0.05)
                    continue
                except Exception as error:
                    said[f"CRASH {error!r:.100}"] += 1
                    time.sleep(0.05)
                    continue
                acknowledged.append(token)
                number += 1

        writer = threading.Thread(target=write, daemon=True)
        writer.start()
        for _ in range(times):
            many = len(acknowledged)
            _until(lambda many=many: len(acknowledged) > many + 20)
            hurt()
            time.sleep(1.0)
            mend()
        many = len(acknowledged)
        _until(lambda: len(acknowledged) > many + 20)
        stop.set()
        writer.join()
        there = [r.cells["note"] for r in shelf.readings_of(ledger, key) if r.cells]
        shelf.archive(ledger, "sheet", key)
    return {
        "readings acknowledged": len(acknowledged), "of them lost": len(set(acknowledged) - set(there)),
        "kept twice": len(there) - len(set(there)), "what was said": "; ".join(f"{n} × {w}" for w, n in said.items()),
    }  # fmt: skip


def _until(true: Any, most_s: float = 60.0) -> None:
    end = time.monotonic() + most_s
    while not true():
        if time.monotonic() > end:
            raise RuntimeError("it did not come back")
        time.sleep(0.05)


def server_full() -> dict[str, Any]:
    """Write to a server until its disk is full, make room, and write again; needs root, for a disk of its own."""
    if programs() is None or os.geteuid() != 0:
        return {"outcome": {"PostgreSQL on a full disk": "not run: it needs PostgreSQL, and root for a small disk"}}
    with tempfile.TemporaryDirectory() as folder:
        home = Path(folder)
        home.chmod(0o755)
        disk = home / "disk"
        disk.mkdir()
        subprocess.run(["mount", "-t", "tmpfs", "-o", "size=120m", "tmpfs", str(disk)], check=True)
        try:
            (disk / "pg").mkdir()
            server = Postgres(disk / "pg")
            try:
                return {"outcome": _filled_up(server, disk)}
            finally:
                server.kill()
        finally:
            subprocess.run(["umount", "-l", str(disk)], check=True)


def _filled_up(server: Postgres, disk: Path) -> dict[str, Any]:
    where = f"postgresql://club@127.0.0.1:{server.port}/postgres"
    acknowledged, said = [], Counter()
    with open_ledger(where) as ledger:
        stock_up(ledger)
        key = session(ledger)
        draw = random.Random(1)
        while sum(said.values()) < 5:
            token = f"t{len(acknowledged)}"
            note = f"{token} {draw.randbytes(9000).hex()[:9900]}"
            try:
                shelf.add_reading(ledger, key, reading("8.2", note=note), token=token)
            except LinewrightError as error:
                said[str(error).replace(str(server.port), "PORT")] += 1
                time.sleep(0.2)
                continue
            acknowledged.append(token)
        subprocess.run(["mount", "-o", "remount,size=400m", str(disk)], check=True)
        if server.running.poll() is not None:
            server.start()
        again = 0
        for i in range(200):
            with suppress(LinewrightError):
                shelf.add_reading(ledger, key, reading("8.1", note=f"again {i}"), token=f"again {i}")
                again += 1
            if again > 20:
                break
            time.sleep(0.1)
        there = [r.cells["note"].split()[0] for r in shelf.readings_of(ledger, key) if r.cells]
    return {
        "disk filled up, readings acknowledged": len(acknowledged),
        "of them lost": len(set(acknowledged) - set(there)),
        "kept twice": len([t for t in there if t != "again"]) - len({t for t in there if t != "again"}),
        "what was said": "; ".join(f"{n} × {w}" for w, n in said.items()),
        "once there was room again, readings kept": again,
    }
