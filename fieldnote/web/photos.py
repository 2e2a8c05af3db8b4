"""Photos of a job: taken at an entry, shown there, put elsewhere, deleted for good."""

from __future__ import annotations

from collections.abc import Iterable

from fastapi import APIRouter, Request
from fastapi.responses import FileResponse, HTMLResponse, JSONResponse, Response
from starlette.datastructures import UploadFile

from fieldnote.errors import NotFound, UserMistake
from fieldnote.records import PHOTO_KINDS, Photo, PhotoKind
from fieldnote.web.asking import OnPage, Sent, text_of
from fieldnote.web.entry_views import entry_views
from fieldnote.web.pictures import keep_photo
from fieldnote.web.roles import needs

router = APIRouter(prefix="/jobs/{job_id}/photos")
KIND_NAMES: dict[PhotoKind, str] = {"place": "Place", "close-up": "Close-up", "before": "Before", "after": "After"}


@router.get("")
def show(page: OnPage, job_id: str, entry: str = "") -> HTMLResponse:
    """All photos of the job by their entries, and the form that adds one."""
    job = page.job(job_id)
    views = [view for view in entry_views(job, page.house.of(job).pack) if view.entry.kind != "fact"]
    return page.render(
        "photos.html.j2",
        job=job,
        views=views,
        photos=by_entry(job.photos, {view.id for view in views}),
        chosen=entry if entry in {view.id for view in views} else (views[-1].id if views else ""),
        kinds=KIND_NAMES,
    )


def by_entry(photos: Iterable[Photo], entries: Iterable[str]) -> dict[str, list[Photo]]:
    """Photos by the entry that they stand with; "" for those of the job, and of entries that are gone."""
    known, found = set(entries), dict[str, list[Photo]]()
    for photo in photos:
        found.setdefault(photo.entry_id if photo.entry_id in known else "", []).append(photo)
    return found


@router.post("", dependencies=[needs("dictate")])
def come_in(page: OnPage, job_id: str, request: Request, form: Sent) -> Response:
    """Keep a photo; the answer says so only when it lies on the disk.

    Raises:
        UserMistake: no picture, or no kind of picture.
        BadData: it cannot be read as a picture.

    """
    job = page.job(job_id)
    sent = form.get("photo")
    if not isinstance(sent, UploadFile) or not sent.filename:
        raise UserMistake("no photo was chosen", where=job.name, do="Take or choose a picture, then send it.")
    kind = kind_of(text_of(form, "kind"))
    photo, received = keep_photo(page.house.rooms.store, job, sent.file, kind, text_of(form, "entry") or None, page.who)
    if "application/json" in request.headers.get("accept", ""):
        return JSONResponse({"kept": received, "photo": photo.id, "entry": photo.entry_id})
    return page.to(f"/jobs/{job.id}/photos#photo-{photo.id}")


def kind_of(text: str) -> PhotoKind:
    """A kind of photo.

    Raises:
        UserMistake: there is no such kind.

    """
    for kind in PHOTO_KINDS:
        if kind == text:
            return kind
    raise UserMistake(f"{text!r} is no kind of photo", where="kind", do=f"Choose one of: {', '.join(PHOTO_KINDS)}.")


@router.get("/{photo_id}")
def picture(page: OnPage, job_id: str, photo_id: str) -> FileResponse:
    """The picture itself.

    Raises:
        NotFound: there is no such photo, or it was deleted.

    """
    store = page.house.rooms.store
    photo = store.photo(page.job(job_id).id, photo_id)
    shelf, wanted = (store.home / "photo").resolve(), (store.home / photo.path).resolve()
    if not photo.is_here or not wanted.is_relative_to(shelf) or not wanted.is_file():
        raise NotFound("this photo is not here any more", where=photo_id, do="Its hash and time are kept.")
    # Its bytes never change under one address; the browser of the same person may keep them for a while.
    return FileResponse(wanted, media_type="image/jpeg", headers={"cache-control": "private, max-age=3600"})


@router.post("/{photo_id}", dependencies=[needs("correct")])
def move(page: OnPage, job_id: str, photo_id: str, form: Sent) -> Response:
    """Put a photo with another entry, or call it by another kind."""
    job = page.job(job_id)
    wanted = text_of(form, "entry")
    entry = wanted if wanted in {one.id for one in job.entries} else None
    page.house.rooms.store.place_photo(job.id, photo_id, entry, kind_of(text_of(form, "kind")))
    return page.to(f"/jobs/{job.id}/photos#photo-{photo_id}")


@router.post("/{photo_id}/delete", dependencies=[needs("correct")])
def delete(page: OnPage, job_id: str, photo_id: str, form: Sent) -> Response:
    """Delete a picture for good; that it was there, and its hash, stay."""
    job = page.job(job_id)
    page.house.rooms.store.delete_photo(job.id, photo_id)
    return page.to(f"/jobs/{job.id}/photos")


__all__ = ["KIND_NAMES", "by_entry", "router"]
