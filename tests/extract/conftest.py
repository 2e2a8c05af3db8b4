"""One extractor for all tests of the room: compiling a pack takes a while, and nothing changes it."""

from __future__ import annotations

import pytest

from fieldnote.extract import Extractor
from fieldnote.vocabulary import load_pack


@pytest.fixture(scope="session")
def extractor() -> Extractor:
    return Extractor(load_pack("body-leaks"))
