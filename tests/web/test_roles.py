"""What each role may do, and that no route forgot to ask."""

from __future__ import annotations

import dataclasses
import time
import uuid
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from fastapi.routing import APIRoute, APIWebSocketRoute
from starlette.websockets import WebSocketDisconnect

from fieldnote.errors import BadData
from fieldnote.flow import Rooms
from fieldnote.settings import load_settings
from fieldnote.web import sign_in, ways_in
from fieldnote.web.app import ROOMS
from fieldnote.web.guard import SAFE_METHODS
from fieldnote.web.roles import RIGHTS, ROLES, Right, may, rights_of
from fieldnote.web.sign_in import is_way_in
from tests.web.conftest import SHOP, House, Shop, token_of, wav

FOR_EVERYBODY = ("/who", "/sign-out", "/you")
"""What changes nothing but one's own sign-in."""
READ_WITH = {
    "/jobs/{job_id}/sound/{clip_id}": "play sound",
    "/jobs/{job_id}/files/{to}": "take documents",
    "/words": "change words",
    "/words/alike": "change words",
    "/words/proving": "change words",
    "/kept-sound": "delete sound",
}
"""Pages that show what not everybody may see."""


def all_routes() -> Iterator[APIRoute | APIWebSocketRoute]:
    """Every route of every room, the ways in included."""
    for room in (*ROOMS, ways_in):
        for route in room.router.routes:
            assert isinstance(route, (APIRoute, APIWebSocketRoute)), f"{route} is of a kind that this test cannot see"
            yield route


def rights_asked(route: APIRoute | APIWebSocketRoute) -> set[str]:
    """The rights that a route asks for before it does anything."""
    found: set[str] = set()

    def walk(dependant: Any) -> None:
        right = getattr(dependant.call, "right", None)
        if right:
            found.add(right)
        for inner in dependant.dependencies:
            walk(inner)

    walk(route.dependant)
    return found


def test_every_route_that_changes_something_asks_for_a_right() -> None:
    """And so does what gives out sound, documents and the shop's words."""
    asked = 0
    for route in all_routes():
        path = route.path
        if is_way_in(path) or path.startswith(FOR_EVERYBODY):
            continue
        if isinstance(route, APIWebSocketRoute):  # these ask within, so that they can say why they close: see below
            continue
        if not route.methods <= SAFE_METHODS or path in READ_WITH:
            rights = rights_asked(route)
            assert rights, f"{path} asks for no right"
            assert rights <= set(RIGHTS)
            assert READ_WITH.get(path, min(rights)) in rights
            asked += 1
    assert asked >= 14


def test_every_live_connection_asks_for_a_right(shop: Shop) -> None:
    """Whoever has none is turned away before it opens."""
    shop.app.state.sign_in.rights = dict.fromkeys(RIGHTS, frozenset())
    paths = [route.path for route in all_routes() if isinstance(route, APIWebSocketRoute)]
    assert paths
    for path in paths:
        at = path.format(job_id=shop.job().id)
        client, ours = shop.client("Rosa"), {"origin": f"https://{SHOP}"}
        with pytest.raises(WebSocketDisconnect) as refused, client.websocket_connect(f"wss://{SHOP}{at}", headers=ours):
            pass
        assert "does not allow" in refused.value.reason


def test_a_live_connection_ends_with_its_sign_in(shop: Shop, monkeypatch: pytest.MonkeyPatch) -> None:
    """Who was signed out elsewhere stops being listened to within seconds; its use keeps a sign-in alive."""
    monkeypatch.setattr(sign_in, "LOOK_EVERY_S", 0.0)
    client, job = shop.client("Rosa"), shop.job("Unit 7")
    opening = {"take": str(uuid.uuid4()), "age_s": 0.0, "token": token_of(client, "/new")}
    with client.websocket_connect(f"wss://{SHOP}/jobs/{job.id}/stream", headers={"origin": f"https://{SHOP}"}) as line:
        line.send_json(opening)
        assert "have" in (told := line.receive_json()), told
        (session,) = shop.people.sessions(shop.people.find("Rosa"))
        shop.clock[0] += 3600
        line.send_json({"note": "still here"})
        line.send_json({"note": "still here"})
        for _ in range(200):
            (later,) = shop.people.sessions(shop.people.find("Rosa"))
            if later.seen_at > session.seen_at:
                break
            time.sleep(0.01)
        assert later.seen_at > session.seen_at
        shop.people.remove("Rosa")
        line.send_json({"note": "still here"})
        with pytest.raises(WebSocketDisconnect) as ended:
            while True:
                line.receive_json()
        assert ended.value.code == sign_in.SIGNED_OUT


def test_the_shipped_settings_name_every_right() -> None:
    """One setting a right, each given to somebody."""
    given = rights_of(load_settings(Path("/nonexistent")).roles)
    assert set(given) == set(RIGHTS)
    assert all(given.values())


def test_a_role_that_there_is_not_is_told() -> None:
    """With the setting that names it."""
    settings = dataclasses.replace(load_settings(Path("/nonexistent")).roles, play_sound="clerk, boss")
    with pytest.raises(BadData, match=r"roles\.play_sound: unknown role 'boss'"):
        rights_of(settings)


MAY: dict[Right, str] = {
    "dictate": "Rosa Ira Lu",
    "correct": "Rosa Ira Lu",
    "play sound": "Rosa Ira",
    "sign off": "Ira",
    "claim": "Ira",
    "take documents": "Rosa Ira Lu",
    "take names and sound": "Ira",
    "delete sound": "Lu",
    "change words": "Lu",
    "see patterns": "Lu",
}
"""Who may do what as shipped: Rosa is a technician, Ira a clerk, Lu a lead."""


def asked_for(shop: Shop, right: Right, clip: str) -> tuple[str, str, dict[str, str]]:
    """A request that needs a right."""
    job = shop.job()
    path = f"/jobs/{job.id}"
    asked: dict[str, tuple[str, str, dict[str, str]]] = {
        "dictate": ("POST", f"{path}/lines", {"text": "dry"}),
        "correct": ("POST", f"{path}/close", {}),
        "play sound": ("GET", f"/jobs/{shop.job('Unit 7').id}/sound/{clip}", {}),
        "sign off": ("POST", f"{path}/sign-off", {}),
        "take documents": ("GET", f"{path}/files/csv", {}),
        "change words": ("POST", "/words/take-back", {}),
    }
    return asked[right]


@pytest.mark.parametrize("right", ["dictate", "correct", "play sound", "sign off", "take documents", "change words"])
def test_only_whose_role_allows_it_gets_through(shop: Shop, right: Right, tmp_path: Path) -> None:
    """Whoever may not is told whom it is for, and nothing happens."""
    clip = kept_clip(shop, tmp_path) if right == "play sound" else ""
    for name in ("Rosa", "Ira", "Lu"):
        client, (method, path, fields) = shop.client(name), asked_for(shop, right, clip)
        before = shop.job()
        data = {**fields, "token": token_of(client, "/new")} if method == "POST" else None
        answer = client.request(method, path, data=data)
        if name in MAY[right].split():
            assert answer.status_code not in (401, 403), name
        else:
            assert answer.status_code == 403, name
            assert f"({right})" in answer.text and "It is for:" in answer.text
            assert shop.job() == before


def kept_clip(shop: Shop, tmp_path: Path) -> str:
    import soundfile

    from fieldnote.records import Clip

    path = wav(tmp_path / "one.wav")
    info, job = soundfile.info(path), shop.job("Unit 7")
    described = Clip("", "", path.name, "", info.duration, info.samplerate, info.channels)
    return shop.rooms.store.add_clip(job.id, shop.rooms.store.sounds.keep(path), described).id


def heard_clip(shop: Shop, tmp_path: Path) -> str:
    """A recording of "Unit 7" of which an entry came."""
    from fieldnote.flow.understanding import understand
    from fieldnote.records import Utterance

    clip, job = kept_clip(shop, tmp_path), shop.job("Unit 7")
    store = shop.rooms.store
    hearing, _ = store.begin_hearing(job.id, job.clips[0], "fake")
    store.add_heard(hearing, Utterance("u1", "left tail lamp gasket is torn", clip, 0.2, 1.8), 2.0)
    store.end_hearing(hearing)
    understand(store, job.id, shop.rooms.extractor)
    return clip


@pytest.mark.parametrize("right", RIGHTS)
def test_who_may_what(shop: Shop, right: Right) -> None:
    """The table of the handbook is that of the shipped settings."""
    from starlette.requests import HTTPConnection

    for name in ("Rosa", "Ira", "Lu"):
        scope = {"type": "http", "app": shop.app, "headers": [], "state": {"person": shop.people.find(name)}}
        assert may(HTTPConnection(scope), right) is (name in MAY[right].split()), name


def test_several_roles_add_up(shop: Shop) -> None:
    """In a small shop one person does it all."""
    shop.people.give_roles("Rosa", ROLES)
    client = shop.client("Rosa")
    answer = client.post(f"/jobs/{shop.job().id}/sign-off", data={"token": token_of(client, "/new")})
    assert answer.status_code == 409  # through to the page, which says what is not confirmed


def test_names_of_people_go_out_only_where_they_are_chosen_by_whom_it_is_for(shop: Shop) -> None:
    """As a file of the whole job: without names for everybody, with them for the clerk who asks."""
    shop.rooms.store.amend_job(shop.job().id, "intake.technician", "Ada Lovell", "Ada Lovell")
    path = f"/jobs/{shop.job().id}"
    for client in (shop.client("Rosa"), shop.client("Ira")):
        assert "Lovell" not in client.get(f"{path}/files/json").text
        assert "Lovell" not in client.get(f"{path}/files/md").text
    assert shop.client("Rosa").get(f"{path}/files/json?names=true").status_code == 403
    assert "Ada Lovell" in shop.client("Ira").get(f"{path}/files/json?names=true").text
    assert "with names of people" in shop.client("Ira").get(path).text
    assert "with names of people" not in shop.client("Rosa").get(path).text


def test_pages_offer_only_what_one_may(shop: Shop, tmp_path: Path) -> None:
    """The way to the words, to the sound and to signing is shown to whom it leads somewhere."""
    assert 'href="/words"' not in shop.client("Rosa").get("/").text
    assert 'href="/words"' in shop.client("Lu").get("/").text
    clip = heard_clip(shop, tmp_path)
    path = f"/jobs/{shop.job('Unit 7').id}"
    for name, hears, signs in (("Rosa", True, False), ("Ira", True, True), ("Lu", False, False)):
        text = shop.client(name).get(path).text
        assert (f"/sound/{clip}" in text) is hears and (f'data-clip="{clip}"' in text) is hears, name
        assert (f'href="{path}/sign-off"' in text) is signs, name


def test_at_this_machine_alone_everything_is_granted(still: House) -> None:
    """Without a sign-in there are no roles, and no page of a sign-in."""
    from starlette.requests import HTTPConnection

    scope = {"type": "http", "app": still.client.app, "headers": [], "state": {}}
    assert all(may(HTTPConnection(scope), right) for right in RIGHTS)
    for path in ("/sign-in", "/join", "/trust", "/you"):
        assert still.client.get(path).status_code == 404


def test_settings_of_a_shop_hold(shop: Shop, shipped: Rooms) -> None:
    """Where the law of the place asks for it, nobody but the clerk hears a voice."""
    stricter = dataclasses.replace(shipped.settings.roles, play_sound="clerk")
    shop.app.state.sign_in.rights = rights_of(stricter)
    path = f"/jobs/{shop.job().id}/sound/none"
    assert shop.client("Rosa").get(path).status_code == 403
    assert shop.client("Ira").get(path).status_code == 404
