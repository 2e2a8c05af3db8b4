"""Reads constituents from left to right into frames: who is said to be what, what was done to what, what was tested.

Dictation has no punctuation to rely on, so a clause ends where the next thing or verb no longer fits into it.
"""

from __future__ import annotations

import itertools

from fieldnote.extract.clause_findings import FindingReader
from fieldnote.extract.clause_measures import MeasureReader
from fieldnote.extract.clause_tests import TestReader
from fieldnote.extract.clause_things import ThingReader
from fieldnote.extract.clause_words import WordReader
from fieldnote.extract.clause_work import WorkReader
from fieldnote.extract.frames import Frame


class ClauseReader(ThingReader, FindingReader, WorkReader, TestReader, MeasureReader, WordReader):
    """Reads one utterance. Make one for each; ``read`` gives its frames."""

    def read(self) -> list[Frame]:
        """The frames of the utterance, in the order said."""
        i = 0
        while i < len(self._row):
            i = self._step(i)
        self._close()
        self._merge_results()
        return self.frames

    def _merge_results(self) -> None:
        """ "Neither lamp is leaking, hosed both of them": one test, its result said first."""
        leak, _ = self._lex.test_states
        for result, test in itertools.pairwise(list(self.frames)):
            finding = result.finding
            if (
                test.kind != "test"
                or test.thing is not None
                or test.result
                or result.kind != "state"
                or finding is None
            ):
                continue
            state = finding.get("test")
            bare = result.thing is None and result.head_form == "adj" and result.present and not test.pronoun
            if bare and state and not finding.get("check") and not result.outlet and not result.measures:
                test.result = "leak" if state == leak else "dry"  # "now it is dry, I tested ten minutes"
                test.spans.extend(result.spans)
                test.start = min(test.start, result.start)
                self.frames.remove(result)
                continue
            if not state or finding.get("evidence") or finding.get("check") or result.thing is None or result.outlet:
                continue
            test.thing, test.more = result.thing, result.more
            test.result = "leak" if (state == leak) == result.present else "dry"
            test.pronoun = test.of_thing = False
            test.measures = [*result.measures, *test.measures]
            test.spans.extend(result.spans)
            test.start = min(test.start, result.start)
            self.frames.remove(result)

    def _step(self, i: int) -> int:
        c = self._row[i]
        handler = getattr(self, "_on_" + c.kind, None)
        if handler is None:
            return i + 1
        result = handler(i, c)
        return i + 1 if result is None else int(result)
