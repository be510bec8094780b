"""The checks before every page: host, size, a form from this app, and security headers."""

from __future__ import annotations

import asyncio
import re
import threading
import time
from collections.abc import Awaitable, Callable
from contextlib import nullcontext
from functools import partial
from typing import Any
from urllib.parse import urlencode

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import JSONResponse, PlainTextResponse, RedirectResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from linewright.core.errors import CannotError
from linewright.core.messages import mark, say
from linewright.web.apart import AT_ONCE as AT_ONCE_APART
from linewright.web.apart import MOST_WAITING, Apart, Turns, begin, unless_gone
from linewright.web.bearers import HEADER, Bearers, TokenError
from linewright.web.language import manner_of, speak, taste_of
from linewright.web.rendering import PageTrouble, page
from linewright.web.sessions import Sessions, Settings, is_host

SAFE = frozenset({"GET", "HEAD", "OPTIONS"})
OPEN = ("/door", "/static/", "/manifest.webmanifest", "/worker.js", "/mark-", "/away")
"""What a visitor who has not given the pass phrase may see."""
LEAST_BYTES, MOST_BYTES = 1 << 20, 48 << 20
"""The largest body of a form, and of an upload (a sweep of 200,000 points)."""
SILENT_S = 30.0
"""How long the next part of a body may take to come."""
HEAVY = ("/api/", "/shelf/import/")
"""What is worked out in a process of its own when it is sent: what programs ask, and what is filed or imported."""
ONE_BY_ONE = (*HEAVY, "/sweeps")
"""What one person sends one after the other, and in their turns all together: large files are read so."""
LISTENED = ("/bench/live/", "/api/events")
"""What is answered for as long as one listens: it takes no turn, and has a limit of its own."""
WRITTEN = ("/api/bench/", "/api/shelf/", "/api/undo")
"""A program's writes are small, and stored where listeners are told of them."""
BEFORE_HEAVY = ("/api/", "/shelf/file", "/shelf/import/", "/sweeps")
"""What is asked before something heavy is sent."""
UPLOADS = ("/sweeps", "/shelf/import", "/api/sweeps", "/api/chart")
TOO_OLD = mark(
    "This form came from elsewhere, or the station was started anew since it was loaded. "
    "Go back: what you typed is still there, and can be sent again."
)
PLAIN = (
    "type", "asgi", "http_version", "method", "scheme", "path", "raw_path", "query_string", "root_path", "headers",
    "client", "server", "state",
)  # fmt: skip
"""The data about a request that is passed to another process."""
SCHEME = re.compile(r"[A-Za-z][A-Za-z0-9+.-]*")
TOO_MANY = mark("What you asked for before is still being done. Wait for it, then ask again.")
AT_ONCE, WAITING = 6, 250
"""Requests of one person that are answered at once, as many as a browser sends, and that may wait."""
TOO_SLOW = mark("The rest of this did not come. Send it again.")
BROKEN = mark(
    "Something went wrong in linewright itself. What was kept stays kept. The window it was started in says more."
)
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

    def __init__(
        self, app: ASGIApp, settings: Settings, sessions: Sessions, bearers: Bearers, apart: Callable[..., Any]
    ) -> None:
        self._app, self._settings, self._sessions = app, settings, sessions
        self._bearers, self._apart = bearers, apart
        self._turns, self._heavy = Turns(AT_ONCE, WAITING), Turns(1, MOST_WAITING)
        self._begun = False
        self._machine = asyncio.Semaphore(AT_ONCE_APART)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer a request, or refuse it."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        request = Request(scope)
        speak(manner_of(taste_of(request.cookies), request.headers.get("accept-language", "")))
        refusal = self._misaddressed(request)
        if refusal is not None:
            await refusal(scope, receive, _GuardedSend(send, self._settings, None, scope["path"]))
            return
        if HEADER in request.headers and scope["path"].startswith("/api/"):
            await self._by_token(request, receive, _GuardedSend(send, self._settings, None, scope["path"]))
            return
        session, fresh = self._sessions.of(request.cookies.get(self._settings.cookie))
        scope["state"] = {**scope.get("state", {}), "session": session, "token": self._sessions.token(session)}
        answer = _GuardedSend(send, self._settings, session if fresh else None, scope["path"])
        refusal = self._refusal(request, session)
        if refusal is not None:
            await refusal(scope, receive, answer)
            return
        person = request.client.host if fresh and request.client else session
        await self._within(request, receive, answer, person, partial(self._checked, session=session))

    async def _by_token(self, request: Request, receive: Receive, answer: _GuardedSend) -> None:
        """Answer a program that speaks by a token: neither cookie nor form, so nothing another site could send."""
        request.scope["state"] = {**request.scope.get("state", {}), "session": "", "token": ""}
        try:
            request.state.bearer = await run_in_threadpool(self._bearers.of, request)
        except TokenError as cause:
            await cause.answer()(request.scope, receive, answer)
        except CannotError as cause:
            await _refused(request, str(cause), 503)(request.scope, receive, answer)
        else:
            await self._within(request, receive, answer, f"token {request.state.bearer.id}", self._let_in)

    async def _let_in(self, request: Request, receive: _Bounded, send: Send, *, heavy: bool = False) -> None:
        if not heavy:
            await self._app(request.scope, receive, send)
            return
        whole = await self._whole(request, receive, send)
        if whole is not None:
            await self._worked_out(request, whole, receive, send)

    async def _within(self, request: Request, receive: Receive, answer: _GuardedSend, person: str, go: Go) -> None:
        """Let a request go on within its bounds, in its turn, and answer it whatever goes wrong there."""
        scope = request.scope
        most = MOST_BYTES if scope["path"].startswith(UPLOADS) else LEAST_BYTES
        if _told_length(request) > most:
            await _refused(request, _too_large(most), 413)(scope, receive, answer)
            return
        if self._settings.apart and not self._begun and scope["path"].startswith(BEFORE_HEAVY):
            self._begun = True
            threading.Thread(target=begin, name="server of forks", daemon=True).start()
        one_by_one = self._settings.apart and request.method not in SAFE and scope["path"].startswith(ONE_BY_ONE)
        heavy = one_by_one and scope["path"].startswith(HEAVY)
        if scope["path"].startswith(WRITTEN):
            one_by_one = heavy = False
        turns = self._heavy if one_by_one else self._turns
        if turns.full(person):
            await _refused(request, say(TOO_MANY), 429)(scope, receive, answer)
            return
        bounded = _Bounded(receive, most)
        try:
            async with nullcontext() if scope["path"].startswith(LISTENED) else turns.of(person):
                if one_by_one:
                    async with self._machine:
                        await go(request, bounded, answer, heavy=heavy)
                else:
                    await go(request, bounded, answer)
        except Exception:
            # Whoever serves the app logs what went wrong; the visitor gets an answer with the headers.
            if not answer.begun:
                await _refused(request, say(BROKEN), 500)(scope, receive, answer)
            raise

    def _misaddressed(self, request: Request) -> Response | None:
        """Return what to say where the headers that name hosts are malformed, or name another station."""
        bad = next((name for name in ("host", "origin") if not _well_formed(name, request.headers.getlist(name))), "")
        if bad:
            return _refused(request, say("The header {bad} is malformed.", bad=bad.title()), 400)
        if not self._settings.answers_to(request.headers.get("host", "")):
            return _refused(request, say("This address is not one linewright answers to."), 421)
        return None

    def _refusal(self, request: Request, session: str) -> Response | None:
        path = request.url.path
        if not self._sessions.admitted(session, time.monotonic()) and not path.startswith(OPEN):
            if path.startswith("/api/"):
                return _refused(request, say("Say the pass phrase at /door first."), 401)
            return RedirectResponse(_door_to(request), 303)
        if request.method not in SAFE and not self._from_here(request):
            return _refused(request, say("This form came from elsewhere."), 403)
        return None

    def _from_here(self, request: Request) -> bool:
        """Return whether the browser says that the request comes from one of our pages."""
        origin = request.headers.get("origin")
        if origin is not None and origin != "null":
            return self._settings.answers_to(origin.partition("://")[2])
        return request.headers.get("sec-fetch-site", "same-origin") in ("same-origin", "none")

    async def _checked(
        self, request: Request, receive: _Bounded, send: Send, session: str, *, heavy: bool = False
    ) -> None:
        """Let a request through once its token is right; the token stands in a header or in the form."""
        spoke = request.method in SAFE or self._sessions.spoke(session, request.headers.get(TOKEN_HEADER, ""))
        if spoke and not heavy:
            await self._app(request.scope, receive, send)
            return
        whole = await self._whole(request, receive, send)
        if whole is None:
            return
        if not spoke:
            form = await Request(request.scope, _again(whole)).form()
            said = form.get(TOKEN_FIELD)
            await form.close()
            if not (isinstance(said, str) and self._sessions.spoke(session, said)):
                await _refused(request, say(TOO_OLD), 403)(request.scope, receive, send)
                return
        if heavy:
            await self._worked_out(request, whole, receive, send)
        else:
            await self._app(request.scope, _again(whole), send)

    async def _whole(self, request: Request, receive: _Bounded, send: Send) -> bytes | None:
        """Return the body; nothing where it is too large or does not come, once that is said."""
        whole = await receive.whole()
        if whole is None:
            words, status = (_too_large(receive.most), 413) if receive.over else (say(TOO_SLOW), 408)
            await _refused(request, words, status)(request.scope, receive, send)
        return whole

    async def _worked_out(self, request: Request, whole: bytes, receive: Receive, send: Send) -> None:
        """Have a request answered in a process of its own; drop it if whoever asked leaves."""
        scope = {name: request.scope.get(name) for name in PLAIN}
        try:
            work = await asyncio.to_thread(Apart, self._apart, self._settings, scope, whole)
            found = await unless_gone(work, receive)
        except CannotError as cause:
            await _refused(request, str(cause), 503)(request.scope, receive, send)
            return
        if found is not None:
            status, headers, body = found
            await send({"type": "http.response.start", "status": status, "headers": headers})
            await send({"type": "http.response.body", "body": body})


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
    return say("That is more than this page takes, which is {most} MB.", most=most >> 20)


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
    return page(
        request, "trouble.html", PageTrouble(say("That was not taken"), (words,)), title=say("Not taken"), status=status
    )


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


Go = Callable[..., Awaitable[None]]
"""How a request goes on once it is let in."""


def _again(body: bytes) -> Callable[[], Awaitable[Message]]:
    """Return a receiver that gives a body already read."""
    told = [False]

    async def receive() -> Message:
        if told[0]:
            return {"type": "http.disconnect"}
        told[0] = True
        return {"type": "http.request", "body": body, "more_body": False}

    return receive


class _GuardedSend:
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
