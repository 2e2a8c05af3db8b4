"""The team's side of the vocabulary: proving the pack, what it does not know yet, and what sounds alike in it."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from pathlib import Path

from fieldnote.flow.rooms import Rooms
from fieldnote.narrate.sketch import load_sketch
from fieldnote.narrate.wording import check_ids, load_wording
from fieldnote.records import Entry, Intake, Utterance
from fieldnote.store.leftover_rows import leftovers_of_pack
from fieldnote.vocabulary import Pack
from fieldnote.vocabulary.confusable import Confusions, confusions
from fieldnote.vocabulary.proving import Proof, keep_run, last_run_path, prove, read_last_run
from fieldnote.vocabulary.proving_files import ProvingJob, load_proving
from fieldnote.vocabulary.unknown import Left, UnknownPhrase, unknown_phrases

TERM_WORDS = frozenset({"place", "part", "state", "done", "method", "material", "one", "part_word"})
"""First words of meanings that name a term of the pack."""
WEIGHTS = "model.bin"
"""The file of a model whose hash stands for the model."""


def prove_pack(rooms: Rooms, *, accept: bool = False) -> Proof:
    """Run the pack's proving set and keep the run; ``accept`` takes what was lost for right.

    Raises:
        PackFault: the pack or its proving set cannot be used.
        BadData: the last run cannot be read, or this one not be kept.

    """
    proof = look_at_proof(rooms)
    keep_run(last_run_path(rooms.home, rooms.pack), rooms.pack, proof, accept=accept)
    return proof


def look_at_proof(rooms: Rooms) -> Proof:
    """Run the pack's proving set and compare it with the last run that was kept; this one is not kept.

    Raises:
        PackFault: the pack or its proving set cannot be used.
        BadData: the last run cannot be read.

    """
    last = read_last_run(last_run_path(rooms.home, rooms.pack))
    return prove(load_proving(rooms.pack), lambda job: entries_of(rooms, job), last)


def entries_of(rooms: Rooms, job: ProvingJob) -> Sequence[Entry]:
    """What the extractor makes of a proving job."""
    utterances = [Utterance(f"{job.id}-{n}", text) for n, text in enumerate(job.say, start=1)]
    intake = Intake(steering="right" if job.steering == "right" else "left" if job.steering else None)
    return rooms.extractor.run(utterances, intake).entries


def check_all(rooms: Rooms) -> None:
    """Read everything of the pack strictly: words, proving set; map, cautions, wording and sketch where it has them.

    Raises:
        PackFault: with all faults of the first of these that has any.

    """
    load_proving(rooms.pack)
    for file, read in (("leak_map.toml", "leak_map"), ("cautions.toml", "cautions")):
        if any((folder / file).is_file() for folder in rooms.pack.folders):
            getattr(rooms, read)
    load_wording(rooms.pack)
    load_sketch(rooms.pack)
    has_map = any((folder / "leak_map.toml").is_file() for folder in rooms.pack.folders)
    check_ids(rooms.pack, rooms.leak_map.names if has_map else ())


def check_map(pack: Pack, path: Path) -> object:
    """Read a leak map with the words of ``pack``.

    Raises:
        PackFault: it does not fit.

    """
    from fieldnote.suggest import load_map

    return load_map(pack, path)


def unknown_of(rooms: Rooms, jobs: Sequence[str] = (), *, at_least: int = 1) -> tuple[UnknownPhrase, ...]:
    """Unplaced words and phrases of the kept jobs (or of those named) that use this pack, by frequency.

    Raises:
        NotFound: no such job.
        StoreFault: the data folder cannot be used.

    """
    return unknown_phrases(_kept_leftovers(rooms, jobs), rooms.pack, at_least=at_least)


def unknown_in(rooms: Rooms, lines: Sequence[str], *, at_least: int = 1) -> tuple[UnknownPhrase, ...]:
    """Unplaced words and phrases of a text that is read as one job and not kept."""
    utterances = [Utterance(str(n), text) for n, text in enumerate(lines)]
    said = {u.id: u.text for u in utterances}
    leftovers = rooms.extractor.run(utterances, Intake()).leftovers
    return unknown_phrases((Left(o.text, said[o.utterance_id]) for o in leftovers), rooms.pack, at_least=at_least)


def _kept_leftovers(rooms: Rooms, jobs: Sequence[str]) -> Iterator[Left]:
    if not jobs:
        with rooms.store.reading() as db:
            yield from (Left(*found) for found in leftovers_of_pack(db, rooms.pack.id))
        return
    for name in jobs:
        job = rooms.store.job(name)
        if job.pack != rooms.pack.id:
            continue
        said = {u.id: u.text for u in job.utterances}
        for left in job.leftovers:
            yield Left(left.text, said.get(left.utterance_id, left.text), job.name)


def confusions_of(rooms: Rooms, only: str = "") -> Confusions:
    """What sounds alike in the pack; measured rows are stale where the recogniser in use is another model."""
    return confusions(rooms.pack, model_hash=model_hash(rooms), only=only)


def model_hash(rooms: Rooms) -> str | None:
    """The hash that stands for the recogniser in use, as its manifest pins it; None where it is not known."""
    from fieldnote.recognize.model_files import load_manifest

    pinned = load_manifest().get(rooms.settings.recognize.model)
    if pinned is None:
        return None
    return next((f.sha256 or None for f in pinned.files if f.name == WEIGHTS), None)


def meanings_of(rooms: Rooms) -> Callable[[str], frozenset[str]]:
    """Tells what the pack takes a phrase for (terms alone, no words of the grammar)."""
    from fieldnote.flow.explaining import Matcher

    matcher = Matcher(rooms)

    def meanings(phrase: str) -> frozenset[str]:
        found = (m for matched in matcher.matched(phrase) for m in matched.meanings)
        return frozenset(m for m in found if m.split(" ", 1)[0] in TERM_WORDS)

    return meanings


def breaks_grammar(rooms: Rooms) -> Callable[[str, str], bool]:
    """Tells whether a reading has a word that changes a sentence (a side, a unit, "not") and was not said."""
    pack = rooms.pack
    phrases = [*pack.words.get("negator", ()), *(p for t in (pack.sides, pack.at) for ps in t.values() for p in ps)]
    phrases += [p for unit in pack.terms("unit") for p in unit.say]
    words = {phrase for phrase in phrases if " " not in phrase}
    return lambda said, heard: bool((set(heard.split()) - set(said.split())) & words)


def additions_of(rooms: Rooms) -> tuple[Path, ...]:
    """Files of the overlay that add to the shipped pack."""
    folder = rooms.home / "vocab" / rooms.pack.id
    return tuple(sorted(folder.glob("*.toml")))
