"""Errors as pages, or as JSON where a script asked."""

from __future__ import annotations

from fastapi import Request
from fastapi.responses import JSONResponse, Response

from fieldnote.errors import Clash, DeviceMissing, FieldnoteError, NotFound, StoreFault
from fieldnote.web.asking import NotOurPage, page_of
from fieldnote.web.limits import TooOften
from fieldnote.web.roles import NotAllowed

_STATUS: tuple[tuple[type[FieldnoteError], int], ...] = (
    (NotOurPage, 403),
    (NotAllowed, 403),
    (TooOften, 429),
    (NotFound, 404),
    (Clash, 409),
    (StoreFault, 503),
    (DeviceMissing, 503),
)


def status_of(error: FieldnoteError) -> int:
    """The HTTP status of an error of the tree."""
    return next((status for kind, status in _STATUS if isinstance(error, kind)), 422)


def told(request: Request, error: FieldnoteError) -> Response:
    """The answer to a request that ended in an error."""
    answered = answer(request, status_of(error), error.what, error.where, error.do)
    if isinstance(error, TooOften):
        answered.headers["retry-after"] = str(error.wait_s)
    return answered


def answer(request: Request, status: int, what: str, where: str = "", do: str = "") -> Response:
    """What went wrong, where, and what to do."""
    if "application/json" in request.headers.get("accept", ""):
        return JSONResponse({"error": {"what": what, "where": where, "do": do}}, status)
    return page_of(request).render("error.html.j2", status, what=what, where=where, do=do)


__all__ = ["answer", "status_of", "told"]
