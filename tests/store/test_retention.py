from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from fieldnote.records import Clip, Job
from fieldnote.store import Store
from fieldnote.store.checking import check
from fieldnote.store.retention import LetGo, let_go
from tests.store.test_bundles import _stream, add_sound

LATER = datetime.now(UTC) + timedelta(days=40)


@pytest.fixture
def closed(store: Store, job: Job) -> Job:
    """A job with a sound of three bytes, closed just now."""
    add_sound(store, job)
    store.amend_job(job.id, "status", "closed", "kim")
    return store.job(job.id)


def test_sound_of_jobs_closed_long_ago_goes_and_words_stay(store: Store, closed: Job) -> None:
    """After the days that were set the file is deleted; everything else is as it was, and the check is content."""
    assert let_go(store, 30) == LetGo(0, 0)
    assert let_go(store, 30, only_look=True, today=LATER) == LetGo(1, 3)
    assert (store.home / closed.clips[0].path).is_file()
    assert let_go(store, 30, today=LATER) == LetGo(1, 3)
    assert not (store.home / closed.clips[0].path).exists()
    assert store.job(closed.id) == closed
    report = check(store)
    assert (report.findings, report.sounds, report.sounds_elsewhere) == ((), 0, 1)
    assert let_go(store, 30, today=LATER) == LetGo(0, 0)


def test_sound_that_an_open_job_has_stays(store: Store, closed: Job) -> None:
    """A recording shared with a job that is still open is kept for it; reopening keeps it too."""
    other = store.open_job("van 3")
    add_sound(store, other)
    assert let_go(store, 30, today=LATER) == LetGo(0, 0)
    store.amend_job(other.id, "status", "closed", "kim")
    assert let_go(store, 30, only_look=True, today=LATER) == LetGo(1, 3)
    store.amend_job(closed.id, "status", "open", "kim")
    assert let_go(store, 30, today=LATER) == LetGo(0, 0)


def test_sound_that_nobody_heard_stays(store: Store, job: Job) -> None:
    """A recording whose words are not kept yet is never let go."""
    kept = store.sounds.keep_stream(_stream(b"xyz"), ".wav")
    store.add_clip(job.id, kept, Clip("", kept.sha256, "memo.wav", kept.path, 3.0, 16000, 1))
    store.amend_job(job.id, "status", "closed", "kim")
    assert let_go(store, 30, today=LATER) == LetGo(0, 0)


def test_sound_given_again_is_kept_again(store: Store, closed: Job) -> None:
    """What was let go and comes back, by hand or in a bundle, is there again."""
    let_go(store, 30, today=LATER)
    other = store.open_job("van 3")
    add_sound(store, other)
    assert (store.home / store.job(other.id).clips[0].path).is_file()
    assert check(store).sounds == 1
