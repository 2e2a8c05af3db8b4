"""Tests become entries: what was tested, with which result, and where its water came out."""

from __future__ import annotations

from dataclasses import replace

from fieldnote.extract.compose_base import ComposerBase
from fieldnote.extract.draft import Draft
from fieldnote.extract.frames import Frame
from fieldnote.extract.lexicon import Finding
from fieldnote.extract.noun_phrases import Thing
from fieldnote.extract.origins import origins_of
from fieldnote.extract.state import Focus
from fieldnote.records import Entry


class TestComposer(ComposerBase):
    """Composes tests, results and outlets."""

    def _test(self, draft: Draft, frame: Frame) -> None:
        for thing in [frame.thing, *frame.more]:
            self._one_test(draft, frame, thing)

    def _one_test(self, draft: Draft, frame: Frame, thing: Thing | None) -> None:
        base = draft.focus
        if thing is None or (not thing.named and thing.part is None):
            base = draft.topic or (draft.work if draft.work.place else draft.focus)
            last = draft.last_done()
            if (
                frame.pronoun
                and last is not None
                and last.kind in ("check", "access")
                and last.place == draft.focus.place
            ):
                base = draft.focus  # "hosed it": what was just spoken of
        elif thing.part is not None and not thing.named:
            before = draft.antecedent(thing.part, ("check", "source", "repair", "test", "access", "evidence"))
            if before is not None and not self._lex.parts[thing.part].usual_place:
                base = Focus(before.place, before.part, before.side)
        of_part = frame.pronoun and thing is not None and thing.bare and thing.side and draft.focus.place == base.place
        carried = draft.focus.part if of_part else None
        place, part, side = self._whereabouts.where(draft, thing, part=carried, base=base)
        if frame.of_thing and frame.pronoun and thing is None:
            side = "both"
        state = {"leak": self._leak, "dry": self._dry}.get(frame.result)
        tested = any(e.kind == "test" and e.place == place for e in draft.recent)
        verify = frame.retest or (frame.again and (tested or thing is None)) or place in draft.repaired
        entry = Entry(
            kind="test", place=place, part=part, side=side, state=state,  # type: ignore[arg-type]
            certainty="unsure" if frame.unsure else "sure",
            stage="verify" if verify else "find",
            method=frame.method,
            at=thing.at if thing is not None else (),
            item=thing.item if thing is not None else None,
            quantities=self._measures(
                frame.measures, test=True, leaks=frame.result == "leak", result_at=frame.result_at
            ),
            masked=draft.masked,
        )  # fmt: skip
        draft.masked = ()
        entry = self._finish(draft, frame, entry)
        draft.open_test = entry.id if state is None else None

    def _bare_result(self, draft: Draft, frame: Frame, thing: Thing | None) -> None:
        """ "The windshield leaks": a test's result, with no test named."""
        state = (frame.finding.get("test") or self._leak) if frame.finding else None
        if not frame.present:
            state = self._dry if state == self._leak else self._leak
        test = Frame(
            "test",
            frame.start,
            frame.end,
            thing,
            result="leak" if state == self._leak else "dry",
            measures=frame.measures,
            unsure=frame.unsure,
            spans=frame.spans,
            again=frame.again,
            method=frame.method,
        )
        last = next((e for e in reversed(draft.recent) if e.kind == "test"), None)
        done = draft.last_done()
        dry_word = state == self._dry and frame.present and not (frame.finding and frame.finding.get("evidence"))
        if dry_word and not frame.measures and (done is None or done.kind != "test"):
            return  # "nothing on the pedals", with no test under way
        if thing is not None and thing.material is not None and thing.part is None and not thing.named:
            return  # "paint's bubbling": a material leaks nothing
        if (
            thing is not None
            and thing.part is None
            and frame.head_form == "noun"
            and not frame.measures
            and frame.present
        ):
            # "Roof leak": what the job is about, and no test.
            self._topic(draft, frame)
            return
        if frame.pronoun and last is not None and draft.last_done() is not last and not frame.measures:
            return  # "poked the drains open and it gushed out"
        if thing is None or thing.bare:
            # "It leaks" after a test that leaked says it again.
            running = last is not None and bool(draft.recent) and draft.last_done() is last
            if last is not None and last.state == self._leak and state == self._dry and last.id in draft.changed:
                return  # "leaks at the corner, tight everywhere else"
            if last is None or (last.state == state and not (running and frame.measures)):
                return
            if running and frame.result == "":
                # "Nothing yet", then "now it is coming through": one test.
                leaks = state == self._leak
                measures = self._measures(frame.measures, test=True, leaks=leaks)
                kept = [q for q in last.quantities if not (measures and q.what in ("duration", "time-to-leak"))]
                draft.change(
                    replace(
                        last,
                        state=state,
                        quantities=tuple(dict.fromkeys((*kept, *measures))),
                        origins=(*last.origins, *origins_of(draft, frame)),
                    )
                )
                return
            if not frame.measures:
                return
        self._test(draft, test)

    def _came_out(self, draft: Draft, frame: Frame, finding: Finding) -> bool:
        """ "It did leak, there's a drip on the pillar": a sign elsewhere, told with the result of the test."""
        last, thing, evidence = draft.last_done(), frame.thing, finding.get("evidence")
        return (
            last is not None
            and last.kind == "test"
            and last.state == self._leak
            and last.id in draft.changed
            and bool(evidence and self._lex.states[evidence].wet)
            and thing is not None
            and thing.named
            and frame.present
            and self._whereabouts.where(draft, thing, part=None)[0] != last.place
        )

    def _shows_outlet(self, draft: Draft, frame: Frame, finding: Finding) -> bool:
        """ "It's coming out by the lamp", right after a test that leaked: where the water of that test came out."""
        last, thing = draft.last_done(), frame.thing
        return (
            last is not None
            and last.kind == "test"
            and last.state == self._leak
            and finding.get("test") == self._leak
            and thing is not None
            and thing.named
            and (thing.part is None or (thing.start > frame.spans[0].start and frame.head_form == "verb"))
            and frame.present
            and (frame.pronoun or frame.head_form == "verb")
            and self._whereabouts.where(draft, thing, part=None)[0] != last.place
        )

    def _outlet(self, draft: Draft, frame: Frame) -> None:
        """Where a test's water came out: evidence, which leaves the place of the test the one that is spoken of."""
        focus = draft.focus
        for thing in [frame.thing, *frame.more]:
            state = frame.finding.get("evidence") if frame.finding else None
            state = state or self._meanings.water
            place, part, side = self._whereabouts.where(draft, thing, part=None)
            entry = Entry(
                kind="evidence", place=place, part=part, side=side, state=state,  # type: ignore[arg-type]
                present=frame.present,
                certainty="unsure" if frame.unsure else "sure",
                at=thing.at if thing else (),
                quantities=self._measures([m for m in frame.measures if self._dimension(m) == "length"], test=False),
            )  # fmt: skip
            self._finish(draft, frame, entry)
        draft.focus = focus

    def _sounds_well(self, draft: Draft, frame: Frame, finding: Finding) -> bool:
        """ "Fine", said alone while a test runs: nothing came in."""
        check = finding.get("check")
        sound = bool(check and self._lex.states[check].sound) and not finding.get("test")
        return sound and frame.thing is None and frame.present and not frame.presented and not draft.added

    def _answers_open_test(self, draft: Draft, frame: Frame, finding: Finding) -> bool:
        """A result said in the utterance after its test."""
        test = draft.find(draft.open_test)
        state, evidence = finding.get("test"), finding.get("evidence")
        wet = bool(evidence and self._lex.states[evidence].wet)
        if test is not None and self._sounds_well(draft, frame, finding):
            state = self._dry
        if test is None or not (state or wet):
            return False
        if any(e.kind == "repair" for e in draft.recent[draft.recent.index(test) :]) and not frame.pronoun:
            return False  # mended since: another test
        thing = frame.thing
        if thing is not None and not thing.bare and finding.get("check") and not evidence:
            return False
        elsewhere = thing is not None and thing.place not in (None, test.place) and not evidence and not thing.part
        if thing is not None and elsewhere and (thing.start < frame.spans[0].start or frame.head_form == "noun"):
            return False  # "the windscreen is leaking", said of another place than was tested
        outcome = state or self._leak
        if not frame.present:
            outcome = self._dry if outcome == self._leak else self._leak
        at = thing.at if thing is not None and thing.bare else ()
        side = thing.side if thing is not None and thing.bare else None
        measures = self._measures(frame.measures, test=True, leaks=outcome == self._leak)
        draft.change(
            replace(
                test,
                state=outcome,
                side=side or test.side,  # type: ignore[arg-type]
                at=tuple(dict.fromkeys((*test.at, *at))),
                quantities=tuple(dict.fromkeys((*test.quantities, *measures))),
                certainty="unsure" if frame.unsure else test.certainty,
                origins=(*test.origins, *origins_of(draft, frame)),
            )
        )
        draft.open_test = None
        if thing is not None and not thing.bare and (outcome == self._leak or evidence):
            place = self._whereabouts.where(draft, thing, part=None)[0]
            surface = bool(evidence) and thing.part is not None and thing.part != test.part
            if place != test.place or surface:  # "drips off the headliner": also where it is named by its surface alone
                shown = replace_frame(
                    frame,
                    outlet=True,
                    finding=finding if evidence and (wet or state is None or outcome == self._dry) else None,
                )
                self._outlet(draft, shown)
        return True


def replace_frame(frame: Frame, *, outlet: bool, finding: Finding | None) -> Frame:
    """A frame as the outlet of a test."""
    return Frame(
        "state", frame.start, frame.end, frame.thing, list(frame.more), finding, frame.head_form, present=frame.present,
        unsure=frame.unsure, outlet=outlet, of_thing=True, spans=list(frame.spans), sure=frame.sure,
    )  # fmt: skip
