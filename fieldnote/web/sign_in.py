"""Who is signed in: everything but the pages that lead in is closed to whoever is not.

The browser holds a random token in a cookie that no script can read and that goes out only with https
(``__Host-``: RFC 6265bis, section 4.1.3.2). It is *Lax*, so that a link in a message opens the page that it names;
what changes something is guarded by Origin and by the token of the form besides (``guard.py``, ``asking.py``).
"""

from __future__ import annotations

import re
import time
from dataclasses import dataclass, field
from typing import Any
from urllib.parse import quote

from starlette.concurrency import run_in_threadpool
from starlette.requests import HTTPConnection, Request
from starlette.responses import PlainTextResponse, RedirectResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from fieldnote.settings import RoleSettings
from fieldnote.web.answers import answer
from fieldnote.web.limits import Attempts, Pace
from fieldnote.web.passphrases import Keeper
from fieldnote.web.people import People
from fieldnote.web.roles import Right, rights_of

COOKIE = "__Host-fieldnote"
WAY_IN = ("/sign-in", "/join", "/trust")
"""Pages that are open to everybody; files under ``/static`` are, too."""
SIGNED_OUT = 1008
"""Code with which a live connection is closed then: policy violation (RFC 6455, section 7.4.1)."""
LOOK_EVERY_S = 15.0
"""Seconds after which a live connection whose person was signed out elsewhere is ended at the latest."""


@dataclass
class SignIn:
    """What a server that asks for a sign-in holds. ``authority``: the certificate that phones are to trust (PEM)."""

    people: People
    roles: RoleSettings
    keeper: Keeper = field(default_factory=Keeper)
    attempts: Attempts = field(default_factory=Attempts)
    pace: Pace = field(default_factory=Pace)
    authority: bytes = b""

    def __post_init__(self) -> None:
        self.rights: dict[Right, frozenset[str]] = rights_of(self.roles)


def is_way_in(path: str) -> bool:
    """Whether a path is open without a sign-in."""
    return path.startswith("/static/") or any(path == way or path.startswith(f"{way}/") for way in WAY_IN)


class Door:
    """Tells who is signed in (``request.state.person``), and lets nobody else past the way in."""

    def __init__(self, app: ASGIApp, sign_in: SignIn) -> None:
        self.app = app
        self.sign_in = sign_in

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass a request on, or lead it to the sign-in."""
        if scope["type"] == "lifespan" or scope["path"].startswith("/static/"):
            await self.app(scope, receive, send)
            return
        request = HTTPConnection(scope)
        token = request.cookies.get(COOKIE, "")
        person = await run_in_threadpool(self.sign_in.people.signed_in, token)
        request.state.person = person
        answer = self._slower(request) or (None if person or is_way_in(scope["path"]) else led_in(request))
        if answer is None:
            if scope["type"] == "websocket" and person is not None:
                watched = _Watched(receive, send, self.sign_in.people, token)
                await self.app(scope, watched.receive, watched.send)
                return
            await self.app(scope, receive, send)
        elif scope["type"] == "websocket":
            await send({"type": "websocket.close", "code": 1008, "reason": "Sign in first."})
        else:
            await answer(scope, receive, send)

    def _slower(self, request: HTTPConnection) -> Response | None:
        wait_s = self.sign_in.pace.wait_s(request)
        if not wait_s:
            return None
        told = f"That was more than this server answers at once. Try again in {wait_s} seconds.\n"
        return PlainTextResponse(told, 429, {"retry-after": str(wait_s)})


class _Watched:
    """A live connection that ends when its sign-in does; using it counts as use of the sign-in."""

    def __init__(self, receive: Receive, send: Send, people: People, token: str) -> None:
        self._receive = receive
        self._send = send
        self._people = people
        self._token = token
        self._looked_at = time.monotonic()
        self._ended = False

    async def receive(self) -> Message:
        message = await self._receive()
        if time.monotonic() - self._looked_at < LOOK_EVERY_S:
            return message
        self._looked_at = time.monotonic()
        if await run_in_threadpool(self._people.signed_in, self._token) is not None:
            return message
        await self.send({"type": "websocket.close", "code": SIGNED_OUT, "reason": "Sign in again."})
        self._ended = True
        return {"type": "websocket.disconnect", "code": SIGNED_OUT}

    async def send(self, message: Message) -> None:
        if not self._ended:
            await self._send(message)


def led_in(request: HTTPConnection) -> Response:
    """What whoever is not signed in gets: the sign-in, or the reason where something was sent."""
    scope: Any = request.scope
    page_asked = scope["type"] == "http" and scope["method"] in ("GET", "HEAD")
    if page_asked and "application/json" not in request.headers.get("accept", ""):
        asked = scope["path"] + (f"?{scope['query_string'].decode('latin-1')}" if scope["query_string"] else "")
        to = "" if asked == "/" else f"?to={quote(asked, safe='')}"
        return RedirectResponse(f"/sign-in{to}", 303)
    if scope["type"] == "websocket":
        return Response(status_code=401)
    told = answer(Request(scope), 401, "you are not signed in (any more), so nothing was kept", "", _SIGNED_OUT)
    # RFC 9110, section 15.5.2, asks for the header; there is no registered scheme for a form.
    told.headers["www-authenticate"] = 'Form realm="fieldnote"'
    return told


_SIGNED_OUT = "Nothing that you typed is lost: sign in in another tab, come back to this one, and load it again."
_OURS = re.compile(r"/(?![/\\])[\x21-\x7e]*")


def inside(path: str) -> str:
    """A path to go on to, where it is one of this server's; else the list of jobs."""
    return path if _OURS.fullmatch(path) and "\\" not in path else "/"


def device_of(request: HTTPConnection) -> str:
    """What a person would call the device that a request came from, as far as it says."""
    said = request.headers.get("user-agent", "")
    system = next((name for mark, name in _SYSTEMS if mark in said), "a device")
    browser = next((name for mark, name in _BROWSERS if mark in said), "")
    return f"{browser} on {system}" if browser else system


_SYSTEMS = (
    ("iPhone", "an iPhone"),
    ("iPad", "an iPad"),
    ("Android", "Android"),
    ("Windows", "Windows"),
    ("Mac OS X", "a Mac"),
    ("CrOS", "ChromeOS"),
    ("Linux", "Linux"),
)
_BROWSERS = (
    ("Edg/", "Edge"),
    ("Firefox/", "Firefox"),
    ("Chrome/", "Chrome"),
    ("CriOS/", "Chrome"),
    ("Safari/", "Safari"),
)

__all__ = ["COOKIE", "WAY_IN", "Door", "SignIn", "device_of", "inside", "is_way_in", "led_in"]
