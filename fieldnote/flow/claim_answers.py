"""A claim as people fill it in: text is read, what cannot be is refused, and what is left empty empties the field."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

from fieldnote.errors import UserMistake
from fieldnote.flow.intake_answers import read_odometer
from fieldnote.narrate.payers import LABOR
from fieldnote.records import Claim

LINES = ("parts", "operations")
"""Fields that hold several things, one a line."""
_CLOCK = re.compile(r"(\d{1,3}):([0-5]\d)(?:\s*h)?")
_HOURS = re.compile(r"(\d{1,4}(?:[.,]\d+)?|[.,]\d+)\s*(?:h|hr|hrs|hours?)?", re.IGNORECASE)
_MINUTES = re.compile(r"(\d{1,5})\s*(?:min|minutes?)", re.IGNORECASE)


def claim_of(texts: Mapping[str, str], odometer_unit: str | None) -> tuple[Claim, frozenset[str]]:
    """The claim that some of its fields give as typed, and the fields that were emptied.

    Args:
        texts: what was typed, by field of ``Claim``.
        odometer_unit: that of the reading when it came in: the reading when it went out has it too.

    Raises:
        UserMistake: something is not what it should be; ``where`` is its field.

    """
    values: dict[str, Any] = {}
    for field, text in texts.items():
        text = text.strip()
        if field in LINES:
            values[field] = tuple(" ".join(line.split()) for line in text.splitlines() if line.strip())
        elif not text:
            continue
        elif field in LABOR:
            values[field] = read_hours(text, field)
        elif field == "odometer_out":
            values[field] = _odometer_out(text, odometer_unit)
        else:
            values[field] = text
    return Claim(**values), frozenset(field for field in texts if values.get(field) in (None, ()))


def read_hours(text: str, where: str = "hours") -> float:
    """Hours as people write them: ``1.5``, ``1,5 h``, ``1:30``, ``90 min``.

    Raises:
        UserMistake: it is none of these.

    """
    if match := _CLOCK.fullmatch(text):
        return int(match[1]) + int(match[2]) / 60
    if match := _MINUTES.fullmatch(text):
        return int(match[1]) / 60
    if match := _HOURS.fullmatch(text):
        return float(match[1].replace(",", "."))
    raise UserMistake(f"{text!r} is no number of hours", where=where, do="Write it as 1.5, 1:30 or 90 min.")


def _odometer_out(text: str, unit: str | None) -> float:
    number, given = read_odometer(text)
    if given and unit and given != unit:
        raise UserMistake(
            f"the odometer was read in {unit} when it came in", where="odometer_out", do=f"Give it in {unit} again."
        )
    return number


def as_typed(claim: Claim, field: str) -> str:
    """A field of a claim in the form in which a person writes it; "" for none."""
    value = getattr(claim, field)
    if isinstance(value, tuple):
        return "\n".join(value)
    if isinstance(value, float):
        return f"{round(value, 2):.15g}" if field in LABOR else f"{value:.15g}"
    return "" if value is None else str(value)


__all__ = ["LINES", "as_typed", "claim_of", "read_hours"]
