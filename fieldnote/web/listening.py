"""Recordings that came in through the pages: kept first, then heard one after another beside the server.

A recording is confirmed to the sender when it lies on the disk and stands in its job. It is decoded and heard in
another process, so that a file which breaks a decoder, or takes all memory, does not take the server with it. What a
stopped server left unheard is heard when its job is next shown.
"""

from __future__ import annotations

import json
import multiprocessing
import queue
import subprocess
import sys
import threading
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass, replace
from pathlib import Path, PurePath
from typing import IO, Protocol

from fieldnote.errors import BadData, FieldnoteError, UserMistake
from fieldnote.flow import Rooms
from fieldnote.flow.backlog import Item, keep_heard
from fieldnote.flow.crew import Fault, HeardRecording, Task, hear_task
from fieldnote.flow.lone_corrections import LoneCorrections
from fieldnote.flow.parents import end_with_parent
from fieldnote.flow.understanding import understand
from fieldnote.records import Clip, Job
from fieldnote.store import Kept

_CHECK_S = 60
"""Seconds that the check of one recording may take."""
_STOP_S = 10
"""Seconds that a stopping server waits for the utterances in hand to be written."""
_DEATHS = 2
"""Processes that may die over one recording before it is given up."""


class Hears(Protocol):
    """Hears one recording; gives its words or why there are none."""

    def __call__(self, task: Task) -> HeardRecording:
        """The words of a recording."""


@dataclass(frozen=True, slots=True)
class State:
    """How far a job's recordings are: how many wait or are being heard, and what went wrong last."""

    waiting: int = 0
    fault: str = ""


class OneAtATime:
    """Hears in a process of its own, which is opened on first use and kept for its loaded model."""

    def __init__(self) -> None:
        self._pool = _one_process()
        self._closed = False

    def __call__(self, task: Task) -> HeardRecording:
        """The words of a recording; one over which the process dies twice is given up."""
        for _ in range(_DEATHS):
            try:
                return self._pool.submit(hear_task, task).result()
            except BrokenProcessPool:
                if self._closed:
                    break
                self._pool = _one_process()
        what = "the process that heard this recording ended before it was done"
        return HeardRecording(task.path, fault=Fault(what, task.path, "It is kept. Send it again to try once more."))

    def close(self) -> None:
        """Send the process home without waiting."""
        self._closed = True
        processes = list((self._pool._processes or {}).values())
        self._pool.shutdown(wait=False, cancel_futures=True)
        for process in processes:
            process.terminate()


def _one_process() -> ProcessPoolExecutor:
    # spawn: a forked child would inherit the locks of the server's threads in the middle of things.
    return ProcessPoolExecutor(1, multiprocessing.get_context("spawn"), initializer=end_with_parent)


class Listening:
    """The one thread that has recordings heard and keeps their words."""

    def __init__(self, rooms: Rooms, hears: Callable[[], Hears] = OneAtATime) -> None:
        self._rooms = rooms
        self._open = hears
        self._hears: Hears | None = None
        self._queue: queue.Queue[str | None] = queue.Queue()
        self._states: dict[str, State] = {}
        self._lock = threading.Lock()
        self._thread: threading.Thread | None = None
        self._closed = False

    # ---- keeping --------------------------------------------------------------------------------------------

    def keep(self, job: Job, reader: IO[bytes], name: str) -> tuple[Clip, bool]:
        """Keep a recording in a job and have it heard: the clip, and whether the job had it already.

        Raises:
            UserMistake: nothing was sent.
            BadData: it is no sound that can be read; nothing is kept of it.
            StoreFault: the data folder cannot be used.

        """
        store = self._rooms.store
        name = PurePath(name.replace("\\", "/")).name[:80] or "recording"
        kept = store.sounds.keep_stream(reader, PurePath(name).suffix)
        try:
            if kept.bytes == 0:
                raise UserMistake("nothing was sent", where=name, do="Choose a recording.")
            there = store.clip_of_sound(job.id, kept.sha256)
            if there is None:
                there = store.add_clip(job.id, kept, check_sound(store.home / kept.path, name))
                self.hear(job.id, again=True)
                return there, False
        except FieldnoteError:
            store.drop_unclaimed(kept)
            raise
        self.hear(job.id, again=True)
        return there, True

    # ---- hearing --------------------------------------------------------------------------------------------

    def hear(self, job_id: str, *, again: bool = False) -> None:
        """Have what is unheard in a job heard, if it is not in hand; ``again``: although it failed the last time."""
        with self._lock:
            state = self._states.get(job_id, State())
            if state.waiting or (state.fault and not again):
                return
            waiting = len(self._rooms.store.unheard_clips(job_id))
            if not waiting:
                return
            self._states[job_id] = State(waiting)
            if self._thread is None:
                self._thread = threading.Thread(target=self._work, name="listening", daemon=True)
                self._thread.start()
        self._queue.put(job_id)

    def state(self, job_id: str) -> State:
        """How far a job's recordings are."""
        with self._lock:
            return self._states.get(job_id, State())

    def close(self) -> None:
        """Stop, and wait until nothing is being written; what was kept and not heard is heard the next time."""
        self._closed = True
        close = getattr(self._hears, "close", None)
        if close is not None:
            close()
        if self._thread is not None:
            self._queue.put(None)
            self._thread.join(_STOP_S)

    def _work(self) -> None:
        while not self._closed and (job_id := self._queue.get()) is not None:
            try:
                self._hear_job(job_id)
                self._set(job_id, State())
            except FieldnoteError as error:
                self._set(job_id, State(0, str(error)))
            except Exception as error:  # noqa: BLE001 - the thread must live on; the page shows what happened
                self._set(job_id, State(0, f"a fault of fieldnote's own ({type(error).__name__}: {error})"))

    def _hear_job(self, job_id: str) -> None:
        store = self._rooms.store
        job = store.job(job_id)
        rooms = self._rooms.for_pack(job.pack)
        if self._hears is None:
            self._hears = self._open()
        # Looked up again after each: a recording that came in meanwhile belongs to the same round.
        while not self._closed and (waiting := store.unheard_clips(job_id)):
            self._set(job_id, State(len(waiting)))
            clip = waiting[0]
            path = store.home / clip.path
            heard = self._hears(Task(str(path), rooms.settings, rooms.pack.id, str(rooms.home)))
            if heard.fault is not None:
                raise BadData(heard.fault.what, where=clip.source, do=heard.fault.do)
            kept = Kept(clip.sha256, clip.path, path.stat().st_size, new=False)
            keep_heard(
                store,
                job_id,
                Item(Path(clip.source), job.name, "", kept.bytes),
                kept,
                heard,
                LoneCorrections.of(rooms.pack),
            )
        understand(store, job_id, rooms.extractor, only_if_stale=True)

    def _set(self, job_id: str, state: State) -> None:
        with self._lock:
            self._states[job_id] = state


def check_sound(path: Path, name: str) -> Clip:
    """What a file is as sound, decoded in a child that may use only so much time and memory.

    Raises:
        BadData: it is no sound that can be read, or decoding it takes too much.

    """
    run = [sys.executable, "-m", "fieldnote.web.sound_check", str(path)]
    try:
        done = subprocess.run(run, capture_output=True, text=True, timeout=_CHECK_S, check=False)
        told = json.loads(done.stdout)
    except (subprocess.TimeoutExpired, json.JSONDecodeError):
        raise BadData(
            "this cannot be read as sound within the time and memory that a recording may take",
            where=name,
            do="Save it as WAV or FLAC, or cut it into shorter pieces. Nothing was kept.",
        ) from None
    if "what" in told:
        raise BadData(told["what"], where=name, do=told["do"])
    return replace(Clip("", "", name, "", 0.0, 0, 0), **told)


__all__ = ["Hears", "Listening", "OneAtATime", "State", "check_sound"]
