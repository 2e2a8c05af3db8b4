"""Sign-off: what is doubtful is confirmed first, then the write-up is frozen with its hash, for good."""

from __future__ import annotations

from dataclasses import dataclass

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, JSONResponse, Response

from fieldnote.errors import NotFound
from fieldnote.flow import freeze
from fieldnote.flow.confirming import confirm, confirmed, seal
from fieldnote.narrate.compose import story_hash
from fieldnote.records import Edit, Job, Narrative
from fieldnote.store.changes import in_force
from fieldnote.store.fields import CONFIRMED
from fieldnote.web.asking import OnPage, Page, Sent, text_of
from fieldnote.web.correcting import find
from fieldnote.web.desk import audible
from fieldnote.web.doubts import doubts
from fieldnote.web.entry_views import by_id, entry_views
from fieldnote.web.roles import needs
from fieldnote.web.write_ups import map_of

router = APIRouter(prefix="/jobs/{job_id}")


@dataclass(frozen=True, slots=True)
class Held:
    """Why a sign-off was not done."""

    text: str


@router.get("/sign-off")
def show(page: OnPage, job_id: str) -> HTMLResponse:
    """What must be confirmed, what is open, and the button."""
    return _form(page, page.job(job_id), None)


def _form(page: Page, job: Job, held: Held | None) -> HTMLResponse:
    rooms = page.house.of(job)
    views = by_id(audible(page, job, entry_views(job, rooms.pack)))
    story = page.house.write_ups.of(rooms, job)
    vouched = confirmations(job)
    return page.render(
        "sign_off.html.j2",
        409 if held else 200,
        job=job,
        story=story,
        doubtful=[(views[doubt.entry.id], seal(doubt.entry)) for doubt in doubts(job)],
        confirmed=[(views[id], edit) for id, edit in vouched.items()],
        held=held,
        versions=rooms.store.versions(job.id),
    )


def confirmations(job: Job) -> dict[str, Edit]:
    """What somebody confirmed of each entry as it is now, in the order of the entries."""
    done = confirmed(job)
    edits = {edit.field: edit for edit in in_force(job.edits) if edit.action == "set"}
    return {e.id: edits[f"{CONFIRMED}{e.id}"] for e in job.entries if e.id in done}


@router.post("/sign-off/confirm", dependencies=[needs("sign off")])
def confirm_one(page: OnPage, job_id: str, request: Request, form: Sent) -> Response:
    """Note that one entry was heard and found right, as it was shown; others may be confirmed later."""
    job = page.job(job_id)
    entry = find(job, text_of(form, "entry"))
    if text_of(form, "seen") != seal(entry):
        return _form(page, job, Held("That entry changed while you were looking at it. Hear it again."))
    made = confirm(page.house.rooms.store, job, [entry.id], page.who)
    if "application/json" in request.headers.get("accept", ""):
        left = len(doubts(page.job(job.id)))
        return JSONResponse({"confirmed": entry.id, "left": left, "edit": made[0].id if made else None})
    return page.to(f"/jobs/{job.id}/sign-off#doubtful")


@router.post("/sign-off", dependencies=[needs("sign off")])
def sign(page: OnPage, job_id: str, form: Sent) -> Response:
    """Freeze the write-up that was shown, once everything doubtful is confirmed."""
    job = page.job(job_id)
    rooms = page.house.of(job)
    story = page.house.write_ups.of(rooms, job)
    held = _held(job, story, text_of(form, "hash"))
    if held is not None:
        return _form(page, job, held)
    frozen = freeze(rooms.store, job, rooms.pack, page.who, cautions=rooms.cautions, leak_map=map_of(rooms))
    return page.to(f"/jobs/{job.id}/versions/{frozen.number}")


def _held(job: Job, story: Narrative, seen: str) -> Held | None:
    if not job.entries:
        return Held("There is nothing to sign: no entry was recorded yet.")
    if seen != story.hash:
        return Held("The write-up changed while you were looking at it. Read it again, then sign.")
    many = len(doubts(job))
    if many:
        return Held(f"{many} doubtful {'entry is' if many == 1 else 'entries are'} not confirmed yet.")
    return None


@router.get("/versions/{number}")
def version(page: OnPage, job_id: str, number: int) -> HTMLResponse:
    """A write-up as it was signed; its hash is worked out anew and compared.

    Raises:
        NotFound: the job has no such version.

    """
    job = page.job(job_id)
    rooms = page.house.of(job)
    versions = rooms.store.versions(job.id)
    found = [version for version in versions if version.number == number]
    if not found:
        raise NotFound(f"this job has no version {number}", where=job.name, do="Go back to the job.")
    frozen = found[-1]
    story = page.house.write_ups.of(rooms, job)
    return page.render(
        "version.html.j2",
        job=job,
        frozen=frozen,
        holds=story_hash(frozen.narrative) == frozen.hash,
        newest=frozen.number == versions[-1].number,
        same=story.hash == frozen.hash,
    )
