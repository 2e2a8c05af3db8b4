"""What a finding or a verb means of the thing that it was said of: kind of entry and state."""

from __future__ import annotations

from fieldnote.extract.draft import Draft
from fieldnote.extract.frames import Frame
from fieldnote.extract.lexicon import Finding, Lexicon
from fieldnote.extract.noun_phrases import Thing
from fieldnote.extract.state import Focus
from fieldnote.records import Entry


class Meanings:
    """Gives words of findings and of work their kind and state, with one lexicon."""

    def __init__(self, lexicon: Lexicon) -> None:
        self._lex = lexicon
        self._reseating = self._action("reseat")
        self._replacing = self._action("replace")
        self._refitting = self._action("refit")
        self.water = next((s.id for s in lexicon.states.values() if s.wet), "")
        """The plainest sign: the first wet one of the pack."""

    def _action(self, verb: str) -> str:
        """The action that a verb names."""
        return next((s.value[0] for s in self._lex.find((verb,)) if s.tag == "act"), "")

    def finding_kind(self, finding: Finding, entry: Entry) -> tuple[str, str] | None:
        """Kind and id of a finding, said of what an entry is about."""
        if entry.kind == "test":
            state = finding.get("test")
            return ("test", state) if state else None
        if entry.kind in ("check", "evidence") and finding.get(entry.kind):
            kind = self.kind_of(finding, entry.part, entry.place)
            return kind if kind and kind[0] == entry.kind else (entry.kind, str(finding.get(entry.kind)))
        return self.kind_of(finding, entry.part, entry.place)

    def kind_of(self, finding: Finding, part: str | None, place: str | None) -> tuple[str, str] | None:
        """Kind and id of a finding said of a part: readings that name the part first, evidence before check."""
        general: tuple[str, str] | None = None
        for index in finding.readings:
            row = self._lex.readings[index]
            kinds = row.kinds or tuple(k for k in self._lex.states[row.state].kinds)
            kind = next((k for k in kinds if k in ("evidence", "check")), None)
            if kind is None:
                continue
            if (part is not None and part in row.parts) or (row.places and place in row.places):
                return kind, row.state
            if not row.parts and not row.places and general is None:
                general = (kind, row.state)
        by_kind = finding.get("check"), finding.get("evidence")
        if general is not None and not (by_kind[0] or by_kind[1]):
            return general
        if finding.get("evidence"):
            return "evidence", str(finding.get("evidence"))
        if finding.get("check"):
            return "check", str(finding.get("check"))
        if general is not None:
            return general
        return None

    def mended_fault(self, draft: Draft, finding: Finding) -> tuple[Thing | None, Focus]:
        """What "sealed the pinhole" was done to: the thing that has one."""
        ids = {id for _, id in finding.by_kind} | {self._lex.readings[r].state for r in finding.readings}
        for entry in reversed(draft.recent):
            if entry.state in ids and entry.present and entry.kind in ("check", "source", "evidence"):
                focus = Focus(entry.place, entry.part, entry.side)
                return Thing(part=entry.part), focus
        return None, draft.focus

    def act_state(self, draft: Draft, frame: Frame, thing: Thing | None) -> tuple[str, str]:
        """Kind and action of a verb. A new part put in replaces; another part put in again is refitted."""
        if frame.acts == ("new",):
            return "repair", self._named_for(self._replacing, thing.part if thing is not None else None)
        if frame.acts == ("put",):
            taken = any(
                e.kind == "access"
                and thing is not None
                and (e.part == thing.part or (e.part is None and e.place == thing.place))
                for e in draft.recent
            )
            return ("access", self._refitting) if taken else ("repair", self._replacing)
        ids = [a for a in frame.acts if a]
        if not ids:
            return "", ""
        chosen = ids[0]
        if chosen != self._replacing:
            chosen = self._named_for(chosen, thing.part if thing is not None else draft.focus.part)
        if chosen == self._refitting and thing is not None and thing.part is not None:
            before = draft.antecedent(thing.part, ("check", "source", "access"))
            if before is not None and before.kind != "access" and before.present:
                return "repair", self._reseating or chosen
        kinds = self._lex.states[chosen].kinds
        return ("access" if "access" in kinds else "repair"), chosen

    def _named_for(self, action: str, part: str | None) -> str:
        """The action by the name that it has on this part ("pushed the tube back on" reconnects it)."""
        for row in self._lex.readings:
            if row.instead_of == action and part is not None and part in row.parts:
                return row.state
        return action
