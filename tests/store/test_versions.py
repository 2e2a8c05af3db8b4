from __future__ import annotations

import dataclasses
import sqlite3

import pytest

from fieldnote.records import Job, Narrative, Paragraph, Sentence
from fieldnote.store import Store

STORY = Narrative((Paragraph("Cause", (Sentence("The seam has a gap.", ("e1",)),)),), (), hash="one")


def test_a_write_up_is_numbered_once_and_kept_whole(store: Store, job: Job) -> None:
    """The same words give the same version again; other words give the next number."""
    first = store.freeze(job.id, STORY, "kim")
    assert (first.number, first.narrative.version) == (1, 1)
    assert store.freeze(job.id, STORY, "lee") == first
    second = store.freeze(job.id, dataclasses.replace(STORY, hash="two"), "lee")
    assert second.number == 2
    assert store.versions(job.id) == (first, second)


def test_going_back_to_earlier_words_is_a_version_of_its_own(store: Store, job: Job) -> None:
    """What was handed out third is the third version, even where it says what the first said."""
    for digest in ("one", "two", "one"):
        store.freeze(job.id, dataclasses.replace(STORY, hash=digest), "kim")
    assert [(version.number, version.hash) for version in store.versions(job.id)] == [
        (1, "one"),
        (2, "two"),
        (3, "one"),
    ]


def test_a_frozen_write_up_is_never_changed(store: Store, job: Job) -> None:
    """The database itself refuses."""
    store.freeze(job.id, STORY, "kim")
    for statement in ("UPDATE version SET narrative = '{}'", "DELETE FROM version"):
        with pytest.raises(sqlite3.IntegrityError, match="never changed"), store.atomic() as db:
            db.execute(statement)
