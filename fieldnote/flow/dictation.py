"""A job as it is dictated: each utterance is kept with its sound, understood, and its entries kept.

Sound, words and the mark of how far the sound was processed go to disk in one act, so that after a stop at any point
every utterance is there once. Entries are derived from the words; where writing them takes long they wait for a pause.
"""

from __future__ import annotations

import io
import time
from dataclasses import replace
from datetime import datetime, timedelta

from fieldnote.capture.clip_file import SUFFIX, clip_bytes
from fieldnote.capture.journal import AnyStretch
from fieldnote.extract import Changes, State
from fieldnote.extract.lexicon import compile_lexicon
from fieldnote.flow.rooms import Rooms
from fieldnote.flow.taking import utterance_id
from fieldnote.flow.understanding import making_of, understand
from fieldnote.recognize.doubt import marked
from fieldnote.records import Clip, Entry, Job, Leftover, Utterance
from fieldnote.vocabulary import Pack

_QUICK_S = 0.06
_PATIENCE = 15.0


class Dictation:
    """The words and entries of one job while somebody dictates."""

    def __init__(self, rooms: Rooms, job: Job) -> None:
        self._rooms = rooms
        self._store = rooms.store
        self._extractor = rooms.extractor
        self._making = making_of(self._extractor)
        understand(self._store, job, self._extractor, only_if_stale=True)
        self._job = self._store.job(job.id)
        self.state: State = self._extractor.start(self._job.intake)
        self._entries: dict[str, Entry] = {}
        self._leftovers: list[Leftover] = []
        for utterance in self._job.utterances:
            self._step(utterance)
        self._unwritten = False
        self._took_s = 0.0
        self._written_at = 0.0

    @property
    def job(self) -> Job:
        """The job, with all its words."""
        return self._job

    @property
    def pack(self) -> Pack:
        """The vocabulary that the words are understood by."""
        return self._rooms.pack

    @property
    def entries(self) -> tuple[Entry, ...]:
        """What was said so far, as entries, in order; without people's changes."""
        return tuple(self._entries.values())

    def leak_state(self, leaked: bool) -> str | None:
        """The pack's id for the result of a test; None where it has no such thing."""
        return compile_lexicon(self._rooms.pack).test_states[0 if leaked else 1] or None

    def in_force(self) -> tuple[Entry, ...]:
        """The entries with people's changes, as kept."""
        self.write(patient=False)
        return self._store.job(self._job.id).entries

    def keep(self, stretch: AnyStretch, start: int, end: int, said: Utterance | None = None) -> Utterance | None:
        """Keep samples ``start`` to ``end`` of a stretch as a clip, with the utterance in it, if there is one.

        Times of ``said`` count from the start of the stretch. Gives the utterance as kept.

        Raises:
            StoreFault: the data folder cannot be written; nothing of it was kept.

        """
        info = stretch.info
        begin_s = start / info.rate_hz
        note = source_of(stretch, start, end)
        kept = self._store.sounds.keep_stream(
            io.BytesIO(clip_bytes(stretch.read(start, end), info.rate_hz, f"{info.device} {note}")), SUFFIX
        )
        began_at = _later(info.started_at, begin_s)
        described = Clip("", kept.sha256, note, kept.path, (end - start) / info.rate_hz, info.rate_hz, 1, began_at)
        placed = None
        with self._store.atomic():
            clip = self._store.add_clip(self._job.id, kept, described)
            engine = said.engine if said else "none"
            hearing_id, _ = self._store.begin_hearing(self._job.id, clip, engine)
            if said is not None and said.text:
                moved = _moved(replace(said, clip_id=clip.id), -begin_s)
                placed = replace(moved, id=utterance_id(clip.id, moved))
                self._store.add_heard(hearing_id, placed, clip.duration_s)
            self._store.end_hearing(hearing_id)
        return placed

    def add(self, utterance: Utterance) -> Changes:
        """Understand an utterance that was kept."""
        self._job = replace(self._job, utterances=(*self._job.utterances, utterance))
        changes = self._step(utterance)
        self._unwritten = True
        self.write(patient=True)
        return changes

    def type(self, text: str, person: str | None) -> Changes:
        """Words that came from a key and not from the microphone."""
        before = {said.id for said in self._store.utterances(self._job.id)}
        self._store.add_text(self._job.id, [text], source="key", person=person)
        new = [said for said in self._store.utterances(self._job.id) if said.id not in before]
        changes = Changes()
        for said in new:
            changes = self.add(said)
        return changes

    def says_nothing(self, text: str) -> bool:
        """Whether words would be no command and make, change or withdraw no entry if they were said now."""
        changes = self._extractor.step(self.state, Utterance("peek", text))[1]
        return not (changes.command or changes.added or changes.changed or changes.withdrawn)

    def peek(self, text: str) -> Changes:
        """What words would mean by themselves; nothing is kept."""
        return self._extractor.step(self._extractor.start(), Utterance("peek", text))[1]

    def write(self, *, patient: bool) -> None:
        """Keep the entries; a ``patient`` call leaves it for later where it has been taking long."""
        if not self._unwritten:
            return
        began = time.monotonic()
        if patient and self._took_s > _QUICK_S and began - self._written_at < _PATIENCE * self._took_s:
            return
        entries = marked(self.entries, self._job.utterances)
        self._store.put_extraction(self._job, entries, self._leftovers, self._making)
        self._written_at = time.monotonic()
        self._took_s = self._written_at - began
        self._unwritten = False

    def done_up_to(self, stretch: AnyStretch) -> int:
        """The sample of a stretch up to which its sound lies in clips."""
        ends = [0]
        for clip in self._store.job(self._job.id).clips:
            name, _, span = clip.source.partition(" ")
            if name == stretch.info.id:
                ends.append(int(span.partition("-")[2]))
        return max(ends)

    def finish(self) -> tuple[Entry, ...]:
        """Keep what waits, make anew what others have changed meanwhile; the entries in force."""
        self.write(patient=False)
        return understand(self._store, self._job.id, self._extractor, only_if_stale=True).entries

    def _step(self, utterance: Utterance) -> Changes:
        self.state, changes = self._extractor.step(self.state, utterance)
        for id in changes.withdrawn:
            self._entries.pop(id, None)
        changes = replace(
            changes, added=marked(changes.added, (utterance,)), changed=marked(changes.changed, (utterance,))
        )
        for entry in (*changes.changed, *changes.added):
            self._entries[entry.id] = entry
        self._leftovers.extend(changes.leftovers)
        return changes


def source_of(stretch: AnyStretch, start: int, end: int) -> str:
    """How a clip of live sound is called: the stretch that it was cut from, and its samples."""
    return f"{stretch.info.id} {start}-{end}"


def _moved(said: Utterance, by_s: float) -> Utterance:
    """The utterance with all its times moved."""
    words = tuple(
        replace(w, from_s=max(0.0, round(w.from_s + by_s, 2)), to_s=max(0.0, round(w.to_s + by_s, 2)))
        for w in said.words
    )
    return replace(
        said,
        words=words,
        from_s=max(0.0, round((said.from_s or 0.0) + by_s, 3)),
        to_s=max(0.0, round((said.to_s or 0.0) + by_s, 3)),
    )


def _later(moment: str, by_s: float) -> str:
    shape = "%Y-%m-%dT%H:%M:%S.%fZ"
    return (datetime.strptime(moment, shape) + timedelta(seconds=by_s)).strftime(shape)
