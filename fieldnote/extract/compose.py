"""Frames become entries: what was not said is taken from what was said before, where the rules of carrying allow it.

The rules are those of the entry's contract: a side, place or part holds until another is named; a new place drops the
old part and, outside its assembly, the old side; a test that names no place is at the place of the work before it.
"""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

from fieldnote.extract.frames import Frame, Measure
from fieldnote.extract.items import Line
from fieldnote.extract.lexicon import Finding, Lexicon
from fieldnote.extract.noun_phrases import Span, Thing
from fieldnote.extract.state import Focus, State
from fieldnote.records import Entry, Origin, Quantity, Utterance

_OTHER = {"left": "right", "right": "left"}


@dataclass(slots=True)
class Draft:
    """One utterance's work in progress: what it adds and changes, and what is carried on."""

    utterance: Utterance
    line: Line
    focus: Focus
    work: Focus
    places: list[str]
    recent: list[Entry]
    repaired: set[str]
    open_test: str | None
    masked: tuple[str, ...]
    last_said: tuple[str, ...]
    said_before: tuple[tuple[str, ...], ...]
    """Ids of what the utterances before the last one gave, the newest first."""
    added: list[Entry] = field(default_factory=list)
    changed: dict[str, Entry] = field(default_factory=dict)
    withdrawn: list[str] = field(default_factory=list)
    stay: bool = False
    topic: Focus | None = None
    """A place that this utterance named as what it speaks of: a test "there" is at it."""
    item: int | None = None
    """Number of the one of many spoken of in this utterance: it holds for what is said of it further on."""
    item_part: str | None = None
    item_end: int = 0
    """The part that was numbered last, and the word after it."""
    ids: dict[str, int] = field(default_factory=dict)

    @classmethod
    def of(cls, state: State, utterance: Utterance, line: Line) -> Draft:
        """Begin from what is remembered."""
        return cls(
            utterance, line, state.focus, state.work, list(state.places), list(state.recent), set(state.repaired),
            state.open_test, state.masked, state.said[0] if state.said else (), state.said[1:],
        )  # fmt: skip

    def find(self, id: str | None) -> Entry | None:
        """An entry by its id, among those still at hand."""
        for entry in reversed(self.recent):
            if entry.id == id:
                return entry
        return None

    def put(self, entry: Entry) -> Entry:
        """Add a new entry."""
        self.added.append(entry)
        self.recent.append(entry)
        return entry

    def change(self, entry: Entry) -> None:
        """Replace an entry by its next version."""
        for n, old in enumerate(self.recent):
            if old.id == entry.id:
                self.recent[n] = entry
        for n, old in enumerate(self.added):
            if old.id == entry.id:
                self.added[n] = entry
                return
        self.changed[entry.id] = entry

    def withdraw(self, id: str) -> None:
        """Take an entry back."""
        self.recent = [e for e in self.recent if e.id != id]
        self.changed.pop(id, None)
        if any(e.id == id for e in self.added):
            self.added = [e for e in self.added if e.id != id]
        else:
            self.withdrawn.append(id)
        if self.open_test == id:
            self.open_test = None


class Composer:
    """Turns frames into entries, with one lexicon."""

    def __init__(self, lexicon: Lexicon) -> None:
        self._lex = lexicon
        self._leak, self._dry = lexicon.test_states

    # -- one frame ----------------------------------------------------------------------------------------------

    def compose(self, draft: Draft, frames: Sequence[Frame]) -> None:
        """All frames of one utterance, in order."""
        for frame in frames:
            frame.thing = self._settled(draft, frame.thing)
            frame.more = [t for t in (self._settled(draft, m) for m in frame.more) if t is not None]
            if frame.plan:
                self._plan(draft, frame)
            elif frame.kind == "state":
                self._state(draft, frame)
            elif frame.kind == "act":
                self._act(draft, frame)
            elif frame.kind == "test":
                self._test(draft, frame)
            elif frame.kind == "source":
                self._source(draft, frame)
            else:
                self._topic(draft, frame)

    def _topic(self, draft: Draft, frame: Frame) -> None:
        for thing in [frame.thing, *frame.more]:
            if thing is None:
                continue
            place, _part, side = self._where(draft, thing, part=None)
            draft.focus = Focus(place, thing.part, side)
            draft.topic = Focus(place, None, side)
            self._visit(draft, place)

    def where(self, draft: Draft, thing: Thing, base: Focus) -> tuple[str | None, str | None, str | None]:
        """Place, part and side of a thing, seen from ``base``."""
        return self._where(draft, thing, part=base.part, base=base)

    def finding_kind(self, finding: Finding, entry: Entry) -> tuple[str, str] | None:
        """Kind and id of a finding, said of what an entry is about."""
        if entry.kind == "test":
            state = finding.get("test")
            return ("test", state) if state else None
        if entry.kind in ("check", "evidence") and finding.get(entry.kind):
            kind = self._kind_of(finding, entry.part, entry.place)
            return kind if kind and kind[0] == entry.kind else (entry.kind, str(finding.get(entry.kind)))
        return self._kind_of(finding, entry.part, entry.place)

    # -- where --------------------------------------------------------------------------------------------------

    def _where(
        self, draft: Draft, thing: Thing | None, *, part: str | None, base: Focus | None = None
    ) -> tuple[str | None, str | None, str | None]:
        """Place, part and side of a thing, with ``part`` (a carried one) where it names neither place nor part."""
        base = base or draft.focus
        if thing is None:
            return base.place, part, base.side
        place, own_part = thing.place, thing.part or self._part_meant(draft, thing)
        if place is None and thing.generic >= 0:
            place, generic_part = self._generic(draft, thing, base)
            own_part = own_part or generic_part
            if place is None:
                place = base.place
                same = True
            else:
                same = place is not None and self._holds(base.place, place)
        elif place is None:
            place = base.place
            if own_part is not None and self._lex.parts[own_part].usual_place:
                place = self._lex.parts[own_part].usual_place
            elif own_part is not None and place not in (self._lex.parts[own_part].at_home or (place,)):
                place = self._home(draft, own_part) or place
            same = place == base.place or self._holds(base.place, place)
        else:
            same = self._holds(base.place, place)
        side = self._side(thing, draft)
        if side is None and (same or draft.stay) and not (thing.named and base.side == "both"):
            side = base.side
        if own_part is None and thing.place is None and (thing.generic < 0 or place is None):
            own_part = part
        return place, own_part, side

    def _home(self, draft: Draft, part: str) -> str | None:
        """The place named last of those where such a part can be."""
        home = self._lex.parts[part].at_home
        return next((p for p in draft.places if p in home), None)

    def _part_meant(self, draft: Draft, thing: Thing) -> str | None:
        """The part that "the panel" stands for: the one named last among those it may be."""
        if thing.part_word < 0:
            return None
        row = self._lex.generics[thing.part_word]
        here = thing.place or draft.focus.place
        for part in row.parts:
            if here is not None and self._lex.parts[part].usual_place == here:
                return part
        if here is not None and here in row.places:
            return row.parts[0]
        if thing.named and row.places:
            return row.part or None
        if draft.focus.part in row.parts:
            return draft.focus.part
        for entry in reversed(draft.recent):
            if entry.part in row.parts:
                return entry.part
        return row.part or None

    def _settled(self, draft: Draft, thing: Thing | None) -> Thing | None:
        """The thing with its part told, where a general word stands for one."""
        if thing is None or thing.part_word < 0 or thing.part is not None:
            return thing
        return replace(thing, part=self._part_meant(draft, thing), part_word=-1)

    def _side(self, thing: Thing, draft: Draft) -> str | None:
        if thing.other_side and draft.focus.side:
            return _OTHER.get(draft.focus.side, draft.focus.side)
        if thing.both and thing.side in (None, "both"):
            return "both"
        return thing.side

    def _generic(self, draft: Draft, thing: Thing, base: Focus) -> tuple[str | None, str | None]:
        """The place that "the door" stands for here; or the part that the word is where no place fits."""
        row = self._lex.generics[thing.generic]
        for named in [base.place, *draft.places]:
            if named in row.places:
                return named, None
        here = self._lex.places[base.place].assembly if base.place else ""
        for candidate in row.places:
            if here and self._lex.places[candidate].assembly == here and not row.part:
                return candidate, None
        if row.part:
            assemblies = {self._lex.places[p].assembly for p in row.places}
            if row.places and (not base.place or here in assemblies):
                return row.places[0], None
            return None, row.part
        return (row.otherwise or None), None

    def _holds(self, old: str | None, new: str | None) -> bool:
        """Whether a side said of ``old`` holds for ``new``: within one assembly."""
        if old is None or new is None:
            return old == new
        if old == new:
            return True
        a, b = self._lex.places[old], self._lex.places[new]
        return a.assembly == b.assembly or a.assembly in b.also_in or b.assembly in a.also_in

    def _visit(self, draft: Draft, place: str | None) -> None:
        if place is not None:
            draft.places = [place, *(p for p in draft.places if p != place)][:8]

    # -- findings -----------------------------------------------------------------------------------------------

    def _kind_of(self, finding: Finding, part: str | None, place: str | None) -> tuple[str, str] | None:
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

    def _state(self, draft: Draft, frame: Frame) -> None:
        if frame.outlet:
            self._outlet(draft, frame)
            return
        finding = frame.finding
        assert finding is not None
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

    def _one_state(self, draft: Draft, frame: Frame, finding: Finding, thing: Thing | None) -> None:
        part_hint = thing.part if thing else None
        if part_hint is None and (thing is None or not thing.named):
            part_hint = draft.focus.part
        kind_id = self._kind_of(finding, part_hint, thing.place if thing else draft.focus.place)
        timed = any(self._dimension(m) in ("time", "pressure") for m in frame.measures)
        evidence = finding.get("evidence")
        wet = bool(evidence and self._lex.states[evidence].wet) and (thing is None or thing.part is None)
        if kind_id is not None and timed and (finding.get("test") or wet):
            self._bare_result(draft, frame, thing)
            return
        if kind_id is None:
            if finding.get("test"):
                self._bare_result(draft, frame, thing)
            return
        kind, state = kind_id
        weak = frame.weak
        carried = (
            draft.focus.part
            if kind == "check"
            or frame.pronoun
            or (frame.thing is None and not frame.presented and frame.head_form != "noun")
            else None
        )
        if frame.presented and frame.thing is None:
            carried = draft.focus.part if kind == "check" and not self._just_accessed(draft) else None
        if weak is not None and (thing is None or not thing.named):
            thing = (
                replace(thing, place=weak.place, generic=weak.generic, side=thing.side or weak.side)
                if thing
                else Thing(place=weak.place, generic=weak.generic, side=weak.side, start=weak.start, end=weak.end)
            )
        if kind == "evidence" and frame.inherited and frame.head_form == "noun" and thing is not None:
            thing = replace(thing, part=None)
        place, part, side = self._where(draft, thing, part=carried)
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

    def _item(self, draft: Draft, frame: Frame, thing: Thing | None, place: str | None) -> int | None:
        """The number of the one of many; one said before in the sentence holds while its place is spoken of.

        Full stops are not heard, so that another part belongs to the sentence where an "and" ties it to the first.
        """
        if thing is not None and thing.item is not None:
            draft.item, draft.item_part = thing.item, thing.part
        elif draft.item is not None and (
            (thing is not None and thing.named)
            or place != draft.focus.place
            or (thing is not None and thing.part not in (None, draft.item_part) and not self._tied(draft, thing.start))
        ):
            draft.item = None
        draft.item_end = max(draft.item_end, frame.end)
        return draft.item

    def _tied(self, draft: Draft, start: int) -> bool:
        """Whether an "and" stands between what was said last of a numbered part and the word at ``start``."""
        return any(i.is_a("and", "with") for i in draft.line.items if draft.item_end - 1 <= i.start < start)

    def _just_accessed(self, draft: Draft) -> bool:
        return bool(draft.recent) and draft.recent[-1].kind == "access"

    def _count(self, frame: Frame, thing: Thing | None) -> int | None:
        if frame.count is not None and frame.count > 1:
            return frame.count
        return thing.count if thing is not None and thing.count is not None and thing.count > 1 else None

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
        )
        last = next((e for e in reversed(draft.recent) if e.kind == "test"), None)
        done = self._last_done(draft)
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
        if frame.pronoun and last is not None and self._last_done(draft) is not last and not frame.measures:
            return  # "poked the drains open and it gushed out"
        if thing is None or thing.bare:
            # "It leaks" after a test that leaked says it again.
            running = last is not None and bool(draft.recent) and self._last_done(draft) is last
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
                        origins=(*last.origins, *self._origins(draft, frame)),
                    )
                )
                return
            if not frame.measures:
                return
        self._test(draft, test)

    def _came_out(self, draft: Draft, frame: Frame, finding: Finding) -> bool:
        """ "It did leak, there's a drip on the pillar": a sign elsewhere, told with the result of the test."""
        last, thing, evidence = self._last_done(draft), frame.thing, finding.get("evidence")
        return (
            last is not None
            and last.kind == "test"
            and last.state == self._leak
            and last.id in draft.changed
            and bool(evidence and self._lex.states[evidence].wet)
            and thing is not None
            and thing.named
            and frame.present
            and self._where(draft, thing, part=None)[0] != last.place
        )

    def _shows_outlet(self, draft: Draft, frame: Frame, finding: Finding) -> bool:
        """ "It's coming out by the lamp", right after a test that leaked: where the water of that test came out."""
        last, thing = self._last_done(draft), frame.thing
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
            and self._where(draft, thing, part=None)[0] != last.place
        )

    def _last_done(self, draft: Draft) -> Entry | None:
        """The last entry that is no fact and no plan."""
        return next((e for e in reversed(draft.recent) if e.kind not in ("fact", "plan")), None)

    def _outlet(self, draft: Draft, frame: Frame) -> None:
        """Where a test's water came out: evidence, which leaves the place of the test the one that is spoken of."""
        focus = draft.focus
        for thing in [frame.thing, *frame.more]:
            state = frame.finding.get("evidence") if frame.finding else None
            state = state or self._water()
            place, part, side = self._where(draft, thing, part=None)
            entry = Entry(
                kind="evidence", place=place, part=part, side=side, state=state,  # type: ignore[arg-type]
                present=frame.present,
                certainty="unsure" if frame.unsure else "sure",
                at=thing.at if thing else (),
                quantities=self._measures([m for m in frame.measures if self._dimension(m) == "length"], test=False),
            )  # fmt: skip
            self._finish(draft, frame, entry)
        draft.focus = focus

    def _water(self) -> str:
        """The plainest sign: the first wet one of the pack."""
        return next((s.id for s in self._lex.states.values() if s.wet), "")

    def _answers_open_test(self, draft: Draft, frame: Frame, finding: Finding) -> bool:
        """A result said in the utterance after its test."""
        test = draft.find(draft.open_test)
        state, evidence = finding.get("test"), finding.get("evidence")
        wet = bool(evidence and self._lex.states[evidence].wet)
        if test is None or not (state or wet):
            return False
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
                origins=(*test.origins, *self._origins(draft, frame)),
            )
        )
        draft.open_test = None
        if thing is not None and not thing.bare and (outcome == self._leak or evidence):
            place = self._where(draft, thing, part=None)[0]
            if place != test.place:
                shown = replace_frame(
                    frame,
                    outlet=True,
                    finding=finding if evidence and (wet or state is None or outcome == self._dry) else None,
                )
                self._outlet(draft, shown)
        return True

    # -- work ---------------------------------------------------------------------------------------------------

    def _antecedent(self, draft: Draft, part: str, kinds: tuple[str, ...]) -> Entry | None:
        """The last entry about this part: what "the tube" means when it is spoken of again."""
        for entry in reversed(draft.recent):
            if entry.part == part and entry.kind in kinds and entry.place is not None:
                return entry
        return None

    def _act(self, draft: Draft, frame: Frame) -> None:
        for thing in [frame.thing, *frame.more]:
            self._one_act(draft, frame, thing)

    def _one_act(self, draft: Draft, frame: Frame, thing: Thing | None) -> None:
        kind, state = self._act_state(draft, frame, thing)
        if not state:
            return
        base = draft.focus
        if frame.fault is not None and thing is None:
            thing, base = self._mended_fault(draft, frame.fault)
        if thing is None and frame.weak is not None and frame.of_thing is False and not frame.pronoun:
            thing = replace(frame.weak, at=(), item=None, count=None)
        part = thing.part if thing is not None else None
        if thing is not None and part is not None and not thing.named and not self._lex.parts[part].usual_place:
            kinds = ("check", "source", "repair") if kind == "repair" else ("access", "repair", "check", "source")
            before = self._antecedent(draft, part, kinds)
            if before is not None:
                base = Focus(before.place, before.part, before.side)
        elif kind == "repair" and (thing is None or thing.bare):
            base = draft.focus
        carried = frame.by_material or (draft.focus.part if kind == "repair" or frame.pronoun else None)
        if thing is None and not frame.pronoun and kind == "access":
            carried = draft.focus.part
        place, part, side = self._where(draft, thing, part=carried, base=base)
        if frame.of_thing and thing is None and side and frame.pronoun:
            side = "both" if self._both_before(draft) else side
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

    def _mended_fault(self, draft: Draft, finding: Finding) -> tuple[Thing | None, Focus]:
        """What "sealed the pinhole" was done to: the thing that has one."""
        ids = {id for _, id in finding.by_kind} | {self._lex.readings[r].state for r in finding.readings}
        for entry in reversed(draft.recent):
            if entry.state in ids and entry.present and entry.kind in ("check", "source", "evidence"):
                focus = Focus(entry.place, entry.part, entry.side)
                return Thing(part=entry.part), focus
        return None, draft.focus

    def _both_before(self, draft: Draft) -> bool:
        return bool(draft.recent) and draft.recent[-1].side == "both"

    def _act_state(self, draft: Draft, frame: Frame, thing: Thing | None) -> tuple[str, str]:
        """Kind and action of a verb. A new part put in replaces; another part put in again is refitted."""
        if frame.acts == ("new",):
            return "repair", self._named_for(self._replacing(), thing.part if thing is not None else None)
        if frame.acts == ("put",):
            taken = any(
                e.kind == "access"
                and thing is not None
                and (e.part == thing.part or (e.part is None and e.place == thing.place))
                for e in draft.recent
            )
            return ("access", self._refitting()) if taken else ("repair", self._replacing())
        ids = [a for a in frame.acts if a]
        if not ids:
            return "", ""
        chosen = ids[0]
        if chosen != self._replacing():
            chosen = self._named_for(chosen, thing.part if thing is not None else draft.focus.part)
        if chosen == self._refitting() and thing is not None and thing.part is not None:
            before = self._antecedent(draft, thing.part, ("check", "source", "access"))
            if before is not None and before.kind != "access" and before.present:
                return "repair", self._reseating() or chosen
        kinds = self._lex.states[chosen].kinds
        return ("access" if "access" in kinds else "repair"), chosen

    def _named_for(self, action: str, part: str | None) -> str:
        """The action by the name that it has on this part ("pushed the tube back on" reconnects it)."""
        for row in self._lex.readings:
            if row.instead_of == action and part is not None and part in row.parts:
                return row.state
        return action

    def _reseating(self) -> str:
        found = self._lex.find(("reseat",))
        return next((s.value[0] for s in found if s.tag == "act"), "")

    def _replacing(self) -> str:
        found = self._lex.find(("replace",))
        return next((s.value[0] for s in found if s.tag == "act"), "")

    def _refitting(self) -> str:
        found = self._lex.find(("refit",))
        return next((s.value[0] for s in found if s.tag == "act"), "")

    # -- tests --------------------------------------------------------------------------------------------------

    def _test(self, draft: Draft, frame: Frame) -> None:
        for thing in [frame.thing, *frame.more]:
            self._one_test(draft, frame, thing)

    def _one_test(self, draft: Draft, frame: Frame, thing: Thing | None) -> None:
        base = draft.focus
        if thing is None or (not thing.named and thing.part is None):
            base = draft.topic or (draft.work if draft.work.place else draft.focus)
            last = self._last_done(draft)
            if (
                frame.pronoun
                and last is not None
                and last.kind in ("check", "access")
                and last.place == draft.focus.place
            ):
                base = draft.focus  # "hosed it": what was just spoken of
        elif thing.part is not None and not thing.named:
            before = self._antecedent(draft, thing.part, ("check", "source", "repair", "test", "access", "evidence"))
            if before is not None and not self._lex.parts[thing.part].usual_place:
                base = Focus(before.place, before.part, before.side)
        place, part, side = self._where(draft, thing, part=None, base=base)
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

    # -- causes -------------------------------------------------------------------------------------------------

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
            before = self._antecedent(draft, thing.part, ("check", "repair", "test"))
            if before is not None:
                base = Focus(before.place, before.part, before.side)
        carried = draft.focus.part if thing is None or thing.bare else None
        place, part, side = self._where(draft, thing, part=carried, base=base)
        state: str | None = None
        if finding is not None:
            kind_id = self._kind_of(finding, part, place)
            state = kind_id[1] if kind_id and kind_id[0] == "check" else finding.get("check")
        fault = self._last_fault(draft, place, part)
        if fault is not None:
            if state is None and (thing is None or thing.bare):
                state = fault.state
                part = part or fault.part
            if side is None and (thing is None or thing.side is None) and fault.state == state:
                side = fault.side
        return Entry(kind="source", place=place, part=part, side=side, state=state)  # type: ignore[arg-type]

    # -- plans --------------------------------------------------------------------------------------------------

    def _plan(self, draft: Draft, frame: Frame) -> None:
        state: str | None = None
        if frame.kind == "act":
            kind, state = self._act_state(draft, frame, frame.thing)
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
                before = self._antecedent(draft, thing.part, ("check", "source", "repair", "access", "test"))
                if before is not None:
                    base = Focus(before.place, before.part, before.side)
            carried = draft.focus.part if frame.kind == "act" else None
            place, part, side = self._where(draft, thing, part=carried, base=base)
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

    # -- measures -----------------------------------------------------------------------------------------------

    def _dimension(self, measure: Measure) -> str:
        return self._lex.measures.get(measure.quantity.unit, "")

    def _measures(
        self,
        measures: Sequence[Measure],
        *,
        test: bool,
        leaks: bool = False,
        count: int | None = None,
        result_at: int = 0,
    ) -> tuple[Quantity, ...]:
        out: list[Quantity] = []
        timed = any(m.cue == "took" and self._dimension(m) == "time" for m in measures)
        for measure in measures:
            q, dimension = measure.quantity, self._dimension(measure)
            what = dimension
            if dimension == "length":
                what = "distance" if measure.cue == "from-there" else "length"
            elif dimension == "time":
                # Without a word such as "in" or "for": seconds, and what is said after the result, tell how soon.
                soon = not timed and (q.unit == "s" or not result_at or measure.span.start > result_at)
                told = measure.cue == "took" or (measure.cue != "lasting" and soon)
                what = "time-to-leak" if test and leaks and q.unit != "h" and told else "duration"
            if not what or dimension == "odometer":
                continue
            out = [o for o in out if not (o.what == what and what in ("duration", "time-to-leak"))]
            out.append(Quantity(what, q.value, q.unit))
        if count is not None:
            out.append(Quantity("count", count, ""))
        return tuple(dict.fromkeys(out))

    # -- the end of an entry ------------------------------------------------------------------------------------

    def _finish(self, draft: Draft, frame: Frame, entry: Entry) -> Entry:
        """Id, origins and quote; then what is carried on from it."""
        origins = self._origins(draft, frame)
        entry = replace(
            entry,
            id=entry_id(draft, entry, origins),
            origins=origins,
            quote=self._quote(draft, frame),
            confidence=round(min(frame.sure, *(t.sure for t in [frame.thing, *frame.more] if t is not None), 1.0), 3),
        )
        entry = heard(entry, draft)
        follows = frame.follows
        duplicate = next((e for e in draft.added if _same(e, entry) or (follows and _says_no_more(e, entry))), None)
        if duplicate is not None:
            return duplicate
        again = draft.added[-1] if frame.follows and draft.added else None
        if again is not None and not again.at and not again.quantities and _says_no_more(entry, again):
            # "Perished, cracked right through at the bottom": one fault, said twice.
            merged = replace(entry, id=again.id, origins=(*again.origins, *entry.origins))
            draft.change(merged)
            return merged
        piece = next((e for e in draft.added if _one_piece_of_work(e, entry)), None)
        if piece is not None:
            merged = replace(
                piece,
                material=piece.material or entry.material,
                quantities=(*piece.quantities, *entry.quantities),
                origins=(*piece.origins, *entry.origins),
            )
            draft.change(merged)
            return merged
        draft.put(entry)
        self.carry(draft, entry)
        return entry

    def carry(self, draft: Draft, entry: Entry) -> None:
        """What is spoken of, and what was worked on, after this entry."""
        if entry.kind == "plan":
            return
        part = entry.part
        draft.focus = Focus(entry.place, part, entry.side)
        self._visit(draft, entry.place)
        if entry.kind in ("test", "repair", "source"):
            draft.work = Focus(entry.place, None, entry.side)
        if (
            entry.kind == "repair"
            and entry.place is not None
            and not (entry.state and self._lex.states[entry.state].tidies)
        ):
            draft.repaired.add(entry.place)

    def _origins(self, draft: Draft, frame: Frame) -> tuple[Origin, ...]:
        words = draft.line.words
        tokens = draft.line.tokens
        spans = sorted(dict.fromkeys(frame.spans), key=lambda s: (s.role != "head", s.start))
        if not any(s.role == "head" for s in spans):
            spans = [Span(frame.start, frame.end, "head"), *spans]
        out: list[Origin] = []
        for span in spans:
            start = tokens[words[span.start].first].start
            end = tokens[words[span.end - 1].last - 1].end
            out.append(origin(draft.utterance, start, end, span.role))
        return tuple(dict.fromkeys(out))

    def _quote(self, draft: Draft, frame: Frame) -> str:
        words, tokens = draft.line.words, draft.line.tokens
        spans = [(s.start, s.end) for s in frame.spans] or [(frame.start, frame.end)]
        start = tokens[words[min(s for s, _ in spans)].first].start
        end = tokens[words[max(e for _, e in spans) - 1].last - 1].end
        return draft.utterance.text[start:end]


def replace_frame(frame: Frame, *, outlet: bool, finding: Finding | None) -> Frame:
    """A frame as the outlet of a test."""
    return Frame(
        "state", frame.start, frame.end, frame.thing, list(frame.more), finding, frame.head_form, present=frame.present,
        unsure=frame.unsure, outlet=outlet, of_thing=True, spans=list(frame.spans), sure=frame.sure,
    )  # fmt: skip


def origin(utterance: Utterance, start: int, end: int, role: str) -> Origin:
    """A spoken origin; clip seconds from the words' times where the utterance has them."""
    from_s = to_s = None
    if utterance.words and utterance.from_s is not None:
        from_s, to_s = _times(utterance, start, end)
    return Origin("spoken", utterance.id, start, end, from_s, to_s, role)


def _times(utterance: Utterance, start: int, end: int) -> tuple[float | None, float | None]:
    """Clip seconds of the words that overlap ``start:end``, found by walking the text."""
    at, first, last = 0, None, None
    for word in utterance.words:
        piece = word.text.strip()
        found = utterance.text.find(piece, at)
        if found < 0:
            continue
        at = found + len(piece)
        if found < end and at > start:
            first = word.from_s if first is None else first
            last = word.to_s
    return first, last


def heard(entry: Entry, draft: Draft) -> Entry:
    """With the seconds at which it was heard."""
    if draft.utterance.from_s is None:
        return entry
    starts = [o.from_s for o in entry.origins if o.from_s is not None]
    ends = [o.to_s for o in entry.origins if o.to_s is not None]
    if not starts:
        return replace(entry, heard_from=draft.utterance.from_s, heard_to=draft.utterance.to_s)
    return replace(entry, heard_from=min(starts), heard_to=max(ends) if ends else None)


def entry_id(draft: Draft, entry: Entry, origins: tuple[Origin, ...]) -> str:
    """A stable id: of the utterance, the span of the head, the kind, and a count among those that share all three."""
    head = origins[0]
    key = f"{draft.utterance.id}|{head.start}:{head.end}|{entry.kind}"
    ordinal = draft.ids.get(key, 0)
    draft.ids[key] = ordinal + 1
    return "e" + hashlib.sha256(f"{key}|{ordinal}".encode()).hexdigest()[:12]


def _says_no_more(one: Entry, other: Entry) -> bool:
    """Whether ``other`` only says again, with less, what ``one`` says."""
    return (
        not other.at
        and not other.quantities
        and other.item in (None, one.item)
        and (
            (one.kind, one.place, one.part, one.side, one.state, one.present)
            == (other.kind, other.place, other.part, other.side, other.state, other.present)
        )
    )


def _one_piece_of_work(one: Entry, other: Entry) -> bool:
    """ "Put thread sealant on the screw and torqued it to four newton metres": the same work, told in two clauses."""
    return (
        one.kind == other.kind == "repair"
        and (one.place, one.part, one.side, one.state, one.item, one.at)
        == (other.place, other.part, other.side, other.state, other.item, other.at)
        and (one.material is None or other.material is None)
        and {q.what for q in one.quantities}.isdisjoint(q.what for q in other.quantities)
    )


def _same(one: Entry, other: Entry) -> bool:
    return (one.kind, one.place, one.part, one.side, one.state, one.present, one.item, one.at) == (
        other.kind, other.place, other.part, other.side, other.state, other.present, other.item, other.at,
    ) and one.quantities == other.quantities  # fmt: skip
