"""Statements of the cause become entries: "that is the leak"."""

from __future__ import annotations

from dataclasses import replace

from fieldnote.extract.compose_base import ComposerBase
from fieldnote.extract.draft import Draft
from fieldnote.extract.frames import Frame
from fieldnote.extract.lexicon import Finding
from fieldnote.extract.noun_phrases import Thing
from fieldnote.extract.state import Focus
from fieldnote.records import Entry


class CauseComposer(ComposerBase):
    """Composes sources."""

    def _last_fault(self, draft: Draft, place: str | None, part: str | None) -> Entry | None:
        """The fault that "that" points to: the last one found, or the last at the place of the last leaking test."""
        leaked = next((e for e in reversed(draft.recent) if e.kind == "test" and e.state == self._leak), None)
        first: Entry | None = None
        for entry in reversed(draft.recent):
            if entry.kind != "check" or not entry.present or (entry.state and self._lex.states[entry.state].sound):
                continue
            if place is not None and entry.place != place:
                continue
            if part is not None and entry.part != part:
                continue
            if first is None:
                first = entry
            if leaked is not None and entry.place == leaked.place:
                after = draft.recent.index(first) > draft.recent.index(leaked)
                return first if after else entry
        return first

    def _source(self, draft: Draft, frame: Frame) -> None:
        thing, finding = frame.thing, frame.finding
        if frame.presented and thing is None and finding is None and not self.fault_just_said(draft):
            return
        if thing is None and finding is None:
            fault = self._last_fault(draft, None, None)
            if fault is None:
                leaked = next((e for e in reversed(draft.recent) if e.kind == "test" and e.state == self._leak), None)
                if leaked is None:
                    return
                entry = Entry(kind="source", place=leaked.place, part=leaked.part, side=leaked.side)
            else:
                entry = Entry(kind="source", place=fault.place, part=fault.part, side=fault.side, state=fault.state)
        else:
            entry = self._named_source(draft, thing, finding)
        self._finish(draft, frame, replace(entry, certainty="unsure" if frame.unsure else "sure"))

    def fault_just_said(self, draft: Draft) -> bool:
        """Whether the utterance before, or this one so far, gave a fault or a leaking test."""
        ids = {*draft.last_said, *(e.id for e in draft.added)}
        return any(
            e.id in ids
            and e.present
            and (
                (e.kind == "check" and e.state and not self._lex.states[e.state].sound)
                or (e.kind == "test" and e.state == self._leak)
            )
            for e in draft.recent
        )

    def _named_source(self, draft: Draft, thing: Thing | None, finding: Finding | None) -> Entry:
        base = draft.focus
        if thing is not None and thing.part is not None and not thing.named:
            before = draft.antecedent(thing.part, ("check", "repair", "test"))
            if before is not None:
                base = Focus(before.place, before.part, before.side)
        carried = draft.focus.part if thing is None or thing.bare else None
        place, part, side = self._whereabouts.where(draft, thing, part=carried, base=base)
        state: str | None = None
        if finding is not None:
            kind_id = self._meanings.kind_of(finding, part, place)
            state = kind_id[1] if kind_id and kind_id[0] == "check" else finding.get("check")
        fault = self._last_fault(draft, place, part)
        if fault is not None:
            if state is None and (thing is None or thing.bare):
                state = fault.state
                part = part or fault.part
            if side is None and (thing is None or thing.side is None) and fault.state == state:
                side = fault.side
        return Entry(kind="source", place=place, part=part, side=side, state=state)  # type: ignore[arg-type]
