"""The ways in, in a real browser over https: keyboard alone, axe-core, sizes; and that the policy stops a script."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from fieldnote.flow import Rooms
from fieldnote.web.people import People
from fieldnote.web.sign_in import COOKIE
from tests.web.browsing import CHROMIUM, TOO_SMALL, WCAG, new_page, tab_to
from tests.web.conftest import PASSPHRASE, rooms_in
from tests.web.secured import secured as serve_secured

playwright = pytest.importorskip("playwright.sync_api", reason="pip install playwright (and apt-get install chromium)")
axe = pytest.importorskip("axe_playwright_python.sync_playwright", reason="pip install axe-playwright-python")
pytestmark = [
    pytest.mark.skipif(CHROMIUM is None, reason="no Chromium: apt-get install chromium"),
    pytest.mark.slow,
    # A server that stops does not wait until a browser has closed its end of an encrypted connection.
    pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning"),
]


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    with playwright.sync_playwright() as running:
        opened = running.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox", "--disable-gpu"])
        yield opened
        opened.close()


@pytest.fixture
def secured(filled: Path, shipped: Rooms, tmp_path: Path) -> Iterator[tuple[str, People]]:
    """Where the application is served over https, and who may sign in."""
    with serve_secured(rooms_in(shutil.copytree(filled, tmp_path / "home"), shipped)) as served:
        yield served


def test_from_the_invitation_to_signing_out_by_keyboard_alone(browser: Any, secured: tuple[str, People]) -> None:
    """On a phone: choose a passphrase, look at one's own sign-in, sign out, sign in again; each page is sound."""
    url, people = secured
    code = people.invite("Rosa", ["technician"])
    page = new_page(browser, 360, "dark", ignore_https_errors=True)
    page.goto(f"{url}/jobs/none")
    assert "/sign-in?to=" in page.url
    sound(page)
    page.goto(f"{url}/trust")
    sound(page)
    page.goto(f"{url}/join?code={code}")
    sound(page)
    assert page.evaluate("document.activeElement.id") == "passphrase"
    page.keyboard.type(PASSPHRASE)
    tab_to(page, "", "#again")
    page.keyboard.type("something else than that")
    page.keyboard.press("Enter")
    page.wait_for_selector(".fault")
    assert "not the same" in page.inner_text(".fault")
    sound(page)
    assert page.input_value("#code") == code
    page.keyboard.type(PASSPHRASE)
    tab_to(page, "", "#again")
    page.keyboard.type(PASSPHRASE)
    tab_to(page, "", "input[type=checkbox]")
    page.keyboard.press("Space")
    assert page.get_attribute("#again", "type") == "text"
    tab_to(page, "Keep it and sign in")
    page.keyboard.press("Enter")
    page.wait_for_selector("table.jobs")
    cookie = next(one for one in page.context.cookies() if one["name"] == COOKIE)
    assert cookie["httpOnly"] and cookie["secure"] and cookie["expires"] == -1
    assert COOKIE not in page.evaluate("document.cookie")
    page.goto(f"{url}/you")
    sound(page)
    tab_to(page, "", ".who summary")
    page.keyboard.press("Enter")
    tab_to(page, "Sign out")
    page.keyboard.press("Enter")
    page.wait_for_selector("#passphrase")
    page.keyboard.type("Rosa")
    tab_to(page, "", "#passphrase")
    page.keyboard.type(PASSPHRASE)
    page.keyboard.press("Enter")
    page.wait_for_selector("table.jobs")
    assert [fault for fault in page.faults if "404" not in fault and "422" not in fault] == []
    page.context.close()


def sound(page: Any) -> None:
    """axe-core finds nothing, targets are large enough, nothing is wider than the screen."""
    found = axe.Axe().run(page, options={"runOnly": WCAG["runOnly"]})
    assert [f"{v['id']}: {v['nodes'][0]['html'][:120]}" for v in found.response["violations"]] == [], page.url
    assert page.evaluate(TOO_SMALL, 24) == [], page.url
    assert page.evaluate("document.documentElement.scrollWidth <= document.documentElement.clientWidth"), page.url


WAYS_OF_A_SCRIPT = (
    '<script>window.ran = "inline"</script>',
    '<img src="/none.png" onerror="window.ran = \'handler\'">',
    "<svg onload=\"window.ran = 'svg'\"></svg>",
    "<iframe srcdoc=\"<script>parent.ran = 'frame'</script>\"></iframe>",
    '<a id="link" href="javascript:window.ran = \'link\'">x</a>',
    "<script src=\"data:text/javascript,window.ran = 'data'\"></script>",
    '<base href="https://shop.example/">',
    "<style>body { display: none }</style>",
)


def test_the_policy_stops_what_would_be_smuggled_into_a_page(browser: Any, secured: tuple[str, People]) -> None:
    """If markup ever got into a page, nothing of it would run or load: tried by putting it there on the way."""
    url, _ = secured
    page = new_page(browser, 1280, ignore_https_errors=True)
    asked: list[str] = []
    page.on("request", lambda request: asked.append(request.url))

    def smuggle(route: Any) -> None:
        answer = route.fetch()
        body = answer.text().replace("<h1>", "".join(WAYS_OF_A_SCRIPT) + "<h1>")
        route.fulfill(response=answer, body=body)

    page.route("**/sign-in", smuggle)
    page.goto(f"{url}/sign-in")
    page.evaluate("document.querySelector('#link').click()")
    page.wait_for_timeout(300)
    assert page.evaluate("window.ran") is None
    assert page.evaluate("getComputedStyle(document.body).display") == "block"
    assert page.evaluate("document.baseURI").startswith(url)
    assert all(one.startswith(url) for one in asked if not one.startswith("data:"))
    assert sum("Content Security Policy" in fault for fault in page.faults) >= 6
    # Ours still runs: the box that shows what is typed is made by a script from this server.
    assert page.locator("input[type=checkbox]").count() == 1
    page.context.close()
