"""Many jobs looked at together: shares with their intervals, and what they are shares of."""

from fieldnote.patterns.recurrence import Survey, survey

__all__ = ["Survey", "survey"]
