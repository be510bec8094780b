"""The demo: the invented Harbour Ridge bench and station, from their files to verdicts, charts and a folder."""

from __future__ import annotations

import csv
import hashlib
from collections.abc import Callable
from datetime import date
from importlib.resources import files as package_files
from pathlib import Path
from typing import Final

from linewright.core.errors import CannotError, Culprit, InputError
from linewright.core.formatting import frequency
from linewright.core.frozen import dataclass
from linewright.core.messages import say
from linewright.core.nouns.bench import BenchSheet
from linewright.core.nouns.bench_result import BenchResult, LossFinding
from linewright.core.nouns.plan import Plan
from linewright.core.nouns.station import Station
from linewright.core.quantities import frequency_hz

NAME: Final = "harbour-ridge"
GIVEN_FILES: Final = (
    f"{NAME}.toml", f"{NAME}.csv", f"{NAME}-truth.csv", f"{NAME}-station.toml", f"{NAME}-field-day.toml",
    f"{NAME}-prices.csv", f"{NAME}-2024.toml", f"{NAME}-2025.toml", "drum.s2p", "open.s1p",
    "short.s1p", "mast.s1p", "beam.csv",
)  # fmt: skip
SPRINGS: Final = {
    f"{NAME}-2024.toml": date(2024, 3, 16), f"{NAME}-2025.toml": date(2025, 3, 15), f"{NAME}.toml": date(2026, 3, 14),
}  # fmt: skip
"""The bench sheets that the ledger begins with, and when they would have been measured."""
LEDGER: Final = f"{NAME}.sqlite"
LISTING: Final = "what-is-here.md"
SUMS: Final = f"{NAME}.sha256"
CHARTS: Final = {
    "loss": "each piece's loss against frequency, beside its type's specification and the by-hand figures",
    "trust": "which meter to believe on which band",
    "doubts": "the readings to doubt, beside what the rest of the bench expects",
    "pull": "what the types claim, what the readings alone say, and what is believed of both together",
}
Say = Callable[[str], None]
Progress = Callable[[float, str], None]


@dataclass(frozen=True, slots=True)
class DemoResult:
    """What the demo made: the folder, the files in it, the ledger, the sheet and what it says, the station's plan.

    The plan is that of the station in the ledger: from all tests of two years.
    """

    folder: Path
    files: tuple[Path, ...]
    ledger: Path
    sheet: BenchSheet
    result: BenchResult
    plan: Plan


def run_demo(folder: Path, *, tell: Say, on_progress: Progress | None = None) -> DemoResult:
    """Judge the invented bench, plan the invented station, and leave everything in a folder.

    Parameters
    ----------
    folder : Path
        Where to write; made if it is not there. Files that are not the demo's own stay as they are.
    tell : callable
        Called with a sentence before each step.
    on_progress : callable, optional
        Passed on to the engine: share done (0 to 1) and what is being done.

    Returns
    -------
    DemoResult
        The sheet, its result, the station's plan, and the files written: sheet, readings, answer sheet, station,
        sweeps, result and plan as JSON, four charts as SVG and PNG, a listing, a ledger, and the checksums by which a
        later run knows its own files.

    Raises
    ------
    InputError
        If the folder is a file, or one of the demo's files in it was changed since; nothing is written then.
    CannotError
        If the folder cannot be written to.
    """
    from linewright.files import read_bench_sheet, to_json
    from linewright.verbs.plan import plan_station
    from linewright.verbs.prove import prove_cable

    known = _known(folder)
    written = _write(folder, {name: _given(name) for name in GIVEN_FILES}, known)
    sheet = read_bench_sheet(folder / f"{NAME}.toml")
    tell(f"Judging {len(sheet.readings)} readings of {len(sheet.pieces)} pieces. All of them are invented.")
    result = prove_cable(sheet, progress=on_progress)
    tell("Keeping two years of tests, and the station made of these pieces, in a ledger of the folder's own.")
    station = _kept(folder)
    tell(f"Planning {len(station.runs)} runs made of these pieces, invented as well.")
    plan = plan_station(station)
    tell(f"Drawing {len(CHARTS)} charts.")
    made = {
        f"{NAME}-result.json": f"{to_json(result)}\n".encode(),
        f"{NAME}-plan.json": f"{to_json(plan)}\n".encode(),
        **_drawn(sheet, result),
        LISTING: _listing(result).encode(),
    }
    written += _write(folder, made, known)
    tell(f"Wrote {len(written)} files to {folder}.")
    return DemoResult(folder, written, folder / LEDGER, sheet, result, plan)


def _kept(folder: Path) -> Station:
    """Return the station of the folder's own ledger, which holds every sheet; what is in it already stays as it is."""
    from linewright.verbs.shelf import By, file_sheet, keep_station, open_ledger, station_of

    with open_ledger(folder / LEDGER) as ledger:
        for name, day in SPRINGS.items():
            file_sheet(ledger, folder / name, on=day, by=By(who="club bench"))
        kept = keep_station(ledger, folder / f"{NAME}-station.toml", by=By(who="club bench"))
        return station_of(ledger, kept.item.key)


def _given(name: str) -> bytes:
    """Return one of the files that come with the package."""
    return package_files("linewright.verbs.demo_data").joinpath(name).read_bytes()


def _drawn(sheet: BenchSheet, result: BenchResult) -> dict[str, bytes]:
    """Return every chart as SVG and PNG, by file name."""
    from linewright.present.charts.doubts import doubts_chart
    from linewright.present.charts.loss import loss_chart
    from linewright.present.charts.pull import pull_chart
    from linewright.present.charts.render import render
    from linewright.present.charts.trust import trust_chart

    makers = {"loss": loss_chart, "trust": trust_chart, "doubts": doubts_chart, "pull": pull_chart}
    specs = {name: makers[name](result, sheet) for name in CHARTS}
    return {f"{NAME}-{name}{end}": render(spec, end) for name, spec in specs.items() for end in (".svg", ".png")}


def _sum(content: bytes) -> str:
    return hashlib.sha256(content).hexdigest()


def _known(folder: Path) -> dict[str, str]:
    """Return the checksums of what an earlier run left in the folder, by file name.

    Raises
    ------
    InputError
        If the folder is something else, or holds a file of one of our names that we did not write.
    """
    if folder.exists() and not folder.is_dir():
        rule = say("must be a folder; {folder} is a file", folder=folder)
        raise InputError(say("demo folder"), rule, cure=say("Name another folder."))
    lines = (folder / SUMS).read_text(encoding="utf-8").splitlines() if (folder / SUMS).is_file() else []
    known = {name: digest for digest, _, name in (line.partition("  ") for line in lines)}
    for name in _names():
        path = folder / name
        if path.exists() and not (path.is_file() and _sum(path.read_bytes()) == known.get(name)):
            rule = say("holds a {name} that the demo did not write, or that was changed since", name=name)
            raise InputError(say("demo folder"), rule, where=Culprit(file=str(path)), cure=say("Name another folder."))
    return known


def _names() -> list[str]:
    charts = [f"{NAME}-{name}{end}" for name in CHARTS for end in (".svg", ".png")]
    return [*GIVEN_FILES, f"{NAME}-result.json", f"{NAME}-plan.json", *charts, LISTING]


def _write(folder: Path, made: dict[str, bytes], known: dict[str, str]) -> tuple[Path, ...]:
    """Write files and note their checksums, in the form that ``sha256sum --check`` reads."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for name, content in made.items():
            (folder / name).write_bytes(content)
            known[name] = _sum(content)
        lines = [f"{digest}  {name}\n" for name, digest in known.items()]
        (folder / SUMS).write_text("".join(lines), encoding="utf-8")
    except OSError as cause:
        raise CannotError(say("Cannot write {path}: {why}.", path=folder, why=cause.strerror or cause)) from cause
    return tuple(folder / name for name in made)


def _truth() -> dict[tuple[str, float], float]:
    """Return what each invented piece truly loses, dB, by tag and frequency."""
    lines = _given(f"{NAME}-truth.csv").decode().splitlines()
    rows = csv.DictReader(line for line in lines if not line.startswith("#"))
    return {(row["piece"], frequency_hz(row["frequency"])): float(row["loss_db"]) for row in rows}


def _listing(result: BenchResult) -> str:
    """Return what is in the folder, and how the answer compares with what the readings were made from."""
    truth = _truth()
    lines = [_compared(loss, truth[loss.piece, loss.frequency_hz]) for loss in result.losses]
    charts = "\n".join(f"- `{NAME}-{name}.svg`, `.png`: {about}" for name, about in CHARTS.items())
    return f"""# {result.title}

Everything here is invented: no such club, no such bench, no such readings. The readings were worked out from stated
cables and meters, with drift, coarse scales, a bent detector and two slips.

- `{NAME}.toml`: the bench sheet: meters, pieces, attenuator
- `{NAME}.csv`: the readings, in the order they were taken
- `{NAME}-result.json`: all that the sheet says, for programs
- `{NAME}-station.toml`: a station of four runs made of these pieces and of new line
- `{NAME}-plan.json`: what every run does on every band, planned from the ledger, for programs
- `{NAME}-2024.toml`, `{NAME}-2025.toml`: tests of the same pieces from one end, in two springs before
- `{LEDGER}`: a ledger that holds these tests and the station: `linewright plan --ledger {LEDGER}`,
  `linewright shelf history "blue 7" --ledger {LEDGER}`
- `{NAME}-field-day.toml`, `{NAME}-prices.csv`: three antennas to feed from these pieces and from line to buy
- `drum.s2p`: an analyser's sweep through 30 m of worn line; `open.s1p`, `short.s1p`: the same from one end
- `mast.s1p`: a sweep of 24 m up a mast, a load at the far end, water in the line at 15.5 m
- `beam.csv`: the SWR of an antenna, read at the radio's end of 30 m of line
{charts}
- `{NAME}-truth.csv`: the answer sheet: what each piece was made to lose. The judgement never reads it.
- `{SUMS}`: checksums; the demo writes over nothing but its own unchanged files

Change a reading or a length and judge the sheet again: `linewright prove {NAME}.toml`. Plan the station, and ask what a
change would do: `linewright plan {NAME}-station.toml --with "two-metre beam: piece 1 = corrugated 1/2 in foam"`. Share
the pieces out: `linewright share {NAME}-field-day.toml --prices {NAME}-prices.csv --budget 60`. Read a sweep:
`linewright sweep drum.s2p --length "30 m"`.

## Believed and true

| piece | frequency | believed (95 %) | true | inside |
|---|---:|---|---:|---|
{chr(10).join(lines)}
"""


def _compared(loss: LossFinding, true_db: float) -> str:
    inside = "yes" if loss.loss_db_low <= true_db <= loss.loss_db_high else "no"
    said = f"{loss.loss_db:.2f} dB ({loss.loss_db_low:.2f} to {loss.loss_db_high:.2f})"
    return f"| {loss.piece} | {frequency(loss.frequency_hz)} | {said} | {true_db:.2f} dB | {inside} |"
