"""Single keys from the terminal, without Enter, on POSIX systems and on Windows."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager


@contextmanager
def keys() -> Iterator[Callable[[], str]]:
    """Gives a function that returns the key pressed since it was last called, "" where there was none."""
    if not sys.stdin.isatty():
        yield lambda: ""
        return
    if sys.platform == "win32":
        yield _windows_key
        return
    import termios
    import tty

    descriptor = sys.stdin.fileno()
    before = termios.tcgetattr(descriptor)
    try:
        tty.setcbreak(descriptor)
        yield _posix_key
    finally:
        termios.tcsetattr(descriptor, termios.TCSADRAIN, before)


def _posix_key() -> str:
    import os
    import select

    if not select.select([sys.stdin], [], [], 0)[0]:
        return ""
    return os.read(sys.stdin.fileno(), 16).decode("utf-8", "ignore")[:1]


def _windows_key() -> str:
    import msvcrt

    if not msvcrt.kbhit():  # type: ignore[attr-defined]
        return ""
    return str(msvcrt.getwch())  # type: ignore[attr-defined]
