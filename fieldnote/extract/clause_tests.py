"""Tests in a clause: with what, where, how long."""

from __future__ import annotations

from dataclasses import replace

from fieldnote.extract.clause_base import ClauseBase
from fieldnote.extract.constituent import Constituent
from fieldnote.extract.frames import Frame


class TestReader(ClauseBase):
    """Tests in a clause: with what, where, how long."""

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
            if (evidence and self._lex.states[evidence].wet) or seen.finding.get("test") == self._lex.test_states[0]:
                # "Water came down the post when I hosed the joint", "thirty seconds after I started on the joint".
                frame.result, seen.outlet = "leak", True
                seen.thing = seen.thing or seen.weak
                timed = [m for m in seen.measures if self._dimension(m) == "time"]
                seen.measures = [m for m in seen.measures if m not in timed]
                frame.measures.extend(replace(m, cue="took") for m in timed)
                if not evidence:
                    seen.finding = None
                if not evidence and seen.thing is None:
                    self.frames.remove(seen)  # "it only leaks when the hose is on the glass"
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
        if (
            (said := self._last) is not None
            and self._mode == "act"
            and (self._with or self._prep)
            and self._puts_on_water(said)
        ):
            # "Filled the tray from the jug": no seal is made with what tests are made with.
            said.kind, said.acts, said.method = "test", (), c.sense.value
            said.mark(c.start, c.end, "method")
            self._mode, self._test, self._with, self._prep = "test", said, False, ""
            return
        if (said := self._last) is not None and said.kind == "look" and self._with:
            # "Checked the roof joint with the ultrasonic": a test.
            said.kind, said.method = "test", c.sense.value
            said.mark(c.start, c.end, "method")
            self._mode, self._test, self._with, self._prep = "test", said, False, ""
            return
        if self._seen_again(i, c):
            return
        self._prep = "" if self._with or self._prep in ("at", "to", "off") else self._prep
        test = self._last if self._mode == "test" and self._last is not None and self._last.kind == "test" else None
        same = test is not None and test.method == c.sense.value and not test.result and self._measure_next(i + 1)
        if test is not None and (same or test.method is None or self._with or (test.thing is None and not test.result)):
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
            and (
                said.finding.get("test")
                and (said.measures or not (said.finding.get("check") or said.finding.get("evidence")))
                and not said.outlet
            )
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
        nxt = self._row[i + 1] if i + 1 < len(self._row) else None
        came_out = nxt is not None and nxt.kind == "off" and nxt.end - nxt.start > 1 and not self._negated
        started = self._start_test(i, c, c.sense.value)
        if started is not None and came_out and c.sense.value in self._lex.showing:
            started.result, started.result_at = "leak", c.start  # "smoke out of the lamp"

    def _measure_next(self, j: int) -> bool:
        """Whether a measure comes next ("hose AT TEN PSI")."""
        while j < len(self._row) and self._row[j].kind in ("preposition", "determiner", "hedge"):
            j += 1
        return j < len(self._row) and self._row[j].kind == "quantity"

    def _seen_again(self, i: int, c: Constituent) -> bool:
        """ "Smoke tested the glass, smoke at the corner": where what the test was made with came out."""
        test, before = self._test, self._row[i - 1] if i else None
        nxt = self._row[i + 1] if i + 1 < len(self._row) else None
        if test is None or test.result or test.thing is None or c.sense is None or test.method != c.sense.value:
            return False
        if c.sense.value not in self._lex.showing:
            return False
        led = before is not None and before.kind in ("with", "preposition", "again", "handle")
        if led or self._negated or self._with or nxt is None or nxt.kind not in ("preposition", "to_place", "away"):
            return False
        self._close()
        test.result, test.result_at = "leak", c.start
        test.mark(c.start, c.end, "state")
        self._last, self._mode, self._test = test, "test", test
        self._clause = [test]
        return True

    def _puts_on_water(self, said: Frame) -> bool:
        sealing = {m.action for m in self._lex.materials.values() if m.action}
        return said.material is None and said.thing is not None and bool(said.acts) and said.acts[0] in sealing

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
        if self._linked and c.sense.form == "ing" and (self._subject_pronoun or self._subjects):
            self._reset()
            self._mode = "void"  # "it has been dumping water into the quarter": no test of ours
            return
        started = self._start_test(i, c, c.sense.value, verb=True)
        if started is not None:
            started.told = c.sense.form == "past" and c.item.sense("method", "base") is None

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
