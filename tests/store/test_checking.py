from __future__ import annotations

import os
import time
from pathlib import Path

import pytest

from fieldnote.errors import StoreFault, UserMistake
from fieldnote.records import Job
from fieldnote.store import Query, Store
from fieldnote.store.backup import back_up
from fieldnote.store.checking import check, mend
from tests.store.test_bundles import add_sound, state_of


def whats(store: Store, *, hashes: bool = True) -> list[str]:
    return [finding.what for finding in check(store, hashes=hashes).findings]


def test_a_good_store_passes(store: Store, job: Job) -> None:
    """Nothing is found, and the report counts what was looked at."""
    add_sound(store, job)
    store.correct(job.id, job.entries[0].id, "side", "right", "kim")
    report = check(store)
    assert (report.findings, report.jobs, report.sounds) == ((), 1, 1)


def test_a_missing_and_a_rotten_sound_are_named(store: Store, job: Job) -> None:
    """A file that is gone, one of another size, and one of other bytes; the last needs its hash."""
    paths = [store.home / add_sound(store, job, content, content.decode()).path for content in (b"abc", b"def", b"ghi")]
    paths[0].unlink()
    paths[1].write_bytes(b"de")
    paths[2].write_bytes(b"ghj")
    assert sorted(whats(store)) == [
        "a sound is missing; its words are still here",
        "a sound is not what it was when it was kept",
        "a sound is not what it was when it was kept",
    ]
    assert len(whats(store, hashes=False)) == 2
    where = {finding.where for finding in check(store).findings}
    assert where == {str(path) for path in paths}


def test_what_is_derived_is_compared_and_made_anew(store: Store, job: Job) -> None:
    """Entries, the job's fields and the index that no longer follow are found and mended; words and changes stay."""
    store.correct(job.id, job.entries[0].id, "side", "right", "kim")
    good = state_of(store)
    with store.atomic() as db:
        db.execute("UPDATE entry SET side = 'center' WHERE side = 'right'")
        db.execute("UPDATE job SET name = 'other'")
        db.execute("DELETE FROM search")
    assert len(whats(store)) == 3
    assert mend(store, check(store)) == 3
    assert whats(store) == []
    assert state_of(store) == good
    assert store.search(Query("skip"))


def test_files_of_no_job_are_named_and_taken_out(store: Store, job: Job) -> None:
    """What a stop left on the shelf is found once it is old enough not to be a take under way."""
    add_sound(store, job)
    stray = store.sounds.folder / "ab" / "stray.wav"
    stray.parent.mkdir(parents=True, exist_ok=True)
    stray.write_bytes(b"x")
    assert whats(store) == []
    old = time.time() - 7200
    os.utime(stray, (old, old))
    assert whats(store) == ["this file belongs to no job"]
    mend(store, check(store))
    assert not stray.exists()
    assert whats(store) == []
    assert (store.home / store.job(job.id).clips[0].path).is_file()


def test_rows_that_point_at_nothing_are_found(store: Store, job: Job) -> None:
    """A foreign key broken behind the store's back is reported."""
    store.db.execute("PRAGMA foreign_keys = OFF")
    with store.atomic() as db:
        db.execute("UPDATE utterance SET hearing_id = 'gone'")
    store.db.execute("PRAGMA foreign_keys = ON")
    assert any("points at a hearing that is not there" in what for what in whats(store))


def test_a_damaged_database_is_reported_and_not_touched(store: Store) -> None:
    """Noise inside the file is found; mending does not try."""
    for number in range(80):
        store.open_job(f"van {number}")
    store.close()
    whole = bytearray(store.path.read_bytes())
    whole[4096 * 6 : 4096 * 30] = os.urandom(4096 * 24)
    store.path.write_bytes(whole)
    try:
        report = check(store)
    except StoreFault as fault:
        assert "damaged" in str(fault) or "not a fieldnote database" in str(fault)
        return
    assert report.findings
    assert mend(store, report) == 0
    assert store.path.read_bytes() == bytes(whole)


def test_a_backup_is_a_store_of_its_own(store: Store, job: Job, tmp_path: Path) -> None:
    """The copy opens, holds everything, and is not touched by what happens afterwards."""
    add_sound(store, job)
    copy = back_up(store, tmp_path / "backup")
    assert (copy.jobs, copy.sounds, copy.copied, copy.missing) == (1, 1, 1, 0)
    before = state_of(store)
    store.open_job("later")
    with Store(tmp_path / "backup") as restored:
        assert state_of(restored) == before
        assert check(restored).findings == ()


def test_a_second_backup_copies_only_what_is_new(store: Store, job: Job, tmp_path: Path) -> None:
    """Sound that is there is left; the database is brought up to date."""
    add_sound(store, job, b"abc", "one")
    back_up(store, tmp_path / "backup")
    add_sound(store, job, b"def", "two")
    copy = back_up(store, tmp_path / "backup")
    assert (copy.sounds, copy.copied) == (2, 1)
    with Store(tmp_path / "backup") as restored:
        assert state_of(restored) == state_of(store)


def test_a_backup_is_made_while_others_write(store: Store, job: Job, tmp_path: Path) -> None:
    """A transaction that is open elsewhere neither stops the backup nor is in it."""
    with Store(store.home) as writer, writer.atomic() as db:
        db.execute("UPDATE job SET name = 'half done'")
        back_up(store, tmp_path / "backup")
    with Store(tmp_path / "backup") as restored:
        assert [line.name for line in restored.jobs()] == ["bus 7"]


def test_a_backup_goes_nowhere_else(store: Store, job: Job, tmp_path: Path) -> None:
    """Not into the data folder itself, nor into a folder of other things; nothing is left there."""
    with pytest.raises(UserMistake, match="data folder itself"):
        back_up(store, store.home)
    (tmp_path / "other").mkdir()
    (tmp_path / "other" / "letter.txt").write_text("mine")
    with pytest.raises(UserMistake, match="holds other things"):
        back_up(store, tmp_path / "other")
    assert [path.name for path in (tmp_path / "other").iterdir()] == ["letter.txt"]


def test_a_missing_sound_does_not_stop_a_backup(store: Store, job: Job, tmp_path: Path) -> None:
    """What is there is saved, and what is not is counted."""
    clip = add_sound(store, job)
    (store.home / clip.path).unlink()
    assert back_up(store, tmp_path / "backup").missing == 1
