"""Frames become entries: what was not said is taken from what was said before, where the rules of carrying allow it.

The rules are those of the entry's contract: a side, place or part holds until another is named; a new place drops the
old part and, outside its assembly, the old side; a test that names no place is at the place of the work before it.
"""

from __future__ import annotations

from collections.abc import Sequence

from fieldnote.extract.compose_causes import CauseComposer
from fieldnote.extract.compose_findings import FindingComposer
from fieldnote.extract.compose_work import WorkComposer
from fieldnote.extract.draft import Draft
from fieldnote.extract.frames import Frame


class Composer(FindingComposer, WorkComposer, CauseComposer):
    """Turns frames into entries, with one lexicon."""

    def compose(self, draft: Draft, frames: Sequence[Frame]) -> None:
        """All frames of one utterance, in order."""
        for frame in frames:
            frame.thing = self._whereabouts.settled(draft, frame.thing)
            frame.more = [t for t in (self._whereabouts.settled(draft, m) for m in frame.more) if t is not None]
            if frame.plan:
                self._plan(draft, frame)
            elif frame.kind == "state":
                self._state(draft, frame)
            elif frame.kind == "act":
                self._act(draft, frame)
            elif frame.kind == "test":
                self._test(draft, frame)
            elif frame.kind == "source":
                self._source(draft, frame)
            else:
                self._topic(draft, frame)
