"""``Store``: the one door to the kept jobs."""

from __future__ import annotations

import sqlite3
import threading
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

from fieldnote.errors import NotFound, UserMistake
from fieldnote.records import (
    Clip,
    Edit,
    Entry,
    FrozenVersion,
    Intake,
    Job,
    JobLine,
    Leftover,
    Narrative,
    Photo,
    PhotoKind,
    Rates,
    Utterance,
)
from fieldnote.resources import data_home
from fieldnote.store import (
    changes,
    entry_rows,
    job_rows,
    lesson_rows,
    outline_rows,
    photo_rows,
    search,
    summary_rows,
    version_rows,
    word_rows,
)
from fieldnote.store.connection import BUSY_S, FILE_NAME, atomic, connect, open_database
from fieldnote.store.database import Database
from fieldnote.store.entry_rows import Making
from fieldnote.store.faults import plain_faults
from fieldnote.store.fields import CONFIRMED, ENTRY_FIELDS, HANDOVER, JOB_FIELDS, write_value
from fieldnote.store.identity import compact, new_id, now, words_hash
from fieldnote.store.job_rows import Status, first
from fieldnote.store.lesson_rows import Teacher
from fieldnote.store.rows import entry_to_json, intake_from_json
from fieldnote.store.search import Query
from fieldnote.store.sound_shelf import Kept, SoundShelf
from fieldnote.store.summary_rows import Summarizer

_SUMMARIES_AT_ONCE = 500
_LESSONS_AT_ONCE = 500


class Store:
    """The jobs in one data folder. One store may be used from several threads and several processes.

    Every method raises ``StoreFault``, in one line, where the folder is locked, read-only, full or damaged; what was
    kept before stays.
    """

    def __init__(
        self,
        home: Path | None = None,
        *,
        busy_s: float = BUSY_S,
        summarizer: Callable[[], Summarizer | None] | None = None,
    ) -> None:
        """Open the store below ``home`` (the machine's data folder where None), making it where there is none.

        ``summarizer`` gives what keeps summaries up, where it is at hand: without it they stay due.
        """
        self.home = home if home is not None else data_home()
        self.path = self.home / FILE_NAME
        self.sounds = SoundShelf(self.home)
        self.pictures = SoundShelf(self.home, "photo")
        self._busy_s = busy_s
        self._summarizer = summarizer
        self._local = threading.local()
        self._turn = threading.RLock()
        self._opened: list[Database] = []
        with self._reading() as db:
            row = first(db, "SELECT id FROM machine", [])
        self.machine = str(row["id"]) if row else ""

    def __enter__(self) -> Store:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """Close the connections of all threads."""
        while self._opened:
            self._opened.pop().conn.close()
        self._local = threading.local()

    # ---- the database ---------------------------------------------------------------------------------------

    @property
    def db(self) -> Database:
        """This thread's connection; read from it, write only inside ``atomic``."""
        if not hasattr(self._local, "db"):
            self._local.db = open_database(self.path, busy_s=self._busy_s)
            self._opened.append(self._local.db)
        found: Database = self._local.db
        return found

    @contextmanager
    def _reading(self) -> Iterator[Database]:
        with plain_faults(self.path):
            yield self.db

    @contextmanager
    def reading(self) -> Iterator[Database]:
        """Read several things as of one moment."""
        with self._reading() as db, db.atomic():
            yield db

    @contextmanager
    def reading_alone(self) -> Iterator[sqlite3.Connection]:
        """A connection of its own for a long read, such as a backup."""
        with plain_faults(self.path):
            db = connect(self.path, busy_s=self._busy_s)
            try:
                yield db.conn
            finally:
                db.conn.close()

    @contextmanager
    def atomic(self) -> Iterator[Database]:
        """All writes of the block, or none; blocks may be nested."""
        # Threads take turns here: SQLite makes them poll for its lock, and lets one wait until it gives up.
        with plain_faults(self.path), self._turn, atomic(self.db):
            outermost = not self._is_inside()
            self._local.inside = True
            try:
                yield self.db
                if outermost and self._summarizer is not None and (summarizer := self._summarizer()) is not None:
                    summary_rows.keep_up(self.db, summarizer)
            finally:
                if outermost:
                    self._local.inside = False

    def _is_inside(self) -> bool:
        """Whether this thread is inside ``atomic`` already."""
        inside: bool = getattr(self._local, "inside", False)
        return inside

    # ---- jobs -----------------------------------------------------------------------------------------------

    def open_job(self, name: str, intake: Intake | None = None, *, pack: str = "body-leaks") -> Job:
        """Open a job.

        Raises:
            Clash: a job has that name.
            UserMistake: the name is empty.

        """
        with self.atomic() as db:
            job_id = job_rows.open_job(db, name, intake or Intake(), pack)
            search.index_job(db, job_id)
        return self.job(job_id)

    def find_id(self, ref: str) -> str:
        """The id of the job that ``ref`` means: its id, its name, or the start of either where only one fits.

        Raises:
            NotFound: no job fits.
            UserMistake: several do.

        """
        with self._reading() as db:
            return job_rows.find_job(db, ref)

    def find_named(self, name: str) -> str | None:
        """The id of the one job of this very name (in any case), or None.

        Raises:
            UserMistake: several jobs have it.

        """
        with self._reading() as db:
            found = job_rows.jobs_named(db, name)
        if len(found) > 1:
            raise UserMistake("several jobs have this name", where=name, do=f"Give the id of one: {', '.join(found)}.")
        return found[0] if found else None

    def job(self, ref: str) -> Job:
        """The whole job that ``ref`` means (see ``find_id``), as of one moment."""
        with self.reading() as db:
            job_id = job_rows.find_job(db, ref)
            row = first(db, "SELECT * FROM job WHERE id = ?", [job_id])
            assert row is not None
            forced = entry_rows.in_force(db, job_id)
            return Job(
                id=job_id,
                name=row["name"],
                created_at=row["created_at"],
                status=row["status"],
                closed_at=row["closed_at"],
                pack=row["pack"],
                intake=intake_from_json(_json(row["intake"])),
                claim=changes.claim(forced.edits, job_id),
                clips=word_rows.clips_of(db, job_id),
                utterances=word_rows.utterances_of(db, job_id),
                entries=forced.entries,
                leftovers=entry_rows.leftovers_of(db, job_id),
                edits=forced.edits,
                stranded_edits=forced.stranded,
                differences=forced.differences,
                photos=photo_rows.photos_of(db, job_id),
            )

    def jobs(
        self,
        *,
        status: Status | None = None,
        limit: int | None = None,
        since: str | None = None,
        until: str | None = None,
    ) -> list[JobLine]:
        """Jobs, newest first; ``since`` and ``until`` compare with the time of opening."""
        with self._reading() as db:
            return job_rows.list_jobs(db, status, limit, since, until)

    def search(self, query: Query, *, limit: int = 20) -> list[JobLine]:
        """The newest jobs that fit, with an excerpt."""
        with self._reading() as db:
            return search.find(db, query, limit)

    # ---- sound and words ------------------------------------------------------------------------------------

    def add_clip(self, job_id: str, kept: Kept, clip: Clip, *, position: int = 0, after: str | None = None) -> Clip:
        """Keep a clip of a job; a sound that the job has already gives the clip that is there.

        ``position`` orders the clips of one call; with ``after`` they stand at the job's beginning, ordered by that
        text, in whatever order they come. The id and path of ``clip`` are chosen here.
        """
        with self.atomic() as db:
            summary_rows.mark_due(db, job_id)  # it may say when the search began
            return word_rows.add_clip(db, job_id, kept, clip, position, after)

    def clip_of_sound(self, job_id: str, sha256: str) -> Clip | None:
        """The clip of a job that has this sound, or None."""
        with self._reading() as db:
            return word_rows.clip_of_sound(db, job_id, sha256)

    def sound_is_here(self, kept: Kept) -> None:
        """A sound that was let go, and was given again, is kept again."""
        with self.atomic() as db:
            word_rows.sound_is_here(db, kept)

    def unheard_clips(self, job_id: str) -> tuple[Clip, ...]:
        """Clips that no engine has heard to the end, in order."""
        with self._reading() as db:
            return word_rows.unheard_clips(db, job_id)

    def drop_unclaimed(self, kept: Kept) -> None:
        """Delete a sound that was copied just now and that no job holds (it turned out to be no sound)."""
        with self.atomic() as db:
            if kept.new and first(db, "SELECT 1 FROM sound WHERE sha256 = ?", [kept.sha256]) is None:
                self.sounds.drop(kept.path)

    def begin_hearing(self, job_id: str, clip: Clip, engine: str) -> tuple[str, float]:
        """Begin to hear a clip, or go on where a stop left it: the hearing's id and the seconds heard already."""
        with self.atomic() as db:
            return word_rows.begin_hearing(db, clip, job_id, engine, self.machine)

    def add_heard(self, hearing_id: str, utterance: Utterance, heard_to_s: float) -> None:
        """Keep one utterance of a hearing; with text "" only how far the clip was heard."""
        with self.atomic() as db:
            word_rows.add_heard(db, hearing_id, utterance, heard_to_s)

    def end_hearing(self, hearing_id: str) -> None:
        """The clip was heard to its end; from now on its words are those of this hearing."""
        with self.atomic() as db:
            search.index_job(db, word_rows.end_hearing(db, hearing_id))

    def add_text(
        self, job_id: str, lines: Sequence[str], *, source: str = "typed", person: str | None = None, once: bool = False
    ) -> tuple[int, int]:
        """Keep text, one utterance a line: how many were added, how many were there already (with ``once``)."""
        with self.atomic() as db:
            counts = word_rows.add_text(
                db, job_id, lines, source=source, person=person, once=once, machine=self.machine
            )
            search.index_job(db, job_id)
            return counts

    def utterances(self, job_id: str) -> tuple[Utterance, ...]:
        """The words of a job, in the order spoken."""
        with self._reading() as db:
            return word_rows.utterances_of(db, job_id)

    # ---- entries --------------------------------------------------------------------------------------------

    def put_extraction(
        self, job: Job, entries: Sequence[Entry], leftovers: Sequence[Leftover], making: Making
    ) -> tuple[Entry, ...]:
        """Replace what came out of the words, replay every change over it, and give the entries in force.

        ``job`` is the job as it was when its words were read: words that came in since then make it stale.
        """
        made_from = words_hash(((said.id, said.text) for said in job.utterances), job.intake.steering)
        with self.atomic() as db:
            entry_rows.put_extraction(db, job.id, entries, leftovers, making, made_from, len(job.utterances))
            search.index_job(db, job.id)
            return entry_rows.entries_of(db, job.id)

    def is_stale(self, job_id: str, making: Making | None = None) -> bool:
        """Whether the entries were made from other words than the job has now (or, if given, by other means)."""
        with self._reading() as db:
            of_now, count = word_rows.words_hash_of(db, job_id)
            row = first(db, "SELECT * FROM extraction WHERE job_id = ?", [job_id])
        if row is None:
            return count > 0
        made = Making(row["pack"], row["pack_hash"], row["extractor"])
        return bool(row["words_hash"] != of_now) or (making is not None and making != made)

    # ---- people's changes -----------------------------------------------------------------------------------

    def find_entry(self, job: Job, ref: str) -> Entry:
        """The entry of a job that ``ref`` means: its id or the start of it.

        Raises:
            NotFound: no entry fits.
            UserMistake: several do.

        """
        fits = [entry for entry in job.entries if entry.id == ref] or [
            entry for entry in job.entries if ref and entry.id.startswith(ref)
        ]
        if len(fits) == 1:
            return fits[0]
        if fits:
            raise UserMistake("several entries fit", where=ref, do="Give more of its id.")
        raise NotFound(
            "this job has no such entry", where=ref or "entry", do="`fieldnote job show` gives the ids of its entries."
        )

    def correct(self, job_id: str, entry_id: str, field: str, value: object, person: str) -> Edit:
        """Set one field of an entry.

        Raises:
            NotFound: the job has no such entry in force.
            UserMistake: there is no such field, or it has that value already.

        """
        if field not in ENTRY_FIELDS:
            raise UserMistake("an entry has no such field", where=field, do=f"Fields are: {', '.join(ENTRY_FIELDS)}.")
        with self.atomic():
            job = self.job(job_id)
            entry = self.find_entry(job, entry_id)
            return self._change(
                job, entry.id, "set", field, getattr(entry, field), value, person, quote=entry.quote or _named(entry)
            )

    def disregard(self, job_id: str, entry_id: str, person: str) -> Edit:
        """Take an entry out; it stays in the log and can be brought back."""
        with self.atomic():
            job = self.job(job_id)
            entry = self.find_entry(job, entry_id)
            before = compact(entry_to_json(entry))
            return self._append(job, entry.id, "remove", None, before, None, person, entry.quote or _named(entry))

    def add_entry(self, job_id: str, entry: Entry, person: str) -> Edit:
        """Add an entry that nobody spoke. Its id is chosen here."""
        with self.atomic():
            job = self.job(job_id)
            after = compact(entry_to_json(entry))
            return self._append(job, new_id("e"), "add", None, None, after, person, entry.quote or _named(entry))

    def amend_job(self, job_id: str, field: str, value: object, person: str, *, quote: str = "") -> Edit:
        """Set one of the job's own fields (``name``, ``status``, ``intake.FIELD``, ``claim.FIELD`` and the like).

        Raises:
            UserMistake: there is no such field, or it has that value already.
            Clash: another job has that name.

        """
        if field not in JOB_FIELDS and not field.startswith(CONFIRMED):
            raise UserMistake("a job has no such field", where=field, do=f"Fields are: {', '.join(JOB_FIELDS)}.")
        with self.atomic() as db:
            job = self.job(job_id)
            if field == "name":
                value = " ".join(str(value or "").split())
                if not value:
                    raise UserMistake("a job needs a name", where=job.name, do="Give it one.")
                job_rows.refuse_taken_name(db, value, but=job.id)
            before: object = job
            if field == HANDOVER or field.startswith(CONFIRMED):
                last = changes.told(job.edits, job.id, field)
                before = last.after if last else None
            else:
                for name in field.split("."):
                    before = getattr(before, name)
            return self._change(job, job.id, "set", field, before, value, person, quote=quote or job.name)

    def undo(self, job_id: str, person: str, edit_ref: str | None = None) -> tuple[Edit, Edit]:
        """Take back a change (the last one that counts where none is named): the change, and what took it back.

        Taking back what took a change back brings that change into force again.

        Raises:
            NotFound: there is no such change, or none that counts.
            UserMistake: it is taken back already.

        """
        with self.atomic():
            job = self.job(job_id)
            target = self._edit_of(job, edit_ref) if edit_ref else changes.last_that_counts(job.edits)
            if target is None:
                raise NotFound("there is no change to take back", where=job.name, do="Nothing was done.")
            if target.id not in {edit.id for edit in changes.in_force(job.edits)}:
                raise UserMistake("this change is taken back already", where=target.id, do="Nothing was done.")
            undone = self._append(
                job, target.entry_id, "undo", target.field, target.after, target.id, person, target.quote
            )
        return target, undone

    def _edit_of(self, job: Job, ref: str) -> Edit:
        fits = [edit for edit in job.edits if edit.id.startswith(ref)]
        if len(fits) != 1:
            what = "several changes fit" if fits else "this job has no such change"
            raise NotFound(what, where=ref, do="`fieldnote job show --changes` gives the ids of its changes.")
        return fits[0]

    def _change(
        self,
        job: Job,
        entry_id: str,
        action: str,
        field: str,
        before: object,
        after: object,
        person: str,
        *,
        quote: str,
    ) -> Edit:
        was, becomes = write_value(field, _jsonable(before)), write_value(field, _jsonable(after))
        differs = any(found.entry_id == entry_id for found in job.differences)
        if was == becomes and not differs:
            raise UserMistake("it has that value already", where=field, do="Nothing was changed.")
        return self._append(job, entry_id, action, field, was, becomes, person, quote)

    def _append(
        self,
        job: Job,
        entry_id: str,
        action: str,
        field: str | None,
        before: str | None,
        after: str | None,
        person: str,
        quote: str,
    ) -> Edit:
        """Add a change to the log, inside the caller's ``atomic``, and bring what is derived up to date."""
        edit = Edit(
            id=new_id("d"),
            job_id=job.id,
            entry_id=entry_id,
            action=action,  # type: ignore[arg-type]
            field=field,
            before=before,
            after=after,
            person=person,
            at=now(),
            quote=quote,
            machine=self.machine,
            turn=1 + max((earlier.turn for earlier in job.edits), default=0),
            follows=changes.heads(job.edits),
        )
        entry_rows.insert_edit(self.db, edit)
        self.refresh(job.id)
        return edit

    def refresh(self, job_id: str) -> None:
        """Bring what is derived (the job's fields, the entries in force, the index) up to date, inside ``atomic``."""
        said = entry_rows.said_entries(self.db, job_id)
        job_rows.refresh_header(self.db, job_id, entry_rows.edits_of(self.db, job_id))
        entry_rows.write_entries(self.db, job_id, said)
        search.index_job(self.db, job_id)

    # ---- what closed jobs taught ----------------------------------------------------------------------------

    def outlines(self, pack: str) -> list[Job]:
        """All jobs of a pack with intake, entries and changes, oldest first, without words and sound."""
        with self.reading() as db:
            return outline_rows.outlines(db, pack)

    def make_lessons(
        self, teacher: Teacher, most: int | None = None, progress: Callable[[int], None] | None = None
    ) -> int:
        """Make the lessons that are due, or ``most`` of them, some hundred in a transaction; gives how many.

        ``progress`` is told how many are made.
        """
        made = 0
        while most is None or made < most:
            with self.atomic() as db:
                limit = _LESSONS_AT_ONCE if most is None else min(_LESSONS_AT_ONCE, most - made)
                new = lesson_rows.make(db, teacher, limit)
            made += new
            if progress is not None and new:
                progress(made)
            if new < limit:
                break
        return made

    def count_due_lessons(self, teacher: Teacher, most: int = -1) -> int:
        """How many lessons have to be made before all can be relied on; counted up to ``most`` where it is given."""
        with self._reading() as db:
            return lesson_rows.count_due(db, teacher, most)

    def lesson_is_due(self, teacher: Teacher, job: Job) -> bool:
        """Whether the lesson of an open job has to be made anew before anything is said of its vehicle's other jobs."""
        with self._reading() as db:
            return not lesson_rows.says_the_same(db, teacher, job)

    def rates(
        self, teacher: Teacher, *, families: Sequence[str] = (), vehicle: str | None = None, but: str | None = None
    ) -> Rates:
        """What the lessons made so far come to, with the counts of some families and of one vehicle.

        ``but`` is a job whose own lesson is left out.
        """
        with self.reading() as db:
            return lesson_rows.rates(db, teacher, families, vehicle, but)

    def jobs_behind_rates(self, teacher: Teacher) -> tuple[tuple[str, ...], tuple[str, ...]]:
        """The jobs that teach, and those that are withdrawn since their vehicle came back."""
        with self._reading() as db:
            return lesson_rows.jobs_behind(db, teacher)

    # ---- photos ---------------------------------------------------------------------------------------------

    def add_photo(
        self, job_id: str, kept: Kept, size: tuple[int, int], kind: PhotoKind, entry_id: str | None, person: str
    ) -> Photo:
        """Keep a photo (``size``: width and height in pixels) with an entry, or with the job as a whole.

        A picture that the job has already gives the photo that is there.
        """
        with self.atomic() as db:
            return photo_rows.add_photo(db, job_id, kept, size, kind, entry_id, person, self.machine)

    def photo(self, job_id: str, photo_id: str) -> Photo:
        """One photo of a job.

        Raises:
            NotFound: the job has no such photo.

        """
        with self._reading() as db:
            return photo_rows.photo_of(db, job_id, photo_id)

    def place_photo(self, job_id: str, photo_id: str, entry_id: str | None, kind: PhotoKind) -> Photo:
        """Put a photo with another entry, or call it by another kind."""
        with self.atomic() as db:
            photo_rows.photo_of(db, job_id, photo_id)
            photo_rows.place_photo(db, job_id, photo_id, entry_id, kind)
            return photo_rows.photo_of(db, job_id, photo_id)

    def delete_photo(self, job_id: str, photo_id: str) -> Photo:
        """Delete a picture for good; its hash, and the note that it was deleted, stay."""
        with self.atomic() as db:
            photo = photo_rows.photo_of(db, job_id, photo_id)
            alone = photo_rows.delete_photo(db, photo)
        # The note comes first, as with sound: a stop in between leaves a file too many, never a note too few.
        if alone:
            self.pictures.drop(photo.path)
        return self.photo(job_id, photo_id)

    # ---- many jobs together ---------------------------------------------------------------------------------

    def count_due(self, summarizer: Summarizer) -> int:
        """How many summaries have to be made before all of a vocabulary can be relied on."""
        with self._reading() as db:
            return summary_rows.count_due(db, summarizer)

    def make_summaries(self, summarizer: Summarizer, progress: Callable[[int], None] | None = None) -> int:
        """Make every summary that is due, some hundred in a transaction, so that a stop loses little and others can
        write in between; gives how many. ``progress`` is told how many are made."""
        made = 0
        while True:
            with self.atomic() as db:
                ids = summary_rows.due(db, summarizer, _SUMMARIES_AT_ONCE)
                if ids:
                    summary_rows.make(db, summarizer, ids)
            made += len(ids)
            if progress is not None:
                progress(made)
            if len(ids) < _SUMMARIES_AT_ONCE:
                return made

    # ---- frozen write-ups -----------------------------------------------------------------------------------

    def freeze(self, job_id: str, narrative: Narrative, person: str) -> FrozenVersion:
        """Keep a write-up as it is handed out; the same words as the last one give that version again."""
        with self.atomic() as db:
            return version_rows.freeze(db, job_id, narrative, person)

    def versions(self, job_id: str) -> tuple[FrozenVersion, ...]:
        """The write-ups of a job that were handed out, oldest first."""
        with self._reading() as db:
            return version_rows.versions_of(db, job_id)


def _json(text: str) -> dict[str, object]:
    import json

    value: dict[str, object] = json.loads(text)
    return value


def _jsonable(value: object) -> object:
    from fieldnote.wire import plain

    return plain(value) if not isinstance(value, str) else value


def _named(entry: Entry) -> str:
    """An entry without words of its own, by its identifiers."""
    return " ".join(filter(None, (entry.kind, entry.side, entry.place, entry.part, entry.state, entry.what)))
