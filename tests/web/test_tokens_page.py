"""The page of tokens: made there, shown once, listed with their use, taken back; no page scrolls sideways for it."""

from __future__ import annotations

import re

from starlette.testclient import TestClient

from linewright.verbs.shelf import open_ledger
from linewright.verbs.tokens import tokens
from linewright.web.app import create_app
from linewright.web.sessions import Settings
from web.conftest import picture, sound

PLACE = "/settings/tokens"


def client(site):
    return TestClient(create_app(Settings(str(site.ledger))), base_url="http://localhost:8731")


def test_a_token_is_made_copied_used_and_revoked(visit, site):
    name = f"bench script {visit.device}"
    visit.goto("/settings")
    visit.wait_for_load_state()
    visit.get_by_role("link", name="Tokens").click()
    visit.wait_for_load_state()
    visit.get_by_label("What it is for").fill(name)
    visit.get_by_label("Read and write").check()
    visit.get_by_role("button", name="Make the token").click()
    visit.wait_for_load_state()
    secret = visit.get_by_label("Token", exact=True).input_value()
    assert re.fullmatch(r"lwt_[\w-]{43}", secret)
    picture(visit, "tokens")
    sound(visit)
    said = visit.request.get(f"{site.address}/api/shelf", headers={"authorization": f"Bearer {secret}"})
    assert said.status == 200
    visit.goto(PLACE)
    visit.wait_for_load_state()
    assert secret not in visit.content()
    row = visit.get_by_role("listitem").filter(has_text=name)
    assert "Last used" in row.inner_text()
    box = row.get_by_role("button").bounding_box()
    assert min(box["width"], box["height"]) >= 44
    visit.get_by_role("button", name=f"Revoke {name}").click()
    visit.wait_for_load_state()
    assert name not in visit.get_by_role("main").inner_text()
    said = visit.request.get(f"{site.address}/api/shelf", headers={"authorization": f"Bearer {secret}"})
    assert said.status == 401


def test_a_token_that_cannot_be_says_why_at_its_field_and_keeps_what_was_typed(site):
    visitor = client(site)
    form = {"name": "twice", "scope": "write", "token": visitor.get("/api/session").json()["token"]}
    made, again = (visitor.post(PLACE, data=form) for _ in range(2))
    assert (made.status_code, again.status_code) == (200, 422)
    field = re.search(r'<input id="name"[^>]*>', again.text)[0]
    assert 'value="twice"' in field
    assert 'aria-invalid="true"' in field
    assert "must be new" in re.search(r'id="name-wrong"[^>]*>([^<]*)<', again.text)[1]
    assert "lwt_" not in again.text
    with open_ledger(site.ledger) as ledger:
        assert [t.name for t in tokens(ledger) if t.name == "twice"] == ["twice"]


def test_a_form_from_elsewhere_makes_no_token(site):
    visitor = client(site)
    with open_ledger(site.ledger) as ledger:
        before = tokens(ledger)
        assert visitor.post(PLACE, data={"name": "forged", "scope": "write"}).status_code == 403
        assert visitor.post(f"{PLACE}/revoke", data={"number": "1"}).status_code == 403
        assert tokens(ledger) == before
