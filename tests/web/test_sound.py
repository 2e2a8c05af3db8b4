"""Recordings: kept before they are heard, refused where they are no sound, played from any byte."""

from __future__ import annotations

import hashlib
import subprocess
import sys
from pathlib import Path

import pytest
import soundfile

from fieldnote.records import Clip, Job
from fieldnote.web import listening
from fieldnote.web.sound_check import check
from tests.web.conftest import House, wav

JSON = {"accept": "application/json"}


def upload(house: House, data: bytes, name: str = "one.wav", headers: dict[str, str] | None = None) -> object:
    job = house.job("Unit 7")
    files = {"recording": (name, data, "audio/wav")}
    path = f"/jobs/{job.id}/sound"
    return house.client.post(path, data={"token": house.token()}, files=files, headers=headers, follow_redirects=False)


def shelve(house: House, path: Path) -> Job:
    """Put a recording into "Unit 7" without the check that an upload goes through."""
    job, info = house.job("Unit 7"), soundfile.info(path)
    kept = house.rooms.store.sounds.keep(path)
    described = Clip("", "", path.name, "", info.duration, info.samplerate, info.channels)
    house.rooms.store.add_clip(job.id, kept, described)
    return house.job("Unit 7")


def test_a_recording_is_kept_heard_and_understood(house: House, tmp_path: Path) -> None:
    """The sender is told the hash of what lies on the disk; entries come with the seconds of their words."""
    house.hears.lines = ["left tail lamp gasket is torn"]
    data = wav(tmp_path / "one.wav").read_bytes()
    answer = upload(house, data, headers=JSON)
    assert answer.json() == {"kept": hashlib.sha256(data).hexdigest(), "seconds": 2.0, "already": False}  # type: ignore[attr-defined]
    job = house.job("Unit 7")
    assert (house.rooms.home / job.clips[0].path).read_bytes() == data
    house.wait_heard(job.id)
    (entry,) = house.job("Unit 7").entries
    assert (entry.place, entry.part, entry.side, entry.state) == ("tail-lamp", "gasket", "left", "torn")
    page = house.client.get(f"/jobs/{job.id}").text
    assert f'data-clip="{job.clips[0].id}" data-from="0.2"' in page


def test_the_same_recording_twice_adds_nothing(house: House, tmp_path: Path) -> None:
    """A phone that sends again after a lost answer does no harm."""
    house.hears.lines = ["left tail lamp gasket is torn", "right tail lamp gasket is torn"]
    data = wav(tmp_path / "one.wav").read_bytes()
    upload(house, data)
    house.wait_heard(house.job("Unit 7").id)
    assert upload(house, data, headers=JSON).json()["already"] is True  # type: ignore[attr-defined]
    house.wait_heard(house.job("Unit 7").id)
    assert len(house.job("Unit 7").clips) == len(house.job("Unit 7").entries) == 1


@pytest.mark.parametrize(
    ("data", "name"),
    [
        (b"<html>no sound</html>" * 50, "page.wav"),
        (b"", "empty.wav"),
        (b"\x00" * 5000, "../../../../elsewhere/evil.wav"),
    ],
    ids=["text", "empty", "path"],
)
def test_what_is_no_sound_is_refused_and_leaves_nothing(house: House, data: bytes, name: str) -> None:
    """One clear line, and no file, clip or job line of it stays."""
    answer = upload(house, data, name, headers=JSON)
    assert answer.status_code == 422  # type: ignore[attr-defined]
    error = answer.json()["error"]  # type: ignore[attr-defined]
    assert error["what"] and error["do"] and "/" not in error["where"]
    assert house.job("Unit 7").clips == ()
    assert [p for p in (house.rooms.home / "sound").rglob("*") if p.is_file()] == []
    assert house.hears.heard == []


@pytest.mark.parametrize(
    "data",
    [b"RIFF\x00\x00\x00\x00WAVEfmt ", b"fLaC" + b"\x00" * 4000, b"OggS" + b"\xff" * 300, b"ID3\x03" * 99],
    ids=["wav", "flac", "ogg", "mp3"],
)
def test_a_broken_file_is_told_and_not_taken(tmp_path: Path, data: bytes) -> None:
    """What the child prints for a file that begins like a sound and is none."""
    path = tmp_path / "broken"
    path.write_bytes(data)
    assert set(check(path)) == {"what", "do"}


def test_no_file_at_all_is_told(house: House) -> None:
    """Sending the form without a recording."""
    answer = house.send(f"/jobs/{house.job().id}/sound")
    assert answer.status_code == 422  # type: ignore[attr-defined]
    assert "no recording was chosen" in answer.text.lower()  # type: ignore[attr-defined]


def test_too_large_a_recording_is_refused(house: House) -> None:
    """The limit for sound is its own, and holds."""
    assert upload(house, b"\x00" * 400_001).status_code == 413  # type: ignore[attr-defined]


def test_a_decoder_without_end_is_stopped(house: House, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A file whose decoding takes too long is refused like any other that is no sound."""
    monkeypatch.setattr(listening, "_CHECK_S", 0.01)
    answer = upload(house, wav(tmp_path / "one.wav").read_bytes(), headers=JSON)
    assert answer.status_code == 422  # type: ignore[attr-defined]
    assert "time and memory" in answer.json()["error"]["what"]  # type: ignore[attr-defined]
    assert house.job("Unit 7").clips == ()


@pytest.mark.skipif(sys.platform == "win32", reason="limits of memory are set where the system has them (POSIX)")
def test_the_child_has_limits() -> None:
    """The check runs with less memory than it would take to fill the machine."""
    program = "from fieldnote.web.sound_check import limit; limit(); bytearray(5_000_000_000)"
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=False)
    assert "MemoryError" in done.stderr


def test_what_a_stopped_server_left_is_heard_when_its_job_is_shown(house: House, tmp_path: Path) -> None:
    """A recording that was kept and not heard is not lost."""
    house.hears.lines = ["left tail lamp gasket is torn"]
    job = house.job("Unit 7")
    shelve(house, wav(tmp_path / "left.wav"))
    assert house.job("Unit 7").entries == ()
    house.client.get(f"/jobs/{job.id}/bay")
    house.wait_heard(job.id)
    assert len(house.job("Unit 7").entries) == 1


def test_a_recording_that_cannot_be_heard_is_told_and_kept(house: House, tmp_path: Path) -> None:
    """The page says why; the sound stays; looking at the page does not try for ever."""

    def broken(task: object) -> object:
        house.hears.heard.append("tried")
        raise OSError("no recogniser")

    house.client.app.state.house.listening._open = lambda: broken  # type: ignore[attr-defined]
    shelve(house, wav(tmp_path / "one.wav"))
    house.client.get(f"/jobs/{house.job('Unit 7').id}/bay")
    house.wait_heard(house.job("Unit 7").id)
    for _ in range(3):
        assert "no recogniser" in house.client.get(f"/jobs/{house.job('Unit 7').id}").text
    assert house.hears.heard == ["tried"]
    assert len(house.job("Unit 7").clips) == 1


TEN_THOUSAND = (10_000 - 44) / 2 / 16_000
"""Seconds of a WAV file of 10,000 bytes: the length that the examples of RFC 9110, section 14.1.2 assume."""


@pytest.mark.parametrize(
    ("asked", "first", "last"),
    [
        ("bytes=0-499", 0, 499),
        ("bytes=500-999", 500, 999),
        ("bytes=-500", 9500, 9999),
        ("bytes=9500-", 9500, 9999),
        ("bytes=0-0", 0, 0),
    ],
)
def test_bytes_are_given_as_asked(house: House, tmp_path: Path, asked: str, first: int, last: int) -> None:
    """The examples of RFC 9110, section 14.1.2, for a file of 10,000 bytes."""
    path = wav(tmp_path / "ten.wav", TEN_THOUSAND)
    data = path.read_bytes()
    assert len(data) == 10_000
    job = shelve(house, path)
    answer = house.client.get(f"/jobs/{job.id}/sound/{job.clips[0].id}", headers={"range": asked})
    assert answer.status_code == 206
    assert answer.headers["content-range"] == f"bytes {first}-{last}/10000"
    assert answer.content == data[first : last + 1]
    assert answer.headers["content-type"] == "audio/wav"


def test_bytes_beyond_the_end_are_refused(house: House, tmp_path: Path) -> None:
    """416 with the length (RFC 9110, section 15.5.17)."""
    job = shelve(house, wav(tmp_path / "ten.wav", TEN_THOUSAND))
    answer = house.client.get(f"/jobs/{job.id}/sound/{job.clips[0].id}", headers={"range": "bytes=10000-"})
    assert answer.status_code == 416


def test_a_path_out_of_the_shelf_is_not_served(house: House, tmp_path: Path) -> None:
    """Whatever the database says, only files on the sound shelf are given out."""
    job = shelve(house, wav(tmp_path / "one.wav"))
    with house.rooms.store.atomic() as db:
        for table in ("sound", "clip"):
            if "path" in db.table(table).columns_dict:
                db.execute(f"UPDATE {table} SET path = 'jobs.db'")
    assert house.job("Unit 7").clips[0].path == "jobs.db"
    assert house.client.get(f"/jobs/{job.id}/sound/{job.clips[0].id}").status_code == 404


def test_sound_of_another_job_is_not_found(house: House, tmp_path: Path) -> None:
    """A recording is served under its own job alone."""
    clip = shelve(house, wav(tmp_path / "one.wav")).clips[0]
    assert house.client.get(f"/jobs/{house.job().id}/sound/{clip.id}").status_code == 404
