"""A recording or a text walks the street: copied, cut, heard, understood, kept.

Every step is kept before the next begins, so that a stop at any point costs at most the utterance being heard, and
running the same again goes on from there. What a job has already, by the hash of its bytes, adds nothing.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from fieldnote.capture import Sound, cut, read_sound
from fieldnote.errors import FieldnoteError, StoreFault
from fieldnote.flow.hearing import utterance_of
from fieldnote.flow.lone_corrections import LoneCorrections, first_word_s
from fieldnote.flow.texts import is_text, read_lines
from fieldnote.flow.understanding import Understands, understand
from fieldnote.recognize import Engine
from fieldnote.records import Clip, Entry, Job, Utterance
from fieldnote.settings import CaptureSettings, load_settings
from fieldnote.store import Store
from fieldnote.store.identity import id_from

Progress = Callable[[float, str], None]
"""Told which share of the work is done, 0 to 1, and what is being done."""


@dataclass(frozen=True, slots=True)
class TakenFile:
    """What became of one file. ``already``: the job had it; ``error``: it could not be used, and nothing was kept."""

    file: str
    utterances: tuple[Utterance, ...] = ()
    already: bool = False
    error: FieldnoteError | None = None
    warnings: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Taken:
    """What a call of ``take`` did: files in the order given, and the job's entries in force afterwards."""

    job_id: str
    files: tuple[TakenFile, ...]
    entries: tuple[Entry, ...]
    questions: tuple[str, ...] = ()
    """What must be asked of the person, such as ``steering``: on which side the driver sits."""

    @property
    def added(self) -> int:
        """How many files gave something new."""
        return sum(1 for file in self.files if file.error is None and not file.already)

    @property
    def already(self) -> int:
        """How many files the job had."""
        return sum(1 for file in self.files if file.already)


def take(
    store: Store,
    job: str | Job,
    sounds: Sequence[str | Path],
    engine: Engine,
    extractor: Understands,
    progress: Progress | None = None,
    *,
    settings: CaptureSettings | None = None,
    hints: Sequence[str] = (),
    person: str | None = None,
    anew: bool = False,
) -> Taken:
    """Take recordings (and ``.txt`` files, one utterance a line) into a job.

    Recordings that an earlier, stopped call left unheard are heard too. A file that cannot be used is reported in its
    ``TakenFile``; the others are done.

    Args:
        store: where the job is kept.
        job: the job, or its id, name or the start of either.
        sounds: files in the order spoken.
        engine: what hears.
        extractor: what makes entries.
        progress: told as the work goes on.
        settings: how sound is cut; the machine's settings where None.
        hints: words to expect.
        person: who dictated, where known.
        anew: make the entries anew though nothing changed.

    Raises:
        NotFound: no such job.
        StoreFault: the data folder cannot be used.

    """
    told = progress or _nobody
    job_id = store.find_id(job if isinstance(job, str) else job.id)
    shelved = [_shelve(store, job_id, Path(path), position, person) for position, path in enumerate(sounds)]
    waiting = store.unheard_clips(job_id)
    length_s = sum(clip.duration_s for clip in waiting) or 1.0
    done_s, warnings = 0.0, {}
    for clip in waiting:
        start_s = done_s

        def tell(share: float, clip: Clip = clip, start_s: float = start_s) -> None:
            told(0.95 * (start_s + share * clip.duration_s) / length_s, f"hearing {Path(clip.source).name}")

        warnings[clip.id] = hear_clip(
            store,
            job_id,
            clip,
            engine,
            settings or load_settings().capture,
            tell,
            hints,
            LoneCorrections.of(extractor.pack),
        )
        done_s += clip.duration_s
    told(0.95, "making entries")
    understood = understand(store, job_id, extractor, only_if_stale=not anew)
    told(1.0, "done")
    said: dict[str, list[Utterance]] = {}
    for utterance in store.utterances(job_id):
        said.setdefault(utterance.clip_id or "", []).append(utterance)
    files = tuple(
        replace(
            file,
            utterances=tuple(said.get(clip.id, ())) if clip else file.utterances,
            warnings=warnings.get(clip.id, ()) if clip else (),
            # A sound copied by a stopped call and heard by this one is new to the reader.
            already=file.already and not (clip and clip.id in warnings),
        )
        for file, clip in shelved
    )
    return Taken(job_id, files, understood.entries, understood.questions)


def _shelve(store: Store, job_id: str, path: Path, position: int, person: str | None) -> tuple[TakenFile, Clip | None]:
    """Copy a file into the store. A fault of the file itself is reported, a fault of the store ends the call."""
    try:
        if is_text(path):
            lines = read_lines(path)
            added, _ = store.add_text(job_id, lines, source=path.name, person=person, once=True)
            said = tuple(Utterance(id="", text=line) for line in lines)
            return TakenFile(str(path), utterances=said, already=not added), None
        kept = store.sounds.keep(path)
        clip = store.clip_of_sound(job_id, kept.sha256)
        if clip is not None:
            if kept.new:
                store.sound_is_here(kept)
            return TakenFile(str(path), already=True), clip
        try:
            sound = read_sound(store.home / kept.path)
        except FieldnoteError as error:
            store.drop_unclaimed(kept)
            return TakenFile(str(path), error=_at(error, path)), None
        described = Clip(
            id="",
            sha256=kept.sha256,
            source=str(path),
            path=kept.path,
            duration_s=sound.duration_s,
            rate_hz=sound.rate_hz,
            channels=sound.channels,
        )
        return TakenFile(str(path)), store.add_clip(job_id, kept, described, position=position)
    except StoreFault:
        raise
    except FieldnoteError as error:
        return TakenFile(str(path), error=error), None


def _at(error: FieldnoteError, path: Path) -> FieldnoteError:
    """The same error, told of the file that the person named and not of our copy."""
    return type(error)(error.what, where=str(path), do=error.do)


def hear_clip(
    store: Store,
    job_id: str,
    clip: Clip,
    engine: Engine,
    settings: CaptureSettings,
    tell: Callable[[float], None],
    hints: Sequence[str] = (),
    corrections: LoneCorrections | None = None,
) -> tuple[str, ...]:
    """Hear a kept clip to its end, going on where a stop left it; gives what is amiss with the sound, if anything."""
    sound: Sound = read_sound(store.home / clip.path)
    hearing_id, heard_to_s = store.begin_hearing(job_id, clip, engine.name)
    joins = corrections or LoneCorrections({})
    for before in store.utterances(job_id) if heard_to_s else ():
        if before.clip_id == clip.id:
            joins.joined(before, first_word_s(before))
    length_s = sound.duration_s or 1.0
    for piece in cut(sound, settings):
        # Cutting is deterministic: pieces that end before the mark are those heard before the stop.
        if piece.to_s <= heard_to_s + 1e-6:
            continue
        heard = engine.hear(piece.samples, hints)
        said = utterance_of(heard, piece, engine.name, "", clip.id)
        said = joins.joined(said, first_word_s(said))
        store.add_heard(hearing_id, replace(said, id=utterance_id(clip.id, said)), piece.to_s)
        tell(piece.to_s / length_s)
    store.end_hearing(hearing_id)
    tell(1.0)
    return sound.warnings


def utterance_id(clip_id: str, said: Utterance) -> str:
    """The id that follows from the sound and the words.

    So entries and people's changes hold on to an utterance that another engine, or the same one later, hears alike.
    """
    return id_from("u", clip_id, f"{said.from_s or 0.0:.3f}", f"{said.to_s or 0.0:.3f}", said.text)


def _nobody(share: float, doing: str) -> None:
    """Progress that nobody watches."""
