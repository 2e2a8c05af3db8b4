"""The pages as one application: ``create_app(rooms, hosts)``."""

from __future__ import annotations

from collections.abc import AsyncIterator, Callable, Iterable
from contextlib import asynccontextmanager

from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import Response
from fastapi.staticfiles import StaticFiles
from starlette.exceptions import HTTPException

from fieldnote import __version__
from fieldnote.errors import FieldnoteError
from fieldnote.flow import Rooms
from fieldnote.flow.keeping import Daily
from fieldnote.web import (
    bar_codes,
    bay,
    changes,
    claim,
    desk,
    documents,
    entries,
    intake,
    jobs,
    leaves,
    patterns,
    photos,
    retention,
    sign_off,
    sound,
    sound_stream,
    starting,
    ways_in,
    words,
)
from fieldnote.web.answers import answer, status_of, told
from fieldnote.web.asking import House
from fieldnote.web.description import describe
from fieldnote.web.guard import Guard, Limits
from fieldnote.web.listening import Hears, Listening, OneAtATime
from fieldnote.web.live_jobs import LiveJobs
from fieldnote.web.looks import STATIC
from fieldnote.web.sign_in import Door, SignIn
from fieldnote.web.starting import Starts

ROOMS = (
    jobs,
    desk,
    claim,
    bay,
    entries,
    changes,
    intake,
    sign_off,
    documents,
    leaves,
    patterns,
    sound,
    sound_stream,
    retention,
    words,
    starting,
    photos,
    bar_codes,
)


def create_app(
    rooms: Rooms,
    hosts: Iterable[str],
    *,
    hears: Callable[[], Hears] = OneAtATime,
    limits: Limits | None = None,
    sign_in: SignIn | None = None,
    scheme: str = "http",
) -> FastAPI:
    """The application.

    Args:
        rooms: store and vocabulary.
        hosts: what browsers may call this server (``127.0.0.1:8460``); any other name is refused.
        hears: opens what hears recordings that come in.
        limits: how much a request may send.
        sign_in: who may sign in; None asks for no sign-in, which is for this machine alone.
        scheme: ``https`` where the server is reached by it.

    """
    listening = Listening(rooms, hears)

    @asynccontextmanager
    async def lifespan(app: FastAPI) -> AsyncIterator[None]:
        app.state.daily.start()
        yield
        app.state.daily.close()
        app.state.live.close()
        listening.close()

    app = FastAPI(title="fieldnote", version=__version__, docs_url=None, redoc_url=None, lifespan=lifespan)
    app.state.house = House(rooms, listening)
    app.state.live = LiveJobs()
    app.state.daily = Daily(rooms)
    app.state.starts = Starts()
    app.state.sign_in = sign_in
    if sign_in is not None:
        app.state.house.secret = sign_in.people.secret()
        app.include_router(ways_in.router)
        app.add_middleware(Door, sign_in=sign_in)
    named = frozenset(host.lower() for host in hosts)
    app.add_middleware(Guard, hosts=named, limits=limits or Limits(), scheme=scheme)
    app.mount("/static", StaticFiles(directory=STATIC), name="static")
    for room in ROOMS:
        app.include_router(room.router)
    describe(app, [room.router for room in (*ROOMS, ways_in)])
    app.add_exception_handler(FieldnoteError, _told)
    app.add_exception_handler(RequestValidationError, _not_understood)
    app.add_exception_handler(HTTPException, _no_such_page)
    return app


async def _told(request: Request, error: Exception) -> Response:
    assert isinstance(error, FieldnoteError)
    return told(request, error)


async def _not_understood(request: Request, error: Exception) -> Response:
    return answer(request, 422, "this address or form cannot be read", request.url.path, "Go back and try again.")


async def _no_such_page(request: Request, error: Exception) -> Response:
    assert isinstance(error, HTTPException)
    what = "there is no such page" if error.status_code == 404 else str(error.detail).lower()
    answered = answer(request, error.status_code, what, request.url.path, "Go to the list of jobs.")
    answered.headers.update(error.headers or {})  # such as Allow, which belongs to 405 (RFC 9110, section 15.5.6)
    return answered


__all__ = ["create_app", "status_of"]
