"""Facts about the job: numbers, dates and names that belong to the vehicle or the visit, and the complaint."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from fieldnote.extract.conversions import convert
from fieldnote.extract.dates import read_build_date, read_model_year
from fieldnote.extract.digit_strings import read_digit_string, read_odometer
from fieldnote.extract.items import Item, Line
from fieldnote.extract.lexicon import NUMBER_WORDS, Lexicon
from fieldnote.extract.numbers import number_at
from fieldnote.extract.spelled import read_spelled, spelling_table
from fieldnote.extract.tokens import fold
from fieldnote.extract.units import QuantityMention
from fieldnote.extract.vin import VinMention, VinReading, continue_vin, find_vin
from fieldnote.vocabulary.pack import FactKind

_REACH = 4
"""How many small words may stand between a fact's name and its value."""
VIN_LENGTH = 17
_SHORTEST_UNIT = 3
_SHORTEST_VIN_PIECE = 2
_VIN_NAME_REACH = 6
# How sure a VIN is by what its check digit says.
VIN_SURE = {"valid": 1.0, "unchecked": 0.9, "wrong": 0.5, "incomplete": 0.3, "too-long": 0.3, "none": 0.0}
_SPELLED_LEAST = 4
_GLUED_LEAST = 8
_HOUR_MIN = 60
_ROUND_LABOR = ("filler", "opener", "function", "mend", "approximate", "pronoun", "link", "labor")
"""Words that may stand around a time alone, so that it tells how long the work took."""
_SHORT_REMARK = 6
_CUSTOMER_REACH = 7


@dataclass(frozen=True, slots=True)
class FactFound:
    """A fact in words ``start:end``; ``text_from`` is where a complaint's own words begin."""

    what: str
    value: str | float | int
    unit: str | None
    start: int
    end: int
    sure: float = 1.0


class FactFinder:
    """Finds facts in utterances, with one lexicon."""

    def __init__(self, lexicon: Lexicon) -> None:
        self._lex = lexicon
        self._odometer_fact = next((f for f in lexicon.facts.values() if self._is_odometer(f)), None)
        self._spelling_words = frozenset(spelling_table().words) | NUMBER_WORDS
        self._names: dict[str, list[tuple[tuple[str, ...], FactKind]]] = {}
        for fact in lexicon.facts.values():
            if fact.value == "text" and fact.id == "complaint":
                continue
            for phrase in fact.say:
                words = tuple(lexicon.respelled.get(w, w) for w in fold(phrase))
                if words:
                    self._names.setdefault(words[0], []).append((words, fact))
        for rows in self._names.values():
            rows.sort(key=lambda row: -len(row[0]))
        self._choices: dict[str, list[tuple[tuple[str, ...], str, FactKind]]] = {}
        for fact in lexicon.facts.values():
            for choice in fact.choices:
                words = tuple(lexicon.respelled.get(w, w) for w in fold(choice))
                self._choices.setdefault(words[0], []).append((words, choice, fact))
        for choices in self._choices.values():
            choices.sort(key=lambda row: -len(row[0]))

    # -- complaint ----------------------------------------------------------------------------------------------

    def complaint(self, line: Line) -> tuple[int, int] | None:
        """Where the customer's own words begin, and the word that brings them in; None where nobody is quoted."""
        items = list(line.items)
        opens = True
        for n, item in enumerate(items):
            if not item.classes:
                opens = False
                continue
            if item.is_a("complaint") and not self._heading(items, n) and self._begins(items, n):
                end = items[n + 1].end if n + 1 < len(items) and items[n + 1].is_a("says", "link") else item.end
                return (item.start, end) if end < len(line.words) else None
            if n:
                opens = opens and items[n - 1].is_a("filler", "opener")
            if opens and item.is_a("says") and not item.is_a("link", "find") and item.text.split(" ")[0].endswith("s"):
                return (item.start, self._said_from(items, n)) if item.end < len(line.words) else None
            if not item.is_a("customer"):
                continue
            for m in range(n + 1, min(n + _CUSTOMER_REACH, len(items))):
                if items[m].is_a("says") and not (items[m].is_a("link") and not item.is_a("complaint", "x")):
                    if item.text in ("he", "she", "they") and not items[m].is_a("says"):
                        break
                    end = self._said_from(items, m)
                    return (item.start, end) if end < len(line.words) else None
                if not items[m].is_a("filler", "function", "hedge", "determiner", "pronoun", "own") and items[m].senses:
                    break
        return None

    def _begins(self, items: Sequence[Item], n: int) -> bool:
        return all(i.is_a("filler", "opener", "function", "determiner", "customer") or not i.senses for i in items[:n])

    def _heading(self, items: Sequence[Item], n: int) -> bool:
        return n + 1 < len(items) and items[n + 1].text == "cause"

    def _said_from(self, items: Sequence[Item], m: int) -> int:
        end = items[m].end
        if m + 1 < len(items) and items[m + 1].text == "that":
            end = items[m + 1].end
        return end

    # -- all others ---------------------------------------------------------------------------------------------

    def _may_spell(self, texts: list[str]) -> bool:
        """Whether enough characters are spelled, or written together, for a VIN to be told."""
        words, spelled = self._spelling_words, 0
        for text in texts:
            if text in words or len(text) == 1 or text[0].isdigit():
                spelled += 1
        return spelled >= _SPELLED_LEAST or any(len(t) >= _GLUED_LEAST and not t.isalpha() for t in texts)

    def find(self, line: Line, *, until: int | None = None, vin: VinMention | None = None) -> list[FactFound]:
        """Facts of one utterance, up to word ``until``, left to right, never overlapping."""
        if until is not None:
            line = replace(
                line,
                words=line.words[:until],
                items=tuple(i for i in line.items if i.end <= until),
                texts=line.texts[:until],
                numbers=tuple(n for n in line.numbers if n.end <= until),
            )
        texts = list(line.texts)
        found: list[FactFound] = []
        self._vin(texts, found, vin)
        i = 0
        while i < len(texts):
            if texts[i] not in self._names or (found and any(f.start <= i < f.end for f in found)):
                i += 1
                continue
            fact = self._named(line, texts, i, found)
            if fact is not None:
                found.append(fact)
                i = fact.end
            else:
                i += 1
        self._year_first(texts, found)
        if any(i.number is not None or i.quantity is not None for i in line.items):
            self._odometer(line, texts, found)
            self._labor(line, texts, found)
        self._color(line, texts, found)
        return sorted(found, key=lambda f: f.start)

    def _vin(self, texts: list[str], found: list[FactFound], mention: VinMention | None) -> None:
        fact = next((f for f in self._lex.facts.values() if f.value == "vin"), None)
        if fact is None or mention is None or len(mention.reading.vin) != VIN_LENGTH:
            return
        start = mention.start
        for k in range(max(0, start - _VIN_NAME_REACH), start):
            for words, named in self._names.get(texts[k], ()):
                if named is fact and tuple(texts[k : k + len(words)]) == words:
                    start = min(start, k)
        found.append(
            FactFound(fact.id, mention.reading.vin, None, start, mention.end, VIN_SURE.get(mention.reading.status, 0.5))
        )

    def vin(self, line: Line, pending: VinReading | None) -> VinMention | None:
        """The VIN spelled here, whole or begun; or what goes on with one begun in an utterance before."""
        texts = list(line.texts)
        if not any(f.value == "vin" for f in self._lex.facts.values()) or len(texts) < _SHORTEST_VIN_PIECE:
            return None
        if pending is None and not self._may_spell(texts):
            return None
        if pending is not None:
            more = continue_vin(pending, texts)
            if more is not None:
                return more
        return find_vin(texts)

    def _named(self, line: Line, texts: list[str], i: int, found: Sequence[FactFound]) -> FactFound | None:
        for words, fact in self._names.get(texts[i], ()):
            if tuple(texts[i : i + len(words)]) != words:
                continue
            value = self._value(line, texts, i, i + len(words), fact)
            better = self._mended(line, texts, i, value.end if value else i + len(words), fact)
            value = better or value
            if value is not None and not any(f.start < value.end and value.start < f.end for f in found):
                return value
        return None

    def _mended(self, line: Line, texts: list[str], i: int, j: int, fact: FactKind) -> FactFound | None:
        """The value after a change of mind ("one ninety, no make that one ninety one")."""
        for item in line.items:
            if item.start < j:
                continue
            if item.start > j + 2 or item.quantity is not None or "state" in item.tags:
                return None
            if item.is_a("mend") or "command" in item.tags:
                again = next(
                    (x.end for x in line.items if x.start == item.end and (x.is_a("mend") or "command" in x.tags)), None
                )
                return self._value(line, texts, i, again or item.end, fact)
        return None

    def _value(self, line: Line, texts: list[str], i: int, j: int, fact: FactKind) -> FactFound | None:
        start = self._past_small(line, j)
        if fact.value == "spelled":
            return self._spelled(texts, i, j, start, fact)
        if fact.value == "month":
            date = read_build_date(texts, j) or read_build_date(texts, start)
            start = j if date is not None and date.start - j <= 1 else start
            if date is not None and date.year is not None and date.month is not None and date.start - start <= 1:
                return FactFound(fact.id, f"{date.year:04d}-{date.month:02d}", None, i, date.end)
        elif fact.value == "year":
            year = read_model_year(texts, start)
            if year is not None and year.year is not None and year.start - start <= 1:
                return FactFound(fact.id, year.year, None, i, year.end)
        elif fact.value == "choice":
            choice = self._choice(texts, start, fact)
            if choice is not None:
                return FactFound(fact.id, choice[0], None, i, choice[1])
        elif fact.value == "number" and self._is_odometer(fact):
            odometer = read_odometer(texts, start)
            if odometer is not None and odometer.start - start <= 1:
                unit, end = self._unit(texts, odometer.end, fact)
                return FactFound(fact.id, odometer.value, unit or self._implied(texts[i:j], fact), i, end)
        elif fact.value == "number":
            number = next((x.number for x in line.items if x.start == start and x.number is not None), None)
            if number is not None and number.kind in ("decimal", "fraction"):
                return FactFound(fact.id, number.value, fact.units[0], i, number.end)
            bare = number_at(texts, start, unit_follows=True)  # "diag point seven five"
            if bare is not None and bare.kind == "decimal" and 0 < bare.value < 1:
                return FactFound(fact.id, bare.value, fact.units[0], i, bare.end)
        elif fact.value == "text":
            return self._text(line, i, start, fact)
        return None

    def _is_odometer(self, fact: FactKind) -> bool:
        return any(self._lex.measures.get(u) == "odometer" for u in fact.units)

    def _implied(self, name: list[str], fact: FactKind) -> str | None:
        """The unit that a fact's name itself holds ("mileage")."""
        table = self._lex.units
        assert table is not None
        for word in name:
            for first, rows in table.by_first.items():
                if len(first) > _SHORTEST_UNIT and word.startswith(first):
                    return next((symbol for phrase, symbol in rows if len(phrase) == 1 and symbol in fact.units), None)
        return None

    def _past_small(self, line: Line, j: int) -> int:
        """The word after the small words that may stand between a name and its value."""
        steps = 0
        for item in line.items:
            if item.start < j:
                continue
            small = item.is_a(
                "labor", "filler", "link", "function", "hedge", "item", "approximate", "of", "determiner", "preposition"
            )
            if item.start != j or not small or item.number or item.quantity or steps >= _REACH:
                break
            if item.tags - {"word"} and item.is_a("item") is False and not item.is_a("link", "filler", "hedge"):
                break
            j = item.end
            steps += 1
        return j

    def _spelled(self, texts: list[str], i: int, named: int, start: int, fact: FactKind) -> FactFound | None:
        digits = read_digit_string(texts, start)
        spelled = read_spelled(texts, start)
        best: tuple[str, int, int] | None = None
        if digits is not None and digits.start - start <= 1:
            best = (digits.text, digits.start, digits.end)
        near = spelled is not None and spelled.start - start <= 1 and (best is None or spelled.end > best[2])
        if spelled is not None and near and (any(c.isdigit() for c in spelled.text) or len(spelled.text) >= 3):
            best = (spelled.text, spelled.start, spelled.end)
        if best is None:
            return None
        if not any(c.isdigit() for c in best[0]) and named == start and len(best[0]) < 3:
            return None
        return FactFound(fact.id, best[0], None, i, best[2])

    def _choice(self, texts: list[str], start: int, fact: FactKind) -> tuple[str, int] | None:
        if start >= len(texts):
            return None
        for words, choice, owner in self._choices.get(texts[start], ()):
            if owner is fact and tuple(texts[start : start + len(words)]) == words:
                return choice, start + len(words)
        return None

    def _text(self, line: Line, i: int, start: int, fact: FactKind) -> FactFound | None:
        """A name as said: up to two words that are none of the trade's or the grammar's."""
        end = start
        while end < len(line.words) and end < start + 2:
            item = next((x for x in line.items if x.start == end), None)
            if item is None or item.senses or item.quantity or item.number or item.end != end + 1:
                break
            if line.texts[end] in self._names or line.texts[end] in self._choices:
                break
            end = item.end
        if end == start:
            return None
        tokens = line.tokens
        words = line.words
        return FactFound(fact.id, (tokens[words[start].first].start, tokens[words[end - 1].last - 1].end), None, i, end)  # type: ignore[arg-type]

    def _unit(self, texts: list[str], j: int, fact: FactKind) -> tuple[str | None, int]:
        table = self._lex.units
        assert table is not None
        k = j + 1 if j < len(texts) and texts[j] in ("'s", "s") else j
        for phrase, symbol in table.by_first.get(texts[k] if k < len(texts) else "", ()):
            if tuple(texts[k : k + len(phrase)]) == phrase and symbol in fact.units:
                return symbol, k + len(phrase)
        return None, j

    def _year_first(self, texts: list[str], found: list[FactFound]) -> None:
        """ "Twenty eighteen model": the year before its name."""
        fact = next((f for f in self._lex.facts.values() if f.value == "year"), None)
        if fact is None or any(f.what == fact.id for f in found) or "model" not in texts:
            return
        for i in range(texts.index("model")):
            year = read_model_year(texts, i)
            if year is not None and year.start == i and year.end == texts.index("model") and year.year is not None:
                if not any(f.start < year.end and i < f.end for f in found):
                    found.append(FactFound(fact.id, year.year, None, i, year.end + 1))
                return

    def _odometer(self, line: Line, texts: list[str], found: list[FactFound]) -> None:
        """A distance in a unit that only odometers use ("two hundred and fourteen thousand kilometres")."""
        fact = self._odometer_fact
        if fact is None or any(f.what == fact.id for f in found):
            return
        for number in line.numbers:
            if any(f.start <= number.start < f.end for f in found):
                continue
            odometer = read_odometer(texts, number.start)
            if odometer is None or (odometer.value < 1000 and not any(t in texts for t in ("odometer",))):
                continue
            unit, end = self._unit(texts, odometer.end, fact)
            if unit is None and self._named_after(texts, odometer.end, fact) is None:
                continue
            end = self._named_after(texts, end, fact) or end
            unit = unit or self._implied(texts[odometer.end : end], fact)
            found.append(FactFound(fact.id, odometer.value, unit, odometer.start, end))
            return

    def _named_after(self, texts: list[str], j: int, fact: FactKind) -> int | None:
        for k in (j, j + 1):
            if k < len(texts):
                for words, named in self._names.get(texts[k], ()):
                    if named is fact and tuple(texts[k : k + len(words)]) == words:
                        return k + len(words)
        return None

    def _labor(self, line: Line, texts: list[str], found: list[FactFound]) -> None:
        """Hours are labor unless a test was said to run that long."""
        fact = next((f for f in self._lex.facts.values() if f.value == "number" and "h" in f.units), None)
        if fact is None:
            return
        testing = any(i.tags & {"method"} or i.is_a("test", "retest", "retest_verb", "test_verb") for i in line.items)
        cued = any(i.is_a("labor") for i in line.items) or any(
            tuple(texts[k : k + len(w)]) == w
            for k in range(len(texts)) for w, f in self._names.get(texts[k], ()) if f is fact
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

    def _color(self, line: Line, texts: list[str], found: list[FactFound]) -> None:
        """A color said of the vehicle alone: among facts, or as "the white one"."""
        fact = next((f for f in self._lex.facts.values() if f.value == "choice"), None)
        if fact is None or any(f.what == fact.id for f in found):
            return
        if self._choices.keys().isdisjoint(texts):
            return
        described = any(f.what != fact.id for f in found)
        named = any(i.tags & {"part", "state", "act", "method", "material", "place"} for i in line.items)
        for i, text in enumerate(texts):
            if text not in self._choices or any(f.start <= i < f.end for f in found):
                continue
            choice = self._choice(texts, i, fact)
            if choice is None:
                continue
            after = texts[choice[1]] if choice[1] < len(texts) else ""
            if not named and (described or after == "one" or len(texts) <= _SHORT_REMARK):
                found.append(FactFound(fact.id, choice[0], None, i, choice[1]))
                return


def _hours(q: QuantityMention) -> float | int:
    """A time in hours, as labor is written."""
    if q.unit == "h":
        return q.value
    return round(float(convert(float(q.value), q.unit, "h")), 3)
