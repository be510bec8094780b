"""Make what is handed out: wheel, sdist, the manual, a bill of materials, checksums; then try the wheel by itself.

    tools/release.py                     all of it into dist/, from the files that git keeps
    tools/release.py --try PYTHON ...    the same, and try the wheel with these interpreters as well
    tools/release.py --pipx PIPX --uv UV     and install it with these tools, too, with every interpreter

The wheel is tried in an environment of its own that knows neither the repository nor this environment: it is installed
from its file, and the demo, a verdict, a report, the check of the installation and the app are asked of it.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import os
import re
import shutil
import socket
import subprocess
import sys
import tempfile
import time
import urllib.request
import venv
from importlib import metadata
from pathlib import Path
from typing import Any

ROOT = Path(__file__).parents[1]
DIST = ROOT / "dist"
APP_S = 60.0
"""How long the app may take to answer on a busy machine."""


def main(argv: list[str] | None = None) -> int:
    """Make everything, and return 0 if the wheel works by itself."""
    asked = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    asked.add_argument("--try", dest="pythons", nargs="*", default=[], metavar="PYTHON", help="further interpreters")
    asked.add_argument("--pipx", help="where pipx is")
    asked.add_argument("--uv", help="where uv is")
    asked.add_argument("--only-make", action="store_true", help="make everything, try nothing")
    given = asked.parse_args(argv)
    shutil.rmtree(DIST, ignore_errors=True)
    DIST.mkdir()
    wheel = built()
    (DIST / "bill-of-materials.cdx.json").write_text(
        json.dumps(bill_of_materials(), indent=1, ensure_ascii=False) + "\n", encoding="utf-8"
    )
    (DIST / "SHA256SUMS").write_text(checksums(DIST), encoding="utf-8")
    for path in sorted(DIST.iterdir()):
        print(f"{path.stat().st_size / 1e6:7.2f} MB  {path.relative_to(ROOT)}")
    for python in () if given.only_make else [sys.executable, *given.pythons]:
        for way, tool in (("pip", "pip"), ("pipx", given.pipx), ("uv", given.uv)):
            if tool:
                print(f"Trying {wheel.name} by {way} with {python}", flush=True)
                tried(wheel, python, way, tool)
    return 0


def built() -> Path:
    """Build wheel and sdist from the files that git keeps, with the manual among them, and return the wheel."""
    with tempfile.TemporaryDirectory() as folder:
        tree = Path(folder) / "linewright"
        for name in kept():
            (tree / name).parent.mkdir(parents=True, exist_ok=True)
            shutil.copy2(ROOT / name, tree / name)
        page = tree / "build" / "man" / "linewright.1"
        page.parent.mkdir(parents=True, exist_ok=True)
        environment = {**os.environ, "PYTHONPATH": str(tree / "src")}
        page.write_bytes(
            subprocess.run(
                [sys.executable, "-m", "linewright", "manual"], env=environment, capture_output=True, check=True
            ).stdout
        )
        # The archive says when it was made; the last commit's time makes the same bytes of the same tree.
        environment["SOURCE_DATE_EPOCH"] = ran("git", "log", "-1", "--format=%ct", cwd=ROOT).strip()
        for form in ("sdist", "wheel"):
            make = f"import sys; from setuptools.build_meta import build_{form}; build_{form}(sys.argv[1])"
            subprocess.run([sys.executable, "-c", make, str(DIST)], cwd=tree, env=environment, capture_output=True,
                           check=True)  # fmt: skip
        shutil.copy2(page, DIST / page.name)
    (wheel,) = DIST.glob("*.whl")
    return wheel


def kept() -> list[str]:
    """Return the files of the project, as git knows them, that are there."""
    names = ran("git", "ls-files", "-z", "--cached", "--others", "--exclude-standard", cwd=ROOT).split("\0")
    return [name for name in names if name and (ROOT / name).is_file()]


def ran(*command: str, cwd: Path | None = None) -> str:
    """Run a command and return what it says."""
    return subprocess.run(command, cwd=cwd, capture_output=True, encoding="utf-8", check=True).stdout


def checksums(folder: Path) -> str:
    """Return the SHA-256 of every file of a folder, as ``sha256sum --check`` reads them."""
    found = sorted(path for path in folder.iterdir() if path.name != "SHA256SUMS")
    return "".join(f"{hashlib.sha256(path.read_bytes()).hexdigest()}  {path.name}\n" for path in found)


# The bill of materials: CycloneDX 1.6 (ECMA-424), the packages that a user's environment holds, and who asks for whom


def bill_of_materials(root: str = "linewright") -> dict[str, Any]:
    """Return the bill of materials of a package with all that it needs, read off this environment."""
    graph = needed(root)
    parts = {name: component(name) for name in graph}
    main_part = parts.pop(root)
    return {
        "bomFormat": "CycloneDX",
        "specVersion": "1.6",
        "version": 1,
        "metadata": {"component": {**main_part, "type": "application"}},
        "components": [parts[name] for name in sorted(parts)],
        "dependencies": [
            {"ref": component(name)["bom-ref"], "dependsOn": [component(other)["bom-ref"] for other in sorted(others)]}
            for name, others in sorted(graph.items())
        ],
    }


def needed(root: str) -> dict[str, set[str]]:
    """Return a package and all that it needs here, each with what it asks for itself; extras are left out."""
    graph: dict[str, set[str]] = {}
    open_names = [root]
    while open_names:
        name = open_names.pop()
        if name in graph:
            continue
        asked = {canonical(line) for line in metadata.requires(name) or () if "extra ==" not in line}
        graph[name] = {other for other in asked if is_there(other)}
        open_names += graph[name]
    return graph


def canonical(line: str) -> str:
    """Return the name of a requirement in the one spelling that counts (PEP 503).

    >>> canonical("Jinja2>=3.1"), canonical("typing_extensions ; python_version < '3.13'")
    ('jinja2', 'typing-extensions')
    """
    found = re.match(r"[A-Za-z0-9._-]+", line)
    return re.sub(r"[-_.]+", "-", found[0]).lower() if found else ""


def is_there(name: str) -> bool:
    """Return whether a package is installed here."""
    try:
        metadata.version(name)
    except metadata.PackageNotFoundError:
        return False
    return True


def component(name: str) -> dict[str, Any]:
    """Return a package as a component: name, version, licence, address of the package (purl)."""
    told = metadata.metadata(name)
    purl = f"pkg:pypi/{name}@{told['Version']}"
    licence = (
        told.get("License-Expression") or classified(told.get_all("Classifier") or []) or told.get("License") or ""
    )
    key = "expression" if told.get("License-Expression") else "license"
    named: Any = licence.splitlines()[0][:120] if licence else ""
    licences = [{key: named if key == "expression" else {"name": named}}] if named else []
    return {"type": "library", "bom-ref": purl, "name": name, "version": told["Version"], "purl": purl,
            "licenses": licences}  # fmt: skip


def classified(classifiers: list[str]) -> str:
    """Return the licences that classifiers name.

    >>> classified(["License :: OSI Approved :: MIT License", "Topic :: Utilities"])
    'MIT License'
    """
    return ", ".join(c.rpartition(" :: ")[2] for c in classifiers if c.startswith("License ::"))


# Trying the wheel by itself


def tried(wheel: Path, python: str, way: str = "pip", tool: str = "pip") -> None:
    """Install a wheel from its file where nothing else is, and ask it everything that a user asks first."""
    with tempfile.TemporaryDirectory() as folder:
        place = Path(folder)
        began = time.perf_counter()
        command = {"pip": by_pip, "pipx": by_pipx, "uv": by_uv}[way](wheel, python, place, tool)
        print(f"  installed in {time.perf_counter() - began:.0f} s", flush=True)
        smoke([str(command)], place)


def by_pip(wheel: Path, python: str, place: Path, _: str) -> Path:
    """Install into a new environment and return the command."""
    if python == sys.executable:
        venv.create(place / "venv", with_pip=True)
    else:
        ran(python, "-m", "venv", str(place / "venv"))
    binaries = place / "venv" / ("Scripts" if os.name == "nt" else "bin")
    ran(str(binaries / "python"), "-m", "pip", "install", "--quiet", "--disable-pip-version-check", str(wheel))
    return binaries / "linewright"


def by_pipx(wheel: Path, python: str, place: Path, pipx: str) -> Path:
    """Install with pipx into a place of its own and return the command; the manual comes along."""
    own = {"PIPX_HOME": "pipx", "PIPX_BIN_DIR": "bin", "PIPX_MAN_DIR": "man"}
    environment = {**os.environ, **{name: str(place / folder) for name, folder in own.items()}}
    subprocess.run([pipx, "install", "--quiet", "--python", python, str(wheel)], env=environment, check=True)
    assert (place / "man" / "man1" / "linewright.1").exists()
    return place / "bin" / "linewright"


def by_uv(wheel: Path, python: str, place: Path, uv: str) -> Path:
    """Install with uv tool into a place of its own and return the command."""
    own = {"UV_TOOL_DIR": "uv", "UV_TOOL_BIN_DIR": "bin"}
    environment = {**os.environ, **{name: str(place / folder) for name, folder in own.items()}}
    subprocess.run([uv, "tool", "install", "--quiet", "--python", python, str(wheel)], env=environment, check=True)
    return place / "bin" / "linewright"


def smoke(command: list[str], place: Path) -> None:
    """Ask a linewright that is installed somewhere for its first answers, in an empty folder.

    Raises
    ------
    CalledProcessError
        If a command fails.
    """
    home, work = place / "home", place / "work"
    for folder in (home, work):
        folder.mkdir()
    environment = {k: v for k, v in os.environ.items() if not k.startswith(("PYTHON", "LINEWRIGHT", "XDG"))}
    environment |= {"HOME": str(home), "USERPROFILE": str(home), "APPDATA": str(home), "LOCALAPPDATA": str(home)}

    def ask(*words: str) -> str:
        done = subprocess.run([*command, *words], cwd=work, env=environment, capture_output=True, encoding="utf-8",
                              check=False)  # fmt: skip
        if done.returncode:
            print(done.stdout, done.stderr, file=sys.stderr)
            done.check_returncode()
        return done.stdout

    began = time.perf_counter()
    assert "blue 7 is worn" in ask("demo")
    print(f"  the demo's verdict after {time.perf_counter() - began:.1f} s")
    result = json.loads(ask("prove", "linewright-demo/harbour-ridge.toml", "--json"))
    assert [p["verdict"] for p in result["pieces"]] == ["worn", "worn", "good"]
    assert "26 W of 50 W" in ask("plan", "linewright-demo/harbour-ridge-station.toml", "--run", "two-metre beam")
    assert ask("report", "linewright-demo/harbour-ridge.toml", "-o", "bench.pdf")
    assert (work / "bench.pdf").read_bytes().startswith(b"%PDF")
    assert ask("chart", "linewright-demo/harbour-ridge.toml", "-o", "loss.svg")
    assert json.loads(ask("check", "--json"))["serves"]
    assert ".TH LINEWRIGHT" in ask("manual")
    served([*command, "serve"], work, environment)


def served(command: list[str], work: Path, environment: dict[str, str]) -> None:
    """Start the app, wait until its first page answers, and stop it."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    began = time.perf_counter()
    app = subprocess.Popen([*command, "--port", str(port)], cwd=work, env=environment, stdout=subprocess.DEVNULL)
    try:
        while True:
            try:
                with urllib.request.urlopen(f"http://localhost:{port}/", timeout=5) as answer:
                    assert b"<html" in answer.read()
                break
            except OSError:
                assert app.poll() is None, "the app ended by itself"
                assert time.perf_counter() - began < APP_S, "the app did not answer"
                time.sleep(0.1)
        print(f"  the app's first page after {time.perf_counter() - began:.1f} s")
    finally:
        app.terminate()
        app.wait(20)


if __name__ == "__main__":
    sys.exit(main())
