from __future__ import annotations

import pytest

from fieldnote.errors import Clash, NotFound, UserMistake
from fieldnote.records import Entry, Intake
from fieldnote.store import Making, Query, Store
from tests.store.conftest import fill


def test_a_job_is_found_by_id_name_and_start(store: Store) -> None:
    """The id, the name in any case and spacing, and the start of either find a job."""
    job = store.open_job("Bus 7 rear door")
    store.open_job("van 3")
    for ref in (job.id, "Bus 7 rear door", "bus 7  REAR door", "bus", job.id[:6]):
        assert store.find_id(ref) == job.id


def test_an_exact_name_goes_before_the_start_of_another(store: Store) -> None:
    """ "van 3" means van 3 although van 31 begins the same way."""
    job = store.open_job("van 3")
    store.open_job("van 31")
    assert store.find_id("van 3") == job.id


@pytest.mark.parametrize("ref", ["%", "_", "va_", "", "   ", "nobody"], ids=repr)
def test_what_fits_no_job_is_said(store: Store, ref: str) -> None:
    """Wildcards of the database are taken as they are typed."""
    store.open_job("van 3")
    with pytest.raises(NotFound, match="no such job"):
        store.find_id(ref)


def test_a_near_name_is_proposed(store: Store) -> None:
    """A slip of the finger gets the name that was meant."""
    store.open_job("minibus 12")
    with pytest.raises(NotFound, match="Did you mean 'minibus 12'"):
        store.find_id("minbus 12")


def test_several_that_fit_are_listed(store: Store) -> None:
    """An ambiguous start is refused, and the jobs that it fits are named with their ids."""
    ids = {store.open_job(name).id for name in ("van 3", "van 31")}
    with pytest.raises(UserMistake, match="several jobs fit") as caught:
        store.find_id("van")
    assert all(job_id in str(caught.value) for job_id in ids)


def test_a_name_is_given_once(store: Store) -> None:
    """A second job of the same name, in any case, is refused at opening and at renaming."""
    store.open_job("van 3")
    other = store.open_job("van 4")
    with pytest.raises(Clash):
        store.open_job("Van  3")
    with pytest.raises(Clash):
        store.amend_job(other.id, "name", "VAN 3", "kim")
    store.amend_job(other.id, "name", "Van 4", "kim")  # another case of its own name is no clash


def test_jobs_are_listed_newest_first(store: Store) -> None:
    """The list is by time of opening, and can be narrowed by state."""
    for name in ("one", "two", "three"):
        store.open_job(name)
    store.amend_job(store.find_id("two"), "status", "closed", "kim")
    assert [line.name for line in store.jobs()] == ["three", "two", "one"]
    assert [line.name for line in store.jobs(status="open", limit=1)] == ["three"]
    assert [line.name for line in store.jobs(status="closed")] == ["two"]


@pytest.fixture
def archive(store: Store) -> Store:
    """Three jobs with different words, findings and vehicles."""
    fill(store, "bus 7", Intake(vin="ZZZ7A1B2C3D004352", vehicle="bus 7", order_number="48813", odometer=62305.0))
    van = store.open_job("van 3", Intake(vehicle="van 3", complaint="musty smell after rain"))
    store.add_text(van.id, ["no pinholes along the seam", "carpets were soaked"])
    said = store.job(van.id)
    entries = [
        Entry("check", "roof-joint", "seam", None, "pinhole", present=False, id="e1"),
        Entry("evidence", "front-footwell", "carpet", "left", "soaked", id="e2"),
    ]
    store.put_extraction(said, entries, [], Making("body-leaks", "h", "1"))
    store.open_job("van 4")
    return store


@pytest.mark.parametrize(
    ("query", "names"),
    [
        (Query("skip"), ["bus 7"]),
        (Query("carpet"), ["van 3"]),
        (Query("SOAKING"), ["van 3"]),
        (Query("van"), ["van 4", "van 3"]),
        (Query("musty rain"), ["van 3"]),
        (Query("musty skip"), []),
        (Query('"tail lamp"'), ["bus 7"]),
        (Query('"lamp tail"'), []),
        (Query("tail la"), ["bus 7"]),
        (Query("004352"), ["bus 7"]),
        (Query("3d004352"), ["bus 7"]),
        (Query("ZZZ7A1B2C3D004352"), ["bus 7"]),
        (Query("48813"), ["bus 7"]),
        (Query("62305"), ["bus 7"]),
        (Query("liftgate-trough"), ["bus 7"]),
        (Query(state="soaked"), ["van 3"]),
        (Query(state="pinhole"), []),
        (Query(place="tail-lamp", state="dry"), ["bus 7"]),
        (Query(place="tail-lamp", state="skip"), []),
        (Query(side="left"), ["van 3", "bus 7"]),
        (Query("bus", status="closed"), []),
        (Query("bus", since="2026"), ["bus 7"]),
        (Query("bus", until="2025-12"), []),
        (Query(since="2020-01-01", state="skip"), ["bus 7"]),
        (Query(since="2020"), ["van 4", "van 3", "bus 7"]),
        (Query('AND OR NOT "'), []),
        (Query("findings : skip*"), []),
    ],
    ids=lambda value: str(value)[:60],
)
def test_search_finds_words_places_findings_dates_and_numbers(archive: Store, query: Query, names: list[str]) -> None:
    """What was said, found and noted is found, newest first; what was denied is no finding."""
    assert [line.name for line in archive.search(query)] == names


def test_search_shows_where_the_words_are(archive: Store) -> None:
    """An excerpt marks the hit."""
    assert "[skip]" in archive.search(Query("skip"))[0].excerpt


def test_search_follows_corrections(archive: Store) -> None:
    """A corrected entry is found by its new value and not by its old one."""
    job = archive.job("bus 7")
    archive.correct(job.id, job.entries[2].id, "state", "thin", "kim")
    assert archive.search(Query(state="skip")) == []
    assert [line.name for line in archive.search(Query(state="thin"))] == ["bus 7"]


@pytest.mark.parametrize("date", ["yesterday", "2026-13", "26-01-01"], ids=str)
def test_a_date_that_is_none_is_refused(archive: Store, date: str) -> None:
    """A date is written as such, and the message shows how."""
    with pytest.raises(UserMistake, match="2026-11-25"):
        archive.search(Query("bus", since=date))


def test_nothing_to_look_for_is_refused(archive: Store) -> None:
    """An empty search says what it needs."""
    with pytest.raises(UserMistake, match="nothing to look for"):
        archive.search(Query())
