"""Sign-off: what is doubtful is confirmed first, then the write-up is frozen with its hash, for good."""

from __future__ import annotations

from dataclasses import dataclass

from fastapi import APIRouter
from fastapi.responses import HTMLResponse, Response

from fieldnote.errors import NotFound
from fieldnote.flow import freeze
from fieldnote.flow.confirming import confirm
from fieldnote.narrate.compose import story_hash
from fieldnote.records import Job, Narrative
from fieldnote.web.asking import OnPage, Page, Sent, text_of, texts_of
from fieldnote.web.doubts import doubts
from fieldnote.web.entry_views import EntryView, by_id, entry_views
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
    return _form(page, page.job(job_id), frozenset(), None)


def _form(page: Page, job: Job, confirmed: frozenset[str], held: Held | None) -> HTMLResponse:
    rooms = page.house.of(job)
    views = by_id(entry_views(job, rooms.pack))
    story = page.house.write_ups.of(rooms, job)
    return page.render(
        "sign_off.html.j2",
        409 if held else 200,
        job=job,
        story=story,
        doubtful=_doubtful(job, views),
        confirmed=confirmed,
        held=held,
        versions=rooms.store.versions(job.id),
    )


def _doubtful(job: Job, views: dict[str, EntryView]) -> list[EntryView]:
    return [views[doubt.entry.id] for doubt in doubts(job)]


@router.post("/sign-off", dependencies=[needs("sign off")])
def sign(page: OnPage, job_id: str, form: Sent) -> Response:
    """Freeze the write-up that was shown, once everything doubtful is confirmed."""
    job = page.job(job_id)
    rooms = page.house.of(job)
    confirmed = frozenset(texts_of(form, "confirmed"))
    story = page.house.write_ups.of(rooms, job)
    held = _held(job, story, confirmed, text_of(form, "hash"))
    if held is not None:
        return _form(page, job, confirmed, held)
    confirm(rooms.store, job, (doubt.entry.id for doubt in doubts(job)), page.who)
    frozen = freeze(rooms.store, job, rooms.pack, page.who, cautions=rooms.cautions, leak_map=map_of(rooms))
    return page.to(f"/jobs/{job.id}/versions/{frozen.number}")


def _held(job: Job, story: Narrative, confirmed: frozenset[str], seen: str) -> Held | None:
    if not job.entries:
        return Held("There is nothing to sign: no entry was recorded yet.")
    if seen != story.hash:
        return Held("The write-up changed while you were looking at it. Read it again, then sign.")
    left = [doubt for doubt in doubts(job) if doubt.entry.id not in confirmed]
    if left:
        many = len(left)
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
