"""People's changes: to an entry, to the job itself, and taking them back. Every value is checked against the pack."""

from __future__ import annotations

import dataclasses
import re
from collections.abc import Callable, Sequence
from typing import Any

from fieldnote.errors import UserMistake
from fieldnote.records import SIDES, Edit, Entry, Job, Origin, Quantity
from fieldnote.store import Store
from fieldnote.store.fields import ENTRY_FIELDS
from fieldnote.store.identity import now
from fieldnote.vocabulary import Pack
from fieldnote.vocabulary.nearest import nearest

_NOTHING = frozenset(("", "none", "-"))
_YES = {"yes": True, "y": True, "true": True, "no": False, "n": False, "false": False}
_CHOICES: dict[str, Sequence[str]] = {"side": SIDES, "certainty": ("sure", "unsure"), "stage": ("find", "verify")}
_ALWAYS_THERE = frozenset(("present", "certainty", "stage"))
_TERMS = {"place": "place", "part": "part", "method": "method", "material": "material", "what": "fact"}
_QUANTITY = re.compile(r"(?P<what>[a-z-]+)\s*[= ]\s*(?P<value>-?\d+(?:[.,]\d+)?)\s*(?P<unit>\S*)")


def correct(store: Store, job: str | Job, entry: str, field: str, value: str, person: str, pack: Pack) -> Edit:
    """Set one field of an entry to a value as a person writes it ("none" empties it).

    Args:
        store: where the job is kept.
        job: the job, or its id, name or the start of either.
        entry: the entry's id, or the start of it.
        field: one of ``ENTRY_FIELDS``.
        value: an id of the pack or its name; ``yes``/``no``; quantities as ``duration 5 min, length 2 in``.
        person: who says so.
        pack: the job's vocabulary.

    Raises:
        NotFound: no such job or entry.
        UserMistake: no such field, or a value that it cannot have.

    """
    found = store.job(job if isinstance(job, str) else job.id)
    known = store.find_entry(found, entry)
    return store.correct(found.id, known.id, field, parse_value(known, field, value, pack), person)


def disregard(store: Store, job: str | Job, entry: str, person: str) -> Edit:
    """Take an entry out of a job; ``undo`` brings it back.

    Raises:
        NotFound: no such job or entry.

    """
    found = store.job(job if isinstance(job, str) else job.id)
    return store.disregard(found.id, store.find_entry(found, entry).id, person)


def add_entry(store: Store, job: str | Job, entry: Entry, person: str) -> Edit:
    """Add an entry that was typed and not spoken; its origin names the person and the time."""
    found = store.find_id(job if isinstance(job, str) else job.id)
    typed = dataclasses.replace(entry, origins=(*entry.origins, Origin("typed", person=person, at=now())))
    return store.add_entry(found, typed, person)


def undo(store: Store, job: str | Job, person: str, edit: str | None = None) -> tuple[Edit, Edit]:
    """Take back a change, the last one where none is named: gives the change and what took it back.

    Raises:
        NotFound: no such job or change, or nothing to take back.

    """
    return store.undo(store.find_id(job if isinstance(job, str) else job.id), person, edit)


def parse_value(entry: Entry, field: str, value: str, pack: Pack) -> Any:
    """The value of a field from what a person wrote.

    Raises:
        UserMistake: the field cannot have it; the message names the nearest that it can.

    """
    text = " ".join(value.split())
    if field not in ENTRY_FIELDS:
        raise _refused(field, "an entry has no such field", field, ENTRY_FIELDS)
    if text.lower() in _NOTHING and field not in _ALWAYS_THERE:
        return () if field in ("at", "quantities", "masked") else None
    if field in _CHOICES:
        return _choice(field, text, _CHOICES[field])
    if field in _TERMS:
        return _term(pack, _TERMS[field], field, text)
    return _PARSERS[field](entry, field, text, pack)


def _choice(field: str, text: str, choices: Sequence[str]) -> str:
    if text.lower() in choices:
        return text.lower()
    raise _refused(field, f"{text!r} cannot stand here", text, choices)


def _term(pack: Pack, kind: str, field: str, text: str, allowed: Callable[[Any], bool] = lambda term: True) -> str:
    """The id of the row that is named by its id, its name or the way it is spoken."""
    terms = [term for term in pack.terms(kind) if allowed(term)]
    wanted = text.lower()
    for term in terms:
        if wanted in (term.id, term.name.lower(), term.plural.lower()) or wanted.replace("-", " ") in term.say:
            return term.id
    raise _refused(field, f"{text!r} is not in the vocabulary as a {kind} of this entry", text, [t.id for t in terms])


def _state(entry: Entry, field: str, text: str, pack: Pack) -> str:
    kinds = {"source": ("check",), "plan": ("repair",)}.get(entry.kind, (entry.kind,))
    if entry.kind == "plan" and text.lower() == "test":
        return "test"
    return _term(pack, "state", field, text, lambda term: any(kind in term.kinds for kind in kinds))


def _yes_or_no(entry: Entry, field: str, text: str, pack: Pack) -> bool:
    if text.lower() not in _YES:
        raise _refused(field, f"{text!r} cannot stand here", text, ("yes", "no"))
    return _YES[text.lower()]


def _whole_number(entry: Entry, field: str, text: str, pack: Pack) -> int:
    try:
        return int(text)
    except ValueError:
        raise _refused(field, f"{text!r} is not a whole number", text, ()) from None


def _seconds(entry: Entry, field: str, text: str, pack: Pack) -> float:
    try:
        return float(text.replace(",", "."))
    except ValueError:
        raise _refused(field, f"{text!r} is not a number of seconds", text, ()) from None


def _positions(entry: Entry, field: str, text: str, pack: Pack) -> tuple[str, ...]:
    return tuple(_choice(field, word, tuple(pack.at)) for word in re.split(r"[,\s]+", text) if word)


def _places(entry: Entry, field: str, text: str, pack: Pack) -> tuple[str, ...]:
    return tuple(_term(pack, "place", field, word.strip()) for word in text.split(",") if word.strip())


def _quantities(entry: Entry, field: str, text: str, pack: Pack) -> tuple[Quantity, ...]:
    found = []
    for part in re.split(r"[;,](?!\d)", text):
        match = _QUANTITY.fullmatch(part.strip())
        if match is None:
            raise UserMistake(
                f"{part.strip()!r} is not a measured value",
                where=field,
                do='Write it as "duration 5 min, length 2 in".',
            )
        what = _term(pack, "quantity", field, match["what"])
        allowed = getattr(pack.term("quantity", what), "units", ())
        unit = match["unit"]
        by_name = {unit_term.symbol: unit_term.symbol for unit_term in _units(pack)} | {
            spoken: unit_term.symbol for unit_term in _units(pack) for spoken in (unit_term.id, *unit_term.say)
        }
        symbol = str(by_name.get(unit, unit))
        if symbol not in allowed and not (not unit and (not allowed or "" in allowed)):
            raise _refused(field, f"{what} is not measured in {unit or 'nothing'}", unit, [u for u in allowed if u])
        found.append(Quantity(what, float(match["value"].replace(",", ".")), symbol))
    return tuple(found)


def _units(pack: Pack) -> Sequence[Any]:
    return pack.terms("unit")


def _fact_value(entry: Entry, field: str, text: str, pack: Pack) -> str | int | float:
    """A fact's value keeps its type: a number stays one."""
    if isinstance(entry.value, (int, float)) and not isinstance(entry.value, bool):
        number = _seconds(entry, field, text, pack)
        return int(number) if number.is_integer() and isinstance(entry.value, int) else number
    return text


def _fact_unit(entry: Entry, field: str, text: str, pack: Pack) -> str:
    units = getattr(pack.term("fact", entry.what), "units", ()) if entry.what else ()
    return _choice(field, text, units) if units else text


_PARSERS: dict[str, Callable[[Entry, str, str, Pack], Any]] = {
    "state": _state,
    "present": _yes_or_no,
    "item": _whole_number,
    "at": _positions,
    "masked": _places,
    "quantities": _quantities,
    "clocked_s": _seconds,
    "clocked_leak_s": _seconds,
    "value": _fact_value,
    "unit": _fact_unit,
}


def _refused(field: str, what: str, given: str, choices: Sequence[str]) -> UserMistake:
    close = nearest(given, choices) if choices else ""
    listed = ", ".join(choices) if len(choices) <= 12 else ""
    hints = [f"Did you mean {close!r}?" if close else "", f"It can be: {listed}." if listed else ""]
    return UserMistake(what, where=field, do=" ".join(filter(None, hints)) or "Write another value.")
