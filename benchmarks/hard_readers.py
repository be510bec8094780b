"""Mutated inputs for every reader: each must be read, or refused in the package's own words, within time and memory.

A child process reads them, so that an input that goes over a bound ends with its child and is named. Which inputs come
is told by a seed.
"""

from __future__ import annotations

import io
import multiprocessing
import random
import re
import resource
import time
import zipfile
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from linewright.core.errors import LinewrightError

MOST_S, MOST_MB = 2.0, 300
"""What one input may take; memory is that of the whole child."""
BATCH = 1000
"""Inputs of one child."""
DEMO = Path(__file__).parents[1] / "src" / "linewright" / "verbs" / "demo_data"

WORDS = (
    b"", b"=", b"[", b"]", b"[[", b"]]", b"{", b"}", b'"', b"'", b"#", b",", b";", b"\t", b"\n", b"\r\n", b"\0",
    b"\x1b[31m",
    b"nan", b"inf", b"-inf", b"-1", b"0", b"1e400", b"-1e-400", b"9" * 400, b"1_000", b"0x1f", b"1979-05-27", b"true",
    b"a." * 40, b"[[meter]]\n", b"[readings]\n", b"\xff\xfe", b"\xed\xa0\x80", "\u202e\u0661".encode(), b"MHz", b"dB",
    b"-5 W", b"50 ohm", b"constructor", b"__proto__", b"=HYPERLINK(1)", b"../../etc/passwd", b"null", b"[" * 200,
    b"# GHz S DB R 50\n", b"[Version] 2.0\n", b"[Number of Ports] 99\n", b"! ", b"NaN NaN NaN\n", b"5e9 1e308 1e308\n",
)  # fmt: skip
NUMBER = re.compile(rb"-?\d+(?:\.\d+)?")


def mutated(content: bytes, other: bytes, draw: random.Random) -> bytes:
    """Return a content changed in one to four places."""
    found = bytearray(content)
    for _ in range(draw.choice((1, 1, 1, 2, 4))):
        at, how = draw.randrange(len(found) + 1), draw.randrange(8)
        if how == 0 and found:
            found[at % len(found)] ^= 1 << draw.randrange(8)
        elif how == 1:
            found[at:at] = draw.choice(WORDS)
        elif how == 2:
            del found[at : at + draw.randint(1, 40)]
        elif how == 3:
            found[at:at] = found[at : at + draw.randint(1, 200)] * draw.randint(1, 4)
        elif how == 4 and other:
            begin = draw.randrange(len(other))
            found[at:at] = other[begin : begin + draw.randint(1, 300)]
        elif how == 5:
            del found[at:]
        elif how == 6:
            numbers = list(NUMBER.finditer(bytes(found)))
            if numbers:
                one = draw.choice(numbers)
                found[one.start() : one.end()] = draw.choice(WORDS)
        else:
            lines = bytes(found).split(b"\n")
            draw.shuffle(lines)
            found = bytearray(b"\n".join(lines))
    return bytes(found)


@dataclass(frozen=True)
class Reader:
    """A reader, with sound inputs to begin from."""

    name: str
    seeds: tuple[bytes, ...]
    read: Callable[[bytes], Any]


@dataclass
class Outcome:
    """What became of the inputs of one reader: how many were read and refused, and what went over a bound."""

    read: int = 0
    refused: int = 0
    longest_s: float = 0.0
    most_mb: int = 0
    over: list[str] = field(default_factory=list)

    def add(self, other: Outcome) -> None:
        """Count another's in."""
        self.read, self.refused = self.read + other.read, self.refused + other.refused
        self.longest_s, self.most_mb = max(self.longest_s, other.longest_s), max(self.most_mb, other.most_mb)
        self.over += other.over


def files(*names: str) -> tuple[bytes, ...]:
    """Return files of the invented bench."""
    return tuple((DEMO / name).read_bytes() for name in names)


def _cut(name: str) -> bytes:
    """Return the first rows of a file."""
    return b"\n".join((DEMO / name).read_bytes().split(b"\n")[:40]) + b"\n"


def readers() -> dict[str, Reader]:
    """Return every reader of what people bring."""
    from linewright.files import read_bench_sheet_text
    from linewright.files.curve import read_curve_text
    from linewright.files.one_end import read_one_end_text
    from linewright.files.own_lines import read_lines_text
    from linewright.files.prices import read_prices_text
    from linewright.files.rules import read_rules_text
    from linewright.files.station import read_station_text
    from linewright.files.tables import decoded
    from linewright.files.touchstone import read_touchstone_text

    (sheet,) = (x.decode() for x in files("harbour-ridge.toml"))
    beside = {p.name: p.read_text(encoding="utf-8") for p in DEMO.iterdir() if p.suffix in (".toml", ".csv")}

    def text(content: bytes) -> str:
        return decoded(content, "file", "mutated")

    found = [
        Reader("bench sheet", files("harbour-ridge.toml", "harbour-ridge-2024.toml"),
               lambda c: read_bench_sheet_text(text(c), beside)),
        Reader("readings", files("harbour-ridge.csv"),
               lambda c: read_bench_sheet_text(sheet, {"harbour-ridge.csv": text(c)})),
        Reader("station", files("harbour-ridge-station.toml", "harbour-ridge-field-day.toml"),
               lambda c: read_station_text(text(c), beside)),
        Reader("two-port sweep", (_cut("drum.s2p"), TWO_PORT),
               lambda c: read_touchstone_text(c, "x.s2p")),
        Reader("one-port sweep", (_cut("open.s1p"), _cut("mast.s1p")), lambda c: read_touchstone_text(c, "x.s1p")),
        Reader("curve", files("beam.csv"), lambda c: read_curve_text(text(c))),
        Reader("prices", files("harbour-ridge-prices.csv"), lambda c: read_prices_text(text(c))),
        Reader("line types", (LINES, LINES_CSV),
               lambda c: read_lines_text(text(c), "x.toml" if b"[" in c else "x.csv")),
        Reader("one end", (b"frequency,far_end,swr\n144 MHz,open,7.1\n144 MHz,short,6.8\n",),
               lambda c: read_one_end_text(text(c), "readings.csv")),
        Reader("limits", (RULES,), lambda c: read_rules_text(text(c), "limits.toml")),
    ]  # fmt: skip
    return {r.name: r for r in found} | {"export": Reader("export", (b"",), lambda c: None)}


TWO_PORT = b"! small\n# MHz S MA R 50\n1 .1 0 .9 0 .9 0 .1 0\n2 .2 9 .8 9 .8 9 .2 9\n"
LINES_CSV = b"line,frequency,attenuation\nclub drum,10 MHz,1.5 dB/100m\nclub drum,1 GHz,18 dB/100m\n"
LINES = b"""[[line]]
name = "club drum"
impedance = "50 ohm"
velocity_factor = 0.8
points = [["10 MHz", "1.5 dB/100m"], ["100 MHz", "5.1 dB/100m"], ["1 GHz", "18 dB/100m"]]
"""
RULES = b"""[[limit]]
name = "club rule"
who = "public"
from = "100 kHz"
to = "30 MHz"
electric_field = "300/f^0.7 V/m"
magnetic_field = "2.2/f A/m"
averaging = "6 min"
source = "invented"
[[licence]]
band = "60 m"
eirp = "15 W"
source = "invented"
"""


def run(name: str, which: range, seed: int, tell: Callable[[str], Any]) -> Outcome:
    """Give a reader the mutated inputs of these numbers; each child's batch is told."""
    whole = Outcome()
    for start in which[::BATCH]:
        whole.add(_batch(name, range(start, min(start + BATCH, which.stop)), seed))
        if start // BATCH % 10 == 9:
            tell(f"{name}: {start + BATCH} of {which.stop}, {len(whole.over)} over a bound or a crash")
    return whole


def _batch(name: str, which: range, seed: int) -> Outcome:
    """Let children read inputs; where one ends by itself the next goes on behind the input that ended it."""
    found, context = Outcome(), multiprocessing.get_context("fork")
    while len(which):
        mine, theirs = context.Pipe(duplex=False)
        child = context.Process(target=_child, args=(name, which, seed, theirs))
        child.start()
        theirs.close()
        done = -1
        try:
            while mine.poll(30 * MOST_S):
                told = mine.recv()
                if isinstance(told, Outcome):
                    found.add(told)
                    done = which.stop
                    break
                done = told
            else:
                child.kill()
        except EOFError:
            pass
        child.join()
        if done < 0:
            raise RuntimeError(f"{name}: its reader ended before the first input")
        if done < which.stop:
            found.over.append(f"{name} {seed} {done}: it ended its reader")
            done += 1
        which = range(done, which.stop)
    return found


def _child(name: str, which: range, seed: int, pipe: Any) -> None:
    resource.setrlimit(resource.RLIMIT_AS, (4 << 30, 4 << 30))
    if name == "export":
        with TemporaryDirectory() as folder:
            reader = export_reader(Path(folder))
            pipe.send(_read(reader, which, seed, pipe))
    else:
        pipe.send(_read(readers()[name], which, seed, pipe))


def _read(reader: Reader, which: range, seed: int, pipe: Any) -> Outcome:
    found = Outcome()
    for seed_content in reader.seeds:
        reader.read(seed_content)  # sound, and everything is loaded
    for i in which:
        pipe.send(i)
        draw = random.Random(f"{reader.name} {seed} {i}")
        content = mutated(draw.choice(reader.seeds), draw.choice(reader.seeds), draw)
        began = time.process_time()
        try:
            reader.read(content)
            found.read += 1
        except LinewrightError as error:
            found.refused += 1
            if not str(error).isprintable() or len(str(error)) > 3000:
                found.over.append(f"{reader.name} {seed} {i}: its message cannot be shown: {str(error)[:80]!r}")
        except Exception as error:
            found.over.append(f"{reader.name} {seed} {i}: {type(error).__name__}: {str(error)[:80]}")
        took, mb = time.process_time() - began, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024
        found.longest_s = max(found.longest_s, took)
        if took > MOST_S:
            found.over.append(f"{reader.name} {seed} {i}: {took:.1f} s")
        if mb > MOST_MB >= found.most_mb:
            found.over.append(f"{reader.name} {seed} {i}: {mb} MB")
        found.most_mb = max(found.most_mb, mb)
    return found


# An export: the files in its zip are changed and packed again, or the zip itself is hurt


class _BackError(Exception):
    """Ends a transaction without keeping it."""


def export_reader(folder: Path) -> Reader:
    """Return the reader of exports: what is read is put into an empty ledger, and taken back."""
    from linewright.store.whole import put_in
    from linewright.verbs import shelf
    from linewright.verbs.ledger_files import read_export

    path, packed = folder / "all.zip", _made(folder)
    parts = _parts(packed)
    ledger = shelf.open_ledger(folder / "ledger.sqlite")

    def read(content: bytes) -> None:
        draw = random.Random(content)
        if content != packed and draw.random() < 0.9:
            name, other = draw.choice(sorted(parts)), draw.choice(sorted(parts))
            content = _packed(parts | {name: mutated(parts[name], parts[other], draw)})
        path.write_bytes(content)
        whole = read_export(path)
        with suppress(_BackError), ledger.writes(datetime.now(UTC)) as w:
            put_in(w, whole)
            raise _BackError

    return Reader("export", (packed,), read)


def _made(folder: Path) -> bytes:
    from ledger.test_export import filled
    from linewright.verbs import shelf

    with shelf.open_ledger(folder / "full.sqlite") as ledger:
        filled(ledger)
        shelf.export_ledger(ledger, folder / "full.zip")
    return (folder / "full.zip").read_bytes()


def _parts(packed: bytes) -> dict[str, bytes]:
    with zipfile.ZipFile(io.BytesIO(packed)) as opened:
        return {name: opened.read(name) for name in opened.namelist()}


def _packed(parts: Mapping[str, bytes]) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_STORED) as made:
        for name, content in parts.items():
            made.writestr(name, content)
    return out.getvalue()
