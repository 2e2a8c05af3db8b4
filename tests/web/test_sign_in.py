"""The sign-in: nobody gets past it, what it keeps, how long it holds, and how often one may try."""

from __future__ import annotations

import re
import stat
import sys
import time
from http.cookies import SimpleCookie
from pathlib import Path
from typing import Any

import pytest
from fastapi.testclient import TestClient
from starlette.websockets import WebSocketDisconnect

from fieldnote.errors import Clash, NotFound, StoreFault, UserMistake
from fieldnote.web import passphrases
from fieldnote.web.app import create_app
from fieldnote.web.passphrases import Keeper
from fieldnote.web.people import People, bare
from fieldnote.web.sign_in import COOKIE, SignIn, inside, is_way_in
from tests.web.conftest import PASSPHRASE, SHOP, Shop, quick_keeper, token_of


def sign_in(client: TestClient, name: str, passphrase: str = PASSPHRASE, to: str = "/") -> Any:
    fields = {"token": token_of(client, "/sign-in"), "name": name, "passphrase": passphrase, "to": to}
    return client.post("/sign-in", data=fields)


def cookie_of(answer: Any) -> Any:
    """The cookie of the sign-in as it was set, by the standard library's parser."""
    for line in answer.headers.get_list("set-cookie"):
        if line.startswith(f"{COOKIE}="):
            return SimpleCookie(line)[COOKIE]
    raise AssertionError("no cookie was set")


def routes(shop: Shop) -> list[tuple[str, str]]:
    """Every route of the application as it describes itself, with names that are there."""
    job = shop.job()
    names = {"job_id": job.id, "entry_id": job.entries[0].id, "number": 1, "to": "pdf", "place": "all"}
    described = shop.app.openapi()["paths"]
    return [
        (method.upper(), re.sub(r"{(\w+)}", lambda found: str(names.get(found[1], "x")), path))
        for path, methods in described.items()
        for method in methods
    ]


def test_nothing_is_shown_or_done_without_a_sign_in(shop: Shop) -> None:
    """Every route of the application leads to the sign-in, or refuses; none was forgotten."""
    client, before = shop.client(), shop.job()
    asked = [(method, path) for method, path in routes(shop) if not is_way_in(path)]
    assert len(asked) >= 25
    for method, path in asked:
        answer = client.request(method, path, data={"token": "x"} if method != "GET" else None)
        if method == "GET":
            assert answer.status_code == 303, path
            assert answer.headers["location"].startswith("/sign-in"), path
        else:
            assert answer.status_code == 401 and "www-authenticate" in answer.headers, path
        assert "Unit 9" not in answer.text, path
    assert client.get("/openapi.json").status_code == 303
    assert client.get("/nowhere").status_code == 303
    assert shop.job() == before


def test_no_live_connection_without_a_sign_in(shop: Shop) -> None:
    """From the right page, but signed out: closed before it opens, on every path; from another page all the more."""
    path = f"wss://{SHOP}/jobs/{shop.job().id}/stream"
    for client, origin, why in (
        (shop.client(), f"https://{SHOP}", "Sign in first"),
        (shop.client("Rosa"), "https://shop.example", "not fieldnote's"),
        (shop.client("Rosa"), f"http://{SHOP}", "not fieldnote's"),
    ):
        with pytest.raises(WebSocketDisconnect) as refused, client.websocket_connect(path, headers={"origin": origin}):
            pass
        assert why in refused.value.reason


def test_a_script_is_told_in_json(shop: Shop) -> None:
    """A page in the bay must know that its recording is not kept, and why."""
    answer = shop.client().get("/", headers={"accept": "application/json"})
    assert answer.status_code == 401
    assert answer.json()["error"]["what"].startswith("you are not signed in")


def test_static_files_and_the_way_in_are_open(shop: Shop) -> None:
    """Else nobody could sign in."""
    client = shop.client()
    for path in ("/static/page.css", "/sign-in", "/join", "/join?code=ABCD"):
        assert client.get(path).status_code == 200, path
    assert client.get("/trust").status_code == 404  # this server's certificate was not made here
    assert not is_way_in("/sign-inside") and not is_way_in("/static") and not is_way_in("/trusted")


# ---- an invitation --------------------------------------------------------------------------------------------


def join(client: TestClient, code: str, passphrase: str = PASSPHRASE, again: str | None = None) -> Any:
    fields = {"token": token_of(client, "/join"), "code": code, "passphrase": passphrase}
    return client.post("/join", data={**fields, "again": passphrase if again is None else again})


def test_an_invitation_is_taken_up_once(shop: Shop) -> None:
    """The code lets one person choose a passphrase and in; nobody after them."""
    code = shop.people.invite("Nell", ["technician"])
    client = shop.client()
    answer = join(client, code)
    assert (answer.status_code, answer.headers["location"]) == (303, "/")
    assert "Nell" in client.get("/").text
    again = join(shop.client(), code)
    assert again.status_code == 404 and "does not hold" in again.text
    assert sign_in(shop.client(), "Nell").status_code == 303


@pytest.mark.parametrize("typed", [str.lower, lambda c: c.replace("-", " "), lambda c: f"  {c.replace('-', '')} "])
def test_a_code_may_be_typed_as_one_likes(shop: Shop, typed: Any) -> None:
    """Small letters, spaces, no hyphens."""
    assert join(shop.client(), typed(shop.people.invite("Nell", ["lead"]))).status_code == 303


def test_letters_that_are_misread_are_taken_for_digits() -> None:
    """Crockford's base 32 reads O as 0, I and L as 1 (from memory)."""
    assert bare("o0il-1aUz") == "00111AUZ"


def test_an_invitation_runs_out(shop: Shop) -> None:
    """After the hours that the settings give."""
    code = shop.people.invite("Nell", ["clerk"])
    shop.clock[0] += shop.rooms.settings.sign_in.invite_hours * 3600 + 1
    assert join(shop.client(), code).status_code == 404


def test_a_new_invitation_voids_the_one_before(shop: Shop) -> None:
    """And lets somebody who forgot the passphrase take another; elsewhere they are signed out then."""
    phone = shop.client("Rosa")
    first, second = shop.people.invite("Rosa", ["technician"]), shop.people.invite("rosa", ["technician", "lead"])
    assert join(shop.client(), first).status_code == 404
    assert phone.get("/").status_code == 200
    assert join(shop.client(), second, "another four words here").status_code == 303
    assert phone.get("/").status_code == 303
    assert sign_in(shop.client(), "Rosa").status_code == 422
    assert sign_in(shop.client(), "Rosa", "another four words here").status_code == 303
    assert len(shop.people.all()) == 3


@pytest.mark.parametrize(
    ("passphrase", "again", "told"),
    [
        ("too short", None, "this has 9 characters"),
        ("x" * 300, None, "this has 300 characters"),
        (PASSPHRASE, "violet kettle under mapel", "not the same"),
        ("aaaaaaaaaaaaaaaaaaaa", None, "too easily guessed"),
        ("abcabcabcabcabcabc", None, "too easily guessed"),
        ("qwertyuiopasdfghjkl", None, "too easily guessed"),
        ("123456789012345678", None, "too easily guessed"),
        ("Nell Nell Nell Nell", None, "too easily guessed"),
        ("passwordpassword12", None, "too easily guessed"),
    ],
)
def test_a_weak_passphrase_is_refused_and_the_code_still_holds(
    shop: Shop, passphrase: str, again: str | None, told: str
) -> None:
    """Length alone counts, and what everybody tries first is refused (NIST SP 800-63B-4, section 3.1.1)."""
    code, client = shop.people.invite("Nell", ["clerk"]), shop.client()
    answer = join(client, code, passphrase, again)
    assert answer.status_code == 422 and told in answer.text
    assert passphrase not in answer.text
    assert join(client, code).status_code == 303


@pytest.mark.parametrize(
    "passphrase",
    ["correct horse battery staple", "zwölf Boxkämpfer jagen Viktor", "  spaces are kept  ", "🌧🌧 rain on a tin roof"],
)
def test_every_character_counts_and_is_allowed(shop: Shop, passphrase: str) -> None:
    """Spaces and all of Unicode, compared in one normal form (NFKC, SP 800-63B-4, section 3.1.1.2)."""
    import unicodedata

    client = shop.client()
    join(client, shop.people.invite("Nell", ["clerk"]), passphrase)
    assert sign_in(shop.client(), "Nell", unicodedata.normalize("NFD", passphrase)).status_code == 303
    assert sign_in(shop.client(), "Nell", passphrase.strip() + "x").status_code == 422


# ---- what is kept ---------------------------------------------------------------------------------------------


def test_what_is_kept_of_a_passphrase() -> None:
    """Argon2id, version 1.3, with the second recommended profile: RFC 9106, section 4 (t=3, p=4, m=64 MiB)."""
    kept = Keeper().kept(PASSPHRASE)
    assert kept.startswith("$argon2id$v=19$m=65536,t=3,p=4$")
    quick = quick_keeper()
    assert quick.fits(kept, PASSPHRASE) and not quick.fits(quick.kept(PASSPHRASE), PASSPHRASE + " ")
    assert quick.kept(PASSPHRASE) != quick.kept(PASSPHRASE)


def test_nobody_is_compared_like_somebody(monkeypatch: pytest.MonkeyPatch) -> None:
    """An unknown name costs the same work, so that the time does not tell who is known."""
    keeper, worked = quick_keeper(), []
    real = keeper._hasher.verify
    monkeypatch.setattr(type(keeper._hasher), "verify", lambda self, *args: worked.append(args) or real(*args))
    assert not keeper.fits(None, PASSPHRASE)
    assert not keeper.fits(None, "nobody has this passphrase")
    assert not keeper.fits("not a hash", PASSPHRASE)
    assert len(worked) == 3


def test_the_file_holds_nothing_that_lets_one_in(shop: Shop) -> None:
    """No passphrase, no cookie and no code can be read out of it; it is for its owner alone."""
    code, client = shop.people.invite("Nell", ["clerk"]), shop.client()
    token = cookie_of(sign_in(client, "Rosa")).value
    shop.people.close()
    data = shop.people.path.read_bytes()
    for secret in (code, bare(code), token, PASSPHRASE):
        assert secret.encode() not in data
    assert b"Nell" in data
    if sys.platform != "win32":
        assert stat.S_IMODE(shop.people.path.stat().st_mode) == 0o600


def test_the_cookie_is_out_of_reach(shop: Shop) -> None:
    """RFC 6265bis: ``__Host-`` (4.1.3.2) with Secure, Path=/ and no Domain; HttpOnly (4.1.2.6), SameSite (4.1.2.7)."""
    answer = sign_in(shop.client(), "Rosa")
    cookie = cookie_of(answer)
    assert cookie.key == "__Host-fieldnote"
    assert cookie["secure"] and cookie["httponly"] and cookie["path"] == "/" and not cookie["domain"]
    assert cookie["samesite"].lower() in ("lax", "strict")
    assert not cookie["max-age"] and not cookie["expires"]
    assert len(cookie.value) >= 43  # 256 random bits
    others = [SimpleCookie(line) for line in shop.client().get("/sign-in").headers.get_list("set-cookie")]
    for one in (morsel for parsed in others for morsel in parsed.values()):
        assert one["secure"] and one["httponly"] and one["samesite"].lower() == "strict"


def test_every_sign_in_has_a_token_of_its_own(shop: Shop) -> None:
    """A token that somebody planted before is not taken over (session fixation)."""
    client = shop.client()
    client.cookies.set(COOKIE, "planted" * 7)
    first = cookie_of(sign_in(client, "Rosa")).value
    assert first != "planted" * 7
    assert cookie_of(sign_in(shop.client(), "Rosa")).value != first


# ---- signing in -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "passphrase"),
    [
        ("Rosa", "not the passphrase"),
        ("Nobody", PASSPHRASE),
        ("", ""),
        ("Rosa", ""),
        ("\x00", "\x00"),
        ("x" * 9999, "y" * 9999),
    ],
    ids=["wrong", "unknown", "nothing", "no passphrase", "nul", "long"],
)
def test_what_is_wrong_is_not_told(shop: Shop, name: str, passphrase: str) -> None:
    """One answer for a wrong passphrase and an unknown name; what was typed as passphrase is not sent back."""
    answer = sign_in(shop.client(), name, passphrase)
    assert answer.status_code == 422
    assert "name and passphrase do not belong together" in answer.text
    assert passphrase not in answer.text or len(passphrase) < 2
    assert COOKIE not in answer.headers.get("set-cookie", "")


@pytest.mark.parametrize("name", ["Rosa", "rosa", " ROSA ", "Ｒｏｓａ"])
def test_a_name_is_known_however_it_is_typed(shop: Shop, name: str) -> None:
    """Case, width and spaces around it do not count; what is kept is kept under the name as it was given."""
    client = shop.client()
    sign_in(client, name)
    assert "You are <strong>Rosa</strong>" in client.get("/you").text


def test_one_goes_on_where_one_wanted_to(shop: Shop) -> None:
    """The page that was asked for comes after the sign-in."""
    client, path = shop.client(), f"/jobs/{shop.job().id}?changed=d1"
    led = client.get(path).headers["location"]
    assert led == "/sign-in?to=" + path.replace("/", "%2F").replace("?", "%3F").replace("=", "%3D")
    form = client.get(led).text
    to = re.search(r'name="to" value="([^"]*)"', form)
    assert to and sign_in(client, "Rosa", to=to[1]).headers["location"] == path
    assert client.get("/sign-in?to=/new").headers["location"] == "/new"


@pytest.mark.parametrize(
    "to",
    ["https://shop.example/", "//shop.example", "/\\shop.example", "\\\\x", "", "javascript:x", "/\t/x", "/a\r\nb: c"],
)
def test_a_sign_in_leads_nowhere_else(shop: Shop, to: str) -> None:
    """An address that is not one of ours is dropped (open redirect, header injection)."""
    assert inside(to) == "/"
    assert sign_in(shop.client(), "Rosa", to=to).headers["location"] == "/"


def test_changes_are_kept_under_the_name_of_the_sign_in(shop: Shop) -> None:
    """Nobody can write under another's name: neither the form for names nor its cookie counts."""
    client, job = shop.client("Rosa"), shop.job()
    client.cookies.set("fieldnote_who", "Ira")
    token = token_of(client, "/new")
    client.post("/who", data={"token": token, "who": "Ira", "back": "/"})
    client.post(f"/jobs/{job.id}/close", data={"token": token})
    assert shop.job().edits[-1].person == "Rosa"
    assert 'action="/who"' not in client.get("/").text


# ---- how long it holds ----------------------------------------------------------------------------------------


def test_a_sign_in_ends_without_use(shop: Shop) -> None:
    """Use keeps it, up to its longest time; then one signs in anew (SP 800-63B-4, section 2.2.3, from memory)."""
    settings, client = shop.rooms.settings.sign_in, shop.client("Rosa")
    for _ in range(int(settings.longest_days * 24 / settings.idle_hours)):
        assert client.get("/").status_code == 200
        shop.clock[0] += settings.idle_hours * 3600 - 1
    shop.clock[0] += 3600
    assert client.get("/").status_code == 303
    client = shop.client("Rosa")
    shop.clock[0] += settings.idle_hours * 3600 + 1
    assert client.get("/").status_code == 303
    assert shop.people.sessions(shop.people.find("Rosa")) == ()


def test_signing_out_ends_it_on_the_server(shop: Shop) -> None:
    """A cookie that somebody copied is worth nothing afterwards."""
    client, copied = shop.client("Rosa"), shop.client()
    copied.cookies.set(COOKIE, client.cookies[COOKIE])
    assert copied.get("/").status_code == 200
    answer = client.post("/sign-out", data={"token": token_of(client, "/you")})
    assert answer.headers["location"] == "/sign-in"
    assert cookie_of(answer)["max-age"] == "0"
    assert copied.get("/").status_code == 303


def test_one_signs_out_everywhere_else(shop: Shop) -> None:
    """As when a phone was lost; this browser stays in."""
    lost, here, other = shop.client("Rosa"), shop.client("Rosa"), shop.client("Ira")
    text = here.get("/you").text
    assert "Sign out everywhere else" in text and "this one" in text
    here.post("/you/elsewhere", data={"token": token_of(here, "/you")})
    assert [c.get("/").status_code for c in (lost, here, other)] == [303, 200, 200]


def test_another_passphrase_is_taken(shop: Shop) -> None:
    """With the one so far; everywhere else one is signed out."""
    other, here = shop.client("Rosa"), shop.client("Rosa")
    fields = {"token": token_of(here, "/you"), "passphrase": "nine wet floor mats", "again": "nine wet floor mats"}
    assert here.post("/you/passphrase", data={**fields, "passphrase_now": "wrong one"}).status_code == 422
    assert here.post("/you/passphrase", data={**fields, "passphrase_now": PASSPHRASE, "again": "x"}).status_code == 422
    answer = here.post("/you/passphrase", data={**fields, "passphrase_now": PASSPHRASE})
    assert "is changed" in here.get(answer.headers["location"]).text
    assert (other.get("/").status_code, here.get("/").status_code) == (303, 200)
    assert sign_in(shop.client(), "Rosa", "nine wet floor mats").status_code == 303


def test_who_is_removed_is_out_at_once(shop: Shop) -> None:
    """And so is who was signed out from the command line; a role given holds from the next page on."""
    rosa, ira = shop.client("Rosa"), shop.client("Ira")
    signing, fields = f"/jobs/{shop.job().id}/sign-off", {"token": token_of(rosa, "/new")}
    assert rosa.post(signing, data=fields).status_code == 403
    shop.people.give_roles("Rosa", ["technician", "clerk"])
    assert rosa.post(signing, data=fields).status_code == 409
    shop.people.remove("Rosa")
    assert rosa.get("/").status_code == 303 and sign_in(shop.client(), "Rosa").status_code == 422
    assert shop.people.end_all(shop.people.find("Ira")) == 1
    assert ira.get("/").status_code == 303


# ---- forms ----------------------------------------------------------------------------------------------------


def test_a_form_counts_for_who_opened_it(shop: Shop) -> None:
    """Another person's token is refused, and so is that of somebody who is not signed in."""
    rosa, ira, nobody = shop.client("Rosa"), shop.client("Ira"), shop.client()
    path = f"/jobs/{shop.job().id}/close"
    assert ira.post(path, data={"token": token_of(rosa, "/new")}).status_code == 403
    assert ira.post(path, data={"token": token_of(nobody, "/sign-in")}).status_code == 403
    assert shop.job().status == "open"


def test_what_was_typed_can_be_sent_after_the_next_sign_in(shop: Shop) -> None:
    """A form that was open when the sign-in ran out, or when the server was started anew, is not lost."""
    client = shop.client("Rosa")
    token, path = token_of(client, "/new"), f"/jobs/{shop.job().id}/lines"
    fields = {"token": token, "text": "The left cowl drain is plugged."}
    shop.clock[0] += 30 * 86_400
    assert client.post(path, data=fields).status_code == 401
    client.cookies.set(COOKIE, shop.people.begin(shop.people.find("Rosa"), "a test"))
    again = SignIn(shop.people, shop.rooms.settings.roles, keeper=quick_keeper())
    restarted = create_app(shop.rooms, [SHOP], sign_in=again, scheme="https")
    anew = TestClient(restarted, base_url=f"https://{SHOP}", cookies=client.cookies, follow_redirects=False)
    assert anew.post(path, data=fields).status_code == 303
    assert any(entry.place == "cowl" for entry in shop.job().entries)


@pytest.mark.parametrize("path", ["/sign-in", "/join"])
def test_the_way_in_is_guarded_as_well(shop: Shop, path: str) -> None:
    """Nobody is signed in unknowingly by another site's form (login CSRF)."""
    fields = {"name": "Rosa", "passphrase": PASSPHRASE, "code": shop.people.invite("Nell", ["lead"])}
    assert shop.client().post(path, data=fields).status_code == 403
    client = shop.client()
    fields["token"] = token_of(client, path)
    for headers in ({"origin": "https://shop.example"}, {"origin": f"http://{SHOP}"}, {"sec-fetch-site": "same-site"}):
        assert client.post(path, data=fields, headers=headers).status_code == 403


def test_a_name_that_is_not_the_certificates_is_refused(shop: Shop) -> None:
    """Rebinding of DNS names ends at the Host header, on the network too."""
    for host in ("shop.example:8460", "192.0.2.7:8460", "shop-pc.local", "shop-pc.local:1"):
        assert shop.client().get("/sign-in", headers={"host": host}).status_code == 421, host


# ---- how often ------------------------------------------------------------------------------------------------


@pytest.fixture
def minutes(monkeypatch: pytest.MonkeyPatch) -> Any:
    """Lets minutes pass."""
    past, real = [0.0], time.time
    monkeypatch.setattr(time, "time", lambda: real() + past[0])

    def on(count: float) -> None:
        past[0] += count * 60

    return on


def test_guessing_is_slowed_down(shop: Shop, minutes: Any) -> None:
    """After some attempts even the right passphrase waits; other people at other devices do not."""
    client = shop.client()
    assert [sign_in(client, "Rosa", f"guess number {n}").status_code for n in range(6)] == [422] * 6
    answer = sign_in(client, "Rosa")
    assert answer.status_code == 429 and 0 < int(answer.headers["retry-after"]) <= 60
    assert "Try again in" in answer.text
    assert sign_in(client, "Ira").status_code == 303
    assert sign_in(shop.client(address="192.0.2.21"), "Rosa").status_code == 303
    minutes(1.1)
    assert sign_in(shop.client(), "Rosa").status_code == 303


def test_guessing_under_many_names_is_slowed_down(shop: Shop) -> None:
    """One address has so many attempts, whatever the name."""
    client = shop.client()
    codes = [sign_in(client, f"Person {n}", "x").status_code for n in range(31)]
    assert codes[:30] == [422] * 30 and codes[30] == 429


def test_guessing_a_code_is_slowed_down(shop: Shop) -> None:
    """Six guesses a minute at 60 random bits."""
    client = shop.client()
    assert [join(client, "AAAA-BBBB-CCCC").status_code for _ in range(7)] == [404] * 6 + [429]


def test_one_name_is_guessed_at_most_a_hundred_times_a_day(shop: Shop, minutes: Any) -> None:
    """However many addresses there are (at most 100 failures in a row: SP 800-63B-4, section 3.2.2, from memory)."""
    attempts = shop.app.state.sign_in.attempts
    tried = 0
    for n in range(120):
        try:
            attempts.may_try(f"192.0.2.{n}", "rosa")
        except UserMistake:
            break
        attempts.failed("rosa")
        tried += 1
    assert tried == 100
    minutes(24 * 60 + 1)
    attempts.may_try("192.0.2.1", "rosa")


def test_a_success_clears_the_count(shop: Shop) -> None:
    """Whoever mistypes now and then never waits."""
    client = shop.client()
    for _ in range(4):
        assert [sign_in(client, "Rosa", "mistyped words").status_code for _ in range(4)] == [422] * 4
        assert sign_in(client, "Rosa").status_code == 303
        client.cookies.delete(COOKIE)


def test_requests_are_paced(shop: Shop, monkeypatch: pytest.MonkeyPatch) -> None:
    """A person who asks for more than hands can is told to wait; style sheets do not count."""
    from fieldnote.web.limits import Pace

    monkeypatch.setattr(shop.app.state.sign_in, "pace", Pace("5 per 1 minute", "3 per 1 minute"))
    rosa, nobody = shop.client("Rosa"), shop.client()
    assert [rosa.get("/new").status_code for _ in range(6)] == [200] * 5 + [429]
    assert rosa.get("/static/page.css").status_code == 200
    assert [nobody.get("/sign-in").status_code for _ in range(4)] == [200] * 3 + [429]
    answer = nobody.get("/sign-in")
    assert int(answer.headers["retry-after"]) > 0 and "content-security-policy" in answer.headers
    assert shop.client("Ira").get("/new").status_code == 200


# ---- the file -------------------------------------------------------------------------------------------------


def test_two_processes_use_one_file(shop: Shop) -> None:
    """What the command line does holds in the running server at once."""
    beside = People(shop.rooms.home, shop.rooms.settings.sign_in, clock=lambda: shop.clock[0])
    client = shop.client("Rosa")
    beside.remove("Rosa")
    assert client.get("/").status_code == 303
    code = beside.invite("Nell", ["clerk"])
    beside.close()
    assert join(shop.client(), code).status_code == 303


def test_no_copy_of_the_jobs_carries_who_may_sign_in(shop: Shop, tmp_path: Path) -> None:
    """A backup that gets into other hands lets nobody in."""
    from fieldnote.store.backup import back_up
    from fieldnote.web.certificates import make

    make(shop.rooms.home, ["localhost"])
    back_up(shop.rooms.store, tmp_path / "copy")
    copied = {path.name for path in (tmp_path / "copy").rglob("*") if path.is_file()}
    assert "jobs.db" in copied
    assert not copied & {"people.db", "server.key", "server.pem"}


def test_a_name_is_given_once(shop: Shop) -> None:
    """Two people cannot be one in the log of changes."""
    with pytest.raises(Clash):
        shop.people.rename("Rosa", "IRA")
    assert shop.people.rename("Rosa", "ROSA").name == "ROSA"
    with pytest.raises(NotFound):
        shop.people.rename("Nobody", "Else")


def test_a_newer_file_is_left_alone(shop: Shop) -> None:
    """Another version's file is not written over."""
    import sqlite3

    with sqlite3.connect(shop.people.path) as db:
        db.execute("PRAGMA user_version = 99")
    db.close()
    beside = People(shop.rooms.home, shop.rooms.settings.sign_in)
    with pytest.raises(StoreFault, match="newer fieldnote"):
        beside.all()


def test_what_is_no_file_of_ours_is_told(shop: Shop, tmp_path: Any) -> None:
    """One line, and the file stays as it is."""
    (tmp_path / "people.db").write_text("these are not the people you are looking for" * 30)
    with pytest.raises(StoreFault):
        People(tmp_path, shop.rooms.settings.sign_in).all()
    assert (tmp_path / "people.db").read_text().startswith("these are not")


def test_lengths_of_passphrases_are_those_that_the_page_names(shop: Shop) -> None:
    """The hint and the rule are one number, at least 15 (SP 800-63B-4, section 3.1.1.1, from memory)."""
    assert passphrases.SHORTEST >= 15
    assert f"At least {passphrases.SHORTEST} characters" in shop.client().get("/join").text
