"""Findings become entries: signs of water and faults."""

from __future__ import annotations

from dataclasses import replace

from fieldnote.extract.compose_tests import TestComposer, replace_frame
from fieldnote.extract.draft import Draft
from fieldnote.extract.frames import Frame
from fieldnote.extract.lexicon import Finding
from fieldnote.extract.noun_phrases import Thing
from fieldnote.records import Entry


class FindingComposer(TestComposer):
    """Composes evidence and checks; what turns out to be a result goes to the tests."""

    def _state(self, draft: Draft, frame: Frame) -> None:
        if frame.outlet:
            self._outlet(draft, frame)
            return
        finding = frame.finding
        assert finding is not None
        if self._how_warm(draft, frame, finding):
            return
        if self._answers_open_test(draft, frame, finding):
            return
        if self._came_out(draft, frame, finding):
            self._outlet(draft, frame)
            return
        if self._shows_outlet(draft, frame, finding):
            self._outlet(draft, replace_frame(frame, outlet=True, finding=None))
            return
        for thing in [frame.thing, *frame.more]:
            self._one_state(draft, frame, finding, thing)

    def _how_warm(self, draft: Draft, frame: Frame, finding: Finding) -> bool:
        """ "Water at fifteen degrees": that of the test, and no sign of water."""
        evidence = finding.get("evidence")
        warm = any(self._dimension(m) == "temperature" for m in frame.measures)
        thing = frame.thing
        if not warm or not (evidence and self._lex.states[evidence].wet) or not (thing is None or thing.bare):
            return False
        test = draft.find(draft.open_test)
        if test is not None:
            draft.change(replace(test, quantities=(*test.quantities, *self._measures(frame.measures, test=True))))
        return True

    def _time_of_test(self, draft: Draft, frame: Frame, evidence: str | None) -> None:
        """ "Three minutes and a drip on the headliner": the time is that of the test under way, not of the sign."""
        times = [m for m in frame.measures if self._dimension(m) == "time"]
        frame.measures = [m for m in frame.measures if m not in times]
        test, wet = draft.last_done(), bool(evidence and self._lex.states[evidence].wet)
        if test is None or test.kind != "test" or test.state == self._dry or not wet or not frame.present:
            return
        soon = [
            q for q in self._measures(times, test=True, leaks=True) if all(q.what != o.what for o in test.quantities)
        ]
        draft.change(replace(test, state=self._leak, quantities=(*test.quantities, *soon)))

    def _one_state(self, draft: Draft, frame: Frame, finding: Finding, thing: Thing | None) -> None:
        part_hint = thing.part if thing else None
        if part_hint is None and (thing is None or not thing.named):
            part_hint = draft.focus.part
        kind_id = self._meanings.kind_of(finding, part_hint, thing.place if thing else draft.focus.place)
        timed = any(self._dimension(m) in ("time", "pressure") for m in frame.measures)
        evidence = finding.get("evidence")
        wet = bool(evidence and self._lex.states[evidence].wet) and (thing is None or thing.part is None)
        if kind_id is not None and timed and (finding.get("test") or wet):
            self._bare_result(draft, frame, thing)
            return
        if kind_id is None:
            if finding.get("test"):
                self._bare_result(draft, frame, thing)
            elif thing is not None and thing.named:
                self._topic(draft, Frame("topic", frame.start, frame.end, thing))  # "mud in the left footwell"
            return
        kind, state = kind_id
        if timed and kind == "evidence":
            self._time_of_test(draft, frame, evidence)
        if not frame.present and kind == "check" and self._lex.states[state].sound:
            return  # "not good": what is wrong is said elsewhere, or not at all
        weak = frame.weak
        carried = (
            draft.focus.part
            if kind == "check"
            or frame.pronoun
            or (frame.thing is None and not frame.presented and frame.head_form != "noun")
            else None
        )
        if frame.presented and frame.thing is None:
            carried = draft.focus.part if kind == "check" and not draft.just_accessed() else None
        if weak is not None and (thing is None or not thing.named):
            thing = (
                replace(thing, place=weak.place, generic=weak.generic, side=thing.side or weak.side)
                if thing
                else Thing(place=weak.place, generic=weak.generic, side=weak.side, start=weak.start, end=weak.end)
            )
        if kind == "evidence" and frame.inherited and frame.head_form == "noun" and thing is not None:
            thing = replace(thing, part=None)
        place, part, side = self._whereabouts.where(draft, thing, part=carried)
        entry = Entry(
            kind=kind,  # type: ignore[arg-type]
            place=place, part=part, side=side, state=state,  # type: ignore[arg-type]
            present=frame.present,
            certainty="unsure" if frame.unsure else "sure",
            at=thing.at if thing else (),
            item=self._item(draft, frame, thing, place),
            quantities=self._measures(frame.measures, test=False, count=self._count(frame, thing)),
        )  # fmt: skip
        self._finish(draft, frame, entry)
