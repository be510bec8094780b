"""Ledgers to test on: a file, and a database of its own on a real server."""

from __future__ import annotations

import itertools

import pytest

from linewright.verbs.shelf import open_ledger

COUNT = itertools.count(1)
#: Databases of the server that no test uses now: making one is dear, emptying one is not.
FREE: list[str] = []
TAKEN: list[str] = []


@pytest.fixture(params=["file", "server"])
def where(request, tmp_path):
    """Where a new, empty ledger may be made."""
    if request.param == "file":
        return str(tmp_path / "ledger.sqlite")
    url = request.getfixturevalue("server")
    return fresh(url)


def fresh(url: str) -> str:
    """Return the URL of an empty database, which is free again once the test is over."""
    import psycopg

    server = url.rpartition("/")[0]
    if FREE:
        name = FREE.pop()
        with psycopg.connect(f"{server}/{name}", autocommit=True) as connection:
            connection.execute(LEAVE)
            connection.execute("DROP SCHEMA public CASCADE; CREATE SCHEMA public")
    else:
        name = f"ledger_{next(COUNT)}"
        with psycopg.connect(url, autocommit=True) as connection:
            connection.execute(f"CREATE DATABASE {name}")
    TAKEN.append(name)
    return f"{server}/{name}"


LEAVE = (
    "SELECT pg_terminate_backend(pid) FROM pg_stat_activity"
    " WHERE datname = current_database() AND pid <> pg_backend_pid()"
)


@pytest.fixture(autouse=True)
def _databases_are_free_again():
    yield
    FREE.extend(TAKEN)
    TAKEN.clear()


@pytest.fixture
def new_where(request, where, tmp_path):
    """Makes further places of the same kind."""
    numbers = itertools.count(1)

    def make():
        if "://" in where:
            return fresh(request.getfixturevalue("server"))
        return str(tmp_path / f"other-{next(numbers)}.sqlite")

    return make


@pytest.fixture
def ledger(where):
    with open_ledger(where) as opened:
        yield opened
