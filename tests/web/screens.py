"""Takes the screenshots in docs/screens from a data folder that holds the demo job.

Usage::

    fieldnote job new "Unit 217" --vehicle "minibus" --order W-3308 --liquid rain
    fieldnote take "Unit 217" sample_audio/*.flac
    fieldnote job claim "Unit 217" --payer maker --failed-part 55012-A --part "1 x 55012-A gasket" --diagnosis 0.8
    python -m tests.web.screens
"""

from __future__ import annotations

import io
import shutil
import socket
import tempfile
import threading
from pathlib import Path
from typing import Any

from PIL import Image
from playwright.sync_api import sync_playwright

from fieldnote.cli.serve import hosts_of
from fieldnote.flow import Rooms
from fieldnote.web.app import create_app

OUT = Path(__file__).parents[2] / "docs" / "screens"
SAMPLES = Path(__file__).parents[2] / "sample_audio"
COLOURS = 96
JOB = "Unit 217"


def main() -> None:
    """Serve the data folder on a free port and photograph its pages."""
    import uvicorn

    rooms = Rooms()
    job = f"/jobs/{rooms.store.job(JOB).id}"
    listening = socket.create_server(("127.0.0.1", 0))
    port = listening.getsockname()[1]
    server = uvicorn.Server(uvicorn.Config(create_app(rooms, hosts_of("127.0.0.1", port)), log_level="warning"))
    thread = threading.Thread(target=server.run, kwargs={"sockets": [listening]})
    thread.start()
    OUT.mkdir(parents=True, exist_ok=True)
    with sync_playwright() as running:
        flags = ["--no-sandbox", "--disable-gpu", "--use-fake-device-for-media-stream"]
        flags += ["--use-fake-ui-for-media-stream", f"--use-file-for-fake-audio-capture={spoken_file()}"]
        browser = running.chromium.launch(executable_path=shutil.which("chromium"), args=flags)
        take(browser, f"http://127.0.0.1:{port}", job)
        browser.close()
    server.should_exit = True
    thread.join()


def take(browser: Any, url: str, job: str) -> None:
    """Each page in the width and the colours in which it is used."""
    for name, path, width, scheme in (
        ("jobs-1280-light", "/", 1280, "light"),
        ("desk-1280-light", job, 1280, "light"),
        ("desk-1280-dark", job, 1280, "dark"),
        ("desk-360-light", job, 360, "light"),
        ("bay-360-light", f"{job}/bay", 360, "light"),
        ("bay-360-dark", f"{job}/bay", 360, "dark"),
        ("bay-talking-360-light", f"{job}/bay", 360, "light"),
        ("bay-photo-360-light", f"{job}/bay", 360, "light"),
        ("vin-360-light", f"{job}/vin", 360, "light"),
        ("bay-1280-light", f"{job}/bay", 1280, "light"),
        ("sign-off-1280-light", f"{job}/sign-off", 1280, "light"),
        ("claim-1280-light", f"{job}/claim", 1280, "light"),
        ("guide-1280-light", "/guide/d-pillar", 1280, "light"),
    ):
        height = 900 if width > 500 else 740
        page = browser.new_page(viewport={"width": width, "height": height}, color_scheme=scheme)
        page.context.add_cookies([{"name": "fieldnote_who", "value": "Rosa", "url": url}])
        page.goto(url + path)
        if path == job:
            page.locator("ol.prose a.sentence").nth(2).click()
            page.wait_for_timeout(1500)
        if "talking" in name:
            talk(page)
        if "photo" in name:
            photograph(page)
        file = OUT / f"{name}.png"
        page.screenshot(path=file)
        page.close()
        Image.open(file).convert("RGB").quantize(COLOURS).save(file, optimize=True)
        print(f"{file.name}: {file.stat().st_size // 1000} kB")


def talk(page: Any) -> None:
    """Say the second sample into the microphone, and wait until it is understood and the next words show."""
    page.click("#talk")
    page.wait_for_selector("#told .told-spot", timeout=60_000)
    page.wait_for_selector("#caption:not(:empty)", timeout=60_000)


def photograph(page: Any) -> None:
    """Take a picture of the sketch of a lamp: photos of real vehicles stay out of the documents."""
    with page.expect_file_chooser() as chosen:
        page.click("#take-photo")
    picture = Image.effect_noise((800, 600), 12).convert("RGB")
    for n, box in enumerate(((120, 90, 690, 520), (200, 150, 610, 460), (300, 230, 520, 390))):
        picture.paste((150 - 40 * n, 160 - 40 * n, 165 - 40 * n), box)
    out = io.BytesIO()
    picture.save(out, "JPEG")
    chosen.value.set_files(files=[{"name": "lamp.jpg", "mimeType": "image/jpeg", "buffer": out.getvalue()}])
    page.wait_for_selector("#photo-box[open]")


def spoken_file() -> Path:
    """Two samples one after the other, for the microphone."""
    import numpy as np
    import soundfile
    import soxr

    parts = [np.zeros(24_000, np.float32)]
    for name in ("06-lamp-test", "08-rack-screw"):
        sound, rate_hz = soundfile.read(SAMPLES / f"{name}.flac", dtype="float32")
        parts += [soxr.resample(sound, rate_hz, 48_000), np.zeros(48_000, np.float32)]
    path = Path(tempfile.mkdtemp(prefix="fieldnote-screens-")) / "spoken.wav"
    soundfile.write(path, np.concatenate(parts), 48_000, subtype="PCM_16")
    return path


if __name__ == "__main__":
    main()
