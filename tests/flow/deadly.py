"""What a worker process runs in the test of workers that die: light, since each of them imports it."""

from __future__ import annotations

import os
import signal
from pathlib import Path

from fieldnote.flow.crew import HeardRecording, Task


def die_over(given: Task) -> HeardRecording:
    """Dies over "unlucky" the first time and over "deadly" every time; hears everything else."""
    path = Path(given.path)
    mark = path.with_suffix(".tried")
    if path.stem == "deadly" or (path.stem == "unlucky" and not mark.exists()):
        mark.touch()
        os.kill(os.getpid(), signal.SIGKILL)
    return HeardRecording(given.path, "fake", 1.0, 16000, 1)
