"""A house of its own for each test: three jobs, the shipped vocabulary, a recogniser that knows its lines."""

from __future__ import annotations

import re
import shutil
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import pytest
import soundfile

pytest.importorskip("fastapi", reason="the pages need fieldnote[page]")

from argon2 import PasswordHasher
from fastapi import FastAPI
from fastapi.testclient import TestClient

from fieldnote.flow import Rooms, open_job, read_text
from fieldnote.flow.crew import HeardRecording, Task
from fieldnote.records import Intake, Job, Utterance, Word
from fieldnote.web.app import create_app
from fieldnote.web.guard import Limits
from fieldnote.web.passphrases import Keeper
from fieldnote.web.people import People
from fieldnote.web.sign_in import COOKIE, SignIn

HOST = "127.0.0.1:8460"
LINES = (
    "Carpet on the right rear floor is soaked.",
    "Hose on the right tail lamp, leaks after two minutes.",
    "I think the gasket on the right tail lamp is torn.",
    "Replaced the gasket on the right tail lamp.",
    "Hose on the right tail lamp for ten minutes, dry.",
    "The wobbly doodad was crusty.",
)
"""A scenario of our own."""


@dataclass
class Lines:
    """Hears one line in every recording, in turn; a recording is heard where ``fault`` names none."""

    lines: list[str] = field(default_factory=list)
    heard: list[str] = field(default_factory=list)

    def __call__(self, task: Task) -> HeardRecording:
        self.heard.append(task.path)
        text = self.lines.pop(0) if self.lines else ""
        info = soundfile.info(task.path)
        words = tuple(Word(w, 0.5 + 0.3 * n, 0.8 + 0.3 * n, 0.95) for n, w in enumerate(text.split()))
        said = (Utterance("", text, from_s=0.5, to_s=words[-1].to_s, confidence=0.95, words=words),) if text else ()
        return HeardRecording(task.path, "fake", info.duration, info.samplerate, info.channels, said)


@dataclass
class House:
    """An application under test, the rooms behind it, and what its recogniser will hear."""

    rooms: Rooms
    client: TestClient
    hears: Lines

    def token(self, path: str = "/new") -> str:
        """The token of a page, as its form carries it."""
        found = re.search(r'name="token" value="([0-9a-f]{64})"', self.client.get(path).text)
        assert found is not None
        return found[1]

    def send(self, path: str, **fields: object) -> object:
        """Send a form as the page would."""
        return self.client.post(path, data={"token": self.token(), **fields}, follow_redirects=False)

    def job(self, name: str = "Unit 9") -> Job:
        return self.rooms.store.job(name)

    def wait_heard(self, job_id: str) -> None:
        """Wait until nothing of the job is being heard."""
        import time

        for _ in range(400):
            if not self.client.get(f"/jobs/{job_id}/hearing").json()["waiting"]:
                return
            time.sleep(0.01)
        raise AssertionError("still hearing")


@pytest.fixture(scope="session")
def shipped() -> Rooms:
    """The vocabulary, the map and the extractor, read once for all tests."""
    rooms = Rooms(Path("/nonexistent"))
    assert rooms.extractor and rooms.leak_map and rooms.cautions
    return rooms


def rooms_in(home: Path, shipped: Rooms) -> Rooms:
    """Rooms with a data folder of their own and the vocabulary that was read already."""
    rooms = Rooms(home)
    for name in ("pack", "extractor", "leak_map", "cautions", "settings"):
        rooms.__dict__[name] = shipped.__dict__[name]
    return rooms


@pytest.fixture(scope="session")
def filled(shipped: Rooms, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A data folder with three jobs: "Unit 9" with words typed, "Unit 8" closed, "Unit 7" empty."""
    rooms = rooms_in(tmp_path_factory.mktemp("filled"), shipped)
    fill(rooms)
    rooms.store.close()
    return rooms.home


@pytest.fixture
def house(filled: Path, shipped: Rooms, tmp_path: Path) -> Iterator[House]:
    """A copy of the filled folder, to be changed."""
    yield from _open(shutil.copytree(filled, tmp_path / "home"), shipped)


@pytest.fixture(scope="session")
def still(filled: Path, shipped: Rooms, tmp_path_factory: pytest.TempPathFactory) -> Iterator[House]:
    """The same for tests that change nothing: opened once."""
    yield from _open(shutil.copytree(filled, tmp_path_factory.mktemp("still") / "home"), shipped)


def _open(home: Path, shipped: Rooms) -> Iterator[House]:
    rooms, hears = rooms_in(home, shipped), Lines()
    app = create_app(rooms, [HOST], hears=lambda: hears, limits=Limits(sound=400_000, form=20_000))
    with TestClient(app, base_url=f"http://{HOST}") as client:
        yield House(rooms, client, hears)
    rooms.store.close()


def fill(rooms: Rooms) -> None:
    open_job(rooms.store, "Unit 7")
    closed = open_job(rooms.store, "Unit 8")
    rooms.store.amend_job(closed.id, "status", "closed", "Ada")
    job = open_job(rooms.store, "Unit 9", Intake(vehicle="minibus", order_number="W-71", complaint="wet floor"))
    read_text(rooms.store, job, "\n".join(LINES), rooms.extractor, person="Ada")


@pytest.fixture
def entry_where(house: House) -> Callable[..., str]:
    """The id of the first entry of "Unit 9" whose fields are these."""

    def find(**fields: object) -> str:
        for entry in house.job().entries:
            if all(getattr(entry, name) == value for name, value in fields.items()):
                return entry.id
        raise AssertionError(f"no entry with {fields}")

    return find


def wav(path: Path, seconds: float = 2.0, rate_hz: int = 16_000) -> Path:
    """A WAV file of quiet noise."""
    noise = np.random.default_rng(7).normal(0, 0.02, int(seconds * rate_hz))
    soundfile.write(path, noise, rate_hz, subtype="PCM_16")
    return path


SHOP = "shop-pc.local:8460"
PASSPHRASE = "violet kettle under maple"


@dataclass
class Shop:
    """The application as it is served on a network: over https, with a sign-in, and the time in our hands."""

    rooms: Rooms
    app: FastAPI
    people: People
    clock: list[float]

    def client(self, name: str = "", *, address: str = "192.0.2.20") -> TestClient:
        """A browser; where a name is given, one that is signed in under it."""
        made = TestClient(self.app, base_url=f"https://{SHOP}", client=(address, 50_000), follow_redirects=False)
        if name:
            made.cookies.set(COOKIE, self.people.begin(self.people.find(name), "a test"))
        return made

    def job(self, name: str = "Unit 9") -> Job:
        return self.rooms.store.job(name)


def token_of(client: TestClient, path: str) -> str:
    """The token of a page's form."""
    return token_in(client.get(path).text)


def token_in(text: str) -> str:
    """The token in a page."""
    found = re.search(r'name="token" value="([0-9a-f]{64})"', text)
    assert found is not None
    return found[1]


def quick_keeper() -> Keeper:
    """Argon2 at its lowest cost, so that tests do not wait."""
    return Keeper(lambda: PasswordHasher(time_cost=1, memory_cost=8, parallelism=1))


@pytest.fixture
def shop(filled: Path, shipped: Rooms, tmp_path: Path) -> Iterator[Shop]:
    """Rosa (technician), Ira (clerk) and Lu (lead), each with ``PASSPHRASE``."""
    rooms = rooms_in(shutil.copytree(filled, tmp_path / "home"), shipped)
    clock = [time.time()]
    people = People(rooms.home, rooms.settings.sign_in, clock=lambda: clock[0])
    sign_in = SignIn(people, rooms.settings.roles, keeper=quick_keeper())
    for name, role in (("Rosa", "technician"), ("Ira", "clerk"), ("Lu", "lead")):
        people.join(people.invite(name, [role]), sign_in.keeper.kept(PASSPHRASE))
    app = create_app(rooms, [SHOP], hears=lambda: Lines(), sign_in=sign_in, scheme="https")
    yield Shop(rooms, app, people, clock)
    app.state.live.close()
    app.state.house.listening.close()
    people.close()
    rooms.store.close()
