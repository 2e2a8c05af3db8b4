"""The demo job: a shipped recording of one invented job, walked down the whole street."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from fieldnote.flow.advising import next_checks
from fieldnote.flow.jobs import open_job
from fieldnote.flow.rooms import Rooms
from fieldnote.flow.taking import Progress, Taken, take
from fieldnote.flow.writing import write_up
from fieldnote.records import Advice, Conditions, Intake, Job, Narrative
from fieldnote.resources import shipped

if TYPE_CHECKING:
    from fieldnote.store import Store

DOCUMENTS = ("md", "html", "json")


@dataclass(frozen=True, slots=True)
class Script:
    """What the demo job is: its name, what is known at the start, its clips in the order spoken."""

    name: str
    intake: Intake
    clips: tuple[Path, ...]
    asks_after: int
    """After so many clips the technician would ask where to look next: the water has been seen, nothing is proved."""


@dataclass(frozen=True, slots=True)
class Told:
    """All that the demo shows."""

    job: Job
    taken: Taken
    midway: Advice
    narrative: Narrative
    files: tuple[Path, ...]


def read_script() -> Script:
    """The shipped demo job."""
    folder = shipped("sample_audio")
    job = tomllib.loads((folder / "job.toml").read_text(encoding="utf-8"))
    known = dict(job["intake"])
    conditions = Conditions(liquid=tuple(known.pop("liquid", ())))
    clips = tuple(folder / clip["file"] for clip in job["clip"])
    return Script(job["name"], Intake(conditions=conditions, **known), clips, int(job["asks_after"]))


def run(rooms: Rooms, script: Script, out: Path, progress: Progress) -> Told:
    """Hear, understand, keep, suggest and write up the demo job; the documents go into ``out``.

    Raises:
        FieldnoteError: as the rooms say.

    """
    store: Store = rooms.store
    job = open_job(store, script.name, script.intake, pack=rooms.pack)
    first, rest = script.clips[: script.asks_after], script.clips[script.asks_after :]
    share = len(first) / len(script.clips)
    early = take(store, job, first, rooms.engine, rooms.extractor, lambda done, what: progress(share * done, what))
    midway = next_checks(store, job, rooms.leak_map, cautions=rooms.cautions)
    late = take(
        store, job, rest, rooms.engine, rooms.extractor, lambda done, what: progress(share + (1 - share) * done, what)
    )
    taken = Taken(late.job_id, (*early.files, *late.files), late.entries, late.questions)
    narrative = write_up(store, job, rooms.pack, cautions=rooms.cautions, leak_map=rooms.leak_map)
    kept = store.job(job.id)
    return Told(kept, taken, midway, narrative, _documents(rooms, kept, narrative, out))


def _documents(rooms: Rooms, job: Job, narrative: Narrative, out: Path) -> tuple[Path, ...]:
    from fieldnote.narrate import render

    out.mkdir(parents=True, exist_ok=True)
    files = []
    for to in DOCUMENTS:
        path = out / f"write-up.{to}"
        path.write_bytes(render(narrative, job, rooms.pack, to))
        files.append(path)
    return tuple(files)
