"""How records look as JSON, and back. One place, so that every door and export prints the same.

``entry_to_wire`` leaves out what has its default value, except ``kind``, ``place``, ``part``, ``side`` and ``state``,
which are always there (facts: ``kind``, ``what``, ``value``, ``unit`` alone).
"""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from typing import Any, TypeVar, cast

from fieldnote.errors import BadData
from fieldnote.records import KINDS, SIDES, Entry, Origin, Quantity, Utterance, Word

Wire = dict[str, Any]
_ALWAYS = ("kind", "place", "part", "side", "state")
_FACT = ("kind", "what", "value")
_BESIDE = ("confidence", "misheard_risk", "heard_from", "heard_to", "clocked_s", "clocked_leak_s", "odd", "proposed")

T = TypeVar("T")


def plain(record: object) -> Any:
    """A record as dicts, lists and scalars (tuples become lists)."""
    if dataclasses.is_dataclass(record) and not isinstance(record, type):
        return {f.name: plain(getattr(record, f.name)) for f in dataclasses.fields(record)}
    if isinstance(record, (tuple, list)):
        return [plain(item) for item in record]
    if isinstance(record, Mapping):
        return {str(key): plain(value) for key, value in record.items()}
    return record


def _sparse(record: object) -> Wire:
    """A record as a dict without the fields that hold their default or nothing."""
    out: Wire = {}
    for f in dataclasses.fields(cast(Any, record)):
        value = getattr(record, f.name)
        if value is None or value == () or value == f.default:
            continue
        out[f.name] = plain(value)
    return out


def entry_to_wire(entry: Entry, *, with_origins: bool = False) -> Wire:
    """An entry as CONTRACT-shaped JSON. ``span`` is the character span of its head origin, where it was spoken."""
    if entry.kind == "fact":
        out: Wire = {name: getattr(entry, name) for name in _FACT}
        if entry.unit:
            out["unit"] = entry.unit
    else:
        sparse = _sparse(entry)
        out = {name: getattr(entry, name) for name in _ALWAYS}
        out.update(
            {k: v for k, v in sparse.items() if k not in ("id", "origins", "quote", "what", "value", "unit", *_BESIDE)}
        )
        if entry.quantities:
            out["quantities"] = [plain(q) for q in entry.quantities]
    out["quote"] = entry.quote
    head = next((o for o in entry.origins if o.kind == "spoken" and o.start is not None), None)
    if head is not None:
        out["span"] = [head.start, head.end]
    for name in _BESIDE:
        if getattr(entry, name) is not None:
            out[name] = getattr(entry, name)
    if entry.id:
        out["id"] = entry.id
    if with_origins:
        out["origins"] = [_sparse(o) for o in entry.origins]
    return out


def entry_from_wire(wire: Mapping[str, Any], *, where: str = "entry") -> Entry:
    """The reverse of ``entry_to_wire``; unknown keys are refused.

    Raises:
        BadData: a field is unknown or has a value that no entry can have.

    """
    known = {f.name for f in dataclasses.fields(Entry)} | {"span"}
    unknown = sorted(set(wire) - known)
    if unknown:
        raise BadData(f"unknown field {unknown[0]!r}", where=where, do=f"Fields are: {', '.join(sorted(known))}.")
    if wire.get("kind") not in KINDS:
        raise BadData(
            f"kind {wire.get('kind')!r} is not one of {', '.join(KINDS)}", where=where, do="Correct the kind."
        )
    if wire.get("side") not in (None, *SIDES):
        raise BadData(
            f"side {wire.get('side')!r} is not one of {', '.join(SIDES)}", where=where, do="Correct the side."
        )
    values = {k: v for k, v in wire.items() if k != "span" and v is not None}
    try:
        values["quantities"] = tuple(Quantity(**q) for q in values.get("quantities", ()))
        values["origins"] = tuple(Origin(**o) for o in values.get("origins", ()))
        values["at"] = tuple(values.get("at", ()))
        values["masked"] = tuple(values.get("masked", ()))
        return Entry(**values)
    except TypeError as error:
        raise BadData(
            f"an entry that cannot be read ({error})", where=where, do="Compare it with the contract."
        ) from error


def utterance_to_wire(utterance: Utterance) -> Wire:
    """An utterance with its words and settings; fields that hold nothing are left out."""
    return {
        "id": utterance.id,
        "text": utterance.text,
        **{k: v for k, v in _sparse(utterance).items() if k not in ("id", "text")},
    }


def utterance_from_wire(wire: Mapping[str, Any]) -> Utterance:
    """The reverse of ``utterance_to_wire``."""
    values = dict(wire)
    values["words"] = tuple(Word(**w) for w in values.get("words", ()))
    from fieldnote.records import Alternative

    values["alternatives"] = tuple(Alternative(**a) for a in values.get("alternatives", ()))
    return Utterance(**values)
