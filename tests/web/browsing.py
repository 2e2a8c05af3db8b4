"""Chromium at the pages: a microphone that plays a file, a server on a port of its own, Tab up to an element."""

from __future__ import annotations

import shutil
import socket
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from fieldnote.flow import Rooms
from tests.web.conftest import Lines

CHROMIUM = shutil.which("chromium")
WCAG = {"runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]}
TOO_SMALL = """(least) => [...document.querySelectorAll('a, button, summary, select, textarea, input')]
  .filter((one) => one.checkVisibility() && !one.closest('.skip') && !one.classList.contains('sentence'))
  .map((one) => [one.matches('[type=checkbox], [type=radio]') ? one.closest('label') : one])
  .map(([one]) => [one.outerHTML.slice(0, 90), one.getBoundingClientRect()])
  .filter(([, box]) => box.width > 0 && (box.height < least - 0.5 || box.width < least - 0.5))
  .map(([html, box]) => `${Math.round(box.width)} x ${Math.round(box.height)}: ${html}`)"""
"""Sentences of the write-up are left out: targets within a line of text are excepted (WCAG 2.2, 2.5.8, inline)."""


@dataclass
class Served:
    """A running server, what is behind it, and what its recogniser of recordings will hear."""

    url: str
    rooms: Rooms
    hears: Lines
    app: Any

    def job(self, name: str = "Unit 9") -> str:
        return f"{self.url}/jobs/{self.rooms.store.job(name).id}"


@contextmanager
def chromium(playwright: Any, spoken: Path) -> Iterator[Any]:
    """Chromium whose microphone plays a file again and again."""
    arguments = ["--no-sandbox", "--disable-gpu", "--disable-quic", "--autoplay-policy=no-user-gesture-required"]
    arguments += ["--use-fake-ui-for-media-stream", "--use-fake-device-for-media-stream"]
    arguments += [f"--use-file-for-fake-audio-capture={spoken}"]
    with playwright() as running:
        opened = running.chromium.launch(executable_path=CHROMIUM, args=arguments)
        yield opened
        opened.close()


@contextmanager
def serving(rooms: Rooms) -> Iterator[Served]:
    """The application over these rooms."""
    import uvicorn

    from fieldnote.cli.serve import hosts_of
    from fieldnote.web.app import create_app

    hears = Lines()
    listening = socket.create_server(("127.0.0.1", 0))
    port = listening.getsockname()[1]
    app = create_app(rooms, hosts_of("127.0.0.1", port), hears=lambda: hears)
    server = uvicorn.Server(
        uvicorn.Config(app, log_level="warning", timeout_graceful_shutdown=1, ws="websockets-sansio")
    )
    thread = threading.Thread(target=server.run, kwargs={"sockets": [listening]})
    thread.start()
    yield Served(f"http://127.0.0.1:{port}", rooms, hears, app)
    server.should_exit = True
    thread.join(20)
    listening.close()
    rooms.store.close()


def new_page(browser: Any, width: int = 360, scheme: str = "light", **more: Any) -> Any:
    """A page in a context of its own that notes what goes wrong in it."""
    context = browser.new_context(viewport={"width": width, "height": 740}, color_scheme=scheme, **more)
    page = context.new_page()
    page.set_default_timeout(30_000)
    page.faults = []
    page.on("pageerror", lambda fault: page.faults.append(str(fault)))
    page.on("console", lambda said: page.faults.append(said.text) if said.type == "error" else None)
    return page


def tab_to(page: Any, text: str, selector: str = "", most: int = 150) -> None:
    """Press Tab until the element has the focus, seen by its outline."""
    for _ in range(most):
        page.keyboard.press("Tab")
        here = page.evaluate(
            "([text, selector]) => { const on = document.activeElement;"
            " return (selector ? on.matches(selector) : on.textContent.trim() === text)"
            " && [getComputedStyle(on).outlineStyle, parseFloat(getComputedStyle(on).outlineWidth)]; }",
            [text, selector],
        )
        if here:
            assert here[0] != "none" and here[1] >= 2
            return
    raise AssertionError(f"Tab never came to {text or selector}")
