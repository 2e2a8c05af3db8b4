"""What must be confirmed by ear before a write-up is signed: where a slip of the ear would change the story.

A side, a "no", a number and a named source turn the story round when they are wrong, so a smaller doubt counts there
than elsewhere. The doubt is the recogniser's (``misheard_risk``, and the confidence of the very words), apart from the
speaker's own.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from fieldnote.flow.confirming import confirmed
from fieldnote.narrate.open_points import DOUBTFUL_HEARING, HARDLY_RIGHT
from fieldnote.records import Entry, Job, Utterance, Word

DOUBTFUL_TURNING_POINT = 0.25
"""Risk of a slip from which on a side, a "no", a number or a source is to be confirmed by ear."""
UNSURE_WORD = 0.6
"""Confidence below which a word that gives a side, a number or a "no" is to be confirmed by ear."""

NO_WITHIN = 3
"""Words before a finding among which a "no" or "not" that denies it stands."""


@dataclass(frozen=True, slots=True)
class Doubt:
    """An entry and why it is to be confirmed."""

    entry: Entry
    why: tuple[str, ...]


def doubts(job: Job) -> tuple[Doubt, ...]:
    """The doubtful entries of a job, in order; what a person has corrected, typed or confirmed is not doubted again."""
    said = {utterance.id: utterance for utterance in job.utterances}
    touched: dict[str, set[str]] = {}
    for edit in job.edits:
        touched.setdefault(edit.entry_id, set()).add(edit.field or "")
    found = (Doubt(entry, tuple(_why(entry, said, touched.get(entry.id, set())))) for entry in job.entries)
    vouched = confirmed(job)
    return tuple(doubt for doubt in found if doubt.why and doubt.entry.id not in vouched)


def _why(entry: Entry, said: Mapping[str, Utterance], touched: set[str]) -> Sequence[str]:
    why: list[str] = []
    risk = entry.misheard_risk or 0.0
    if entry.odd and (entry.confidence or 0.0) < HARDLY_RIGHT:
        why.append(entry.odd + (f"; proposed, not taken: {entry.proposed}" if entry.proposed else ""))
    if entry.certainty == "unsure":
        why.append("said with doubt")
    if risk >= DOUBTFUL_HEARING and not touched:
        why.append("may be misheard")
    elif risk >= DOUBTFUL_TURNING_POINT and not touched:
        why += [f"{what} may be misheard" for what in turning_points(entry)]
    if "side" not in touched and (word := _unsure(entry, "side", said)):
        why.append(f"the side was heard unsurely (“{word.text}”)")
    if "quantities" not in touched and (word := _unsure(entry, "quantity", said)):
        why.append(f"the number was heard unsurely (“{word.text}”)")
    if entry.kind == "source" and not touched & {"place", "part"}:
        heard = [word for role in ("part", "place") if (word := _unsure(entry, role, said))]
        why += [f"the source was heard unsurely (“{word.text}”)" for word in heard[:1]]
    if not entry.present and "present" not in touched and (word := _unsure_no(entry, said)):
        why.append(f"the “no” was heard unsurely (“{word.text}”)")
    return tuple(dict.fromkeys(why))


def turning_points(entry: Entry) -> Sequence[str]:
    """What of an entry turns the story round where it is wrong."""
    return [
        name
        for name, there in (
            ("the side", entry.side is not None),
            ("the “no”", not entry.present),
            ("the number", bool(entry.quantities) or isinstance(entry.value, (int, float)) or entry.item is not None),
            ("the source", entry.kind == "source"),
        )
        if there
    ]


def _unsure(entry: Entry, role: str, said: Mapping[str, Utterance]) -> Word | None:
    """The least sure of the words that play this role, where it is below the mark."""
    words = [
        word
        for origin in entry.origins
        if origin.role == role and origin.utterance_id in said
        for word in _words_in(said[origin.utterance_id or ""], origin.start or 0, origin.end or 0)
        if word.confidence is not None and word.confidence < UNSURE_WORD
    ]
    return min(words, key=lambda word: word.confidence or 0.0, default=None)


def _unsure_no(entry: Entry, said: Mapping[str, Utterance]) -> Word | None:
    """The least sure of the words that say or deny a finding: its own and the few before, where a "no" or "not" stands;
    which of them denies it, no entry tells."""
    words = []
    for origin in entry.origins:
        if origin.role == "head" and origin.utterance_id in said:
            utterance, start = said[origin.utterance_id or ""], origin.start or 0
            before = _words_in(utterance, 0, start)
            words += [*before[-NO_WITHIN:], *_words_in(utterance, start, origin.end or 0)]
    unsure = [word for word in words if word.confidence is not None and word.confidence < UNSURE_WORD]
    return min(unsure, key=lambda word: word.confidence or 0.0, default=None)


def _words_in(utterance: Utterance, start: int, end: int) -> Sequence[Word]:
    """The words of an utterance that ``start:end`` of its text touches."""
    found, at = [], 0
    for word in utterance.words:
        begin = utterance.text.find(word.text, at)
        if begin < 0:
            continue
        at = begin + len(word.text)
        if begin < end and at > start:
            found.append(word)
    return found


__all__ = ["DOUBTFUL_TURNING_POINT", "UNSURE_WORD", "Doubt", "doubts", "turning_points"]
