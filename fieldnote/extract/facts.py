"""Facts about the job: numbers, dates and names that belong to the vehicle or the visit, and the complaint."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from fieldnote.extract.dates import read_model_year
from fieldnote.extract.digit_strings import read_odometer
from fieldnote.extract.fact_values import FactFound, FactValues
from fieldnote.extract.items import Item, Line
from fieldnote.extract.labor import LaborFinder
from fieldnote.extract.lexicon import NUMBER_WORDS, Lexicon
from fieldnote.extract.spelled import spelling_table
from fieldnote.extract.vin import VinMention, VinReading, continue_vin, find_vin

VIN_LENGTH = 17
_SHORTEST_VIN_PIECE = 2
_VIN_NAME_REACH = 6
# How sure a VIN is by what its check digit says.
VIN_SURE = {"valid": 1.0, "unchecked": 0.9, "wrong": 0.5, "incomplete": 0.3, "too-long": 0.3, "none": 0.0}
_SPELLED_LEAST = 4
_GLUED_LEAST = 8
_SHORT_REMARK = 6
_CUSTOMER_REACH = 7


class FactFinder:
    """Finds facts in utterances, with one lexicon."""

    def __init__(self, lexicon: Lexicon) -> None:
        self._lex = lexicon
        self._values = FactValues(lexicon)
        self._labor = LaborFinder(lexicon, self._values)
        self._odometer_fact = next((f for f in lexicon.facts.values() if self._values.is_odometer(f)), None)
        self._spelling_words = frozenset(spelling_table().words) | NUMBER_WORDS

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
            if texts[i] not in self._values.names or (found and any(f.start <= i < f.end for f in found)):
                i += 1
                continue
            fact = self._named(line, texts, i, found)
            if fact is not None:
                found.append(fact)
                i = fact.end
            else:
                i += 1
        self._year_first(texts, found)
        self._year_alone(line, found)
        if any(i.number is not None or i.quantity is not None for i in line.items):
            self._odometer(line, texts, found)
            self._labor.find(line, texts, found)
        self._color(line, texts, found)
        return sorted(found, key=lambda f: f.start)

    def _vin(self, texts: list[str], found: list[FactFound], mention: VinMention | None) -> None:
        fact = next((f for f in self._lex.facts.values() if f.value == "vin"), None)
        if fact is None or mention is None or len(mention.reading.vin) != VIN_LENGTH:
            return
        start = mention.start
        for k in range(max(0, start - _VIN_NAME_REACH), start):
            for words, named in self._values.names.get(texts[k], ()):
                if named is fact and tuple(texts[k : k + len(words)]) == words:
                    start = min(start, k)
        reading = mention.reading
        sure = VIN_SURE.get(reading.status, 0.5)
        # Where makers need no check digit, one that does not fit is a warning, and no slip explains it.
        slip = reading.proposal if reading.status == "wrong" else None
        said = [w for w in reading.warnings if not w.endswith("proposed only")]
        said += [f"{slip.instead} for {slip.heard} at position {slip.position} would make it right"] if slip else []
        odd = "; ".join(said) if reading.status != "valid" else None
        proposed = slip.vin if slip is not None else None
        found.append(FactFound(fact.id, reading.vin, None, start, mention.end, sure, odd or None, proposed))

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
        for words, fact in self._values.names.get(texts[i], ()):
            if tuple(texts[i : i + len(words)]) != words:
                continue
            value = self._values.value(line, texts, i, i + len(words), fact)
            better = self._values.mended(line, texts, i, value.end if value else i + len(words), fact)
            value = better or value
            if value is not None and not any(f.start < value.end and value.start < f.end for f in found):
                return value
        return None

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

    def _year_alone(self, line: Line, found: list[FactFound]) -> None:
        """ "It's a twenty seventeen": a year behind an article, at the end of a short sentence without things."""
        fact = next((f for f in self._lex.facts.values() if f.value == "year"), None)
        article = next((n for n, i in enumerate(line.items) if i.text in ("a", "an")), None)
        if fact is None or article is None or found or len(line.texts) > _SHORT_REMARK:
            return
        if any(i.tags - {"word"} or i.quantity is not None for i in line.items):
            return
        start = line.items[article].end
        year = read_model_year(line.texts, start)
        if year is not None and year.year is not None and year.start == start and year.end == len(line.texts):
            found.append(FactFound(fact.id, year.year, None, start, year.end))

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
            unit, end = self._values.unit(texts, odometer.end, fact)
            if unit is None and self._values.named_after(texts, odometer.end, fact) is None:
                continue
            end = self._values.named_after(texts, end, fact) or end
            unit = unit or self._values.implied(texts[odometer.end : end], fact)
            found.append(FactFound(fact.id, odometer.value, unit, odometer.start, end))
            return

    def _color(self, line: Line, texts: list[str], found: list[FactFound]) -> None:
        """A color said of the vehicle alone: among facts, or as "the white one"."""
        fact = next((f for f in self._lex.facts.values() if f.value == "choice"), None)
        if fact is None or any(f.what == fact.id for f in found):
            return
        if self._values.choices.keys().isdisjoint(texts):
            return
        described = any(f.what != fact.id for f in found)
        named = any(i.tags & {"part", "state", "act", "method", "material", "place"} for i in line.items)
        for i, text in enumerate(texts):
            if text not in self._values.choices or any(f.start <= i < f.end for f in found):
                continue
            choice = self._values.choice(texts, i, fact)
            if choice is None:
                continue
            after = texts[choice[1]] if choice[1] < len(texts) else ""
            if not named and (described or after == "one" or len(texts) <= _SHORT_REMARK):
                found.append(FactFound(fact.id, choice[0], None, i, choice[1]))
                return
