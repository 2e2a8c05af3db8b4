"""Where an entry comes from: spans of the text, seconds of the clip, the quote, and the id made of them."""

from __future__ import annotations

import hashlib
from dataclasses import replace

from fieldnote.extract.draft import Draft
from fieldnote.extract.frames import Frame
from fieldnote.extract.noun_phrases import Span
from fieldnote.records import Entry, Origin, Utterance


def origins_of(draft: Draft, frame: Frame) -> tuple[Origin, ...]:
    """Where the words of a frame stand, its head first."""
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


def quote_of(draft: Draft, frame: Frame) -> str:
    """The words of a frame, from the first to the last."""
    words, tokens = draft.line.words, draft.line.tokens
    spans = [(s.start, s.end) for s in frame.spans] or [(frame.start, frame.end)]
    start = tokens[words[min(s for s, _ in spans)].first].start
    end = tokens[words[max(e for _, e in spans) - 1].last - 1].end
    return draft.utterance.text[start:end]


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
