"""What stands before every page: the right host, a size that fits, a form of our own, and headers against the rest."""

from __future__ import annotations

import asyncio
import re
import time
from collections.abc import Awaitable, Callable
from urllib.parse import urlencode

from starlette.requests import Request
from starlette.responses import JSONResponse, PlainTextResponse, RedirectResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from linewright.web.rendering import Trouble, page
from linewright.web.sessions import Sessions, Settings, is_host

SAFE = frozenset({"GET", "HEAD", "OPTIONS"})
OPEN = ("/door", "/static/", "/manifest.webmanifest", "/worker.js", "/mark-", "/away")
"""What a visitor who has not said the pass phrase may see."""
LEAST_BYTES, MOST_BYTES = 1 << 20, 48 << 20
"""The largest body of a form, and of an upload (a sweep of 200,000 points)."""
SILENT_S = 30.0
"""How long the next part of a body may take to come."""
UPLOADS = ("/sweeps", "/shelf/import", "/api/sweeps", "/api/chart")
TOO_OLD = (
    "This form came from elsewhere, or the station was started anew since it was loaded. "
    "Go back: what you typed is still there, and can be sent again."
)
SCHEME = re.compile(r"[A-Za-z][A-Za-z0-9+.-]*")
TOO_SLOW = "The rest of this did not come. Send it again."
BROKEN = "Something went wrong in linewright itself. What was kept stays kept. The window it was started in says more."
TOKEN_HEADER, TOKEN_FIELD = "x-linewright-token", "token"

HEADERS = {
    "content-security-policy": (
        "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; font-src 'self';"
        " connect-src 'self'; form-action 'self'; manifest-src 'self'; worker-src 'self'; base-uri 'none';"
        " frame-ancestors 'none'"
    ),
    "x-content-type-options": "nosniff",
    "referrer-policy": "same-origin",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "permissions-policy": "camera=(), microphone=(), geolocation=()",
    "cache-control": "no-store",
}
AS_DATA = b'attachment; filename="api.json"'
"""An answer for programs is never shown as a page (OWASP ASVS 4.0.3, 14.4.2)."""
HSTS = b"max-age=31536000"
"""Sent over TLS only (RFC 6797, section 7.2)."""


class Guard:
    """The middleware. It wraps the app whole, so that no page can be forgotten."""

    def __init__(self, app: ASGIApp, settings: Settings, sessions: Sessions) -> None:
        self._app, self._settings, self._sessions = app, settings, sessions

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer a request, or refuse it."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        request = Request(scope)
        refusal = self._misaddressed(request)
        if refusal is not None:
            await refusal(scope, receive, _Answer(send, self._settings, None, scope["path"]))
            return
        session, fresh = self._sessions.of(request.cookies.get(self._settings.cookie))
        scope["state"] = {**scope.get("state", {}), "session": session, "token": self._sessions.token(session)}
        answer = _Answer(send, self._settings, session if fresh else None, scope["path"])
        refusal = self._refusal(request, session)
        if refusal is not None:
            await refusal(scope, receive, answer)
            return
        most = MOST_BYTES if scope["path"].startswith(UPLOADS) else LEAST_BYTES
        if _told_length(request) > most:
            await _refused(request, _too_large(most), 413)(scope, receive, answer)
            return
        bounded = _Bounded(receive, most)
        try:
            await self._checked(request, bounded, answer, session)
        except Exception:
            # Whoever serves the app logs what went wrong; the visitor gets an answer with the headers.
            if not answer.begun:
                await _refused(request, BROKEN, 500)(scope, receive, answer)
            raise

    def _misaddressed(self, request: Request) -> Response | None:
        """Return what to say where the headers that name hosts are malformed, or name another station."""
        bad = next((name for name in ("host", "origin") if not _well_formed(name, request.headers.getlist(name))), "")
        if bad:
            return _refused(request, f"The header {bad.title()} is malformed.", 400)
        if not self._settings.answers_to(request.headers.get("host", "")):
            return _refused(request, "This address is not one linewright answers to.", 421)
        return None

    def _refusal(self, request: Request, session: str) -> Response | None:
        path = request.url.path
        if not self._sessions.admitted(session, time.monotonic()) and not path.startswith(OPEN):
            if path.startswith("/api/"):
                return _refused(request, "Say the pass phrase at /door first.", 401)
            return RedirectResponse(_door_to(request), 303)
        if request.method not in SAFE and not self._from_here(request):
            return _refused(request, "This form came from elsewhere.", 403)
        return None

    def _from_here(self, request: Request) -> bool:
        """Return whether the browser says that the request comes from one of our pages."""
        origin = request.headers.get("origin")
        if origin is not None and origin != "null":
            return self._settings.answers_to(origin.partition("://")[2])
        return request.headers.get("sec-fetch-site", "same-origin") in ("same-origin", "none")

    async def _checked(self, request: Request, receive: _Bounded, send: Send, session: str) -> None:
        """Let a request through once its token is right; the token stands in a header or in the form."""
        if request.method in SAFE or self._sessions.spoke(session, request.headers.get(TOKEN_HEADER, "")):
            await self._app(request.scope, receive, send)
            return
        whole = await receive.whole()
        if whole is None:
            words, status = (_too_large(receive.most), 413) if receive.over else (TOO_SLOW, 408)
            await _refused(request, words, status)(request.scope, receive, send)
            return
        form = await Request(request.scope, _again(whole)).form()
        said = form.get(TOKEN_FIELD)
        await form.close()
        if not (isinstance(said, str) and self._sessions.spoke(session, said)):
            await _refused(request, TOO_OLD, 403)(request.scope, receive, send)
            return
        await self._app(request.scope, _again(whole), send)


def _well_formed(name: str, values: list[str]) -> bool:
    """Return whether a header that names a host is absent, or stands once and can be read.

    RFC 9112, section 3.2, asks for 400 where Host stands twice or is invalid. RFC 6454, section 7.1, has the form of
    Origin.
    """
    if not values or (name == "origin" and values == ["null"]):
        return True
    scheme, colon, host = values[0].rpartition("://") if name == "origin" else ("", "", values[0])
    readable = is_host(host) and (name == "host" or bool(colon and SCHEME.fullmatch(scheme)))
    return len(values) == 1 and readable


def _told_length(request: Request) -> int:
    told = request.headers.get("content-length", "")
    return int(told) if told.isascii() and told.isdigit() and len(told) < 19 else 0


def _too_large(most: int) -> str:
    return f"That is more than this page takes, which is {most >> 20} MB."


def _door_to(request: Request) -> str:
    """Return the address of the door, with where the visitor wanted to go."""
    wanted = f"{request.url.path}?{request.url.query}".removesuffix("?")
    return "/door" if request.method not in SAFE or wanted == "/" else f"/door?{urlencode({'to': wanted})}"


def _refused(request: Request, words: str, status: int) -> Response:
    """Return a refusal: as data for programs, in words for people."""
    if request.scope["path"].startswith("/api/"):
        return JSONResponse({"schema": "linewright/error/1", "message": words}, status)
    if status in (400, 421):  # whoever bent the name sees no page of ours
        return PlainTextResponse(words, status)
    return page(request, "trouble.html", Trouble("That was not taken", (words,)), title="Not taken", status=status)


class _Bounded:
    """A body that is cut off once it is larger than it may be, or once its sender falls silent."""

    def __init__(self, receive: Receive, most: int) -> None:
        self._receive, self.most, self._seen, self._ended = receive, most, 0, False

    @property
    def over(self) -> bool:
        """Whether it was larger than it may be."""
        return self._seen > self.most

    async def __call__(self) -> Message:
        if self._ended:  # what comes now is only that the visitor left, and that may take as long as it will
            return await self._receive()
        try:
            message = await asyncio.wait_for(self._receive(), SILENT_S)
        except TimeoutError:
            return {"type": "http.disconnect"}
        self._ended = not message.get("more_body", False)
        self._seen += len(message.get("body", b""))
        return {"type": "http.disconnect"} if self.over else message

    async def whole(self) -> bytes | None:
        """Return the whole body, None if it is too large."""
        parts: list[bytes] = []
        while True:
            message = await self()
            if message["type"] != "http.request":
                return None
            parts.append(message.get("body", b""))
            if not message.get("more_body", False):
                return b"".join(parts)


def _again(body: bytes) -> Callable[[], Awaitable[Message]]:
    """Return a receiver that gives a body already read."""
    told = [False]

    async def receive() -> Message:
        if told[0]:
            return {"type": "http.disconnect"}
        told[0] = True
        return {"type": "http.request", "body": body, "more_body": False}

    return receive


class _Answer:
    """A sender that adds the guard's headers, and the cookie of a new session."""

    def __init__(self, send: Send, settings: Settings, session: str | None, path: str) -> None:
        self._send, self._settings, self._session, self.begun = send, settings, session, False
        self._data = path.startswith("/api/")

    async def __call__(self, message: Message) -> None:
        if message["type"] == "http.response.start":
            self.begun = True
            kept = list(message.get("headers", []))
            there = {name.lower() for name, _ in kept}
            kept += [(k.encode(), v.encode()) for k, v in HEADERS.items() if k.encode() not in there]
            if self._data and b"content-disposition" not in there:
                kept.append((b"content-disposition", AS_DATA))
            if self._settings.tls:
                kept.append((b"strict-transport-security", HSTS))
            if self._session is not None:
                secure = "; Secure" if self._settings.tls else ""
                cookie = f"{self._settings.cookie}={self._session}; Path=/; HttpOnly; SameSite=Strict{secure}"
                kept.append((b"set-cookie", cookie.encode()))
            message = {**message, "headers": kept}
        await self._send(message)
