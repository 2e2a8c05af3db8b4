"""Leaves: handing a job over, and the field guide."""

from __future__ import annotations

import base64
import hashlib
import re
import shutil
import subprocess
from pathlib import Path

import pytest

from tests.web.conftest import House


def test_handing_over_tells_where_the_job_stands(still: House) -> None:
    """Proved, cleared, next, what is off; and the minute to be spoken."""
    text = still.client.get(f"/jobs/{still.job().id}/handover").text
    for heading in ("State", "Proved", "Cleared", "Next check", "Off and not refitted", "To say, in a minute"):
        assert f">{heading}</h2>" in text


def test_a_handover_is_accepted_as_it_was_read(house: House) -> None:
    """With name and time; a leaf that changed meanwhile is to be read again, and the same one offers no second."""
    path = f"/jobs/{house.job().id}/handover"

    def shown() -> str:
        found = re.search(r'name="hash" value="(\w+)"', house.client.get(path).text)
        return found[1] if found else ""

    assert "Nobody has taken this job over yet" in house.client.get(path).text
    stale = shown()
    carpet = next(e for e in house.job().entries if e.part == "carpet")
    house.rooms.store.disregard(house.job().id, carpet.id, "Bo")
    if shown() != stale:
        assert house.send(path, hash=stale).status_code == 422
    assert house.send(path, hash=shown()).status_code == 303
    text = house.client.get(path).text
    assert "Taken over" in text and "Nobody has taken" not in text and not shown()
    assert "handover" in house.client.get(f"/jobs/{house.job().id}/changes").text


def test_the_guide_lists_every_place_of_the_map(still: House) -> None:
    """Each place where the map shows water has its leaf, and nothing else has."""
    places = re.findall(r'href="/guide/([^"]+)">', still.client.get("/guide").text)
    shown = {shows.place for row in still.rooms.leak_map.rows.values() for shows in row.shows}
    assert set(places) == shown | {"all"}
    assert still.client.get("/guide/moon").status_code == 404


@pytest.mark.parametrize("path", ["/guide/d-pillar", "{job}/handover/leaf"])
def test_a_leaf_lets_in_its_own_style_and_nothing_else(still: House, path: str) -> None:
    """The policy names the SHA-256 of the one style sheet (CSP Level 3, 6.7.3), so that no other takes effect."""
    answer = still.client.get(path.format(job=f"/jobs/{still.job().id}"))
    assert answer.status_code == 200
    (style,) = re.findall(r"<style>(.*?)</style>", answer.text, re.DOTALL)
    digest = base64.b64encode(hashlib.sha256(style.encode()).digest()).decode()
    policy = answer.headers["content-security-policy"]
    assert f"style-src 'sha256-{digest}';" in policy and "default-src 'none'" in policy
    assert "unsafe" not in policy and "script-src" not in policy
    assert "<script" not in answer.text and " style=" not in answer.text


def test_the_leaf_is_one_page(house: House, tmp_path: Path) -> None:
    """However much was taken off: what is more is counted on the one leaf, and the minute stays a minute."""
    if shutil.which("pdftotext") is None:
        pytest.skip("pdftotext is missing: install poppler-utils")
    job = house.job()
    lines = [
        f"Took off the {side} {part}." for side in ("left", "right") for part in ("tail lamp", "door panel", "sill")
    ]
    house.send(f"/jobs/{job.id}/lines", text="\n".join([*lines, "Disconnected the battery.", "Took the seat out."]))
    answer = house.client.get(f"/jobs/{job.id}/handover/leaf.pdf")
    assert answer.headers["content-type"] == "application/pdf"
    (tmp_path / "leaf.pdf").write_bytes(answer.content)
    to_text = ["pdftotext", str(tmp_path / "leaf.pdf"), "-"]
    text = subprocess.run(to_text, capture_output=True, check=True, text=True).stdout
    assert text.count("\f") == 1 and "Accepted by" in text  # a form feed ends each page
    minute = re.search(r'id="to-say"[^>]*>([^<]*)<', house.client.get(f"/jobs/{job.id}/handover").text)
    assert minute is not None
    assert 30 < len(minute[1].split()) <= 160


def test_closing_with_something_off_is_asked_for_and_stays_open(house: House) -> None:
    """Nothing is closed by the first touch; closed all the same, what is off is an open point of the write-up."""
    job = house.job()
    path = f"/jobs/{job.id}/close"
    house.send(f"/jobs/{job.id}/lines", text="Took off the left tail lamp.")
    asked = house.send(path)
    assert asked.status_code == 409  # type: ignore[attr-defined]
    assert "still off" in asked.text and "left tail lamp" in asked.text  # type: ignore[attr-defined]
    assert house.job().status == "open"
    off = re.findall(r'name="left-off" value="([^"]*)"', asked.text)  # type: ignore[attr-defined]
    house.send(f"/jobs/{job.id}/lines", text="Took off the right tail lamp.")
    assert house.send(path, **{"left-off": off}).status_code == 409  # type: ignore[attr-defined]
    house.send(f"/jobs/{job.id}/lines", text="Refitted the right tail lamp.")
    assert house.send(path, **{"left-off": off}).status_code == 303  # type: ignore[attr-defined]
    assert house.job().status == "closed"
    assert "no refitting was recorded" in house.client.get(f"/jobs/{job.id}").text


def test_closing_asks_nothing_where_all_is_back_on(house: House) -> None:
    """What was refitted is not asked about."""
    job = house.job()
    house.send(f"/jobs/{job.id}/lines", text="Took off the left tail lamp.\nRefitted the left tail lamp.")
    assert house.send(f"/jobs/{job.id}/close").status_code == 303  # type: ignore[attr-defined]
