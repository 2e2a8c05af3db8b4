"""Many jobs looked at together: shares with their intervals, and what they are shares of."""

from fieldnote.patterns.chosen import Survey
from fieldnote.patterns.recurrence import reckon, survey

__all__ = ["Survey", "reckon", "survey"]
