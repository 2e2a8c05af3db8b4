"""Correcting an entry while others may be at it too: nothing is written over a change that one has not seen.

A form carries what its entry looked like (``seen``) and the value of each field when it was drawn. When it comes back
and the entry has changed meanwhile, nothing is done: the person is told who changed what, and decides.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from fieldnote.errors import NotFound
from fieldnote.flow import Rooms, correct
from fieldnote.records import Edit, Entry, Job
from fieldnote.store.identity import digest_of
from fieldnote.vocabulary import Pack
from fieldnote.wire import entry_to_wire

FIELDS = {
    "evidence": ("side", "place", "part", "state", "present", "certainty", "at", "quantities"),
    "check": ("side", "place", "part", "state", "present", "certainty", "at", "item", "quantities"),
    "test": ("side", "place", "part", "state", "method", "stage", "certainty", "quantities", "masked", "at"),
    "source": ("side", "place", "part", "state", "present", "certainty", "at", "item"),
    "access": ("side", "place", "part", "state", "at", "item"),
    "repair": ("side", "place", "part", "state", "material", "at", "item", "quantities"),
    "plan": ("side", "place", "part", "state", "method", "at", "item"),
    "fact": ("value", "unit"),
}
"""The fields that can be corrected on a page, by kind of entry."""


@dataclass(frozen=True, slots=True)
class Met:
    """A correction that met another person's: by whom and when, and what each field was set to by both."""

    person: str
    at: str
    fields: tuple[tuple[str, str, str], ...]
    """Field, what they made it, what you would make it ("" where you left it alone)."""


def mark(job: Job, entry: Entry) -> str:
    """What an entry looked like: another mark means that something about it has changed."""
    last = [edit.id for edit in job.edits if edit.entry_id == entry.id][-1:]
    return digest_of([entry_to_wire(entry), last])[:20]


def as_written(entry: Entry, field: str) -> str:
    """A field's value in the form in which a person writes it; "" for none."""
    value = getattr(entry, field)
    if field == "present":
        return "yes" if value else "no"
    if field == "quantities":
        return ", ".join(f"{q.what} {q.value:g}{' ' + q.unit if q.unit else ''}" for q in entry.quantities)
    if field in ("at", "masked"):
        return ", ".join(value)
    if isinstance(value, float):
        return f"{value:.15g}"
    return "" if value is None else str(value)


def wanted(entry_kind: str, sent: Callable[[str], str]) -> dict[str, str]:
    """The fields that the person changed: those sent with another value than the form was drawn with."""
    return {f: sent(f) for f in FIELDS[entry_kind] if sent(f) != sent(f"was-{f}")}


def apply(
    rooms: Rooms, job_id: str, entry_id: str, seen: str, changes: Mapping[str, str], person: str, pack: Pack
) -> tuple[Edit, ...] | Met:
    """Make the changes, all or none; ``Met`` where the entry is no longer what the person saw.

    Raises:
        NotFound: the entry is gone; the message says who took it out.
        UserMistake: a field cannot have its value.

    """
    with rooms.store.atomic():
        job = rooms.store.job(job_id)
        entry = find(job, entry_id)
        if mark(job, entry) != seen:
            return _met(job, entry, changes)
        made: list[Edit] = []
        for field, value in changes.items():
            if value != as_written(entry, field):
                made.append(correct(rooms.store, job.id, entry.id, field, value, person, pack))
        return tuple(made)


def find(job: Job, entry_id: str) -> Entry:
    """The entry of this very id.

    Raises:
        NotFound: the job has none in force; the message says who took it out, where someone did.

    """
    for entry in job.entries:
        if entry.id == entry_id:
            return entry
    gone = next((e for e in reversed(job.edits) if e.entry_id == entry_id and e.action == "remove"), None)
    if gone is not None:
        raise NotFound(
            f"{gone.person} took this entry out", where=f"“{gone.quote}”", do="It can be brought back under Changes."
        )
    raise NotFound(
        "this entry is not there any more", where=job.name, do="The words may have been heard anew: go back to the job."
    )


def _met(job: Job, entry: Entry, changes: Mapping[str, str]) -> Met:
    edits = [edit for edit in job.edits if edit.entry_id == entry.id]
    last = edits[-1] if edits else None
    fields = FIELDS[entry.kind]
    theirs: Sequence[str] = [edit.field for edit in edits if edit.field in fields] if edits else []
    named = [field for field in fields if field in changes or field in theirs]
    return Met(
        last.person if last else "a new hearing of the words",
        last.at if last else "",
        tuple((field, as_written(entry, field), changes.get(field, "")) for field in named),
    )


__all__ = ["FIELDS", "Met", "apply", "as_written", "find", "mark", "wanted"]
