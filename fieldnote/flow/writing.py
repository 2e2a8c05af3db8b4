"""The write-up of a kept job, as a draft or frozen as it is handed out."""

from __future__ import annotations

import dataclasses

from fieldnote.narrate import narrate
from fieldnote.narrate.pictures import ReadPhoto
from fieldnote.records import FrozenVersion, Job, Narrative, Photo
from fieldnote.store import Store
from fieldnote.suggest import Cautions, LeakMap
from fieldnote.suggest.aftercare import aftercare
from fieldnote.vocabulary import Pack


def write_up(
    store: Store,
    job: str | Job,
    pack: Pack,
    *,
    cautions: Cautions | None = None,
    names: bool = False,
    leak_map: LeakMap | None = None,
) -> Narrative:
    """The write-up of a job from its entries in force.

    ``version`` is that of the frozen write-up which says the same, 0 where none does (a draft).

    Args:
        store: where the job is kept.
        job: the job, or its id, name or the start of either.
        pack: the job's vocabulary.
        cautions: those of the pack; the ones that bear on the work done are written down.
        names: let in facts that the pack marks private.
        leak_map: tells what follows a leak; what was not said to be done becomes an open point.

    Raises:
        NotFound: no such job.
        StoreFault: the data folder cannot be used.

    """
    found = store.job(job if isinstance(job, str) else job.id)
    texts = cautions.of_entries(found.entries) if cautions is not None else ()
    follows = aftercare(leak_map, found.entries) if leak_map is not None else ()
    story: Narrative = narrate(found, pack, texts, names=names, aftercare=follows)
    same = [version.number for version in store.versions(found.id) if version.hash == story.hash]
    return dataclasses.replace(story, version=max(same, default=0))


def photo_reader(store: Store) -> ReadPhoto:
    """What gives the picture of a photo to a document; one that was deleted, or is on another machine, is left out."""

    def read(photo: Photo) -> bytes | None:
        try:
            return (store.home / photo.path).read_bytes()
        except OSError:
            return None

    return read


def freeze(
    store: Store,
    job: str | Job,
    pack: Pack,
    person: str,
    *,
    cautions: Cautions | None = None,
    names: bool = False,
    leak_map: LeakMap | None = None,
) -> FrozenVersion:
    """Keep the write-up as it is handed out: numbered, hashed, never changed. Saying the same again adds no version.

    Raises:
        NotFound: no such job.
        StoreFault: the data folder cannot be used.

    """
    found = store.find_id(job if isinstance(job, str) else job.id)
    story = write_up(store, found, pack, cautions=cautions, names=names, leak_map=leak_map)
    return store.freeze(found, story, person)
