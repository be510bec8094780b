"""Ledgers to test on: a file, and a database of its own on a real server."""

from __future__ import annotations

import itertools

import pytest

from linewright.workflows.shelf import open_ledger

COUNT = itertools.count(1)


@pytest.fixture(params=["file", "server"])
def where(request, tmp_path):
    """Where a new, empty ledger may be made."""
    if request.param == "file":
        return str(tmp_path / "ledger.sqlite")
    url = request.getfixturevalue("server")
    return fresh(url)


def fresh(url: str) -> str:
    import psycopg

    name = f"ledger_{next(COUNT)}"
    with psycopg.connect(url, autocommit=True) as connection:
        connection.execute(f"CREATE DATABASE {name}")
    return url.rpartition("/")[0] + f"/{name}"


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
