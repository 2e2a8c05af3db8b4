"""What stands behind a fact's name: its number, date, spelled characters, choice or name, read as the pack says."""

from __future__ import annotations

from dataclasses import dataclass

from fieldnote.extract.dates import read_build_date, read_model_year
from fieldnote.extract.digit_strings import read_digit_string, read_odometer
from fieldnote.extract.items import Line
from fieldnote.extract.lexicon import Lexicon
from fieldnote.extract.numbers import number_at
from fieldnote.extract.spelled import read_spelled
from fieldnote.extract.tokens import fold
from fieldnote.vocabulary.pack import FactKind

_REACH = 4
"""How many small words may stand between a fact's name and its value."""
_SHORTEST_UNIT = 3


@dataclass(frozen=True, slots=True)
class FactFound:
    """A fact in words ``start:end``; ``text_from`` is where a complaint's own words begin."""

    what: str
    value: str | float | int
    unit: str | None
    start: int
    end: int
    sure: float = 1.0
    odd: str | None = None
    """What is odd about the value as heard."""
    proposed: str | None = None
    """The value that was probably meant; never taken unasked."""


class FactValues:
    """Reads the values of named facts, with one lexicon. ``names`` and ``choices``: rows by their first word."""

    def __init__(self, lexicon: Lexicon) -> None:
        self._lex = lexicon
        self._after = {
            fact.id: tuple(tuple(lexicon.respelled.get(w, w) for w in fold(p)) for p in fact.after)
            for fact in lexicon.facts.values()
        }
        self.names: dict[str, list[tuple[tuple[str, ...], FactKind]]] = {}
        for fact in lexicon.facts.values():
            if fact.value == "text" and fact.id == "complaint":
                continue
            for phrase in fact.say:
                words = tuple(lexicon.respelled.get(w, w) for w in fold(phrase))
                if words:
                    self.names.setdefault(words[0], []).append((words, fact))
        for rows in self.names.values():
            rows.sort(key=lambda row: -len(row[0]))
        self.choices: dict[str, list[tuple[tuple[str, ...], str, FactKind]]] = {}
        for fact in lexicon.facts.values():
            for choice in fact.choices:
                words = tuple(lexicon.respelled.get(w, w) for w in fold(choice))
                self.choices.setdefault(words[0], []).append((words, choice, fact))
        for choices in self.choices.values():
            choices.sort(key=lambda row: -len(row[0]))

    def value(self, line: Line, texts: list[str], i: int, j: int, fact: FactKind) -> FactFound | None:
        """The value of the fact whose name stands in words ``i:j``; None where none is read there."""
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
            choice = self.choice(texts, start, fact)
            if choice is not None:
                return FactFound(fact.id, choice[0], None, i, choice[1])
        elif fact.value == "number" and self.is_odometer(fact):
            odometer = read_odometer(texts, start)
            if odometer is not None and odometer.start - start <= 1:
                unit, end = self.unit(texts, odometer.end, fact)
                return FactFound(fact.id, odometer.value, unit or self.implied(texts[i:j], fact), i, end)
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

    def mended(self, line: Line, texts: list[str], i: int, j: int, fact: FactKind) -> FactFound | None:
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
                return self.value(line, texts, i, again or item.end, fact)
        return None

    def is_odometer(self, fact: FactKind) -> bool:
        """Whether the fact is a distance driven."""
        return any(self._lex.measures.get(u) == "odometer" for u in fact.units)

    def implied(self, name: list[str], fact: FactKind) -> str | None:
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

    def choice(self, texts: list[str], start: int, fact: FactKind) -> tuple[str, int] | None:
        """The choice named at word ``start`` and the word after it."""
        if start >= len(texts):
            return None
        for words, choice, owner in self.choices.get(texts[start], ()):
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
            if line.texts[end] in self.names or line.texts[end] in self.choices:
                break
            end = item.end
        if end == start or not self._stands_alone(line, i, start, end):
            return None
        tokens = line.tokens
        words = line.words
        return FactFound(fact.id, (tokens[words[start].first].start, tokens[words[end - 1].last - 1].end), None, i, end)  # type: ignore[arg-type]

    def _stands_alone(self, line: Line, i: int, start: int, end: int) -> bool:
        """Whether a name behind one word ("tech Ivo") is no part of a sentence ("the last tech glued it")."""
        if start - i > 1 or any(x.end == start and x.start > i for x in line.items):
            return True
        before = [x for x in line.items if x.end <= i and not x.is_a("filler", "opener", "and")]
        after = next((x for x in line.items if x.start >= end), None)
        led = not before or before[-1].number is not None or not before[-1].senses
        return led and (
            after is None or after.is_a("filler", "and", "function") or line.texts[after.start] in self.names
        )

    def unit(self, texts: list[str], j: int, fact: FactKind) -> tuple[str | None, int]:
        """Symbol of the unit at word ``j``, one of the fact's, and the word after it."""
        table = self._lex.units
        assert table is not None
        k = j + 1 if j < len(texts) and texts[j] in ("'s", "s") else j
        for phrase, symbol in table.by_first.get(texts[k] if k < len(texts) else "", ()):
            if tuple(texts[k : k + len(phrase)]) == phrase and symbol in fact.units:
                return symbol, k + len(phrase)
        return None, j

    def named_after(self, texts: list[str], j: int, fact: FactKind) -> int | None:
        """The word after a name of the fact that stands at word ``j`` or the next, behind its value."""
        for words in self._after.get(fact.id, ()):
            if tuple(texts[j : j + len(words)]) == words:
                return j + len(words)
        for k in (j, j + 1):
            if k < len(texts):
                for words, named in self.names.get(texts[k], ()):
                    if named is fact and tuple(texts[k : k + len(words)]) == words:
                        return k + len(words)
        return None
