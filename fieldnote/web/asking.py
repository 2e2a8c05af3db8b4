"""What a route needs of its request: the rooms, who asks, and a form that is known to come from our own page."""

from __future__ import annotations

import hashlib
import hmac
import secrets
from collections.abc import AsyncIterator
from dataclasses import dataclass, field
from functools import partial
from typing import Annotated, Any
from urllib.parse import quote, unquote

from fastapi import Depends, Request
from fastapi.responses import HTMLResponse, RedirectResponse
from starlette.datastructures import FormData
from starlette.requests import HTTPConnection

from fieldnote.errors import UserMistake
from fieldnote.flow import Rooms
from fieldnote.flow.who import logged_in
from fieldnote.records import Job
from fieldnote.web.listening import Listening
from fieldnote.web.looks import environment
from fieldnote.web.roles import may, person_of
from fieldnote.web.write_ups import WriteUps

TOKEN_FIELD = "token"
TOKEN_HEADER = "x-fieldnote-token"
_VISIT = "fieldnote_visit"
_VISIT_OVER_HTTPS = f"__Host-{_VISIT}"
_WHO = "fieldnote_who"
_VISIT_LENGTH = 43
"""Characters: 32 random bytes in base 64."""
_YEAR_S = 365 * 24 * 3600
_LONGEST_NAME = 60


class NotOurPage(UserMistake):
    """A form without the token that our pages carry."""


@dataclass
class House:
    """What the server holds while it runs."""

    rooms: Rooms
    listening: Listening
    secret: bytes = field(default_factory=lambda: secrets.token_bytes(32))

    def __post_init__(self) -> None:
        self._by_pack: dict[str, Rooms] = {}
        self.write_ups = WriteUps()

    def of(self, job: Job) -> Rooms:
        """The rooms with the vocabulary of a job, opened once."""
        return self.of_pack(job.pack)

    def of_pack(self, name: str) -> Rooms:
        """The rooms with a vocabulary, opened once."""
        if name not in self._by_pack:
            self._by_pack[name] = self.rooms.for_pack(name)
        return self._by_pack[name]

    def read_words_again(self) -> None:
        """Read the vocabulary anew: words were added to it or taken back."""
        for name in ("pack", "extractor", "leak_map", "cautions", "summarizer"):
            self.rooms.__dict__.pop(name, None)
        self._by_pack.clear()

    def token(self, visit: str) -> str:
        """The token of a visit: only this server can make it."""
        return hmac.new(self.secret, visit.encode(), hashlib.sha256).hexdigest()


def house_of(request: Request) -> House:
    """The house of the application."""
    found: House = request.app.state.house
    return found


@dataclass(frozen=True)
class Page:
    """One request's way to answer with a page."""

    request: Request
    house: House

    @property
    def who(self) -> str:
        """The name under which changes are kept: who is signed in, else as given here, else who runs the server."""
        person = person_of(self.request)
        if person is not None:
            return person.name
        given = " ".join(unquote(self.request.cookies.get(_WHO, "")).split())[:_LONGEST_NAME]
        return given or logged_in() or "someone"

    def job(self, job_id: str) -> Job:
        """The job of an address: an id, never a name, so that an address stays what it was.

        Raises:
            NotFound: no such job.

        """
        return self.house.rooms.store.job(job_id)

    def render(self, template: str, status: int = 200, **context: Any) -> HTMLResponse:
        """A page. A visit without a token begins here."""
        visit = visit_of(self.request)
        fresh = not visit
        if fresh:
            visit = secrets.token_urlsafe(32)
        body = (
            environment()
            .get_template(template)
            .render(
                token=self.house.token(visit),
                who=self.who,
                path=self.request.url.path,
                may=partial(may, self.request),
                person=person_of(self.request),
                asks_sign_in=self.request.app.state.sign_in is not None,
                **context,
            )
        )
        answer = HTMLResponse(body, status)
        if fresh:
            _put(self.request, answer, _visit_name(self.request), visit)
        return answer

    def to(self, path: str) -> RedirectResponse:
        """Go on to another page after something was done."""
        return RedirectResponse(path, 303)

    def remember(self, answer: RedirectResponse, name: str) -> RedirectResponse:
        """Keep the person's name on this device."""
        _put(self.request, answer, _WHO, quote(" ".join(name.split())[:_LONGEST_NAME]), age_s=_YEAR_S)
        return answer


def visit_of(request: HTTPConnection) -> str:
    """What the token of a form is tied to: the person who is signed in, else the visit of this browser; "" for none.

    To the person and not to the sign-in: what was typed before a sign-in ran out can be sent after the next.
    """
    person = person_of(request)
    if person is not None:
        return f"person {person.id}"
    visit = request.cookies.get(_visit_name(request), "")
    return visit if len(visit) == _VISIT_LENGTH else ""


def _visit_name(request: HTTPConnection) -> str:
    return _VISIT_OVER_HTTPS if request.url.scheme in ("https", "wss") else _VISIT


def _put(
    request: Request, answer: HTMLResponse | RedirectResponse, name: str, value: str, *, age_s: int | None = None
) -> None:
    secure = request.url.scheme == "https"
    answer.set_cookie(name, value, max_age=age_s, httponly=True, secure=secure, samesite="strict", path="/")


def page_of(request: Request) -> Page:
    """The request with its house."""
    return Page(request, house_of(request))


async def sent_form(request: Request) -> AsyncIterator[FormData]:
    """The form of a request that changes something.

    Raises:
        NotOurPage: it carries no token of a page that this server sent to this browser.

    """
    given = request.headers.get(TOKEN_HEADER, "")
    async with request.form(max_files=1, max_fields=200) as form:
        given = given or str(form.get(TOKEN_FIELD, ""))
        visit = visit_of(request)
        if not visit or not hmac.compare_digest(given.encode(), house_of(request).token(visit).encode()):
            raise NotOurPage(
                "this form is older than the server, or not from a page of fieldnote's",
                where="nothing was changed",
                do="Load the page again and repeat it.",
            )
        yield form


def text_of(form: FormData, name: str) -> str:
    """A field of a form as trimmed text; "" where it was not sent or is a file."""
    value = form.get(name, "")
    return value.strip() if isinstance(value, str) else ""


def texts_of(form: FormData, name: str) -> list[str]:
    """All texts that were sent under one name, such as those of ticked boxes."""
    return [value for value in form.getlist(name) if isinstance(value, str)]


OnPage = Annotated[Page, Depends(page_of)]
Sent = Annotated[FormData, Depends(sent_form)]

__all__ = [
    "TOKEN_FIELD",
    "TOKEN_HEADER",
    "House",
    "NotOurPage",
    "OnPage",
    "Page",
    "Sent",
    "text_of",
    "texts_of",
    "visit_of",
]
