"""Jobs kept in SQLite, with every change made to them.

The way in: ``Store(home)``; ``store.job(id_or_name) -> Job``. Names are fetched on first use, so that importing the
room does not load the database library.
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from fieldnote.store.entry_rows import Making
    from fieldnote.store.search import Query
    from fieldnote.store.sound_shelf import Kept
    from fieldnote.store.store import Store

__all__ = ["Kept", "Making", "Query", "Store"]

_HOME = {"Kept": "sound_shelf", "Making": "entry_rows", "Query": "search", "Store": "store"}


def __getattr__(name: str) -> Any:
    if name not in _HOME:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(importlib.import_module(f"{__name__}.{_HOME[name]}"), name)
