"""Labor: time that was spent on work, and not by a test."""

from __future__ import annotations

from fieldnote.extract.conversions import convert
from fieldnote.extract.fact_values import FactFound, FactValues
from fieldnote.extract.items import Item, Line
from fieldnote.extract.lexicon import Lexicon
from fieldnote.extract.units import QuantityMention

_HOUR_MIN = 60
_ROUND_LABOR = ("filler", "opener", "function", "mend", "approximate", "pronoun", "link", "labor")
"""Words that may stand around a time alone, so that it tells how long the work took."""


class LaborFinder:
    """Finds labor in utterances, with one lexicon."""

    def __init__(self, lexicon: Lexicon, values: FactValues) -> None:
        self._lex = lexicon
        self._values = values
        self._fact = next((f for f in lexicon.facts.values() if f.value == "number" and "h" in f.units), None)

    def find(self, line: Line, texts: list[str], found: list[FactFound]) -> None:
        """Hours are labor unless a test was said to run that long."""
        fact = self._fact
        if fact is None:
            return
        testing = any(i.tags & {"method"} or i.is_a("test", "retest", "retest_verb", "test_verb") for i in line.items)
        cued = any(i.is_a("labor") for i in line.items) or any(
            tuple(texts[k : k + len(w)]) == w
            for k in range(len(texts)) for w, f in self._values.names.get(texts[k], ()) if f is fact
        )  # fmt: skip
        said = [i for i in line.items if not i.is_a(*_ROUND_LABOR)]
        first = said[0].number if said and not found else None
        if first is not None and first.kind == "decimal":
            end = said[0].end if len(said) == 1 else self._work_end(line, said[0])
            if end is not None:
                found.append(FactFound(fact.id, first.value, fact.units[0], said[0].start, end))
                return
        for item in line.items:
            q = item.quantity
            if (
                q is None
                or self._lex.measures.get(q.unit) != "time"
                or any(f.start <= item.start < f.end for f in found)
            ):
                continue
            before = next((x for x in line.items if x.end == item.start), None)
            if before is not None and before.is_a("lasting") and not cued:
                continue
            work_end = None if testing or q.unit == "s" else self._work_end(line, item)
            if work_end is not None:
                found.append(FactFound(fact.id, _hours(q), fact.units[0], item.start, work_end))
                return
            spread = q.unit == "min" and q.value >= _HOUR_MIN
            hours = q.unit == "h" or (spread and not testing)
            if hours and (cued or not testing or self._beside_duration(line, item)):
                found.append(FactFound(fact.id, _hours(q), fact.units[0], item.start, item.end))
                return
            if (
                q.unit == "min"
                and cued
                and not testing
                and any(i.is_a("labor") and not i.is_a("filler") for i in line.items)
                and not any("state" in i.tags for i in line.items)
            ):
                found.append(FactFound(fact.id, _hours(q), fact.units[0], item.start, item.end))
                return

    def _work_end(self, line: Line, time: Item) -> int | None:
        """ "Point eight to refit": the word after the verb that tells what a time was spent on; None without one.

        The verb tells of work that has an entry of its own where it was done, so it gives none here.
        """
        after = [i for i in line.items if i.start >= time.end]
        if len(after) < 2:
            return None
        if after[0].is_a("to") and (
            after[1].sense("act", "base") is not None or (not after[1].tags and len(after) == 2)
        ):
            return after[1].end
        tests = [i for i in after if not i.is_a("lasting", "preposition", "determiner")]
        if (
            after[0].is_a("lasting")
            and len(tests) == 1
            and (tests[0].is_a("test", "retest") or "method" in tests[0].tags)
        ):
            return tests[0].end  # "point three for the water test"
        return None

    def _beside_duration(self, line: Line, hours: Item) -> bool:
        """Whether another time was said with the test, so that the hours at the end are not its own."""
        times = [i for i in line.items if i.quantity is not None and self._lex.measures.get(i.quantity.unit) == "time"]
        return len(times) > 1 and times[-1] is hours


def _hours(q: QuantityMention) -> float | int:
    """A time in hours, as labor is written."""
    if q.unit == "h":
        return q.value
    return round(float(convert(float(q.value), q.unit, "h")), 3)
