"""The desk in a real browser: a sentence and its sound, confirming by ear, copying the short form, the spoken minute.

They need Debian's Chromium and Playwright for Python: ``apt-get install chromium`` and ``pip install playwright``.
Without them these tests are skipped.
"""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from fieldnote.flow import Rooms
from fieldnote.flow.claiming import set_claim
from fieldnote.flow.understanding import understand
from fieldnote.records import Claim, Clip, Utterance, Word
from tests.web.browsing import CHROMIUM, Served, chromium, new_page, serving, tab_to
from tests.web.conftest import rooms_in, wav

playwright = pytest.importorskip("playwright.sync_api", reason="pip install playwright (and apt-get install chromium)")
pytestmark = pytest.mark.skipif(CHROMIUM is None, reason="no Chromium: apt-get install chromium")
SAID = (
    "Hose on the right tail lamp, leaks after two minutes.",
    "I think the gasket on the right tail lamp is torn.",
    "Replaced the gasket on the right tail lamp.",
)
EVERY_S = 4.0
"""From the beginning of one sentence to that of the next."""
VOICE = """() => {
  globalThis.said = [];
  const ours = { name: "ours", lang: "en-US", localService: true, default: true };
  const quiet = { addEventListener() {}, getVoices: () => [ours], cancel() {},
    speak(line) { said.push(line.text); setTimeout(() => line.done(), 0); } };
  Object.defineProperty(globalThis, "speechSynthesis", { value: quiet });
  globalThis.SpeechSynthesisUtterance = class {
    constructor(text) { this.text = text; this.done = () => {}; }
    addEventListener(name, heard) { if (name === "end") this.done = heard; }
  };
}"""
"""Chromium without a desktop has no voice: one that notes what it was given to say."""


@pytest.fixture(scope="module")
def browser(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Any]:
    """Chromium."""
    with chromium(playwright.sync_playwright, wav(tmp_path_factory.mktemp("microphone") / "quiet.wav")) as opened:
        yield opened


@pytest.fixture
def served(filled: Path, shipped: Rooms, tmp_path: Path) -> Iterator[Served]:
    """The pages, with one recording of three sentences in "Unit 7"; in the first the side was heard unsurely."""
    rooms = rooms_in(shutil.copytree(filled, tmp_path / "home"), shipped)
    store, job = rooms.store, rooms.store.job("Unit 7")
    path = wav(tmp_path / "one.wav", EVERY_S * len(SAID))
    clip = store.add_clip(job.id, store.sounds.keep(path), Clip("", "", "one.wav", "", EVERY_S * len(SAID), 16_000, 1))
    hearing, _ = store.begin_hearing(job.id, clip, "fake")
    for n, text in enumerate(SAID):
        at = EVERY_S * n
        words = text.split()
        timed = tuple(
            Word(word, at + 0.3 * k, at + 0.3 * k + 0.3, 0.4 if n == 0 and word == "right" else 0.97)
            for k, word in enumerate(words)
        )
        store.add_heard(hearing, Utterance(f"u{n}", text, clip.id, at, at + 0.3 * len(words), 0.9, timed), at + 4)
    store.end_hearing(hearing)
    understand(store, store.job(job.id), rooms.extractor)
    with serving(rooms) as found:
        yield found


@pytest.mark.slow
def test_the_clerks_way_by_keyboard_alone(browser: Any, served: Served) -> None:
    """A sentence lights its entry and plays from its second; each doubt is confirmed; what was signed is frozen."""
    page = new_page(browser, 1280)
    page.goto(served.job("Unit 7"))
    page.focus(".story ol .sentence >> nth=2")
    page.keyboard.press("Enter")
    lit = page.locator(".entry.on")
    assert lit.count() == 1 and "Replaced the gasket" in lit.inner_text()
    page.wait_for_function("() => document.querySelector('#player').currentTime >= 7.7")
    assert page.evaluate("document.querySelector('#player').currentTime") < 9.5
    assert "Replaced" in page.inner_text("#playing")
    page.keyboard.press("Escape")
    assert page.evaluate("document.querySelector('#player').paused") and lit.count() == 0
    tab_to(page, "Sign off")
    page.keyboard.press("Enter")
    page.wait_for_selector(".confirms")
    assert page.locator(".confirms button").count() == 2
    tab_to(page, "", ".confirms button")
    page.keyboard.press("Enter")
    page.wait_for_selector(".confirm .done")
    page.reload()
    assert page.locator(".confirms button").count() == 1
    tab_to(page, "", ".confirms button")
    page.keyboard.press("Enter")
    page.get_by_text("Everything doubtful is confirmed.").wait_for()
    tab_to(page, "Sign this write-up")
    page.keyboard.press("Enter")
    page.wait_for_url("**/versions/1")
    assert page.faults == []
    page.context.close()


@pytest.mark.slow
def test_one_touch_copies_a_part_and_the_minute_is_said(browser: Any, served: Served) -> None:
    """What is pasted is what the page shows; the device's own voice says the leaf, whole and in order."""
    job = served.rooms.store.job("Unit 7")
    set_claim(served.rooms.store, job, Claim(payer="maker"), "Ira", served.rooms.pack)
    page = new_page(browser, 360, permissions=["clipboard-read", "clipboard-write"])
    page.add_init_script(f"({VOICE})()")
    page.goto(served.job("Unit 7") + "/claim")
    page.click("button[data-copy=short-cause]")
    page.get_by_text("Copied", exact=True).wait_for()
    assert page.evaluate("navigator.clipboard.readText()") == page.input_value("#short-cause") != ""
    page.goto(served.job("Unit 7") + "/handover")
    page.click("#saying button")
    page.wait_for_function("() => document.querySelector('#saying button').textContent === 'Say it aloud'")
    assert " ".join(page.evaluate("said")) == page.inner_text("#to-say")
    assert page.faults == []
    page.context.close()
