"""Work becomes entries: what was opened or closed, mended, or is still to be done."""

from __future__ import annotations

from dataclasses import replace

from fieldnote.extract.compose_base import ComposerBase
from fieldnote.extract.draft import Draft
from fieldnote.extract.frames import Frame
from fieldnote.extract.noun_phrases import Thing
from fieldnote.extract.state import Focus
from fieldnote.records import Entry


class WorkComposer(ComposerBase):
    """Composes access, repairs and plans."""

    def _act(self, draft: Draft, frame: Frame) -> None:
        for thing in [frame.thing, *frame.more]:
            self._one_act(draft, frame, thing)

    def _one_act(self, draft: Draft, frame: Frame, thing: Thing | None) -> None:
        kind, state = self._meanings.act_state(draft, frame, thing)
        if not state:
            return
        base = draft.focus
        if frame.fault is not None and thing is None:
            thing, base = self._meanings.mended_fault(draft, frame.fault)
        if thing is None and frame.weak is not None and frame.of_thing is False and not frame.pronoun:
            thing = replace(frame.weak, at=(), item=None, count=None)
        part = thing.part if thing is not None else None
        if thing is not None and part is not None and not thing.named and not self._lex.parts[part].usual_place:
            kinds = ("check", "source", "repair") if kind == "repair" else ("access", "repair", "check", "source")
            before = draft.antecedent(part, kinds) or draft.antecedent(part, ("evidence",))
            if before is not None and not (before.place == base.place and base.side == "both"):
                base = Focus(before.place, before.part, before.side)
        elif kind == "repair" and (thing is None or thing.bare):
            base = draft.focus
        carried = frame.by_material or (draft.focus.part if kind == "repair" or frame.pronoun else None)
        if thing is None and not frame.pronoun and kind == "access":
            carried = draft.focus.part
        place, part, side = self._whereabouts.where(draft, thing, part=carried, base=base)
        if frame.of_thing and thing is None and side and frame.pronoun:
            side = "both" if draft.both_before() else side
        entry = Entry(
            kind=kind,  # type: ignore[arg-type]
            place=place, part=part, side=side, state=state,  # type: ignore[arg-type]
            material=frame.material if kind == "repair" else None,
            certainty="unsure" if frame.unsure else "sure",
            at=thing.at if thing is not None else (),
            item=thing.item if thing is not None else None,
            quantities=self._measures(frame.measures, test=False, count=self._count(frame, thing)),
        )  # fmt: skip
        self._finish(draft, frame, entry)

    def _plan(self, draft: Draft, frame: Frame) -> None:
        state: str | None = None
        if frame.kind == "act":
            kind, state = self._meanings.act_state(draft, frame, frame.thing)
            if not state:
                return
            if kind == "access":
                state = state if False else None
        elif frame.kind == "test":
            state = "test"
        elif frame.kind == "state" or frame.kind == "source":
            return
        focus = draft.focus
        for thing in [frame.thing, *frame.more]:
            if thing is None and frame.kind in ("topic", "look") and not frame.pronoun:
                continue
            if frame.kind == "topic" and thing is not None and thing.place is None and thing.part is None:
                continue
            base = draft.work if frame.kind == "test" and draft.work.place and thing is None else draft.focus
            if (
                thing is not None
                and thing.part is not None
                and not thing.named
                and not self._lex.parts[thing.part].usual_place
            ):
                kinds = ("check", "source", "repair", "access", "test")
                before = draft.antecedent(thing.part, kinds) or draft.antecedent(thing.part, ("evidence",))
                if before is not None:
                    base = Focus(before.place, before.part, before.side)
            carried = draft.focus.part if frame.kind == "act" else None
            planned = draft.added[-1] if draft.added else None
            if thing is None and frame.pronoun and planned is not None and planned.kind == "plan":
                base = Focus(planned.place, planned.part, planned.side)  # "pull the glass and reset it"
                carried = planned.part
            place, part, side = self._whereabouts.where(draft, thing, part=carried, base=base)
            if state is None and any(
                e.kind == "plan" and (e.place, e.part, e.side) == (place, part, side) for e in draft.added
            ):
                continue  # "must be replaced, it is ordered": planned already
            entry = Entry(
                kind="plan",
                place=place,
                part=part,
                side=side,  # type: ignore[arg-type]
                state=state,
                at=thing.at if thing else (),
                item=thing.item if thing else None,
                certainty="unsure" if frame.unsure else "sure",
                quantities=self._measures(frame.measures, test=False, count=self._count(frame, thing)),
            )
            self._finish(draft, frame, entry)
        draft.focus = focus if frame.kind in ("topic", "look") else draft.focus
