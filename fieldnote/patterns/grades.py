"""How far a leak is proved, from least to most (``narrate.proof``), and what a source is called here."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from fieldnote.narrate.proof import Grade

GRADES: tuple[Grade, ...] = ("suspected", "fault", "water", "cured")
"""From least to most proof."""

SourceKey = tuple[str, str | None]
"""Place and part."""
