"""Hard times: kills, corruptions, mutated inputs, floods, a database that goes away. Slow; each part by hand.

    python benchmarks/hard_times.py PART [PART...] [--write] [--times 200] [--inputs 100000] [--first 0] [--seed 1]

Parts: ``kills``, ``corruptions``, ``server``, ``disk``, ``floods``, ``fairness``, ``endings``, ``readers`` (or
``readers:NAME`` for one). Without a part all run. With ``--write`` each outcome takes the place of its earlier one in
``hard_times.json``, and ``hard_times_results.md`` is written anew of them all. Inputs and corruptions may be run in
steps: ``--first`` says how many there were before, and what comes is added to them. A part that has not ended within
``--minutes`` is broken off, its earlier outcome stays, and the next one begins.
"""

from __future__ import annotations

import argparse
import json
import os
import platform
import sys
import time
from collections import Counter
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

HERE = Path(__file__).resolve().parent
sys.path[:0] = [str(HERE), str(HERE.parent / "tests")]

import hard_floods  # noqa: E402 - the tests' helpers are found only once their folder is known
import hard_ledger  # noqa: E402
import hard_readers  # noqa: E402
from unattended import OverdueError, within  # noqa: E402

KEPT, TABLE = HERE / "hard_times.json", HERE / "hard_times_results.md"


def main() -> None:
    """Run what is asked for, print it, and with --write keep it."""
    asked = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    asked.add_argument("parts", nargs="*")
    asked.add_argument("--write", action="store_true")
    asked.add_argument("--times", type=int, default=200)
    asked.add_argument("--inputs", type=int, default=100_000)
    asked.add_argument("--first", type=int, default=0)
    asked.add_argument("--seed", type=int, default=1)
    asked.add_argument("--minutes", type=float, default=240.0, help="of each part, at most")
    given = asked.parse_args()
    parts: dict[str, Callable[[], dict[str, Any]]] = {
        "kills": lambda: hard_ledger.kills(given.times),
        "corruptions": lambda: hard_ledger.corruptions(given.times, given.seed, given.first),
        "server": hard_ledger.server_trouble,
        "disk": hard_ledger.server_full,
        "floods": hard_floods.floods,
        "fairness": hard_floods.fairness,
        "endings": hard_floods.endings,
    }
    for name in hard_readers.readers():
        parts[f"readers:{name}"] = lambda name=name: read(name, given.inputs, given.seed, given.first)  # type: ignore[misc]
    wanted = given.parts or list(parts)
    for name in [p for p in parts if p in wanted or p.partition(":")[0] in wanted]:
        load, began = os.getloadavg()[0], time.monotonic()
        try:
            with within(given.minutes):
                found = parts[name]()
        except OverdueError as cause:
            print(name, cause, flush=True)
            continue
        found |= {
            "on": f"{datetime.now(UTC):%Y-%m-%d %H:%M} UTC", "python": platform.python_version(),
            "load": f"{load:.1f} before, {os.getloadavg()[0]:.1f} after",
        }  # fmt: skip
        print(f"{name}, {(time.monotonic() - began) / 60:.1f} minutes", json.dumps(found, indent=1, ensure_ascii=False))
        if given.write:
            keep(name, found)
    sys.stdout.flush()
    os._exit(0)  # what hung may hang still


def read(name: str, many: int, seed: int, first: int) -> dict[str, Any]:
    """Return what became of a reader's inputs."""
    which = range(first, first + many)
    found = hard_readers.run(name, which, seed, lambda said: print(said, file=sys.stderr, flush=True))
    return {
        "first": first, "inputs": many, "read": found.read, "refused": found.refused,
        "longest_s": round(found.longest_s, 2), "most_mb": found.most_mb, "over": found.over,
    }  # fmt: skip


def keep(name: str, found: dict[str, Any]) -> None:
    """Put an outcome in the place of its earlier one, or add a step to those before it."""
    kept = json.loads(KEPT.read_text(encoding="utf-8")) if KEPT.exists() else {}
    kept[name] = joined(kept[name], found) if found.get("first") else found
    KEPT.write_text(json.dumps(dict(sorted(kept.items())), indent=1, ensure_ascii=False) + "\n", encoding="utf-8")
    TABLE.write_text(report(kept), encoding="utf-8")


def joined(before: dict[str, Any], found: dict[str, Any]) -> dict[str, Any]:
    """Return what was found of the first inputs and of those that follow them, taken together.

    Raises
    ------
    ValueError
        If the inputs do not follow each other.

    >>> joined({"first": 0, "inputs": 2, "read": 1, "over": []}, {"first": 2, "inputs": 3, "read": 2, "over": ["x 4"]})
    {'first': 0, 'inputs': 5, 'read': 3, 'over': ['x 4']}
    """
    if before["first"] + before["inputs"] != found["first"]:
        raise ValueError(f"{before['inputs']} were run before; these begin with {found['first']}")
    whole = dict(found)
    for name, value in before.items():
        if name in ("longest_s", "most_mb"):
            whole[name] = max(value, found[name])
        elif name == "first":
            whole[name] = value
        elif isinstance(value, int | list):
            whole[name] = value + found.get(name, type(value)())
        elif isinstance(value, dict):
            whole[name] = dict(sorted((Counter(value) + Counter(found[name])).items()))
    return whole


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
        "disk": "The database's disk is full", "floods": "Floods", "fairness": "One person's heavy work",
        "endings": "Told to end",
    }  # fmt: skip
    for name, title in titles.items():
        if name in kept:
            found = kept[name]
            lines += [f"## {title}", "", f"On {found['on']}, load average {found['load']}.", "", "| what | outcome |",
                      "|---|---|"]  # fmt: skip
            told = found["outcome"] | (
                {"not told, crashed, or no whole copy left": "; ".join(found["over"]) or "none"}
                if "over" in found
                else {}
            )
            lines += [f"| {what} | {outcome} |" for what, outcome in told.items()] + [""]
    return "\n".join(lines)


if __name__ == "__main__":
    main()
