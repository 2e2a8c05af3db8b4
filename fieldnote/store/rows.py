"""Records to rows of the database and back. One place, so that a round trip loses nothing."""

from __future__ import annotations

import dataclasses
import json
import types
import typing
from collections.abc import Mapping
from typing import Any, TypeVar, cast

from fieldnote.records import (
    Alternative,
    Clip,
    Edit,
    Entry,
    FrozenVersion,
    Intake,
    Narrative,
    Origin,
    Quantity,
    Utterance,
    Word,
)
from fieldnote.store.identity import compact

Row = dict[str, Any]
T = TypeVar("T")

_COLUMNS = (
    "kind", "place", "part", "side", "state", "certainty", "stage", "method", "material",
    "item", "quote", "what", "unit",
)  # fmt: skip
_MORE = (
    "at", "quantities", "origins", "confidence", "misheard_risk", "heard_from", "heard_to", "masked", "clocked_s",
    "clocked_leak_s", "odd", "proposed",
)  # fmt: skip


def sparse(record: Any) -> Row:
    """A flat record as a dict without the fields that hold their default."""
    out: Row = {}
    for f in dataclasses.fields(record):
        value = getattr(record, f.name)
        if f.default is not dataclasses.MISSING and value == f.default:
            continue
        out[f.name] = value
    return out


def record_from_json(record: type[T], value: Any) -> T:
    """A record, with the records and tuples inside it, from the JSON values that ``wire.plain`` makes of it."""
    return cast(T, _typed(record, value))


def _typed(declared: Any, value: Any) -> Any:
    if value is None:
        return None
    if dataclasses.is_dataclass(declared) and isinstance(declared, type):
        hints = typing.get_type_hints(declared)
        return declared(**{name: _typed(hints[name], inner) for name, inner in value.items()})
    origin, inside = typing.get_origin(declared), typing.get_args(declared)
    if origin is tuple:
        return tuple(_typed(inside[0], inner) for inner in value)
    if origin in (typing.Union, types.UnionType):
        records = [
            choice for choice in inside if dataclasses.is_dataclass(choice) or typing.get_origin(choice) is tuple
        ]
        return _typed(records[0], value) if records and not isinstance(value, str) else value
    return value


# ---- entries --------------------------------------------------------------------------------------------------


def entry_to_json(entry: Entry) -> Row:
    """An entry, whole, as JSON values; ``entry_from_json`` gives the same entry back."""
    out = sparse(entry)
    for name in ("at", "masked"):
        if name in out:
            out[name] = list(out[name])
    if "quantities" in out:
        out["quantities"] = [sparse(quantity) for quantity in entry.quantities]
    if "origins" in out:
        out["origins"] = [sparse(origin) for origin in entry.origins]
    return out


def entry_from_json(value: Mapping[str, Any]) -> Entry:
    """The entry that ``entry_to_json`` wrote."""
    fields = dict(value)
    for name in ("at", "masked"):
        fields[name] = tuple(fields.get(name, ()))
    fields["quantities"] = tuple(Quantity(**q) for q in fields.get("quantities", ()))
    fields["origins"] = tuple(Origin(**o) for o in fields.get("origins", ()))
    return Entry(**fields)


def entry_to_row(entry: Entry, job_id: str, position: int, *, added: bool, as_said: Entry | None) -> Row:
    """A row of ``entry``; ``as_said`` is the entry before people's changes, where they changed it."""
    whole = entry_to_json(entry)
    return {
        "job_id": job_id,
        "id": entry.id,
        "position": position,
        **{name: getattr(entry, name) for name in _COLUMNS},
        "present": int(entry.present),
        "value": None if entry.value is None else compact(entry.value),
        "more": compact({name: whole[name] for name in _MORE if name in whole}),
        "added": int(added),
        "as_said": None if as_said is None else compact(entry_to_json(as_said)),
    }


def entry_from_row(row: Mapping[str, Any]) -> Entry:
    """The entry in force that a row of ``entry`` holds."""
    fields = {name: row[name] for name in _COLUMNS}
    value = row["value"]
    return entry_from_json(
        {
            **fields,
            **json.loads(row["more"]),
            "id": row["id"],
            "present": bool(row["present"]),
            "value": None if value is None else json.loads(value),
        }
    )


# ---- what was heard -------------------------------------------------------------------------------------------


def utterance_to_row(utterance: Utterance, hearing_id: str, job_id: str, order_key: str, settings_id: str) -> Row:
    """A row of ``utterance``; its settings go into a table of their own, since they seldom differ."""
    words = [[w.text, w.from_s, w.to_s, w.confidence] for w in utterance.words]
    others = [[a.text, a.score] for a in utterance.alternatives]
    return {
        "hearing_id": hearing_id,
        "id": utterance.id,
        "job_id": job_id,
        "order_key": order_key,
        "text": utterance.text,
        "from_s": utterance.from_s,
        "to_s": utterance.to_s,
        "confidence": utterance.confidence,
        "words": compact(words) if words else None,
        "alternatives": compact(others) if others else None,
        "engine": utterance.engine,
        "settings_id": settings_id,
    }


def utterance_from_row(row: Mapping[str, Any], clip_id: str | None, settings: Mapping[str, Any]) -> Utterance:
    """The utterance in a row of ``utterance``."""
    return Utterance(
        id=row["id"],
        text=row["text"],
        clip_id=clip_id,
        from_s=row["from_s"],
        to_s=row["to_s"],
        confidence=row["confidence"],
        words=tuple(Word(*word) for word in json.loads(row["words"] or "[]")),
        alternatives=tuple(Alternative(*other) for other in json.loads(row["alternatives"] or "[]")),
        engine=row["engine"],
        settings=settings,
    )


def clip_from_row(row: Mapping[str, Any]) -> Clip:
    """The clip in a row of ``clip`` joined with ``sound``."""
    return Clip(**{f.name: row[f.name] for f in dataclasses.fields(Clip)})


# ---- the job and its changes ----------------------------------------------------------------------------------


def intake_to_json(intake: Intake) -> Row:
    """An intake as JSON values, without what was skipped."""
    out = sparse(intake)
    conditions = {name: list(v) if isinstance(v, tuple) else v for name, v in sparse(intake.conditions).items()}
    out.pop("conditions", None)
    return out | ({"conditions": conditions} if conditions else {})


def intake_from_json(value: Mapping[str, Any]) -> Intake:
    """The intake that ``intake_to_json`` wrote."""
    return record_from_json(Intake, value)


def edit_to_row(edit: Edit) -> Row:
    """A row of ``edit``."""
    return {f.name: getattr(edit, f.name) for f in dataclasses.fields(Edit)} | {"follows": compact(list(edit.follows))}


def edit_from_row(row: Mapping[str, Any]) -> Edit:
    """The change in a row of ``edit``."""
    fields = {f.name: row[f.name] for f in dataclasses.fields(Edit)}
    return Edit(**(fields | {"follows": tuple(json.loads(row["follows"]))}))


# ---- frozen write-ups -----------------------------------------------------------------------------------------


def version_from_row(row: Mapping[str, Any]) -> FrozenVersion:
    """The frozen write-up in a row of ``version``."""
    return FrozenVersion(
        job_id=row["job_id"],
        number=row["number"],
        hash=row["hash"],
        made_at=row["made_at"],
        person=row["person"],
        narrative=record_from_json(Narrative, json.loads(row["narrative"])),
    )
