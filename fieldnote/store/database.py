"""The database library, loaded without what it would only use if it is there.

sqlite-utils loads pandas wherever that is installed, to know its types; nothing here has any, and it takes two seconds
that every command would wait for.
"""

from __future__ import annotations

import sys

_UNWANTED = "pandas"

_loaded = _UNWANTED in sys.modules
if not _loaded:
    sys.modules[_UNWANTED] = None  # type: ignore[assignment]  # the import system takes it for a module that is missing
try:
    from sqlite_utils import Database
    from sqlite_utils.migrations import Migrations
finally:
    if not _loaded:
        del sys.modules[_UNWANTED]

__all__ = ["Database", "Migrations"]
