"""A crew on other machines: the workers of a Dask cluster (dask.distributed).

A recording travels with its task, since the workers share no disk with this machine; its key is its hash, so that the
cluster never hears one twice. A worker that is lost costs only the recording in its hands: the scheduler gives that
one to another, and gives it up when several workers were lost over it. Only this process writes to the store.

Workers need fieldnote with the same model, and one thread each::

    dask worker ADDRESS --nthreads 1
"""

from __future__ import annotations

import ctypes
import hashlib
import importlib
import time
from collections.abc import Iterator
from dataclasses import replace
from functools import lru_cache
from pathlib import Path
from typing import Any

from fieldnote.errors import DeviceMissing, UserMistake
from fieldnote.flow.crew import Fault, HeardRecording, Task, hear_task
from fieldnote.store.identity import digest_of
from fieldnote.wire import plain

_CONNECT_S = 15
_TASKS_A_WORKER = 4
"""More than for processes here: the next recording has to travel while one is heard."""
_COUNT_EVERY_S = 5.0
_M_TRIM_THRESHOLD, _M_MMAP_THRESHOLD = -1, -3
"""Names of glibc's malloc.h."""
_LARGEST_HEAP_BLOCK = 32 << 20
"""Bytes: the most that glibc allows on a 64-bit machine (mallopt(3))."""


class ClusterCrew:
    """The workers of the cluster whose scheduler is at ``address``."""

    def __init__(self, address: str) -> None:
        """Connect.

        Raises:
            DeviceMissing: dask.distributed is not installed.
            UserMistake: no scheduler answers at this address, or it has no workers.

        """
        try:
            distributed: Any = importlib.import_module("distributed")
        except ImportError as error:
            raise DeviceMissing(
                "the library for clusters is not installed", where=address, do="Run: pip install 'fieldnote[cluster]'."
            ) from error
        try:
            self._client = distributed.Client(address, timeout=_CONNECT_S, set_as_default=False)
        except (OSError, ValueError) as error:
            raise UserMistake(
                "no scheduler answers", where=address, do="Start one with `dask scheduler`, or check the address."
            ) from error
        if not self._workers():
            self._client.close()
            raise UserMistake(
                "this cluster has no workers", where=address, do="Start some: dask worker ADDRESS --nthreads 1."
            )
        # Results are fetched as soon as they are there: one that still lies with a worker is lost with it.
        self._done = distributed.as_completed(loop=self._client.loop, with_results=True, raise_errors=False)
        self._paths: dict[str, str] = {}
        self._count, self._counted_at = self._workers(), time.monotonic()

    def _workers(self) -> int:
        return len(self._client.scheduler_info(n_workers=-1)["workers"])

    @property
    def room(self) -> int:
        """One task in hand and some waiting for each worker that was there lately."""
        if time.monotonic() - self._counted_at > _COUNT_EVERY_S:
            self._count, self._counted_at = self._workers(), time.monotonic()
        return _TASKS_A_WORKER * max(self._count, 1)

    def give(self, task: Task) -> None:
        """Send a recording with its task."""
        data = Path(task.path).read_bytes()
        sha256 = hashlib.sha256(data).hexdigest()
        # Another engine or cut is another task, though the recording is the same.
        how = digest_of([plain(task.settings), task.pack])
        key = f"hear-{sha256}-{how[:16]}"
        self._paths[key] = task.path
        # The path of the copy means nothing on another machine; its ending tells the format.
        sent = replace(task, path=Path(task.path).name, home="")
        self._done.add(self._client.submit(hear_sent, sent, data, key=key))

    def done(self) -> Iterator[HeardRecording]:
        """Wait until something is done; gives all that is."""
        for future, result in self._done.next_batch():
            path = self._paths.pop(future.key)
            if isinstance(result, HeardRecording):
                fault = result.fault and replace(result.fault, where=path)
                yield replace(result, path=path, fault=fault)
            else:  # whatever befell the workers: the rest goes on
                what = f"the workers that heard this recording were lost ({future.status})"
                yield HeardRecording(path, fault=Fault(what, path, "Take it alone to see why; the rest was done."))
            future.release()

    def close(self, *, at_once: bool = False) -> None:
        """Leave the cluster; what it still hears is dropped."""
        self._client.close()


def hear_sent(task: Task, data: bytes) -> HeardRecording:
    """Hear a recording that came with its task, on a worker."""
    _keep_memory()
    return hear_task(task, data)


@lru_cache(maxsize=1)
def _keep_memory() -> None:
    """Let this process keep the memory that it freed, for its next use.

    Dask starts its workers so that the C library gives every freed block back at once (MALLOC_TRIM_THRESHOLD_). A
    recogniser frees and takes large blocks hundreds of times a second, and the system clears each of them anew:
    measured on 24 recordings, 914,000 page faults and a third more processor time, against 13,000 with this.
    """
    try:
        mallopt = ctypes.CDLL(None).mallopt
    except (OSError, AttributeError, TypeError):
        return  # another C library than glibc has no such habit
    mallopt(_M_MMAP_THRESHOLD, _LARGEST_HEAP_BLOCK)
    mallopt(_M_TRIM_THRESHOLD, 4 * _LARGEST_HEAP_BLOCK)
