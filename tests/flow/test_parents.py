"""A child of a parent that was killed does not stay behind."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

PARENT = """
import multiprocessing, os, sys, time
from concurrent.futures import ProcessPoolExecutor
from fieldnote.flow.parents import end_with_parent
if __name__ == "__main__":
    pool = ProcessPoolExecutor(1, multiprocessing.get_context("spawn"), initializer=end_with_parent)
    print(pool.submit(os.getpid).result(), flush=True)
    time.sleep(600)
"""


@pytest.mark.skipif(sys.platform == "win32", reason="SIGKILL is POSIX")
def test_a_killed_parent_leaves_no_child(tmp_path: Path) -> None:
    """A pool's child that waits for work ends with the process that would have given it some."""
    program = tmp_path / "parent.py"
    program.write_text(PARENT)
    with subprocess.Popen([sys.executable, str(program)], stdout=subprocess.PIPE, text=True) as parent:
        assert parent.stdout is not None
        child = int(parent.stdout.readline())
        os.kill(child, 0)
        parent.send_signal(signal.SIGKILL)
        parent.wait(20)
        for _ in range(200):
            try:
                os.kill(child, 0)
            except ProcessLookupError:
                return
            if _state(child) == "Z":  # ended; whoever reaps orphans on this machine has not looked yet
                return
            time.sleep(0.05)
    raise AssertionError("the child is still there")


def _state(pid: int) -> str:
    try:
        with Path(f"/proc/{pid}/stat").open(encoding="ascii") as read:
            return read.read().rpartition(")")[2].split()[0]
    except OSError:
        return ""
