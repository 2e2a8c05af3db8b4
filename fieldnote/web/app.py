"""The pages as one application: ``create_app(rooms, hosts)``."""

from __future__ import annotations

from collections.abc import AsyncIterator, Callable, Iterable
from contextlib import asynccontextmanager

from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import JSONResponse, Response
from fastapi.staticfiles import StaticFiles
from starlette.exceptions import HTTPException

from fieldnote import __version__
from fieldnote.errors import Clash, DeviceMissing, FieldnoteError, NotFound, StoreFault
from fieldnote.flow import Rooms
from fieldnote.web import bay, changes, desk, documents, entries, intake, jobs, leaves, sign_off, sound, words
from fieldnote.web.asking import House, NotOurPage, page_of
from fieldnote.web.guard import Guard, Limits
from fieldnote.web.listening import Hears, Listening, OneAtATime
from fieldnote.web.looks import STATIC
from fieldnote.web.roles import NotAllowed

ROOMS = (jobs, desk, bay, entries, changes, intake, sign_off, documents, leaves, sound, words)


def create_app(
    rooms: Rooms,
    hosts: Iterable[str],
    *,
    hears: Callable[[], Hears] = OneAtATime,
    limits: Limits | None = None,
) -> FastAPI:
    """The application.

    Args:
        rooms: store and vocabulary.
        hosts: what browsers may call this server (``127.0.0.1:8460``); any other name is refused.
        hears: opens what hears recordings that come in.
        limits: how much a request may send.

    """
    listening = Listening(rooms, hears)

    @asynccontextmanager
    async def lifespan(app: FastAPI) -> AsyncIterator[None]:
        yield
        listening.close()

    app = FastAPI(title="fieldnote", version=__version__, docs_url=None, redoc_url=None, lifespan=lifespan)
    app.state.house = House(rooms, listening)
    app.state.sign_in = None
    app.add_middleware(Guard, hosts=frozenset(host.lower() for host in hosts), limits=limits or Limits())
    app.mount("/static", StaticFiles(directory=STATIC), name="static")
    for room in ROOMS:
        app.include_router(room.router)
    app.add_exception_handler(FieldnoteError, _told)
    app.add_exception_handler(RequestValidationError, _not_understood)
    app.add_exception_handler(HTTPException, _no_such_page)
    return app


def status_of(error: FieldnoteError) -> int:
    """The HTTP status of an error of the tree."""
    for kind, status in (
        (NotOurPage, 403),
        (NotAllowed, 403),
        (NotFound, 404),
        (Clash, 409),
        (StoreFault, 503),
        (DeviceMissing, 503),
    ):
        if isinstance(error, kind):
            return status
    return 422


def answer(request: Request, status: int, what: str, where: str = "", do: str = "") -> Response:
    """An error as a page, or as JSON where a script asked."""
    if "application/json" in request.headers.get("accept", ""):
        return JSONResponse({"error": {"what": what, "where": where, "do": do}}, status)
    return page_of(request).render("error.html.j2", status, what=what, where=where, do=do)


async def _told(request: Request, error: Exception) -> Response:
    assert isinstance(error, FieldnoteError)
    return answer(request, status_of(error), error.what, error.where, error.do)


async def _not_understood(request: Request, error: Exception) -> Response:
    return answer(request, 422, "this address or form cannot be read", request.url.path, "Go back and try again.")


async def _no_such_page(request: Request, error: Exception) -> Response:
    assert isinstance(error, HTTPException)
    what = "there is no such page" if error.status_code == 404 else str(error.detail).lower()
    return answer(request, error.status_code, what, request.url.path, "Go to the list of jobs.")


__all__ = ["create_app", "status_of"]
