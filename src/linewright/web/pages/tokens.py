"""Tokens: made for programs, shown once, listed with their last use, taken back."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

from fastapi import APIRouter, Form, Request
from fastapi.responses import RedirectResponse, Response

from linewright.core.errors import InputError
from linewright.core.messages import say
from linewright.core.nouns.ledger import SCOPES, Token
from linewright.verbs.tokens import MOST, MOST_NAME, make_token, revoke_token, tokens
from linewright.web.ledgers import by, ledger_of
from linewright.web.rendering import page

router = APIRouter(include_in_schema=False)
PLACE = "/settings/tokens"


@dataclass(frozen=True, slots=True)
class TokensPage:
    """The tokens there are; ``secret`` is the new one's, shown this once, ``name`` what was typed for it."""

    tokens: tuple[Token, ...]
    address: str
    tls: bool
    most: int = MOST
    most_name: int = MOST_NAME
    secret: str = ""
    name: str = ""
    scope: str = SCOPES[0]
    wrong: str = ""


@router.get(PLACE)
def show(request: Request) -> Response:
    """Show the tokens."""
    return _shown(request)


@router.post(PLACE)
def make(
    request: Request, name: Annotated[str, Form()] = "", scope: Annotated[str, Form()] = SCOPES[0]
) -> Response:  # fmt: skip
    """Make a token, and show its secret."""
    try:
        secret = make_token(ledger_of(request), name, scope, by=by(request))
    except InputError as cause:
        return _shown(request, name=name[:MOST_NAME], scope=scope, wrong=str(cause))
    return _shown(request, secret=secret, name=name, scope=scope)


def _shown(request: Request, **more: str) -> Response:
    settings = request.app.state.settings
    host = request.headers.get("host", "")
    shown = TokensPage(tokens(ledger_of(request)), f"{settings.scheme}://{host}", settings.tls, **more)  # type: ignore[arg-type]
    status = 422 if shown.wrong else 200
    return page(request, "tokens.html", shown, place="settings", title=say("Tokens"), status=status)


@router.post(f"{PLACE}/revoke")
def revoke(request: Request, token: Annotated[int, Form(alias="number")]) -> Response:
    """Take a token back."""
    revoke_token(ledger_of(request), token, by=by(request))
    return RedirectResponse(PLACE, 303)
