"""What holds for every test: no test touches the data folder of the person who runs it."""

from __future__ import annotations

import os
import signal
import tempfile
import threading

import pytest


def pytest_configure(config: pytest.Config) -> None:
    """Put the data folder of this process, and of all that it starts, into a folder of its own."""
    os.environ["FIELDNOTE_HOME"] = tempfile.mkdtemp(prefix="fieldnote-tests-")
    # A shell lets what it starts in the background ignore Ctrl-C; so would every program that a test starts, and ends
    # that way.
    if threading.current_thread() is threading.main_thread() and signal.getsignal(signal.SIGINT) is signal.SIG_IGN:
        signal.signal(signal.SIGINT, signal.default_int_handler)
