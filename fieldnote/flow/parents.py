"""A child process ends when its parent does, however that ended."""

from __future__ import annotations

import multiprocessing
import os
import threading


def end_with_parent() -> None:
    """Called in a child: from now on it ends as soon as its parent is gone.

    A parent that is killed tells its children nothing, and a pool's child then waits for work for ever, with its model
    loaded.
    """
    parent = multiprocessing.parent_process()
    if parent is None:
        return

    def wait() -> None:
        parent.join()
        os._exit(1)

    threading.Thread(target=wait, name="parent", daemon=True).start()


__all__ = ["end_with_parent"]
