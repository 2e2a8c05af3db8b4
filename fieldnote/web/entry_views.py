"""Entries as the pages show them: in words, with their doubts, and with the seconds of sound behind them."""

from __future__ import annotations

import dataclasses
import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from fieldnote.narrate.compose import numbered, shown
from fieldnote.narrate.payers import LABOR
from fieldnote.narrate.phrases import quantity
from fieldnote.narrate.sequence import in_order
from fieldnote.narrate.wording import load_wording
from fieldnote.records import Edit, Entry, Job, Utterance
from fieldnote.store.fields import CONFIRMED, HANDOVER
from fieldnote.store.retention import ELSEWHERE
from fieldnote.vocabulary import Pack
from fieldnote.web.doubts import doubts
from fieldnote.web.looks import moment

KIND_NAMES = {
    "evidence": "sign",
    "check": "look",
    "test": "test",
    "source": "source",
    "access": "access",
    "repair": "repair",
    "plan": "to do",
    "fact": "fact",
}
"""As in the documents."""
_LEAD_S = 0.3
"""Heard before the first word, so that it is not cut."""
_TAIL_S = 0.4


@dataclass(frozen=True, slots=True)
class Heard:
    """A stretch of one recording."""

    clip_id: str
    from_s: float
    to_s: float

    @property
    def clock(self) -> str:
        """Where it begins, in minutes and seconds."""
        return f"{int(self.from_s) // 60}:{int(self.from_s) % 60:02d}"


@dataclass(frozen=True, slots=True)
class EntryView:
    """One entry on a page. ``number`` is that of the documents, 0 for what they leave out."""

    entry: Entry
    number: int
    kind: str
    said: str
    where: str
    what: str
    paired: bool
    quote: str
    heard: Heard | None
    doubts: tuple[str, ...]
    changed_by: str = ""
    silent: str = ""
    """Why no sound can be played though it was spoken ("sound deleted 25 Nov 2026, 17:12")."""

    @property
    def id(self) -> str:
        """The entry's id."""
        return self.entry.id


def entry_views(job: Job, pack: Pack) -> tuple[EntryView, ...]:
    """All entries of a job in order."""
    wording = load_wording(pack)
    entries = numbered(job.entries)
    numbers = {entry.id: number for number, entry in enumerate(shown(entries, wording), 1)}
    why = {doubt.entry.id: doubt.why for doubt in doubts(job)}
    said = {utterance.id: utterance for utterance in job.utterances}
    changed = {edit.entry_id: edit.person for edit in job.edits}
    names = Names(pack)
    return tuple(
        EntryView(
            entry=entry,
            number=numbers.get(entry.id, 0),
            kind=KIND_NAMES.get(entry.kind, entry.kind),
            said=" ".join(sentence.text for sentence in in_order([entry], wording)),
            where=names.where(entry),
            what=names.what(entry),
            paired=names.is_paired(entry.place),
            quote=entry.quote,
            heard=heard_of(entry, said),
            doubts=why.get(entry.id, ()),
            changed_by=changed.get(entry.id, ""),
        )
        for entry in entries
    )


def with_sound(views: Iterable[EntryView], gone: Mapping[str, str], *, allowed: bool) -> tuple[EntryView, ...]:
    """The views with only the sound that can be played: none where it is not ``allowed`` or its clip is ``gone``."""
    found = []
    for view in views:
        at = gone.get(view.heard.clip_id, "") if view.heard else ""
        silenced = at or not allowed
        found.append(dataclasses.replace(view, heard=None, silent=silence(at)) if silenced else view)
    return tuple(found)


def silence(at: str) -> str:
    """What is told of sound by when it was deleted; "" where it is here."""
    return "sound on another machine" if at == ELSEWHERE else f"sound deleted {moment(at)}" if at else ""


def heard_of(entry: Entry, said: Mapping[str, Utterance]) -> Heard | None:
    """The sound behind an entry: the stretch of the recording that holds its head words."""
    spoken = [o for o in entry.origins if o.kind == "spoken" and o.utterance_id in said]
    first = next((o for o in spoken if o.role == "head"), spoken[0] if spoken else None)
    if first is None:
        return None
    clip_id = said[first.utterance_id or ""].clip_id
    spans = [
        _span(o.from_s, o.to_s, said[o.utterance_id or ""]) for o in spoken if o.utterance_id == first.utterance_id
    ]
    times = [span for span in spans if span is not None]
    if clip_id is None or not times:
        return None
    begin = max(0.0, min(start for start, _ in times) - _LEAD_S)
    return Heard(clip_id, round(begin, 2), round(max(end for _, end in times) + _TAIL_S, 2))


def _span(from_s: float | None, to_s: float | None, utterance: Utterance) -> tuple[float, float] | None:
    begin = from_s if from_s is not None else utterance.from_s
    end = to_s if to_s is not None else utterance.to_s
    return None if begin is None or end is None else (begin, end)


class Names:
    """What the pack calls things, and what the fields of an entry are called."""

    def __init__(self, pack: Pack) -> None:
        self._wording = load_wording(pack)

    def of(self, kind: str, id: str | None) -> str:
        """The name of a row; an id that the pack does not know as its own words."""
        if not id:
            return ""
        return self._wording.name(kind, id)

    def is_paired(self, place: str | None) -> bool:
        """Whether there is a left and a right one."""
        return self._wording.paired(place)

    def where(self, entry: Entry) -> str:
        """Place and part."""
        names = (self.of("place", entry.place), self.of("part", entry.part))
        number = f"no. {entry.item}" if entry.item is not None else ""
        return ", ".join(filter(None, (*names, number, " ".join(entry.at))))

    def what(self, entry: Entry) -> str:
        """What was found, done or measured, in few words."""
        if entry.kind == "fact":
            unit = f" {entry.unit}" if entry.unit else ""
            value = entry.value
            shown_value = f"{value:,}" if isinstance(value, int) and unit else value
            return f"{self.of('fact', entry.what)}: {shown_value}{unit}"
        state = self.of("state", entry.state)
        if entry.state and not entry.present:
            state = f"no {state}"
        method = self.of("method", entry.method)
        retest = "retest" if entry.kind == "test" and entry.stage == "verify" else ""
        sized = [quantity(found, self._wording) for found in entry.quantities]
        with_ = f"with {self.of('material', entry.material)}" if entry.material else ""
        result = " ".join(filter(None, (state, ", ".join(sized))))
        return ", ".join(filter(None, (retest, method, result, with_)))

    def value(self, field: str | None, text: str | None) -> str:
        """A value of a change in words."""
        name = (field or "").rpartition(".")[2]
        if text is None or text in ("[]", "null"):
            return "none"
        kinds = {"place": "place", "part": "part", "state": "state", "method": "method", "material": "material"}
        if name in kinds:
            return self.of(kinds[name], text)
        if name == "present":
            return "there" if text == "true" else "not there"
        if name == "stage":
            return "retest" if text == "verify" else "first test"
        if name in ("parts", "operations"):
            return "; ".join(json.loads(text))
        if name in LABOR:
            return f"{round(float(text), 2):g}"
        return text


def changed_words(edit: Edit, names: Names) -> tuple[str, str, str]:
    """A change as field, before and after, in words."""
    if edit.action == "remove":
        return "whole entry", "there", "taken out"
    if edit.action == "add":
        return "whole entry", "not there", "added"
    if edit.action == "undo":
        return "earlier change", "in force", "taken back"
    if (edit.field or "").startswith(CONFIRMED):
        return "confirmed by ear", "not yet", "heard and right"
    if edit.field == HANDOVER:
        return "handover", "not yet" if edit.before is None else "accepted earlier", "accepted"
    return field_words(edit.field or ""), names.value(edit.field, edit.before), names.value(edit.field, edit.after)


def field_words(field: str) -> str:
    """What a field is called (``hours of diagnosis``, ``order number``)."""
    of_claim = field.startswith("claim.")
    name = field.rpartition(".")[2] if field.startswith(("intake.", "claim.")) else field
    if of_claim and name in LABOR:
        return f"hours of {LABOR[name]}"
    named = {"outcome": "payer's answer", "outcome_day": "day of the answer", "outcome_reason": "why it was returned"}
    return named.get(name, name.replace("_", " ")) if of_claim else name.replace("_", " ")


def by_id(views: Iterable[EntryView]) -> dict[str, EntryView]:
    """Views by the ids of their entries."""
    return {view.id: view for view in views}


def refs(ids: Sequence[str], views: Mapping[str, EntryView]) -> tuple[int, ...]:
    """The numbers of the entries behind a sentence."""
    return tuple(sorted({views[id].number for id in ids if id in views and views[id].number}))


__all__ = [
    "KIND_NAMES",
    "EntryView",
    "Heard",
    "Names",
    "by_id",
    "changed_words",
    "entry_views",
    "field_words",
    "heard_of",
    "refs",
    "silence",
    "with_sound",
]
