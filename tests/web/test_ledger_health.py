"""A damaged ledger is told in the app, and made whole there."""

from __future__ import annotations

import re

import pytest
from starlette.testclient import TestClient

from ledger.gear import stock_up
from ledger.test_damage import NOW, zero_page
from linewright.store.opening import open_at
from linewright.verbs import shelf
from linewright.web import ledgers
from linewright.web.app import create_app
from linewright.web.sessions import Settings


@pytest.fixture
def path(tmp_path):
    where = tmp_path / "ledger.sqlite"
    with open_at(str(where), NOW) as ledger:
        stock_up(ledger)
        shelf.back_up(ledger, at=NOW)
    return where


def visitor(path):
    app = create_app(Settings(str(path)))
    return TestClient(app, base_url="http://localhost:8731", raise_server_exceptions=False)


def token(answer):
    return re.search(r'name="token" content="([^"]+)"', answer.text)[1]


def test_a_damaged_ledger_is_told_and_recovered_in_the_app(path):
    zero_page(path, "item")
    browser = visitor(path)
    told = browser.get("/shelf")
    assert told.status_code == 503
    assert 'href="/shelf/check"' in told.text
    found = browser.get("/shelf/check")
    assert "damaged in the table item" in found.text
    done = browser.post("/shelf/recover", data={"token": token(found)})
    assert "whole again" in done.text
    assert "blue 7" in browser.get("/shelf").text
    assert "It is whole" in browser.get("/shelf/check").text


def test_a_ledger_that_is_whole_is_said_to_be(path):
    assert "It is whole" in visitor(path).get("/shelf/check").text


def test_an_open_ledger_is_checked_every_day_and_every_page_tells_what_was_found(path, monkeypatch):
    browser = visitor(path)
    assert "changed since written" not in browser.get("/shelf").text
    opened = browser.app.state.opened
    monkeypatch.setattr(ledgers, "DAY_S", -1.0)
    monkeypatch.setattr(ledgers.threading, "Thread", Now)
    with open_at(str(path), NOW) as other, other.writes(NOW) as w:
        w.connection.exec_driver_sql("UPDATE item SET changed_at = 'x' WHERE id = 1")
    opened.ledger()
    assert "the table item (row 1 changed since written)" in browser.get("/shelf/new/piece").text


class Now:
    """A thread that does its work at once."""

    def __init__(self, target, args, **_):
        self.start = lambda: target(*args)
