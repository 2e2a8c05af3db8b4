"""Things in a clause: subjects and objects, and lists of them."""

from __future__ import annotations

from dataclasses import replace

from fieldnote.extract.clause_places import PlaceReader
from fieldnote.extract.constituent import Constituent
from fieldnote.extract.frames import Frame
from fieldnote.extract.noun_phrases import Thing, changed, within


class ThingReader(PlaceReader):
    """Things in a clause: subjects and objects."""

    def _on_thing(self, i: int, c: Constituent) -> None:
        thing = c.thing
        assert thing is not None
        before = self._row[i - 1] if i else None
        lacks = before is not None and before.kind == "negator" and before.item.text == "no" and before.end == c.start
        self._read_thing(i, thing)
        if thing.bare and c.item.text.endswith(" one") and self._last is not None and self._last.kind == "test":
            self._last.pronoun = True  # "poured some into the right one": of what was spoken of
        if lacks and thing.part is not None and not self._clause:
            self._lacks, self._negated = before, False

    def _read_thing(self, i: int, thing: Thing) -> None:
        if self._between and self._joined and not self._prep:
            self._between, self._joined = False, ""  # "a gap between the glass and the molding": at the first of them
            return
        if self._count is not None and thing.count is None:
            thing = changed(thing, count=self._count)
            self._count = None
        if self._ordinal is not None:
            thing = changed(thing, item=thing.item if thing.item is not None else self._ordinal)
            self._ordinal = None
        if (
            thing.halves is not None
            and self._needs_half()
            and (
                self._predicate_next(i + 1, linked=self._handle is not None or self._mode == "test")
                or (self._two_parts(thing) and self._predicate_follows(i + 1))
            )
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
        if thing.halves is not None:
            thing = changed(thing, halves=None)
        if self._with and self._mode == "state" and self._last is not None and not self._prep:
            self._prep, self._with = "at", False
        if self._prep and self._is_new_work() and thing.part is not None and self._turned_next(i + 1):
            self._begin(thing)  # "new gasket on, bolt up to six newton metres"
        elif self._prep:
            prep, self._prep = self._prep, ""
            self._on_prepositional(i, thing, prep)
        else:
            self._on_bare_thing(i, thing)
        self._joined = ""
        self._with = False

    def _two_parts(self, thing: Thing) -> bool:
        """ "Lifted the carpet, seam along the floor is split": two parts, and no word that makes them one."""
        if thing.halves is None or self._mode != "act":
            return False
        one, other = thing.halves
        return one.part is not None and other.part is not None and not one.named and not other.bare

    def _turned_next(self, j: int) -> bool:
        """Whether a torque is told of what was just named ("the stud taken to four newton metres")."""
        done = j < len(self._row) and self._row[j].kind == "act"
        return self._torque_ahead(j + 1 if done else j)

    def _is_new_work(self) -> bool:
        done = self._mode == "act" and self._last is not None and self._last.acts == ("new",)
        return done or (self._mode == "" and bool(self._subjects) and self._subjects[-1].new)

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
        dabbed = bool(self._subjects) and self._subjects[-1].new and not thing.named and not thing.new
        dabbed = dabbed and self._subjects[-1].part not in (None, thing.part) and not self._predicate_next(i + 1)
        if (self._with or dabbed) and thing.material is not None and self._mode == "" and self._subjects:
            self._material, self._with = thing.material, False
            return
        joined = self._joined
        if self._same_there(i, thing):
            return
        predicate = self._spoken_of(i, thing)
        if self._listed(i, thing, joined):
            return
        predicate = predicate and not self._in_turn(i, thing)
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
            outer = self._subjects[-1]
            if thing.generic >= 0 and thing.place is None and outer.place in self._lex.generics[thing.generic].places:
                thing = changed(thing, place=outer.place, generic=-1)  # "the left liftgate hinge had a hinge bolt …"
            self._subjects = [within(thing, outer)]
            self._linked = False
        elif self._subjects:
            if thing.bare:
                named = self._subjects[-1]
                if named.side == "both" and thing.side in ("left", "right"):
                    named = changed(named, side=None, both=False)  # "both vents, the left one is torn"
                self._subjects[-1] = within(named, thing)
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

    def _same_there(self, i: int, thing: Thing) -> bool:
        """ "Left hinge, sealer cracked, right the same": what was said last, of the other side."""
        j = i + 1
        while j < len(self._row) and self._row[j].kind in ("link", "determiner", "skip"):
            j += 1
        said = self.frames[-1] if self.frames else None
        last = self._row[j] if j < len(self._row) else None
        ends = j + 1 >= len(self._row) or self._row[j + 1].kind in ("and", "but", "then")
        denied = last is not None and last.kind == "negator" and last.item.text.endswith("nt") and ends
        same = last is not None and last.kind == "same" and j + 1 >= len(self._row)
        if not (same or denied) or said is None or not thing.bare or thing.side is None:
            return False
        if said.kind != "state" and (denied or said.kind != "act"):
            return False
        again = replace(
            said, thing=changed(said.thing or thing, side=thing.side, both=False), more=[], spans=[*said.spans]
        )
        again.present = again.present != denied  # "the left drain was blocked, the right one wasn't"
        again.mark(self._row[i].start, self._row[j].end, "head")
        self._close()
        self._add(again)
        return True

    def _listed(self, i: int, thing: Thing, joined: str) -> bool:
        """ "The cowl, the firewall and both pillars": takes a name in the middle of a list as one of it."""
        end = self._list_ends(i) if not joined and thing.named else 0
        if not end:
            return False
        last, predicate = self._last, self._predicate_next(end)
        if self._mode == "" and self._subjects and self._handle is None and not self._linked:
            taken = predicate and self._apart(self._subjects[-1], thing)
            if taken:
                self._subjects.append(thing)
            return taken
        told = last is not None and last.thing is not None and last.kind in ("state", "test", "act", "look")
        if last is None or not told or last.result or predicate or not self._apart(last.thing, thing):
            return False
        last.more.append(thing)
        last.spans.extend(thing.spans)
        last.end = max(last.end, thing.end)
        return True

    def _in_turn(self, i: int, thing: Thing) -> bool:
        """ "Carpet wet left front, dry right front": a whereabouts behind each of two findings."""
        here, then = (self._row[k] if k < len(self._row) else None for k in (i + 1, i + 2))
        if not thing.bare or self._mode != "state" or here is None or here.kind != "state" or then is None:
            return False
        before = self._row[i - 1]
        again = then.thing is not None and then.thing.bare and then.thing != thing
        ends = i + 3 >= len(self._row) or self._row[i + 3].kind in ("and", "but", "then")
        return before.kind == "state" and again and ends

    def _spoken_of(self, i: int, thing: Thing) -> bool:
        """Whether what follows is said of the thing, or of what it leads in ("rear corner, sealer's pulled away")."""
        if not thing.bare or thing.side:
            return self._predicate_follows(i + 1) or (thing.bare and self._begins_other_side(i, thing))
        led = self._row[i].item.text.startswith(("at ", "in ", "on "))
        nxt = self._row[i + 1] if i + 1 < len(self._row) else None
        names = nxt is not None and nxt.thing is not None and not nxt.thing.bare
        return self._predicate_next(i + 1) or (names and not led and self._predicate_next(i + 2))

    def _begins_other_side(self, i: int, thing: Thing) -> bool:
        """ "Left, bolts tight, sealer intact, right, one bolt loose": whether the other side is spoken of from here."""
        j = i + 1
        while j < len(self._row) and self._row[j].kind in ("number", "determiner", "skip"):
            j += 1
        nxt = self._row[j].thing if j < len(self._row) else None
        sides = {f.thing.side for f in self.frames if f.thing is not None} - {None, "both", thing.side}
        return bool(sides) and nxt is not None and not nxt.bare and self._predicate_next(j + 1)

    def _object(self, thing: Thing, joined: str, predicate: bool) -> None:
        frame = self._last
        assert frame is not None
        if self._with and thing.material is not None:
            if thing.side and frame.thing is not None and frame.thing.side is None:
                frame.thing = changed(frame.thing, side=thing.side, both=thing.both)  # "… with urethane, both sides"
            frame.material = thing.material
            frame.spans.extend(replace(s, role="material") for s in thing.spans)
            self._with = False
            return
        known = frame.thing is not None or frame.pronoun
        if self._with and known and thing.material is None and not thing.named and not predicate:
            self._with = False  # "cleared it with a wire": a tool
            return
        self._with = False
        done = frame.thing is not None or frame.pronoun
        if (
            done
            and thing.material is not None
            and frame.material is None
            and self._bare_material(frame, thing, predicate)
        ):
            frame.material = thing.material
            frame.spans.extend(replace(s, role="material") for s in thing.spans)
            return
        if self._brought_on(frame, thing, predicate):
            return
        if thing.material is not None and self._is_put_on(frame, thing):
            frame.material = thing.material
            frame.spans.extend(replace(s, role="material") for s in thing.spans)
            frame.by_material = thing.part
            return
        if predicate and (frame.thing is not None or frame.pronoun or frame.by_material is not None):
            self._begin(thing)
        elif frame.thing is None and not frame.pronoun:
            self._give_object(thing)
        elif joined and frame.material is not None and frame.by_material is None and not thing.bare:
            self._act(frame.acts, thing)  # "the left hinge with urethane and the right one with sealer"
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

    def _brought_on(self, frame: Frame, thing: Thing, predicate: bool) -> bool:
        """ "Bolt out, thread sealant on": a material brought on to what was just taken off."""
        action = self._lex.materials[thing.material].action if thing.material is not None else ""
        worked_on = frame.thing is not None or frame.pronoun or (len(self._clause) == 1 and len(self.frames) > 1)
        if not action or thing.part is not None or thing.named or predicate or not worked_on:
            return False
        if self._skipped.get(thing.start - 1) in self._lex.pack.words["anew"] and frame.acts[0] != action:
            worked = frame.thing  # "cleaned the joint, fresh mastic"
            self._close()
            self._act((action,), worked).material = thing.material
            return True
        taken = bool(frame.acts) and frame.acts[0] in self._lex.states
        if not taken or "access" not in self._lex.states[frame.acts[0]].kinds:
            return False
        nxt = next((r for r in self._row if r.start >= thing.end), None)
        if nxt is None or not nxt.is_a("preposition") or self._thing_ahead(self._row.index(nxt) + 1):
            return False
        worked = frame.thing
        self._close()
        self._act((action,), worked).material = thing.material
        return True

    def _is_put_on(self, frame: Frame, thing: Thing) -> bool:
        """A material as the object of the work that it is for ("gunned in urethane"), and no part that was there."""
        if frame.thing is not None or thing.named:
            return False
        if thing.part is None:
            return not thing.new
        assert thing.material is not None
        action = self._lex.materials[thing.material].action
        return not self._determined(thing) and bool(action) and frame.acts[0] == action

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
        elif frame.kind == "test" and frame.thing is None and not frame.result_at:
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
        if frame.thing is not None and thing.part is not None and not joined and self._came_off(i):
            # "The seal has come off its flange at the bottom": from what, and where of it.
            frame.thing = changed(frame.thing, at=tuple(dict.fromkeys((*frame.thing.at, *thing.at))))
            frame.spans.extend(thing.spans)
            return
        predicate = predicate or (
            i + 1 < len(self._row) and self._row[i + 1].kind == "plan" and frame.thing is not None
        )
        if frame.thing is None and thing.named and not joined and self._says_where(i):
            self._place_state(thing)  # "it ran down the pillar"
        elif nothing_yet and not joined and not self._predicate_next(i + 1):
            self._place_state(thing)
            frame.of_thing = True
        elif predicate:
            keep = joined == "or"
            negated, both = self._negated, self._both
            other_place = thing.bare and thing.at and not thing.side and frame.thing is not None and frame.thing.at
            if other_place and frame.thing is not None:
                thing = within(thing, changed(frame.thing, at=(), item=None, count=None, spans=()))  # "the upper one …"
            elif thing.bare and thing.side and frame.thing is not None and frame.thing.side not in (None, thing.side):
                # "The left trim is damp, the right is dry": the same thing on the other side.
                thing = within(thing, changed(frame.thing, side=None, at=(), item=None, count=None, spans=()))
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

    def _came_off(self, i: int) -> bool:
        """Whether the finding right before ends in a word of leaving ("come OFF its flange")."""
        said = self._row[i - 1] if i else None
        if said is None or said.kind != "state" or " " not in said.item.text or said.end == self._row[i].start:
            return False
        ending = self._lex.find((said.item.text.split(" ")[-1],))
        return any(s.tag == "word" and s.value in ("off", "away") for s in ending)

    def _says_where(self, i: int) -> bool:
        """Whether the word before the thing at ``i`` is a verb that ends in a word of place ("ran down")."""
        k = i - 1
        while k >= 0 and self._row[k].kind == "determiner":
            k -= 1
        said = self._row[k] if k >= 0 else None
        if said is None or said.kind != "state" or said.item.sense("state", "verb") is None:
            return False
        words = said.item.text.split(" ")
        ending = self._lex.find((words[-1],)) if len(words) > 1 else ()
        return any(s.tag == "word" and s.value in ("preposition", "to_place") for s in ending)

    def _thing_after_look(self, thing: Thing, joined: str, predicate: bool) -> None:
        frame = self._last
        assert frame is not None
        if self._with and thing.material is not None and not thing.named and frame.kind == "look":
            # "Went over it with sealer": work.
            frame.kind, frame.acts, frame.material = (
                "act",
                (self._lex.materials[thing.material].action,),
                thing.material,
            )
            frame.spans.extend(replace(s, role="material") for s in thing.spans)
            self._mode, self._with = "act", False
            return
        if predicate and frame.kind == "look":
            if thing.bare and frame.thing is not None:
                thing = within(thing, changed(frame.thing, side=None, at=(), item=None, count=None, spans=()))
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
