"""Jobs opened with a touch: named by the time until a unit, a plate or a VIN is said."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable
from datetime import datetime
from typing import TypeVar

from fieldnote.errors import Clash, FieldnoteError
from fieldnote.flow import open_job
from fieldnote.flow.jobs import rename
from fieldnote.records import Entry, Job
from fieldnote.store import Store
from fieldnote.vocabulary import Pack

T = TypeVar("T")
WHO = "named as it was said"
"""Who makes the change."""
_AUTOMATIC = re.compile(r"Not named yet, \d{1,2} \w{3} \d\d:\d\d(, no\. \d+)?")
_NAMES = (("unit-number", "Unit {}"), ("plate", "Plate {}"), ("vin", "VIN {}"))
"""Facts that name a job, the best first."""
_MOST = 50


def open_unnamed(store: Store, pack: Pack, at: datetime) -> Job:
    """A job whose name says when it was opened."""
    name = f"Not named yet, {at.day} {at:%b %H:%M}"
    return _first_free(name, ", no. {}", lambda chosen: open_job(store, chosen, None, pack))


def name_by_voice(store: Store, job_id: str, entries: Iterable[Entry]) -> str | None:
    """Name a job that has no name of its own by what was said just now; gives the name, None where there is none."""
    said = {entry.what: entry.value for entry in entries if entry.kind == "fact" and entry.value is not None}
    named = next((form.format(said[what]) for what, form in _NAMES if what in said), None)
    if named is None:
        return None
    job = store.job(job_id)
    if not _AUTOMATIC.fullmatch(job.name):
        return None

    def give(name: str) -> str:
        rename(store, job, name, WHO)
        return name

    try:
        return _first_free(named, ", visit {}", give)
    except FieldnoteError:
        return None


def _first_free(name: str, more: str, act: Callable[[str], T]) -> T:
    for number in range(1, _MOST):
        try:
            return act(name if number == 1 else name + more.format(number))
        except Clash:
            continue
    return act(name)


__all__ = ["name_by_voice", "open_unnamed"]
