from __future__ import annotations

import errno
import os
import resource
import shutil
import sqlite3
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from fieldnote.errors import StoreFault
from fieldnote.store import Store
from fieldnote.store.connection import FILE_NAME, connect
from fieldnote.store.faults import file_fault

_NOBODY = 65534


@contextmanager
def _without_privileges() -> Iterator[None]:
    """Permissions do not bind root: drop to another user for the block, where the tests run as root."""
    if os.geteuid() != 0:
        yield
        return
    os.seteuid(_NOBODY)
    try:
        yield
    finally:
        os.seteuid(0)


@pytest.fixture
def open_folder() -> Iterator[Path]:
    """A folder that other users can reach."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        folder.chmod(0o755)
        yield folder


def _one_line(fault: StoreFault) -> None:
    assert "\n" not in str(fault)
    assert fault.where
    assert fault.do
    assert fault.exit_code == 2


def test_a_folder_that_cannot_be_written(open_folder: Path) -> None:
    """A new store in a read-only folder is refused in one line."""
    open_folder.chmod(0o555)
    with _without_privileges(), pytest.raises(StoreFault, match="cannot be") as caught:
        Store(open_folder / "home")
    _one_line(caught.value)
    open_folder.chmod(0o755)


def test_a_database_that_cannot_be_written(open_folder: Path) -> None:
    """A store whose folder has become read-only can be read; writing to it is refused in one line."""
    home = open_folder / "home"
    with Store(home) as store:
        store.open_job("van 3")
    home.chmod(0o555)
    (home / FILE_NAME).chmod(0o444)
    with _without_privileges(), Store(home) as store:
        assert [line.name for line in store.jobs()] == ["van 3"]
        assert store.job("van 3").name == "van 3"
        with pytest.raises(StoreFault, match="read but not written") as caught:
            store.open_job("van 4")
    _one_line(caught.value)
    home.chmod(0o755)
    (home / FILE_NAME).chmod(0o644)
    with Store(home) as store:
        assert [line.name for line in store.jobs()] == ["van 3"]


def test_a_store_that_was_not_closed_cannot_be_read_without_writing(open_folder: Path) -> None:
    """What lies in the log of a writer that died would be missing: it is said instead."""
    home = open_folder / "home"
    store = Store(home)
    store.open_job("van 3")
    copy = open_folder / "copy"
    shutil.copytree(home, copy)  # as it is while it is open: the last words are in the log
    store.close()
    copy.chmod(0o555)
    for path in copy.iterdir():
        path.chmod(0o444)
    with _without_privileges(), pytest.raises(StoreFault, match="were not closed") as caught:
        Store(copy)
    _one_line(caught.value)
    copy.chmod(0o755)


def test_an_earlier_store_that_cannot_be_written_is_said(open_folder: Path) -> None:
    """It would have to be brought up to date first."""
    home = open_folder / "home"
    home.mkdir()
    shutil.copy(Path(__file__).parent / "earlier" / "m001_jobs_words_entries.db", home / FILE_NAME)
    (home / FILE_NAME).chmod(0o444)
    home.chmod(0o555)
    with _without_privileges(), pytest.raises(StoreFault, match="earlier version") as caught:
        Store(home)
    _one_line(caught.value)
    home.chmod(0o755)


def test_a_file_where_the_folder_should_be(tmp_path: Path) -> None:
    """FIELDNOTE_HOME naming a file is said plainly, and the file is left alone."""
    (tmp_path / "home").write_text("mine")
    with pytest.raises(StoreFault, match="a file stands where") as caught:
        Store(tmp_path / "home")
    _one_line(caught.value)
    assert (tmp_path / "home").read_text() == "mine"


@pytest.mark.parametrize("content", [b"not a database at all, but long enough to look like one" * 40, b"x"])
def test_a_file_that_is_no_database(tmp_path: Path, content: bytes) -> None:
    """A foreign file under the database's name is refused and left byte for byte as it was."""
    path = tmp_path / FILE_NAME
    path.write_bytes(content)
    with pytest.raises(StoreFault, match="not a fieldnote database") as caught:
        Store(tmp_path)
    _one_line(caught.value)
    assert path.read_bytes() == content


def test_a_database_of_another_program(tmp_path: Path) -> None:
    """Somebody else's SQLite file is refused, and no table is added to it."""
    other = sqlite3.connect(tmp_path / FILE_NAME)
    other.execute("CREATE TABLE recipes (name TEXT)")
    other.commit()
    other.close()
    with pytest.raises(StoreFault, match="another program") as caught:
        Store(tmp_path)
    _one_line(caught.value)
    other = sqlite3.connect(tmp_path / FILE_NAME)
    assert [row[0] for row in other.execute("SELECT name FROM sqlite_master")] == ["recipes"]
    other.close()


def test_a_store_of_a_newer_version(tmp_path: Path) -> None:
    """A step that this version does not know means a newer one: it is refused, and nothing is changed."""
    with Store(tmp_path) as store, store.atomic() as db:
        db.execute(
            "INSERT INTO _sqlite_migrations (migration_set, name, applied_at) VALUES ('fieldnote', 'm999_later', 'x')"
        )
    with pytest.raises(StoreFault, match="newer version") as caught:
        Store(tmp_path)
    _one_line(caught.value)


def test_a_damaged_database(tmp_path: Path) -> None:
    """Pages overwritten with noise are told as damage, not as a traceback."""
    with Store(tmp_path) as store:
        for number in range(60):
            store.open_job(f"van {number}")
    path = tmp_path / FILE_NAME
    whole = bytearray(path.read_bytes())
    whole[4096 : 4096 * 40] = os.urandom(4096 * 39)
    path.write_bytes(whole)
    with pytest.raises(StoreFault, match=r"damaged|not a fieldnote database") as caught, Store(tmp_path) as store:
        store.jobs()
        store.open_job("one more")
    _one_line(caught.value)


def test_a_full_disk_while_writing(store: Store) -> None:
    """SQLite's own "disk is full" is one line, the write is taken back, and what was kept stays."""
    store.open_job("van 3")
    pages = store.db.execute("PRAGMA page_count").fetchone()[0]
    store.db.execute(f"PRAGMA max_page_count = {pages}")
    opened = store.open_job("van 4")
    with pytest.raises(StoreFault, match="the disk is full") as caught:
        store.add_text(opened.id, ["a long dictation " * 50] * 200)
    _one_line(caught.value)
    store.db.execute("PRAGMA max_page_count = 1073741823")
    assert {line.name for line in store.jobs()} == {"van 3", "van 4"}
    assert store.job("van 4").utterances == ()


_COPY_WITH_LIMIT = """
import resource, signal, sys
from pathlib import Path
from fieldnote.errors import StoreFault
from fieldnote.store.sound_shelf import SoundShelf
signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
resource.setrlimit(resource.RLIMIT_FSIZE, (100_000, 100_000))
try:
    SoundShelf(Path(sys.argv[1])).keep(Path(sys.argv[2]))
except StoreFault as fault:
    print(fault)
"""


def test_sound_that_does_not_fit_leaves_nothing_half_done(tmp_path: Path) -> None:
    """A copy that the system breaks off (here by a limit on file size) is one line and leaves no part of a file."""
    assert resource.RLIMIT_FSIZE is not None
    sound = tmp_path / "memo.wav"
    sound.write_bytes(os.urandom(300_000))
    done = subprocess.run(
        [sys.executable, "-c", _COPY_WITH_LIMIT, str(tmp_path / "home"), str(sound)],
        capture_output=True,
        text=True,
        check=True,
    )
    assert len(done.stdout.strip().splitlines()) == 1
    assert [path for path in (tmp_path / "home").rglob("*") if path.is_file()] == []
    assert sound.stat().st_size == 300_000


@pytest.mark.parametrize(
    ("number", "told"),
    [
        (errno.ENOSPC, "the disk is full"),
        (errno.EROFS, "cannot be written"),
        (errno.EACCES, "cannot be written"),
        (errno.ENOTDIR, "a file stands"),
        (errno.EIO, "cannot be used"),
    ],
    ids=["full", "read-only", "no permission", "not a folder", "broken"],
)
def test_what_the_file_system_reports_is_told_in_one_line(number: int, told: str) -> None:
    """Each error of the file system gets its own advice."""
    fault = file_fault(OSError(number, os.strerror(number), "sound/aa"), Path("home"))
    assert told in str(fault)
    _one_line(fault)


def test_opening_twice_runs_no_step_twice(tmp_path: Path) -> None:
    """A store that is up to date is not written when it is opened."""
    Store(tmp_path).close()
    db = connect(tmp_path / FILE_NAME)
    before = db.execute("PRAGMA data_version").fetchone()[0]
    Store(tmp_path).close()
    assert db.execute("PRAGMA data_version").fetchone()[0] == before
    db.conn.close()
