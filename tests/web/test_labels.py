"""A piece's page hands out its label."""

from __future__ import annotations

import io
from urllib.parse import quote

import pypdf
import pytest
from fastapi.testclient import TestClient

from linewright.verbs.shelf import add, open_ledger
from linewright.web.app import create_app
from linewright.web.sessions import Settings

PORT = 8080
TAG = "blue 7/é #1"


@pytest.fixture
def client(tmp_path):
    where = str(tmp_path / "ledger.db")
    with open_ledger(where) as found:
        add(found, "piece", {"tag": TAG, "line": "RG-58C/U", "length": "7.2 m"})
    with TestClient(create_app(Settings(where, PORT)), base_url=f"http://localhost:{PORT}") as found:
        yield found


def test_the_page_of_a_piece_leads_to_its_label(client):
    page = client.get(f"/shelf/piece/{quote(TAG)}").text
    at = page.index('href="/label/piece/')
    href = page[at + 6 : page.index('"', at + 6)]
    answer = client.get(href)
    assert (answer.status_code, answer.headers["content-type"]) == (200, "application/pdf")
    words = pypdf.PdfReader(io.BytesIO(answer.content)).pages[0].extract_text()
    assert TAG in words
    assert "not measured" in words


@pytest.mark.parametrize(("form", "start"), [("svg", b"<svg"), ("png", b"\x89PNG")])
def test_a_label_comes_as_a_picture(client, form, start):
    answer = client.get(f"/label/piece/{quote(TAG)}", params={"form": form, "qr": True})
    assert answer.content.startswith(start)
    assert answer.headers["content-disposition"].endswith(f"label.{form}")


@pytest.mark.parametrize(("path", "status"), [("/label/piece/nobody", 422), (f"/label/piece/{quote(TAG)}?size=1", 422)])
def test_what_cannot_be_set_is_answered_with_words(client, path, status):
    answer = client.get(path)
    assert answer.status_code == status
    assert "must" in answer.text or "nobody" in answer.text
