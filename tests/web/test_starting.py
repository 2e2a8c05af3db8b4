"""A job begun with a touch, named by what is said; one touch for a part; words written while one talks."""

from __future__ import annotations

from datetime import datetime

import pytest

from fieldnote.records import Entry
from fieldnote.web.naming import name_by_voice, open_unnamed
from tests.web.conftest import House

JSON = {"accept": "application/json"}
MOMENT = datetime(2026, 1, 5, 8, 30)


def start(house: House, page: str = "a") -> str:
    answer = house.client.post("/start", data={"token": house.token("/bay"), "start": page}, headers=JSON)
    found: str = answer.json()["job"]
    return found


def test_one_touch_opens_a_job_once(house: House) -> None:
    """A page that asks again, since the answer got lost, is given the same job; another page another one."""
    first = start(house)
    assert start(house) == first
    assert start(house, "b") != first
    assert house.rooms.store.job(first).name.startswith("Not named yet, ")
    answer = house.send("/start")
    assert answer.status_code == 303 and answer.headers["location"].endswith("/bay")  # type: ignore[attr-defined]


@pytest.mark.parametrize(
    ("what", "value", "name"),
    [
        ("unit-number", "217", "Unit 217"),
        ("plate", "7ABC123", "Plate 7ABC123"),
        ("vin", "1M8GDM9AXKP042788", "VIN 1M8GDM9AXKP042788"),
        ("odometer", 84160, None),
    ],
)
def test_a_job_takes_its_name_from_what_is_said(house: House, what: str, value: object, name: str | None) -> None:
    """The unit, the plate or the VIN; other facts do not name a job."""
    store = house.rooms.store
    job = open_unnamed(store, house.rooms.pack, MOMENT)
    assert name_by_voice(store, job.id, [Entry("fact", what=what, value=value)]) == name  # type: ignore[arg-type]
    assert store.job(job.id).name == (name or "Not named yet, 5 Jan 08:30")


def test_a_name_that_a_person_gave_stays(house: House) -> None:
    """Only a name by the time is replaced."""
    store, job = house.rooms.store, house.job()
    assert name_by_voice(store, job.id, [Entry("fact", what="unit-number", value="3")]) is None
    assert store.job(job.id).name == "Unit 9"


def test_a_vehicle_that_comes_again_is_told_apart(house: House) -> None:
    """The name is taken: this is the second visit."""
    store = house.rooms.store
    job = open_unnamed(store, house.rooms.pack, MOMENT)
    assert name_by_voice(store, job.id, [Entry("fact", what="unit-number", value="9")]) == "Unit 9, visit 2"
    one, two = (open_unnamed(store, house.rooms.pack, MOMENT) for _ in range(2))
    assert (one.name, two.name) == ("Not named yet, 5 Jan 08:30", "Not named yet, 5 Jan 08:30, no. 2")


def test_one_touch_sets_the_part(house: House) -> None:
    """It is kept under the person's name and can be taken back; what was changed meanwhile is not written over."""
    import re

    job = house.job()
    page = house.client.get(f"/jobs/{job.id}/bay").text
    form = re.search(
        r'action="(/jobs/\w+/entries/(\w+)/part)".*?name="seen" value="(\w+)".*?value="([\w-]+)"', page, re.S
    )
    assert form is not None
    path, entry, seen, part = form.groups()
    assert house.send(path, seen=seen, part=part).status_code == 303  # type: ignore[attr-defined]
    assert next(e for e in house.job().entries if e.id == entry).part == part
    late = house.send(path, seen=seen, part="gasket")
    assert late.status_code == 422 and "changed this entry meanwhile" in late.text  # type: ignore[attr-defined]
    assert house.send(path, seen=seen, part="no such part").status_code == 422  # type: ignore[attr-defined]
