"""What every request passes first: Host and Origin, the size of what is sent, and the headers of every answer.

Binding to loopback alone does not keep other sites out: any page that a browser shows can send requests to this
machine. So a request must name a host that is ours (which stops rebinding of DNS names), and one that changes
something must come from a page of ours.
"""

from __future__ import annotations

import asyncio
from dataclasses import dataclass

from starlette.datastructures import Headers, MutableHeaders
from starlette.requests import ClientDisconnect
from starlette.responses import PlainTextResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

SAFE_METHODS = frozenset(("GET", "HEAD", "OPTIONS"))
CONTENT_POLICY = "; ".join(
    (
        "default-src 'none'",
        "script-src 'self'",
        "style-src 'self'",
        "font-src 'self'",
        "img-src 'self'",
        "media-src 'self'",
        "connect-src 'self'",
        "worker-src 'self'",
        "form-action 'self'",
        "base-uri 'none'",
        "frame-ancestors 'none'",
    )
)
"""Content Security Policy Level 3 (W3C): nothing inline, nothing from elsewhere."""
HEADERS = {
    "content-security-policy": CONTENT_POLICY,
    "x-content-type-options": "nosniff",
    # Not "no-referrer": with it browsers send "Origin: null" with our own forms (Fetch Standard, 3.2).
    "referrer-policy": "same-origin",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "permissions-policy": "microphone=(self), camera=(self), geolocation=()",
    "cache-control": "no-store",
}


LONGEST_SILENCE_S = 60.0
"""Seconds that a sender may pause within a request, so that nobody holds connections open with nothing."""


@dataclass(frozen=True, slots=True)
class Limits:
    """Bytes that a request may send: by the end of its path for a recording and a photo, ``form`` for all others."""

    sound: int = 300_000_000
    photo: int = 30_000_000
    form: int = 1_000_000

    def of(self, path: str) -> int:
        """The limit for a path."""
        return {"sound": self.sound, "photos": self.photo}.get(path.rpartition("/")[2], self.form)


class Guard:
    """Refuses what does not come from our own pages, and sets the headers of every answer."""

    def __init__(self, app: ASGIApp, hosts: frozenset[str], limits: Limits, scheme: str = "http") -> None:
        self.app = app
        self.hosts = hosts
        self.limits = limits
        self.origins = frozenset(f"{scheme}://{host}" for host in hosts)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass a request on, or refuse it."""
        if scope["type"] == "lifespan":
            await self.app(scope, receive, send)
            return
        headers = Headers(scope=scope)
        refusal = self._refusal(scope, headers)
        if scope["type"] == "websocket" and refusal is not None:
            await send({"type": "websocket.close", "code": 1008, "reason": refusal[1]})
            return
        answer = _with_headers(send)
        if refusal is not None:
            await PlainTextResponse(f"{refusal[1]}\n", refusal[0])(scope, receive, answer)
            return
        if scope["type"] == "websocket":
            await self.app(scope, receive, send)
            return
        counted = _Counted(receive, self.limits.of(scope["path"]))
        try:
            await self.app(scope, counted, answer)
        except ClientDisconnect:
            if counted.fault is not None:  # else the sender has left, and there is nobody to answer
                await counted.fault(scope, receive, answer)

    def _refusal(self, scope: Scope, headers: Headers) -> tuple[int, str] | None:
        if headers.get("host", "").lower() not in self.hosts:
            return 421, "fieldnote does not answer to this host name. Open it under the address that it printed."
        changes = scope["type"] == "websocket" or scope["method"] not in SAFE_METHODS
        from_elsewhere = headers.get("sec-fetch-site", "same-origin") not in ("same-origin", "none")
        if not changes:
            # Fetch Metadata: a link of another site may lead here; a picture, a frame or a script of its own may not.
            followed = headers.get("sec-fetch-mode") == "navigate" and headers.get("sec-fetch-dest") == "document"
            if from_elsewhere and not followed:
                return 403, "This was asked for by a page that is not fieldnote's."
            return None
        origin = headers.get("origin")
        if (origin is not None and origin.lower() not in self.origins) or from_elsewhere:
            return 403, "This came from a page that is not fieldnote's, so nothing was done."
        if scope["type"] == "websocket" and origin is None:
            return 403, "A live connection must come from a page of fieldnote's."
        length = headers.get("content-length", "0")
        limit = self.limits.of(scope["path"])
        if not length.isdigit() or int(length) > limit:
            return 413, _too_large(limit).rstrip()
        return None


def _too_large(limit: int) -> str:
    return f"This is larger than the {limit // 1_000_000} MB that fieldnote takes at once. Nothing was kept.\n"


class _Counted:
    """Receives at most ``limit`` bytes, in pieces that come soon after each other; else it is as if the sender left."""

    def __init__(self, receive: Receive, limit: int) -> None:
        self._receive = receive
        self._limit = limit
        self._seen = 0
        self._more = True
        self.fault: PlainTextResponse | None = None

    async def __call__(self) -> Message:
        if not self._more:  # all was sent: from now on this waits for the sender to leave, however long
            return await self._receive()
        try:
            message = await asyncio.wait_for(self._receive(), LONGEST_SILENCE_S)
        except TimeoutError:
            return self._cut_off(408, "Nothing more came for a while, so nothing was kept. Send it again.\n")
        if message["type"] == "http.request":
            self._more = message.get("more_body", False)
            self._seen += len(message.get("body", b""))
            if self._seen > self._limit:
                return self._cut_off(413, _too_large(self._limit))
        return message

    def _cut_off(self, status: int, why: str) -> Message:
        self._more = False
        self.fault = PlainTextResponse(why, status, {"connection": "close"})
        return {"type": "http.disconnect"}


def _with_headers(send: Send) -> Send:
    async def answer(message: Message) -> None:
        if message["type"] == "http.response.start":
            headers = MutableHeaders(scope=message)
            for name, value in HEADERS.items():
                headers.setdefault(name, value)
        await send(message)

    return answer


__all__ = ["CONTENT_POLICY", "HEADERS", "SAFE_METHODS", "Guard", "Limits"]
