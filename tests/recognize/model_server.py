"""A loopback server of model files that can break off, lie and refuse."""

from __future__ import annotations

import re
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer


@dataclass
class Server:
    """What it serves and how it misbehaves."""

    files: dict[str, bytes]
    url: str = ""
    breaks_after: list[int] = field(default_factory=list)
    """Each request sends so many bytes and then hangs up, until the list is used up."""
    ranges: bool = True
    statuses: list[int] = field(default_factory=list)
    """Each request is answered with such a status, until the list is used up."""
    chunked: bool = False
    """Leaves the length out of the answer."""
    asked: list[tuple[str, str | None]] = field(default_factory=list)
    sent_bytes: int = 0


@contextmanager
def serving(files: dict[str, bytes]) -> Iterator[Server]:
    """The server, on a free port of this machine."""
    server = Server(files)

    class Handler(BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            name, wanted = self.path.lstrip("/"), self.headers.get("Range")
            server.asked.append((name, wanted))
            if server.statuses:
                self.send_error(server.statuses.pop(0))
                return
            if name not in server.files:
                self.send_error(404)
                return
            content, begin = server.files[name], 0
            if wanted and server.ranges:
                begin = int(re.fullmatch(r"bytes=(\d+)-", wanted)[1])  # type: ignore[index]
                if begin >= len(content):
                    self.send_error(416)
                    return
                self.send_response(206)
                self.send_header("Content-Range", f"bytes {begin}-{len(content) - 1}/{len(content)}")
            else:
                self.send_response(200)
            body = content[begin:]
            if not server.chunked:
                self.send_header("Content-Length", str(len(body)))
            self.end_headers()
            if server.breaks_after:
                body = body[: server.breaks_after.pop(0)]
            self.wfile.write(body)
            server.sent_bytes += len(body)

        def log_message(self, *args: object) -> None:
            """Say nothing."""

    http = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    server.url = f"http://127.0.0.1:{http.server_address[1]}"
    thread = threading.Thread(target=http.serve_forever, kwargs={"poll_interval": 0.02}, daemon=True)
    thread.start()
    try:
        yield server
    finally:
        http.shutdown()
        http.server_close()
        thread.join()
