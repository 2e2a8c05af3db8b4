"""Kills a listening process at random points and reports what is left: ``python -m tests.flow.killed_listener``.

A process of its own loads everything once and forks; each fork listens to a sound that is fed faster than real time
through a queue, as a sound card does, and is killed. What was fed is counted in memory shared with the killer.
"""

from __future__ import annotations

import json
import mmap
import os
import queue
import random
import signal
import struct
import sys
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
import soundfile

from fieldnote.capture.journal import Journal
from fieldnote.capture.microphone import Block
from fieldnote.flow import Rooms, open_job
from fieldnote.flow.session import Session
from tests.flow.spoken_tones import RATE_HZ, ToneDetector, ToneReader, saying

SPEED = 20.0
BLOCK = 320
NUMBERS = range(1, 17)


def sentence(number: int) -> str:
    return f"Roof rack screw number {number} is loose."


class FedSource:
    """A sound card: a thread of its own puts blocks into a queue, whether or not anybody takes them."""

    live = True
    name = "fed"
    rate_hz = RATE_HZ

    def __init__(self, samples: np.ndarray, count: Callable[[int], None]) -> None:
        self._samples = samples
        self._count = count
        self._queue: queue.SimpleQueue[np.ndarray | None] = queue.SimpleQueue()

    def open(self) -> None:
        threading.Thread(target=self._feed, daemon=True).start()

    def _feed(self) -> None:
        began = time.monotonic()
        for at in range(0, len(self._samples), BLOCK):
            time.sleep(max(0.0, began + at / RATE_HZ / SPEED - time.monotonic()))
            block = self._samples[at : at + BLOCK]
            self._queue.put(block)
            self._count(at + len(block))
        self._queue.put(None)

    def blocks(self) -> Iterator[Block]:
        while (block := self._queue.get()) is not None:
            yield Block(block)

    def now_s(self) -> float:
        return time.monotonic()

    def close(self) -> None:
        pass


def in_child(act: Callable[[], None]) -> int:
    pid = os.fork()
    if pid == 0:
        status = 1
        try:
            act()
            status = 0
        finally:
            os._exit(status)
    return pid


def listen(rooms: Rooms, name: str, samples: np.ndarray, count: Callable[[int], None] = lambda n: None) -> None:
    session = Session(
        rooms,
        rooms.store.job(name),
        FedSource(samples, count),
        notice=lambda text, warning: None,
        engine=ToneReader(sentence),
        detector=ToneDetector,
        advises=False,
    )
    session.run()


def opened(home: Path, loaded: Rooms) -> Rooms:
    """Rooms of a data folder with the vocabulary that is loaded already."""
    rooms = Rooms(home)
    rooms.__dict__.update(pack=loaded.pack, extractor=loaded.extractor, settings=loaded.settings)
    return rooms


def one(home: Path, loaded: Rooms, samples: np.ndarray, after_s: float) -> dict[str, object]:
    """Listen, kill, look at what is left, let the next process go on, and look again (twice)."""
    rooms = opened(home, loaded)
    job_id = open_job(rooms.store, "job").id
    rooms.store.close()
    fed = mmap.mmap(-1, 8)
    pid = in_child(
        lambda: listen(
            opened(home, loaded), "job", samples, lambda n: fed.__setitem__(slice(0, 8), struct.pack("q", n))
        )
    )
    time.sleep(after_s)
    os.kill(pid, signal.SIGKILL)
    os.waitpid(pid, 0)
    fed_samples = struct.unpack("q", fed[:8])[0]
    kept = np.concatenate([clips(home, loaded), raw(home, loaded, job_id)])
    for _ in range(2):
        os.waitpid(in_child(lambda: listen(opened(home, loaded), "job", samples[:0])), 0)
    job = opened(home, loaded).store.job("job")
    return {
        "fed": fed_samples,
        "kept": len(kept),
        "same": bool(np.array_equal(kept, samples[: len(kept)])),
        "in_clips": len(clips(home, loaded)),
        "left": len(raw(home, loaded, job_id)),
        "said": [said.text for said in job.utterances],
        "items": [entry.item for entry in job.entries],
    }


def clips(home: Path, loaded: Rooms) -> np.ndarray:
    store = opened(home, loaded).store
    found = [soundfile.read(store.home / clip.path, dtype="int16")[0] for clip in store.job("job").clips]
    return np.concatenate([np.zeros(0, np.int16), *found])


def raw(home: Path, loaded: Rooms, job_id: str) -> np.ndarray:
    """What lies in the journal and in no clip."""
    store = opened(home, loaded).store
    ends = {clip.source.split(" ")[0]: int(clip.source.split("-")[-1]) for clip in store.job("job").clips}
    journal = Journal(home, job_id)
    left = [s.read(ends.get(s.info.id, 0), s.samples) for s in journal.left()]
    journal.close()
    return np.concatenate([np.zeros(0, np.int16), *left])


def main(folder: Path, times: int, seed: int) -> None:
    loaded = Rooms(folder / "none")
    _ = loaded.extractor, loaded.settings
    samples = saying(*NUMBERS)
    draw = random.Random(seed)
    for n in range(times):
        after_s = draw.uniform(0.02, len(samples) / RATE_HZ / SPEED)
        print(json.dumps(one(folder / str(n), loaded, samples, after_s)), flush=True)


if __name__ == "__main__":
    main(Path(sys.argv[1]), int(sys.argv[2]), int(sys.argv[3]))
