"""The application over https with a certificate of its own and a sign-in, on a port of this machine.

``python -m tests.web.secured`` takes the screenshots of the ways in for docs/screens.
"""

from __future__ import annotations

import shutil
import socket
import tempfile
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from fastapi import FastAPI

from fieldnote.flow import Rooms
from fieldnote.web.app import create_app
from fieldnote.web.certificates import make
from fieldnote.web.people import People
from fieldnote.web.sign_in import SignIn
from tests.web.conftest import Lines, quick_keeper

OUT = Path(__file__).parents[2] / "docs" / "screens"
COLOURS = 96


@dataclass
class Secured:
    """Where it is served, and who may sign in: nobody has joined yet."""

    url: str
    people: People
    rooms: Rooms
    app: FastAPI


@contextmanager
def secured(rooms: Rooms) -> Iterator[Secured]:
    """Serve it as long as the block lasts."""
    import uvicorn

    pair, _ = make(rooms.home, ["localhost"])
    assert pair.authority is not None
    people = People(rooms.home, rooms.settings.sign_in)
    sign_in = SignIn(people, rooms.settings.roles, keeper=quick_keeper(), authority=pair.authority.read_bytes())
    listening = socket.create_server(("127.0.0.1", 0))
    host = f"localhost:{listening.getsockname()[1]}"
    app = create_app(rooms, [host], hears=lambda: Lines(), sign_in=sign_in, scheme="https")
    files = {"ssl_certfile": str(pair.certificate), "ssl_keyfile": str(pair.key)}
    server = uvicorn.Server(uvicorn.Config(app, log_level="critical", timeout_graceful_shutdown=1, **files))
    thread = threading.Thread(target=server.run, kwargs={"sockets": [listening]})
    thread.start()
    yield Secured(f"https://{host}", people, rooms, app)
    server.should_exit = True
    thread.join(20)
    listening.close()
    people.close()
    rooms.store.close()


def main() -> None:
    """Photograph the ways in on a phone."""
    from PIL import Image
    from playwright.sync_api import sync_playwright

    with (
        sync_playwright() as running,
        secured(Rooms(Path(tempfile.mkdtemp(prefix="fieldnote-screens-")))) as served,
    ):
        browser = running.chromium.launch(executable_path=shutil.which("chromium"), args=["--no-sandbox"])
        code = served.people.invite("Rosa", ["technician"])
        for name, path in (("sign-in", "/sign-in"), ("join", f"/join?code={code}"), ("trust", "/trust")):
            page = browser.new_page(viewport={"width": 360, "height": 740}, ignore_https_errors=True)
            page.goto(served.url + path)
            file = OUT / f"{name}-360-light.png"
            page.screenshot(path=file)
            page.close()
            Image.open(file).convert("RGB").quantize(COLOURS).save(file, optimize=True)
        browser.close()


if __name__ == "__main__":
    main()
