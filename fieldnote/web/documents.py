"""The write-up as files to take away."""

from __future__ import annotations

from fastapi import APIRouter
from fastapi.responses import Response

from fieldnote.errors import NotFound
from fieldnote.flow.writing import photo_reader
from fieldnote.narrate import render
from fieldnote.narrate.formats import FORMATS, MEDIA_TYPES
from fieldnote.web.asking import OnPage
from fieldnote.web.roles import may, needs, refusal

router = APIRouter(prefix="/jobs/{job_id}/files")


@router.get("/{to}", dependencies=[needs("take documents")])
def download(page: OnPage, job_id: str, to: str, photos: bool = True, names: bool = False) -> Response:
    """The write-up in one format, with its photos where the format holds any. Names of people stay out unless chosen.

    Raises:
        NotFound: no such job or format.
        NotAllowed: names are chosen by somebody who may not take them away.

    """
    if names and not may(page.request, "take names and sound"):
        raise refusal(page.request, "take names and sound")
    job = page.job(job_id)
    if to not in FORMATS:
        raise NotFound(f"no format {to!r}", where=job.name, do=f"Formats are: {', '.join(FORMATS)}.")
    rooms = page.house.of(job)
    pictures = photo_reader(rooms.store) if photos else None
    data = render(page.house.write_ups.of(rooms, job), job, rooms.pack, to, names=names, photos=pictures)
    named = f'attachment; filename="{file_name(job.name)}.{to}"'
    return Response(data, media_type=MEDIA_TYPES[to], headers={"content-disposition": named})


def file_name(name: str) -> str:
    """A job's name in plain letters, digits and hyphens: safe in a header and on every disk."""
    kept = "".join(c if c.isascii() and c.isalnum() else "-" for c in name.lower())
    return "-".join(word for word in kept.split("-") if word)[:60] or "write-up"


__all__ = ["file_name", "router"]
