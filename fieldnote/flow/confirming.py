"""What people vouch for: entries confirmed by ear, a handover accepted. Each is one line of the job's log.

A confirmation holds for what the entry said when it was confirmed: a later change of it is to be confirmed anew.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable
from dataclasses import dataclass

from fieldnote.errors import NotFound, UserMistake
from fieldnote.records import Edit, Entry, Job
from fieldnote.store import Store
from fieldnote.store.changes import in_force
from fieldnote.store.fields import CONFIRMED, HANDOVER
from fieldnote.store.identity import digest_of
from fieldnote.wire import plain

_TOLD = (
    "kind", "place", "part", "side", "state", "present", "method", "at", "item", "quantities", "what", "value", "unit",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Acceptance:
    """A handover that was accepted: by whom, when, and the hash of the leaf that they saw."""

    person: str
    at: str
    leaf: str


def seal(entry: Entry) -> str:
    """A short hash of what an entry says, whatever its words and their certainty were."""
    return digest_of([plain(getattr(entry, name)) for name in _TOLD])[:16]


def confirm(store: Store, job: Job, entry_ids: Iterable[str], person: str) -> tuple[Edit, ...]:
    """Note that a person heard these entries and found them right; what is confirmed already adds nothing.

    Raises:
        NotFound: the job has no such entry.

    """
    entries = {entry.id: entry for entry in job.entries}
    done = confirmed(job)
    made = []
    with store.atomic():
        for id in dict.fromkeys(entry_ids):
            if id not in entries:
                raise NotFound("this job has no such entry", where=id, do="Go back to the job.")
            if id not in done:
                field, said = f"{CONFIRMED}{id}", entries[id]
                made.append(store.amend_job(job.id, field, seal(said), person, quote=said.quote))
    return tuple(made)


def confirmed(job: Job) -> frozenset[str]:
    """Ids of the entries that somebody confirmed as they are now."""
    held = {
        edit.field.removeprefix(CONFIRMED): edit.after
        for edit in in_force(job.edits)
        if edit.action == "set" and edit.field and edit.field.startswith(CONFIRMED)
    }
    return frozenset(entry.id for entry in job.entries if held.get(entry.id) == seal(entry)) if held else frozenset()


def accept_handover(store: Store, job: Job, leaf: str, person: str) -> Edit:
    """Take a job over as the text of the leaf describes it.

    Raises:
        UserMistake: this very leaf was accepted already.

    """
    hashed = leaf_hash(leaf)
    last = acceptances(job)[-1:]
    if last and last[0].leaf == hashed:
        raise UserMistake(
            f"{last[0].person} accepted this handover already", where=job.name, do="It has not changed since."
        )
    return store.amend_job(job.id, HANDOVER, hashed, person)


def acceptances(job: Job) -> tuple[Acceptance, ...]:
    """Every handover of the job that was accepted, in order."""
    return tuple(
        Acceptance(edit.person, edit.at, edit.after or "")
        for edit in in_force(job.edits)
        if edit.action == "set" and edit.field == HANDOVER
    )


def leaf_hash(leaf: str) -> str:
    """The hash under which a leaf is accepted: the first 16 digits of SHA-256 over its text."""
    return hashlib.sha256(leaf.encode("utf-8")).hexdigest()[:16]


__all__ = ["Acceptance", "accept_handover", "acceptances", "confirm", "confirmed", "leaf_hash", "seal"]
