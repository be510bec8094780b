"""Hard times: kills, corruptions, mutated inputs, floods, a database that goes away. Slow; each part by hand.

    python benchmarks/hard_times.py PART [PART...] [--write] [--times 200] [--inputs 100000] [--seed 1]

Parts: ``kills``, ``corruptions``, ``server``, ``disk``, ``floods``, ``readers`` (or ``readers:NAME`` for one). Without
a part all run. With ``--write`` each outcome takes the place of its earlier one in ``hard_times.json``, and
``hard_times_results.md`` is written anew of them all.
"""

from __future__ import annotations

import argparse
import json
import os
import platform
import sys
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

HERE = Path(__file__).resolve().parent
sys.path[:0] = [str(HERE), str(HERE.parent / "tests")]

import hard_floods  # noqa: E402 - the tests' helpers are found only once their folder is known
import hard_ledger  # noqa: E402
import hard_readers  # noqa: E402

KEPT, TABLE = HERE / "hard_times.json", HERE / "hard_times_results.md"


def main() -> None:
    """Run what is asked for, print it, and with --write keep it."""
    asked = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    asked.add_argument("parts", nargs="*")
    asked.add_argument("--write", action="store_true")
    asked.add_argument("--times", type=int, default=200)
    asked.add_argument("--inputs", type=int, default=100_000)
    asked.add_argument("--seed", type=int, default=1)
    given = asked.parse_args()
    parts: dict[str, Callable[[], dict[str, Any]]] = {
        "kills": lambda: hard_ledger.kills(given.times),
        "corruptions": lambda: hard_ledger.corruptions(given.times, given.seed),
        "server": hard_ledger.server_trouble,
        "disk": hard_ledger.server_full,
        "floods": hard_floods.floods,
    }
    for name in hard_readers.readers():
        parts[f"readers:{name}"] = lambda name=name: read(name, given.inputs, given.seed)  # type: ignore[misc]
    wanted = given.parts or list(parts)
    for name in [p for p in parts if p in wanted or p.partition(":")[0] in wanted]:
        load = os.getloadavg()[0]
        found = parts[name]() | {
            "on": f"{datetime.now(UTC):%Y-%m-%d %H:%M} UTC", "python": platform.python_version(),
            "load": f"{load:.1f} before, {os.getloadavg()[0]:.1f} after",
        }  # fmt: skip
        print(name, json.dumps(found, indent=1, ensure_ascii=False), flush=True)
        if given.write:
            keep(name, found)


def read(name: str, many: int, seed: int) -> dict[str, Any]:
    """Return what became of a reader's inputs."""
    found = hard_readers.run(name, many, seed, lambda said: print(said, file=sys.stderr, flush=True))
    return {
        "inputs": many, "read": found.read, "refused": found.refused, "longest_s": round(found.longest_s, 2),
        "most_mb": found.most_mb, "over": found.over,
    }  # fmt: skip


def keep(name: str, found: dict[str, Any]) -> None:
    """Put an outcome in the place of its earlier one."""
    kept = json.loads(KEPT.read_text(encoding="utf-8")) if KEPT.exists() else {}
    kept[name] = found
    KEPT.write_text(json.dumps(dict(sorted(kept.items())), indent=1, ensure_ascii=False) + "\n", encoding="utf-8")
    TABLE.write_text(report(kept), encoding="utf-8")


def report(kept: dict[str, Any]) -> str:
    """Return all outcomes as a page of Markdown."""
    lines = ["# Hard times", "",
             "Written by `python benchmarks/hard_times.py --write`; each part may have been run on a day of its own, on"
             f" a machine of {os.cpu_count()} cores with other work on it, as its load average says.", ""]  # fmt: skip
    readers = {name.partition(":")[2]: f for name, f in kept.items() if name.startswith("readers:")}
    if readers:
        lines += ["## Mutated inputs", "",
                  "Sound inputs changed in one to four places. Each must be read or refused in the package's own words,"
                  f" within {hard_readers.MOST_S:g} s of work and {hard_readers.MOST_MB} MB for the whole process.", "",
                  "| reader | inputs | read | refused | longest s | most MB | crash or over a bound | load average |",
                  "|---|---:|---:|---:|---:|---:|---|---|"]  # fmt: skip
        for name, f in readers.items():
            over = "; ".join(f["over"][:5]) + (f"; and {len(f['over']) - 5} more" if len(f["over"]) > 5 else "")
            figures = f"{f['inputs']} | {f['read']} | {f['refused']} | {f['longest_s']} | {f['most_mb']}"
            lines.append(f"| {name} | {figures} | {over or 'none'} | {f['load']} |")
        lines.append("")
    titles = {
        "kills": "Kills", "corruptions": "Corruptions", "server": "The database goes away",
        "disk": "The database's disk is full", "floods": "Floods",
    }  # fmt: skip
    for name, title in titles.items():
        if name in kept:
            found = kept[name]
            lines += [f"## {title}", "", f"On {found['on']}, load average {found['load']}.", "", "| what | outcome |",
                      "|---|---|"]  # fmt: skip
            lines += [f"| {what} | {outcome} |" for what, outcome in found["outcome"].items()] + [""]
    return "\n".join(lines)


if __name__ == "__main__":
    main()
