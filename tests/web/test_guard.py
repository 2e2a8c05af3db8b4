"""What the server refuses, and the headers of what it answers."""

from __future__ import annotations

import re
from collections.abc import Iterator
from html.parser import HTMLParser

import pytest
from starlette.types import Message

from fieldnote.web.guard import CONTENT_POLICY, SAFE_METHODS
from tests.web.conftest import HOST, House

PAGES = ("/", "/?q=carpet&state=all", "/new", "/words", "/guide", "/nowhere")
OF_JOB = ("", "/bay", "/changes", "/intake", "/sign-off", "/handover")


def all_pages(house: House) -> list[str]:
    job = house.job()
    entry = f"/jobs/{job.id}/entries/{job.entries[0].id}"
    return [*PAGES, *(f"/jobs/{job.id}{tail}" for tail in OF_JOB), entry]


@pytest.mark.parametrize(
    "host",
    ["shop.example", "shop.example:8460", "127.0.0.1:9999", "127.0.0.1", "127.0.0.1:8460.shop.example", ""],
)
def test_a_host_that_is_not_ours_is_refused(still: House, host: str) -> None:
    """Rebinding of DNS names ends here: a request must name the address that was printed."""
    answer = still.client.get("/", headers={"host": host})
    assert answer.status_code == 421
    assert "Unit 9" not in answer.text


@pytest.mark.parametrize(
    "headers",
    [
        {"origin": "https://shop.example"},
        {"origin": "null"},
        {"origin": "http://127.0.0.1:9999"},
        {"origin": "http://127.0.0.1"},
        {"sec-fetch-site": "cross-site"},
        {"sec-fetch-site": "same-site"},
    ],
    ids=str,
)
def test_a_change_from_another_site_is_refused(still: House, headers: dict[str, str]) -> None:
    """Origin (RFC 6454) and Fetch Metadata tell a foreign page, though it sent the right token."""
    job = still.job()
    answer = still.client.post(f"/jobs/{job.id}/close", data={"token": still.token()}, headers=headers)
    assert answer.status_code == 403
    assert still.job().status == "open"


@pytest.mark.parametrize(
    ("mode", "dest", "status"),
    [
        ("navigate", "document", 200),
        ("no-cors", "image", 403),
        ("no-cors", "script", 403),
        ("navigate", "iframe", 403),
        ("cors", "empty", 403),
        ("navigate", "embed", 403),
    ],
)
def test_only_a_link_leads_here_from_another_site(still: House, mode: str, dest: str, status: int) -> None:
    """Fetch Metadata (W3C): nothing of ours becomes part of another site's page, not even to be measured."""
    headers = {"sec-fetch-site": "cross-site", "sec-fetch-mode": mode, "sec-fetch-dest": dest}
    answer = still.client.get("/", headers=headers)
    assert answer.status_code == status
    assert ("Unit 9" in answer.text) is (status == 200)


def unsafe_routes(house: House) -> Iterator[tuple[str, str]]:
    """Every route that changes something, as the application describes itself (OpenAPI)."""
    described = house.client.get("/openapi.json").json()["paths"]
    for path, methods in described.items():
        for method in {name.upper() for name in methods} - SAFE_METHODS:
            yield method, path


@pytest.mark.parametrize("token", ["", "0" * 64, "made up"], ids=["none", "wrong", "no token"])
def test_no_route_changes_anything_without_the_token(still: House, token: str) -> None:
    """Every route that changes something asks for the token of our own page; none was forgotten."""
    job, before = still.job(), still.job()
    still.client.get("/")
    routes = list(unsafe_routes(still))
    assert len(routes) >= 11
    for method, path in routes:
        names = {"job_id": job.id, "entry_id": job.entries[0].id, "edit_id": "d1", "photo_id": "p1"}
        data = {"token": token, "side": "left", "text": "dry", "name": "Unit 1", "who": "Eve"}
        answer = still.client.request(method, path.format(**names), data=data, follow_redirects=False)
        assert answer.status_code == 403, path
        assert "nothing was changed" in answer.text
    assert still.job() == before
    assert len(still.rooms.store.jobs()) == 3


def test_a_token_of_another_visit_is_refused(house: House) -> None:
    """A token counts only with the cookie that it was made for."""
    token = house.token()
    house.client.cookies.clear()
    assert house.client.post("/new", data={"token": token, "name": "Unit 1"}).status_code == 403


def test_too_much_is_refused_before_it_is_read(still: House) -> None:
    """A declared length over the limit costs no reading."""
    answer = still.client.post("/new", content=b"x" * 20_001)
    assert answer.status_code == 413
    assert "Nothing was kept" in answer.text


def test_a_sender_that_pauses_for_long_is_cut_off(house: House, monkeypatch: pytest.MonkeyPatch) -> None:
    """Nobody holds the server's connections open by sending nothing (408: RFC 9110, section 15.5.9)."""
    import asyncio

    from fieldnote.web import guard

    monkeypatch.setattr(guard, "LONGEST_SILENCE_S", 0.05)
    app, sent = house.client.app, list[Message]()

    async def receive() -> Message:
        if not sent_first:
            sent_first.append(True)
            return {"type": "http.request", "body": b"name=Unit", "more_body": True}
        await asyncio.sleep(30)
        raise AssertionError("waited to the end")

    async def send(message: Message) -> None:
        sent.append(message)

    sent_first: list[bool] = []
    headers = [(b"host", HOST.encode()), (b"content-type", b"application/x-www-form-urlencoded")]
    scope = {
        "type": "http", "method": "POST", "path": "/new", "raw_path": b"/new", "query_string": b"", "headers": headers,
        "scheme": "http", "server": ("127.0.0.1", 8460), "client": ("127.0.0.1", 5), "http_version": "1.1",
        "root_path": "",
    }  # fmt: skip
    asyncio.run(app(scope, receive, send))  # type: ignore[arg-type]
    assert sent[0]["status"] == 408
    assert b"Send it again" in sent[1]["body"]


def test_too_much_without_a_declared_length_is_cut_off(still: House) -> None:
    """Chunked sending (RFC 9112, section 7.1) does not get round the limit."""

    def pieces() -> Iterator[bytes]:
        for _ in range(50):
            yield b"x" * 1000

    headers = {"content-type": "application/x-www-form-urlencoded"}
    assert still.client.post("/new", content=pieces(), headers=headers).status_code == 413


@pytest.mark.parametrize(
    "path",
    [
        "/static/../app.py",
        "/static/%2e%2e/app.py",
        "/static/..%2fapp.py",
        "/static/%2fetc/passwd",
        "/jobs/../../etc/passwd",
        "/jobs/{job}/sound/..%2f..%2fjobs.db",
        "/jobs/{job}/sound/%2e%2e%2fjobs.db",
        "/jobs/{job}/files/..%2fjobs.db",
        "/jobs/{job}/files/pdf%00",
        "/jobs/{job}/versions/99",
        "/jobs/{job}/entries/nobody",
        "/jobs/nobody",
        "/jobs/nobody/bay",
        "/jobs/%00",
        "/openapi.yaml",
    ],
)
def test_what_is_not_there_is_told_and_gives_nothing_away(still: House, path: str) -> None:
    """Tricks with paths and unknown names end in one plain page."""
    answer = still.client.get(path.format(job=still.job().id))
    assert answer.status_code == 404
    assert not re.search(r"Traceback|SQLite|root:|import ", answer.text)


def test_a_script_is_told_in_json(still: House) -> None:
    """What, where and what to do, as on the command line."""
    answer = still.client.get("/jobs/nobody", headers={"accept": "application/json"})
    assert answer.status_code == 404
    assert set(answer.json()["error"]) == {"what", "where", "do"}


def test_every_answer_carries_the_policy(still: House) -> None:
    """Pages, files, errors and refusals alike."""
    paths = [*all_pages(still), "/static/page.css", f"/jobs/{still.job().id}/files/csv"]
    answers = [still.client.get(path) for path in paths]
    answers.append(still.client.get("/", headers={"host": "shop.example"}))
    for answer in answers:
        assert answer.headers["content-security-policy"] == CONTENT_POLICY
        assert answer.headers["x-content-type-options"] == "nosniff"
        assert answer.headers["cross-origin-resource-policy"] == "same-origin"
    assert "unsafe" not in CONTENT_POLICY
    assert "default-src 'none'" in CONTENT_POLICY


class Inline(HTMLParser):
    """Collects what a content security policy without inline script and style forbids, and addresses elsewhere."""

    def __init__(self) -> None:
        super().__init__()
        self.found: list[str] = []
        self.ids: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = dict(attrs)
        if (tag == "script" and "src" not in given) or tag == "style":
            self.found.append(tag)
        self.found += [f"{tag} {name}" for name in given if name == "style" or name.startswith("on")]
        for name in ("src", "href", "action"):
            value = given.get(name) or ""
            if re.match(r"(?i)[a-z][a-z0-9+.-]*:|//", value):
                self.found.append(f"{tag} {name}={value}")
        if given.get("id"):
            self.ids.append(str(given["id"]))


def test_no_page_has_inline_code_or_reaches_elsewhere(still: House) -> None:
    """Nothing inline, nothing from a network, no id twice."""
    for path in all_pages(still):
        page = Inline()
        page.feed(still.client.get(path).text)
        assert page.found == [], path
        assert len(page.ids) == len(set(page.ids)), path


def test_what_people_write_is_shown_as_text(house: House) -> None:
    """Markup in a name, a complaint or a dictated line stays text."""
    nasty = '<script>alert(1)</script><img src=x onerror="y">'
    house.send("/new", name=nasty, complaint=nasty, then="desk")
    job = house.job("<script>")
    house.send(f"/jobs/{job.id}/lines", text=f"left tail lamp {nasty} is torn")
    house.send("/who", who=nasty, back="/")
    for path in ("/", f"/jobs/{job.id}", f"/jobs/{job.id}/bay", f"/jobs/{job.id}/changes", "/words"):
        page = Inline()
        page.feed(house.client.get(path).text)
        assert page.found == [], path


@pytest.mark.parametrize("back", ["https://shop.example/", "//shop.example", "/\\shop.example", ""])
def test_no_form_leads_elsewhere(still: House, back: str) -> None:
    """The address to go back to is one of ours."""
    answer = still.send("/who", who="Ada", back=back)
    assert answer.headers["location"] == "/"  # type: ignore[attr-defined]


def test_a_live_connection_is_refused(still: House) -> None:
    """A WebSocket from another site, or to another name, is closed before it opens."""
    from starlette.websockets import WebSocketDisconnect

    for headers in ({"origin": "https://shop.example"}, {"host": "shop.example"}, {}):
        with (
            pytest.raises(WebSocketDisconnect),
            still.client.websocket_connect("/live", headers={"host": HOST, **headers}),
        ):
            pass
