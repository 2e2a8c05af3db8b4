"""The claim at the desk: what the payer wants, the short form, the payer's answer, and every change of it."""

from __future__ import annotations

import html
import re
from typing import Any

import pytest

from fieldnote.flow.claim_answers import read_hours
from fieldnote.narrate.payers import LABOR, load_payers
from fieldnote.records import Claim
from tests.web.conftest import House, Shop, token_of


def shown(house: House, job: str = "Unit 9") -> str:
    return house.client.get(f"/jobs/{house.job(job).id}/claim").text


def was(text: str) -> dict[str, str]:
    """What the form says that each field was when it was drawn."""
    return {
        f"was-{name}": html.unescape(value) for name, value in re.findall(r'name="was-(\w+)" value="([^"]*)"', text)
    }


def fill(house: House, **fields: str) -> Any:
    return house.send(f"/jobs/{house.job().id}/claim", **fields)


def lacking(text: str) -> list[str]:
    listed = text.split('id="lacks"')[1].split("</section>")[0]
    return re.findall(r"<li><a [^>]*>([^<]*)</a>", listed)


def test_every_field_of_a_claim_is_in_the_form(still: House) -> None:
    """And those of the intake that a payer wants: nothing can be recorded by the command alone."""
    text = shown(still)
    for field in (*Claim.__dataclass_fields__, "order", "vin", "odometer"):
        assert re.search(rf'<(input|select|textarea)[^>]* name="{field}"', text), field


def test_the_payer_decides_what_is_missing(house: House) -> None:
    """Nothing is asked for before a payer is named; then each thing is listed with the way to it."""
    assert "Name who pays" in shown(house)
    fill(house, payer="maker")
    told = lacking(shown(house))
    assert "The number of the part that failed" in told and "The order number" not in told
    fill(house, failed_part="55012-A", sealer_batch="B 77", sealer_expiry="2031-05-01", operations="23-10\n23-11")
    told = lacking(shown(house))
    assert "The number of the part that failed" not in told and "Batch and expiry of the sealer" not in told
    assert house.job().claim.operations == ("23-10", "23-11")
    fill(house, payer="goodwill")
    assert lacking(shown(house)) == ["An authorization"]


def test_a_field_left_empty_is_emptied_and_can_be_brought_back(house: House) -> None:
    """What is emptied is a change like any other; what is not in the form at all stays."""
    fill(house, failed_part="55012-A", parts="2 x 55012-A clip", diagnosis_h="0.5", order="W-72")
    fill(house, failed_part="", parts="", diagnosis_h="", order="")
    claim = house.job().claim
    assert (claim.failed_part, claim.parts, claim.diagnosis_h) == (None, (), None)
    assert house.job().intake.order_number is None
    job = house.job()
    for edit in job.edits[-4:]:
        assert edit.after is None
        house.send(f"/jobs/{job.id}/changes/{edit.id}/take-back", then="claim")
    claim = house.job().claim
    assert (claim.failed_part, claim.parts, claim.diagnosis_h) == ("55012-A", ("2 x 55012-A clip",), 0.5)
    assert house.job().intake.order_number == "W-72"
    fill(house, authorization="A 17")
    assert house.job().claim.failed_part == "55012-A"


def test_an_untouched_form_changes_nothing(house: House) -> None:
    """A claim kept as it was drawn makes no change, whatever it holds."""
    fill(
        house, payer="maker", parts="2 x 55012-A clip\n1 x 7 gasket", diagnosis_h="1:20", repair_h="0,7",
        day_in="2026-11-02", odometer="62,305 mi", odometer_out="62,311.5", other_work="glass, last year",
        vin="1M8GDM9AXKP042788",
    )  # fmt: skip
    before, drawn = house.job().edits, was(shown(house))
    fill(house, **drawn, **{name.removeprefix("was-"): value for name, value in drawn.items()})
    assert house.job().edits == before
    assert house.job().claim.diagnosis_h == pytest.approx(4 / 3)


@pytest.mark.parametrize(
    ("field", "value", "told"),
    [
        ("day_in", "soon", "is no day"),
        ("diagnosis_h", "long", "is no number of hours"),
        ("repair_h", "2000", "cannot be right"),
        ("odometer_out", "many", "is not a reading"),
        ("odometer_out", "100 km", "was read in mi"),
        ("odometer", "far", "is not a reading"),
        ("payer", "moon", "no such payer"),
    ],
)
def test_what_cannot_be_is_refused_and_what_was_typed_stays(house: House, field: str, value: str, told: str) -> None:
    """All or none: the fields beside the wrong one are not kept either."""
    fill(house, odometer="62,305 mi")
    before = house.job().edits
    answer = fill(house, **{"order": "W-99", "authorization": "A 17", field: value})
    assert answer.status_code == 422
    assert told in answer.text and 'value="A 17"' in answer.text
    assert house.job().edits == before


def test_two_people_at_one_claim(house: House) -> None:
    """The second is told by name; nothing is written over; a field that only one changed is no matter."""
    drawn = was(shown(house))
    house.send("/who", who="Bo", back="/")
    fill(house, **drawn, failed_part="1", authorization="A 1")
    house.send("/who", who="Cy", back="/")
    assert fill(house, **drawn, sealer_batch="B 77").status_code == 303
    answer = fill(house, **drawn, failed_part="2")
    assert answer.status_code == 409
    assert "Bo changed this claim while you had it open" in answer.text
    assert house.job().claim.failed_part == "1"
    assert fill(house, **was(answer.text), failed_part="2").status_code == 303
    assert (house.job().claim.failed_part, house.job().claim.authorization) == ("2", "A 1")


def test_the_short_form_fits_and_counts(house: House) -> None:
    """Each part within the payer's number of characters, counted as the page says; what is left out is told."""
    fill(house, payer="maker")
    payer = load_payers(house.rooms.pack)["maker"]
    text = shown(house)
    for part in ("complaint", "cause", "correction"):
        found = re.search(rf'<textarea id="short-{part}"[^>]*>([^<]*)</textarea>', text)
        assert found is not None
        inside = html.unescape(found[1])
        assert 0 < len(inside) <= payer.limit(part)
        assert f"{len(inside)} of {payer.limit(part)} characters" in text
        assert f'data-copy="short-{part}"' in text


def test_paid_or_returned_and_why(house: House) -> None:
    """Returned needs a reason; the answer, its day and the reason are kept as changes and can be taken back."""
    path = f"/jobs/{house.job().id}/claim/answer"
    assert house.send(path, outcome="returned", outcome_day="2026-11-20").status_code == 422  # type: ignore[attr-defined]
    assert house.send(path, outcome="lost").status_code == 422  # type: ignore[attr-defined]
    house.send(path, outcome="returned", outcome_day="2026-11-20", outcome_reason="no retest")
    claim = house.job().claim
    assert (claim.outcome, claim.outcome_day, claim.outcome_reason) == ("returned", "2026-11-20", "no retest")
    text = shown(house)
    assert "returned on 2026-11-20" in text and "no retest" in text
    house.send(path, outcome="paid", outcome_day="2026-11-24")
    assert house.job().claim.outcome_reason is None
    paid = next(e for e in reversed(house.job().edits) if e.field == "claim.outcome")
    house.send(f"/jobs/{house.job().id}/changes/{paid.id}/take-back", then="claim")
    assert house.job().claim.outcome == "returned"
    house.send(path, outcome="")
    assert (house.job().claim.outcome, house.job().claim.outcome_day) == (None, None)


@pytest.mark.parametrize(
    ("fields", "told"),
    [
        ({"day_in": "2026-11-05", "day_out": "2026-11-02"}, "It went out on 2026-11-02, before it came in"),
        ({"odometer": "500 mi", "odometer_out": "400"}, "The odometer went backward"),
        ({"day_in": "2026-11-05", "sealer_expiry": "2026-10-31"}, "past its date before the job began"),
    ],
)
def test_what_can_hardly_be_right_is_remarked_on(house: House, fields: dict[str, str], told: str) -> None:
    """It is kept all the same."""
    assert fill(house, **fields).status_code == 303
    assert told in shown(house)


def test_what_was_said_or_is_known_is_shown_beside_an_empty_field(house: House) -> None:
    """A reading that was dictated is not missing, and the form says which it was."""
    fill(house, payer="maker")
    assert "The odometer when it came in" in lacking(shown(house))
    house.send(f"/jobs/{house.job().id}/lines", text="Odometer is 62305 miles.")
    text = shown(house)
    assert "The odometer when it came in" not in lacking(text) and "Said: 62,305 mi" in text
    assert "Else the day on which the job was opened" in text


def test_a_payer_that_is_gone_can_be_replaced(house: House) -> None:
    """The page still opens and says which payer it was."""
    house.rooms.store.amend_job(house.job().id, "claim.payer", "gone", "Ada")
    assert "gone (not in the list of payers)" in shown(house)
    fill(house, payer="insurer")
    assert house.job().claim.payer == "insurer"


def test_only_the_clerk_changes_a_claim(shop: Shop) -> None:
    """Others read it; nothing is changed by them."""
    path = f"/jobs/{shop.job().id}/claim"
    for name in ("Rosa", "Lu"):
        client = shop.client(name)
        assert "disabled" in client.get(path).text
        fields = {"token": token_of(client, "/new"), "failed_part": "1"}
        assert client.post(path, data=fields).status_code == 403
        assert client.post(f"{path}/answer", data={**fields, "outcome": "paid"}).status_code == 403
    assert shop.job().edits == ()
    client = shop.client("Ira")
    assert client.post(path, data={"token": token_of(client, path), "failed_part": "1"}).status_code == 303
    (edit,) = shop.job().edits
    back = f"/jobs/{shop.job().id}/changes/{edit.id}/take-back"
    short = back.replace(edit.id, edit.id[:-1])
    rosa = shop.client("Rosa")
    assert rosa.post(back, data={"token": token_of(rosa, "/new")}).status_code == 403
    assert rosa.post(short, data={"token": token_of(rosa, "/new")}).status_code == 403
    assert back not in rosa.get(f"/jobs/{shop.job().id}/changes").text
    assert shop.job().claim.failed_part == "1"
    assert client.post(back, data={"token": token_of(client, path)}).status_code == 303
    assert shop.job().claim.failed_part is None


@pytest.mark.parametrize(
    ("text", "hours"),
    [("1.5", 1.5), ("1,5 h", 1.5), ("1:30", 1.5), ("90 min", 1.5), (".25", 0.25), ("2 hours", 2.0)],
)
def test_hours_are_read_as_people_write_them(text: str, hours: float) -> None:
    """With a point or a comma, as hours and minutes, or in minutes."""
    assert read_hours(text) == hours
    assert set(LABOR) <= set(Claim.__dataclass_fields__)
