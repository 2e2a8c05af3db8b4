"""Which fields people can change, and how a value looks as the text that a change keeps.

Words are kept as they are, None as no text at all, and everything else (numbers, lists, yes and no) as JSON.
"""

from __future__ import annotations

import dataclasses
import json
from typing import Any

from fieldnote.records import Claim, Conditions, Entry, Intake
from fieldnote.store.identity import canonical

_WORDS = frozenset(
    ("kind", "place", "part", "side", "state", "certainty", "stage", "method", "material", "quote", "what", "unit")
)
ENTRY_FIELDS = tuple(
    f.name
    for f in dataclasses.fields(Entry)
    if f.name
    not in (
        "id", "kind", "quote", "origins", "confidence", "misheard_risk", "heard_from", "heard_to", "odd", "proposed",
    )
)  # fmt: skip
"""Fields of an entry that can be corrected: not its kind (take it out and add another), not what was said."""

HANDOVER = "handover"

JOB_FIELDS = (
    "name",
    "status",
    *(f"intake.{f.name}" for f in dataclasses.fields(Intake) if f.name != "conditions"),
    *(f"intake.conditions.{f.name}" for f in dataclasses.fields(Conditions)),
    *(f"claim.{f.name}" for f in dataclasses.fields(Claim)),
    HANDOVER,
)
"""Fields of a job that can be changed. ``handover``: the hash of the leaf that a colleague accepted."""

CONFIRMED = "confirmed."
"""Begins the fields that say which entry a person confirmed by ear, and as what."""

_JOB_JSON = frozenset(
    (
        "intake.model_year",
        "intake.odometer",
        *(f"intake.conditions.{f.name}" for f in dataclasses.fields(Conditions)),
        "claim.odometer_out",
        "claim.parts",
        "claim.operations",
        *(f"claim.{f.name}" for f in dataclasses.fields(Claim) if f.name.endswith("_h")),
    )
)


def _is_json(field: str) -> bool:
    if field.startswith(("intake.", "claim.", CONFIRMED)) or field in ("name", "status", HANDOVER):
        return field in _JOB_JSON
    return field not in _WORDS


def write_value(field: str, value: Any) -> str | None:
    """A field's value as the text that a change keeps."""
    if value is None:
        return None
    return canonical(value) if _is_json(field) else str(value)


def read_value(field: str, text: str | None) -> Any:
    """The value that ``write_value`` wrote; lists come back as lists."""
    if text is None:
        return None
    return json.loads(text) if _is_json(field) else text
