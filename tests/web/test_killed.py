"""The server is killed at any moment: what it had confirmed is there, and what it had not does no harm."""

from __future__ import annotations

import hashlib
import random
import shutil
import sys
import threading
import time
from dataclasses import dataclass, field
from pathlib import Path

import httpx
import pytest

from fieldnote.flow import Rooms
from fieldnote.store.checking import check
from tests.web.conftest import rooms_in, wav
from tests.web.serving import Serving, browser

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="SIGKILL is POSIX")


@dataclass
class Confirmed:
    """What the server said that it had kept."""

    sounds: set[str] = field(default_factory=set)
    odometers: list[str] = field(default_factory=list)
    jobs: set[str] = field(default_factory=set)


def work(url: str, folder: Path, confirmed: Confirmed, dictates: bool, first: int) -> None:
    """Send recordings, changes and new jobs until the server is gone."""
    try:
        with browser(url) as client:
            found = client.get("/", params={"q": "Unit 9"})
            assert found.status_code == 200 and 'href="/jobs/' in found.text, found.text
            job = found.text.split('href="/jobs/')[1].split('"')[0]
            for number in range(10_000):
                if dictates:
                    data = wav(folder / "take.wav", 0.2 + 0.001 * number).read_bytes()
                    files = {"recording": ("take.wav", data, "audio/wav")}
                    answer = client.post(f"/jobs/{job}/sound", files=files, headers={"accept": "application/json"})
                    assert answer.json()["kept"] == hashlib.sha256(data).hexdigest()
                    confirmed.sounds.add(answer.json()["kept"])
                reading = str(first + number)
                if client.post(f"/jobs/{job}/intake", data={"odometer": f"{reading} mi"}).status_code == 303:
                    confirmed.odometers.append(reading)
                name = f"{folder.name} {number}"
                if client.post("/new", data={"name": name}).status_code == 303:
                    confirmed.jobs.add(name)
    except httpx.TransportError:
        return


def readings(home: Path, shipped: Rooms) -> list[str]:
    """Every odometer reading that the job was ever given, in order."""
    rooms = rooms_in(home, shipped)
    edits = rooms.store.job("Unit 9").edits
    rooms.store.close()
    return [f"{float(str(edit.after)):.0f}" for edit in edits if edit.field == "intake.odometer"]


def killed_once(home: Path, folder: Path, shipped: Rooms, seconds: float, *, dictates: bool) -> Confirmed:
    """Serve, work, kill after so many seconds; then look at what is there."""
    before = len(readings(home, shipped))
    serving, confirmed = Serving(home), Confirmed()
    try:
        worker = threading.Thread(target=work, args=(serving.url, folder, confirmed, dictates, 50_000 + 1000 * before))
        worker.start()
        begun = time.monotonic()
        while not confirmed.jobs and time.monotonic() - begun < 60:
            time.sleep(0.05)
        time.sleep(seconds)
    finally:
        serving.kill()
    worker.join(30)
    assert not worker.is_alive()
    rooms = rooms_in(home, shipped)
    job = rooms.store.job("Unit 9")
    clips = {clip.sha256: clip for clip in job.clips}
    assert confirmed.sounds <= set(clips)
    for sha256 in confirmed.sounds:
        assert hashlib.sha256((home / clips[sha256].path).read_bytes()).hexdigest() == sha256
    assert readings(home, shipped)[before:][: len(confirmed.odometers)] == confirmed.odometers
    assert confirmed.jobs <= {line.name for line in rooms.store.jobs()}
    findings = [finding for finding in check(rooms.store).findings if not finding.mendable]
    assert findings == []
    rooms.store.close()
    return confirmed


@pytest.mark.slow
def test_what_was_confirmed_outlives_a_kill(filled: Path, shipped: Rooms, tmp_path: Path) -> None:
    """New jobs and changes, with the server killed while it was at the next."""
    home = shutil.copytree(filled, tmp_path / "home")
    confirmed = killed_once(home, tmp_path, shipped, 0.5, dictates=False)
    assert confirmed.jobs and confirmed.odometers


@pytest.mark.soak
def test_what_was_confirmed_outlives_many_kills(filled: Path, shipped: Rooms, tmp_path: Path) -> None:
    """The same with recordings, twenty times over on one data folder, at moments that chance chooses."""
    home, chance, sounds = shutil.copytree(filled, tmp_path / "home"), random.Random(7), 0
    for round in range(20):
        folder = tmp_path / f"round-{round}"
        folder.mkdir()
        sounds += len(killed_once(home, folder, shipped, chance.uniform(0, 4), dictates=True).sounds)
        for part in (home / "sound").glob(".part-*"):
            part.unlink()  # the one thing that a kill may leave: a copy that was not finished
    print(f"{sounds} recordings confirmed, none lost")
    assert sounds > 20
