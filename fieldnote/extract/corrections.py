"""What changes earlier entries: corrections, take-backs, and "the same on the right"."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from fieldnote.extract.compose import Composer
from fieldnote.extract.constituent import Constituent
from fieldnote.extract.draft import Draft
from fieldnote.extract.lexicon import Lexicon
from fieldnote.extract.noun_phrases import Thing
from fieldnote.extract.origins import entry_id, heard, origin
from fieldnote.extract.state import Focus
from fieldnote.extract.units import QuantityMention
from fieldnote.records import Entry, Quantity

_OTHER = {"left": "right", "right": "left"}


class Corrector:
    """Applies spoken corrections to what is remembered."""

    def __init__(self, lexicon: Lexicon, composer: Composer) -> None:
        self._lex = lexicon
        self._composer = composer

    def take_back(self, draft: Draft, said: Sequence[str]) -> None:
        """Withdraw the entries with these ids; the thing spoken of stays."""
        for id in said:
            draft.withdraw(id)

    def meant(self, draft: Draft, row: Sequence[Constituent]) -> Sequence[str]:
        """The utterance that a correction is about, as ids of its entries: the last one.

        A breath cuts what is said into utterances, so that one which names a part the last did not speak of is about
        the newest before it that did.
        """
        thing = row[0].thing if row and row[0].kind == "thing" else None
        if thing is None or thing.part is None or (thing.item is None and thing.side is None and len(row) < 2):
            return draft.last_said
        for said in (draft.last_said, *draft.said_before):
            if any(e is not None and e.part == thing.part for e in map(draft.find, said)):
                return said
        return draft.last_said

    def correct(self, draft: Draft, row: Sequence[Constituent], said: Sequence[str]) -> bool:
        """Change what the utterance before gave by the things, findings and measures in ``row``; whether it did."""
        entries = [e for e in (draft.find(id) for id in said) if e is not None and e.kind != "fact"]
        if not entries:
            return False
        pairs = [c for c in row if c.kind in ("thing", "state", "quantity", "number", "method")]
        if not pairs:
            return False
        origins = tuple(self._origin(draft, c) for c in pairs)
        targets, pairs = self._selected(entries, pairs)
        done = False
        for entry in targets:
            changed = self._corrected(draft, entry, pairs, targets)
            if changed != entry:
                changed = replace(changed, origins=(*entry.origins, *origins))
                draft.change(changed)
                done = True
        if done:
            last = draft.find(targets[-1].id)
            if last is not None and last.kind != "plan":
                draft.focus = Focus(last.place, last.part, last.side)
        return done

    def _origin(self, draft: Draft, c: Constituent):  # type: ignore[no-untyped-def]
        words, tokens = draft.line.words, draft.line.tokens
        return origin(
            draft.utterance, tokens[words[c.start].first].start, tokens[words[c.end - 1].last - 1].end, "correction"
        )

    def _selected(self, entries: list[Entry], pairs: list[Constituent]) -> tuple[list[Entry], list[Constituent]]:
        """ "Left is fifty": where a measure follows, the thing before it only tells which entry is meant."""
        if len(pairs) >= 2 and pairs[0].kind == "thing" and pairs[-1].kind in ("quantity", "number"):
            thing = pairs[0].thing
            assert thing is not None
            chosen = [
                e for e in entries
                if (thing.side is None or e.side == thing.side) and (thing.part is None or e.part == thing.part)
            ]  # fmt: skip
            if chosen:
                return chosen, pairs[1:]
        return self._of_named_part(entries, pairs)

    def _of_named_part(self, entries: list[Entry], pairs: list[Constituent]) -> tuple[list[Entry], list[Constituent]]:
        """ "Screw number four": a part that was named before tells which entry is meant, and the rest is what changes.

        Entries that share its number do so because it carried to them, so they change with it.
        """
        thing = pairs[0].thing if len(pairs) == 1 else None
        if thing is None or thing.part is None or (thing.item is None and thing.side is None and not thing.at):
            return entries, pairs
        named = [e for e in entries if e.part == thing.part]
        if not named:
            return entries, pairs
        numbers = {e.item for e in named} - {None} if thing.item is not None else set()
        chosen = [e for e in entries if e.part == thing.part or e.item in numbers]
        return chosen, [replace(pairs[0], thing=replace(thing, part=None))]

    def _corrected(self, draft: Draft, entry: Entry, pairs: Sequence[Constituent], targets: Sequence[Entry]) -> Entry:
        for c in pairs:
            if c.kind == "thing" and c.thing is not None:
                entry = self._by_thing(draft, entry, c.thing, targets)
            elif c.kind == "state":
                finding = c.item.finding
                kind = self._composer.finding_kind(finding, entry) if finding else None
                if kind and kind[0] == entry.kind:
                    entry = replace(entry, state=kind[1])
            elif c.kind == "quantity":
                entry = self._by_quantity(entry, c, targets)
            elif c.kind == "method" and entry.kind == "test" and c.sense is not None:
                entry = replace(entry, method=c.sense.value)
            elif c.kind == "number":
                entry = self._by_number(entry, c, targets)
        return entry

    def _by_thing(self, draft: Draft, entry: Entry, thing: Thing, targets: Sequence[Entry]) -> Entry:
        place, part, side = self._composer.where(draft, thing, Focus(entry.place, entry.part, entry.side))
        if thing.material is not None and entry.kind == "repair" and entry.material is not None:
            return replace(entry, material=thing.material)
        if thing.named and place is not None and place != entry.place:
            entry = replace(entry, place=place)
        if thing.side is not None:
            entry = replace(entry, side=side)  # type: ignore[arg-type]
        if thing.part is not None and (len(targets) == 1 or entry is targets[-1] or entry.part is not None):
            entry = replace(entry, part=part)
        if thing.at:
            entry = replace(entry, at=thing.at)
        if thing.item is not None and (entry.item is not None or all(t.item is None for t in targets)):
            entry = replace(entry, item=thing.item)
        return entry

    def _by_quantity(self, entry: Entry, c: Constituent, targets: Sequence[Entry]) -> Entry:
        q = c.item.quantity
        assert q is not None
        dimension = self._lex.measures.get(q.unit)
        for old in entry.quantities:
            if self._lex.measures.get(old.unit) == dimension:
                new = Quantity(old.what, q.value, q.unit)
                return replace(entry, quantities=tuple(new if x is old else x for x in entry.quantities))
        if any(self._lex.measures.get(x.unit) == dimension for t in targets for x in t.quantities):
            return entry
        if entry.id != targets[-1].id:
            return entry
        what = {"length": "length", "time": "duration"}.get(dimension or "", dimension or "")
        if entry.kind == "test" and dimension == "time" and entry.state == self._lex.test_states[0]:
            what = "time-to-leak"
        return replace(entry, quantities=(*entry.quantities, Quantity(what, q.value, q.unit))) if what else entry

    def _by_number(self, entry: Entry, c: Constituent, targets: Sequence[Entry]) -> Entry:
        number = c.item.number
        assert number is not None
        if entry.item is not None and isinstance(number.value, int):
            return replace(entry, item=number.value)
        if len(entry.quantities) == 1:
            old = entry.quantities[0]
            return replace(entry, quantities=(Quantity(old.what, number.value, old.unit),))
        return entry

    def _measure_test(self, draft: Draft, test: Entry, c: Constituent, q: QuantityMention, *, lasting: bool) -> bool:
        """How long a test ran, or how soon it leaked, told in a breath of its own."""
        what = self._lex.measures[q.unit]
        if what == "time":
            leaked = test.state == self._lex.test_states[0] and not lasting and q.unit != "h"
            what = "time-to-leak" if leaked else "duration"
        if any(old.what == what for old in test.quantities):
            return False
        quantities = (*test.quantities, Quantity(what, q.value, q.unit))
        draft.change(replace(test, quantities=quantities, origins=(*test.origins, self._origin(draft, c))))
        return True

    def measure(self, draft: Draft, c: Constituent, *, lasting: bool = False) -> bool:
        """Add a measure to the last entry, where it is one that can have such a measure and has none."""
        q = c.item.quantity
        last = next((e for e in reversed(draft.recent) if e.kind not in ("fact", "plan")), None)
        if q is None or last is None:
            return False
        if last.kind == "test" and self._lex.measures.get(q.unit) in ("time", "pressure"):
            return self._measure_test(draft, last, c, q, lasting=lasting)
        if last.id not in draft.last_said:
            return False
        if self._lex.measures.get(q.unit) != "length" or last.kind not in ("check", "evidence") or last.quantities:
            return False
        quantities = (Quantity("length", q.value, q.unit),)
        draft.change(replace(last, quantities=quantities, origins=(*last.origins, self._origin(draft, c))))
        return True

    def repeat(self, draft: Draft, thing: Thing | None, start: int, end: int) -> Entry | None:
        """The last entry again, on the side or at the place now named; None where there is nothing to repeat."""
        last = next((e for e in reversed(draft.recent) if e.kind not in ("fact", "plan")), None)
        if last is None:
            return None
        side, place, part = last.side, last.place, last.part
        item = last.item
        if thing is not None:
            if thing.side is not None:
                side = thing.side  # type: ignore[assignment]
            elif thing.other_side:
                side = _OTHER.get(last.side or "", last.side)  # type: ignore[assignment]
            if thing.named or thing.part:
                new_place, new_part, new_side = self._composer.where(draft, thing, Focus(place, part, side))
                if new_place != place:
                    place = new_place
                    side = new_side  # type: ignore[assignment]
                part = new_part or part
            if thing.item is not None:
                item = thing.item
        if (side, place, part, item) == (last.side, last.place, last.part, last.item):
            return None
        words, tokens = draft.line.words, draft.line.tokens
        head = origin(draft.utterance, tokens[words[start].first].start, tokens[words[end - 1].last - 1].end, "head")
        origins = (head, *(replace(o, role="repeat") if o.role == "head" else o for o in last.origins))
        entry = replace(
            last, side=side, place=place, part=part, item=item, origins=origins,
            quote=draft.utterance.text[head.start : head.end], heard_from=None, heard_to=None,
        )  # fmt: skip
        entry = heard(replace(entry, id=entry_id(draft, entry, (head,))), draft)
        draft.put(entry)
        self._composer.carry(draft, entry)
        return entry
