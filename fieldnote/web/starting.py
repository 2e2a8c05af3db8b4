"""A job begun with one touch: it is opened, listened to, and named when its unit, plate or VIN is said."""

from __future__ import annotations

from collections import OrderedDict
from datetime import datetime
from threading import Lock

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, JSONResponse, Response

from fieldnote.errors import UserMistake
from fieldnote.web.asking import OnPage, Sent, text_of
from fieldnote.web.naming import open_unnamed
from fieldnote.web.roles import needs

router = APIRouter()
_MOST = 500
_LONGEST = 64


class Starts:
    """Jobs by the page that opened them: a page that asks again (its answer got lost) is given the same job."""

    def __init__(self) -> None:
        self._jobs: OrderedDict[str, str] = OrderedDict()
        self.turn = Lock()

    def of(self, start: str) -> str | None:
        """The job that this page has opened."""
        return self._jobs.get(start)

    def note(self, start: str, job_id: str) -> None:
        """A page has opened a job."""
        self._jobs[start] = job_id
        while len(self._jobs) > _MOST:
            self._jobs.popitem(last=False)


@router.get("/bay")
def show(page: OnPage) -> HTMLResponse:
    """The bay without a job yet: the first touch opens one."""
    return page.render("bay_start.html.j2")


@router.post("/start", dependencies=[needs("dictate")])
def start(page: OnPage, request: Request, form: Sent) -> Response:
    """Open a job that is named later.

    Raises:
        UserMistake: the page gave no name of its own.

    """
    starts: Starts = request.app.state.starts
    named = text_of(form, "start")
    if len(named) > _LONGEST:
        raise UserMistake("this is no page of fieldnote's", where="start", do="Load the page again.")
    rooms = page.house.rooms
    with starts.turn:
        job_id = starts.of(named) if named else None
        if job_id is None:
            job_id = open_unnamed(rooms.store, rooms.pack, datetime.now().astimezone()).id
            if named:
                starts.note(named, job_id)
    if "application/json" in request.headers.get("accept", ""):
        return JSONResponse({"job": job_id})
    return page.to(f"/jobs/{job_id}/bay")


__all__ = ["Starts", "router"]
