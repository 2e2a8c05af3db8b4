"""Summaries of jobs in the store: never older than their job, the same as made anew, filled for stores of old."""

from __future__ import annotations

import random
import shutil
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from fieldnote.flow.moving import export_jobs, import_jobs
from fieldnote.flow.recurring import recurring, summaries
from fieldnote.flow.rooms import Rooms
from fieldnote.patterns import Survey, survey
from fieldnote.patterns.packing import columns_of, unpack, words_of
from fieldnote.patterns.packing import pack as packed
from fieldnote.patterns.recurrence import rules_of
from fieldnote.patterns.summaries import VisitSummaries
from fieldnote.patterns.visits import visits
from fieldnote.records import Clip, Entry, Intake, Job, Utterance
from fieldnote.store import Making, Store, summary_rows
from fieldnote.store.checking import check, mend
from fieldnote.store.connection import FILE_NAME
from fieldnote.store.migrations import STEP_NAMES
from tests.bench.filling import fill
from tests.bench.plausible_jobs import plausible_jobs
from tests.patterns.jobs import NOW, SETTINGS, leak_map, pack

EARLIER = Path(__file__).parents[1] / "store" / "earlier"
MAKING = Making("body-leaks", "hash", "1")


@pytest.fixture(scope="module")
def summarizer() -> VisitSummaries:
    return VisitSummaries(pack(), leak_map)


@pytest.fixture
def store(tmp_path: Path, summarizer: VisitSummaries) -> Iterator[Store]:
    """A store whose summaries are kept up."""
    with Store(tmp_path / "home", summarizer=lambda: summarizer) as opened:
        yield opened


def rooms_at(home: Path) -> Rooms:
    rooms = Rooms(home)
    rooms.__dict__ |= {"pack": pack(), "leak_map": leak_map()}
    return rooms


def stale(store: Store, summarizer: VisitSummaries) -> list[str]:
    """Jobs whose summary is due, or not what it should be."""
    with store.reading() as db:
        return [*summary_rows.due(db, summarizer, 1000), *summary_rows.unlike(db, summarizer)]


def _take(store: Store, job_id: str, entries: list[Entry], stamp: str | None, number: int) -> None:
    """Sound, words and entries of a job, as taking a recording leaves them."""
    sound = store.home / f"{job_id}-{number}.wav"
    sound.write_bytes(f"{job_id} {number}".encode())
    kept = store.sounds.keep(sound)
    clip = store.add_clip(job_id, kept, Clip("", kept.sha256, "memo", "", 60.0, 16_000, 1, stamp))
    hearing, _ = store.begin_hearing(job_id, clip, "fake")
    store.add_heard(hearing, Utterance(f"u{job_id}{number}", "the hood is the leak", clip.id, 5.0, 9.0), 60.0)
    store.end_hearing(hearing)
    store.put_extraction(store.job(job_id), entries, [], MAKING)


@pytest.mark.parametrize("seed", range(3))
def test_after_every_change_the_summary_is_what_it_would_be_made_anew(
    store: Store, summarizer: VisitSummaries, seed: int
) -> None:
    """Jobs opened, recorded, understood, corrected, closed, renamed, taken back, in any order."""
    rng = random.Random(seed)
    made = list(plausible_jobs(leak_map(), 8, seed=seed))
    ids: list[str] = []
    for step in range(45):
        doing = rng.choice(["open", "take", "take", "set", "set", "remove", "undo", "close", "intake", "text"])
        if doing == "open" or not ids:
            ids.append(store.open_job(f"unit {step}", replace(made[0].intake, role=rng.choice(["lead", None]))).id)
        job = store.job(rng.choice(ids))
        if doing == "take":
            entries = list(rng.choice(made).entries)
            _take(store, job.id, entries, rng.choice([None, "2026-05-04T08:00:00Z"]), step)
        elif doing == "text":
            store.add_text(job.id, ["a word"])
        elif doing in ("set", "remove") and job.entries:
            entry = rng.choice(job.entries)
            if doing == "remove":
                store.disregard(job.id, entry.id, "kim")
            elif entry.side != "left":
                store.correct(job.id, entry.id, "side", "left", "kim")
        elif doing == "undo" and any(edit.action != "undo" for edit in job.edits):
            store.undo(job.id, "kim", None) if job.status == "open" and not job.stranded_edits else None
        elif doing == "close" and job.status == "open":
            store.amend_job(job.id, "status", "closed", "kim")
        elif doing == "intake":
            store.amend_job(job.id, "intake.family", f"F{step}", "kim")
        assert stale(store, summarizer) == [], doing


def test_a_change_that_is_not_kept_leaves_the_summary_as_it_was(store: Store, summarizer: VisitSummaries) -> None:
    """The summary goes with the transaction."""
    job = store.open_job("unit 1", Intake(family="A"))
    with pytest.raises(RuntimeError), store.atomic():
        store.amend_job(job.id, "intake.family", "B", "kim")
        raise RuntimeError
    assert stale(store, summarizer) == []
    with store.reading() as db:
        (row,) = summary_rows.rows(db, "body-leaks")
        assert unpack([row], summary_rows.words(db)).words[1] == "A"


def test_without_a_vocabulary_at_hand_the_job_stays_due_and_is_caught_up(tmp_path: Path) -> None:
    """A change by a store that knows no vocabulary is counted by the next look at many jobs."""
    with Store(tmp_path / "home") as plain:
        job = plain.open_job("unit 1")
        _take(plain, job.id, list(next(iter(plausible_jobs(leak_map(), 1))).entries), None, 1)
    rooms = rooms_at(tmp_path / "home")
    assert rooms.store.count_due(rooms.summarizer) == 1
    assert recurring(rooms, now=NOW).found == 1
    assert rooms.store.count_due(rooms.summarizer) == 0
    rooms.store.close()


@pytest.mark.parametrize("step", STEP_NAMES)
def test_a_store_of_an_earlier_version_is_filled_with_progress(tmp_path: Path, step: str) -> None:
    """Every job of it gets its summary the first time that many jobs are looked at."""
    shutil.copy(EARLIER / f"{step}.db", tmp_path / FILE_NAME)
    rooms, told = rooms_at(tmp_path), []
    assert recurring(rooms, progress=lambda share, doing: told.append((share, doing))).jobs == 2
    assert told == [(1.0, "reading jobs that are new or changed: 2 of 2")]
    assert stale(rooms.store, rooms.summarizer) == []
    rooms.store.close()


def test_other_rules_make_all_summaries_due(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    """A vocabulary that says otherwise what water is, or code that proves otherwise."""
    store.open_job("unit 1")
    other = VisitSummaries(pack(), leak_map)
    monkeypatch.setattr("fieldnote.patterns.summaries._code_hash", lambda: "other code")
    assert store.count_due(other) == 1
    assert store.make_summaries(other) == 1
    assert store.count_due(other) == 0


def test_jobs_of_another_vocabulary_are_left_alone(store: Store, summarizer: VisitSummaries) -> None:
    """They are neither summed up by the wrong rules nor counted."""
    store.open_job("wall 1", pack="building-leaks")
    assert store.count_due(summarizer) == 0
    assert summaries_of(store) == []


def summaries_of(store: Store) -> list[str]:
    with store.reading() as db:
        return [row["job_id"] for row in db.query("SELECT job_id FROM summary")]


def test_a_large_import_stays_due_and_is_made_in_several_goes(tmp_path: Path, summarizer: VisitSummaries) -> None:
    """More jobs than one transaction should wait for; the progress counts them."""
    with Store(tmp_path / "home") as plain:
        fill(plain, plausible_jobs(leak_map(), 120, seed=3))
        bundle = tmp_path / "jobs.zip"
        ids = [line.id for line in plain.jobs()]
        export_jobs(plain, ids, bundle)
    with Store(tmp_path / "other", summarizer=lambda: summarizer) as other:
        import_jobs(rooms_with(other), bundle)
        told: list[int] = []
        assert other.make_summaries(summarizer, told.append) == 120
        assert told[-1] == 120
        assert stale(other, summarizer) == []


def rooms_with(store: Store) -> Rooms:
    rooms = rooms_at(store.home)
    rooms.__dict__["store"] = store
    return rooms


def test_the_check_finds_a_summary_that_does_not_follow_and_mends_it(store: Store, summarizer: VisitSummaries) -> None:
    """One that was tampered with and one that is gone."""
    first, second = store.open_job("unit 1", Intake(family="A")), store.open_job("unit 2")
    with store.atomic() as db:
        db.execute("UPDATE summary SET head = zeroblob(length(head)) WHERE job_id = ?", [first.id])
        db.execute("DELETE FROM summary WHERE job_id = ?", [second.id])
    report = check(store, summarizer=summarizer)
    assert {(f.what, f.where) for f in report.findings} == {
        ("the job's summary for patterns does not follow from it", job.id) for job in (first, second)
    }
    mend(store, report)
    store.make_summaries(summarizer)
    assert check(store, summarizer=summarizer).findings == ()


def test_what_is_kept_gives_the_patterns_that_the_jobs_themselves_give(tmp_path: Path) -> None:
    """Through the store and straight from the entries, filtered and not."""
    made = list(plausible_jobs(leak_map(), 150, seed=21))
    with Store(tmp_path / "home") as plain:
        fill(plain, made)
    rooms = rooms_at(tmp_path / "home")
    jobs = [
        Job(m.id, m.name, m.created_at, "closed" if m.closed_at else "open", m.closed_at, intake=m.intake,
            entries=m.entries)
        for m in made
    ]  # fmt: skip
    for asked in (Survey(), Survey(since="2024"), Survey(grade="cured", until="2025-03-02"), Survey(place="hood")):
        assert recurring(rooms, asked, now=NOW) == survey(
            jobs, pack(), rooms.settings.patterns, asked, leak_map=leak_map(), now=NOW
        )
    rooms.store.close()


def test_packing_loses_nothing_that_is_reckoned_with() -> None:
    """Unpacked, the columns hold the numbers and words of the visits; order of the rows does not matter."""
    jobs = [Job(m.id, m.name, m.created_at, entries=m.entries, intake=m.intake) for m in plausible_jobs(leak_map(), 9)]
    seen = visits(jobs, rules_of(pack(), leak_map()), {})
    columns = columns_of(list(reversed(seen)))
    assert columns.ids.tolist() == [visit.id for visit in seen]
    assert [columns.words[c] for c in columns.signs["place"].tolist()] == [p for v in seen for p in v.showed]
    assert [columns.words[c] for c in columns.leaks["place"].tolist()] == [k.place for v in seen for k in v.leaks]
    assert columns.checks["made"].sum() == sum(check.made for visit in seen for check in visit.checks)
    words = {word for visit in seen for word in words_of(visit)}
    codes = {word: number for number, word in enumerate(sorted(words | {""}))}
    assert len(packed(seen[0], codes).head) == columns.head.dtype.itemsize


def test_no_jobs_are_no_columns() -> None:
    """Nothing to unpack."""
    assert len(columns_of([]).head) == 0


def test_summaries_are_read_for_their_own_rooms(tmp_path: Path) -> None:
    """The way through the flow, with nothing kept yet."""
    rooms = rooms_at(tmp_path / "home")
    assert len(summaries(rooms).ids) == 0
    assert recurring(rooms, replace(Survey(), grade="fault")).jobs == 0
    assert SETTINGS.few == 5
    rooms.store.close()
