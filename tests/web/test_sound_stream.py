"""Sound over the WebSocket: numbered frames, confirmed when they are on the disk, sent again after a break."""

from __future__ import annotations

import contextlib
import json
import subprocess
import sys
import time
import uuid
import zlib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from starlette.websockets import WebSocketDisconnect

from fieldnote.capture.phone_takes import Tally, read_tally, settle, write_tally
from fieldnote.errors import BadData, DeviceMissing
from fieldnote.flow.phone_recording import FRAME_SAMPLES, Frame, PhoneRecorder, frame_of
from fieldnote.web.live_jobs import LiveJobs
from fieldnote.web.sound_stream import is_private
from tests.flow.spoken_tones import ToneDetector, ToneReader, saying
from tests.web.conftest import HOST, House

LINES = ("left tail lamp gasket is torn", "right cowl drain is blocked", "off the record", "on the record")


def packed(number: int, samples: np.ndarray, flags: int = 0) -> bytes:
    sound = samples.astype("<i2").tobytes()
    head = (number, 4), (zlib.crc32(sound), 4), (flags, 2), (len(samples), 2)
    return b"".join(value.to_bytes(size, "little") for value, size in head) + sound


def frames(samples: np.ndarray) -> list[bytes]:
    starts = range(0, len(samples), FRAME_SAMPLES)
    return [packed(n, samples[at : at + FRAME_SAMPLES]) for n, at in enumerate(starts)]


@pytest.fixture
def talking(house: House) -> Iterator[House]:
    """The house with a recogniser that reads tones."""
    reader = ToneReader(LINES)
    live = LiveJobs(lambda rooms: reader)
    live.detector = ToneDetector  # type: ignore[assignment]
    house.client.app.state.live = live  # type: ignore[attr-defined]
    yield house
    wait_closed(house)


class Phone:
    """What a phone does: opens a take, sends frames, reads what it is told."""

    def __init__(self, house: House, take: str = "", job: str = "Unit 7", **opening: Any) -> None:
        self.house = house
        self.take = take or str(uuid.uuid4())
        self.job_id = house.job(job).id
        self.opening = {"take": self.take, "age_s": 1.0, "token": house.token()} | opening
        self.told: list[dict[str, Any]] = []

    def __enter__(self) -> Phone:
        path = f"ws://{HOST}/jobs/{self.job_id}/stream"
        self._session = self.house.client.websocket_connect(path, headers={"origin": f"http://{HOST}"})
        self.socket = self._session.__enter__()
        self.socket.send_json(self.opening)
        return self

    def __exit__(self, *_: object) -> None:
        self._session.__exit__(None, None, None)

    def until(self, key: str) -> dict[str, Any]:
        """What is told until something with ``key`` comes."""
        for _ in range(400):
            told = json.loads(self.socket.receive_text())
            self.told.append(told)
            if key in told:
                return told
        raise AssertionError(f"{key} was never told: {self.told}")

    def send(self, samples: np.ndarray, start: int = 0) -> None:
        for frame in frames(samples)[start:]:
            self.socket.send_bytes(frame)

    def end(self, samples: np.ndarray) -> None:
        self.socket.send_json({"end": True, "samples": len(samples)})


def sound_of(house: House, job: str = "Unit 7") -> np.ndarray:
    """All sound of a job, in order."""
    import soundfile

    parts = [soundfile.read(house.rooms.home / clip.path, dtype="int16")[0] for clip in house.job(job).clips]
    return np.concatenate(parts)


def test_what_is_said_becomes_entries_and_every_sample_is_kept(talking: House) -> None:
    """From frames to entries in force; the clips put together are what was sent, sample by sample."""
    said = saying(0, 1)
    with Phone(talking) as phone:
        assert phone.until("have") == {"have": 0, "done": False}
        phone.send(said)
        phone.end(said)
        phone.until("done")
        phone.until("heard")
        lines = [line for told in phone.told for line in told.get("lines", ())]
    assert [(line["side"], line["where"], line["what"]) for line in lines] == [
        ("left", "tail lamp, gasket", "torn"),
        ("right", "cowl, drain hole", "blocked"),
    ]
    assert "kept" in {told.get("tone") for told in phone.told}
    wait_closed(talking)
    assert [(e.side, e.place, e.part) for e in talking.job("Unit 7").entries] == [
        ("left", "tail-lamp", "gasket"),
        ("right", "cowl", "drain-hole"),
    ]
    assert np.array_equal(sound_of(talking), said)


def wait_closed(house: House) -> None:
    """Have the server set every job aside, and wait for it."""
    house.client.app.state.live.close()  # type: ignore[attr-defined]


@pytest.mark.parametrize("lost", [1, 5, 9])
def test_after_a_break_the_phone_goes_on_where_the_disk_ends(talking: House, lost: int) -> None:
    """A line that dies in the middle loses nothing and doubles nothing, whatever the phone sends again."""
    said = saying(0, 1)
    with Phone(talking) as phone:
        phone.until("have")
        for frame in frames(said)[:lost]:
            phone.socket.send_bytes(frame)
        phone.socket.send_json({"where": 1})
        phone.until("kept")
    with Phone(talking, phone.take) as again:
        assert again.until("have")["have"] == lost
        again.send(said, start=max(0, lost - 2))  # some of it twice
        again.end(said)
        again.until("heard")
    wait_closed(talking)
    assert np.array_equal(sound_of(talking), said)
    assert len(talking.job("Unit 7").entries) == 2


def test_a_frame_too_early_is_asked_for_again(talking: House) -> None:
    """A gap is never written: the phone is told which frame is wanted."""
    said = saying(0)
    with Phone(talking) as phone:
        phone.until("have")
        phone.socket.send_bytes(frames(said)[3])
        assert phone.until("have") == {"have": 0}


def test_an_ended_take_is_confirmed_again_to_who_asks_again(talking: House) -> None:
    """The answer may get lost: asked again, also by another server, it is the same, and nothing is doubled."""
    said = saying(0)
    with Phone(talking) as phone:
        phone.until("have")
        phone.send(said)
        phone.end(said)
        phone.until("done")
        phone.until("heard")
    wait_closed(talking)
    talking.client.app.state.live = LiveJobs(lambda rooms: ToneReader(LINES))  # type: ignore[attr-defined]
    with Phone(talking, phone.take) as again:
        assert again.until("have")["done"] is True
    assert len(talking.job("Unit 7").entries) == 1


def test_off_the_record_is_kept_nowhere_and_the_phone_may_forget_it(talking: House) -> None:
    """After the words nothing of the sound is on the disk; frames are confirmed all the same."""
    said = saying(0, 2, 1, 3, 1)
    with Phone(talking) as phone:
        phone.until("have")
        phone.send(said)
        phone.end(said)
        phone.until("done")
        phone.until("heard")
    wait_closed(talking)
    modes = [told["mode"] for told in phone.told if "mode" in told]
    assert modes == ["off-the-record", "listening"]
    assert [e.place for e in talking.job("Unit 7").entries] == ["tail-lamp", "cowl"]
    assert len(sound_of(talking)) < len(said) - FRAME_SAMPLES * 4


def test_a_gone_phone_holds_nobody_up(tmp_path: Path) -> None:
    """A phone that stays away ends its stretch; when it comes back the count goes on in another."""
    from fieldnote.capture.journal import Journal

    clock = [0.0]
    journal = Journal(tmp_path, "j1")
    recorder = PhoneRecorder(journal, lambda text, warning: None, monotonic=lambda: clock[0])
    take = recorder.begin(str(uuid.uuid4()), 0.0)
    recorder.receive(take, [Frame(0, saying(0)[:FRAME_SAMPLES])])
    recorder.leave(take)
    clock[0] += 89
    assert not recorder.ended
    clock[0] += 2
    assert recorder.take_new() is not None
    assert not recorder.ended  # it rests for a while, in case the phone comes back
    assert not recorder.busy
    with pytest.raises(DeviceMissing):
        recorder.receive(take, [Frame(1, saying(0)[:FRAME_SAMPLES])])
    back = recorder.begin(take.id, 0.0)
    assert back.next_frame == 1
    recorder.receive(back, [Frame(1, saying(0)[:100])])
    assert recorder.end(back, FRAME_SAMPLES + 100)
    clock[0] += 60
    assert recorder.ended
    journal.close()


def test_after_a_stop_the_count_is_that_of_the_disk(tmp_path: Path) -> None:
    """What lies in the file of an open stretch counts, also where it was split and the line was not yet written."""
    from fieldnote.capture.journal import Journal

    journal = Journal(tmp_path, "j1")
    take_id = str(uuid.uuid4())
    stretch = journal.begin(16_000, "2026-01-05T08:00:00.000000Z", 0.0)
    write_tally(journal.folder, take_id, Tally(1000, stretch.info.id))
    stretch.append(np.zeros(700, np.int16))
    journal.split(stretch, 500, "standing-by", lambda at_s: "2026-01-05T08:00:01.000000Z")
    journal.close()
    settle(journal.folder)
    assert read_tally(journal.folder, take_id) == Tally(1700)


@pytest.mark.parametrize(
    ("data", "why"),
    [
        (b"", "no sound"),
        (b"\0" * 11, "no sound"),
        (packed(0, np.zeros(FRAME_SAMPLES + 1, np.int16)), "no sound"),
        (packed(0, np.zeros(0, np.int16)), "damaged"),
        (packed(0, np.ones(4, np.int16))[:-2], "damaged"),
        (packed(0, np.ones(4, np.int16))[:-1] + b"\x07", "damaged"),
    ],
    ids=["empty", "short", "long", "nothing in it", "cut", "changed"],
)
def test_a_damaged_frame_is_refused(data: bytes, why: str) -> None:
    """Length, count and CRC-32 are checked before anything is written."""
    with pytest.raises(BadData, match=why):
        frame_of(data)


def test_the_crc_is_the_published_one() -> None:
    """Check value of CRC-32 for the nine bytes "123456789": 0xCBF43926 (RFC 1952's polynomial; from memory)."""
    assert zlib.crc32(b"123456789") == 0xCBF43926


@pytest.mark.parametrize(
    "opening",
    [{"token": "0" * 64}, {"take": "../../etc"}, {"take": "x"}, {"age_s": "soon"}],
    ids=["token", "path", "no id", "no number"],
)
def test_a_false_opening_is_refused(talking: House, opening: dict[str, Any]) -> None:
    """A wrong token, and names that are no ids of takes; nothing is left in the journal."""
    with pytest.raises(WebSocketDisconnect), Phone(talking, **opening) as phone:
        told = phone.until("fault")
        assert told["do"]
        phone.socket.receive_text()
    wait_closed(talking)
    folder = talking.rooms.home / "journal"
    assert [p for p in folder.rglob("*") if p.suffix in (".raw", ".take")] == []


@pytest.mark.parametrize(
    "headers",
    [{"origin": "https://shop.example"}, {"origin": "null"}, {}, {"host": "shop.example", "origin": f"http://{HOST}"}],
    ids=["elsewhere", "null", "none", "host"],
)
def test_a_connection_from_elsewhere_is_refused(talking: House, headers: dict[str, str]) -> None:
    """Host and Origin are checked on WebSockets too: browsers let any page open one."""
    path = f"ws://{HOST}/jobs/{talking.job('Unit 7').id}/stream"
    with pytest.raises(WebSocketDisconnect), talking.client.websocket_connect(path, headers=headers):
        pass


def test_two_phones_at_one_job_lose_nothing(talking: House) -> None:
    """Both are confirmed at once; they are listened to one after the other."""
    one, two = saying(0), saying(1)
    with Phone(talking) as first, Phone(talking) as second:
        first.until("have")
        second.until("have")
        first.send(one)
        second.send(two)
        second.end(two)
        second.until("done")
        first.end(one)
        first.until("done")
        for phone in (first, second):
            while sum("lines" in told for told in phone.told) < 2:
                phone.until("lines")
    wait_closed(talking)
    assert sorted(e.place or "" for e in talking.job("Unit 7").entries) == ["cowl", "tail-lamp"]
    assert len(sound_of(talking)) == len(one) + len(two)


KILLED = """
import sys, time, uuid
from pathlib import Path
from fieldnote.capture.journal import Journal
from fieldnote.flow.phone_recording import FRAME_SAMPLES, Frame, PhoneRecorder
from tests.flow.spoken_tones import saying
said = saying(0, 1)
recorder = PhoneRecorder(Journal(Path(sys.argv[1]), sys.argv[2]), lambda text, warning: None)
take = recorder.begin(sys.argv[3], 0.0)
for number in range(len(said) // FRAME_SAMPLES):
    at = number * FRAME_SAMPLES
    recorder.receive(take, [Frame(number, said[at : at + FRAME_SAMPLES])])
    print(recorder.confirm(take) // FRAME_SAMPLES, flush=True)
    time.sleep(0.01)
time.sleep(60)
"""


def test_a_killed_server_has_what_it_confirmed(talking: House) -> None:
    """SIGKILL in the middle: the next server knows what was confirmed, takes the rest, and hears all of it once."""
    said = saying(0, 1)
    job, take = talking.job("Unit 7"), str(uuid.uuid4())
    run = [sys.executable, "-c", KILLED, str(talking.rooms.home), job.id, take]
    with subprocess.Popen(run, stdout=subprocess.PIPE, text=True, cwd=Path(__file__).parents[2]) as child:
        assert child.stdout is not None
        confirmed = next(int(line) for line in child.stdout if int(line) >= 4)
        child.kill()
    with Phone(talking, take) as phone:
        have = phone.until("have")["have"]
        assert have >= confirmed
        phone.send(said, start=have)
        phone.end(said)
        phone.until("done")
        phone.until("heard")
    wait_closed(talking)
    assert np.array_equal(sound_of(talking), said)
    assert [e.place for e in talking.job("Unit 7").entries] == ["tail-lamp", "cowl"]


@pytest.mark.parametrize(
    ("scheme", "host", "private"),
    [
        ("wss", "192.168.1.20", True),
        ("ws", "127.0.0.1", True),
        ("ws", "::1", True),
        ("ws", "192.168.1.20", False),
        ("ws", "10.0.0.3", False),
        ("ws", "", False),
    ],
)
def test_sound_comes_only_where_nobody_can_listen(scheme: str, host: str, private: bool) -> None:
    """Over https, or from this machine itself."""
    from starlette.websockets import WebSocket

    scope = {"type": "websocket", "scheme": scheme, "path": "/", "headers": [], "server": ("h", 1)}
    scope |= {"client": (host, 5), "query_string": b""}
    assert is_private(WebSocket(scope, None, None)) is private  # type: ignore[arg-type]


def test_a_job_that_is_not_there_is_told(talking: House) -> None:
    """A phone with sound for a job of another server keeps it."""
    path = f"ws://{HOST}/jobs/jnobody/stream"
    opening = {"take": str(uuid.uuid4()), "age_s": 0, "token": talking.token()}
    with talking.client.websocket_connect(path, headers={"origin": f"http://{HOST}"}) as socket:
        socket.send_json(opening)
        assert "no such job" in json.loads(socket.receive_text())["fault"]


def test_what_is_written_goes_among_what_is_said(talking: House) -> None:
    """A line typed while one talks is understood in its place; without a talker it is taken as before."""
    said = saying(0)
    job = talking.job("Unit 7")
    with Phone(talking) as phone:
        phone.until("have")
        phone.send(said)
        phone.until("lines")
        assert talking.send(f"/jobs/{job.id}/lines", text="right cowl drain is blocked", then="bay").status_code == 303  # type: ignore[attr-defined]
        assert phone.until("lines")["lines"][0]["where"] == "cowl, drain hole"
        phone.end(said)
        phone.until("heard")
    talking.send(f"/jobs/{job.id}/lines", text="left hood seam has a gap")
    assert [e.place for e in talking.job("Unit 7").entries] == ["tail-lamp", "cowl", "hood"]


def test_a_fault_of_the_recogniser_is_told_and_the_sound_stays(house: House) -> None:
    """What cannot be heard lies in the journal, and the page says why."""

    class Broken:
        name = "broken"

        def hear(self, samples: Any, hints: Any = ()) -> Any:
            raise OSError("no model")

    live = LiveJobs(lambda rooms: Broken())
    live.detector = ToneDetector  # type: ignore[assignment]
    house.client.app.state.live = live  # type: ignore[attr-defined]
    said = saying(0)
    with Phone(house) as phone:
        phone.until("have")
        phone.send(said)
        with contextlib.suppress(WebSocketDisconnect):
            phone.until("notice")
        assert any("no model" in str(told) for told in phone.told)
    wait_closed(house)
    job = house.job("Unit 7")
    assert "no model" in house.client.get(f"/jobs/{job.id}/hearing").json()["fault"]
    raw = b"".join(path.read_bytes() for path in (house.rooms.home / "journal" / job.id).glob("*.raw"))
    assert len(raw) > 2 * FRAME_SAMPLES
    house.client.app.state.live = mended = LiveJobs(lambda rooms: ToneReader(LINES))  # type: ignore[attr-defined]
    mended.detector = ToneDetector  # type: ignore[assignment]
    house.client.get(f"/jobs/{job.id}/bay")  # what was left is heard when the job is next shown
    for _ in range(200):
        if house.job("Unit 7").entries:
            break
        time.sleep(0.02)
    wait_closed(house)
    assert [e.place for e in house.job("Unit 7").entries] == ["tail-lamp"]
