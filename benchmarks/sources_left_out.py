"""The catalogue held against every source in turn: each left out, the rest fitted anew, its points asked for.

python benchmarks/sources_left_out.py [--write]
"""

from __future__ import annotations

import argparse
import os
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

os.environ.setdefault("OMP_NUM_THREADS", "1")

import numpy as np

from linewright.catalogue.joint import Joint, QuotedPoint, drawn, fit
from linewright.catalogue.refit import is_read, makes, readings

HERE = Path(__file__).parent
BANDS_HZ = (0.0, 30.1e6, 300.1e6, 1.0001e9, 1e12)
BAND_NAMES = ("to 30 MHz", "30 to 300 MHz", "300 MHz to 1 GHz", "above 1 GHz")
OWN_READING = ("Q01", "Q02", "Q03", "Q04", "Q05", "Q11", "Q12", "Q13", "Q14", "Q15", "Q16")
"""Sources looked for and read for this table alone, in no collection that the model was first fitted to."""


@dataclass(frozen=True)
class Asked:
    """One point of a source that was left out: the logs of what it prints and of the law, and the interval's ends."""

    reading: QuotedPoint
    printed: float
    law: float
    low: float
    high: float

    @property
    def inside(self) -> bool:
        """Whether the interval held it."""
        return self.low <= self.printed <= self.high

    @property
    def band(self) -> int:
        """Which band it lies in."""
        return int(np.searchsorted(BANDS_HZ, self.reading.point.frequency_hz)) - 1


def sources(given: Sequence[QuotedPoint]) -> list[str]:
    """Return every source that was read."""
    return sorted({r.source for r in given if is_read(r)})


def asked_of(source: str, given: Sequence[QuotedPoint], whole: Joint) -> list[Asked]:
    """Leave a source out, fit the rest, and ask for its points."""
    every = makes()
    rest = [r for r in given if r.source != source]
    post = fit(rest, every, start=whole.x)
    known = {every[r.designator].core for r in rest if is_read(r)}
    out = []
    mine = [r for r in given if r.source == source and is_read(r)]
    for name in dict.fromkeys(r.designator for r in mine):
        rows = [r for r in mine if r.designator == name]
        f = np.array([r.point.frequency_hz for r in rows])
        middle, draws = drawn(post, name, f, read=every[name].core in known)
        low, high = np.quantile(draws, [0.025, 0.975], axis=0)
        printed = np.log([r.point.attenuation_db_per_m for r in rows])
        out += [Asked(r, *map(float, v)) for r, *v in zip(rows, printed, middle, low, high, strict=True)]
    return out


def widths(asked: Sequence[Asked]) -> list[float]:
    """Return for every source, type and band the interval's width over the 95 % range of the other sources' points.

    That range is twice 1.96 standard deviations of their logs over the law; at least three points of two others.
    """
    out = []
    for key in dict.fromkeys((a.reading.source, a.reading.designator, a.band) for a in asked):
        mine = [a for a in asked if (a.reading.source, a.reading.designator, a.band) == key]
        others = [
            a for a in asked
            if a.reading.source != key[0] and (a.reading.designator, a.band) == key[1:]
        ]  # fmt: skip
        if len(others) >= 3 and len({a.reading.source for a in others}) >= 2:
            spread = float(np.std([a.printed - a.law for a in others], ddof=1))
            out.append(float(np.median([a.high - a.low for a in mine])) / (2 * 1.96 * spread))
    return out


def several(asked: Sequence[Asked]) -> list[Asked]:
    """Return those of types that more than one source was read for, the type's own core counting."""
    every = makes()
    heard: dict[str, set[str]] = {}
    for a in asked:
        heard.setdefault(every[a.reading.designator].core, set()).add(a.reading.source)
    return [a for a in asked if len(heard[every[a.reading.designator].core]) > 1]


def row(name: str, asked: Sequence[Asked]) -> str:
    """Return a line of the table."""
    gap = np.array([abs(a.printed - a.law) for a in asked])
    width = np.median([a.high - a.low for a in asked])
    inside = np.mean([a.inside for a in asked])
    return f"| {name} | {len(asked)} | {100 * inside:.1f} | {100 * np.median(gap):.1f} | {100 * width:.0f} |"


def table(asked: Sequence[Asked]) -> Iterable[str]:
    """Yield the kept results."""
    every = makes()
    many = several(asked)
    rest = [a for a in asked if a not in many]
    clad = [a for a in many if "clad steel" in every[a.reading.designator].centre]
    yield "# The catalogue, each source left out once"
    yield ""
    count = len(sources([a.reading for a in asked]))
    yield f"{len(asked)} read points of {count} sources. Inside: share in the 95 % interval."
    yield "Departure: median of its absolute log. Width: median of the interval's, log."
    yield ""
    yield "| points | number | inside % | departure % | width % |"
    yield "|---|---|---|---|---|"
    yield row("types of several sources", many)
    for i, name in enumerate(BAND_NAMES):
        yield row(f"of these, {name}", [a for a in many if a.band == i])
    yield row("of these, clad steel and windowed line", clad)
    yield row("types of one source, by their make alone", rest)
    yield row("all", asked)
    yield row("of these, read for this table alone", [a for a in asked if a.reading.source in OWN_READING])
    yield ""
    ratio = widths(many)
    yield (
        f"Width of the interval over the 95 % range of the other sources, {len(ratio)} cases of a type in a band:"
        f" median {np.median(ratio):.2f}."
    )
    yield ""
    yield "| source | number | inside % | departure % | width % |"
    yield "|---|---|---|---|---|"
    for source in sources([a.reading for a in asked]):
        yield row(source, [a for a in asked if a.reading.source == source])


def main() -> None:
    """Print the results; keep them if asked."""
    ask = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    ask.add_argument("--write", action="store_true", help="write benchmarks/sources_left_out_results.md")
    write = ask.parse_args().write
    given = readings()
    whole = fit(given, makes())
    asked = [a for source in sources(given) for a in asked_of(source, given, whole)]
    text = "\n".join(table(asked)) + "\n"
    print(text)
    if write:
        (HERE / "sources_left_out_results.md").write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
