"""Feed the Touchstone reader with files that a coverage-guided fuzzer makes out of legal ones.

    python tools/fuzz_touchstone.py [--minutes 5]

What comes out must be a sweep that keeps its promises or an error of ours; anything else stops the run and is kept in
a file by the fuzzer. Needs atheris, which is not among the requirements: ``pip install atheris`` into an environment of
its own beside this package.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from importlib import import_module
from pathlib import Path

import numpy as np

FILES = Path(__file__).parents[1] / "tests" / "data" / "touchstone" / "format"
NAMES = ("x.s1p", "x.s2p", "x.ts", "x.s4p", "x", "x.z2p", "x.s3p", "x.s33p")
OPTIONS = (None, None, None, "# GHz S RI R 50", "# Hz Z MA R 75", "#", "# R (1+1j) DB", "# R 0")
MODULES = ("linewright.files.touchstone", "linewright.files.touchstone_header", "linewright.files.touchstone_rows")
SLOW_S = 10
MOST_BYTES = 4096
MOST_MEGABYTES = 1500


def one_file(data: bytes) -> None:
    """Read one file; the first byte chooses its name and the option line that is given."""
    from linewright.core.errors import LinewrightError
    from linewright.files.touchstone import read_touchstone_text

    if not data:
        return
    try:
        sweep = read_touchstone_text(data[1:], NAMES[data[0] % 8], option_line=OPTIONS[data[0] // 8 % 8])
    except LinewrightError:
        return
    assert sweep.s.shape == (sweep.frequency_hz.size, sweep.ports, sweep.ports)
    assert np.isfinite(sweep.s).all()
    assert (np.diff(sweep.frequency_hz) > 0).all()
    assert (sweep.reference_ohm.real > 0).all()


def seeds(folder: Path) -> None:
    """Put the legal files where the fuzzer starts from, each under a name of its own kind."""
    endings = {".s1p": 0, ".s2p": 1, ".ts": 2, ".s4p": 3}
    for path in FILES.iterdir():
        (folder / path.name).write_bytes(bytes([endings[path.suffix]]) + path.read_bytes()[: MOST_BYTES - 1])


def main() -> None:
    """Run the fuzzer for so many minutes."""
    ask = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    ask.add_argument("--minutes", type=float, default=5)
    asked = ask.parse_args()
    try:
        import atheris
    except ImportError:
        sys.exit("atheris is missing. Install it: pip install atheris")
    with atheris.instrument_imports(include=["linewright", "skrf.io"]):
        for module in MODULES:
            import_module(module)
    with tempfile.TemporaryDirectory() as folder:
        seeds(Path(folder))
        limits = (f"-max_total_time={asked.minutes * 60:.0f}", f"-timeout={SLOW_S}", f"-rss_limit_mb={MOST_MEGABYTES}")
        atheris.Setup([sys.argv[0], *limits, f"-max_len={MOST_BYTES}", "-print_final_stats=1", folder], one_file)
        atheris.Fuzz()


if __name__ == "__main__":
    main()
