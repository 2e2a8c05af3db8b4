"""The clause under construction: what all readers of clauses share."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from fieldnote.extract.constituent import Constituent
from fieldnote.extract.frames import Frame, Measure
from fieldnote.extract.lexicon import Finding, Lexicon
from fieldnote.extract.noun_phrases import Thing, changed


class ClauseBase:
    """State of one utterance being read, and looks ahead. Readers of one kind of word each add to it."""

    def __init__(self, lexicon: Lexicon, row: Sequence[Constituent], *, open_test: bool) -> None:
        self._lex = lexicon
        self._row = [c for c in row if c.kind != "skip"]
        self._skipped = {c.start: c.item.text for c in row if c.kind == "skip"}
        self._earlier_test = open_test
        self.frames: list[Frame] = []
        self.dropped: list[int] = []
        """Numbers of frames that a take-back inside the utterance withdrew."""
        self.took_back_before = False
        self.mask: list[Thing] = []
        self.later = any(c.kind == "later" for c in self._row)
        self._reset()
        self._plan = False
        self._mending = False
        self._of_both = False
        self._test: Frame | None = None

    def _reset(self) -> None:
        self._subjects: list[Thing] = []
        self._outer: Thing | None = None
        self._subject_pronoun = False
        self._linked = False
        self._negated = False
        self._negated_at = 0
        self._both = False
        self._unsure = False
        self._presented = False
        self._mode = ""
        self._last: Frame | None = None
        self._clause: list[Frame] = []
        self._measures: list[Measure] = []
        self._count: int | None = None
        self._ordinal: int | None = None
        """Which of several the next thing is ("the third screw")."""
        self._prep = ""
        self._prep_item: Constituent | None = None
        self._joined = ""
        self._handle: Constituent | None = None
        self._new = False
        self._with = False
        self._again = False
        self._water = False
        self._by_others = False
        self._between = False
        self._came = False
        self._lacks: Constituent | None = None
        """The "no" right before a part, where nothing is said of the part: it is not there."""
        self._material: str | None = None
        self._off_word: Constituent | None = None
        """The "off" of "door card off the left rear door", where no verb is said."""

    def _close(self) -> None:
        """End the clause: what was only named becomes the topic."""
        if self._handle is not None and self._last is None:
            self._finish_handle()
        if not self._clause and self._subjects:
            thing = self._subjects[-1]
            if self._lacks is not None and thing.part is not None and not self._unsure and not self._plan:
                self._negated = False
                self._push_state(self._lacks, self._missing(), "adj")  # "no gasket behind it"
                self._reset()
                return
            if any(self._dimension(m) == "torque" for m in self._measures) and thing.part is not None:
                self._tightened(thing)  # "thirty inch pounds on the antenna nut"
                self._reset()
                return
            off = self._off_word
            removed = next((s for s in self._lex.find(("off",)) if s.tag == "act"), None)
            if off is not None and removed is not None and thing.part is not None and not self._negated:
                self._act(tuple(removed.value), thing, c=off)
                self._reset()
                return
            for named in self._subjects:
                action = self._lex.materials[named.material].action if named.material is not None else ""
                if (named.new or self._new) and action and named.part is None and not named.named and self.frames:
                    # "Cleaned the joint, fresh sealer": put on what was worked on.
                    self._act((action,), None).material = named.material
                    self._new = False
                elif named.new or self._new:
                    bedded = named.material if named.part is not None else None
                    self._act(("",), named, new=True).material = self._material or bedded
                    self._new = False
                else:
                    self._add(Frame("topic", named.start, named.end, named, plan=self._plan, spans=list(named.spans)))
            if self._unsure and self.frames:
                self.frames[-1].unsure = True
            del thing
        self._reset()

    def _tightened(self, thing: Thing) -> None:
        tighten = next(
            (m.action for m in self._lex.materials.values() if m.action and self._takes_torque(m.action)), ""
        )
        if tighten:
            self._act((tighten,), thing).measures.extend(self._measures)

    def _add(self, frame: Frame) -> Frame:
        frame.unsure = frame.unsure or self._unsure
        frame.plan = frame.plan or self._plan
        if self._both and frame.thing is not None:
            frame.thing = replace(frame.thing, both=True)
        self.frames.append(frame)
        self._clause.append(frame)
        self._last = frame
        return frame

    def _close_topic(self, thing: Thing) -> None:
        unsure, negated, plan = self._unsure, self._negated, self._plan
        self._close()
        self._unsure, self._negated, self._plan = unsure, negated, plan
        self._subjects = [thing]

    def _missing(self) -> Finding:
        """The finding that a thing is not there."""
        found = next((s.value for s in self._lex.find(("missing",)) if s.tag == "state"), None)
        return found if found is not None else Finding(())

    def _begin(self, thing: Thing | None = None) -> None:
        """Start the next clause, with ``thing`` as what it speaks of."""
        self._close()
        if thing is not None:
            self._subjects = [thing]
            after = next((r for r in self._row if r.start >= thing.end), None)
            if after is not None and after.kind == "link":
                self._plan = False  # "need to do the hinge, the seal is torn": how it is now

    def _told_by(self, thing: Thing, where: Thing) -> Thing:
        """A general word with its place told: "the mirror on the left front door"."""
        if thing.place is not None or thing.generic < 0 or where.place is None:
            return thing
        places = self._lex.places
        assembly = places[where.place].assembly
        found = [p for p in self._lex.generics[thing.generic].places if places[p].assembly == assembly]
        return changed(thing, place=found[0], generic=-1) if found and where.place not in found else thing

    def _determined(self, thing: Thing) -> bool:
        """Whether "the" or "this" stands before it."""
        return any(
            r.kind == "determiner" and r.end == thing.start and r.item.text not in ("a", "an") for r in self._row
        )

    def _predicate_next(self, i: int, *, linked: bool = False) -> bool:
        """Whether the very next words say something of what was just named."""
        j = i
        while j < len(self._row) and self._row[j].kind in ("unknown", "skip"):
            j += 1
        if j >= len(self._row):
            return False
        c = self._row[j]
        if self._says_there(j):
            return True
        if c.kind == "link":
            return not (self._only_seen(j + 1) or self._only_measured(j + 1))
        turning = self._last is not None and self._last.kind == "act" and self._takes_torque(self._last.acts[0])
        if c.kind in ("to_place", "to", "preposition") and j + 1 < len(self._row) and not turning:
            quantity = self._row[j + 1].item.quantity
            return quantity is not None and self._lex.measures.get(quantity.unit) == "torque"
        if linked:
            return c.kind == "act" and c.item.sense("act", "said") is not None
        if c.kind == "state":
            return c.item.sense("state", "adj", "verb") is not None
        return (c.kind == "act" and self._is_passive(j)) or (
            c.kind in ("hedge", "negator") and self._predicate_follows(j)
        )

    def _says_there(self, j: int) -> bool:
        """ "The seal THERE IS torn": no new thing is brought in."""
        there, then = (self._row[k] if k < len(self._row) else None for k in (j, j + 1))
        if there is None or then is None or there.kind != "there_is" or not there.item.text.startswith("there"):
            return False
        return (
            then.kind == "state"
            and then.item.sense("state", "adj") is not None
            and then.item.sense("state", "noun") is None
        )

    def _only_seen(self, j: int) -> bool:
        """ "Damp carpet was OBSERVED in the footwell": nothing more is said of it."""
        seen, then = (self._row[k] if k < len(self._row) else None for k in (j, j + 1))
        if seen is None or seen.kind != "find":
            return False
        return then is None or then.kind in ("preposition", "to_place", "and", "but", "then", "away")

    def _only_measured(self, j: int) -> bool:
        """ "The crack in the cowl seam is TWO INCHES long": said of the fault that was named before."""
        while j < len(self._row) and self._row[j].kind in ("skip", "hedge", "preposition"):
            j += 1
        quantity = self._row[j].item.quantity if j < len(self._row) else None
        said = self._last is not None and self._last.kind == "state" and not self._linked
        return said and quantity is not None and self._lex.measures.get(quantity.unit) == "length"

    def _predicate_follows(self, i: int) -> bool:
        """Whether what was just named is what the next words speak of."""
        j, seen_thing = i, False
        while j < len(self._row):
            c = self._row[j]
            if c.kind == "link":
                return not (j + 1 < len(self._row) and self._row[j + 1].kind in ("act", "method_verb") and False)
            if c.kind == "state":
                return c.item.sense("state", "adj", "verb") is not None or not seen_thing or True
            if c.kind == "act":
                return self._is_passive(j)
            if c.kind in ("hedge", "negator") and not seen_thing:
                k = j + 1
                while k < len(self._row) and self._row[k].kind in ("skip", "link", "hedge", "negator"):
                    k += 1
                if k < len(self._row) and self._row[k].kind == "state":
                    item = self._row[k].item
                    return item.sense("state", "adj", "verb") is not None and item.sense("state", "noun") is None
                return False
            if c.kind in ("preposition", "away", "of", "off"):
                k = j + 1
                while k < len(self._row) and self._row[k].kind in ("skip", "determiner"):
                    k += 1
                if k < len(self._row) and self._row[k].kind in ("thing", "pronoun"):
                    seen_thing = seen_thing or self._row[k].kind == "thing"
                    j = k + 1
                    continue
                if k < len(self._row) and self._row[k].kind in ("link", "state"):
                    j = k
                    continue
                return False
            if (
                c.kind == "pronoun"
                and j == i
                and j + 1 < len(self._row)
                and self._row[j + 1].kind in ("link", "unknown")
            ):
                j += 2  # "the flange it sits on"
                continue
            if c.kind in ("and", "or") and j + 1 < len(self._row):
                k = j + 1
                while k < len(self._row) and self._row[k].kind in ("skip", "determiner"):
                    k += 1
                if k < len(self._row) and self._row[k].kind == "thing":
                    j = k + 1
                    seen_thing = True
                    continue
                return False
            if c.kind in ("determiner", "skip", "unknown", "both_of"):
                j += 1
                continue
            if c.kind == "thing" and c.thing is not None and c.thing.bare:
                j += 1
                continue
            return False
        return False

    def _list_ends(self, i: int) -> int:
        """Where a list of names that the thing at ``i`` begins ends ("the cowl, the firewall or the roof"); or 0."""
        j, joined = i + 1, False
        while j < len(self._row):
            c = self._row[j]
            if c.kind in ("determiner", "skip", "both_of", "preposition"):
                j += 1
            elif c.kind in ("and", "or") and not joined:
                joined, j = True, j + 1
            elif c.thing is not None and c.thing.named and not c.thing.new and self._apart(self._row[i].thing, c.thing):
                j += 1
                if joined:
                    return j
            else:
                return 0
        return 0

    def _apart(self, one: Thing | None, other: Thing) -> bool:
        """Whether two things are at places that neither leads to the other: of two assemblies."""
        if one is None or not one.named or not other.named:
            return False
        return self._assemblies(one).isdisjoint(self._assemblies(other))

    def _assemblies(self, thing: Thing) -> set[str]:
        named = [thing.place] if thing.place is not None else self._lex.generics[thing.generic].places
        return {self._lex.places[p].assembly for p in named if p is not None}

    def _pronoun_speaks(self, j: int) -> bool:
        """Whether "it is" or the like comes next."""
        row = self._row
        says = ("link", "state", "hedge", "negator")
        return j + 1 < len(row) and row[j].kind == "pronoun" and row[j + 1].kind in says

    def _thing_ahead(self, j: int) -> bool:
        while j < len(self._row) and self._row[j].kind in ("determiner", "skip", "unknown", "there_is"):
            j += 1
        return j < len(self._row) and self._row[j].kind in ("thing", "state", "new", "negator", "find")

    def _own_thing_follows(self, j: int) -> bool:
        while j < len(self._row) and self._row[j].kind in ("skip", "unknown", "quantity"):
            j += 1
        return j < len(self._row) and self._row[j].kind in ("preposition", "of", "thing")

    def _is_passive(self, j: int) -> bool:
        """ "Trim panel removed": done to what was named before, since nothing is named behind."""
        sense = self._row[j].sense
        if sense is None or sense.form not in ("past", "participle", "said"):
            return False
        if sense.form == "said" and len(self._row[j].item.text.split()) <= 2:
            return True
        k = j + 1
        while k < len(self._row) and self._row[k].kind in ("skip", "unknown", "again", "number"):
            k += 1
        if k >= len(self._row):
            return True
        following = self._row[k]
        topic = bool(self._subjects) and self._subjects[-1].part is None and self._subjects[-1].part_word < 0
        if following.kind == "thing":
            thing = following.thing
            return thing is not None and (
                thing.bare
                or (topic and thing.halves is not None and thing.halves[0].part is None and self._predicate_next(k + 1))
                or (thing.halves is None and not topic and self._predicate_follows(k + 1))
                or (thing.halves is None and topic and self._predicate_next(k + 1))
            )
        if following.kind == "determiner":
            k += 1
            if k >= len(self._row) or self._row[k].kind != "thing":
                return False
            thing = self._row[k].thing
            if topic:
                return thing is not None and thing.halves is None and self._predicate_next(k + 1, linked=False)
            return thing is not None and thing.halves is None and self._predicate_follows(k + 1)
        return following.kind not in ("pronoun", "both_of", "new")

    def _torque_ahead(self, j: int) -> bool:
        while j < len(self._row) and self._row[j].kind in ("to", "to_place", "preposition", "hedge", "unknown"):
            j += 1
        quantity = self._row[j].item.quantity if j < len(self._row) else None
        return quantity is not None and self._lex.measures.get(quantity.unit) == "torque"

    def _object_ahead(self, j: int) -> bool:
        while j < len(self._row) and self._row[j].kind in ("determiner", "skip", "unknown"):
            j += 1
        return j < len(self._row) and self._row[j].kind in ("thing", "pronoun", "both_of")

    def _number_ends(self, j: int) -> bool:
        """ "I count five": a number and nothing behind it."""
        rest = [r for r in self._row[j:] if r.kind not in ("unknown", "determiner")]
        return len(rest) == 1 and rest[0].kind == "number"

    def _fresh(self, negated: bool, unsure: bool) -> None:
        measures, plan = self._measures, self._plan
        if self._mode == "" and self._subjects:
            self._subjects = []
        self._close()
        self._plan = plan and False
        self._measures = measures
        self._negated, self._unsure = negated, unsure
        self._presented = True

    def _predicate_ahead(self, i: int) -> bool:
        return any(r.kind in ("state", "act", "test", "method") for r in self._row[i + 1 :])

    def _noun_ahead(self, j: int) -> bool:
        while j < len(self._row) and self._row[j].kind in ("skip", "unknown"):
            j += 1
        if j < len(self._row) and self._row[j].kind == "determiner":
            return False
        return (
            j < len(self._row) and self._row[j].kind == "state" and self._row[j].item.sense("state", "noun") is not None
        )

    def _test_ahead(self, j: int) -> bool:
        """Whether a test is named further on, none that was done, and no result with it."""
        rest = self._row[j:]
        named = any(r.kind in ("method", "test") for r in rest)
        done = any(r.kind == "test" and r.sense is not None and r.sense.form == "past" for r in rest)
        done = done or any(
            r.kind in ("method_verb", "handle", "state", "act", "quantity", "find", "there_is") for r in rest
        )
        return named and not done

    def _again_next(self, j: int) -> bool:
        return j < len(self._row) and self._row[j].kind == "again"

    def _takes_torque(self, action: str) -> bool:
        found = self._lex.find(("torque",))
        return any(s.tag == "act" and action in s.value for s in found)

    def _dimension(self, measure: Measure) -> str:
        return self._lex.measures.get(measure.quantity.unit, "")

    # -- read by the others -------------------------------------------------------------------------------------

    def _on_state(self, i: int, c: Constituent) -> int | None:
        raise NotImplementedError

    def _push_state(self, c: Constituent, finding: Finding, form: str) -> None:
        raise NotImplementedError

    def _act(
        self, acts: tuple[str, ...], thing: Thing | None, *, c: Constituent | None = None, new: bool = False
    ) -> Frame:
        raise NotImplementedError

    def _handle_object(self, thing: Thing) -> None:
        raise NotImplementedError

    def _handle_placed(self, thing: Thing, prep: str) -> None:
        raise NotImplementedError

    def _finish_handle(self) -> None:
        raise NotImplementedError

    def _test_frame(self, c: Constituent, method: str | None) -> Frame:
        raise NotImplementedError
