from __future__ import annotations

import sqlite3

import pytest

from fieldnote.errors import NotFound, UserMistake
from fieldnote.records import Entry, Job
from fieldnote.store import Store
from tests.store.conftest import extract


def test_a_correction_keeps_who_when_before_and_after(store: Store, job: Job) -> None:
    """A change says everything about itself, and the entry in force has the new value."""
    edit = store.correct(job.id, job.entries[0].id, "side", "right", "kim")
    assert (edit.person, edit.field, edit.before, edit.after) == ("kim", "side", "left", "right")
    assert edit.at.endswith("Z")
    assert edit.quote == job.entries[0].quote
    changed = store.job(job.id)
    assert changed.entries[0].side == "right"
    assert changed.entries[1:] == job.entries[1:]
    assert changed.edits == (edit,)


def test_changes_are_replayed_over_every_new_extraction(store: Store, job: Job) -> None:
    """Making the entries anew keeps corrections, removals and additions."""
    store.correct(job.id, job.entries[0].id, "side", "right", "kim")
    store.disregard(job.id, job.entries[1].id, "kim")
    store.add_entry(job.id, Entry("check", "hood", "seam", state="ok"), "kim")
    before = store.job(job.id)
    assert [entry.state for entry in before.entries] == ["loose-fastener", "skip", "ok"]
    again = extract(store, job.id)
    assert again.entries == before.entries
    assert again.edits == before.edits


def test_a_change_whose_entry_vanished_is_shown_and_comes_back(store: Store, job: Job) -> None:
    """A stranded change is never dropped: it is listed, and applies again once its entry does."""
    edit = store.correct(job.id, job.entries[2].id, "side", "left", "kim")
    without = extract(store, job.id, without="skip")
    assert without.stranded_edits == (edit,)
    assert len(without.entries) == 2
    again = extract(store, job.id)
    assert again.stranded_edits == ()
    assert again.entries[2].side == "left"


def test_undo_goes_back_step_by_step(store: Store, job: Job) -> None:
    """Undo takes back the last change that counts, then the one before it; a third says that nothing is left."""
    store.correct(job.id, job.entries[0].id, "side", "right", "kim")
    store.disregard(job.id, job.entries[1].id, "lee")
    assert store.undo(job.id, "kim")[0].action == "remove"
    assert len(store.job(job.id).entries) == 3
    assert store.undo(job.id, "kim")[0].field == "side"
    assert store.job(job.id).entries == job.entries
    with pytest.raises(NotFound, match="no change to take back"):
        store.undo(job.id, "kim")
    assert len(store.job(job.id).edits) == 4


def test_undoing_an_undo_brings_the_change_back(store: Store, job: Job) -> None:
    """What was taken back can be brought into force again, by naming what took it back."""
    store.correct(job.id, job.entries[0].id, "side", "right", "kim")
    _, undone = store.undo(job.id, "kim")
    store.undo(job.id, "kim", undone.id)
    assert store.job(job.id).entries[0].side == "right"


def test_a_change_cannot_be_taken_back_twice(store: Store, job: Job) -> None:
    """Naming a change that does not count any more is refused."""
    edit = store.correct(job.id, job.entries[0].id, "side", "right", "kim")
    store.undo(job.id, "kim", edit.id)
    with pytest.raises(UserMistake, match="taken back already"):
        store.undo(job.id, "kim", edit.id)


def test_undo_of_an_older_change_leaves_later_ones(store: Store, job: Job) -> None:
    """One change of several can be taken back by its id."""
    first = store.correct(job.id, job.entries[0].id, "side", "right", "kim")
    store.correct(job.id, job.entries[0].id, "item", 3, "kim")
    store.undo(job.id, "kim", first.id)
    entry = store.job(job.id).entries[0]
    assert (entry.side, entry.item) == ("left", 3)


def test_the_same_value_is_no_change(store: Store, job: Job) -> None:
    """Correcting to what is there already is refused and adds nothing to the log."""
    with pytest.raises(UserMistake, match="that value already"):
        store.correct(job.id, job.entries[0].id, "side", "left", "kim")
    assert store.job(job.id).edits == ()


@pytest.mark.parametrize(
    "statement", ["UPDATE edit SET person = 'else'", "DELETE FROM edit"], ids=["changed", "deleted"]
)
def test_the_log_is_only_ever_added_to(store: Store, job: Job, statement: str) -> None:
    """The database itself refuses to change or delete what a person did."""
    store.correct(job.id, job.entries[0].id, "side", "right", "kim")
    with pytest.raises(sqlite3.IntegrityError, match="only ever added"), store.atomic() as db:
        db.execute(statement)
    assert store.job(job.id).edits[0].person == "kim"


def test_the_jobs_own_fields_are_changed_the_same_way(store: Store, job: Job) -> None:
    """Closing, renaming and the intake are changes like any other, and can be taken back."""
    store.amend_job(job.id, "intake.order_number", "48813", "kim")
    store.amend_job(job.id, "intake.conditions.liquid", ("rain",), "kim")
    closed = store.amend_job(job.id, "status", "closed", "kim")
    changed = store.job(job.id)
    assert changed.intake.order_number == "48813"
    assert changed.intake.conditions.liquid == ("rain",)
    assert (changed.status, changed.closed_at) == ("closed", closed.at)
    store.undo(job.id, "lee")
    assert (store.job(job.id).status, store.job(job.id).closed_at) == ("open", None)


def test_words_that_came_in_since_make_a_job_stale(store: Store, job: Job) -> None:
    """Entries made from fewer words than there are now are known to be out of date."""
    assert not store.is_stale(job.id)
    store.add_text(job.id, ["dried it out"])
    assert store.is_stale(job.id)
    extract(store, job.id)
    assert not store.is_stale(job.id)
    store.amend_job(job.id, "intake.steering", "right", "kim")
    assert store.is_stale(job.id)  # the driver's side is another now


def test_entries_made_from_an_older_reading_of_the_job_stay_stale(store: Store, job: Job) -> None:
    """Words that come in while entries are being made are not taken for understood."""
    read_before = store.job(job.id)
    store.add_text(job.id, ["dried it out"])
    from tests.store.conftest import MAKING

    store.put_extraction(read_before, read_before.entries, [], MAKING)
    assert store.is_stale(job.id)
