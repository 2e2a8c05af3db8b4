"""Makes the file of the newest step in this folder, once, when that step is written.

    python -m tests.store.earlier.make

A file that is there is never made again: it stands for the stores that users have.
"""

from __future__ import annotations

import sqlite3
import tempfile
from pathlib import Path

from fieldnote.records import Clip, Entry, Intake, Utterance
from fieldnote.store import Making, Store
from fieldnote.store.migrations import STEP_NAMES

HERE = Path(__file__).parent


def main() -> None:
    target = HERE / f"{STEP_NAMES[-1]}.db"
    if target.exists():
        raise SystemExit(f"{target} is there already")
    with tempfile.TemporaryDirectory() as folder:
        with Store(Path(folder)) as store:
            fill(store)
        source = sqlite3.connect(Path(folder) / "jobs.db")
        source.execute("PRAGMA journal_mode = DELETE")
        source.execute("VACUUM INTO ?", [str(target)])
        source.close()


def fill(store: Store) -> None:
    """One job with a clip, words, entries, three changes, and a second one that is closed."""
    job = store.open_job("bus 7", Intake(vehicle="bus 7", order_number="48813"))
    sound = store.home / "memo.wav"
    sound.write_bytes(b"abc")
    kept = store.sounds.keep(sound)
    clip = store.add_clip(job.id, kept, Clip("", kept.sha256, "memo.wav", kept.path, 3.0, 16000, 1))
    hearing, _ = store.begin_hearing(job.id, clip, "fake")
    for number, text in enumerate(("left seam has a gap", "tail lamp is dry")):
        store.add_heard(hearing, Utterance(f"u{number}", text, clip.id, number, number + 1.0), number + 1.0)
    store.end_hearing(hearing)
    entries = [
        Entry("check", "hood", "seam", "left", "gap", quote="left seam has a gap", id="e0"),
        Entry("test", "tail-lamp", state="dry", quote="tail lamp is dry", id="e1"),
    ]
    store.put_extraction(store.job(job.id), entries, [], Making("body-leaks", "hash", "1"))
    store.correct(job.id, "e0", "side", "right", "kim")
    store.disregard(job.id, "e1", "kim")
    store.undo(job.id, "kim")
    other = store.open_job("van 3")
    store.amend_job(other.id, "status", "closed", "kim")


if __name__ == "__main__":
    main()
