"""Finding jobs by what they lack and by what the payer answered, newest first, however many are kept."""

from __future__ import annotations

import hashlib
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from fieldnote.errors import NotFound
from fieldnote.flow.rooms import Rooms
from fieldnote.narrate import narrate
from fieldnote.narrate.payers import REQUIREMENTS, Known, find_payer, load_payers, told_of
from fieldnote.narrate.proof import prove
from fieldnote.narrate.wording import load_wording
from fieldnote.records import Job
from fieldnote.store import Store
from fieldnote.store.claim_rows import ANYTHING, Candidate, Line, Wanted, candidates, keep, packs_of
from fieldnote.vocabulary import Pack

ALWAYS = ("order-number", "vin", "odometer-in", "complaint", "cause", "correction", "retest")
"""Looked for whoever pays."""
NO_PAYER, NOT_SIGNED = "payer", "signature"
KINDS = {
    ANYTHING: "anything",
    **{id: one.label for id, one in REQUIREMENTS.items()},
    NO_PAYER: "who pays",
    NOT_SIGNED: "a signed write-up",
}
"""What a list can be narrowed down to, by id."""
RULES = "1"
"""Goes up when ``line_of`` says something else of the same job."""
AT_ONCE = 25
BUDGET_S = 2.0


@dataclass(frozen=True, slots=True)
class Found:
    """Ids of jobs that fit, newest first. ``back_to``: the time was up; older jobs than of this time were not seen."""

    ids: tuple[str, ...]
    back_to: str = ""


def line_of(job: Job, pack: Pack, *, signed: bool) -> Line:
    """What a job lacks: what its payer wants, and what is always looked for."""
    try:
        payer = find_payer(job.claim.payer, pack) if job.claim.payer else None
    except NotFound:
        payer = None
    known = Known(job, prove(job.entries, load_wording(pack)), told_of(narrate(job, pack).paragraphs))
    asked = dict.fromkeys((*ALWAYS, *(payer.requires if payer else ())))
    lacks = [id for id in asked if not REQUIREMENTS[id].there(known)]
    lacks += [NO_PAYER] * (not job.claim.payer) + [NOT_SIGNED] * (not signed)
    return Line(job.claim.payer or "", job.claim.outcome or "", tuple(lacks))


def made_with(pack: Pack) -> str:
    """By which rules the lines of a vocabulary's jobs are made: they change with its words and with the payers."""
    payers = repr(sorted(load_payers(pack).items()))
    return hashlib.sha256(f"{RULES} {pack.hash} {payers}".encode()).hexdigest()[:16]


def find(
    store: Store,
    rooms_of: Callable[[str], Rooms],
    wanted: Wanted,
    limit: int,
    *,
    ids: Sequence[str] | None = None,
    budget_s: float = BUDGET_S,
) -> Found:
    """The newest jobs that fit, at most ``limit``; of ``ids`` alone, where those are given.

    Lines that are missing are made on the way, for as long as ``budget_s``; asked again, it goes on from there.
    """
    with store.reading() as db:
        packs = {name: rooms_of(name).pack for name in packs_of(db)}
    rules = {name: made_with(pack) for name, pack in packs.items()}
    until = time.monotonic() + budget_s
    found: list[str] = []
    last: Candidate | None = None
    while len(found) < limit:
        with store.reading() as db:
            some = candidates(db, wanted, rules, last, AT_ONCE, ids)
        if not some:
            return Found(tuple(found))
        made = _make(store, packs, rules, [one for one in some if not one.made])
        found += [one.id for one in some if one.made or wanted.fits(made[one.id])]
        last = some[-1]
        if made and time.monotonic() > until and len(found) < limit:
            return Found(tuple(found), last.created_at)
    return Found(tuple(found[:limit]))


def _make(store: Store, packs: dict[str, Pack], rules: dict[str, str], missing: Sequence[Candidate]) -> dict[str, Line]:
    made: dict[str, Line] = {}
    if not missing:
        return made
    with store.atomic() as db:
        for one in missing:
            job = store.job(one.id)
            made[one.id] = line_of(job, packs[job.pack], signed=bool(store.versions(job.id)))
        keep(db, ((one.id, rules[one.pack], made[one.id]) for one in missing))
    return made


__all__ = ["ALWAYS", "KINDS", "Found", "find", "line_of", "made_with"]
