"""The street itself: calls the rooms in order; the front doors call only this.

``Rooms`` opens what a call needs on first use. Names are fetched on first use too, so that listing jobs loads neither a
recogniser nor the matcher.
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from fieldnote.flow.advising import advise_on, all_lessons, learned_rates, next_checks
    from fieldnote.flow.corrections import add_entry, correct, disregard, undo
    from fieldnote.flow.jobs import amend, close_job, open_job, rename, reopen_job
    from fieldnote.flow.rooms import Rooms
    from fieldnote.flow.taking import Taken, TakenFile, take
    from fieldnote.flow.texts import read_text
    from fieldnote.flow.understanding import re_extract
    from fieldnote.flow.writing import freeze, write_up

__all__ = [
    "Rooms",
    "Taken",
    "TakenFile",
    "add_entry",
    "advise_on",
    "all_lessons",
    "amend",
    "close_job",
    "correct",
    "disregard",
    "freeze",
    "learned_rates",
    "next_checks",
    "open_job",
    "re_extract",
    "read_text",
    "rename",
    "reopen_job",
    "take",
    "undo",
    "write_up",
]

_HOME = {
    "Rooms": "rooms",
    "Taken": "taking",
    "TakenFile": "taking",
    "add_entry": "corrections",
    "advise_on": "advising",
    "all_lessons": "advising",
    "amend": "jobs",
    "close_job": "jobs",
    "correct": "corrections",
    "disregard": "corrections",
    "freeze": "writing",
    "learned_rates": "advising",
    "next_checks": "advising",
    "open_job": "jobs",
    "re_extract": "understanding",
    "read_text": "texts",
    "rename": "jobs",
    "reopen_job": "jobs",
    "take": "taking",
    "undo": "corrections",
    "write_up": "writing",
}


def __getattr__(name: str) -> Any:
    if name not in _HOME:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(importlib.import_module(f"{__name__}.{_HOME[name]}"), name)
