"""What people vouch for: confirmed entries and accepted handovers, each a line of the log."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from fieldnote.errors import NotFound, UserMistake
from fieldnote.flow import read_text
from fieldnote.flow.confirming import accept_handover, acceptances, confirm, confirmed, leaf_hash
from fieldnote.flow.moving import export_jobs
from fieldnote.records import Job
from fieldnote.store import Store
from fieldnote.store.bundles import read_bundle
from tests.flow.doubles import Copier


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with Store(tmp_path / "home") as opened:
        job = opened.open_job("van 3")
        read_text(opened, job, "seam has a gap\nthe other seam too", Copier())
        yield opened


def job(store: Store) -> Job:
    return store.job("van 3")


def test_a_confirmation_is_kept_singly_with_who_and_when(store: Store) -> None:
    """One line an entry; confirming again adds nothing."""
    one, two = job(store).entries
    made = confirm(store, job(store), [one.id, one.id], "Ann")
    assert [(e.person, e.quote, e.action) for e in made] == [("Ann", one.quote, "set")]
    assert confirmed(job(store)) == {one.id}
    assert [e.person for e in confirm(store, job(store), [one.id, two.id], "Bo")] == ["Bo"]
    assert confirmed(job(store)) == {one.id, two.id}


def test_a_change_is_to_be_confirmed_anew(store: Store) -> None:
    """What was confirmed is what the entry said then; with the change taken back it holds again."""
    one = job(store).entries[0]
    confirm(store, job(store), [one.id], "Ann")
    store.correct(job(store).id, one.id, "side", "left", "Bo")
    assert confirmed(job(store)) == frozenset()
    store.undo(job(store).id, "Bo")
    assert confirmed(job(store)) == {one.id}
    store.undo(job(store).id, "Ann")
    assert confirmed(job(store)) == frozenset()


def test_entries_stay_as_they_are(store: Store) -> None:
    """Vouching changes no entry and no field of the job."""
    before = job(store)
    confirm(store, before, [before.entries[0].id], "Ann")
    accept_handover(store, before, "leaf", "Bo")
    after = job(store)
    assert (after.entries, after.intake, after.name, after.claim) == (
        before.entries,
        before.intake,
        before.name,
        before.claim,
    )
    assert not after.stranded_edits and not after.differences


def test_an_entry_of_another_job_cannot_be_confirmed(store: Store) -> None:
    """Nor can one that is gone: nothing is kept."""
    with pytest.raises(NotFound):
        confirm(store, job(store), [job(store).entries[0].id, "nobody"], "Ann")
    assert confirmed(job(store)) == frozenset()


def test_a_handover_is_accepted_once_a_leaf(store: Store) -> None:
    """The same leaf twice is told; another one is another handover."""
    accept_handover(store, job(store), "as it stands", "Ann")
    with pytest.raises(UserMistake, match="Ann accepted"):
        accept_handover(store, job(store), "as it stands", "Bo")
    accept_handover(store, job(store), "as it stands now", "Bo")
    assert [(a.person, a.leaf) for a in acceptances(job(store))] == [
        ("Ann", leaf_hash("as it stands")),
        ("Bo", leaf_hash("as it stands now")),
    ]


def test_both_travel_with_the_job(store: Store, tmp_path: Path) -> None:
    """In a bundle to another machine."""
    confirm(store, job(store), [job(store).entries[0].id], "Ann")
    accept_handover(store, job(store), "leaf", "Bo")
    export_jobs(store, ["van 3"], tmp_path / "van.zip", sound=False)
    with Store(tmp_path / "other") as other:
        read_bundle(other, tmp_path / "van.zip")
        there = other.job("van 3")
        assert acceptances(there) == acceptances(job(store))
        assert [e.field for e in there.edits] == [e.field for e in job(store).edits]
