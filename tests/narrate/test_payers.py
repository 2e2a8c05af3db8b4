"""What payers require is data of the pack, read strictly; what a job lacks of it is named."""

from __future__ import annotations

import dataclasses
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from fieldnote.errors import NotFound, PackFault
from fieldnote.narrate import narrate
from fieldnote.narrate.payers import REQUIREMENTS, find_payer, load_payers
from fieldnote.records import Claim, Intake, Photo
from tests.narrate.jobs import PACK, job

STORY = (
    {"kind": "evidence", "place": "rear-floor", "part": "carpet", "side": "left", "state": "soaked"},
    {"kind": "test", "place": "tail-lamp", "side": "left", "method": "hose", "state": "leak"},
    {"kind": "check", "place": "tail-lamp", "part": "gasket", "side": "left", "state": "torn"},
    {"kind": "source", "place": "tail-lamp", "part": "gasket", "side": "left"},
)
CURE: tuple[dict[str, Any], ...] = (
    {"kind": "repair", "place": "tail-lamp", "part": "gasket", "side": "left", "state": "replaced"},
    {
        "kind": "test", "place": "tail-lamp", "side": "left", "method": "hose", "state": "dry", "stage": "verify",
        "quantities": [{"what": "duration", "value": 10, "unit": "min"}],
    },
)  # fmt: skip


def lacking(found: Any, pack: Any = PACK) -> set[str]:
    """Labels of what the job's payer wants and does not get."""
    texts = [p.text for p in narrate(found, pack).open_points]
    return {id for id, one in REQUIREMENTS.items() if any(f"wants {one.label}: not recorded" in text for text in texts)}


def shop(tmp_path: Path, text: str) -> Any:
    """The pack with a shop's own claim.toml."""
    (tmp_path / "claim.toml").write_text(text, encoding="utf-8")
    return SimpleNamespace(
        folders=(*PACK.folders, tmp_path), entry=PACK.entry, term=PACK.term, terms=PACK.terms, id=PACK.id
    )


def test_a_job_without_a_payer_lacks_nothing() -> None:
    """Nobody asked: no open point speaks of a claim."""
    assert not lacking(job(*STORY))


@pytest.mark.parametrize("name", list(load_payers(PACK)))
def test_an_empty_job_lacks_all_that_a_payer_wants_but_its_opening(name: str) -> None:
    """Every shipped payer: what it requires is what is missing; the day of opening is always known."""
    empty = dataclasses.replace(job(), claim=Claim(payer=name), created_at="2026-11-02T08:00:00Z")
    assert lacking(empty) == set(find_payer(name, PACK).requires) - {"day-in"}


@pytest.mark.parametrize(
    ("id", "there"),
    [
        ("order-number", {"intake": Intake(order_number="4711")}),
        ("vin", {"intake": Intake(vin="1M8GDM9AXKP042788")}),
        ("odometer-in", {"intake": Intake(odometer=62305, odometer_unit="mi")}),
        ("complaint", {"intake": Intake(complaint="Wet carpet.")}),
        ("day-out", {"closed_at": "2026-11-03T08:00:00Z", "status": "closed"}),
        ("odometer-out", {"odometer_out": 62320.0}),
        ("failed-part", {"failed_part": "55012-A"}),
        ("parts", {"parts": ("2 x 55012-A",)}),
        ("sealer", {"sealer_batch": "B77", "sealer_expiry": "2027-01-31"}),
        ("operations", {"operations": ("23-10",)}),
        ("labor-split", {"repair_h": 0.5}),
        ("authorization", {"authorization": "A 17"}),
        ("other-work", {"other_work": "none"}),
        ("photo-before", {"photos": "before"}),
        ("photo-after", {"photos": "after"}),
        ("cause", {"story": STORY}),
        ("correction", {"story": (*STORY, *CURE)}),
        ("retest", {"story": (*STORY, *CURE)}),
    ],
)
def test_each_thing_required_is_missing_until_it_is_there(tmp_path: Path, id: str, there: dict[str, Any]) -> None:
    """With it alone the point goes; without it, it is there."""
    pack = shop(tmp_path, f'[payer.one]\nname = "one"\nrequires = ["{id}"]\n')
    without = dataclasses.replace(job(), claim=Claim(payer="one"))
    assert lacking(without, pack) == {id}
    of_job = {name: there[name] for name in ("intake", "closed_at", "status") if name in there}
    if "photos" in there:
        of_job["photos"] = (Photo("p1", "j1", None, there["photos"], "0" * 64, "photo/0.jpg", 9, 4, 3, "2026", "Ann"),)
    of_claim = {name: value for name, value in there.items() if name not in (*of_job, "photos", "story")}
    held = dataclasses.replace(job(*there.get("story", ())), claim=Claim(payer="one", **of_claim), **of_job)
    assert not lacking(held, pack)


def test_a_repair_without_a_retest_is_no_retest(tmp_path: Path) -> None:
    """The correction is there, the proof of it is not; nor is a photo that was deleted."""
    pack = shop(tmp_path, '[payer.one]\nname = "one"\nrequires = ["correction", "retest", "photo-after"]\n')
    gone = Photo("p1", "j1", None, "after", "0" * 64, "photo/0.jpg", 9, 4, 3, "2026", "Ann", deleted_at="2026")
    found = dataclasses.replace(job(*STORY, CURE[0]), claim=Claim(payer="one"), photos=(gone,))
    assert lacking(found, pack) == {"retest", "photo-after"}


def test_saying_that_nothing_was_found_is_no_cause(tmp_path: Path) -> None:
    """A write-up always says something under its headings; a suspicion is no cause, and no repair no correction."""
    pack = shop(tmp_path, '[payer.one]\nname = "one"\nrequires = ["cause", "correction"]\n')
    assert lacking(dataclasses.replace(job(STORY[0]), claim=Claim(payer="one")), pack) == {"cause", "correction"}
    assert lacking(dataclasses.replace(job(*STORY), claim=Claim(payer="one")), pack) == {"correction"}


def test_a_shops_own_payer_takes_the_place_of_a_shipped_one(tmp_path: Path) -> None:
    """By id; the others stay."""
    pack = shop(tmp_path, '[payer.maker]\nname = "our maker"\ncause = 99\n')
    assert find_payer("maker", pack).limit("cause") == 99
    assert set(load_payers(pack)) == set(load_payers(PACK))
    with pytest.raises(NotFound, match="maker"):
        find_payer("nobody", pack)


def test_a_payer_that_is_gone_is_an_open_point() -> None:
    """A job outlives the list."""
    found = dataclasses.replace(job(), claim=Claim(payer="gone"))
    assert any("gone is not in the list" in p.text for p in narrate(found, PACK).open_points)


def test_returned_is_open_and_paid_is_not() -> None:
    """Why it came back is told; what was paid changes nothing in the story."""
    plain = dataclasses.replace(job(*STORY), claim=Claim(payer="goodwill"))
    returned = dataclasses.replace(
        plain, claim=dataclasses.replace(plain.claim, outcome="returned", outcome_reason="no photos")
    )
    paid = dataclasses.replace(plain, claim=dataclasses.replace(plain.claim, outcome="paid"))
    assert [p.text for p in narrate(returned, PACK).open_points][-1] == "The claim was returned: no photos."
    assert narrate(paid, PACK).hash == narrate(plain, PACK).hash != narrate(returned, PACK).hash


@pytest.mark.parametrize(
    ("text", "told"),
    [
        pytest.param('[payer.a]\nname = "a"\nrequires = ["vinn"]', "claim.toml:3: payer.a.requires", id="unknown"),
        pytest.param('[payer.a]\nname = "a"\ncause = -1', "claim.toml:3: payer.a.cause: -1", id="below nothing"),
        pytest.param('[payer.a]\nname = "a"\ncause = true', "claim.toml:3: payer.a.cause: True", id="no number"),
        pytest.param('[payer.a]\nname = "a"\nletters = "plane"', "did you mean 'plain'", id="a slip"),
        pytest.param("[payer.a]\ncause = 9", "claim.toml:1: payer.a: no name", id="no name"),
        pytest.param('[payer.a]\nname = "a"\nmost = 9', "claim.toml:3: payer.a.most: unknown key", id="unknown key"),
        pytest.param('[payers.a]\nname = "a"', "claim.toml:1: payers: unknown table", id="unknown table"),
        pytest.param("payer = 3 4", "valid TOML", id="no TOML"),
    ],
)
def test_faults_are_told_with_their_line(tmp_path: Path, text: str, told: str) -> None:
    """What, where, and what would be right."""
    with pytest.raises(PackFault) as caught:
        load_payers(shop(tmp_path, text))
    assert told in str(caught.value.faults[0])
