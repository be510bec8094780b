"""Make the invented Harbour Ridge bench: a small physical simulation with a fixed starting number.

The simulation shares nothing with the engine. Power runs from a mismatched source through lossy line into a
mismatched meter, ``|1 - Γs Γm e^(-2γl)|`` and all (D. M. Pozar, Microwave Engineering, 4th ed., sections 2.6 and 2.7);
each detector bends, the source drifts, scales are read to their divisions, and two slips are made. Nothing in it was
measured.

Run ``python tools/make_demo_bench.py`` to write the files again; ``--check`` only compares.
"""

from __future__ import annotations

import argparse
import sys
from dataclasses import dataclass
from pathlib import Path

import numpy as np

FOLDER = Path(__file__).parents[1] / "src" / "linewright" / "verbs" / "demo_data"
NAME = "harbour-ridge"
POWER_W = 10.0
JUMPER_M = 0.9
PLUG_DB = 0.0017
PAD_DB = 3.04
C_M_PER_S = 299_792_458.0
BANDS_MHZ = (14.2, 28.5, 50.1, 144.3, 432.1)


@dataclass(frozen=True)
class Cable:
    """An invented cable: what it truly loses, dB per metre at 1 MHz by √f and by f, and its length."""

    k1: float
    k2: float
    length_m: float
    velocity_factor: float = 0.66

    def loss_db(self, f_mhz: float) -> float:
        """Return its loss with both connectors, dB."""
        line = self.length_m * (self.k1 * np.sqrt(f_mhz) + self.k2 * f_mhz)
        return float(line + 2 * PLUG_DB * np.sqrt(f_mhz))

    def phase_rad(self, f_mhz: float) -> float:
        """Return its electrical length, radians."""
        return 2e6 * np.pi * f_mhz * self.length_m / (self.velocity_factor * C_M_PER_S)


# The blue drum has aged to about 1.5 times its type, most in the dielectric; the black piece is as good as new.
CABLES = {
    "jumper": Cable(0.0142, 0.00013, JUMPER_M),
    "blue 7": Cable(0.0142 * 1.46, 0.00013 * 1.75, 7.2),
    "blue 18": Cable(0.0142 * 1.46, 0.00013 * 1.75, 17.9),
    "black 20": Cable(0.0066 * 1.02, 0.000054 * 1.02, 20.4),
}


@dataclass(frozen=True)
class Dial:
    """An invented meter: the step of its scale, its gain and bend at each band, and the least power it wakes up for."""

    name: str
    step: float
    gain_db: dict[float, float]
    bend: dict[float, float]
    card_w: float | None = None
    wakes_w: float = 0.0

    def reads(self, power_w: float, f_mhz: float) -> float:
        """Return what a person reads off the scale for a power in watts."""
        level = 10 * np.log10(power_w / POWER_W)
        seen = POWER_W * 10 ** ((self.bend[f_mhz] * level + self.gain_db[f_mhz]) / 10)
        if power_w < self.wakes_w:
            return 0.0
        scale = 100 * np.sqrt(seen / self.card_w) if self.card_w else seen
        return float(round(round(scale / self.step) * self.step, 3))


DESK = Dial("desk meter", 0.1, {14.2: -0.20, 28.5: -0.15, 50.1: -0.30}, {14.2: 1.0, 28.5: 1.01, 50.1: 1.0})
POCKET = Dial(
    "pocket meter",
    0.2,
    {14.2: 0.45, 28.5: 0.30, 50.1: -0.40, 144.3: -1.10},
    {14.2: 1.02, 28.5: 1.02, 50.1: 1.06, 144.3: 1.45},
)
CARD = Dial("card meter", 1.0, {144.3: 0.25, 432.1: -0.35}, {144.3: 0.99, 432.1: 1.01}, card_w=12.8, wakes_w=0.5)
ROUND = ("reference", "blue 7", "blue 18", "black 20", "blue 7+blue 18", "pad", "reference")
SHORT = ("reference", "blue 7", "blue 18", "black 20", "reference")
SLIPS = {
    ("desk meter", 50.1, "blue 18"): "misread",
    ("card meter", 144.3, "black 20"): "loose plug",
}
LOOSE_DB = (1.4, 1.9)


def path_db(path: str, f_mhz: float) -> tuple[float, float]:
    """Return the matched loss of a path, dB, and its phase, radians. The rest goes in where the jumper was."""
    if path == "pad":
        return PAD_DB + 0.02, 0.4
    tags = ["jumper"] if path == "reference" else path.split("+")
    joints = (len(tags) - 1) * PLUG_DB * np.sqrt(f_mhz)
    return sum(CABLES[t].loss_db(f_mhz) for t in tags) + joints, sum(CABLES[t].phase_rad(f_mhz) for t in tags)


def arriving_w(path: str, f_mhz: float, source: complex, meter: complex) -> float:
    """Return the power a meter of reflection ``meter`` takes from a source of reflection ``source``, watts."""
    loss_db, phase = path_db(path, f_mhz)
    through = 10 ** (-loss_db / 10)
    there_and_back = through * np.exp(-2j * phase)
    mismatch = (1 - abs(source) ** 2) * (1 - abs(meter) ** 2) / abs(1 - source * meter * there_and_back) ** 2
    return float(POWER_W * through * mismatch)


def rows() -> list[str]:
    """Return the rows of the readings file, in measuring order."""
    rng = np.random.default_rng(1905)
    out = ["meter,frequency,path,reading,low,high,note"]
    drift_db = 0.0
    for dial, paths in ((DESK, ROUND), (POCKET, SHORT), (CARD, ROUND)):
        for f_mhz in dial.gain_db:
            source = 0.11 * np.exp(2j * np.pi * rng.random())
            meter = rng.uniform(0.03, 0.08) * np.exp(2j * np.pi * rng.random())
            for path in paths:
                slip = SLIPS.get((dial.name, f_mhz, path))
                for loose_db in LOOSE_DB if slip == "loose plug" else (0.0,):
                    drift_db += 0.025 * rng.standard_normal()
                    off_db = drift_db + 0.03 * rng.standard_normal() - loose_db
                    power_w = arriving_w(path, f_mhz, source, meter) * 10 ** (off_db / 10)
                    out.append(written(dial, f_mhz, path, power_w, slip))
    return out


def written(dial: Dial, f_mhz: float, path: str, power_w: float, slip: str | None) -> str:
    """Return the row that is written down."""
    value = dial.reads(power_w, f_mhz) + (2.0 if slip == "misread" else 0.0)
    start = f"{dial.name},{f_mhz:g} MHz,{path}"
    if value == 0:
        return f"{start},0,0,20,the needle stays on its stop below the first mark"
    return f"{start},{value:g},,,"


def truth() -> list[str]:
    """Return the rows of the answer sheet: what each piece truly loses."""
    pieces = [(name, cable) for name, cable in CABLES.items() if name != "jumper"]
    return ["piece,frequency,loss_db"] + [
        f"{name},{f_mhz:g} MHz,{cable.loss_db(f_mhz):.3f}" for name, cable in pieces for f_mhz in BANDS_MHZ
    ]


def sheet() -> str:
    """Return the bench sheet."""
    card = ", ".join(f'[{s}, "{0.00128 * s * s:.3g} W"]' for s in (0, 20, 30, 40, 50, 60, 70, 80, 90, 100))
    return f"""# INVENTED DATA. The Harbour Ridge club does not exist and nothing here was measured: every reading was
# worked out by tools/make_demo_bench.py, with two slips put in on purpose.

title = "Harbour Ridge club bench (invented)"

[source]
power = "10 W"
swr = 1.25

[reference]
line = "RG-58C/U"
length = "{JUMPER_M:g} m"
in_place = "replaced"         # the piece under test goes in where the jumper was

[[meter]]
name = "desk meter"
rated = "1.8 MHz to 60 MHz"
scale = "watts"
division = "0.1 W"

[[meter]]
name = "pocket meter"
rated = "1.6 MHz to 30 MHz"   # also used on 6 m and 2 m, where nobody promised anything
scale = "watts"
division = "0.2 W"

[[meter]]
name = "card meter"
rated = "100 MHz to 470 MHz"
scale = "card"                # a bare scale from 0 to 100; its card gives watts
card = [{card}]
division = 1

[[piece]]
tag = "blue 7"
line = "RG-58C/U"
length = "7.2 m"
connectors = 2
stock = "blue drum"           # both blue pieces were cut from one drum, so they share its law

[[piece]]
tag = "blue 18"
line = "RG-58C/U"
length = "17.9 m"
connectors = 2
stock = "blue drum"

[[piece]]
tag = "black 20"
line = "RG-213/U"
length = "20.4 m"
connectors = 2

[[attenuator]]
tag = "pad"
loss = "3.0 dB"

[readings]
file = "{NAME}.csv"
"""


#: Tests from one end in earlier springs: the year, and how much of what the blue drum lost then of what it loses now.
EARLIER = {2024: 0.90, 2025: 0.95}
DIRECTIVITY_DB = 34.0


def earlier(year: int) -> str:
    """Return the sheet of an earlier spring: return losses of each piece, far end open and shorted, to 0.1 dB."""
    rng = np.random.default_rng(year)
    lines = [
        f"# INVENTED DATA, made by tools/make_demo_bench.py. Nothing was measured in {year}.", "",
        f'title = "Harbour Ridge spring check {year} (invented)"', "",
        "[analyser]", 'directivity = "30 dB"',
    ]  # fmt: skip
    types = {"blue 7": "RG-58C/U", "blue 18": "RG-58C/U", "black 20": "RG-213/U"}
    for tag, line in types.items():
        stock = ['stock = "blue drum"'] if "blue" in tag else []
        lines += ["", "[[piece]]", f'tag = "{tag}"', f'line = "{line}"', f'length = "{CABLES[tag].length_m:g} m"']
        lines += ["connectors = 2", *stock]
    for tag in types:
        share = EARLIER[year] if "blue" in tag else 1.0
        for f_mhz in (50.1, 144.3):
            for end, sign in (("open", 1.0), ("short", -1.0)):
                leak = 10 ** (-DIRECTIVITY_DB / 20) * np.exp(2j * np.pi * rng.random())
                there_and_back = 10 ** (-share * CABLES[tag].loss_db(f_mhz) / 10) * np.exp(
                    -2j * CABLES[tag].phase_rad(f_mhz)
                )
                shown_db = -20 * np.log10(abs(leak + sign * there_and_back))
                lines += ["", "[[one_end]]", f'piece = "{tag}"', f'frequency = "{f_mhz:g} MHz"', f'far_end = "{end}"']
                lines += [f'return_loss = "{shown_db:.1f} dB"', "step = 0.1"]
    return "\n".join(lines) + "\n"


def files() -> dict[Path, str]:
    """Return the files and what they hold."""
    tables = {f"{NAME}.csv": rows(), f"{NAME}-truth.csv": truth()}
    head = "# INVENTED DATA, made by tools/make_demo_bench.py. Nothing here was measured."
    written_out = {FOLDER / name: "\n".join([head, *lines]) + "\n" for name, lines in tables.items()}
    springs = {FOLDER / f"{NAME}-{year}.toml": earlier(year) for year in EARLIER}
    return {FOLDER / f"{NAME}.toml": sheet(), **written_out, **springs}


def main() -> int:
    """Write the files, or compare them; return 1 when they differ from what is on disk."""
    parser = argparse.ArgumentParser(description="Make the invented bench sheet.")
    parser.add_argument("--check", action="store_true", help="only compare with the files on disk")
    check = parser.parse_args().check
    stale = [path for path, text in files().items() if not path.is_file() or path.read_text(encoding="utf-8") != text]
    for path in stale if not check else []:
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(files()[path], encoding="utf-8")
    sys.stderr.write(f"{len(stale)} of {len(files())} files {'differ' if check else 'written'}\n")
    return int(check and bool(stale))


if __name__ == "__main__":
    sys.exit(main())
