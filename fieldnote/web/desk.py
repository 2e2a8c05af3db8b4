"""One job at the desk: the write-up beside its entries, open points, the sketch, and closing."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from fastapi import APIRouter
from fastapi.responses import HTMLResponse, RedirectResponse, Response
from markupsafe import Markup

from fieldnote.flow import close_job, read_text, reopen_job
from fieldnote.narrate.formats import FORMATS
from fieldnote.narrate.handing_over import left_off
from fieldnote.narrate.sketch import LEGEND, Mark, load_sketch, marks_of, svg
from fieldnote.records import Edit, Job
from fieldnote.store.changes import in_force
from fieldnote.store.retention import gone
from fieldnote.vocabulary import Pack
from fieldnote.web.asking import OnPage, Page, Sent, text_of, texts_of
from fieldnote.web.entry_views import EntryView, Names, changed_words, entry_views, with_sound
from fieldnote.web.entry_views import by_id as views_by_id
from fieldnote.web.entry_views import refs as refs_of
from fieldnote.web.jobs import is_wanted, lacks, standing
from fieldnote.web.photos import by_entry
from fieldnote.web.roles import may, needs

router = APIRouter(prefix="/jobs/{job_id}")
FORMAT_NAMES = {
    "pdf": "PDF",
    "docx": "Word document",
    "html": "Web page",
    "md": "Markdown",
    "csv": "Entries as a table (CSV)",
    "json": "Whole job (JSON)",
    "jsonl": "Entries, one a line (JSON Lines)",
    "vtt": "Captions of the sound (WebVTT)",
}


@dataclass(frozen=True, slots=True)
class Drawing:
    """The sketch of one vehicle, and the same in words."""

    picture: Markup
    marks: tuple[tuple[str, str], ...]
    """What each mark means and where it stands."""


@dataclass(frozen=True, slots=True)
class Notice:
    """What a change did, told once after it was made."""

    edit: Edit
    text: str


@router.get("")
def show(page: OnPage, job_id: str, changed: str = "") -> HTMLResponse:
    """The write-up and what it rests on."""
    job = page.job(job_id)
    rooms = page.house.of(job)
    page.house.listening.hear(job.id)
    views = audible(page, job, entry_views(job, rooms.pack))
    story = page.house.write_ups.of(rooms, job)
    return page.render(
        "desk.html.j2",
        job=job,
        story=story,
        views=views,
        refs=lambda ids: refs_of(ids, views_by_id(views)),
        lacks=() if job.claim.payer else lacks(job),
        wanted=[point.text for point in story.open_points if is_wanted(point, rooms.pack)],
        standing=standing(page.house, job, story),
        versions=rooms.store.versions(job.id),
        drawing=drawing_of(job, rooms.pack),
        notice=notice_of(job, changed, Names(rooms.pack)),
        formats=[(to, FORMAT_NAMES[to]) for to in FORMATS if to != "vtt" or job.clips],
        leftovers=job.leftovers,
        hearing=page.house.listening.state(job.id),
        open_points=[point for point in story.open_points if not is_wanted(point, rooms.pack)],
        photos=by_entry(job.photos, {view.id for view in views}),
    )


def audible(page: Page, job: Job, views: Iterable[EntryView]) -> tuple[EntryView, ...]:
    """The views with the sound that is here and that whoever asks may play."""
    away = gone(page.house.rooms.store, job.id) if job.clips else {}
    return with_sound(views, away, allowed=may(page.request, "play sound"))


def drawing_of(job: Job, pack: Pack) -> Drawing | None:
    """The vehicle with the marks of a job; None where the pack has no drawing or there is nothing to mark."""
    sketch, marks, names = load_sketch(pack), marks_of(job.entries, pack), Names(pack)
    if sketch is None or not marks:
        return None
    told = tuple((mark.kind, _spot(mark, names)) for mark in marks)
    title = "Vehicle from one side and from above. " + "; ".join(f"{LEGEND[m.kind]}: {_spot(m, names)}" for m in marks)
    return Drawing(Markup(svg(sketch, marks, title=title)), told)


def _spot(mark: Mark, names: Names) -> str:
    side = f"{mark.side} " if mark.side in ("left", "right") else ""
    both = ", both sides" if mark.side == "both" else ""
    return f"{side}{names.of('place', mark.place)}{both}"


def notice_of(job: Job, edit_id: str, names: Names) -> Notice | None:
    """What a change did, where it still counts."""
    edit = next((e for e in in_force(job.edits) if e.id == edit_id), None)
    if edit is None:
        return None
    field, before, after = changed_words(edit, names)
    return Notice(edit, f"{field}: {before} → {after}" if edit.action == "set" else f"{field}: {after}")


@router.post("/close", dependencies=[needs("correct")])
def close(page: OnPage, job_id: str, form: Sent) -> Response:
    """Close the job; where something is still off the vehicle, only after that was confirmed."""
    job = page.job(job_id)
    off = left_off(job, page.house.of(job).pack) if job.status == "open" else ()
    if any(line.text not in texts_of(form, "left-off") for line in off):
        return page.render("close.html.j2", 409, job=job, off=[line.text for line in off])
    edit = close_job(page.house.rooms.store, job, page.who)
    return page.to(f"/jobs/{edit.job_id}?changed={edit.id}")


@router.post("/reopen", dependencies=[needs("correct")])
def reopen(page: OnPage, job_id: str, form: Sent) -> RedirectResponse:
    """Open it again."""
    edit = reopen_job(page.house.rooms.store, page.job(job_id), page.who)
    return page.to(f"/jobs/{edit.job_id}?changed={edit.id}")


@router.post("/lines", dependencies=[needs("dictate")])
def type_lines(page: OnPage, job_id: str, form: Sent) -> RedirectResponse:
    """Take typed words as if they had been spoken."""
    job = page.job(job_id)
    rooms = page.house.of(job)
    text = text_of(form, "text")
    if not page.request.app.state.live.typed(job.id, text, page.who):
        read_text(rooms.store, job, text, rooms.extractor, person=page.who)
    return back_to(page, job, form)


def back_to(page: Page, job: Job, form: Sent, tail: str = "") -> RedirectResponse:
    """Back to the page of the job on which the form stood."""
    place = "/bay" if text_of(form, "then") == "bay" else ""
    return page.to(f"/jobs/{job.id}{place}{tail}")
