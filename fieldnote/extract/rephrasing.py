"""Turns of phrase put plainly before a clause is read: "where the A goes through the B", "screws one and three".

Each takes the row of constituents and gives one that says the same in the order that the readers of clauses know.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from fieldnote.extract.constituent import Constituent
from fieldnote.extract.items import Item
from fieldnote.extract.lexicon import Lexicon
from fieldnote.extract.noun_phrases import Span, changed

_SMALL = ("skip", "determiner")
_VERBS = ("act", "method_verb", "test", "look", "handle", "find", "retest", "mask")
_LONGEST_TIE = 4
"""Constituents between the two names of "where the pillar comes down to meet the sill"."""


class Rephraser:
    """Puts rows plainly, with one lexicon."""

    def __init__(self, lexicon: Lexicon) -> None:
        self._lex = lexicon

    def plain(self, row: Sequence[Constituent]) -> list[Constituent]:
        """The row with all turns of phrase put plainly."""
        out = list(row)
        kinds, classes = {c.kind for c in out}, {name for c in out for name in c.item.classes}
        if "source_at" in kinds:
            out = self._observed(out)
        if "which" in classes:
            out = self._without_which(out)
        if "where" in classes:
            out = self._without_where(out)
        if "not_yet" in classes:
            out = self._without_not_yet(out)
        if "negator" in kinds:
            out = self._denied_material(out)
        if "number" in kinds:
            out = self._numbered(out)
        return self._spoken_of(out)

    # -- "a leak was observed" ----------------------------------------------------------------------------------

    def _observed(self, row: list[Constituent]) -> list[Constituent]:
        """ "No leak was observed": a result, though "leak was" begins a cause elsewhere."""
        out: list[Constituent] = []
        for i, c in enumerate(row):
            follows = row[i + 1] if i + 1 < len(row) else None
            seen = follows is not None and (follows.kind == "find" or follows.is_a("shown"))
            seen = seen or (i > 0 and row[i - 1].kind == "negator")
            senses = tuple(s for s in self._lex.find((c.item.text.split(" ")[0],)) if s.tag == "state")
            if c.kind != "source_at" or not seen or not senses or c.end - c.start != 2:
                out.append(c)
                continue
            item = Item(c.start, c.start + 1, c.item.text.split(" ")[0], senses, frozenset(), frozenset({"state"}))
            link = Item(c.start + 1, c.end, c.item.text.split(" ")[1], (), frozenset({"link"}), frozenset({"word"}))
            out += [
                Constituent("state", item.start, item.end, item, None, senses[0]),
                Constituent("link", link.start, link.end, link),
            ]
        return out

    # -- "which" ------------------------------------------------------------------------------------------------

    def _without_which(self, row: list[Constituent]) -> list[Constituent]:
        """ "The gasket, which I kept for you, was torn" without what is told in passing."""
        out: list[Constituent] = []
        i = 0
        while i < len(row):
            c = row[i]
            before = next((x for x in reversed(out) if x.kind not in _SMALL), None)
            end = (
                self._told_in_passing(row, i)
                if c.is_a("which") and before is not None and before.kind == "thing"
                else None
            )
            placed = self._placed_by(row, i) if before is not None and before.kind == "thing" else 0
            if placed:
                i = placed  # "the plug that was in the floor": the plug in the floor
            elif end is None:
                out.append(c)
                i += 1
            else:
                i = end
        return out

    def _placed_by(self, row: Sequence[Constituent], i: int) -> int:
        """The preposition of a clause that only says where a thing is; 0 where it says more, or nothing follows."""
        j = _past(row, i + 1, ("skip",))
        if not row[i].is_a("which") or j >= len(row) or row[j].kind != "link":
            return 0
        prep = _past(row, j + 1, ("skip",))
        k = _past(row, prep + 1, _SMALL)
        if k >= len(row) or row[prep].kind not in ("preposition", "away", "to_place") or row[k].kind != "thing":
            return 0
        return prep if any(x.kind == "link" for x in row[k + 1 : k + 3]) else 0

    def _told_in_passing(self, row: Sequence[Constituent], i: int) -> int | None:
        """Where the statement goes on after a clause that says nothing of the trade; None where it says something."""
        j = _past(row, i + 1, ("skip",))
        first = row[j].kind if j < len(row) else ""
        told_by = first in ("others", "subject", "pronoun")
        if not told_by and first not in ("link", "unknown", "handle", "preposition"):
            return None
        verbs = int(first == "link")
        for k in range(j + 1, len(row)):
            x = row[k]
            if x.kind in ("and", "or", "but", "then", "source_at", "there_is", "take_back", "mend"):
                return k if told_by and verbs else None
            if x.kind == "state" or (x.kind == "quantity" and not told_by):
                return None
            if x.kind in ("act", "method_verb") and first != "others" and told_by:
                return None  # "the trim, which I took off, had a stain": work of ours
            if x.kind == "link" and not x.item.text.startswith(("go", "sit", "run")):
                if verbs and self._says(row, k + 1):
                    return k
                verbs += 1
            elif x.kind in ("is_source", "negator") and verbs:
                return k
            elif told_by and x.kind in (*_VERBS, "unknown"):
                verbs += 1
            elif told_by and verbs and x.kind == "thing" and row[k - 1].kind == "determiner":
                return k - 1
        return len(row) if told_by and verbs else None

    def _says(self, row: Sequence[Constituent], j: int) -> bool:
        """Whether something is said of a thing from ``j`` on."""
        j = _past(row, j, ("skip", "negator", "hedge", "determiner", "again"))
        return j < len(row) and row[j].kind in ("state", "act", "find", "is_source", "thing", "quantity")

    # -- "where" ------------------------------------------------------------------------------------------------

    def _without_where(self, row: list[Constituent]) -> list[Constituent]:
        """ "The boot where the harness goes through the left hinge" is the boot at the left hinge."""
        out: list[Constituent] = []
        i = 0
        while i < len(row):
            c = row[i]
            told = self._where_told(row, i) if c.is_a("where") else None
            if told is None:
                out.append(c)
                i += 1
                continue
            thing, i = told
            if thing is not None:
                out += [_as(c, "preposition"), thing]
        return out

    def _where_told(self, row: Sequence[Constituent], i: int) -> tuple[Constituent | None, int] | None:
        """The name that tells where, and the constituent after the clause; None where it is no such clause."""
        j = _past(row, i + 1, _SMALL)
        first = row[j] if j < len(row) else None
        if first is None or first.kind not in ("thing", "pronoun"):
            return None
        k, ties = j + 1, 0
        while (
            k < len(row)
            and ties < _LONGEST_TIE
            and row[k].kind
            in ("unknown", "link", "preposition", "to_place", "handle", "skip", "determiner", "away", "of", "off")
        ):
            if row[k].kind == "link" and not row[k].item.text.startswith(("go", "sit", "run", "come", "came", "went")):
                return None
            k, ties = k + 1, ties + (row[k].kind not in _SMALL)
        second = row[k] if k < len(row) and row[k].kind == "thing" and ties else None
        head = next((c for c in reversed(row[:i]) if c.kind not in _SMALL), None)
        follows = row[k + 1] if second is not None and k + 1 < len(row) else None
        spoken = follows is not None and follows.kind in ("link", "state", "act")
        if not ties or (spoken and i and (head is None or head.kind not in ("thing", "state"))):
            return None
        end = k + 1 if second is not None else k
        before = next((c for c in reversed(row[:i]) if c.kind not in _SMALL), None)
        named = before is not None and before.thing is not None and before.thing.part is not None
        if first.thing is not None and first.thing.named:
            if second is not None and second.thing is not None and not first.thing.side and second.thing.side:
                first = replace(first, thing=changed(first.thing, side=second.thing.side))
            return first, end
        if second is not None and second.thing is not None and (second.thing.named or first.kind == "pronoun"):
            return second, end
        return (None if named or first.kind == "pronoun" else first), end

    # -- "before I" ---------------------------------------------------------------------------------------------

    def _without_not_yet(self, row: list[Constituent]) -> list[Constituent]:
        """ "Before I pull the headliner": what was not done yet."""
        out: list[Constituent] = []
        i = 0
        while i < len(row):
            c = row[i]
            if not c.is_a("not_yet"):
                out.append(c)
                i += 1
                continue
            j = _past(row, i + 1, (*_SMALL, "plan", "unknown", "to"))
            verb = row[j] if j < len(row) else None
            done = verb is not None and verb.sense is not None and verb.sense.form in ("past", "participle")
            open_state = (
                verb is not None
                and verb.kind == "state"
                and j + 1 < len(row)
                and row[j + 1].kind in ("determiner", "thing")
            )
            if verb is None or (verb.kind not in _VERBS and not open_state) or done:
                i += 1
                continue
            k = _past(row, j + 1, (*_SMALL, "preposition", "to_place", "again", "particle"))
            i = k + 1 if k < len(row) and row[k].kind in ("thing", "pronoun") else j + 1
            if (
                i == k + 1
                and row[k].kind == "thing"
                and not any(x.thing is not None and x.thing.material is None for x in row[i:])
            ):
                out += [row[k], _as(c, "then")]  # "before I seal the trough I clean it"
        return out

    # -- "hasn't got any sealer" --------------------------------------------------------------------------------

    def _denied_material(self, row: list[Constituent]) -> list[Constituent]:
        """ "Hasn't got any sealer on it" is what the pack says of "no sealer"."""
        out = list(row)
        for i, c in enumerate(row):
            if c.kind != "negator":
                continue
            j = i + 1
            while j < len(row) and (
                row[j].kind in ("skip", "link", "handle", "there_is", "find") or row[j].item.text in ("a", "an")
            ):
                j += 1
            thing = row[j].thing if j < len(row) else None
            if (
                thing is None
                or thing.material is None
                or thing.named
                or thing.side
                or (j == i + 1 and c.item.text == "not")
            ):
                continue
            text = tuple(row[j].item.text.split(" "))
            senses = tuple(s for s in self._lex.find(("no", *text)) if s.tag == "state")
            follows = row[j + 1] if j + 1 < len(row) else None
            if not senses or (follows is not None and follows.kind in ("link", "state", "act")):
                continue
            item = Item(row[j].start, row[j].end, row[j].item.text, senses, frozenset(), frozenset({"state"}))
            out[i] = _as(c, "skip")
            out[j] = Constituent("state", row[j].start, row[j].end, item, None, senses[0])
            for k in range(i + 1, j):
                if row[k].kind == "handle":
                    out[k] = _as(row[k], "link")
        return out

    # -- "screws one and three" ---------------------------------------------------------------------------------

    def _numbered(self, row: list[Constituent]) -> list[Constituent]:
        """ "Screws one and three are loose": each of them a thing of its own."""
        out: list[Constituent] = []
        i = 0
        while i < len(row):
            c = row[i]
            found = self._numbers_after(row, i) if c.kind == "thing" and c.thing is not None else None
            if found is None:
                out.append(c)
                i += 1
                continue
            numbers, i = found
            assert c.thing is not None
            if c.thing.item is not None:
                out.append(c)
            for n, number in enumerate(numbers):
                if n or c.thing.item is not None:
                    out.append(
                        Constituent(
                            "and",
                            number.start,
                            number.start,
                            replace(number.item, classes=frozenset({"and"}), number=None),
                        )
                    )
                value = number.item.number.value if number.item.number is not None else None
                thing = changed(
                    c.thing,
                    item=value,
                    halves=None,
                    end=number.end,
                    spans=(*c.thing.spans, Span(number.start, number.end, "item")),
                )
                out.append(Constituent("thing", c.start if not n else number.start, number.end, c.item, thing))
        return out

    def _numbers_after(self, row: Sequence[Constituent], i: int) -> tuple[list[Constituent], int] | None:
        """Two or more numbers behind a thing of which there are many, and what is said of them behind those."""
        thing, words = row[i].thing, row[i].item.text
        many = words.endswith("s") or row[i].end - row[i].start > 1
        if thing is None or (thing.part is None and thing.part_word < 0) or not many:
            return None
        numbers: list[Constituent] = []
        j = i + 1
        while j < len(row) and (_small_number(row[j]) or row[j].kind == "and" or row[j].is_a("item")):
            if _small_number(row[j]):
                numbers.append(row[j])
            elif row[j].kind == "and" and not numbers and thing.item is None:
                return None
            j += 1
        if len(numbers) + (thing.item is not None) < 2 or row[j - 1].kind == "and" or row[j - 1].is_a("item"):
            return None
        if thing.item is not None and not any(r.kind == "and" for r in row[i + 1 : j]):
            return None
        follows = row[j] if j < len(row) else None
        if follows is not None and follows.kind not in (
            "link",
            "state",
            "act",
            "hedge",
            "negator",
            "preposition",
            "and",
            "then",
            "skip",
        ):
            return None
        return numbers, j

    # -- "the hole was never sealed" ----------------------------------------------------------------------------

    def _spoken_of(self, row: list[Constituent]) -> list[Constituent]:
        """ "The hole behind it was never sealed": a fault that is only what something else is said of."""
        out = list(row)
        for i, c in enumerate(row):
            finding = c.item.finding if c.kind == "state" and c.item.sense("state", "noun") is not None else None
            if finding is None or finding.get("evidence") or finding.get("test") or not i:
                continue
            owner = row[i - 3].thing if i > 2 else None
            if owner is not None and owner.bare and row[i - 2].kind == "of":
                out[i - 2 : i + 1] = [_as(x, "skip") for x in row[i - 2 : i + 1]]  # "the upper corner of the opening"
                continue
            if (
                row[i - 1].kind != "determiner"
                or row[i - 1].item.text in ("a", "an", "another")
                or row[i - 1].end != c.start
            ):
                continue
            j = i + 1
            while j < len(row) and row[j].kind in ("preposition", "determiner", "skip", "thing", "pronoun", "of"):
                j += 1
            if j >= len(row) or row[j].kind != "link" or row[j].item.text in ("has", "have", "had", "'s got", "got"):
                continue
            j = _past(row, j + 1, ("skip", "negator", "hedge", "again"))
            said = row[j] if j < len(row) else None
            if said is None or said.kind not in ("state", "act"):
                continue
            adjective = said.kind == "act" or (
                said.item.sense("state", "adj") is not None
                and bool(said.item.finding and said.item.finding.get("check"))
            )
            if adjective and (said.kind == "act" or said.item.finding != finding):
                out[i] = _as(c, "skip")
        return out


def _past(row: Sequence[Constituent], j: int, kinds: tuple[str, ...]) -> int:
    """The first constituent from ``j`` on that is of none of these kinds."""
    while j < len(row) and row[j].kind in kinds:
        j += 1
    return j


def _as(c: Constituent, kind: str) -> Constituent:
    """The same words as a constituent of another kind."""
    return Constituent(kind, c.start, c.end, c.item, None, c.sense)


def _small_number(c: Constituent) -> bool:
    number = c.item.number
    return c.kind == "number" and number is not None and isinstance(number.value, int) and 0 < number.value < 100
