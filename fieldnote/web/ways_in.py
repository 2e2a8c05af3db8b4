"""The pages that lead in and out: sign in, take up an invitation, trust the certificate, one's own sign-in."""

from __future__ import annotations

import time
from datetime import datetime

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from fieldnote.errors import FieldnoteError, NotFound, UserMistake
from fieldnote.web import passphrases
from fieldnote.web.answers import status_of
from fieldnote.web.asking import OnPage, Page, Sent, text_of
from fieldnote.web.certificates import fingerprint_of, for_phones
from fieldnote.web.limits import TooOften, address_of
from fieldnote.web.people import bare, key_of
from fieldnote.web.roles import Person, person_of, role_names
from fieldnote.web.sign_in import COOKIE, SignIn, device_of, inside

router = APIRouter()


def sign_in_of(request: Request) -> SignIn:
    """What the server holds of its sign-in."""
    found: SignIn = request.app.state.sign_in
    return found


# ---- signing in and out ---------------------------------------------------------------------------------------


@router.get("/sign-in")
def ask(page: OnPage, request: Request, to: str = "/") -> Response:
    """The form; whoever is signed in goes on at once."""
    if person_of(request):
        return page.to(inside(to))
    return _ask(page, inside(to), "", None)


def _ask(page: Page, to: str, name: str, error: FieldnoteError | None) -> HTMLResponse:
    return _told(page.render("sign_in.html.j2", _status(error), to=to, name=name, error=error), error)


@router.post("/sign-in")
def sign_in(page: OnPage, request: Request, form: Sent) -> Response:
    """Sign in with name and passphrase. What is wrong of the two is not told."""
    house, to = sign_in_of(request), inside(text_of(form, "to"))
    name, passphrase = text_of(form, "name"), _passphrase(form, "passphrase")
    address = address_of(request)
    try:
        house.attempts.may_try(address, key_of(name))
        person, kept = house.people.secret_of(name)
        if not house.keeper.fits(kept, passphrase) or person is None:
            house.attempts.failed(key_of(name))
            raise UserMistake(
                "name and passphrase do not belong together", do="Try again, or ask for a new invitation."
            )
    except UserMistake as error:
        return _ask(page, to, name, error)
    house.attempts.succeeded(address, key_of(name))
    return _enter(page, request, person, to)


def _enter(page: Page, request: Request, person: Person, to: str) -> RedirectResponse:
    people = sign_in_of(request).people
    people.end(request.cookies.get(COOKIE, ""))
    answer = page.to(to)
    # No age: the browser forgets it when it is closed, at the latest; the server sooner where the settings say so.
    token = people.begin(person, device_of(request))
    answer.set_cookie(COOKIE, token, httponly=True, secure=True, samesite="lax", path="/")
    return answer


@router.post("/sign-out")
def sign_out(page: OnPage, request: Request, form: Sent) -> RedirectResponse:
    """Sign out on this device."""
    sign_in_of(request).people.end(request.cookies.get(COOKIE, ""))
    answer = page.to("/sign-in")
    answer.delete_cookie(COOKIE, secure=True, httponly=True, samesite="lax", path="/")
    return answer


# ---- an invitation --------------------------------------------------------------------------------------------


@router.get("/join")
def ask_code(page: OnPage, code: str = "") -> HTMLResponse:
    """The form that takes up an invitation; a link carries its code."""
    return _ask_code(page, code[:30], None)


def _ask_code(page: Page, code: str, error: FieldnoteError | None) -> HTMLResponse:
    shown = page.render("join.html.j2", _status(error), code=code, error=error, shortest=passphrases.SHORTEST)
    return _told(shown, error)


@router.post("/join")
def join(page: OnPage, request: Request, form: Sent) -> Response:
    """Take a passphrase, and be signed in. A code that was taken up holds no more."""
    house, code = sign_in_of(request), text_of(form, "code")
    address = address_of(request)
    try:
        house.attempts.may_try(address, "code")
        invited = house.people.invited(code)
        if invited is None:
            raise NotFound("this code does not hold (any more)", where="code", do="Ask for a new one.")
        chosen = passphrases.check(_passphrase(form, "passphrase"), _passphrase(form, "again"), invited.name)
        person = house.people.join(code, house.keeper.kept(chosen))
    except UserMistake as error:
        return _ask_code(page, code[:30] if bare(code) else "", error)
    house.attempts.succeeded(address, "code")
    return _enter(page, request, person, "/")


# ---- one's own sign-in ----------------------------------------------------------------------------------------


@router.get("/you")
def show_self(page: OnPage, request: Request, done: str = "") -> HTMLResponse:
    """Who one is here, and where one is signed in."""
    return _self(page, request, None, done if done in _DONE else "")


_DONE = {"passphrase": "Your passphrase is changed.", "others": "You are signed out everywhere else."}


def _self(page: Page, request: Request, error: FieldnoteError | None, done: str = "") -> HTMLResponse:
    person, people = _person(request), sign_in_of(request).people
    here = people.id_of(request.cookies.get(COOKIE, ""))
    shown = page.render(
        "you.html.j2",
        _status(error),
        roles=role_names(person.roles),
        sessions=[(one, one.id == here, _moment(one.seen_at)) for one in people.sessions(person)],
        error=error,
        done=_DONE.get(done, ""),
        shortest=passphrases.SHORTEST,
    )
    return _told(shown, error)


@router.post("/you/passphrase")
def change_passphrase(page: OnPage, request: Request, form: Sent) -> Response:
    """Take another passphrase; everywhere else one is signed out."""
    house, person = sign_in_of(request), _person(request)
    try:
        house.attempts.may_try(address_of(request), key_of(person.name))
        _, kept = house.people.secret_of(person.name)
        if not house.keeper.fits(kept, _passphrase(form, "passphrase_now")):
            raise UserMistake("this is not your passphrase", where="passphrase so far", do="Try again.")
        chosen = passphrases.check(_passphrase(form, "passphrase"), _passphrase(form, "again"), person.name)
    except UserMistake as error:
        return _self(page, request, error)
    house.attempts.succeeded(address_of(request), key_of(person.name))
    house.people.change_secret(person, house.keeper.kept(chosen), keep=request.cookies.get(COOKIE, ""))
    return page.to("/you?done=passphrase")


@router.post("/you/elsewhere")
def sign_out_elsewhere(page: OnPage, request: Request, form: Sent) -> RedirectResponse:
    """Sign out on every other device."""
    sign_in_of(request).people.end_all(_person(request), but=request.cookies.get(COOKIE, ""))
    return page.to("/you?done=others")


# ---- the certificate ------------------------------------------------------------------------------------------


@router.get("/trust")
def trust(page: OnPage, request: Request) -> HTMLResponse:
    """How a phone is told to trust this server."""
    return page.render("trust.html.j2", fingerprint=fingerprint_of(_authority(request)))


@router.get("/trust/fieldnote-authority.crt")
def authority(request: Request) -> Response:
    """The certificate of the authority, as phones take it."""
    return Response(for_phones(_authority(request)), media_type="application/x-x509-ca-cert")


def _authority(request: Request) -> bytes:
    found = sign_in_of(request).authority
    if not found:
        raise NotFound(
            "this server uses a certificate that was not made here", do="Ask whoever looks after it how to trust it."
        )
    return found


# ---- parts ----------------------------------------------------------------------------------------------------


def _person(request: Request) -> Person:
    person = person_of(request)
    assert person is not None, "the door lets nobody else in"
    return person


def _passphrase(form: Sent, name: str) -> str:
    value = form.get(name, "")
    return value if isinstance(value, str) else ""


def _status(error: FieldnoteError | None) -> int:
    return 200 if error is None else status_of(error)


def _told(shown: HTMLResponse, error: FieldnoteError | None) -> HTMLResponse:
    if isinstance(error, TooOften):
        shown.headers["retry-after"] = str(error.wait_s)
    return shown


def _moment(seconds: float) -> str:
    return datetime.fromtimestamp(seconds).astimezone().isoformat() if seconds < time.time() - 300 else ""


__all__ = ["router", "sign_in_of"]
