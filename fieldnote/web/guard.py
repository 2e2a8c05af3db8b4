"""What every request passes first: Host and Origin, the size of what is sent, and the headers of every answer.

Binding to loopback alone does not keep other sites out: any page that a browser shows can send requests to this
machine. So a request must name a host that is ours (which stops rebinding of DNS names), and one that changes
something must come from a page of ours.
"""

from __future__ import annotations

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
        counted = _Counted(receive, self.limits.of(scope["path"]))
        try:
            await self.app(scope, counted, answer)
        except ClientDisconnect:
            if not counted.too_much:
                raise
            await PlainTextResponse(_too_large(counted.limit), 413)(scope, receive, answer)

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
    """Receives at most ``limit`` bytes; what goes on beyond is cut off as if the sender had left."""

    def __init__(self, receive: Receive, limit: int) -> None:
        self._receive = receive
        self.limit = limit
        self._seen = 0
        self.too_much = False

    async def __call__(self) -> Message:
        message = await self._receive()
        if message["type"] == "http.request":
            self._seen += len(message.get("body", b""))
            if self._seen > self.limit:
                self.too_much = True
                return {"type": "http.disconnect"}
        return message


def _with_headers(send: Send) -> Send:
    async def answer(message: Message) -> None:
        if message["type"] == "http.response.start":
            headers = MutableHeaders(scope=message)
            for name, value in HEADERS.items():
                headers.setdefault(name, value)
        await send(message)

    return answer


__all__ = ["CONTENT_POLICY", "HEADERS", "SAFE_METHODS", "Guard", "Limits"]
