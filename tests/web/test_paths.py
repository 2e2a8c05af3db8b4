"""Nothing that a request says becomes a path: watched where Python opens files, on every route."""

from __future__ import annotations

import re
import sys
from collections.abc import Iterator
from typing import Any

import pytest

from tests.web.conftest import House, wav

MARK = "zzcanaryzz"
TRICKS = (
    f"..%2f{MARK}",
    f"../{MARK}",
    f"%2e%2e%2f{MARK}",
    f"..\\{MARK}",
    f"/{MARK}",
    f"C:\\{MARK}",
    f"{MARK}\x00",
    MARK,
)
WAYS = "listdir scandir mkdir rmdir remove rename link symlink truncate chmod chown utime exec posix_spawn system"
TOUCHES = (
    *("open", "sqlite3.connect", "shutil.", "pathlib.", "glob.", "tempfile.", "subprocess.", "ctypes.dlopen"),
    *(f"os.{way}" for way in WAYS.split()),
)
"""Audit events by which Python tells that a path is used (PEP 578)."""


class Watch:
    """Notes every use of a path that holds the mark, in any thread. An audit hook stays for good, so there is one."""

    def __init__(self) -> None:
        self.on = False
        self.found: list[str] = []
        self.seen = 0
        sys.addaudithook(self._hook)

    def _hook(self, event: str, arguments: tuple[Any, ...]) -> None:
        if self.on and event.startswith(TOUCHES):
            self.seen += 1
            if MARK in repr(arguments).casefold():
                self.found.append(f"{event}{arguments!r}"[:300])


@pytest.fixture(scope="module")
def hooked() -> Watch:
    return Watch()


@pytest.fixture
def watch(hooked: Watch) -> Iterator[Watch]:
    hooked.found.clear()
    hooked.on = True
    yield hooked
    hooked.on = False


@pytest.mark.parametrize(
    "trick", [TRICKS[0], *(pytest.param(trick, marks=pytest.mark.soak) for trick in TRICKS[1:])], ids=ascii
)
def test_no_parameter_becomes_a_path(house: House, watch: Watch, trick: str) -> None:
    """Every address with the mark in each of its parts in turn, in its query, and in every field of its form."""
    job = house.job()
    there = {"job_id": job.id, "entry_id": job.entries[0].id, "number": "1", "to": "csv"}
    described = house.client.get("/openapi.json").json()["paths"]
    token = house.token()
    fields = dict.fromkeys(("side", "text", "name", "who", "back", "phrase", "means", "kind", "entry", "then"), trick)
    tried = 0
    for path, operations in described.items():
        names = re.findall(r"{(\w+)}", path)
        for marked in (*names, ""):
            at = re.sub(r"{(\w+)}", lambda p, m=marked: trick if p[1] == m else there.get(p[1], "x"), path)
            for method in operations:
                data = {**fields, "token": token} if method == "post" else None
                query = dict.fromkeys(("changed", "q", "place", "file", "phrase", "entry"), trick)
                answer = house.client.request(method, at, data=data, params=query, follow_redirects=False)
                assert answer.status_code < 500
                tried += 1
    assert tried > 60 and watch.seen > 100
    assert watch.found == []


@pytest.mark.parametrize("name", [f"../../{MARK}.wav", f"/{MARK}.wav", f"..\\{MARK}.wav", f"a.{MARK}", f"a.wav/{MARK}"])
@pytest.mark.parametrize("to", ["sound", "photos"])
def test_no_name_of_a_file_becomes_a_path(house: House, watch: Watch, tmp_path: Any, name: str, to: str) -> None:
    """What is sent is kept under the hash of what it holds, whatever it is called."""
    data = wav(tmp_path / "one.wav").read_bytes()
    field = "recording" if to == "sound" else "photo"
    files = {field: (name, data, "audio/wav")}
    path = f"/jobs/{house.job('Unit 7').id}/{to}"
    answer = house.client.post(path, data={"token": house.token()}, files=files, follow_redirects=False)
    assert answer.status_code == (303 if to == "sound" else 422)
    assert watch.found == []
