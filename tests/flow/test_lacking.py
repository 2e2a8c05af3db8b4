"""Jobs are found by what they lack and by what the payer said, and the rows behind it never lag behind a job."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from fieldnote.flow import Rooms, close_job, freeze, open_job, read_text
from fieldnote.flow.claiming import set_claim
from fieldnote.flow.lacking import KINDS, find, line_of
from fieldnote.records import Claim, Intake
from fieldnote.store.claim_rows import Answer, Wanted

LINES = "Hose on the left tail lamp, leaks after two minutes.\nReplaced the gasket on the left tail lamp."


@pytest.fixture
def rooms(tmp_path: Path) -> Rooms:
    """Three open jobs, "van 1" the oldest, and a closed one."""
    made = Rooms(tmp_path)
    for name in ("van 1", "van 2", "van 3", "van 4"):
        open_job(made.store, name, Intake(order_number="W-1", vin="1M8GDM9AXKP042788") if name == "van 2" else None)
    close_job(made.store, "van 4", "Ada")
    return made


def names(rooms: Rooms, lacks: str = "", answer: Answer = "", status: str = "open", limit: int = 20) -> list[str]:
    found = find(rooms.store, lambda _: rooms, Wanted(status, lacks, answer), limit)
    assert found.back_to == ""
    return [rooms.store.job(id).name for id in found.ids]


def test_jobs_are_found_by_what_they_lack(rooms: Rooms) -> None:
    """Newest first, of the state asked for."""
    assert names(rooms, "vin") == ["van 3", "van 1"]
    assert names(rooms, "vin", status="") == ["van 4", "van 3", "van 1"]
    assert names(rooms, "odometer-in") == ["van 3", "van 2", "van 1"]
    assert names(rooms, "anything", limit=2) == ["van 3", "van 2"]
    assert names(rooms, "photo-after") == []


def set_up(rooms: Rooms, **claim: object) -> None:
    set_claim(rooms.store, rooms.store.job("van 2"), Claim(**claim), "Ira", rooms.pack)  # type: ignore[arg-type]


CHANGES: dict[str, tuple[Callable[[Rooms], object], str, Answer, list[str]]] = {
    "a payer": (lambda r: set_up(r, payer="insurer"), "photo-after", "", ["van 2"]),
    "no payer left": (lambda r: set_up(r, payer="insurer"), "payer", "", ["van 3", "van 1"]),
    "not answered": (lambda r: set_up(r, payer="insurer"), "", "not answered", ["van 2"]),
    "returned": (lambda r: set_up(r, payer="insurer", outcome="returned"), "", "returned", ["van 2"]),
    "paid": (lambda r: set_up(r, payer="insurer", outcome="paid"), "", "not answered", []),
    "words": (
        lambda r: read_text(r.store, r.store.job("van 2"), LINES, r.extractor), "correction", "", ["van 3", "van 1"],
    ),
    "intake": (lambda r: r.store.amend_job(r.store.find_id("van 3"), "intake.vin", "X", "Ira"), "vin", "", ["van 1"]),
    "signed": (
        lambda r: freeze(r.store, r.store.job("van 1"), r.pack, "Ira", cautions=r.cautions, leak_map=r.leak_map),
        "signature", "", ["van 3", "van 2"],
    ),
    "closed": (lambda r: close_job(r.store, "van 3", "Ira"), "vin", "", ["van 1"]),
    "taken back": (
        lambda r: (set_up(r, payer="insurer", outcome="paid"), r.store.undo(r.store.find_id("van 2"), "Ira")),
        "", "paid", [],
    ),
}  # fmt: skip


@pytest.mark.parametrize(("change", "lacks", "answer", "found"), CHANGES.values(), ids=CHANGES)
def test_a_change_counts_at_once(
    rooms: Rooms, change: Callable[[Rooms], object], lacks: str, answer: Answer, found: list[str]
) -> None:
    """Rows made before the change do not outlive it, whatever it was."""
    for kind in KINDS:
        names(rooms, kind)
    change(rooms)
    assert names(rooms, lacks, answer) == found


def test_other_payers_make_the_rows_anew(rooms: Rooms) -> None:
    """What a shop's own claim.toml wants is found after it was changed."""
    set_up(rooms, payer="goodwill")
    assert names(rooms, "failed-part") == []
    folder = rooms.home / "vocab" / "body-leaks"
    folder.mkdir(parents=True)
    (folder / "claim.toml").write_text('[payer.goodwill]\nname = "us"\nrequires = ["failed-part"]\n')
    again = Rooms(rooms.home)
    assert names(again, "failed-part") == ["van 2"]


def test_a_search_that_takes_long_says_how_far_it_came(tmp_path: Path) -> None:
    """And goes on from there when it is asked again, with nothing looked at twice."""
    rooms = Rooms(tmp_path)
    for number in range(60):
        rooms.store.open_job(f"van {number}")
    first = find(rooms.store, lambda _: rooms, Wanted("open", "photo-after"), 5, budget_s=0.0)
    assert first.ids == () and first.back_to == rooms.store.job("van 35").created_at
    second = find(rooms.store, lambda _: rooms, Wanted("open", "photo-after"), 5, budget_s=0.0)
    assert second.back_to == rooms.store.job("van 10").created_at
    assert find(rooms.store, lambda _: rooms, Wanted("open", "photo-after"), 5).back_to == ""


def test_the_row_says_what_the_claim_says(rooms: Rooms) -> None:
    """The same rules as those of the claim's own page."""
    from fieldnote.flow.claiming import claim_state

    set_up(rooms, payer="maker", failed_part="1")
    job = rooms.store.job("van 2")
    lacks = set(line_of(job, rooms.pack, signed=False).lacks)
    assert set(claim_state(job, rooms.pack).lacking) <= lacks
    assert lacks - {"signature"} == set(claim_state(job, rooms.pack).lacking)
