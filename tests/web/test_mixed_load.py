"""Twenty people at everything at once, on a file and on a server: nothing is lost and nothing breaks."""

from __future__ import annotations

import threading
import time

import pytest

from web.conftest import free_port
from web.mixed_load import all_at_once, visitors


# What a server does when many write at once, tests/ledger/test_hard_times.py asks every day.
@pytest.fixture(params=["file", pytest.param("server", marks=pytest.mark.slow)])
def ledger(request, tmp_path):
    if request.param == "file":
        return str(tmp_path / "ledger.sqlite")
    from ledger.conftest import fresh

    return fresh(request.getfixturevalue("server"))


@pytest.fixture
def address(ledger):
    import uvicorn

    from linewright.web.app import create_app
    from linewright.web.sessions import Settings

    port = free_port()
    server = uvicorn.Server(uvicorn.Config(create_app(Settings(ledger, port)), port=port, log_level="warning"))
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    while not server.started:
        time.sleep(0.02)
    yield f"http://localhost:{port}"
    server.should_exit = True
    thread.join(10)


def test_twenty_people_at_everything_lose_nothing(address, ledger):
    people = visitors(address, ledger, 20)
    all_at_once(people, 3)
    assert [p.troubles for p in people] == [[]] * 20
    assert sum(len(p.kept) + len(p.notes) for p in people) > 20
    assert sum(p.lost() for p in people) == 0
