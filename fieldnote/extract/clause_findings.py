"""Findings in a clause: what things are said to be, and the results of tests."""

from __future__ import annotations

from fieldnote.extract.clause_base import ClauseBase
from fieldnote.extract.constituent import Constituent
from fieldnote.extract.frames import Frame
from fieldnote.extract.lexicon import Finding
from fieldnote.extract.noun_phrases import Thing, changed, located, same_thing, within


class FindingReader(ClauseBase):
    """Findings in a clause: what things are said to be, and the results of tests."""

    def _on_state(self, i: int, c: Constituent) -> int | None:
        named = self._names_fault(i, c)
        if named is not None:
            outer = self._subjects[-1] if self._subjects else (self._last.thing if self._last is not None else None)
            joined = self._joined
            self._close()
            self._subjects = [named if outer is None else within(named, changed(outer, part=None, at=(), count=None))]
            self._joined = joined
            finding = c.item.finding
            assert finding is not None
            self._push_state(c, finding, "adj")
            self._joined = ""
            return i + 2
        self._read_state(i, c)
        return None

    def _names_fault(self, i: int, c: Constituent) -> Thing | None:
        """ "The mirror has a torn gasket and a pinched cable": the part that a fault is named with."""
        nxt = self._row[i + 1] if i + 1 < len(self._row) else None
        before = self._row[i - 1] if i else None
        if nxt is None or before is None or nxt.thing is None or before.kind != "determiner" or nxt.start != c.end:
            return None
        ties = self._linked and self._mode == "" and self._subjects
        goes_on = self._mode == "state" and self._joined and self._last is not None and self._last.thing is not None
        part = (nxt.thing.part is not None or nxt.thing.part_word >= 0) and not nxt.thing.named
        if not part or not (ties or goes_on) or c.item.sense("state", "adj") is None or self._test is not None:
            return None
        return None if self._predicate_next(i + 2) else nxt.thing

    def _points_back(self, i: int, c: Constituent, finding: Finding) -> bool:
        """ "Out of the hole", "around the gap": a place told by a fault that is known, and no finding."""
        if finding.get("evidence") or finding.get("test") or c.item.sense("state", "noun") is None or i < 2:
            return False
        named, led = self._row[i - 1], self._row[i - 2]
        if named.kind != "determiner" or named.item.text not in ("the", "that", "this") or self._mode == "source":
            return False
        return led.kind in ("preposition", "to_place", "off", "away", "of") and named.end == c.start

    def _read_state(self, i: int, c: Constituent) -> None:
        finding = c.item.finding
        assert finding is not None
        idle = i and self._row[i - 1].is_a("when") and self._test is None and not self._earlier_test
        if idle and not finding.get("evidence") and not finding.get("check"):
            return  # "it was fogged when it came in": the vehicle
        if self._points_back(i, c, finding):
            self._prep = ""
            return
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
        told = i > 0 and self._row[i - 1].kind == "thing" and bool(self._subjects) and not self._linked
        if told and form == "noun" and c.item.text.endswith("s") and c.item.sense("state", "verb") is not None:
            form = "verb"  # "antenna leaks"
        if self._timed_look(finding):
            self._test, self._mode, self._presented = self.frames[-1], "test", False
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
        before = self._row[i - 1] if i else None
        anew = before is not None and before.item.text in ("a", "an", "some") and before.end == c.start
        if self._negated and form == "noun" and anew and self._subjects and not self._linked and not self._joined:
            self._negated = False  # "no primer on the flange, some rust"
        said = finding.get("check")
        asked = self._mode == "source" and self._last is not None and self._last.finding is None
        if asked and said and self._lex.states[said].sound:
            return  # "the cause is clear"
        if self._last is not None and asked and said:
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

    def _timed_look(self, finding: Finding) -> bool:
        """ "Moved up to the roof joint and within a minute there is water": a test, and how soon it leaked."""
        look = self.frames[-1] if self.frames else None
        if look is None or look.kind != "look" or look.thing is None or look.plan:
            return False
        evidence = finding.get("evidence")
        shown = finding.get("test") or (evidence and self._lex.states[evidence].wet)
        if not shown or not any(self._dimension(m) == "time" for m in look.measures):
            return False
        look.kind = "test"
        return True

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
        plain = next((s.id for s in self._lex.states.values() if s.wet), "")
        said = last.finding.get("evidence") if last is not None and last.finding is not None else None
        if said == plain and finding.get("evidence") not in (None, plain):
            return False  # "water sitting in it": the second word says more
        return (
            self._mode == "state"
            and last is not None
            and last.end == c.start
            and (last.head_form == "noun" or not finding.get("evidence"))
            and form != "noun"
            and last.finding is not None
            and bool(last.finding.get("evidence"))
            and (
                (
                    c.item.text.split(" ")[0].endswith("ing")
                    and bool(finding.get("evidence") or (not self._linked and not self._joined))
                )
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
        words = c.item.text.split(" ")
        for said in dict.fromkeys((tuple(words), tuple(words[:1]), tuple(words[-1:]))):
            for negator in ("not", "isnt"):
                for sense in self._lex.find((negator, *said)):
                    if sense.tag == "state":
                        return sense.value  # type: ignore[no-any-return]
        return None

    def _begin_keeping(self) -> None:
        negated = self._negated and self._joined == "or"
        self._close()
        self._negated = negated

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
        if previous is not None and self._water_moves(
            previous, finding, c.start, form != "noun" or c.item.text.endswith("ing")
        ):
            previous.finding, previous.head_form, previous.spans = finding, "verb", []
            previous.present = previous.present and not self._negated
            previous.mark(c.start, c.end, "head")
            previous.measures.extend(self._measures)
            self._measures, self._linked = [], False
            return
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
                and previous.present == (not self._negated)
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
        frame.method = self._method_told(c, finding)
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
        if (
            self._mending
            and self.frames
            and frame.thing is not None
            and self.frames[-1].thing is not None
            and (
                frame.thing.part
                and frame.thing.part == self.frames[-1].thing.part
                and self.frames[-1].kind in ("act", "state")
            )
        ):
            frame.thing = located(frame.thing, self.frames[-1].thing)
            self.frames.pop()
        self._mending = False
        self._add(frame)

    def _method_told(self, c: Constituent, finding: Finding) -> str | None:
        """ "Smoke came out": what the test was made with, where the words of its result name it."""
        if not finding.get("test") or finding.get("evidence") or finding.get("check"):
            return None
        words = [s for w in c.item.text.split(" ") for s in self._lex.find((w,))]
        return next((s.value for s in words if s.tag == "method" and s.form == "noun"), None)

    def _water_moves(self, said: Frame, finding: Finding, finding_at: int, verbal: bool) -> bool:
        """ "The water is coming in at the sill": what water does, and no sign before it."""
        sign = said.finding.get("evidence") if said.finding is not None else None
        plain = bool(sign and self._lex.states[sign].wet) and said.head_form == "noun"
        moves = not finding.get("check") and (
            finding.get("test") == self._lex.test_states[0] or finding.get("evidence")
        )
        return plain and bool(moves) and (self._linked or said.end == finding_at) and verbal and not said.measures

    def _result(self, c: Constituent, finding: Finding, form: str) -> bool:
        """Take the finding as the result of the test under way; whether it was one."""
        test = self._test
        assert test is not None
        leak, dry = self._lex.test_states
        state = finding.get("test")
        evidence = finding.get("evidence")
        wet = bool(evidence and self._lex.states[evidence].wet)
        own_subject = bool(self._subjects) and not (
            test.thing is not None and same_thing(test.thing, self._subjects[-1])
        )
        before = next((r for r in self._row if r.end == c.start and r.kind == "state"), None)
        told = before.item.finding if before is not None else None
        if told is not None and told.get("test") == self._lex.test_states[1] and test.result == "dry" and state == leak:
            return True  # "nothing entered"
        denied = before is not None and test.result == "dry" and test.result_at == before.start
        if denied and before is not None and before.item.is_a("water") and state == leak:
            return True  # "no water entered"
        if (
            c.item.is_a("water")
            and not test.result
            and test.thing is None
            and not self._presented
            and not self._negated
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
            if test.result == "dry" and (state == leak or wet) and not self._negated and not self._mending:
                self._test = None  # "that is dry; the lamp leaks": another one
                return False
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
        test.method = test.method or (self._method_told(c, c.item.finding) if c.item.finding is not None else None)
        test.result_at = c.start
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
            "away",
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
