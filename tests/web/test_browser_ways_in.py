"""The ways in, in a real browser over https: keyboard alone, axe-core, sizes; and that the policy stops a script."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile

from fieldnote.flow import Rooms
from fieldnote.testing import FakeRecogniser
from fieldnote.web.sign_in import COOKIE
from tests.flow.spoken_tones import ToneDetector
from tests.web.browsing import CHROMIUM, TOO_SMALL, WCAG, chromium, new_page, tab_to
from tests.web.conftest import PASSPHRASE, rooms_in
from tests.web.secured import Secured
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
def browser(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Any]:
    """Chromium whose microphone hears a second of noise and then nothing, again and again."""
    noise = np.random.default_rng(7).normal(0, 0.05, 48_000)
    path = tmp_path_factory.mktemp("microphone") / "spoken.wav"
    soundfile.write(path, np.concatenate([noise, np.zeros(3 * 48_000)]), 48_000, subtype="PCM_16")
    with chromium(playwright.sync_playwright, path) as opened:
        yield opened


@pytest.fixture
def secured(filled: Path, shipped: Rooms, tmp_path: Path) -> Iterator[Secured]:
    """Where the application is served over https, and who may sign in."""
    with serve_secured(rooms_in(shutil.copytree(filled, tmp_path / "home"), shipped)) as served:
        yield served


def test_from_the_invitation_to_signing_out_by_keyboard_alone(browser: Any, secured: Secured) -> None:
    """On a phone: choose a passphrase, look at one's own sign-in, sign out, sign in again; each page is sound."""
    url, people = secured.url, secured.people
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
    page.wait_for_url(f"{url}/sign-in*")
    page.wait_for_selector("#name:focus")
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


class Always:
    """A recogniser that hears one line in everything."""

    name = "always"

    def hear(self, samples: Any, hints: Any = ()) -> Any:
        return FakeRecogniser(["left tail lamp gasket is torn"]).hear(samples)


def test_a_phone_dictates_over_https_under_its_persons_name(browser: Any, secured: Secured) -> None:
    """The microphone is given, sound goes over the encrypted connection, entries come; when the sign-in is taken away,
    listening ends, and what was spoken stays on the phone until the next one.
    """  # fmt: skip
    secured.rooms.__dict__["engine"] = Always()
    secured.app.state.live.detector = ToneDetector
    code = secured.people.invite("Rosa", ["technician"])
    page = new_page(browser, 360, ignore_https_errors=True, permissions=["microphone"])
    page.goto(f"{secured.url}/join?code={code}")
    page.fill("#passphrase", PASSPHRASE)
    page.fill("#again", PASSPHRASE)
    page.keyboard.press("Enter")
    page.wait_for_selector("table.jobs")
    page.goto(f"{secured.url}/jobs/{secured.rooms.store.job('Unit 7').id}/bay")
    page.click("#talk")
    page.wait_for_selector(".big-entries .side")
    assert "LEFT tail lamp" in page.inner_text("#told")
    page.click("#talk")
    page.wait_for_selector("#talk[aria-pressed=false]")
    assert page.is_hidden("#held")
    assert secured.rooms.store.job("Unit 7").entries[0].place == "tail-lamp"
    secured.people.end_all(secured.people.find("Rosa"))
    page.click("#talk")
    page.wait_for_selector("#held:not([hidden])")
    assert "Still on this phone" in page.inner_text("#held")
    page.wait_for_timeout(1500)
    page.click("#talk")
    token = secured.people.begin(secured.people.find("Rosa"), "the same phone")
    page.context.add_cookies([{"name": COOKIE, "value": token, "url": secured.url, "secure": True, "httpOnly": True}])
    page.reload()
    page.wait_for_function("() => document.querySelector('#held').hidden")
    page.wait_for_function("() => document.querySelectorAll('.big-entries .side').length === 2")
    page.context.close()


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


def test_the_policy_stops_what_would_be_smuggled_into_a_page(browser: Any, secured: Secured) -> None:
    """If markup ever got into a page, nothing of it would run or load: tried by putting it there on the way."""
    url = secured.url
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
