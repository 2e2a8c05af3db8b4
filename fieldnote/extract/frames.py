"""What a clause says, before it is tied to what was said earlier: one frame for each thing said."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

from fieldnote.extract.lexicon import Finding
from fieldnote.extract.noun_phrases import Span, Thing
from fieldnote.extract.units import QuantityMention

FrameKind = Literal["state", "act", "test", "source", "look", "topic"]
Result = Literal["", "leak", "dry"]


@dataclass(frozen=True, slots=True)
class Measure:
    """A quantity and the cue that stood beside it: lasting, took, from-there, along, or none."""

    quantity: QuantityMention
    cue: str
    span: Span


@dataclass(slots=True)
class Frame:
    """One thing said. Mutable while its utterance is read, and never after."""

    kind: FrameKind
    start: int
    end: int
    thing: Thing | None = None
    more: list[Thing] = field(default_factory=list)
    """Further things of which the same is said ("seam and grommet are fine")."""
    finding: Finding | None = None
    head_form: str = ""
    acts: tuple[str, ...] = ()
    present: bool = True
    unsure: bool = False
    plan: bool = False
    measures: list[Measure] = field(default_factory=list)
    count: int | None = None
    material: str | None = None
    by_material: str | None = None
    """The part that the material itself would be, where no other is named."""
    fault: Finding | None = None
    """The fault that a repair was said to mend ("sealed the pinhole")."""
    method: str | None = None
    again: bool = False
    retest: bool = False
    result: Result = ""
    told: bool = False
    """Said in a form that only tells what was done ("pulled"): a "tomorrow" behind it speaks of something else."""
    result_at: int = 0
    """The word where the result was said."""
    of_thing: bool = False
    """The state was said of a thing in the same clause, or of "it"."""
    pronoun: bool = False
    follows: bool = False
    """Said after another finding of the same thing."""
    inherited: bool = False
    """Its thing is that of the finding before it."""
    joined: bool = False
    from_topic: bool = False
    """Its thing was only named before it, with no word that ties the two."""
    outlet: bool = False
    """Evidence of where the water of a test came out."""
    presented: bool = False
    """Brought in by "found" or "there is": begins afresh and inherits no part."""
    weak: Thing | None = None
    """A thing that it is merely near to."""
    spans: list[Span] = field(default_factory=list)
    sure: float = 1.0

    def mark(self, start: int, end: int, role: str) -> None:
        """Note that words ``start:end`` played this role."""
        self.spans.append(Span(start, end, role))
        self.start, self.end = min(self.start, start), max(self.end, end)
