"""What all composers of entries share: where, how much, and how an entry is finished and carried on."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from fieldnote.extract.draft import Draft
from fieldnote.extract.frames import Frame, Measure
from fieldnote.extract.lexicon import Finding, Lexicon
from fieldnote.extract.meanings import Meanings
from fieldnote.extract.noun_phrases import Thing
from fieldnote.extract.origins import entry_id, heard, origins_of, quote_of
from fieldnote.extract.state import Focus
from fieldnote.extract.whereabouts import Whereabouts
from fieldnote.records import Entry, Quantity


class ComposerBase:
    """Shared by the composers of one kind of entry each."""

    def __init__(self, lexicon: Lexicon) -> None:
        self._lex = lexicon
        self._leak, self._dry = lexicon.test_states
        self._whereabouts = Whereabouts(lexicon)
        self._meanings = Meanings(lexicon)

    def where(self, draft: Draft, thing: Thing, base: Focus) -> tuple[str | None, str | None, str | None]:
        """Place, part and side of a thing, seen from ``base``."""
        return self._whereabouts.where(draft, thing, part=base.part, base=base)

    def finding_kind(self, finding: Finding, entry: Entry) -> tuple[str, str] | None:
        """Kind and id of a finding, said of what an entry is about."""
        return self._meanings.finding_kind(finding, entry)

    def _topic(self, draft: Draft, frame: Frame) -> None:
        for thing in [frame.thing, *frame.more]:
            if thing is None:
                continue
            place, _part, side = self._whereabouts.where(draft, thing, part=None)
            draft.focus = Focus(place, thing.part, side)
            draft.topic = Focus(place, None, side)
            draft.visit(place)

    def _item(self, draft: Draft, frame: Frame, thing: Thing | None, place: str | None) -> int | None:
        """The number of the one of many; one said before in the sentence holds while its place is spoken of.

        Full stops are not heard, so that another part belongs to the sentence where an "and" ties it to the first.
        """
        if thing is not None and thing.item is not None:
            draft.item, draft.item_part = thing.item, thing.part
        elif draft.item is not None and (
            (thing is not None and thing.named)
            or place != draft.focus.place
            or (thing is not None and thing.part not in (None, draft.item_part) and not self._tied(draft, thing.start))
        ):
            draft.item = None
        draft.item_end = max(draft.item_end, frame.end)
        return draft.item

    def _tied(self, draft: Draft, start: int) -> bool:
        """Whether an "and" stands between what was said last of a numbered part and the word at ``start``."""
        return any(i.is_a("and", "with") for i in draft.line.items if draft.item_end - 1 <= i.start < start)

    def _count(self, frame: Frame, thing: Thing | None) -> int | None:
        if frame.count is not None and frame.count > 1:
            return frame.count
        return thing.count if thing is not None and thing.count is not None and thing.count > 1 else None

    def _dimension(self, measure: Measure) -> str:
        return self._lex.measures.get(measure.quantity.unit, "")

    def _measures(
        self,
        measures: Sequence[Measure],
        *,
        test: bool,
        leaks: bool = False,
        count: int | None = None,
        result_at: int = 0,
    ) -> tuple[Quantity, ...]:
        out: list[Quantity] = []
        timed = any(m.cue == "took" and self._dimension(m) == "time" for m in measures)
        for measure in measures:
            q, dimension = measure.quantity, self._dimension(measure)
            what = dimension
            if dimension == "length":
                what = "distance" if measure.cue == "from-there" else "length"
            elif dimension == "time":
                # Without a word such as "in" or "for": seconds, and what is said after the result, tell how soon.
                soon = not timed and (q.unit == "s" or not result_at or measure.span.start > result_at)
                told = measure.cue == "took" or (measure.cue != "lasting" and soon)
                what = "time-to-leak" if test and leaks and q.unit != "h" and told else "duration"
            if not what or dimension == "odometer":
                continue
            out = [o for o in out if not (o.what == what and what in ("duration", "time-to-leak"))]
            out.append(Quantity(what, q.value, q.unit))
        if count is not None:
            out.append(Quantity("count", count, ""))
        return tuple(dict.fromkeys(out))

    def _finish(self, draft: Draft, frame: Frame, entry: Entry) -> Entry:
        """Id, origins and quote; then what is carried on from it."""
        origins = origins_of(draft, frame)
        entry = replace(
            entry,
            id=entry_id(draft, entry, origins),
            origins=origins,
            quote=quote_of(draft, frame),
            confidence=round(min(frame.sure, *(t.sure for t in [frame.thing, *frame.more] if t is not None), 1.0), 3),
        )
        entry = heard(entry, draft)
        if self._of_nothing(frame, entry):
            return entry
        follows = frame.follows
        duplicate = next((e for e in draft.added if _same(e, entry) or (follows and _says_no_more(e, entry))), None)
        if duplicate is not None:
            return duplicate
        again = draft.added[-1] if frame.follows and draft.added else None
        if again is not None and not again.at and not again.quantities and _says_no_more(entry, again):
            # "Perished, cracked right through at the bottom": one fault, said twice.
            merged = replace(entry, id=again.id, origins=(*again.origins, *entry.origins))
            draft.change(merged)
            return merged
        piece = next((e for e in draft.added if _one_piece_of_work(e, entry)), None)
        if piece is not None:
            merged = replace(
                piece,
                material=piece.material or entry.material,
                quantities=(*piece.quantities, *entry.quantities),
                origins=(*piece.origins, *entry.origins),
            )
            draft.change(merged)
            return merged
        draft.put(entry)
        self.carry(draft, entry)
        return entry

    def _of_nothing(self, frame: Frame, entry: Entry) -> bool:
        """ "I know a bit about water": a finding or work in a job where nothing was named that it could be of."""
        if entry.place or entry.part or entry.side or entry.at or entry.quantities:
            return False
        if entry.kind in ("check", "evidence"):
            return not frame.presented or (entry.kind == "check" and self._lex.states[str(entry.state)].sound)
        return entry.kind in ("access", "repair") or (entry.kind == "test" and not entry.state)

    def carry(self, draft: Draft, entry: Entry) -> None:
        """What is spoken of, and what was worked on, after this entry."""
        if entry.kind == "plan":
            return
        part = entry.part
        draft.focus = Focus(entry.place, part, entry.side)
        draft.visit(entry.place)
        if entry.kind in ("test", "repair", "source"):
            draft.work = Focus(entry.place, None, entry.side)
        if (
            entry.kind == "repair"
            and entry.place is not None
            and not (entry.state and self._lex.states[entry.state].tidies)
        ):
            draft.repaired.add(entry.place)


def _says_no_more(one: Entry, other: Entry) -> bool:
    """Whether ``other`` only says again, with less, what ``one`` says."""
    return (
        not other.at
        and not other.quantities
        and other.item in (None, one.item)
        and (
            (one.kind, one.place, one.part, one.side, one.state, one.present)
            == (other.kind, other.place, other.part, other.side, other.state, other.present)
        )
    )


def _one_piece_of_work(one: Entry, other: Entry) -> bool:
    """ "Put thread sealant on the screw and torqued it to four newton metres": the same work, told in two clauses."""
    return (
        one.kind == other.kind == "repair"
        and (one.place, one.part, one.side, one.state, one.item, one.at)
        == (other.place, other.part, other.side, other.state, other.item, other.at)
        and (one.material is None or other.material is None)
        and {q.what for q in one.quantities}.isdisjoint(q.what for q in other.quantities)
    )


def _same(one: Entry, other: Entry) -> bool:
    return (one.kind, one.place, one.part, one.side, one.state, one.present, one.item, one.at) == (
        other.kind, other.place, other.part, other.side, other.state, other.present, other.item, other.at,
    ) and one.quantities == other.quantities  # fmt: skip
