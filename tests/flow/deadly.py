"""What a worker process runs in the test of workers that die: light, since each of them imports it."""

from __future__ import annotations

import os
import signal
from pathlib import Path

from fieldnote.flow.crew import HeardRecording, Task
from fieldnote.records import Utterance


def die_over(given: Task) -> HeardRecording:
    """Dies over "unlucky" the first time and over "deadly" every time; hears everything else."""
    path = Path(given.path)
    mark = path.with_suffix(".tried")
    if path.stem == "deadly" or (path.stem == "unlucky" and not mark.exists()):
        mark.touch()
        os.kill(os.getpid(), signal.SIGKILL)
    return HeardRecording(given.path, "fake", 1.0, 16000, 1)


def die_over_sent(given: Task, data: bytes) -> HeardRecording:
    """The same on a worker of a cluster: what is sent says how it goes, and where to note that it was tried."""
    how, folder = data.decode().split("|")
    mark = Path(folder) / f"{how}.tried"
    if how == "deadly" or (how == "unlucky" and not mark.exists()):
        mark.touch()
        os.kill(os.getpid(), signal.SIGKILL)
    with (Path(folder) / "heard.log").open("a") as log:
        log.write(f"{how}\n")
    return HeardRecording(given.path, "fake", 1.0, 16000, 1, (Utterance("", f"said {how}", from_s=0.1, to_s=0.9),))
