"""What a preposition places in a clause: where something is, what water was put on, where it came out."""

from __future__ import annotations

from dataclasses import replace

from fieldnote.extract.clause_base import ClauseBase
from fieldnote.extract.constituent import Constituent
from fieldnote.extract.frames import Frame
from fieldnote.extract.noun_phrases import Thing, changed, located, placed, same_thing, within


class PlaceReader(ClauseBase):
    """What a preposition places in a clause."""

    @property
    def _prep_word(self) -> str:
        return self._prep_item.item.text if self._prep_item is not None else ""

    def _on_preposition(self, i: int, c: Constituent) -> None:
        if self._is_in(i, c):
            return
        self._prep, self._prep_item = ("away" if self._tells_distance(i, c) else "at"), c
        self._between = c.item.text.endswith("between")
        if c.is_a("with"):
            self._with = self._with or c.item.text != "in"

    def _is_in(self, i: int, c: Constituent) -> bool:
        """ "Forty seconds and it's in": the result of the test under way."""
        nxt = self._row[i + 1] if i + 1 < len(self._row) else None
        before = self._row[i - 1] if i else None
        ends = (
            nxt is None
            or nxt.kind in ("and", "but", "then")
            or (c.item.text == "through" and nxt.kind == "preposition")
        )
        if not ends or c.item.text not in ("in", "through") or before is None or before.kind != "link":
            return False
        test = self._test
        if test is None or test.result or self._negated or not (self._came or self._subject_pronoun):
            return False
        test.result, test.result_at = "leak", c.start
        test.mark(c.start, c.end, "state")
        return True

    def _tells_distance(self, i: int, c: Constituent) -> bool:
        """ "A foot behind the windshield": how far from it, and not at it."""
        before = self._row[i - 1] if i else None
        if before is None or before.item.quantity is None or not c.is_a("from_there") or c.item.text == "in":
            return False
        return self._lex.measures.get(before.item.quantity.unit) == "length"

    def _on_to_place(self, i: int, c: Constituent) -> None:
        nxt = self._row[i + 1] if i + 1 < len(self._row) else None
        if self._subjects and self._mode == "" and not self._linked and not self._unsure and nxt is not None:
            form = nxt.sense.form if nxt.kind == "act" and nxt.sense is not None else ""
            if form in ("past", "participle") and self._skipped.get(c.end) == "be":
                self._plan = True  # "carpet TO BE dried"
                return
        self._prep, self._prep_item = "to", c

    def _on_of(self, i: int, c: Constituent) -> None:
        self._prep, self._prep_item = "at", c

    def _on_off(self, i: int, c: Constituent) -> None:
        self._prep = "off"
        if c.item.text == "off" and self._mode == "" and self._subjects and self._subjects[-1].part is not None:
            self._off_word = c

    def _on_away(self, i: int, c: Constituent) -> None:
        if self._mode == "source":
            self._prep = "at"  # "the leak is from the grommet"
            return
        if self._mode == "act" and self._last is not None and not self._last.measures and c.is_a("off"):
            self._prep = "off"
        else:
            self._prep = "away"

    def _on_with(self, i: int, c: Constituent) -> None:
        self._with = True
        self._prep = "at" if c.is_a("preposition") else ""

    def _on_prepositional(self, i: int, thing: Thing, prep: str) -> None:
        if self._mode == "state" and thing.bare and (self._pronoun_speaks(i + 1) or self._other_side(i, thing)):
            # "… is soaked, on the left it is dry": the next statement.
            spoken = self._last.thing if self._last is not None else None
            self._close()
            self._outer = thing if spoken is None else within(thing, changed(spoken, side=None, at=(), spans=()))
            return
        frame = self._last
        if self._mode == "state" and self._cannot_have(thing) and self._predicate_next(i + 1):
            # "… gasket fine, on the right gasket torn": another one.
            spoken = frame.thing if frame is not None else None
            self._begin(
                thing if spoken is None else within(thing, changed(spoken, side=None, at=(), item=None, spans=()))
            )
            return
        if self._handle is not None:
            self._handle_placed(thing, prep)
            return
        if frame is None:
            if prep == "away":
                self._outer_weak(thing)
            elif self._subjects and self._with and thing.material is not None and not thing.named:
                self._material, self._with = thing.material, False  # "new plug in, with butyl tape"
            elif self._subjects and thing.new and thing.material is not None and not thing.named:
                bedded = within(changed(thing, material=None), changed(self._subjects[-1], part=None))
                self._subjects = []
                self._act(("new",), bedded).material = thing.material  # "set the glass in new urethane"
            elif self._subjects:
                self._subjects[-1] = located(self._told_by(self._subjects[-1], thing), thing)
            else:
                self._outer = thing
                if self._predicate_follows(i + 1) or not self._thing_ahead(i + 1):
                    self._subjects = [thing]
            return
        further = self._at_another(frame, thing, prep)
        if further and self._pronoun_speaks(i + 1) and frame.kind == "state" and frame.thing is not None:
            # "Carpet damp in the left footwell, and in the right one it is soaked": the same surface.
            self._begin(thing if thing.part else changed(thing, part=frame.thing.part))
        elif further and not self._predicate_next(i + 1):
            self._place_further(frame, thing)
        elif frame.kind == "act":
            self._placed_act(frame, thing, prep)
        elif frame.kind == "test":
            self._placed_test(frame, thing, prep)
        elif frame.kind == "state":
            self._placed_state(frame, thing, prep)
        elif prep != "away":
            frame.thing = thing if frame.thing is None else located(frame.thing, thing)
            frame.spans.extend(thing.spans)
            frame.end = max(frame.end, thing.end)

    def _at_another(self, frame: Frame, thing: Thing, prep: str) -> bool:
        """ "Water on the left carpet AND ON the right carpet": whether a second place is told of the same."""
        said, item = frame.thing, self._prep_item
        led = next((r for r in reversed(self._row) if item and r.end <= item.start and r.kind != "skip"), None)
        if (
            led is None
            or led.kind not in ("and", "or")
            or prep not in ("at", "to")
            or said is None
            or self._with
            or frame.result
        ):
            return False
        if frame.kind not in ("state", "act", "test") or thing.material is not None or frame.outlet or said.bare:
            return False
        sides = thing.side is not None and said.side not in (None, "both", thing.side)
        parts = frame.kind == "state" and None not in (thing.part, said.part) and thing.part != said.part
        return sides or parts or (thing.named and said.named and not same_thing(said, thing))

    def _place_further(self, frame: Frame, thing: Thing) -> None:
        """What was said of a first thing is said of ``thing`` too, also what was said before in the same breath."""
        first = frame.thing
        assert first is not None
        sign = frame.finding is not None and frame.finding.get("evidence")
        if thing.bare:
            thing = within(thing, changed(first, side=None, at=(), item=None, count=None, spans=()))
        elif thing.part is None and thing.part_word < 0 and not sign and first.named:
            thing = changed(thing, part=first.part)
        for said in self._clause:
            if said is frame or (said.kind == "state" and said.thing is first):
                said.more.append(thing)
                said.spans.extend(thing.spans)
                said.end = max(said.end, thing.end)

    def _cannot_have(self, thing: Thing) -> bool:
        said = self._last.thing if self._last is not None else None
        return said is not None and thing.side is not None and said.side not in (None, "both", thing.side)

    def _other_side(self, i: int, thing: Thing) -> bool:
        """ "… gasket fine, on the right the gasket is torn": a side that it cannot have, and a subject."""
        if not self._cannot_have(thing):
            return False
        j = i + 1
        while j < len(self._row) and self._row[j].kind == "determiner":
            j += 1
        nxt = self._row[j] if j < len(self._row) else None
        return nxt is not None and (nxt.kind == "there_is" or (nxt.kind == "thing" and self._predicate_follows(j + 1)))

    def _outer_weak(self, thing: Thing) -> None:
        if self._subjects and not self._subjects[-1].named:
            self._subjects[-1] = located(self._subjects[-1], thing)

    def _placed_act(self, frame: Frame, thing: Thing, prep: str) -> None:
        if self._with and thing.material is not None:
            if thing.side and frame.thing is not None and frame.thing.side is None:
                frame.thing = changed(frame.thing, side=thing.side, both=thing.both)  # "… with urethane, both sides"
            frame.material = frame.material or thing.material
            frame.spans.extend(replace(s, role="material") for s in thing.spans)
            self._with = False
            return
        self._with = False
        if prep == "away" and frame.measures:
            return
        laid_on = self._prep_word in ("on", "onto", "in", "of") and frame.material is None
        laid_on = laid_on and (frame.thing is not None or frame.pronoun)
        if laid_on and thing.material is not None and self._bare_material(frame, thing, predicate=False):
            frame.material = thing.material  # "fitted a new membrane on butyl tape"
            frame.spans.extend(replace(s, role="material") for s in thing.spans)
            return
        if frame.thing is None:
            if frame.pronoun and thing.part is None:
                frame.weak = thing
            else:
                self._give_object(thing)
        else:
            frame.thing = located(self._told_by(frame.thing, thing), thing)
            frame.more = [located(m, thing) for m in frame.more]
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
            inner = frame.thing
            if inner is not None and inner.part is not None and not inner.named and thing.named and self._behind(inner):
                frame.thing = located(inner, thing)  # "smoke came out around the grommet in the firewall"
                frame.spans.extend(thing.spans)
                return
            if frame.thing is None and not self._earlier_test:
                frame.thing = thing
            elif frame.result == "leak":
                self._outlet(frame, thing)
                return
            else:
                return
        elif frame.thing is None:
            frame.thing = thing
        elif self._came and prep == "to" and thing.named and not same_thing(frame.thing, thing) and not frame.result:
            frame.result = "dry" if self._negated else "leak"
            frame.result_at = thing.start
            self._negated = False
            if frame.result == "leak":
                self._outlet(frame, thing)
            return
        else:
            frame.thing = located(frame.thing, thing)
        frame.spans.extend(thing.spans)
        frame.end = max(frame.end, thing.end)

    def _behind(self, thing: Thing) -> bool:
        """Whether the preposition that was just read stands right behind the thing."""
        return self._prep_item is not None and self._prep_item.start == thing.end

    def _outlet(self, test: Frame, thing: Thing) -> None:
        """Where the water of a test came out."""
        if test.thing is not None and same_thing(test.thing, thing):
            test.thing = located(test.thing, thing)
            return
        frame = Frame(
            "state", thing.start, thing.end, thing, finding=None, of_thing=True, outlet=True, spans=list(thing.spans)
        )
        self._add(frame)
        self._mode = "state"

    def _placed_state(self, frame: Frame, thing: Thing, prep: str) -> None:
        item, spoken = self._prep_item, frame.thing
        if item is not None and item.is_a("nearby") and frame.of_thing and spoken is not None and spoken.bare:
            return  # "the right one is torn by the mirror": near it
        if self._hidden_by(frame, thing):
            if not thing.named:
                return
            thing = changed(thing, part=None, part_word=-1)  # "a rust trail behind the left quarter trim"
        if prep == "away" and not (thing.bare and not frame.measures):
            if any(m.cue == "from-there" for m in frame.measures):
                return
            if frame.outlet and frame.thing is None:
                self._place_state(thing)  # "water dripped from the headliner"
                return
            finding = frame.finding
            if frame.thing is None and finding and not (finding.get("check") or finding.get("evidence")):
                self._place_state(thing)  # "no leak from the lamp"
            elif frame.thing is None or not frame.thing.named:
                frame.weak = frame.weak or thing
            return
        if frame.from_topic and thing.named and frame.thing is not None and not same_thing(frame.thing, thing):
            # "Rear door, water on the scuff plate": the door is only what is spoken of.
            topic = Frame("topic", frame.thing.start, frame.thing.end, frame.thing, spans=list(frame.thing.spans))
            self.frames.insert(self.frames.index(frame), topic)
            frame.thing, frame.from_topic = thing, False
            frame.spans = [s for s in frame.spans if s.role == "head"] + list(thing.spans)
            frame.start, frame.end = min(s.start for s in frame.spans), max(s.end for s in frame.spans)
        elif (
            frame.inherited
            and not thing.named
            and thing.part is not None
            and frame.head_form == "noun"
            and not frame.joined
        ):
            frame.thing, frame.inherited = within(thing, changed(frame.thing or thing, part=None, spans=())), False
            frame.spans.extend(thing.spans)
            frame.end = max(frame.end, thing.end)
        elif (
            frame.inherited and thing.named and (thing.part is not None or thing.part_word >= 0 or self._spreads(frame))
        ):
            frame.thing, frame.inherited = thing, False
            frame.spans.extend(thing.spans)
            frame.end = max(frame.end, thing.end)
        elif frame.thing is None or not frame.of_thing:
            self._place_before(frame, thing)
            self._place_state(thing)
        else:
            self._place_before(frame, thing)
            whole = located(self._told_by(frame.thing, thing), thing)
            frame.inherited = frame.inherited and thing.bare
            for said in self._clause:
                if said.thing is frame.thing:
                    said.thing = whole
            frame.thing = whole
            frame.spans.extend(thing.spans)
            frame.end = max(frame.end, thing.end)

    def _place_before(self, frame: Frame, thing: Thing) -> None:
        """ "A torn gasket and a bent stud on the left lamp": the first of them is there too."""
        n = next((k for k, f in enumerate(self.frames) if f is frame), 0)
        before = self.frames[n - 1] if n else None
        if before is None or before.kind != "state" or before.thing is None or frame.thing is None or not frame.joined:
            return
        led = all(any(s.role == "part" and s.start > f.spans[0].start for s in f.spans) for f in (before, frame))
        if led and not before.thing.named and before.thing.part is not None and thing.named:
            before.thing = located(before.thing, changed(thing, part=None))

    def _hidden_by(self, frame: Frame, thing: Thing) -> bool:
        """Whether a sign is only behind or under a part, and not on it."""
        item, finding = self._prep_item, frame.finding
        sign = finding is not None and finding.get("evidence") and not finding.get("check")
        part = thing.part is not None or thing.part_word >= 0
        return bool(sign) and part and item is not None and item.is_a("hidden") and not item.item.text.endswith("in")

    def _spreads(self, frame: Frame) -> bool:
        """ "Running down the pillar and puddling in the well": a further sign of the water, at a place of its own."""
        sign = frame.finding.get("evidence") if frame.finding is not None else None
        return frame.joined and bool(sign and self._lex.states[sign].wet) and frame.head_form != "noun"

    def _place_state(self, thing: Thing) -> None:
        """The thing that the states just said are of: theirs, and those joined before it that have none."""
        if thing.bare and self._last is not None and self._last.thing is None and self._last.joined:
            # "A rust trail on the left quarter trim and droplets on the right": the same thing, on the other side.
            before = next((f for f in reversed(self.frames) if f is not self._last and f.thing is not None), None)
            if before is not None and before.thing is not None and before.kind == "state":
                thing = within(thing, replace(before.thing, side=None, at=(), item=None, count=None))
        for frame in self._clause:
            finding = frame.finding
            result = (
                finding is not None and finding.get("test") and not (finding.get("check") or finding.get("evidence"))
            )
            if result and frame is not self._last:
                continue  # "it leaked, a drip off the pillar": the pillar is where the drip is
            if frame.kind == "state" and (frame.thing is None or frame is self._last):
                frame.inherited = False
                frame.thing = thing if frame.thing is None else placed(frame.thing, thing)
                frame.spans.extend(thing.spans)
                frame.end = max(frame.end, thing.end)
                frame.of_thing = True

    def _bare_material(self, frame: Frame, thing: Thing, predicate: bool) -> bool:
        """ "Roof sealer resealed, brushable sealer", "screw torqued to thirty, thread sealant on it": with what."""
        if predicate or thing.named or thing.new or thing.side or frame.plan or self._determined(thing):
            return False
        said = frame.thing
        works = frame.acts and frame.acts[0] in self._lex.states and "repair" in self._lex.states[frame.acts[0]].kinds
        return bool(works or frame.acts == ("new",)) and (
            thing.part is None or (said is not None and said.part != thing.part)
        )

    def _give_object(self, thing: Thing) -> None:
        """The object of the verb, and of the verbs joined before it ("cleaned and resealed the seam")."""
        for frame in self._clause:
            if frame.kind == "act" and frame.thing is None and not frame.pronoun:
                frame.thing = thing
                frame.spans.extend(thing.spans)
                frame.end = max(frame.end, thing.end)
