"""The bay in a real browser: from spoken file to signed write-up, dead Wi-Fi, photos, one thumb, keyboard, axe-core.

They need Debian's Chromium and Playwright for Python: ``apt-get install chromium`` and
``pip install playwright axe-playwright-python``. Without them these tests are skipped.
"""

from __future__ import annotations

import io
import os
import shutil
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile
import soxr
from PIL import Image

from fieldnote.flow import Rooms
from fieldnote.store import Store
from fieldnote.testing import FakeRecogniser
from tests.flow.spoken_tones import ToneDetector
from tests.web.browsing import CHROMIUM, TOO_SMALL, WCAG, Served, chromium, new_page, serving, tab_to
from tests.web.conftest import rooms_in

playwright = pytest.importorskip("playwright.sync_api", reason="pip install playwright (and apt-get install chromium)")
axe = pytest.importorskip("axe_playwright_python.sync_playwright", reason="pip install axe-playwright-python")
pytestmark = [
    pytest.mark.skipif(CHROMIUM is None, reason="no Chromium: apt-get install chromium"),
    pytest.mark.slow,
]
SAMPLES = Path(__file__).parents[2] / "sample_audio"
CLIP = "06-lamp-test.flac"
"""Says "Hose on the right tail lamp for five minutes, dry inside." (a synthetic voice, of the demo job)."""


class Always:
    """A recogniser that hears one line in everything."""

    name = "always"

    def __init__(self, line: str) -> None:
        self.line = line

    def hear(self, samples: Any, hints: Any = ()) -> Any:
        return FakeRecogniser([self.line]).hear(samples)


@pytest.fixture(scope="module")
def browser(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Any]:
    """Chromium into whose microphone the clip is spoken, then silence, again and again."""
    spoken, rate_hz = soundfile.read(SAMPLES / CLIP, dtype="float32")
    silence = np.zeros(48_000, np.float32)
    sound = np.concatenate([silence[:9600], soxr.resample(spoken, rate_hz, 48_000), *[silence] * 5])
    path = tmp_path_factory.mktemp("microphone") / "spoken.wav"
    soundfile.write(path, sound, 48_000, subtype="PCM_16")
    with chromium(playwright.sync_playwright, path) as opened:
        yield opened


@pytest.fixture
def served(filled: Path, shipped: Rooms, tmp_path: Path) -> Iterator[Served]:
    """The application, with a recogniser that always hears the same."""
    rooms = rooms_in(shutil.copytree(filled, tmp_path / "home"), shipped)
    rooms.__dict__["engine"] = Always("left tail lamp gasket is torn")
    with serving(rooms) as running:
        running.app.state.live.detector = ToneDetector
        yield running


@pytest.fixture
def hearing(filled: Path, shipped: Rooms, tmp_path: Path) -> Iterator[Served]:
    """The application with the recogniser and the voice detector that are shipped."""
    with serving(rooms_in(shutil.copytree(filled, tmp_path / "home"), shipped)) as running:
        yield running


def test_from_a_spoken_file_to_a_signed_write_up(browser: Any, hearing: Served) -> None:
    """By keyboard alone: a job is begun, spoken, read, confirmed and signed; real sound, the shipped recogniser."""
    page = new_page(browser)
    page.goto(f"{hearing.url}/bay")
    tab_to(page, "", "#talk")
    page.keyboard.press("Enter")
    page.wait_for_selector("#caption:not(:empty)")
    page.wait_for_selector("#told .told-spot", timeout=30_000)
    assert "RIGHT" in page.inner_text("#told") and "tail lamp" in page.inner_text("#told")
    assert "dry for 5 minutes" in page.inner_text("#told")
    assert page.get_attribute("#talk", "aria-pressed") == "true"
    page.keyboard.press("Enter")
    page.wait_for_selector("#talk[aria-pressed=false]")
    page.wait_for_selector(".big-entries .side")
    assert page.is_hidden("#held")
    tab_to(page, "Desk")
    page.keyboard.press("Enter")
    page.wait_for_selector(".story .sentence")
    assert "five minutes" in page.inner_text(".story") or "5 minutes" in page.inner_text(".story")
    page.focus(".story .sentence >> nth=0")
    page.keyboard.press("Enter")
    page.wait_for_function("() => document.querySelector('#player').currentTime > 0")
    assert "Playing" in page.inner_text("#playing")
    page.keyboard.press("Escape")
    tab_to(page, "Sign off")
    page.keyboard.press("Enter")
    page.wait_for_url("**/sign-off")
    while left := page.locator(".confirms button").count():
        page.focus(".confirms button >> nth=0")
        page.keyboard.press("Enter")
        page.wait_for_function("(left) => document.querySelectorAll('.confirms button').length < left", arg=left)
    tab_to(page, "", "form[action$='/sign-off'] button:last-of-type")
    page.keyboard.press("Enter")
    page.wait_for_url("**/versions/1")
    (job,) = [hearing.rooms.store.job(line.id) for line in hearing.rooms.store.jobs() if "Unit" not in line.name]
    (version,) = hearing.rooms.store.versions(job.id)
    assert version.hash in page.content()
    assert [(e.kind, e.place, e.side, e.state) for e in job.entries][:1] == [("test", "tail-lamp", "right", "dry")]
    assert sum(clip.duration_s for clip in job.clips) > 4 and {clip.rate_hz for clip in job.clips} == {16_000}
    assert page.faults == []
    page.context.close()


def test_a_side_and_a_part_are_touched_while_one_talks_on(browser: Any, served: Served) -> None:
    """Entries appear while listening goes on; a touch changes one and breaks nothing off."""
    page = new_page(browser, scheme="dark")
    page.add_init_script(TOLD_BY)
    page.goto(served.job("Unit 7") + "/bay")
    page.click("[data-answers=voice]")
    page.click("#talk")
    page.wait_for_selector(".big-entries .side")
    shakes, spoken = page.evaluate("[window.shakes, window.spoken]")
    assert [60] in shakes and [40] in shakes  # listening, kept
    assert "left" in spoken  # what must not be misheard, by a voice of this phone and not of a network
    assert page.inner_text("#told .told-spot") == "LEFT tail lamp, gasket"
    page.click(".sides button[value=right]")
    page.wait_for_selector(".big-entries .side:text('right')")
    page.wait_for_selector(".notice >> text=Kept")
    other = page.locator(".other-parts button").first
    part, name = other.get_attribute("value"), other.inner_text()
    other.click()
    page.wait_for_selector(f".spot:has-text('{name}')")
    assert page.get_attribute("#talk", "aria-pressed") == "true"
    page.click("#talk")
    page.wait_for_selector("#talk[aria-pressed=false]")
    job = served.rooms.store.job("Unit 7")
    assert (job.entries[0].side, job.entries[0].part) == ("right", part)
    assert {edit.field for edit in job.edits} == {"side", "part"}
    assert page.faults == []
    page.context.close()


TOLD_BY = """
window.shakes = []; window.spoken = [];
navigator.vibrate = (how) => window.shakes.push(how);
const voices = [{ lang: 'en-US', localService: false, default: true }, { lang: 'en-GB', localService: true }];
Object.defineProperty(window, 'speechSynthesis', { value: {
  speaking: false, getVoices: () => voices, cancel() {}, addEventListener() {},
  speak(words) { if (words.voice === voices[1]) window.spoken.push(words.text); },
} });
window.SpeechSynthesisUtterance = class { constructor(text) { this.text = text; } };
"""
"""Stands where the phone's motor and voices would be: one voice of a network, one of the phone."""


def test_dead_wifi_loses_nothing(browser: Any, served: Served) -> None:
    """What is said without a network stays on the phone, says so, and is sent from the next page that is opened."""
    page = new_page(browser)
    page.goto(served.job("Unit 7") + "/bay")
    page.context.set_offline(True)
    page.click("#talk")
    page.wait_for_selector("#held:not([hidden])")
    page.wait_for_timeout(700)
    page.click("#talk")
    page.wait_for_selector("#talk[aria-pressed=false]")
    assert "Still on this phone: 0:0" in page.inner_text("#held-text")
    assert served.rooms.store.job("Unit 7").clips == ()
    kept_s = page.evaluate(KEPT_S)
    other = page.context.new_page()
    page.close()
    page.context.set_offline(False)
    other.goto(f"{served.url}/")
    other.wait_for_function("async () => (await (await import('/static/kept-here.js')).takes()).length === 0")
    other.wait_for_selector("#still-here", state="hidden")
    served.app.state.live.close()
    clips = served.rooms.store.job("Unit 7").clips
    why = served.app.state.live.faults, sorted(path.name for path in (served.rooms.home / "journal").rglob("*"))
    assert sum(clip.duration_s for clip in clips) == pytest.approx(kept_s, abs=0.001), why
    other.context.close()


KEPT_S = "async () => (await (await import('/static/kept-here.js')).takes())[0].samples / 16000"


def test_a_line_that_breaks_is_taken_up_again(browser: Any, served: Served) -> None:
    """The connection dies twice in the middle of a sentence: every sample is there, once, and in order."""
    page = new_page(browser)
    broken: list[Any] = []
    frames: dict[int, bytes] = {}

    def between(line: Any) -> None:
        beyond = line.connect_to_server()
        seen = [0]

        def pass_on(message: Any) -> None:
            if isinstance(message, bytes):
                seen[0] += 1
                frames[int.from_bytes(message[:4], "little")] = message[12:]
                if seen[0] == 3 and len(broken) < 2:
                    broken.append(line)
                    beyond.close()
                    line.close()
                    return
            beyond.send(message)

        line.on_message(pass_on)

    page.route_web_socket("**/stream", between)
    page.goto(served.job("Unit 7") + "/bay")
    page.click("#talk")
    page.wait_for_timeout(3500)
    page.click("#talk")
    page.wait_for_selector("#talk[aria-pressed=false]")
    page.wait_for_function("async () => (await (await import('/static/kept-here.js')).takes()).length === 0")
    assert len(broken) == 2
    served.app.state.live.close()
    clips = served.rooms.store.job("Unit 7").clips
    sound = np.concatenate([soundfile.read(served.rooms.home / clip.path, dtype="int16")[0] for clip in clips])
    assert sound.astype("<i2").tobytes() == b"".join(frames[number] for number in sorted(frames))
    assert sorted(frames) == list(range(len(frames))) and len(frames) > 6
    assert np.abs(sound).max() > 1000
    page.context.close()


@pytest.mark.soak
def test_a_server_killed_while_one_talks_loses_nothing(browser: Any, filled: Path, tmp_path: Path) -> None:
    """SIGKILL in the middle of a sentence, another server at the same address: the phone goes on by itself.

    The sound that is kept is what the phone has recorded, and the words are understood once.
    """
    home = shutil.copytree(filled, tmp_path / "home")
    with socket.create_server(("127.0.0.1", 0)) as free:
        port = free.getsockname()[1]
    server = served_apart(home, port)
    page = new_page(browser)
    recorded: dict[int, bytes] = {}
    page.on("websocket", lambda line: line.on("framesent", lambda data: note_frame(recorded, data)))
    with Store(home) as store:
        job_id = store.job("Unit 7").id
    page.goto(f"http://127.0.0.1:{port}/jobs/{job_id}/bay")
    page.click("#talk")
    page.wait_for_timeout(2500)
    server.kill()
    server.wait()
    page.wait_for_timeout(2500)
    assert "Still on this phone" in page.inner_text("#held-text")
    server = served_apart(home, port)
    page.wait_for_selector("#told .told-spot", timeout=60_000)
    page.click("#talk")
    page.wait_for_function(
        "async () => (await (await import('/static/kept-here.js')).takes()).length === 0", timeout=60_000
    )
    page.context.close()
    server.terminate()
    server.wait(30)
    with Store(home) as store:
        clips = store.job(job_id).clips
        left = [p for p in (home / "journal").rglob("*.raw") if p.stat().st_size]
        sound = b"".join(soundfile.read(home / clip.path, dtype="int16")[0].tobytes() for clip in clips)
    sound += b"".join(path.read_bytes() for path in left)
    assert len(sound) == sum(map(len, recorded.values()))
    assert sound.startswith(b"".join(recorded[n] for n in range(12)))


def served_apart(home: Path, port: int) -> subprocess.Popen[bytes]:
    """``fieldnote serve`` in a process of its own, when it answers."""
    run = [sys.executable, "-m", "fieldnote", "serve", "--port", str(port)]
    server = subprocess.Popen(run, env=os.environ | {"FIELDNOTE_HOME": str(home)}, stderr=subprocess.DEVNULL)
    for _ in range(600):
        try:
            socket.create_connection(("127.0.0.1", port)).close()
            return server
        except OSError:
            time.sleep(0.1)
    raise AssertionError("the server never answered")


def note_frame(recorded: dict[int, bytes], data: Any) -> None:
    if isinstance(data, bytes):
        recorded[int.from_bytes(data[:4], "little")] = data[12:]


def test_photos_are_taken_with_two_touches_and_wait_for_the_network(browser: Any, served: Served) -> None:
    """What was understood last, what it shows; without a network it stays on the phone, then stands at its entry."""
    page = new_page(browser)
    page.goto(served.job() + "/bay")
    entry = page.locator(".big-entries li").first
    page.context.set_offline(True)
    with page.expect_file_chooser() as chosen:
        page.click("#take-photo")
    chosen.value.set_files(files=[{"name": "one.jpg", "mimeType": "image/jpeg", "buffer": picture()}])
    page.wait_for_selector("#photo-box[open]")
    assert page.inner_text("#photo-what").strip() in entry.inner_text().replace("\n", " ").lower()
    assert page.evaluate(TOO_SMALL, 44) == []
    page.click("[data-kind=close-up]")
    page.wait_for_selector("#held:not([hidden])")
    assert page.inner_text("#held-text") == "Still on this phone: 1 photo"
    page.context.set_offline(False)
    page.click("#held-send")
    page.wait_for_selector(".big-entries li .thumbs img")
    assert page.is_hidden("#held")
    (photo,) = served.rooms.store.job("Unit 9").photos
    assert photo.entry_id == entry.get_attribute("id").removeprefix("entry-") and photo.kind == "close-up"
    page.context.close()


def picture() -> bytes:
    out = io.BytesIO()
    Image.new("RGB", (800, 600), (90, 60, 40)).save(out, "JPEG")
    return out.getvalue()


PAGES = ("{job}/bay", "{job}/photos", "{job}/vin", "/bay")


@pytest.mark.parametrize(
    ("scheme", "contrast"),
    [
        pytest.param("light", "no-preference", id="light"),
        pytest.param("dark", "more", id="dark, more contrast", marks=pytest.mark.soak),
        pytest.param("light", "more", id="in the sun", marks=pytest.mark.soak),
        pytest.param("dark", "no-preference", id="dark", marks=pytest.mark.soak),
    ],
)
def test_axe_finds_nothing_and_gloves_can_touch(browser: Any, served: Served, scheme: str, contrast: str) -> None:
    """axe-core (WCAG 2.2 A and AA, best practice); in the bay targets of 44 px (2.5.5); nothing runs over."""
    page = new_page(browser, scheme=scheme, contrast=contrast)
    job = served.job().removeprefix(served.url)
    # The first scheme goes over the page that is used most; the long proof over all of them.
    pages = PAGES[:2] if (scheme, contrast) == ("light", "no-preference") else PAGES
    for path in (served.url + path.format(job=job) for path in pages):
        page.goto(path)
        found = axe.Axe().run(page, options={"runOnly": WCAG["runOnly"]})
        told = [f"{v['id']}: {v['nodes'][0]['html'][:120]}" for v in found.response["violations"]]
        assert told == [], path
        assert page.evaluate(TOO_SMALL, 24 if path.endswith("/photos") else 44) == [], path
        assert page.evaluate("document.documentElement.scrollWidth <= document.documentElement.clientWidth"), path
    assert page.faults == []
    page.context.close()


SAMPLED = """async ([rate, pitch]) => {
  const context = new OfflineAudioContext(1, rate * 0.75, rate);
  await context.audioWorklet.addModule('/static/pcm-worklet.js');
  const node = new AudioWorkletNode(context, 'pcm');
  const parts = [];
  node.port.onmessage = ({ data }) => { if (data.samples) parts.push(...data.samples); };
  const tone = new OscillatorNode(context, { frequency: pitch });
  tone.connect(node).connect(context.destination);
  tone.start();
  await context.startRendering();
  await new Promise((done) => setTimeout(done, 30));
  return parts;
}"""


def test_the_microphone_comes_down_to_16_khz_without_folding(browser: Any, served: Served) -> None:
    """Tones within speech keep their pitch and level to 0.5 dB; what lies above 8 kHz is 45 dB down, not folded in."""
    page = new_page(browser)
    page.goto(f"{served.url}/bay")
    for rate_hz in (44_100, 48_000):
        for pitch_hz in (300, 6500):
            level_db, strongest_hz = heard(page.evaluate(SAMPLED, [rate_hz, pitch_hz]))
            assert abs(level_db + 3.01) < 0.5 and abs(strongest_hz - pitch_hz) < 5, (rate_hz, pitch_hz)
        for pitch_hz in (9000, 15_500):
            assert heard(page.evaluate(SAMPLED, [rate_hz, pitch_hz]))[0] < -48, (rate_hz, pitch_hz)
    page.context.close()


def heard(samples: list[int]) -> tuple[float, float]:
    """Level in dB below full scale, and the pitch in hertz."""
    middle = np.asarray(samples[2000:10_000], float) / 32767
    assert len(middle) == 8_000
    spectrum = np.abs(np.fft.rfft(middle * np.hanning(len(middle))))
    level = 10 * np.log10(np.mean(middle**2) + 1e-12)
    return float(level), float(np.argmax(spectrum)) * 2
