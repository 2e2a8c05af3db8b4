"""Sign-off: doubtful entries first, a hash that can be checked, and a new version for every later change."""

from __future__ import annotations

import hashlib
import json
import re

from fieldnote.web.doubts import doubts
from fieldnote.wire import plain
from tests.web.conftest import House


def sign(house: House, *, confirm: bool = True, hash: str = "") -> object:
    job = house.job()
    page = house.client.get(f"/jobs/{job.id}/sign-off").text
    shown = re.search(r'name="hash" value="(\w+)"', page)
    assert shown is not None
    if confirm:
        confirm_all(house)
        shown = re.search(r'name="hash" value="(\w+)"', house.client.get(f"/jobs/{job.id}/sign-off").text)
        assert shown is not None
    return house.send(f"/jobs/{job.id}/sign-off", hash=hash or shown[1])


def listed(house: House) -> list[tuple[str, str]]:
    """Each doubtful entry of the page, with the mark of how it was shown."""
    page = house.client.get(f"/jobs/{house.job().id}/sign-off").text
    return re.findall(r'name="entry" value="(\w+)"><input type="hidden" name="seen" value="(\w+)"', page)


def confirm_all(house: House) -> None:
    """Touch "It is right" beside each."""
    for entry, seen in listed(house):
        answer = house.send(f"/jobs/{house.job().id}/sign-off/confirm", entry=entry, seen=seen)
        assert answer.status_code == 303  # type: ignore[attr-defined]


def test_nothing_is_signed_while_something_is_doubtful(house: House) -> None:
    """The entry said with doubt is listed, and must be confirmed first."""
    assert [d.entry.state for d in doubts(house.job())] == ["torn"]
    answer = sign(house, confirm=False)
    assert answer.status_code == 409  # type: ignore[attr-defined]
    assert "1 doubtful entry is not confirmed yet" in answer.text  # type: ignore[attr-defined]
    assert house.rooms.store.versions(house.job().id) == ()


def test_a_signed_version_is_frozen_with_its_hash(house: House) -> None:
    """The hash is SHA-256 over the text (FIPS 180-4, by hashlib), and stays though the job is changed later."""
    answer = sign(house)
    assert answer.headers["location"].endswith("/versions/1")  # type: ignore[attr-defined]
    (frozen,) = house.rooms.store.versions(house.job().id)
    said = {name: plain(getattr(frozen.narrative, name)) for name in ("paragraphs", "open_points", "cautions")}
    text = json.dumps(said, ensure_ascii=False, sort_keys=True)
    assert frozen.hash == hashlib.sha256(text.encode()).hexdigest()
    page = house.client.get(f"/jobs/{house.job().id}/versions/1").text
    assert frozen.hash in page and "it is as it was signed" in page


def test_a_later_change_makes_a_new_version(house: House) -> None:
    """Version 1 keeps its words; the list says that the job changed; signing again gives version 2."""
    sign(house)
    carpet = next(e for e in house.job().entries if e.part == "carpet")
    house.rooms.store.correct(house.job().id, carpet.id, "side", "left", "Bo")
    assert "changed since version 1" in house.client.get("/").text
    assert "right side of the rear floor" in house.client.get(f"/jobs/{house.job().id}/versions/1").text
    sign(house)
    one, two = house.rooms.store.versions(house.job().id)
    assert (one.number, two.number) == (1, 2)
    assert one.hash != two.hash
    assert "left side of the rear floor" in house.client.get(f"/jobs/{house.job().id}/versions/2").text
    assert "A newer version" in house.client.get(f"/jobs/{house.job().id}/versions/1").text
    assert "signed, version 2" in house.client.get("/").text


def test_what_was_confirmed_is_not_asked_again(house: House) -> None:
    """Each confirmation is kept singly; the next version asks only for what is new or changed."""
    sign(house)
    log = [e for e in house.job().edits if (e.field or "").startswith("confirmed.")]
    assert len(log) == 1 and log[0].quote and log[0].person
    assert doubts(house.job()) == ()
    assert "confirmed by ear" in house.client.get(f"/jobs/{house.job().id}/changes").text
    torn = next(e for e in house.job().entries if e.state == "torn")
    house.rooms.store.correct(house.job().id, torn.id, "item", 2, "Bo")
    assert [d.entry.id for d in doubts(house.job())] == [torn.id]


def test_each_is_confirmed_singly_and_stays_so(house: House) -> None:
    """One touch each; a new look at the page asks for the rest only; taking one back asks for it again."""
    job = house.job()
    test = next(e for e in job.entries if e.kind == "test" and e.state == "leak")
    house.rooms.store.correct(job.id, test.id, "certainty", "unsure", "Bo")
    (first, seen), (second, _) = listed(house)
    assert "confirmed by ear" not in house.client.get(f"/jobs/{job.id}/sign-off").text
    house.send(f"/jobs/{job.id}/sign-off/confirm", entry=first, seen=seen)
    assert [entry for entry, _ in listed(house)] == [second]
    assert "1 entry confirmed by ear" in house.client.get(f"/jobs/{job.id}/sign-off").text
    answer = sign(house, confirm=False)
    assert answer.status_code == 409  # type: ignore[attr-defined]
    assert "1 doubtful entry is not confirmed yet" in answer.text  # type: ignore[attr-defined]
    house.send(f"/jobs/{job.id}/changes/{house.job().edits[-1].id}/take-back", then="sign-off")
    assert [entry for entry, _ in listed(house)] == [first, second]


def test_what_changed_while_it_was_heard_is_not_confirmed(house: House) -> None:
    """A confirmation holds for what was shown, and not for what somebody made of it meanwhile."""
    ((entry, seen),) = listed(house)
    house.rooms.store.correct(house.job().id, entry, "side", "left", "Bo")
    answer = house.send(f"/jobs/{house.job().id}/sign-off/confirm", entry=entry, seen=seen)
    assert answer.status_code == 409  # type: ignore[attr-defined]
    assert "changed while you were looking" in answer.text  # type: ignore[attr-defined]
    assert len(listed(house)) == 1


def test_signing_what_has_changed_meanwhile_is_held(house: House) -> None:
    """What is signed is what was read."""
    answer = sign(house, hash="0" * 64)
    assert answer.status_code == 409  # type: ignore[attr-defined]
    assert "changed while you were looking" in answer.text  # type: ignore[attr-defined]
    assert house.rooms.store.versions(house.job().id) == ()


def test_an_empty_job_is_not_signed(house: House) -> None:
    """There is nothing to sign."""
    job = house.job("Unit 7")
    page = house.client.get(f"/jobs/{job.id}/sign-off").text
    shown = re.search(r'name="hash" value="(\w+)"', page)
    assert shown is not None
    assert house.send(f"/jobs/{job.id}/sign-off", hash=shown[1]).status_code == 409  # type: ignore[attr-defined]


def test_a_version_that_was_tampered_with_is_told(house: House) -> None:
    """Changing the kept text breaks the hash, and the page says so."""
    sign(house)
    with house.rooms.store.atomic() as db:
        for row in list(db.query("SELECT name FROM sqlite_master WHERE type = 'trigger' AND tbl_name = 'version'")):
            db.execute(f"DROP TRIGGER {row['name']}")
        db.execute("UPDATE version SET narrative = replace(narrative, 'soaked', 'dry')")
    page = house.client.get(f"/jobs/{house.job().id}/versions/1").text
    assert "It is not as it was signed" in page
