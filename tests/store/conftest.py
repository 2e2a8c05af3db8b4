"""A store in a folder of its own, and a job in it with entries made from words."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from fieldnote.records import Entry, Intake, Job, Leftover, Origin, Quantity
from fieldnote.store import Making, Store

MAKING = Making("body-leaks", "hash-of-pack", "1")

LINES = (
    "left liftgate hinge lower bolt is loose",
    "hose on the tail lamp for three minutes dry inside",
    "there is a skip in the trough sealer about two inches long",
)


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with Store(tmp_path / "home") as opened:
        yield opened


@pytest.fixture
def job(store: Store) -> Job:
    """A job of three utterances and three entries."""
    return fill(store, "bus 7")


def fill(store: Store, name: str, intake: Intake | None = None) -> Job:
    opened = store.open_job(name, intake)
    store.add_text(opened.id, LINES)
    return extract(store, opened.id)


def extract(store: Store, job_id: str, *, without: str = "") -> Job:
    """Make the entries of a job as an extractor would; ``without`` leaves out the entry of this state."""
    job = store.job(job_id)
    said = [entry for entry in entries_of(job) if entry.state != without]
    store.put_extraction(job, said, [Leftover(job.utterances[0].id, 0, 4, "left")], MAKING)
    return store.job(job_id)


def entries_of(job: Job) -> list[Entry]:
    spoken = [
        Origin("spoken", utterance_id=said.id, start=0, end=len(said.text), role="head") for said in job.utterances[:3]
    ]
    one, two, three = (said.id.replace("u", "e", 1) for said in job.utterances[:3])
    return [
        Entry(
            "check",
            "liftgate-hinge",
            "hinge-bolt",
            "left",
            "loose-fastener",
            at=("lower",),
            quote=LINES[0],
            id=one,
            origins=(spoken[0],),
        ),
        Entry(
            "test",
            "tail-lamp",
            state="dry",
            method="hose",
            quantities=(Quantity("duration", 3.0, "min"),),
            quote=LINES[1],
            id=two,
            origins=(spoken[1],),
        ),
        Entry(
            "check",
            "liftgate-trough",
            "seam-sealer",
            state="skip",
            quantities=(Quantity("length", 2.0, "in"),),
            quote=LINES[2],
            id=three,
            origins=(spoken[2],),
        ),
    ]
