"""What holds for every test: no test touches the data folder of the person who runs it."""

from __future__ import annotations

import os
import tempfile

import pytest


def pytest_configure(config: pytest.Config) -> None:
    """Put the data folder of this process, and of all that it starts, into a folder of its own."""
    os.environ["FIELDNOTE_HOME"] = tempfile.mkdtemp(prefix="fieldnote-tests-")
