"""Recordings: coming in, being heard, and played from the right second."""

from __future__ import annotations

import mimetypes
from pathlib import Path
from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import FileResponse, JSONResponse, Response
from starlette.datastructures import UploadFile

from fieldnote.errors import NotFound, UserMistake
from fieldnote.web.asking import OnPage, Sent
from fieldnote.web.desk import back_to
from fieldnote.web.roles import needs

router = APIRouter(prefix="/jobs/{job_id}")
_TYPES = {".flac": "audio/flac", ".wav": "audio/wav", ".m4a": "audio/mp4", ".opus": "audio/ogg", ".oga": "audio/ogg"}


@router.get("/sound/{clip_id}", dependencies=[needs("play sound")])
def play(page: OnPage, job_id: str, clip_id: str) -> FileResponse:
    """A recording of the job; browsers ask for the bytes that they need (RFC 9110, section 14).

    Raises:
        NotFound: the job has no such recording, or its sound was deleted.

    """
    job = page.job(job_id)
    clip = next((clip for clip in job.clips if clip.id == clip_id), None)
    if clip is None:
        raise NotFound("this job has no such recording", where=job.name, do="Go back to the job.")
    path = _kept(page.house.rooms.store.home, clip.path)
    kind = _TYPES.get(path.suffix) or mimetypes.guess_type(path.name)[0] or "application/octet-stream"
    return FileResponse(path, media_type=kind if kind.startswith(("audio/", "video/")) else "application/octet-stream")


def _kept(home: Path, path: str) -> Path:
    """The file on the shelf: nothing outside it, whatever the database says."""
    shelf, wanted = (home / "sound").resolve(), (home / path).resolve()
    if not wanted.is_relative_to(shelf) or not wanted.is_file():
        raise NotFound("the sound of this recording is not here any more", where=path, do="Its words are kept.")
    return wanted


@router.post("/sound", dependencies=[needs("dictate")])
def come_in(page: OnPage, job_id: str, request: Request, form: Sent) -> Response:
    """Keep a recording; the answer says so only when it lies on the disk.

    Raises:
        UserMistake: no file was sent.
        BadData: it is no sound.

    """
    job = page.job(job_id)
    sent = form.get("recording")
    if not isinstance(sent, UploadFile) or not sent.filename:
        raise UserMistake("no recording was chosen", where=job.name, do="Choose a sound file, then send it.")
    clip, already = page.house.listening.keep(job, sent.file, sent.filename)
    if "application/json" in request.headers.get("accept", ""):
        return JSONResponse({"kept": clip.sha256, "seconds": clip.duration_s, "already": already})
    return back_to(page, job, form)


@router.get("/hearing")
def hearing(page: OnPage, job_id: str) -> dict[str, Any]:
    """How far the job's recordings are, and how many entries came of them."""
    job = page.job(job_id)
    page.house.listening.hear(job.id)
    state = page.house.listening.state(job.id)
    fault = state.fault or page.request.app.state.live.faults.get(job.id, "")
    return {"waiting": state.waiting, "fault": fault, "entries": len(job.entries), "said": len(job.utterances)}
