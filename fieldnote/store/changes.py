"""What people's changes make of a job: pure functions from an append-only log to the state in force.

The log is a graph: each change names the latest ones that were known when it was made (``follows``). Two changes of
which neither follows the other were made on two machines. Every machine that holds the same changes comes to the same
state, in whatever order they arrived:

* changes are replayed by ``turn`` (a Lamport clock: one more than the highest turn followed), then time, then id;
* a change counts unless a later change that counts takes it back;
* an entry that one person took out and another changed, not knowing of it, stays;
* where two such changes meet on one entry, a ``Difference`` shows both, until a later change that knew both settles it.
"""

from __future__ import annotations

import dataclasses
import itertools
import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from fieldnote.records import Claim, Difference, Edit, Entry
from fieldnote.store.fields import read_value
from fieldnote.store.rows import entry_from_json, record_from_json


@dataclass(frozen=True, slots=True)
class Replayed:
    """The entries in force; for each that was changed, the entry as it came out of the words; and what did not fit."""

    entries: tuple[Entry, ...]
    as_said: Mapping[str, Entry]
    added: frozenset[str]
    taken_out: tuple[Entry, ...]
    """As they came out of the words."""
    stranded: tuple[Edit, ...]
    differences: tuple[Difference, ...]


def in_order(edits: Iterable[Edit]) -> list[Edit]:
    """The order in which changes are replayed."""
    return sorted(edits, key=lambda edit: (edit.turn, edit.at, edit.id))


def heads(edits: Iterable[Edit]) -> tuple[str, ...]:
    """The changes that no other change follows, sorted: what the next change has to follow."""
    edits = list(edits)
    followed = {earlier for edit in edits for earlier in edit.follows}
    return tuple(sorted(edit.id for edit in edits if edit.id not in followed))


def in_force(edits: Iterable[Edit]) -> list[Edit]:
    """The changes that count, in order: those not taken back, and the taking back of others left out."""
    ordered = in_order(edits)
    taken_back: set[str] = set()
    counting: list[Edit] = []
    # A change that takes back comes after what it takes back, so from the end each is decided when it is met.
    for edit in reversed(ordered):
        if edit.id in taken_back:
            continue
        if edit.action == "undo":
            taken_back.add(edit.after or "")
        counting.append(edit)
    return list(reversed(counting))


def last_that_counts(edits: Iterable[Edit]) -> Edit | None:
    """The change that "take back the last one" means: the latest that counts and itself takes nothing back."""
    counting = [edit for edit in in_force(edits) if edit.action != "undo"]
    return counting[-1] if counting else None


def replay(said: Sequence[Entry], edits: Sequence[Edit], job_id: str) -> Replayed:
    """The entries in force: those that came out of the words, with the changes that count replayed over them.

    Args:
        said: the entries of the newest extraction, in order.
        edits: every change of the job (those to the job itself are passed over).
        job_id: the job's id, which changes to the job itself carry as their entry.

    """
    known = _ancestors(edits)
    counting = [edit for edit in in_force(edits) if edit.entry_id != job_id]
    entries = {entry.id: entry for entry in said}
    as_said: dict[str, Entry] = {}
    for edit in counting:
        if edit.action == "add" and edit.entry_id not in entries:
            entries[edit.entry_id] = _added(edit)
    added = frozenset(entries) - {entry.id for entry in said}
    stranded: list[Edit] = []
    for edit in counting:
        if edit.action in ("undo", "add"):
            continue
        entry = entries.get(edit.entry_id)
        if entry is None:
            stranded.append(edit)
        elif edit.action == "set":
            as_said.setdefault(entry.id, entry)
            entries[entry.id] = changed(entry, edit.field or "", edit.after)
    gone = _taken_out(counting, known) & set(entries)
    originals = {entry.id: entry for entry in said}
    return Replayed(
        entries=tuple(entry for entry in entries.values() if entry.id not in gone),
        as_said={name: entry for name, entry in as_said.items() if name not in gone and name not in added},
        added=added - gone,
        taken_out=tuple(originals[name] for name in originals if name in gone),
        stranded=tuple(stranded),
        differences=_differences(in_force(edits), known),
    )


def header(opened: Mapping[str, Any], edits: Sequence[Edit], job_id: str) -> tuple[dict[str, Any], str | None]:
    """The job's own fields in force, and when it was closed (None where it is open).

    ``opened`` holds ``name``, ``status``, ``pack``, ``intake``; a change's ``field`` is one of these or
    ``intake.FIELD``, ``intake.conditions.FIELD`` or ``claim.FIELD``.
    """
    state: dict[str, Any] = json.loads(json.dumps(opened))
    closed_at: str | None = None
    for edit in in_force(edits):
        if edit.entry_id != job_id or edit.action != "set" or not edit.field:
            continue
        *path, last = edit.field.split(".")
        table = state
        for name in path:
            table = table.setdefault(name, {})
        value = read_value(edit.field, edit.after)
        if value is None or value == []:
            table.pop(last, None)
        else:
            table[last] = value
        if edit.field == "status":
            closed_at = edit.at if value == "closed" else None
    return state, closed_at


def claim(edits: Sequence[Edit], job_id: str) -> Claim:
    """What is known for the claim: it is told by changes alone."""
    state, _ = header({"claim": {}}, [edit for edit in edits if (edit.field or "claim.").startswith("claim.")], job_id)
    return record_from_json(Claim, state["claim"])


def told(edits: Sequence[Edit], job_id: str, field: str) -> Edit | None:
    """The change that gives one of the job's fields its value; None where none counts."""
    found = [e for e in in_force(edits) if e.entry_id == job_id and e.action == "set" and e.field == field]
    return found[-1] if found else None


def changed(entry: Entry, field: str, after: str | None) -> Entry:
    """``entry`` with one field set from its text form."""
    value = read_value(field, after)
    if field == "quantities":
        return dataclasses.replace(entry, quantities=entry_from_json({"kind": "fact", field: value or []}).quantities)
    if field in ("at", "masked"):
        value = tuple(value or ())
    if field == "value":  # what was odd about the value as it was heard is settled
        entry = dataclasses.replace(entry, odd=None, proposed=None)
    return dataclasses.replace(entry, **{field: value})


def _added(edit: Edit) -> Entry:
    return dataclasses.replace(entry_from_json(json.loads(edit.after or "{}")), id=edit.entry_id)


def _ancestors(edits: Iterable[Edit]) -> dict[str, frozenset[str]]:
    """For each change, all those that it knew of. Empty where they form one chain: then each knew all before it."""
    edits = in_order(edits)
    if all(edit.follows == (before.id,) for before, edit in itertools.pairwise(edits)):
        return {}
    known: dict[str, frozenset[str]] = {}
    for edit in edits:
        seen: frozenset[str] = frozenset(edit.follows)
        for earlier in edit.follows:
            seen |= known.get(earlier, frozenset())
        known[edit.id] = seen
    return known


def _apart(one: Edit, other: Edit, known: Mapping[str, frozenset[str]]) -> bool:
    """Whether neither change knew of the other."""
    if not known:
        return False
    return one.id not in known[other.id] and other.id not in known[one.id]


def _taken_out(counting: Sequence[Edit], known: Mapping[str, frozenset[str]]) -> set[str]:
    """Entries taken out by a change that knew every change to them."""
    out: set[str] = set()
    for edit in counting:
        if edit.action != "remove":
            continue
        unknown_to_it = (
            other
            for other in counting
            if other.action == "set" and other.entry_id == edit.entry_id and other.id not in known.get(edit.id, ())
        )
        if not known or not any(unknown_to_it):
            out.add(edit.entry_id)
    return out


def _differences(counting: Sequence[Edit], known: Mapping[str, frozenset[str]]) -> tuple[Difference, ...]:
    """Pairs of changes to one entry that did not know of each other, unsettled, in order."""
    if not known:
        return ()
    found = []
    for index, later in enumerate(counting):
        for earlier in counting[:index]:
            if (
                earlier.entry_id == later.entry_id
                and _apart(earlier, later, known)
                and not _agree(earlier, later)
                and not _settled(earlier, later, counting[index + 1 :], known)
            ):
                # A change beats a taking out (see _taken_out); otherwise the later in order is in force.
                kept, other = (earlier, later) if later.action == "remove" else (later, earlier)
                found.append(Difference(later.entry_id, stands=kept, other=other))
    return tuple(found)


def _agree(one: Edit, other: Edit) -> bool:
    return (one.action, one.field, one.after) == (other.action, other.field, other.after)


def _settled(one: Edit, other: Edit, later: Sequence[Edit], known: Mapping[str, frozenset[str]]) -> bool:
    """Whether somebody who knew both changes decided on the same matter afterwards."""
    fields = {one.field, other.field}
    return any(
        edit.entry_id == one.entry_id
        and {one.id, other.id} <= known[edit.id]
        and (edit.action != "set" or edit.field in fields or None in fields)
        for edit in later
    )
