"""``fieldnote job claim``: recorded, shown, taken back, refused."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner

from fieldnote.cli.app import app
from fieldnote.errors import FieldnoteError, UserMistake
from fieldnote.flow import read_text
from fieldnote.store import Store
from tests.flow.doubles import Copier


@pytest.fixture(autouse=True)
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("FIELDNOTE_HOME", str(tmp_path / "home"))
    monkeypatch.setenv("COLUMNS", "80")
    with Store(tmp_path / "home") as store:
        read_text(store, store.open_job("van 3"), "seam has a gap", Copier())
    return tmp_path / "home"


def run(*words: str) -> str:
    done = CliRunner().invoke(app, ["job", *words], catch_exceptions=False)
    assert done.exit_code == 0, done.output
    return done.stdout


def claim(*words: str) -> Any:
    return json.loads(run("claim", "van 3", *words, "--json"))


def test_all_of_it_can_be_given_and_comes_back() -> None:
    """Each option has its field; what is not given stays."""
    run(
        *("claim", "van 3", "--payer", "maker", "--in", "2026-11-02", "--out", "2026-11-05", "--odometer-out", "62320"),
        *("--failed-part", "55012-A", "--part", "2 x 55012-A clip", "--part", "1 x 7 tape", "--operation", "23-10"),
        *("--sealer-batch", "B77", "--sealer-expiry", "2027-01-31", "--diagnosis", "0.8", "--access", "0.3"),
        *("--repair", "1.2", "--refit", "0.3", "--retest", "0.2", "--authorization", "A 17", "--other-work", "none"),
    )
    first = claim()["claim"]
    assert None not in [value for name, value in first.items() if not name.startswith("outcome")]
    assert first["parts"] == ["2 x 55012-A clip", "1 x 7 tape"] and first["odometer_out"] == 62320
    run("claim", "van 3", "--repair", "1.5")
    assert claim()["claim"] == first | {"repair_h": 1.5}
    shown = run("claim", "van 3")
    assert "0.8 h diagnosis" in shown and "3.1 h in all" in shown


def test_what_is_missing_is_told_until_it_is_there() -> None:
    """And nothing is missing where nobody pays."""
    assert claim()["missing"] == []
    run("claim", "van 3", "--payer", "goodwill")
    assert "an authorization" in claim()["missing"]
    run("claim", "van 3", "--authorization", "A 17")
    assert "an authorization" not in claim()["missing"]


def test_a_change_is_logged_and_can_be_taken_back() -> None:
    """As every change: who, before and after."""
    run("claim", "van 3", "--failed-part", "1", "--by", "Ann")
    run("claim", "van 3", "--failed-part", "2", "--by", "Ben")
    log = json.loads(run("show", "van 3", "--json"))["edits"]
    assert [(e["person"], e["field"], e["before"], e["after"]) for e in log] == [
        ("Ann", "claim.failed_part", None, "1"),
        ("Ben", "claim.failed_part", "1", "2"),
    ]
    run("undo", "van 3")
    assert claim()["claim"]["failed_part"] == "1"


def test_paid_or_returned_and_why_is_kept() -> None:
    """With the day, today's where none is given."""
    run("claim", "van 3", "--returned", "no retest", "--on", "2026-11-20")
    assert "Returned on 2026-11-20: no retest." in run("claim", "van 3")
    run("claim", "van 3", "--paid")
    kept = claim()["claim"]
    assert kept["outcome"] == "paid" and kept["outcome_day"] > "2026-11-20"


def test_a_claim_travels_with_its_job(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """By a bundle to another machine."""
    run("claim", "van 3", "--failed-part", "55012-A", "--repair", "1.25")
    before = claim()["claim"]
    run("export", "van 3", "--out", str(tmp_path / "job.zip"))
    monkeypatch.setenv("FIELDNOTE_HOME", str(tmp_path / "other"))
    run("import", str(tmp_path / "job.zip"))
    assert claim()["claim"] == before


def test_the_short_form_is_ready_to_be_pasted() -> None:
    """Three parts with the count of their characters."""
    run("claim", "van 3", "--payer", "maker")
    told = run("claim", "van 3", "--short")
    assert [line.split(" ")[0] for line in told.splitlines() if line.isupper() or "characters)" in line] == [
        "COMPLAINT", "CAUSE", "CORRECTION",
    ]  # fmt: skip


def test_the_payers_are_listed() -> None:
    """With what each wants and what its form takes."""
    told = json.loads(run("claim", "van 3", "--payers", "--json"))["payers"]
    assert {"maker", "insurer", "goodwill"} <= {one["id"] for one in told}
    assert "cause 250" in run("claim", "van 3", "--payers")


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["--payer", "nobody"], "no such payer"),
        (["--in", "2.11."], "Write it as 2026-11-25"),
        (["--repair", "-1"], "cannot be right"),
        (["--repair", "nan"], "cannot be right"),
        (["--odometer-out", "1e12"], "cannot be right"),
        (["--paid", "--returned", "x"], "paid and returned"),
        (["--on", "2026-11-20"], "--paid or --returned"),
    ],
)
def test_what_cannot_be_is_refused(words: list[str], told: str) -> None:
    """In one line, and nothing is kept."""
    with pytest.raises(FieldnoteError) as caught:
        run("claim", "van 3", "--authorization", "A", *words)
    assert told in str(caught.value) and "\n" not in str(caught.value)
    assert claim()["claim"]["authorization"] is None


def test_the_same_again_is_told() -> None:
    """Nothing differs: one clear line."""
    run("claim", "van 3", "--authorization", "A")
    with pytest.raises(UserMistake, match="differs"):
        run("claim", "van 3", "--authorization", "A")


@pytest.mark.parametrize(
    ("option", "given", "fields"),
    [
        ("failed-part", ("--failed-part", "1"), ("failed_part",)),
        ("--part", ("--part", "2 x 7 clip"), ("parts",)),
        ("diagnosis", ("--diagnosis", "0.5"), ("diagnosis_h",)),
        ("in", ("--in", "2026-11-02"), ("day_in",)),
        ("returned", ("--returned", "no retest"), ("outcome", "outcome_day", "outcome_reason")),
    ],
)
def test_what_an_option_set_is_emptied(option: str, given: tuple[str, ...], fields: tuple[str, ...]) -> None:
    """By the option's own name; a name that there is not is refused with those that there are."""
    run("claim", "van 3", *given)
    before = claim()["claim"]
    assert all(before[field] for field in fields)
    run("claim", "van 3", "--clear", option)
    assert not any(claim()["claim"][field] for field in fields)
    with pytest.raises(UserMistake, match="a claim has no 'moon'"):
        run("claim", "van 3", "--clear", "moon")
