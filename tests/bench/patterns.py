"""How long ``fieldnote patterns`` takes over many jobs, and what of it.

    python -m tests.bench.patterns [JOBS] [FOLDER]

Makes a store of plausible jobs (100,000 of 15 entries unless told otherwise) in FOLDER, or uses the one that is there.
Seconds of the process's own work stand beside seconds by the clock, since a shared machine stretches the latter.
"""

from __future__ import annotations

import os
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from fieldnote.flow.recurring import recurring, summaries
from fieldnote.flow.rooms import Rooms
from tests.bench.filling import fill
from tests.bench.plausible_jobs import plausible_jobs

ROUNDS = 5


def _own_s() -> float:
    """Seconds that this process and those that it waited for have worked."""
    return sum(os.times()[:4])


def measure(name: str, work: Callable[[], Any], rounds: int = ROUNDS) -> Any:
    """Run ``work`` some times and print the middle of its times; gives its last result."""
    by_clock, own = [], []
    for _ in range(rounds):
        began, used = time.perf_counter(), _own_s()
        result = work()
        by_clock.append(time.perf_counter() - began)
        own.append(_own_s() - used)
    print(f"{name:42}{statistics.median(by_clock):10.2f}{min(by_clock):8.2f}{statistics.median(own):9.2f}")
    return result


def main(count: int, folder: Path) -> None:
    """Print the table."""
    rooms = Rooms(folder)
    store, leak_map = rooms.store, rooms.leak_map
    if len(store.jobs(limit=count)) < count:
        fill(store, plausible_jobs(leak_map, count))
    have = len(store.jobs())
    print(f"{have} jobs, {store.path.stat().st_size / 1e6:.0f} MB")
    print(f"{'':42}{'median s':>10}{'best s':>8}{'own s':>9}")
    due = store.count_due(rooms.summarizer)
    if due:
        measure(f"summaries of {due} jobs, once", lambda: store.make_summaries(rooms.summarizer), 1)
    job = store.jobs(limit=1)[0].id

    def change() -> None:
        store.amend_job(job, "intake.complaint", f"wet {time.perf_counter_ns()}", "bench")

    measure("a change of a job, its summary included", change)
    columns = measure("read all summaries", lambda: summaries(rooms))
    measure("all figures of what was read", lambda: recurring(rooms, columns=columns, named=False))
    measure("flow: read and reckon", lambda: recurring(rooms, named=False))
    for words in (["patterns"], ["patterns", "--json"], ["--help"]):
        command = [sys.executable, "-m", "fieldnote", *words]
        measure(
            f"fieldnote {' '.join(words)}, from start to end",
            lambda command=command: subprocess.run(
                command, check=True, stdout=subprocess.DEVNULL, env={"FIELDNOTE_HOME": str(folder), "COLUMNS": "80"}
            ),
        )
    store.close()


if __name__ == "__main__":
    wanted = int(sys.argv[1]) if len(sys.argv) > 1 else 100_000
    if len(sys.argv) > 2:
        main(wanted, Path(sys.argv[2]))
    else:
        with tempfile.TemporaryDirectory() as made:
            main(wanted, Path(made))
