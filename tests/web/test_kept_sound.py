"""How long sound is kept, who may play it, and deleting it: words, hash and the mark stay."""

from __future__ import annotations

import re
import shutil
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from fieldnote.flow.keeping import Daily, set_sound_days
from fieldnote.records import Job
from fieldnote.settings import load_settings
from fieldnote.store.retention import gone, jobs_due
from tests.web.conftest import House, Shop, token_of, wav
from tests.web.test_roles import kept_clip

SAID = "The left tail lamp gasket is torn."


def spoken(house: House, tmp_path: Path) -> Job:
    """ "Unit 7" with one recording that was heard."""
    house.hears.lines = [SAID]
    job = house.job("Unit 7")
    with wav(tmp_path / "one.wav").open("rb") as sound:
        data = {"token": house.token()}
        house.client.post(f"/jobs/{job.id}/sound", data=data, files={"recording": ("one.wav", sound, "audio/wav")})
    house.wait_heard(job.id)
    return house.job("Unit 7")


def test_deleted_sound_leaves_words_hash_and_the_mark(house: House, tmp_path: Path) -> None:
    """The file goes, and cannot be played any more; all that was made of it stays, at the desk as in the entry."""
    job = spoken(house, tmp_path)
    (clip,), (entry,) = job.clips, job.entries
    desk = f"/jobs/{job.id}"
    assert f'data-clip="{clip.id}"' in house.client.get(desk).text
    assert clip.sha256 in house.client.get(f"{desk}/sound").text
    answer = house.send(f"{desk}/sound/let-go")
    assert "1 recording deleted" in house.client.get(answer.headers["location"]).text  # type: ignore[attr-defined]
    assert not (house.rooms.home / clip.path).exists()
    assert house.job("Unit 7") == job
    for page in (desk, f"{desk}/entries/{entry.id}"):
        text = house.client.get(page).text
        assert "ound deleted" in text and entry.quote and entry.quote in text
        assert f'data-clip="{clip.id}"' not in text and "<audio" not in text
    listed = house.client.get(f"{desk}/sound").text
    assert "sound deleted" in listed and clip.sha256 in listed and "Delete the sound of this job" not in listed
    assert house.client.get(f"{desk}/sound/{clip.id}").status_code == 404


def test_sound_that_is_not_heard_yet_is_not_deleted(shop: Shop, tmp_path: Path) -> None:
    """Its words would be lost with it."""
    kept_clip(shop, tmp_path)
    client = shop.client("Lu")
    path = f"/jobs/{shop.job('Unit 7').id}/sound"
    answer = client.post(f"{path}/let-go", data={"token": token_of(client, path)})
    assert answer.status_code == 422 and "not heard to its end" in answer.text
    assert (shop.rooms.home / shop.job("Unit 7").clips[0].path).is_file()


def test_the_days_are_set_and_what_is_due_goes(house: House, tmp_path: Path) -> None:
    """The page lists what is due by the setting; the setting stands in the shop's file, whose rest stays."""
    job = spoken(house, tmp_path)
    file = house.rooms.home / "settings.toml"
    file.write_text('# ours\n[keep]\nsound_days = 0 # for ever\n\n[pack]\nname = "body-leaks"\n')
    assert "kept until it is deleted by hand" in house.client.get("/kept-sound").text
    assert house.send("/kept-sound", days="30").status_code == 303  # type: ignore[attr-defined]
    assert load_settings(file).keep.sound_days == 30
    assert file.read_text() == '# ours\n[keep]\nsound_days = 30 # for ever\n\n[pack]\nname = "body-leaks"\n'
    house.send(f"/jobs/{job.id}/close")
    assert "Nothing is due" in house.client.get("/kept-sound").text
    closed_long_ago(house, job)
    text = house.client.get("/kept-sound").text
    assert "Unit 7" in text and "Delete the sound of 1 job now" in text
    assert house.send("/kept-sound/let-go").headers["location"].endswith("done=1")  # type: ignore[attr-defined]
    assert set(gone(house.rooms.store, job.id)) == {job.clips[0].id}


def closed_long_ago(house: House, job: Job) -> None:
    with house.rooms.store.atomic() as db:
        ago = (datetime.now(UTC) - timedelta(days=40)).strftime("%Y-%m-%dT%H:%M:%S.000000Z")
        db.execute("UPDATE job SET closed_at = ? WHERE id = ?", [ago, job.id])


@pytest.mark.parametrize("days", ["", "-1", "1.5", "many", "99999999", "٣"])
def test_days_that_cannot_be_are_refused(still: House, days: str) -> None:
    """The setting stays as it was."""
    assert still.send("/kept-sound", days=days).status_code == 422  # type: ignore[attr-defined]
    assert still.rooms.settings.keep.sound_days == 0 and not (still.rooms.home / "settings.toml").exists()


def test_what_is_due_goes_by_itself_once_a_day(house: House, tmp_path: Path) -> None:
    """While the pages are served nobody has to think of it."""
    job = spoken(house, tmp_path)
    house.send(f"/jobs/{job.id}/close")
    closed_long_ago(house, job)
    set_sound_days(house.rooms, 30)
    assert [due.name for due in jobs_due(house.rooms.store, 30)] == ["Unit 7"]
    daily = Daily(house.rooms)
    daily.start()
    for _ in range(300):
        if gone(house.rooms.store, job.id):
            break
        time.sleep(0.01)
    daily.close()
    assert gone(house.rooms.store, job.id) and daily.fault == ""


def test_a_fault_of_the_daily_deletion_is_told(house: House) -> None:
    """A data folder that cannot be used does not end it; the lead's page says so."""
    set_sound_days(house.rooms, 30)
    house.rooms.store.close()
    shutil.move(house.rooms.store.path, house.rooms.home / "away.db")
    house.rooms.store.path.mkdir()
    daily = Daily(house.rooms, every_s=60)
    daily.start()
    for _ in range(300):
        if daily.fault:
            break
        time.sleep(0.01)
    daily.close()
    house.rooms.store.path.rmdir()
    shutil.move(house.rooms.home / "away.db", house.rooms.store.path)
    assert daily.fault


def test_who_may_play_sound_is_by_role(shop: Shop, tmp_path: Path) -> None:
    """The lead sets how long it is kept, and hears nothing; whoever may not play it is offered nothing to play."""
    text = shop.client("Lu").get("/kept-sound").text
    rows = dict(re.findall(r'<th scope="row">(technician|clerk|lead)</th><td[^>]*>(yes|no)</td>', text))
    assert rows == {"technician": "yes", "clerk": "yes", "lead": "no"}
    for name in ("Rosa", "Ira"):
        client = shop.client(name)
        assert client.get("/kept-sound").status_code == 403
        assert 'href="/kept-sound"' not in client.get("/").text
        fields = {"token": token_of(client, "/new")}
        assert client.post("/kept-sound", data={**fields, "days": "1"}).status_code == 403
        assert client.post("/kept-sound/let-go", data=fields).status_code == 403
        assert client.post(f"/jobs/{shop.job().id}/sound/let-go", data=fields).status_code == 403
    kept_clip(shop, tmp_path)
    path = f"/jobs/{shop.job('Unit 7').id}/sound"
    assert "<audio" in shop.client("Rosa").get(path).text
    assert "<audio" not in shop.client("Lu").get(path).text
