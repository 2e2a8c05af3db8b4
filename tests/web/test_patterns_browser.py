"""The page of patterns in a real browser: axe-core, nothing wider than the screen, one chart of each pair shown."""

from __future__ import annotations

import shutil
import socket
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from fieldnote.cli.serve import hosts_of
from fieldnote.flow import Rooms
from fieldnote.web.app import create_app
from tests.bench.filling import fill
from tests.bench.plausible_jobs import plausible_jobs
from tests.web.conftest import rooms_in

CHROMIUM = shutil.which("chromium")
playwright = pytest.importorskip("playwright.sync_api", reason="pip install playwright (and apt-get install chromium)")
axe = pytest.importorskip("axe_playwright_python.sync_playwright", reason="pip install axe-playwright-python")
pytestmark = [pytest.mark.soak, pytest.mark.skipif(CHROMIUM is None, reason="no Chromium: apt-get install chromium")]
WCAG = {"runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]}


@pytest.fixture(scope="module")
def url(shipped: Rooms, tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """A server with eighty jobs."""
    import uvicorn

    rooms = rooms_in(tmp_path_factory.mktemp("many") / "home", shipped)
    fill(rooms.store, plausible_jobs(rooms.leak_map, 80, seed=11))
    listening = socket.create_server(("127.0.0.1", 0))
    port = listening.getsockname()[1]
    config = uvicorn.Config(create_app(rooms, hosts_of("127.0.0.1", port)), log_level="warning")
    server = uvicorn.Server(config)
    thread = threading.Thread(target=server.run, kwargs={"sockets": [listening]})
    thread.start()
    yield f"http://127.0.0.1:{port}"
    server.should_exit = True
    thread.join(20)
    listening.close()
    rooms.store.close()


@pytest.mark.parametrize(("width", "scheme"), [(360, "light"), (1280, "light"), (1280, "dark")])
def test_the_page_can_be_used_by_everybody(url: str, width: int, scheme: Any, tmp_path: Path) -> None:
    """No violation of WCAG 2.2 AA, nothing to scroll sideways, one chart of each pair shown, no fault of the policy."""
    with playwright.sync_playwright() as running:
        browser = running.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox", "--disable-gpu"])
        page = browser.new_context(viewport={"width": width, "height": 800}, color_scheme=scheme).new_page()
        faults: list[str] = []
        page.on("console", lambda said: faults.append(said.text) if said.type == "error" else None)
        for path in ("/patterns", "/patterns/learned"):
            page.goto(url + path, timeout=60_000)
            assert page.evaluate("document.documentElement.scrollWidth") <= width
            found = axe.Axe().run(page, options=WCAG)
            assert [rule["id"] for rule in found.response["violations"]] == []
        page.goto(f"{url}/patterns", timeout=60_000)
        shown = page.locator(".for-narrow svg:visible" if width < 500 else ".for-wide svg:visible").count()
        assert shown == page.locator("figure.chart").count() > 4
        page.locator("#sources td a").first.click()
        page.wait_for_url("**/patterns/jobs?*")
        page.locator("table.jobs a").first.click()
        page.wait_for_url("**/jobs/j*")
        assert faults == []
        browser.close()
