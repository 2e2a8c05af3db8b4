"""The server as a process of its own, as people run it: to be asked by many, and to be killed."""

from __future__ import annotations

import os
import re
import signal
import subprocess
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import httpx

from tests.web.conftest import token_in


class Serving:
    """``fieldnote serve`` on a free port of this machine."""

    def __init__(self, home: Path) -> None:
        run = [sys.executable, "-m", "fieldnote.cli.app", "serve", "--port", "0"]
        self.process = subprocess.Popen(
            run, env={**os.environ, "FIELDNOTE_HOME": str(home)}, stderr=subprocess.PIPE, text=True
        )
        assert self.process.stderr is not None
        said = self.process.stderr.readline()
        found = re.search(r"http://127\.0\.0\.1:\d+", said)
        assert found is not None, said + self.process.stderr.read()
        self.url = found[0]
        self.said: list[str] = []
        self._reader = threading.Thread(target=self._read)
        self._reader.start()

    def _read(self) -> None:
        assert self.process.stderr is not None
        with self.process.stderr:
            self.said.extend(self.process.stderr)

    def kill(self) -> None:
        """End it in the middle of things, as a power cut would."""
        self.process.send_signal(signal.SIGKILL)
        self.process.wait(20)
        self._reader.join(20)

    def stop(self) -> None:
        """End it in good order."""
        self.process.terminate()
        self.process.wait(20)
        self._reader.join(20)


@contextmanager
def browser(url: str) -> Iterator[httpx.Client]:
    """A client with the token of a page."""
    with httpx.Client(base_url=url, timeout=60) as client:
        client.headers["x-fieldnote-token"] = token_in(client.get("/new").text)
        yield client
