from __future__ import annotations

from fieldnote.records import Job, Rates
from fieldnote.store import Store
from tests.store.conftest import extract, fill


class Teacher:
    """Learns from jobs, and counts how often it is asked."""

    def __init__(self) -> None:
        self.asked = 0

    def __call__(self, jobs: list[Job]) -> Rates:
        self.asked += 1
        closed = tuple(job.id for job in jobs if job.status == "closed")
        return Rates(f"rates-{len(closed)}", "map", closed, {"a": 1.0}, {"F1": {"a": 0.5}}, {}, ())


def test_rates_are_kept_until_a_closed_job_changes(store: Store, job: Job) -> None:
    """Learned once and read afterwards; closing, correcting or opening a job, or another map, learns anew."""
    learn = Teacher()
    first = store.rates("body-leaks", "map", learn)
    assert store.rates("body-leaks", "map", learn) == first
    assert learn.asked == 1
    store.add_text(job.id, ["dried it out"])  # words of an open job teach nothing
    extract(store, job.id)
    store.rates("body-leaks", "map", learn)
    assert learn.asked == 1
    store.amend_job(job.id, "status", "closed", "kim")
    assert store.rates("body-leaks", "map", learn).jobs == (job.id,)
    store.correct(job.id, job.entries[0].id, "side", "right", "kim")
    store.rates("body-leaks", "map", learn)
    store.open_job("van 3")
    store.rates("body-leaks", "map", learn)
    store.rates("body-leaks", "another map", learn)
    assert learn.asked == 5


def test_rates_are_found_by_their_id(store: Store, job: Job) -> None:
    """What a suggestion names can be looked up."""
    learned = store.rates("body-leaks", "map", Teacher())
    assert store.rates_called(learned.id) == learned
    assert store.rates_called("rates-unknown") is None


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
