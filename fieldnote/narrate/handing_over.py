"""Handing a job over: one printed leaf, one spoken minute.

The leaf tells where the job stands, what is proved and what is cleared, the next check, and what the next person must
know before touching the vehicle. What no entry holds (a battery taken off, a part on order) is repeated in the words in
which it was said, or given as not recorded.
"""

from __future__ import annotations

import dataclasses
import re
from collections.abc import Sequence
from dataclasses import dataclass

from fieldnote.narrate.compose import numbered, shown
from fieldnote.narrate.document import Document, Line, Section
from fieldnote.narrate.open_points import Record, plans_left, still_off
from fieldnote.narrate.phrases import measure, sentence, series, subject
from fieldnote.narrate.predicates import item
from fieldnote.narrate.proof import Leak, leaked, prove, same_zone, shows_water, stayed_dry
from fieldnote.narrate.sequence import said, which
from fieldnote.narrate.trials import trial_clause, trial_name, with_article
from fieldnote.narrate.wording import Vocabulary, Wording, load_wording
from fieldnote.records import Advice, Entry, Job, Sentence, Step

SPOKEN_WORDS = 150
"""Words in one spoken minute at an easy pace (common practice, no source)."""
SHOWN = 6
"""Lines under one heading of the leaf; what is more is counted."""
STATE, PROVED, CLEARED, NEXT, OFF = ("State", "Proved", "Cleared", "Next check", "Off and not refitted")
CURING = "curing"
SIGNED = "Handed over by ______________________   Accepted by ______________________   Date and time ________________"


@dataclass(frozen=True, slots=True)
class Part:
    """One heading of the leaf; ``empty`` is said where nothing stands under it."""

    heading: str
    lines: tuple[Sentence, ...]
    empty: str


@dataclass(frozen=True, slots=True)
class Handover:
    """The leaf. Sentences name their entries, or ``utterance.ID`` where they repeat what was said."""

    title: str
    parts: tuple[Part, ...]

    @property
    def text(self) -> str:
        """The leaf as plain text."""
        out = [self.title]
        for part in self.parts:
            out += ["", part.heading]
            out += [f"- {line.text}" for line in part.lines] or [f"- {part.empty}"]
        return "\n".join(out) + "\n"

    @property
    def spoken(self) -> str:
        """The leaf to be said aloud: the first of each heading first, at most a minute of it."""
        said_: list[tuple[int, int, str]] = []
        words = len(self.title.split())
        for depth in range(max((len(p.lines) for p in self.parts), default=0) + 1):
            for index, part in enumerate(self.parts):
                text = _to_say(part, depth)
                if text and words + len(text.split()) <= SPOKEN_WORDS:
                    said_.append((index, depth, text))
                    words += len(text.split())
        return " ".join([f"{self.title}.", *(text for _, _, text in sorted(said_))])

    def document(self) -> Document:
        """The leaf laid out for Markdown, HTML or PDF."""
        sections = tuple(
            Section(p.heading, "list", tuple(Line(s.text) for s in p.lines), empty=p.empty) for p in self.parts
        )
        return Document(self.title.removeprefix("Handover: "), "Handover", (), sections, "", "", "", notice=SIGNED)


def _to_say(part: Part, depth: int) -> str:
    if depth >= len(part.lines):
        return f"{part.heading}: {part.empty[:1].lower()}{part.empty[1:]}" if depth == 0 else ""
    text = part.lines[depth].text
    return f"{part.heading}: {text}" if depth == 0 else text


def handover(job: Job, pack: Vocabulary, advice: Advice | None = None) -> Handover:
    """The leaf of a job as it stands. ``advice`` (of ``suggest``) gives the next check.

    Raises:
        PackFault: the wording of the pack cannot be used.

    """
    wording = load_wording(pack)
    entries = shown(numbered(job.entries), wording)
    record = Record(job, entries, prove(entries, wording), wording)
    parts = [
        Part(STATE, _state(record), "Nothing was recorded yet."),
        Part(PROVED, _few(_proved(record)), "Nothing is proved yet."),
        Part(CLEARED, _few(_cleared(record)), "No zone was tested dry."),
        Part(NEXT, _next(record, advice), "Not decided."),
        Part(OFF, _few(_off(record)), "Nothing on record."),
    ]
    for id, watch in wording.watches():
        lines = _heard(job, entries, watch.say)
        if id == CURING:
            lines = (*_curing(record), *lines)
        parts.append(Part(watch.heading, _few(lines), "Nothing recorded; ask."))
    return Handover(f"Handover: {job.name}", tuple(parts))


def left_off(job: Job, pack: Vocabulary) -> tuple[Sentence, ...]:
    """What was taken off the vehicle, loosened or lifted and not put back.

    Raises:
        PackFault: the wording of the pack cannot be used.

    """
    wording = load_wording(pack)
    entries = shown(numbered(job.entries), wording)
    return tuple(_off(Record(job, entries, prove(entries, wording), wording)))


def _few(lines: Sequence[Sentence]) -> tuple[Sentence, ...]:
    if len(lines) <= SHOWN:
        return tuple(lines)
    rest = lines[SHOWN - 1 :]
    ids = tuple(dict.fromkeys(id for line in rest for id in line.entries))
    return (*lines[: SHOWN - 1], Sentence(f"And {len(rest)} more: see the write-up.", ids))


# ---- where it stands ------------------------------------------------------------------------------------------


def _state(record: Record) -> tuple[Sentence, ...]:
    leaks = record.proof.leaks
    all_ids = tuple(e.id for e in record.entries)
    if not all_ids:
        return ()
    counts = [
        (sum(leak.grade == "cured" for leak in leaks), "cured"),
        (sum(leak.grade == "water" for leak in leaks), "seen with water and not yet cured"),
        (sum(leak.grade in ("fault", "suspected") for leak in leaks), "suspected or seen as a fault only"),
    ]
    told = series([f"{n} leak{'s' if n != 1 else ''} {what}" for n, what in counts if n])
    closed = "closed" if record.job.status == "closed" else "open"
    return (Sentence(sentence(f"the job is {closed}: {told or 'no leak found yet'}"), all_ids),)


def _proved(record: Record) -> list[Sentence]:
    return [_leak_line(leak, record) for leak in record.proof.leaks if leak.grade in ("water", "cured")]


def _leak_line(leak: Leak, record: Record) -> Sentence:
    wording = record.wording
    head = leak.head
    what = f", {which(head, wording)}" if head.state and head.kind != "test" else ""
    ending = {
        "cured": "repaired, and the retest stayed dry",
        "water": "repaired, cure not proved" if leak.repairs else "not repaired yet",
    }[leak.grade]
    used = [head, *leak.sources, *leak.leaks, *leak.repairs, *(r.entry for r in leak.retests)]
    where = subject(dataclasses.replace(head, at=()), wording).text
    return Sentence(sentence(f"{where}{what}: {ending}"), tuple(dict.fromkeys(e.id for e in used)))


def _cleared(record: Record) -> list[Sentence]:
    """Zones that water was put on and that stayed dry, and did not leak later."""
    wet = [e for e in record.entries if leaked(e)]
    seen: dict[tuple[str | None, ...], Sentence] = {}
    for test in record.entries:
        if not stayed_dry(test) or not shows_water(test, record.wording):
            continue
        if any(same_zone(test, w) or (w.place == test.place) for w in wet):
            continue
        key = (test.place, test.part, test.side)
        seen[key] = Sentence(sentence(trial_clause(test, record.wording)), (test.id,))
    return list(seen.values())


def _next(record: Record, advice: Advice | None) -> tuple[Sentence, ...]:
    planned = tuple(
        Sentence(sentence(f"planned: {said([item(p, record.wording)], record.wording)}"), (p.id,))
        for p in plans_left(record)
    )
    if advice is None or not advice.plan:
        return planned[:SHOWN]
    step = advice.plan[0]
    known = {e.id for e in record.entries}
    ids = tuple(
        dict.fromkeys(i for s in advice.suggestions[:1] for r in s.because for i in r.entries if i in known)
    ) or tuple(e.id for e in record.entries)
    return (Sentence(step_text(step, record.wording), ids), *planned[: SHOWN - 1])


def step_text(step: Step, wording: Wording) -> str:
    """A step of the plan as a sentence (``Look at the seam in the liftgate trough, about 4 minutes.``)."""
    at = Entry("check", step.place, step.part, step.side, method=step.method)
    where = subject(at, wording).text
    minutes = measure(round(step.minutes) or 1, "min", wording)
    opens = f", once off: {series(step.opens)}" if step.opens else ""
    if step.do == "test":
        return sentence(f"{with_article(trial_name(at, wording))} on {where}, about {minutes}{opens}")
    return sentence(f"look at {where}, about {minutes}{opens}")


# ---- what the next person must know ---------------------------------------------------------------------------


def _off(record: Record) -> list[Sentence]:
    return [Sentence(sentence(said([item(e, record.wording)], record.wording)), (e.id,)) for e in still_off(record)]


def _curing(record: Record) -> tuple[Sentence, ...]:
    """The last use of each material that must cure, and drying under way; no time is guessed."""
    last: dict[tuple[str | None, ...], Entry] = {}
    for entry in record.of("repair"):
        cures = entry.material is not None and record.wording.material(entry.material).cures
        if cures or record.wording.state(entry.state).idle:
            last[(entry.place, entry.part, entry.side, entry.material)] = entry
    lines = []
    for entry in last.values():
        text = said([item(entry, record.wording)], record.wording)
        timed = any(q.what == "duration" for q in entry.quantities)
        rest = "" if timed else "; until when was not recorded: the maker's stated time holds"
        lines.append(Sentence(sentence(text + rest), (entry.id,)))
    return tuple(lines)


def _heard(job: Job, entries: Sequence[Entry], words: Sequence[str]) -> tuple[Sentence, ...]:
    """What was said with one of these words in it, as it was said."""
    if not words:
        return ()
    pattern = re.compile(r"\b(?:" + "|".join(re.escape(w) for w in words) + r")\b", re.IGNORECASE)
    found = [
        Sentence(sentence(f"said: “{u.text.strip().rstrip('.')}”"), (f"utterance.{u.id}",))
        for u in job.utterances
        if pattern.search(u.text)
    ]
    if not job.utterances:
        found = [
            Sentence(sentence(f"said: “{e.quote.strip().rstrip('.')}”"), (e.id,))
            for e in entries
            if e.quote and pattern.search(e.quote)
        ]
    return tuple(dict.fromkeys(found))


__all__ = ["SPOKEN_WORDS", "Handover", "Part", "handover", "left_off", "step_text"]
