"""Work in a clause: what was taken off, mended, put in or put on."""

from __future__ import annotations

from dataclasses import replace

from fieldnote.extract.clause_base import ClauseBase
from fieldnote.extract.constituent import Constituent
from fieldnote.extract.frames import Frame
from fieldnote.extract.noun_phrases import Thing


class WorkReader(ClauseBase):
    """Work in a clause: what was taken off, mended, put in or put on."""

    def _on_act(self, i: int, c: Constituent) -> int | None:
        bedded = self._bedded(i, c)
        if bedded is not None:
            return bedded
        self._read_act(i, c)
        return None

    def _bedded(self, i: int, c: Constituent) -> int | None:
        """ "New grommet, bedded in mastic": what the new part was put in with; the word to go on from."""
        told = bool(self._subjects) and self._subjects[-1].new and self._mode == ""
        last = self._last
        fitted = self._mode == "act" and last is not None and last.acts == ("new",) and last.thing is not None
        if (
            not (told or fitted)
            or self._joined
            or c.sense is None
            or c.sense.form not in ("past", "participle", "said")
        ):
            return None
        j = i + 1
        while j < len(self._row) and self._row[j].kind in ("preposition", "with", "to_place", "new", "skip"):
            j += 1
        thing = self._row[j].thing if j < len(self._row) else None
        if thing is None or thing.material is None or thing.named or (fitted and last is not None and last.material):
            return None
        if told:
            last = self._act(("new",), self._subjects[0])
            last.more.extend(self._subjects[1:])
        assert last is not None
        last.material = thing.material
        last.mark(c.start, thing.end, "material")
        return j + 1

    def _read_act(self, i: int, c: Constituent) -> None:
        assert c.sense is not None
        acts = tuple(c.sense.value)
        passive = bool(self._subjects) and self._mode == "" and (self._linked or self._is_passive(i))
        passive = passive and not (c.sense.form == "base" and i > 0 and self._row[i - 1].is_a("to"))
        before = self._row[i - 1] if i else None
        told_of = before is not None and before.kind in ("subject", "plan") and before.item.text.startswith(("i", "we"))
        if not passive and told_of and self._subjects and self._mode == "" and not self._object_ahead(i + 1):
            passive = True  # "the trim I take away"
        if not passive and self._plan and self._subjects and self._mode == "":
            passive = c.sense.form in ("past", "participle")  # "must still be replaced"
        if self._by_others:
            self._close()
            self._mode = "void"
            return
        if self._negated and not (passive and c.sense.form == "said"):
            # "Did not pull the trim": nothing was done.
            self._close()
            self._mode = "void"
            return
        if passive and self._linked and c.sense.form == "ing" and self._object_ahead(i + 1):
            self._reset()
            self._mode = "void"  # "the harness is pulling it to one side": no work of ours
            return
        if passive:
            subjects = list(self._subjects)
            around = [r.kind for r in self._row[i + 1 : i + 3]] == ["preposition", "pronoun"]
            if subjects[-1].new and around and not self._linked:
                for named in subjects:
                    self._act(("",), named, new=True)
                self._act(acts, None, c=c).pronoun = True  # "new bolt in the hinge, sealed under it"
                return
            if subjects[-1].new and self._takes_torque(acts[0]):
                for earlier in subjects[:-1]:
                    self._act(("",), earlier, new=earlier.new)
                self._act(("",), subjects[-1], c=c, new=True)  # "new screw, torqued to eight newton metres"
                return
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
                or (
                    not self._joined
                    and self._torque_ahead(i + 1)
                    and (self._last.thing is not None or self._last.material is not None)
                )
            )
        )
        if same and self._last is not None:
            # "Put thread sealant on the screw, torqued to": one piece of work.
            self._last.mark(c.start, c.end, "head")
            return
        share = self._mode == "act" and self._joined and self._last is not None
        previous = self._last if share else None
        base = c.item.sense("act", "base") is not None
        plan = self._plan and (base or c.item.sense("act", "said") is not None or bool(share))
        plan = plan or (self.later and base)
        led = i > 0 and self._row[i - 1].kind == "plan"
        plan = plan or (self._plan and led and c.sense.form == "ing")  # "recommend removing the glass"
        again, unsure = self._again, self._unsure
        clause = list(self._clause) if share else []
        measures = self._measures
        outer = self._outer
        told = self._linked and c.sense.form in ("past", "participle") and not self._object_ahead(i + 1)
        self._close()
        self._plan = plan
        self._again, self._unsure = again, unsure
        frame = self._act(acts, None, c=c)
        told = told or (c.sense.form == "said" and c.item.text.endswith(" one"))  # "new one's on"
        frame.pronoun = told  # "the holes are rodded through"
        frame.measures.extend(measures)
        frame.told = c.sense.form == "past" and not base
        if outer is not None and not plan:
            frame.weak = outer
        if previous is not None:
            self._clause = [*clause, frame]
            frame.weak = previous.thing
            frame.of_thing = previous.thing is None and not previous.pronoun

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
        if passive and self._dropped_there(i, c):
            return
        if passive and self._linked and self._subjects[-1].part is not None and c.is_a("put_in"):
            return
        plan, again = self._plan, self._again
        self._close()
        self._plan = plan and bool(c.sense and c.sense.form == "base")
        self._again = again
        self._handle = c

    def _dropped_there(self, i: int, c: Constituent) -> bool:
        """ "Headliner dropped in the front": taken off there, where the words together would put something in."""
        verb, _, rest = c.item.text.partition(" ")
        done = next((s for s in self._lex.find((verb,)) if s.tag == "act" and s.form in ("past", "participle")), None)
        where = next((r for r in self._row[i + 1 :] if r.kind != "determiner"), None)
        at = where.thing if where is not None else None
        if not rest or done is None or self._subjects[-1].new or at is None or not at.bare or not at.at:
            return False
        self._act(tuple(done.value), self._subjects[0], c=c).more.extend(self._subjects[1:])
        return True

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
                frame.thing, frame.material = replace(thing, material=None), thing.material if thing.part else None
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
        if self._laid_aside(handle) and thing.place is not None and not self._water:
            return
        if self._water or (handle.is_a("apply") and self._water):
            frame = self._test_frame(handle, None)
            frame.thing = thing
            return
        self._subjects = [thing]

    def _laid_aside(self, handle: Constituent) -> bool:
        """ "Took the lamp off and laid it on the bench": where a thing that was taken off was put, and no topic."""
        done = self.frames[-1] if self.frames else None
        if done is None or done.kind != "act" or not done.acts or done.acts[0] not in self._lex.states:
            return False
        k = next(n for n, r in enumerate(self._row) if r is handle) + 1
        it = k < len(self._row) and self._row[k].kind == "pronoun"
        return it and "access" in self._lex.states[done.acts[0]].kinds

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
