"""A PostgreSQL server for one run of the tests: its own folder, loopback only, stopped at the end."""

from __future__ import annotations

import os
import shutil
import signal
import socket
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

PLACES = sorted(Path("/usr/lib/postgresql").glob("*/bin"), reverse=True)


def programs() -> Path | None:
    """Return the folder of the server's programs; None where there are none."""
    found = shutil.which("initdb")
    return Path(found).parent if found else next((p for p in PLACES if (p / "initdb").exists()), None)


@contextmanager
def running() -> Iterator[str]:
    """Run a server and give its URL."""
    where = programs()
    if where is None:
        if os.environ.get("CI"):
            pytest.fail("PostgreSQL is not installed, and CI must test it")
        pytest.skip("PostgreSQL is not installed (initdb was not found)")
    user = {"user": "postgres", "group": "postgres", "extra_groups": []} if os.geteuid() == 0 else {}
    home = Path(tempfile.mkdtemp(prefix="linewright-pg-"))
    if user:
        shutil.chown(home, "postgres", "postgres")
    data, port = home / "data", _free_port()
    environment = {**os.environ, "HOME": str(home), "LC_ALL": "C"}

    def call(*words: str) -> None:
        done = subprocess.run(words, cwd=home, env=environment, capture_output=True, text=True, check=False, **user)
        assert done.returncode == 0, done.stdout + done.stderr

    call(str(where / "initdb"), "-D", str(data), "-U", "club", "-A", "trust", "-E", "UTF8", "--no-sync")
    log = (home / "log").open("w")
    options = ["-D", str(data), "-p", str(port), "-c", "listen_addresses=127.0.0.1", "-k", str(home)]
    # Tests kill those who write to it, never the server itself: nothing need be on the disk.
    options += ["-c", "fsync=off"]
    server = subprocess.Popen(
        [str(where / "postgres"), *options], cwd=home, env=environment, stdout=log, stderr=log, **user
    )
    try:
        _wait(port, server)
        yield f"postgresql://club@127.0.0.1:{port}/postgres"
    finally:
        # At once, without writing what was in memory: the folder is thrown away.
        server.send_signal(signal.SIGQUIT)
        server.wait(60)
        log.close()
        shutil.rmtree(home, ignore_errors=True)


def _free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def _wait(port: int, server: subprocess.Popen[bytes]) -> None:
    import time

    import psycopg

    for _ in range(6000):
        assert server.poll() is None, "the server ended by itself"
        try:
            psycopg.connect(host="127.0.0.1", port=port, user="club", dbname="postgres", connect_timeout=2).close()
        except psycopg.OperationalError:
            time.sleep(0.05)
        else:
            return
    pytest.fail("the server did not answer")
