"""Reads constituents from left to right into frames: who is said to be what, what was done to what, what was tested.

Dictation has no punctuation to rely on, so a clause ends where the next thing or verb no longer fits into it.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import replace

from fieldnote.extract.constituents import SKIPPED, Constituent
from fieldnote.extract.frames import Frame, Measure
from fieldnote.extract.lexicon import Finding, Lexicon
from fieldnote.extract.noun_phrases import Span, Thing, changed, within

_WET_KINDS = ("evidence",)


class ClauseReader:
    """Reads one utterance. Make one for each; ``read`` gives its frames."""

    def __init__(self, lexicon: Lexicon, row: Sequence[Constituent], *, open_test: bool) -> None:
        self._lex = lexicon
        self._row = [c for c in row if c.kind != "skip"]
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

    # -- the clause under construction ---------------------------------------------------------------------------

    def _reset(self) -> None:
        self._subjects: list[Thing] = []
        self._outer: Thing | None = None
        self._subject_pronoun = False
        self._linked = False
        self._negated = False
        self._both = False
        self._unsure = False
        self._presented = False
        self._mode = ""
        self._last: Frame | None = None
        self._clause: list[Frame] = []
        self._measures: list[Measure] = []
        self._count: int | None = None
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
        self._material: str | None = None

    def _close(self) -> None:
        """End the clause: what was only named becomes the topic."""
        if self._handle is not None and self._last is None:
            self._finish_handle()
        if not self._clause and self._subjects:
            thing = self._subjects[-1]
            for named in self._subjects:
                if named.new or self._new:
                    self._act(("",), named, new=True).material = self._material
                    self._new = False
                else:
                    self._add(Frame("topic", named.start, named.end, named, plan=self._plan, spans=list(named.spans)))
            if self._unsure and self.frames:
                self.frames[-1].unsure = True
            del thing
        if self._clause and self._unsure:
            pass
        self._reset()

    def _add(self, frame: Frame) -> Frame:
        frame.unsure = frame.unsure or self._unsure
        frame.plan = frame.plan or self._plan
        if self._both and frame.thing is not None:
            frame.thing = replace(frame.thing, both=True)
        self.frames.append(frame)
        self._clause.append(frame)
        self._last = frame
        return frame

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
            if not state or finding.get("evidence") or finding.get("check") or result.thing is None or result.outlet:
                continue
            test.thing, test.more = result.thing, result.more
            test.result = "leak" if (state == leak) == result.present else "dry"
            test.pronoun = test.of_thing = False
            test.measures = [*result.measures, *test.measures]
            test.spans.extend(result.spans)
            test.start = min(test.start, result.start)
            self.frames.remove(result)

    # -- dispatch ------------------------------------------------------------------------------------------------

    def _step(self, i: int) -> int:
        c = self._row[i]
        handler = getattr(self, "_on_" + c.kind, None)
        if handler is None:
            return i + 1
        result = handler(i, c)
        return i + 1 if result is None else int(result)

    # -- things --------------------------------------------------------------------------------------------------

    def _on_thing(self, i: int, c: Constituent) -> None:
        thing = c.thing
        assert thing is not None
        if self._between and self._joined and not self._prep:
            self._between, self._joined = False, ""  # "a gap between the glass and the molding": at the first of them
            return
        if self._count is not None and thing.count is None:
            thing = replace(thing, count=self._count)
            self._count = None
        if (
            thing.halves is not None
            and self._needs_half()
            and self._predicate_next(i + 1, linked=self._handle is not None or self._mode == "test")
        ):
            # Two names side by side: the first ends what was said, the second begins the next statement.
            first, second = thing.halves
            self._place_half(i, first)
            self._begin(second)
            self._joined = ""
            return
        if self._new:
            self._new = False
            thing = replace(thing, new=True)
        thing = replace(thing, halves=None)
        if self._with and self._mode == "state" and self._last is not None and not self._prep:
            self._prep, self._with = "at", False
        if self._prep:
            prep, self._prep = self._prep, ""
            self._on_prepositional(i, thing, prep)
        else:
            self._on_bare_thing(i, thing)
        self._joined = ""
        self._with = False

    def _needs_half(self) -> bool:
        """Whether what was said so far still wants the thing that it is said of."""
        last = self._last
        if self._handle is not None or self._new:
            return True
        if last is None:
            return False
        if last.kind == "act":
            return (last.thing is None and not last.pronoun) or bool(self._prep)
        if last.kind == "test":
            return last.thing is None or bool(self._prep)
        return bool(self._prep) or (last.kind == "state" and last.thing is None)

    def _place_half(self, i: int, thing: Thing) -> None:
        if self._prep:
            prep, self._prep = self._prep, ""
            self._on_prepositional(i, thing, prep)
        elif self._new:
            self._new = False
            self._act(("",), replace(thing, new=True), new=True)
        else:
            self._on_bare_thing(i, thing)

    def _on_bare_thing(self, i: int, thing: Thing) -> None:
        if self._with and thing.material is not None and self._mode == "" and self._subjects:
            self._material, self._with = thing.material, False
            return
        joined, predicate = self._joined, self._predicate_follows(i + 1)
        if self._handle is not None:
            self._handle_object(thing)
            return
        if self._mode == "act" and self._last is not None:
            self._object(thing, joined, predicate)
        elif self._mode == "test" and self._last is not None:
            self._thing_in_test(thing, joined, predicate)
        elif self._mode == "state" and self._last is not None:
            self._thing_after_state(i, thing, joined, predicate)
        elif self._mode in ("look", "source") and self._last is not None:
            self._thing_after_look(thing, joined, self._predicate_next(i + 1) if not joined else predicate)
        elif self._subjects and joined and self._subjects[-1].new and not thing.new and predicate:
            self._begin(thing)
        elif self._subjects and joined:
            self._subjects.append(thing)
        elif self._subjects and self._linked:
            # "The upper track flange has the sealer pulled away": the inner thing, placed by the outer one.
            self._subjects = [within(thing, self._subjects[-1])]
            self._linked = False
        elif self._subjects:
            if thing.bare:
                self._subjects[-1] = within(self._subjects[-1], thing)
            elif thing.named or (self._subjects[-1].part is not None and not self._subjects[-1].named):
                outer = self._subjects[-1]
                if thing.part is None and outer.part is not None and not outer.named and thing.named:
                    self._subjects[-1] = within(outer, thing)
                else:
                    self._close_topic(thing)
            else:
                self._subjects[-1] = within(thing, self._subjects[-1])
        else:
            self._subjects = [thing if self._outer is None else within(thing, self._outer)]

    def _close_topic(self, thing: Thing) -> None:
        unsure, negated, plan = self._unsure, self._negated, self._plan
        self._close()
        self._unsure, self._negated, self._plan = unsure, negated, plan
        self._subjects = [thing]

    def _begin(self, thing: Thing | None = None) -> None:
        """Start the next clause, with ``thing`` as what it speaks of."""
        self._close()
        if thing is not None:
            self._subjects = [thing]

    def _object(self, thing: Thing, joined: str, predicate: bool) -> None:
        frame = self._last
        assert frame is not None
        if self._with and thing.material is not None:
            frame.material = thing.material
            frame.spans.extend(replace(s, role="material") for s in thing.spans)
            self._with = False
            return
        if self._with and frame.thing is not None and not thing.named and not predicate:
            self._with = False  # "cleared it with a wire": a tool
            return
        self._with = False
        if thing.material is not None and self._is_put_on(frame, thing):
            frame.material = thing.material
            frame.spans.extend(replace(s, role="material") for s in thing.spans)
            frame.by_material = thing.part
            return
        if predicate and not (frame.thing is None and not frame.pronoun):
            self._begin(thing)
        elif frame.thing is None and not frame.pronoun:
            self._give_object(thing)
        elif joined:
            frame.more.append(thing)
            frame.end = max(frame.end, thing.end)
        elif thing.bare and frame.thing is not None:
            self._narrow(frame, thing)
        elif frame.thing is not None and frame.thing.part and not frame.thing.named and thing.named:
            frame.thing = within(frame.thing, thing)
            frame.end = max(frame.end, thing.end)
        elif frame.thing is None and frame.pronoun:
            frame.thing = thing
        else:
            self._begin(thing)

    def _is_put_on(self, frame: Frame, thing: Thing) -> bool:
        """A material as the object of the work that it is for ("gunned in urethane"), and no part that was there."""
        if frame.thing is not None or thing.named or thing.new:
            return False
        if thing.part is None:
            return True
        assert thing.material is not None
        action = self._lex.materials[thing.material].action
        return not self._determined(thing) and bool(action) and frame.acts[0] == action

    def _determined(self, thing: Thing) -> bool:
        """Whether "the" or "this" stands before it."""
        return any(
            r.kind == "determiner" and r.end == thing.start and r.item.text not in ("a", "an") for r in self._row
        )

    def _give_object(self, thing: Thing) -> None:
        """The object of the verb, and of the verbs joined before it ("cleaned and resealed the seam")."""
        for frame in self._clause:
            if frame.kind == "act" and frame.thing is None and not frame.pronoun:
                frame.thing = thing
                frame.spans.extend(thing.spans)
                frame.end = max(frame.end, thing.end)

    def _narrow(self, frame: Frame, thing: Thing) -> None:
        frame.thing = within(frame.thing, thing) if frame.thing is not None else thing
        frame.spans.extend(thing.spans)
        frame.end = max(frame.end, thing.end)

    def _thing_in_test(self, thing: Thing, joined: str, predicate: bool) -> None:
        frame = self._last
        assert frame is not None
        if self._with and thing.material is not None and not thing.named:
            self._with = False
            return
        if thing.bare and not joined:
            self._narrow(frame, thing)
        elif (predicate and (frame.thing is not None or frame.result)) or (frame.pronoun and frame.thing is None):
            self._begin(thing)
        elif frame.kind == "test" and frame.thing is None and not frame.result:
            frame.thing = thing
            frame.spans.extend(thing.spans)
            frame.end = max(frame.end, thing.end)
        elif thing.bare:
            self._narrow(frame, thing)
        elif joined and not frame.result and frame.kind == "test":
            frame.more.append(thing)
        elif frame.result == "leak" and frame.kind == "test":
            self._outlet(frame, thing)
        elif frame.kind == "test" and not frame.result and frame.thing is not None and not thing.named:
            frame.thing = within(thing, frame.thing)
        else:
            self._begin(thing)

    def _thing_after_state(self, i: int, thing: Thing, joined: str, predicate: bool) -> None:
        frame = self._last
        assert frame is not None
        nothing_yet = frame.thing is None and not frame.pronoun
        if nothing_yet and not joined and not self._predicate_next(i + 1):
            self._place_state(thing)
            frame.of_thing = True
        elif predicate:
            keep = joined == "or"
            negated, both = self._negated, self._both
            self._begin(thing)
            if keep:
                self._negated, self._both = negated, both
        elif thing.bare and not joined:
            self._narrow(frame, thing)
        elif joined and frame.thing is not None and not frame.outlet:
            for said in self._clause:
                if said.kind == "state" and said.thing is not None:
                    said.more.append(thing)
        elif joined and frame.outlet:
            frame.more.append(thing)
        elif frame.thing is not None and (
            frame.thing.bare or (not frame.thing.named and thing.named and thing.part is None and not joined)
        ):
            self._place_state(thing)
        else:
            self._begin(thing)

    def _thing_after_look(self, thing: Thing, joined: str, predicate: bool) -> None:
        frame = self._last
        assert frame is not None
        if predicate and frame.kind == "look":
            self._begin(thing)
        elif frame.thing is None:
            frame.thing = thing
            frame.spans.extend(thing.spans)
            frame.end = max(frame.end, thing.end)
        elif joined:
            frame.more.append(thing)
        elif thing.bare or not thing.named:
            frame.thing = within(thing, frame.thing)
            frame.end = max(frame.end, thing.end)
        elif not frame.thing.named:
            self._narrow(frame, thing)
        else:
            self._begin(thing)

    def _predicate_next(self, i: int, *, linked: bool = False) -> bool:
        """Whether the very next words say something of what was just named."""
        j = i
        while j < len(self._row) and self._row[j].kind in ("unknown", "skip"):
            j += 1
        if j >= len(self._row):
            return False
        c = self._row[j]
        if c.kind == "link":
            return True
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

    # -- prepositions --------------------------------------------------------------------------------------------

    def _on_preposition(self, i: int, c: Constituent) -> None:
        self._prep, self._prep_item = "at", c
        self._between = c.item.text.endswith("between")
        if c.is_a("with"):
            self._with = self._with or c.item.text != "in"

    def _on_to_place(self, i: int, c: Constituent) -> None:
        self._prep, self._prep_item = "to", c

    def _on_of(self, i: int, c: Constituent) -> None:
        self._prep = "at"

    def _on_off(self, i: int, c: Constituent) -> None:
        self._prep = "off"

    def _on_away(self, i: int, c: Constituent) -> None:
        if self._mode == "act" and self._last is not None and not self._last.measures and c.is_a("off"):
            self._prep = "off"
        else:
            self._prep = "away"

    def _on_with(self, i: int, c: Constituent) -> None:
        self._with = True
        self._prep = "at" if c.is_a("preposition") else ""

    def _on_prepositional(self, i: int, thing: Thing, prep: str) -> None:
        frame = self._last
        if self._handle is not None:
            self._handle_placed(thing, prep)
            return
        if frame is None:
            if prep == "away":
                self._outer_weak(thing)
            elif self._subjects:
                self._subjects[-1] = _located(self._subjects[-1], thing)
            else:
                self._outer = thing
                if self._predicate_follows(i + 1) or not self._thing_ahead(i + 1):
                    self._subjects = [thing]
            return
        if frame.kind == "act":
            self._placed_act(frame, thing, prep)
        elif frame.kind == "test":
            self._placed_test(frame, thing, prep)
        elif frame.kind == "state":
            self._placed_state(frame, thing, prep)
        elif prep != "away":
            frame.thing = thing if frame.thing is None else _located(frame.thing, thing)
            frame.spans.extend(thing.spans)
            frame.end = max(frame.end, thing.end)

    def _thing_ahead(self, j: int) -> bool:
        while j < len(self._row) and self._row[j].kind in ("determiner", "skip", "unknown", "there_is"):
            j += 1
        return j < len(self._row) and self._row[j].kind in ("thing", "state", "new", "negator", "find")

    def _outer_weak(self, thing: Thing) -> None:
        if self._subjects and not self._subjects[-1].named:
            self._subjects[-1] = _located(self._subjects[-1], thing)

    def _placed_act(self, frame: Frame, thing: Thing, prep: str) -> None:
        if self._with and thing.material is not None:
            frame.material = frame.material or thing.material
            frame.spans.extend(replace(s, role="material") for s in thing.spans)
            self._with = False
            return
        self._with = False
        if prep == "away" and frame.measures:
            return
        if frame.thing is None:
            if frame.pronoun and thing.part is None:
                frame.weak = thing
            else:
                self._give_object(thing)
        else:
            frame.thing = _located(frame.thing, thing)
            frame.more = [_located(m, thing) for m in frame.more]
        frame.spans.extend(thing.spans)
        frame.end = max(frame.end, thing.end)

    def _placed_test(self, frame: Frame, thing: Thing, prep: str) -> None:
        if self._with and thing.material is not None and not thing.named:
            self._with = False
            return
        self._with = False
        if prep == "away" and frame.thing is not None:
            return
        if frame.result and not thing.bare:
            if frame.thing is None and not self._earlier_test:
                frame.thing = thing
            elif frame.result == "leak":
                self._outlet(frame, thing)
                return
            else:
                return
        elif frame.thing is None:
            frame.thing = thing
        else:
            frame.thing = _located(frame.thing, thing)
        frame.spans.extend(thing.spans)
        frame.end = max(frame.end, thing.end)

    def _outlet(self, test: Frame, thing: Thing) -> None:
        """Where the water of a test came out."""
        if test.thing is not None and _same_thing(test.thing, thing):
            test.thing = _located(test.thing, thing)
            return
        frame = Frame(
            "state", thing.start, thing.end, thing, finding=None, of_thing=True, outlet=True, spans=list(thing.spans)
        )
        self._add(frame)
        self._mode = "state"

    def _placed_state(self, frame: Frame, thing: Thing, prep: str) -> None:
        if prep == "away":
            if any(m.cue == "from-there" for m in frame.measures):
                return
            if frame.thing is None or not frame.thing.named:
                frame.weak = frame.weak or thing
            return
        if frame.from_topic and thing.named and frame.thing is not None and not _same_thing(frame.thing, thing):
            # "Rear door, water on the scuff plate": the door is only what is spoken of.
            topic = Frame("topic", frame.thing.start, frame.thing.end, frame.thing, spans=list(frame.thing.spans))
            self.frames.insert(self.frames.index(frame), topic)
            frame.thing, frame.from_topic = thing, False
            frame.spans = [s for s in frame.spans if s.role == "head"] + list(thing.spans)
            frame.start, frame.end = min(s.start for s in frame.spans), max(s.end for s in frame.spans)
        elif frame.inherited and thing.named and (thing.part is not None or thing.part_word >= 0):
            frame.thing, frame.inherited = thing, False
            frame.spans.extend(thing.spans)
            frame.end = max(frame.end, thing.end)
        elif frame.thing is None or not frame.of_thing:
            self._place_state(thing)
        else:
            located = _located(frame.thing, thing)
            frame.inherited = frame.inherited and thing.bare
            for said in self._clause:
                if said.thing is frame.thing:
                    said.thing = located
            frame.thing = located
            frame.spans.extend(thing.spans)
            frame.end = max(frame.end, thing.end)

    def _place_state(self, thing: Thing) -> None:
        """The thing that the states just said are of: theirs, and those joined before it that have none."""
        if thing.bare and self._last is not None and self._last.thing is None and self._last.joined:
            # "A rust trail on the left quarter trim and droplets on the right": the same thing, on the other side.
            before = next((f for f in reversed(self.frames) if f is not self._last and f.thing is not None), None)
            if before is not None and before.thing is not None and before.kind == "state":
                thing = within(thing, replace(before.thing, side=None, at=(), item=None, count=None))
        for frame in self._clause:
            if frame.kind == "state" and (frame.thing is None or frame is self._last):
                frame.inherited = False
                frame.thing = thing if frame.thing is None else _placed(frame.thing, thing)
                frame.spans.extend(thing.spans)
                frame.end = max(frame.end, thing.end)
                frame.of_thing = True

    # -- findings ------------------------------------------------------------------------------------------------

    def _on_state(self, i: int, c: Constituent) -> None:
        finding = c.item.finding
        assert finding is not None
        self._prep = ""
        if self._with and self._mode == "state" and self._last is not None and self._last.finding is not None:
            # "Blocked with dirt": of what, and no finding of its own.
            self._with = False
            if c.item.sense("state", "noun") is not None and not finding.get("evidence"):
                self._last.mark(c.start, c.end, "detail")
                return
        if self._mode == "void":
            if not self._joined:
                return
            self._close()
        form = "noun" if c.item.sense("state", "noun") else c.item.senses[0].form
        if form == "noun" and c.item.sense("state", "adj") and (self._linked or self._subjects):
            form = "adj"
        if self._test is not None and self._result(c, finding, form):
            self._joined = ""
            return
        if self._mode == "act" and self._last is not None and self._handle is None:
            if self._mends_it(finding, form):
                self._last.fault = finding
                self._last.mark(c.start, c.end, "fault")
                self._joined = ""
                return
            if self._resultative(finding, form):
                self._last.mark(c.start, c.end, "state")
                return
        if self._mode in ("act", "look") and self._last is not None:
            self._state_after_act(form)
        if self._mode == "source" and self._last is not None and self._last.finding is None and finding.get("check"):
            self._last.finding = finding
            self._last.mark(c.start, c.end, "state")
            self._joined = ""
            return
        if self._idle_sound(i, finding):
            return
        if self._runs_on(c, finding, form):
            self._last.mark(c.start, c.end, "detail")  # type: ignore[union-attr]
            return
        if (
            self._mode == "state"
            and self._joined
            and self._last is not None
            and self._last.of_thing
            and form == "noun"
            and not self._subjects
            and self._own_thing_follows(i + 1)
        ):
            self._begin_keeping()
        self._push_state(c, finding, form)
        self._joined = ""

    def _idle_sound(self, i: int, finding: Finding) -> bool:
        """ "Okay", "all right" after something was said, with nothing of their own that they are said of."""
        state = finding.get("check")
        if not (state and self._lex.states[state].sound) or self._negated:
            return False
        last = self._last
        if (
            self._mode == "state"
            and last is not None
            and last.end == self._row[i].start
            and not self._linked
            and not self._joined
        ):
            return True
        if self._subjects or self._subject_pronoun or self._linked or self._presented or self._joined:
            return False
        if self._thing_ahead(i + 1) and self._row[i + 1].kind in ("thing", "determiner"):
            return False
        return bool(self.frames) or self._mode == "void"

    def _runs_on(self, c: Constituent, finding: Finding, form: str) -> bool:
        """ "A rust trail coming down": how a sign runs, and no second sign."""
        last = self._last
        return (
            self._mode == "state"
            and last is not None
            and last.end == c.start
            and last.head_form == "noun"
            and form != "noun"
            and last.finding is not None
            and bool(last.finding.get("evidence"))
            and (
                (bool(finding.get("evidence")) and c.item.text.split(" ")[0].endswith("ing"))
                or (
                    finding.get("test") == self._lex.test_states[0]
                    and not finding.get("check")
                    and not finding.get("evidence")
                )
            )
        )

    def _mends_it(self, finding: Finding, form: str) -> bool:
        """ "Sealed the pinhole": the fault is what the work was done to."""
        last = self._last
        return (
            last is not None
            and last.thing is None
            and not last.pronoun
            and last.fault is None
            and not self._joined
            and last.acts not in (("new",), ("put",))
            and form == "noun"
            and bool(finding.get("check") or finding.get("evidence") or finding.readings)
        )

    def _resultative(self, finding: Finding, form: str) -> bool:
        """ "Ground the seam clean", "bent it back straight": how the work came out, and no finding."""
        last, state = self._last, finding.get("check")
        sound = bool(state and self._lex.states[state].sound)
        return (
            last is not None
            and sound
            and not self._joined
            and not self._linked
            and not self._presented
            and not self._subjects
            and not self._negated
        )

    def _opposite(self, c: Constituent, finding: Finding) -> Finding | None:
        """ "Not been sealed" means what the pack says of "not sealed"."""
        for negator in ("not", "isnt"):
            for sense in self._lex.find((negator, *c.item.text.split(" "))):
                if sense.tag == "state":
                    return sense.value  # type: ignore[no-any-return]
        return None

    def _begin_keeping(self) -> None:
        negated = self._negated and self._joined == "or"
        self._close()
        self._negated = negated

    def _own_thing_follows(self, j: int) -> bool:
        while j < len(self._row) and self._row[j].kind in ("skip", "unknown", "quantity"):
            j += 1
        return j < len(self._row) and self._row[j].kind in ("preposition", "of", "thing")

    def _state_after_act(self, form: str) -> None:
        frame = self._last
        assert frame is not None
        thing = frame.thing
        negated, unsure, presented = self._negated, self._unsure, self._presented
        measures, count, look = self._measures, self._count, frame.kind == "look"
        joined = self._joined
        self._close()
        self._negated, self._unsure, self._presented = negated, unsure, presented
        self._measures, self._count = measures, count
        if thing is not None and (look or (form != "noun" and not joined)):
            self._subjects = [thing]

    def _push_state(self, c: Constituent, finding: Finding, form: str) -> None:
        if self._negated and form != "noun" and self._mode == "state" and self._joined != "or" and not self._linked:
            last = self._last
            if last is not None and not last.present and last.head_form == "noun":
                self._negated = False  # "no bubbles, dry"
        if self._negated:
            opposite = self._opposite(c, finding)
            if opposite is not None:
                finding, self._negated = opposite, False
        things: list[Thing | None] = list(self._subjects) or [None]
        of_thing = bool(self._subjects)
        if things == [None] and self._outer is not None:
            things = [self._outer]
        previous = self._last if self._mode == "state" else None
        pronoun = self._subject_pronoun
        if things == [None] and previous is not None and previous.thing is not None and not self._presented:
            # "Damp in the footwell and musty": the same thing, unless another one follows.
            things = [previous.thing, *previous.more] if form != "noun" else [None]
            of_thing = form != "noun"
        if (
            previous is not None
            and previous.finding is not None
            and not self._joined
            and not self._presented
            and (
                finding.get("test") is not None
                and not previous.finding.get("check")
                and not previous.finding.get("evidence")
                and previous.finding.get("test") == finding.get("test")
            )
        ):
            previous.mark(c.start, c.end, "state")  # "nothing, dry": one result
            return
        frame = Frame("state", c.start, c.end, things[0], [t for t in things[1:] if t is not None], finding, form)
        frame.present = not self._negated
        frame.of_thing = of_thing
        frame.pronoun = pronoun
        frame.presented = self._presented
        frame.measures, self._measures = self._measures, []
        frame.count, self._count = self._count, None
        frame.sure = c.item.sure
        frame.again = self._again
        frame.mark(c.start, c.end, "head")
        for thing in things:
            if thing is not None:
                frame.spans.extend(thing.spans)
                frame.start = min(frame.start, thing.start)
        frame.follows = self._mode == "state" and bool(self._clause)
        frame.inherited = frame.follows and of_thing
        frame.joined = bool(self._joined)
        subject = self._subjects[-1] if self._subjects else None
        frame.from_topic = (
            form == "noun"
            and subject is not None
            and subject.part is None
            and subject.part_word < 0
            and not self._linked
        )
        self._mode = "state"
        self._linked = False
        if self._mending and self.frames and frame.thing is not None and self.frames[-1].thing is not None and (
            frame.thing.part
            and frame.thing.part == self.frames[-1].thing.part
            and self.frames[-1].kind in ("act", "state")
        ):
            frame.thing = _located(frame.thing, self.frames[-1].thing)
            self.frames.pop()
        self._mending = False
        self._add(frame)

    def _result(self, c: Constituent, finding: Finding, form: str) -> bool:
        """Take the finding as the result of the test under way; whether it was one."""
        test = self._test
        assert test is not None
        leak, dry = self._lex.test_states
        state = finding.get("test")
        evidence = finding.get("evidence")
        wet = bool(evidence and self._lex.states[evidence].wet)
        own_subject = bool(self._subjects) and not (
            test.thing is not None and _same_thing(test.thing, self._subjects[-1])
        )
        if (
            c.item.is_a("water")
            and not test.result
            and test.thing is None
            and not self._presented
            and self._mode == "test"
        ):
            return True
        if self._presented and not (state or wet):
            return False
        check = finding.get("check")
        if (
            state is None
            and not wet
            and check
            and self._lex.states[check].sound
            and not self._subjects
            and not self._presented
        ):
            return self._mode == "test" and self._sounds_dry(test, c)
        if state is None and not wet:
            return False
        if self._mode == "act" or (self._mode == "look"):
            return False
        if own_subject:
            if finding.get("check") and not evidence and state != leak:
                return False
            return self._result_by_evidence(test, c, finding, evidence, state, wet)
        outcome = state or leak
        if state and finding.get("check") and self._subjects and not evidence:
            return False
        if self._negated:
            outcome = dry if outcome == leak else leak
        self._negated = False
        if wet and state is None and outcome == leak and self._thing_placed_after(c):
            self._set_result(test, "leak", c)
            frame = Frame("state", c.start, c.end, None, finding=finding, head_form=form, outlet=True, sure=c.item.sure)
            frame.mark(c.start, c.end, "head")
            self._add(frame)
            self._mode = "state"
            self._subjects = []
            return True
        self._set_result(test, "leak" if outcome == leak else "dry", c)
        self._subjects = []
        self._subject_pronoun = False
        self._presented = False
        self._last, self._mode = test, "test"
        self._linked = False
        if test not in self._clause:
            self._clause.append(test)
        return True

    def _sounds_dry(self, test: Frame, c: Constituent) -> bool:
        if not test.result and not self._negated:
            self._set_result(test, "dry", c)
        return True

    def _set_result(self, test: Frame, result: str, c: Constituent) -> None:
        if self._of_both:
            self._of_both = False
            for other in self.frames:
                if other.kind == "test" and other is not test and not other.result:
                    self._set_result(other, result, c)
        if test.result == "leak" and result == "dry" and not self._mending:
            return
        self._mending = False
        test.result = result  # type: ignore[assignment]
        test.unsure = test.unsure or self._unsure
        test.mark(c.start, c.end, "state")
        test.measures.extend(self._measures)
        self._measures = []

    def _thing_placed_after(self, c: Constituent) -> bool:
        j = next(k for k, r in enumerate(self._row) if r is c) + 1
        while j < len(self._row) and self._row[j].kind in (
            "skip",
            "unknown",
            "determiner",
            "preposition",
            "to_place",
            "of",
            "off",
        ):
            j += 1
        return j < len(self._row) and self._row[j].kind == "thing" and not (self._row[j].thing or Thing()).bare

    def _result_by_evidence(
        self, test: Frame, c: Constituent, finding: Finding, evidence: str | None, state: str | None, wet: bool
    ) -> bool:
        leak, _dry = self._lex.test_states
        outcome = "leak" if (wet or state == leak) != self._negated else "dry"
        self._set_result(test, outcome, c)
        if outcome == "leak" or evidence:
            subject = self._subjects[-1]
            frame = Frame("state", c.start, c.end, subject, list(self._subjects[:-1]), finding if evidence else None)
            frame.of_thing = frame.outlet = True
            frame.present = not self._negated
            frame.mark(c.start, c.end, "head")
            frame.spans.extend(subject.spans)
            frame.start = min(frame.start, subject.start)
            self._add(frame)
            self._mode = "state"
        return True

    # -- verbs ---------------------------------------------------------------------------------------------------

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
            if topic or k >= len(self._row) or self._row[k].kind != "thing":
                return False
            thing = self._row[k].thing
            return thing is not None and thing.halves is None and self._predicate_follows(k + 1)
        return following.kind not in ("pronoun", "both_of", "new")

    def _on_act(self, i: int, c: Constituent) -> None:
        assert c.sense is not None
        acts = tuple(c.sense.value)
        passive = bool(self._subjects) and self._mode == "" and (self._linked or self._is_passive(i))
        if self._by_others:
            self._close()
            self._mode = "void"
            return
        if self._negated and not (passive and c.sense.form == "said"):
            # "Did not pull the trim": nothing was done.
            self._close()
            self._mode = "void"
            return
        if passive:
            subjects = list(self._subjects)
            frame = self._act(acts, subjects[0], c=c)
            frame.more.extend(subjects[1:])
            frame.pronoun = False
            return
        if self._subject_pronoun and self._mode == "" and (self._linked and c.sense.form != "ing"):
            frame = self._act(acts, None, c=c)
            frame.pronoun = True
            return
        same = (
            self._mode == "act"
            and self._last is not None
            and not self._object_ahead(i + 1)
            and (
                (acts[0] == self._last.acts[0] and self._last.material)
                or (not self._joined and self._torque_ahead(i + 1) and self._last.thing is not None)
            )
        )
        if same and self._last is not None:
            # "Put thread sealant on the screw, torqued to": one piece of work.
            self._last.mark(c.start, c.end, "head")
            return
        share = self._mode == "act" and self._joined and self._last is not None
        previous = self._last if share else None
        plan = self._plan and (c.item.sense("act", "base", "said") is not None or bool(share))
        again, unsure = self._again, self._unsure
        clause = list(self._clause) if share else []
        measures = self._measures
        outer = self._outer
        self._close()
        self._plan = plan
        self._again, self._unsure = again, unsure
        frame = self._act(acts, None, c=c)
        frame.measures.extend(measures)
        if outer is not None and not plan:
            frame.weak = outer
        if previous is not None:
            self._clause = [*clause, frame]
            frame.weak = previous.thing
            frame.of_thing = previous.thing is None and not previous.pronoun

    def _torque_ahead(self, j: int) -> bool:
        while j < len(self._row) and self._row[j].kind in ("to", "to_place", "preposition", "hedge", "unknown"):
            j += 1
        quantity = self._row[j].item.quantity if j < len(self._row) else None
        return quantity is not None and self._lex.measures.get(quantity.unit) == "torque"

    def _act(
        self, acts: tuple[str, ...], thing: Thing | None, *, c: Constituent | None = None, new: bool = False
    ) -> Frame:
        start = c.start if c else (thing.start if thing else 0)
        end = c.end if c else (thing.end if thing else 0)
        frame = Frame("act", start, end, thing, acts=acts)
        if c is not None:
            frame.mark(c.start, c.end, "head")
        if thing is not None:
            frame.spans.extend(thing.spans)
            frame.start, frame.end = min(frame.start, thing.start), max(frame.end, thing.end)
        if new:
            frame.acts = ("new",)
        self._mode = "act"
        return self._add(frame)

    def _on_handle(self, i: int, c: Constituent) -> None:
        """Putting something in or on: water, a material, a new part; what it was shows only with its object."""
        if self._subjects and self._mode == "" and self._subjects[-1].new:
            subjects = list(self._subjects)
            frame = self._act(("new",), subjects[0], c=c)
            frame.more.extend(subjects[1:])
            return
        if self._mode == "test" and self._last is not None and self._last.thing is None and not self._last.result:
            return
        passive = bool(self._subjects) and self._mode == ""
        if passive and self._linked and self._subjects[-1].part is not None and c.is_a("put_in"):
            return
        plan, again = self._plan, self._again
        self._close()
        self._plan = plan and bool(c.sense and c.sense.form == "base")
        self._again = again
        self._handle = c

    def _handle_object(self, thing: Thing) -> None:
        """What was put: a new part, a material, or the place that water went on."""
        handle = self._handle
        assert handle is not None
        if thing.new and (thing.part is not None or thing.part_word >= 0):
            self._handle = None
            frame = self._act(("new",), thing, c=handle)
            frame.of_thing = True
            return
        if thing.material is not None and not thing.named:
            action = self._lex.materials[thing.material].action
            self._handle = None
            frame = self._act((action,) if action else ("",), None, c=handle)
            frame.by_material = thing.part
            frame.material = thing.material
            frame.spans.extend(replace(s, role="material") for s in thing.spans)
            if thing.new or not action:
                frame.acts = ("new",)
                frame.thing, frame.material = replace(thing, material=None), None
            return
        self._handle = None
        if handle.is_a("put_in") and thing.part is not None:
            frame = self._act(("put",), thing, c=handle)
        else:
            self._subjects = [thing]

    def _handle_placed(self, thing: Thing, prep: str) -> None:
        """ "Run … on the trough" where what was run was not a word of the trade."""
        handle = self._handle
        assert handle is not None
        self._handle = None
        if self._water or (handle.is_a("apply") and self._water):
            frame = self._test_frame(handle, None)
            frame.thing = thing
            return
        self._subjects = [thing]

    def _finish_handle(self) -> None:
        handle, self._handle = self._handle, None
        if handle is not None and self._water:
            self._test_frame(handle, None)

    def _on_water(self, i: int, c: Constituent) -> int | None:
        if self._handle is not None and self._handle.is_a("apply"):
            handle, self._handle = self._handle, None
            frame = self._test_frame(handle, None)
            frame.mark(c.start, c.end, "method")
            return None
        if c.item.finding is not None:
            self._on_state(i, replace(c, kind="state"))
        return None

    # -- tests ---------------------------------------------------------------------------------------------------

    def _test_frame(self, c: Constituent, method: str | None) -> Frame:
        frame = Frame("test", c.start, c.end, method=method, again=self._again)
        frame.mark(c.start, c.end, "head")
        frame.measures, self._measures = self._measures, []
        seen = self.frames[-1] if self.frames else None
        if (
            self._seen_when(c)
            and seen is not None
            and seen.kind == "state"
            and seen.present
            and seen.finding is not None
        ):
            evidence = seen.finding.get("evidence")
            if evidence and self._lex.states[evidence].wet:
                # "Water came down the post when I hosed the joint".
                frame.result, seen.outlet = "leak", True
        self._mode = "test"
        self._test = frame
        self._add(frame)
        self._again = False
        return frame

    def _seen_when(self, c: Constituent) -> bool:
        """Whether "when" leads in the test."""
        before = [r for r in self._row if r.end <= c.start and r.kind not in ("subject", "determiner", "handle")]
        return bool(before) and before[-1].is_a("when")

    def _on_method(self, i: int, c: Constituent) -> None:
        assert c.sense is not None
        self._prep = "" if self._with or self._prep in ("at", "to", "off") else self._prep
        test = self._last if self._mode == "test" and self._last is not None and self._last.kind == "test" else None
        if test is not None and (test.method is None or self._with or (test.thing is None and not test.result)):
            test.method = test.method or c.sense.value
            test.mark(c.start, c.end, "method")
            self._with = False
            return
        said = self._last
        if (
            self._with
            and said is not None
            and said.kind == "state"
            and said.finding is not None
            and (said.finding.get("test") and said.measures and not said.outlet)
        ):
            # "Dry, ten minutes with the hose": a test, told from its end.
            leak, _ = self._lex.test_states
            said.result = "leak" if (said.finding.get("test") == leak) == said.present else "dry"
            said.kind, said.finding, said.present, said.method = "test", None, True, c.sense.value
            said.mark(c.start, c.end, "method")
            self._mode, self._test, self._with = "test", said, False
            return
        if self._with and self._test is not None and self._test.method is None:
            self._test.method = c.sense.value
            self._test.mark(c.start, c.end, "method")
            self._with = False
            return
        self._with = False
        self._start_test(i, c, c.sense.value)

    def _start_test(self, i: int, c: Constituent, method: str | None, *, verb: bool = False) -> Frame | None:
        if self._negated and not self._subjects:
            self._close()
            self._mode = "void"
            return None
        subjects = self._subjects if self._mode == "" and self._handle is None else []
        handle, outer = self._handle, self._outer
        plan, again, unsure = self._plan, self._again, self._unsure
        measures, self._measures = self._measures, []
        taken = subjects and not (verb and self._object_ahead(i + 1))
        if taken:
            self._subjects = []
        self._handle = None
        self._close()
        self._plan, self._again, self._unsure = plan and self._plan_holds(c), again, unsure
        frame = self._test_frame(c, method)
        frame.measures.extend(measures)
        if handle is not None:
            frame.mark(handle.start, handle.end, "head")
        if taken:
            frame.thing, frame.more = subjects[0], list(subjects[1:])
            frame.start = min(frame.start, subjects[0].start)
            frame.spans.extend(subjects[0].spans)
        elif outer is not None:
            frame.thing = outer
        return frame

    def _plan_holds(self, c: Constituent) -> bool:
        return not (c.sense is not None and c.sense.form in ("past", "participle"))

    def _object_ahead(self, j: int) -> bool:
        while j < len(self._row) and self._row[j].kind in ("determiner", "skip", "unknown"):
            j += 1
        return j < len(self._row) and self._row[j].kind in ("thing", "pronoun", "both_of")

    def _on_method_verb(self, i: int, c: Constituent) -> None:
        assert c.sense is not None
        if (
            self._mode == "test"
            and self._last is not None
            and self._last.retest
            and self._last.method is None
            and self._last.thing is None
        ):
            self._last.method = c.sense.value
            return
        self._start_test(i, c, c.sense.value, verb=True)

    def _on_test(self, i: int, c: Constituent) -> None:
        frame = self._last
        if self._mode == "test" and frame is not None and not frame.result and frame.thing is None:
            frame.mark(c.start, c.end, "head")
            return
        self._start_test(i, c, None, verb=c.sense is not None)

    def _on_retest(self, i: int, c: Constituent) -> None:
        frame = self._last
        if self._mode == "test" and frame is not None and not frame.result and frame.thing is None:
            frame.retest = True
            frame.mark(c.start, c.end, "head")
            return
        started = self._start_test(i, c, None, verb=c.sense is not None)
        if started is not None:
            started.retest = True

    def _on_again(self, i: int, c: Constituent) -> None:
        if self._last is not None and self._last.kind == "test":
            self._last.again = True
        else:
            self._again = True

    def _on_mask(self, i: int, c: Constituent) -> int:
        """Taping off for a test: no entry; what was taped off goes with the next test."""
        self._close()
        j = i + 1
        while j < len(self._row) and self._row[j].kind not in (
            "act",
            "method",
            "method_verb",
            "test",
            "retest",
            "then",
            "state",
            "handle",
            "find",
            "there_is",
        ):
            if self._row[j].kind == "thing" and self._row[j].thing is not None:
                if self._predicate_follows(j + 1):
                    break
                self.mask.append(self._row[j].thing)  # type: ignore[arg-type]
            j += 1
        return j

    # -- looking and finding -------------------------------------------------------------------------------------

    def _on_look(self, i: int, c: Constituent) -> None:
        if self._negated:
            self._close()
            self._mode = "void"
            return
        subjects = self._subjects if self._mode == "" else []
        if subjects and c.sense is not None and c.sense.form in ("past", "participle"):
            return  # "the trough checked out": says nothing by itself
        plan = self._plan
        self._close()
        self._plan = plan and not (c.sense is not None and c.sense.form in ("past", "participle"))
        frame = Frame("look", c.start, c.end)
        frame.mark(c.start, c.end, "head")
        self._mode = "look"
        self._add(frame)

    def _on_find(self, i: int, c: Constituent) -> None:
        negated, unsure = self._negated, self._unsure
        outer, pending = self._outer, (self._subjects if self._mode == "" else [])
        if c.is_a("find") and self._number_ends(i + 1):
            return
        self._fresh(negated, unsure)
        self._outer = outer or (pending[-1] if pending else None)

    def _number_ends(self, j: int) -> bool:
        """ "I count five": a number and nothing behind it."""
        rest = [r for r in self._row[j:] if r.kind not in ("unknown", "determiner")]
        return len(rest) == 1 and rest[0].kind == "number"

    def _on_there_is(self, i: int, c: Constituent) -> None:
        if c.is_a("link") and (self._subjects or self._subject_pronoun) and self._mode == "":
            self._linked = True
            return
        outer = self._outer or (self._subjects[-1] if self._subjects and self._mode == "" else None)
        self._fresh(False, self._unsure and not self._clause)
        self._outer = outer

    def _fresh(self, negated: bool, unsure: bool) -> None:
        measures, plan = self._measures, self._plan
        if self._mode == "" and self._subjects:
            self._subjects = []
        self._close()
        self._plan = plan and False
        self._measures = measures
        self._negated, self._unsure = negated, unsure
        self._presented = True

    # -- small words ---------------------------------------------------------------------------------------------

    def _on_link(self, i: int, c: Constituent) -> None:
        self._linked = True
        self._prep = ""

    def _on_negator(self, i: int, c: Constituent) -> None:
        if self._mode in ("act",) and self._last is not None:
            self._close()
        if self._mode == "source" or self._mode == "look":
            self._close()
        if self._mode == "state" and self._last is not None and not self._joined and not self._linked_after_state():
            pass
        nxt = self._row[i + 1] if i + 1 < len(self._row) else None
        if c.item.text == "no" and nxt is not None and nxt.kind in ("determiner", "subject"):
            return  # "no the windscreen is leaking"
        if c.is_a("mend") and nxt is not None and nxt.kind in ("act", "method_verb", "handle") and self.frames:
            self._on_mend(i, c)
            return
        if self._verb_unknown(i, c):
            self._close()
            self._mode = "void"
            return
        self._negated = True
        self._prep = ""

    def _verb_unknown(self, i: int, c: Constituent) -> bool:
        """ "Won't keep", "didn't bother with": what is denied is a verb that says nothing of the trade."""
        nxt = self._row[i + 1] if i + 1 < len(self._row) else None
        if not c.item.text.endswith("nt") or nxt is None or nxt.start != c.end:
            return False
        if nxt.kind == "unknown":
            return True
        finding = nxt.item.finding
        ours = not self._subjects and not self._subject_pronoun and not self._linked
        return bool(
            ours and nxt.kind == "state" and finding and not finding.get("test") and not finding.get("evidence")
        )

    def _linked_after_state(self) -> bool:
        return self._linked

    def _on_only(self, i: int, c: Constituent) -> None:
        if self._mode == "state":
            self._negated = False

    def _on_amiss(self, i: int, c: Constituent) -> None:
        """ "Could not find anything wrong with the door": all is well."""
        sound = next((s.id for s in self._lex.states.values() if s.sound), None)
        if not self._negated or sound is None:
            return
        self._negated = False
        self._push_state(c, Finding((("check", sound),)), "adj")

    def _on_neither(self, i: int, c: Constituent) -> None:
        if self._mode != "" or not self._subjects:
            self._close()
        self._negated = True
        listed = any(r.is_a("or") for r in self._row[i + 1 : i + 6])
        self._both = not listed

    def _on_hedge(self, i: int, c: Constituent) -> None:
        nxt = self._row[i + 1] if i + 1 < len(self._row) else None
        if nxt is not None and nxt.kind in ("quantity", "number"):
            return
        if (
            nxt is not None
            and nxt.kind in ("act", "plan")
            and (nxt.kind == "plan" or (nxt.sense and nxt.sense.form == "base"))
        ):
            self._close()
            self._plan = self._unsure = True
            return
        if nxt is None and self._clause:
            for frame in self._clause:
                frame.unsure = True
            return
        if self._clause and self._mode in ("act", "state", "test", "source") and not self._subjects:
            if self._mode == "test" and not (self._last is not None and self._last.result):
                return
            self._close()
        elif self._clause and self._mode == "state" and self._predicate_ahead(i):
            self._close()
        self._unsure = True

    def _predicate_ahead(self, i: int) -> bool:
        return any(r.kind in ("state", "act", "test", "method") for r in self._row[i + 1 :])

    def _on_plan(self, i: int, c: Constituent) -> None:
        subjects = self._subjects if self._mode == "" else []
        if not subjects:
            unsure = self._unsure and not self._clause
            self._close()
            self._unsure = unsure
        self._plan = True

    def _on_plan_noun(self, i: int, c: Constituent) -> None:
        self._on_plan(i, c)
        self._new = True

    def _on_later(self, i: int, c: Constituent) -> None:
        for frame in self.frames:
            if frame.kind in ("test", "act", "topic", "look") and not frame.result:
                frame.plan = True

    def _on_and(self, i: int, c: Constituent) -> None:
        self._joined = "and"
        if self._negated and self._mode == "state" and not self._noun_ahead(i + 1):
            self._negated = False
        if self._mode == "test":
            self._joined = "and"

    def _on_or(self, i: int, c: Constituent) -> None:
        self._joined = "or"
        if c.item.text == "nor":
            self._negated = True

    def _noun_ahead(self, j: int) -> bool:
        while j < len(self._row) and self._row[j].kind in ("skip", "unknown"):
            j += 1
        if j < len(self._row) and self._row[j].kind == "determiner":
            return False
        return (
            j < len(self._row) and self._row[j].kind == "state" and self._row[j].item.sense("state", "noun") is not None
        )

    def _on_but(self, i: int, c: Constituent) -> None:
        if self._clause or self._subjects:
            keep = list(self._subjects) if self._mode == "state" and not self._thing_ahead(i + 1) else []
            self._close()
            self._subjects = keep
        self._negated = False
        self._plan = False

    def _on_then(self, i: int, c: Constituent) -> None:
        plan = self._plan
        self._close()
        nxt = self._row[i + 1] if i + 1 < len(self._row) else None
        base = nxt is not None and nxt.sense is not None and nxt.sense.form == "base"
        planned = c.is_a("next_up") and (base or self._test_ahead(i + 1))
        self._plan = plan or planned

    def _test_ahead(self, j: int) -> bool:
        """Whether a test is named further on, none that was done, and no result with it."""
        rest = self._row[j:]
        named = any(r.kind in ("method", "test") for r in rest)
        done = any(r.kind in ("method_verb", "handle", "state", "act", "quantity", "find", "there_is") for r in rest)
        return named and not done

    def _on_pronoun(self, i: int, c: Constituent) -> None:
        if self._handle is not None and self._handle.is_a("apply") and (self._again or self._again_next(i + 1)):
            # "Run it again": the test once more.
            handle, self._handle = self._handle, None
            frame = self._test_frame(handle, None)
            frame.pronoun = frame.again = True
            return
        if self._mode == "act" and self._last is not None and self._last.thing is None:
            for frame in self._clause:
                if frame.kind == "act" and frame.thing is None:
                    frame.pronoun = True
            self._last.end = max(self._last.end, c.end)
            return
        if (
            self._mode in ("test", "look")
            and self._last is not None
            and self._last.thing is None
            and not self._last.result
        ):
            self._last.pronoun = True
            return
        if self._prep == "away":
            self._prep = ""
            return
        if self._prep:
            self._prep = ""
            if self._last is not None and self._last.thing is None and self._mode in ("state",):
                self._last.pronoun = True
            return
        if self._mode in ("act", "state", "test", "look", "source"):
            if not self._predicate_after_pronoun(i):
                return
            if self._mode == "state" and self._clause and self._clause[-1].thing is not None:
                thing, more = self._clause[-1].thing, self._clause[-1].more
                self._close()
                self._subjects = [thing, *more]
                return
            test = self._mode == "test"
            thing2 = self._last.thing if self._last is not None and self._mode in ("act", "look") else None
            if test:
                return
            self._close()
            if thing2 is not None:
                self._subjects = [thing2]
            self._subject_pronoun = True
        elif not self._subjects:
            self._subject_pronoun = True

    def _predicate_after_pronoun(self, i: int) -> bool:
        nxt = self._row[i + 1] if i + 1 < len(self._row) else None
        return nxt is not None and nxt.kind in ("link", "state", "hedge", "negator", "act")

    def _on_others(self, i: int, c: Constituent) -> None:
        """ "Somebody": what others did is nothing that was done here; what they left is still found."""
        self._close()
        self._by_others = True

    def _again_next(self, j: int) -> bool:
        return j < len(self._row) and self._row[j].kind == "again"

    def _on_both_of(self, i: int, c: Constituent) -> None:
        target = self._last
        waiting = [f for f in self.frames if f.kind == "test" and not f.result]
        if len(waiting) > 1:
            self._of_both = True
            return
        if target is not None and target.kind in ("act", "test") and target.thing is None:
            target.pronoun = True
            target.thing = None
            self._both = True
            target.of_thing = True
        elif target is not None and target.thing is not None:
            target.thing = replace(target.thing, both=True)
        elif self._subjects:
            self._subjects[-1] = replace(self._subjects[-1], both=True)
        else:
            self._both = True
            self._subject_pronoun = True

    def _on_new(self, i: int, c: Constituent) -> None:
        if (
            self._mode in ("act", "state", "test")
            and self._last is not None
            and not self._with
            and not (self._last.kind == "act" and self._last.thing is None)
        ) and self._handle is None:
            negated, plan = self._negated, self._plan
            self._close()
            self._plan = plan and negated is not None
        self._new = True

    # -- measures ------------------------------------------------------------------------------------------------

    def _on_quantity(self, i: int, c: Constituent) -> None:
        quantity = c.item.quantity
        assert quantity is not None
        cue = self._cue(i)
        measure = Measure(quantity, cue, Span(c.start, c.end, "quantity"))
        self._prep = ""
        if self._subjects and self._mode == "" and self._lex.measures.get(quantity.unit) == "torque":
            self._torqued(c)
        target = self._measured(i)
        if target is None:
            self._measures.append(measure)
            return
        if self._dimension(measure) == "torque" and target.kind != "act":
            self._measures.append(measure)
            return
        same = [m for m in target.measures if self._dimension(m) == self._dimension(measure)]
        if same and i and self._row[i - 1].kind == "mend":
            target.measures.remove(same[-1])
        target.measures.append(measure)
        target.mark(c.start, c.end, "quantity")

    def _torqued(self, c: Constituent) -> None:
        """ "Studs to thirty inch pounds": tightened, whatever the verb."""
        tighten = next(
            (m.action for m in self._lex.materials.values() if m.action and self._takes_torque(m.action)), ""
        )
        if tighten:
            subjects = list(self._subjects)
            frame = self._act((tighten,), subjects[-1])
            for earlier in subjects[:-1]:
                frame.more.append(earlier)
            frame.mark(c.start, c.end, "head")

    def _takes_torque(self, action: str) -> bool:
        found = self._lex.find(("torque",))
        return any(s.tag == "act" and action in s.value for s in found)

    def _dimension(self, measure: Measure) -> str:
        return self._lex.measures.get(measure.quantity.unit, "")

    def _cue(self, i: int) -> str:
        before = self._row[i - 1] if i else None
        after = self._row[i + 1] if i + 1 < len(self._row) else None
        length = self._lex.measures.get(self._row[i].item.quantity.unit) == "length"  # type: ignore[union-attr]
        if length and after is not None and after.is_a("from_there") and not after.is_a("along"):
            return "from-there"
        if length:
            return "along"
        k = i - 1
        while k >= 0 and self._row[k].kind in ("hedge", "determiner", "unknown", "mend"):
            k -= 1
        before = self._row[k] if k >= 0 else None
        if before is not None and before.is_a("lasting") and before.item.text not in ("over",):
            return "lasting"
        if before is not None and before.is_a("took"):
            return "took"
        return ""

    def _measured(self, i: int) -> Frame | None:
        """The frame that a quantity belongs to; None where it belongs to what comes next."""
        j = i + 1
        while j < len(self._row) and self._row[j].kind in ("of", "skip", "hedge", "determiner"):
            j += 1
        nxt = self._row[j] if j < len(self._row) else None
        dimension = self._lex.measures.get(self._row[i].item.quantity.unit)  # type: ignore[union-attr]
        if dimension == "length":
            before_noun = (
                nxt is not None and nxt.kind in ("state", "water") and nxt.item.sense("state", "noun") is not None
            )
            if before_noun and not self._row[i].is_a("x"):
                return None
            return self._last
        if dimension in ("time", "pressure", "temperature"):
            if self._test is not None and (
                self._last is None
                or self._last is self._test
                or self._last.outlet
                or self._mode in ("test", "")
                or self._last.kind == "state"
            ):
                return self._test
            if self._last is not None and self._last.kind == "act" and dimension == "time":
                return None
            acting = self._last is not None and self._last.kind == "act"
            return None if acting and dimension == "time" else self._last
        return self._last

    def _on_number(self, i: int, c: Constituent) -> None:
        number = c.item.number
        if number is None or number.kind == "ordinal" or not isinstance(number.value, int):
            return
        nxt = self._row[i + 1] if i + 1 < len(self._row) else None
        if (i and self._row[i - 1].kind == "item") or (
            i and self._row[i - 1].is_a("item") and self._row[i - 1].kind != "negator"
        ):
            if self._last is not None and self._last.thing is not None:
                self._last.thing = replace(self._last.thing, item=number.value)
            elif self._subjects:
                self._subjects[-1] = replace(self._subjects[-1], item=number.value)
            else:
                self._outer = Thing(item=number.value, start=c.start, end=c.end)
            return
        if number.value < 2:
            return
        if nxt is None or nxt.kind == "of":
            target = self._last or (self.frames[-1] if self.frames else None)
            if target is not None and target.kind == "state" and not self._presented:
                target.count = number.value
                target.mark(c.start, c.end, "quantity")
            else:
                self._count = number.value
        elif nxt.kind in ("thing", "state", "new", "unknown", "determiner"):
            self._count = number.value

    # -- cause ---------------------------------------------------------------------------------------------------

    def _on_is_source(self, i: int, c: Constituent) -> None:
        while (
            self.frames
            and self.frames[-1].kind == "state"
            and (
                self.frames[-1].thing is None
                or (len(self.frames) > 1 and self.frames[-1].thing == self.frames[-2].thing)
            )
            and (
                self.frames[-1].finding is not None
                and not self.frames[-1].finding.get("check")
                and self.frames[-1].finding.get("test")
            )
        ):
            self.frames.pop()  # "the pinholes that leak": says no more than the cause does
        earlier = [f for f in self.frames if f.kind == "state" and f.present and not f.outlet]
        named = self._subjects[-1] if self._subjects else None
        unsure = self._unsure
        if (
            earlier
            and self._mode != "void"
            and (named is None or earlier[-1].thing is None or (_may_be_same(earlier[-1].thing, named) and named.part))
        ):
            frame = earlier[-1]
            if named is not None:
                frame.thing = named if frame.thing is None else within(named, frame.thing)
                frame.spans.extend(named.spans)
                self._subjects = []
            if frame.finding is not None and (frame.finding.get("check") or frame.finding.readings):
                frame.kind = "source"
                frame.unsure = frame.unsure or unsure
                frame.mark(c.start, c.end, "head")
                self._last, self._mode = frame, "source"
                return
        self._subjects = []
        self._close()
        frame = Frame("source", c.start, c.end, named, unsure=unsure)
        frame.mark(c.start, c.end, "head")
        self._mode = "source"
        self._add(frame)

    def _on_maybe_source(self, i: int, c: Constituent) -> None:
        """ "That's it", "probably the leak": the cause where nothing else is said, and a fault was said before."""
        others = [
            r
            for r in self._row
            if r is not c
            and r.kind not in ("hedge", "link", "pronoun", "unknown", "determiner", "subject", "then", "and")
        ]
        if others and not any(r.kind in ("state", "thing") and r.start < c.start for r in others):
            return
        if others and c.item.text.startswith("the "):
            return
        self._on_is_source(i, c)
        self.frames[-1].presented = True

    def _on_source_at(self, i: int, c: Constituent) -> None:
        unsure = self._unsure
        self._subjects = []
        self._close()
        frame = Frame("source", c.start, c.end, unsure=unsure)
        frame.mark(c.start, c.end, "head")
        frame.of_thing = True
        self._mode = "source"
        self._add(frame)

    def _on_no_source(self, i: int, c: Constituent) -> None:
        self._close()
        self._mode = "void"

    # -- change of mind ------------------------------------------------------------------------------------------

    def _on_take_back(self, i: int, c: Constituent) -> None:
        said = bool(self.frames or self._subjects)
        spoken_of = next((f.thing for f in reversed(self.frames) if f.thing is not None), None)
        self._reset()
        if said:
            self.frames.clear()
            if spoken_of is not None and spoken_of.named:
                self.frames.append(
                    Frame("topic", spoken_of.start, spoken_of.end, spoken_of, spans=list(spoken_of.spans))
                )
        else:
            self.took_back_before = True
        self._plan = False
        self._test = None

    def _on_mend(self, i: int, c: Constituent) -> int | None:
        """A change of mind before a verb drops what was just begun; others were mended when things were grouped."""
        self._mending = True
        skipped = self._sides_mended(i)
        if skipped is not None:
            return skipped
        nxt = next((r for r in self._row[i + 1 :] if r.kind not in ("subject", "unknown", "link", "and")), None)
        if nxt is None or not self.frames:
            return None
        last = self.frames[-1]
        verbs = ("method_verb", "method", "test", "handle")
        if nxt.kind in verbs and last.kind == "test" and not last.result:
            self.frames.remove(last)
            self._reset()
            self._test = None
        elif last.kind == "act" and (nxt.kind == "act" or (nxt.kind in verbs and last.thing is None)):
            self.frames.remove(last)
            self._reset()
        return None

    def _sides_mended(self, i: int) -> int | None:
        """ "Bolt's loose, correction, it's the right one": the side of what was said; the word to go on from."""
        j = i + 1
        while j < len(self._row) and self._row[j].kind in (
            "pronoun",
            "link",
            "determiner",
            "preposition",
            "mend",
            "subject",
        ):
            j += 1
        thing = self._row[j].thing if j < len(self._row) and self._row[j].kind == "thing" else None
        if thing is None or not thing.bare or thing.side is None or not self.frames:
            return None
        if j + 1 < len(self._row) and self._row[j + 1].kind in ("link", "state", "act", "thing"):
            return None
        self.frames[-1].thing = changed(self.frames[-1].thing or thing, side=thing.side)
        return j + 1

    def _on_unknown(self, i: int, c: Constituent) -> None:
        if self._prep and self._prep != "away":
            nxt = self._row[i + 1] if i + 1 < len(self._row) else None
            if nxt is None or nxt.kind != "thing":
                self._prep = ""


def _located(thing: Thing, where: Thing) -> Thing:
    """``thing`` placed by a later phrase ("the grommet IN THE FIREWALL"): it keeps what it says itself."""
    loose = thing.place is None and thing.part is not None
    if thing.named and where.named and not loose and not _same_thing(thing, where):
        # Named already: the other place says at which end of it.
        return replace(
            thing,
            side=thing.side or where.side,
            spans=(*thing.spans, *where.spans),
            start=min(thing.start, where.start),
            end=max(thing.end, where.end),
        )
    part = thing.part or where.part
    if thing.place is None and thing.part is not None and where.named:
        thing = replace(thing, generic=-1)  # "the lamp gasket on the liftgate": the place said outright counts
    return replace(
        thing,
        place=thing.place or where.place,
        generic=thing.generic if thing.named else where.generic,
        part=part,
        side=thing.side or where.side,
        at=tuple(dict.fromkeys((*thing.at, *where.at))),
        item=thing.item if thing.item is not None else where.item,
        both=thing.both or where.both,
        other_side=thing.other_side or where.other_side,
        spans=(*thing.spans, *where.spans),
        sure=min(thing.sure, where.sure),
        start=min(thing.start, where.start),
        end=max(thing.end, where.end),
    )


def _placed(said: Thing, where: Thing) -> Thing:
    """What a state was said of, with the place named after it; a bare side or position gives way to the thing."""
    return within(where, said) if said.bare else _located(said, where)


def _may_be_same(one: Thing, other: Thing) -> bool:
    return one.part == other.part and (not one.named or not other.named or one.place == other.place)


def _same_thing(one: Thing, other: Thing) -> bool:
    return (one.place, one.generic) == (other.place, other.generic) and (
        one.part == other.part or one.part is None or other.part is None
    )


__all__ = ["SKIPPED", "ClauseReader"]
