"""Who does the hearing of a backlog: processes of this machine, one recording at a time each.

A crew is given tasks one by one and hands back what came of them, in whatever order they are done. A worker that dies
costs only the recording that it was hearing: that one goes to another, and is given up when two workers died over it.
"""

from __future__ import annotations

import multiprocessing
import os
import signal
from collections.abc import Iterator
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass, field
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Protocol

from fieldnote.errors import FieldnoteError
from fieldnote.flow.parents import end_with_parent
from fieldnote.records import Utterance
from fieldnote.settings import Settings

if TYPE_CHECKING:
    from fieldnote.recognize import Engine

_DEATHS = 2
"""Workers that may die over one recording before it is given up."""


@dataclass(frozen=True, slots=True)
class Task:
    """One recording to hear. ``settings`` and ``pack`` choose the engine; ``home`` is where added models lie."""

    path: str
    settings: Settings
    pack: str
    home: str


@dataclass(frozen=True, slots=True)
class Fault:
    """An error as data: what, where and what to do. (An exception does not travel between processes.)"""

    what: str
    where: str
    do: str


@dataclass(frozen=True, slots=True)
class HeardRecording:
    """What came of a task: the utterances, or why there are none."""

    path: str
    engine: str = ""
    duration_s: float = 0.0
    rate_hz: int = 0
    channels: int = 0
    utterances: tuple[Utterance, ...] = ()
    warnings: tuple[str, ...] = ()
    fault: Fault | None = None


class Crew(Protocol):
    """Those who hear."""

    @property
    def room(self) -> int:
        """How many tasks may wait or run at once."""

    def give(self, task: Task) -> None:
        """Give a task."""

    def done(self) -> Iterator[HeardRecording]:
        """Wait until something is done; gives all that is."""

    def close(self, *, at_once: bool = False) -> None:
        """Send the crew home; ``at_once``: without waiting for what is being heard."""


def hear_task(task: Task, data: bytes | None = None) -> HeardRecording:
    """Hear one recording in this process; the engine is opened once and kept.

    ``data`` is the recording where it was sent; otherwise it lies at the task's path. An empty ``home`` is this
    machine's own data folder.
    """
    from fieldnote.flow.hearing import hear_file

    try:
        engine = _engine(task.settings, task.pack, task.home)
        heard = hear_file(task.path, engine, task.settings.capture, data=data)
    except FieldnoteError as error:
        return HeardRecording(task.path, fault=Fault(error.what, error.where, error.do))
    return HeardRecording(
        task.path,
        engine.name,
        heard.sound.duration_s,
        heard.sound.rate_hz,
        heard.sound.channels,
        heard.utterances,
        heard.sound.warnings,
    )


@lru_cache(maxsize=1)
def _engine(settings: Settings, pack: str, home: str) -> Engine:
    from fieldnote.flow.rooms import Rooms
    from fieldnote.recognize import open_engine

    rooms = Rooms(Path(home) if home else None, pack=pack, settings=settings)
    return open_engine(settings.recognize, rooms.pack, rooms.home)


def cores() -> int:
    """The cores that this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


@dataclass
class _Waiting:
    """A task that was given, and how many workers died over it."""

    task: Task
    deaths: int = 0


@dataclass
class LocalCrew:
    """Processes of this machine, as many as it has cores unless told otherwise."""

    workers: int = field(default_factory=cores)

    def __post_init__(self) -> None:
        self._pool = self._new_pool()
        self._waiting: dict[Future[HeardRecording], _Waiting] = {}

    def _new_pool(self) -> ProcessPoolExecutor:
        # spawn: recognisers hold threads and locks, which a forked child would inherit in the middle of things.
        return ProcessPoolExecutor(self.workers, multiprocessing.get_context("spawn"), initializer=_begin_work)

    @property
    def room(self) -> int:
        """One task in hand and one waiting for each worker."""
        return 2 * self.workers

    def give(self, task: Task) -> None:
        """Give a task."""
        self._submit(_Waiting(task))

    def _submit(self, waiting: _Waiting) -> None:
        try:
            self._waiting[self._pool.submit(hear_task, waiting.task)] = waiting
        except BrokenProcessPool:
            self._pool = self._new_pool()
            self._waiting[self._pool.submit(hear_task, waiting.task)] = waiting

    def done(self) -> Iterator[HeardRecording]:
        """Wait until something is done; gives all that is."""
        finished, _ = wait(self._waiting, return_when=FIRST_COMPLETED)
        lost: list[_Waiting] = []
        for future in finished:
            waiting = self._waiting.pop(future)
            try:
                yield future.result()
            except BrokenProcessPool:
                lost.append(waiting)
        if lost:
            yield from self._go_on_without_the_dead(lost)

    def _go_on_without_the_dead(self, lost: list[_Waiting]) -> Iterator[HeardRecording]:
        """A pool that lost a worker breaks as a whole: begin anew with all that it had."""
        lost += self._waiting.values()
        self._waiting.clear()
        self._pool.shutdown(wait=False, cancel_futures=True)
        self._pool = self._new_pool()
        # Which of the tasks in hand killed the worker is not told, so each of them counts it; waiting ones do not.
        for place, waiting in enumerate(sorted(lost, key=lambda one: -one.deaths)):
            waiting.deaths += place < self.workers
            if waiting.deaths >= _DEATHS:
                yield self._alone(waiting.task)
            else:
                self._submit(waiting)

    def _alone(self, task: Task) -> HeardRecording:
        """The last try, in a pool of its own: so that only the recording that kills is given up."""
        with ProcessPoolExecutor(1, multiprocessing.get_context("spawn"), initializer=_begin_work) as pool:
            try:
                return pool.submit(hear_task, task).result()
            except BrokenProcessPool:
                what = "the process that heard this recording died, several times"
                return HeardRecording(
                    task.path, fault=Fault(what, task.path, "Take it alone to see why; the rest was done.")
                )

    def close(self, *, at_once: bool = False) -> None:
        """Send the workers home; ``at_once``: without waiting for what they hear."""
        processes = list((self._pool._processes or {}).values())
        self._pool.shutdown(wait=not at_once, cancel_futures=True)
        if at_once:
            for process in processes:
                process.terminate()


def _begin_work() -> None:
    """Ctrl-C reaches every process of the terminal: the workers leave it to the one that gave them work. Where that one
    is killed, they end too.
    """  # fmt: skip
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    end_with_parent()
