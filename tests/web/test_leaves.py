"""Leaves: handing a job over, and the field guide."""

from __future__ import annotations

import base64
import hashlib
import re

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
