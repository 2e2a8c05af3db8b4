"""What closed jobs taught, added up as they change, is what all of them read anew would teach."""

from __future__ import annotations

import random
from collections.abc import Iterator
from dataclasses import replace
from functools import cache
from pathlib import Path

import pytest

from fieldnote.flow.advising import all_lessons, learned_rates
from fieldnote.records import Entry, Intake, Job, Quantity, Rates
from fieldnote.store import Making, Store, changes, lesson_rows
from fieldnote.store.bundles import read_bundle, write_bundle
from fieldnote.suggest import LeakMap, Teacher, families_of, learn, load_map, vehicle_of
from fieldnote.vocabulary import load_pack
from tests.store.conftest import fill

MAKING = Making("body-leaks", "hash", "1")
VEHICLES = ("V1", "V2", None)


@cache
def leak_map() -> LeakMap:
    return load_map(load_pack("body-leaks"))


@pytest.fixture
def teacher() -> Teacher:
    return Teacher(leak_map(), "body-leaks")


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[Store]:
    with Store(tmp_path / "shop") as store:
        yield store


def cure(part: str, side: str | None = "left", minutes: float = 5.0) -> list[Entry]:
    """A leak in the trough, mended and tested."""
    ran = (Quantity("duration", minutes, "min"),)
    place = "liftgate-trough"
    told = [
        Entry("test", place, None, side, "leak", method="hose", quantities=(Quantity("time-to-leak", 90, "s"),)),
        Entry("check", place, part, side, "gap"),
        Entry("repair", place, part, side, "reseal"),
        Entry("test", place, None, side, "dry", method="hose", quantities=ran, stage="verify"),
    ]
    return [replace(entry, id=f"e{n}", quote=f"said {n}") for n, entry in enumerate(told)]


def add(store: Store, name: str, entries: list[Entry], **intake: object) -> Job:
    job = store.open_job(name, Intake(**intake))  # type: ignore[arg-type]
    store.put_extraction(store.job(job.id), entries, [], MAKING)
    return store.job(job.id)


def close(store: Store, job: Job) -> Job:
    store.amend_job(job.id, "status", "closed", "kim")
    return store.job(job.id)


def same_as_anew(store: Store, teacher: Teacher) -> Rates:
    """The rates of the store, held against all jobs learned from in one go, for every family and vehicle."""
    store.make_lessons(teacher)
    assert store.count_due_lessons(teacher) == 0
    anew = learn(teacher.leak_map, store.outlines(teacher.pack))
    got = store.rates(teacher)
    plain = ("id", "taught", "taken_back", "counts")
    assert [getattr(got, name) for name in plain] == [getattr(anew, name) for name in plain]
    assert store.jobs_behind_rates(teacher) == (anew.jobs, anew.withdrawn)
    for family, counts in anew.by_family.items():
        assert store.rates(teacher, families=[family]).by_family == {family: counts}
    for vehicle, counts in anew.by_vehicle.items():
        assert store.rates(teacher, vehicle=vehicle).by_vehicle == {vehicle: counts}
    return got


def test_closing_a_cured_job_teaches_and_correcting_it_teaches_anew(shop: Store, teacher: Teacher) -> None:
    """Open it teaches nothing; closed its source counts; a shorter retest takes that back; undone it counts again."""
    job = add(shop, "van 3", cure("grommet"), family="van", vin="V1")
    assert same_as_anew(shop, teacher).counts == {}
    close(shop, job)
    assert same_as_anew(shop, teacher).counts == {"trough-grommet@left": 1.0}
    shop.correct(job.id, "e3", "state", "leak", "kim")
    assert same_as_anew(shop, teacher).counts == {}
    shop.undo(job.id, "kim")
    shop.correct(job.id, "e0", "side", "right", "kim")
    assert same_as_anew(shop, teacher).taught == 0
    shop.undo(job.id, "kim")
    assert same_as_anew(shop, teacher).taught == 1


def test_a_comeback_withdraws_the_earlier_lesson_of_the_vehicle(shop: Store, teacher: Teacher) -> None:
    """As soon as the vehicle is known, be it by a correction of the intake; another vehicle gives the lesson back."""
    close(shop, add(shop, "first", cure("seam"), vin="V1"))
    assert same_as_anew(shop, teacher).taught == 1
    back = add(shop, "second", [])
    assert same_as_anew(shop, teacher).taught == 1
    shop.amend_job(back.id, "intake.vin", "V1", "kim")
    rates = same_as_anew(shop, teacher)
    assert (rates.taught, rates.taken_back) == (0, 1)
    shop.amend_job(back.id, "intake.vin", "V2", "kim")
    assert same_as_anew(shop, teacher).taught == 1


@pytest.mark.parametrize("seed", range(4))
def test_whatever_is_done_the_sums_are_those_of_all_jobs_read_anew(shop: Store, teacher: Teacher, seed: int) -> None:
    """Jobs opened, closed, reopened, corrected, given other vehicles and undone, in any order."""
    rng = random.Random(seed)
    jobs: list[str] = []
    for step in range(24):
        doing = rng.choice(("open", "status", "vehicle", "side", "undo")) if jobs else "open"
        job = shop.job(rng.choice(jobs)) if jobs else None
        if doing == "open" or job is None:
            entries = cure(rng.choice(("grommet", "seam", "seam-sealer")), rng.choice(("left", "right", None)))
            known = {"family": rng.choice(("van", "bus", None)), "vin": rng.choice(VEHICLES)}
            jobs.append(add(shop, f"job {step}", entries, **known).id)
        elif doing == "status":
            shop.amend_job(job.id, "status", "open" if job.status == "closed" else "closed", "kim")
        elif doing == "vehicle":
            wanted = rng.choice([v for v in VEHICLES if v and v != job.intake.vin])
            shop.amend_job(job.id, "intake.vin", wanted, "kim")
        elif doing == "side":
            wanted = rng.choice([s for s in ("left", "right") if s != job.entries[2].side])
            shop.correct(job.id, "e2", "side", wanted, "kim")
        elif changes.last_that_counts(job.edits) is not None:
            shop.undo(job.id, "kim")
        if step % 3 == 0:
            same_as_anew(shop, teacher)
    same_as_anew(shop, teacher)


def test_jobs_that_come_from_another_machine_teach_here(tmp_path: Path, shop: Store, teacher: Teacher) -> None:
    """Imported once or twice, the sums are those of all jobs; a comeback here withdraws what was learned there."""
    with Store(tmp_path / "other") as other:
        first = close(other, add(other, "van 3", cure("grommet"), vin="V1"))
        write_bundle(other, [first.id, close(other, add(other, "bus", cure("seam"))).id], tmp_path / "jobs.zip")
    for _ in range(2):
        read_bundle(shop, tmp_path / "jobs.zip")
        assert same_as_anew(shop, teacher).taught == 2
    add(shop, "van 3 again", [], vin="V1")
    assert same_as_anew(shop, teacher).taken_back == 1


def test_another_leak_map_learns_everything_anew(shop: Store, teacher: Teacher) -> None:
    """Sources of two maps are never counted together."""
    close(shop, add(shop, "van 3", cure("grommet")))
    first = same_as_anew(shop, teacher)
    other = Teacher(replace(leak_map(), hash="another"), "body-leaks")
    assert shop.count_due_lessons(other) == 1
    assert shop.rates(other).counts == {}
    assert same_as_anew(shop, other).id != first.id
    assert shop.rates(other).map_hash == "another"


def test_jobs_of_another_vocabulary_are_left_alone(shop: Store, teacher: Teacher) -> None:
    """They are not learned from, and do not wait for it."""
    job = shop.open_job("roof", pack="building-leaks")
    close(shop, job)
    assert shop.make_lessons(teacher) == 0
    assert shop.count_due_lessons(teacher) == 0


def test_a_closed_job_asked_again_does_not_confirm_itself(shop: Store, teacher: Teacher) -> None:
    """Its own lesson is left out, from the family and the vehicle too; those of others stay."""
    known = {"family": "van", "vin": "V1", "build_month": "2025-05"}
    own = close(shop, add(shop, "own", cure("grommet"), **known))
    assert learned_rates(shop, leak_map(), "body-leaks", own) is None
    other = close(shop, add(shop, "other", cure("grommet"), family="van", vin="V2"))
    rates = learned_rates(shop, leak_map(), "body-leaks", own)
    assert rates is not None
    alone = learn(leak_map(), [other])
    assert (rates.id, rates.taught, rates.counts) == (alone.id, 1, {"trough-grommet@left": 1.0})
    assert rates.by_family == {"van": {"trough-grommet@left": 1.0}}
    assert rates.by_vehicle == {}
    vehicle = vehicle_of(own)
    whole = shop.rates(teacher, families=families_of(vehicle), vehicle=vehicle.id)
    assert (whole.taught, whole.by_vehicle) == (2, {"V1": {"trough-grommet@left": 1.0}})


def test_an_open_job_that_is_dictated_writes_no_lesson_each_time(shop: Store) -> None:
    """It teaches nothing: only a vehicle that became known is worth writing down."""
    job = add(shop, "van 3", cure("grommet"), vin="V1")
    learned_rates(shop, leak_map(), "body-leaks", job)
    shop.put_extraction(shop.job(job.id), cure("seam"), [], MAKING)
    learned_rates(shop, leak_map(), "body-leaks", shop.job(job.id))
    with shop.reading() as db:
        assert [row["job_id"] for row in db.query("SELECT * FROM lesson_due")] == [job.id]
    shop.amend_job(job.id, "intake.vin", "V2", "kim")
    learned_rates(shop, leak_map(), "body-leaks", shop.job(job.id))
    with shop.reading() as db:
        assert lesson_rows.count_due(db, Teacher(leak_map(), "body-leaks")) == 0


def test_many_new_jobs_do_not_hold_up_an_answer(shop: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    """Some are learned from at once, the rest is counted; learning from all shows how far it is."""
    monkeypatch.setattr("fieldnote.flow.advising._AT_ONCE", 2)
    jobs = [close(shop, add(shop, f"job {n}", cure("grommet"))) for n in range(5)]
    asking = shop.open_job("asking")
    rates = learned_rates(shop, leak_map(), "body-leaks", asking)
    assert rates is not None
    assert rates.unread == 4
    assert rates.taught <= 2
    told: list[tuple[float, str]] = []
    all_lessons(shop, leak_map(), "body-leaks", lambda share, doing: told.append((share, doing)))
    assert told[-1][0] == 1.0
    done = learned_rates(shop, leak_map(), "body-leaks")
    assert done is not None
    assert (done.taught, done.unread, done.jobs) == (5, 0, tuple(sorted(job.id for job in jobs)))


def test_outlines_are_the_jobs_without_words(store: Store, job: Job) -> None:
    """Intake, entries and changes are those of the whole job."""
    fill(store, "van 3")
    store.correct(job.id, job.entries[0].id, "side", "right", "kim")
    for outline in store.outlines("body-leaks"):
        whole = store.job(outline.id)
        assert outline.utterances == ()
        assert (outline.entries, outline.edits, outline.intake, outline.status) == (
            whole.entries,
            whole.edits,
            whole.intake,
            whole.status,
        )
