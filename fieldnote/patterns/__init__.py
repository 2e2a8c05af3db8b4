"""Many jobs looked at together: shares with their intervals, and what they are shares of.

``reckon`` takes the summaries that the store keeps; ``survey`` takes jobs, and loads what reads them.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from fieldnote.patterns.chosen import Survey
from fieldnote.patterns.reckoning import reckon

if TYPE_CHECKING:
    from fieldnote.patterns.recurrence import survey

__all__ = ["Survey", "reckon", "survey"]


def __getattr__(name: str) -> Any:
    if name != "survey":
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    from fieldnote.patterns.recurrence import survey

    return survey
