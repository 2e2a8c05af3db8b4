from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from fieldnote.errors import NotFound, UserMistake
from fieldnote.flow import add_entry, correct, disregard, open_job, read_text, undo
from fieldnote.flow.corrections import parse_value
from fieldnote.flow.jobs import amend, close_job, conditions_of, reopen_job
from fieldnote.records import Conditions, Entry, Intake, Job, Quantity
from fieldnote.store import Store
from fieldnote.vocabulary import Pack, load_pack
from tests.flow.doubles import Copier


@pytest.fixture(scope="module")
def pack() -> Pack:
    return load_pack("body-leaks")


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with Store(tmp_path / "home") as opened:
        yield opened


@pytest.fixture
def job(store: Store) -> Job:
    opened = store.open_job("van 3")
    read_text(store, opened, "seam has a gap\nthe other seam too", Copier())
    return store.job(opened.id)


CHECK = Entry("check", "hood", "seam", state="gap", id="e")
FACT = Entry("fact", what="odometer", value=62305, unit="mi", id="f")


@pytest.mark.parametrize(
    ("entry", "field", "typed", "value"),
    [
        (CHECK, "place", "tail-lamp", "tail-lamp"),
        (CHECK, "place", "Tail  Lamp", "tail-lamp"),
        (CHECK, "part", "none", None),
        (CHECK, "side", "Left", "left"),
        (CHECK, "side", "-", None),
        (CHECK, "state", "skip", "skip"),
        (Entry("source", "hood"), "state", "torn", "torn"),
        (Entry("plan", "hood"), "state", "test", "test"),
        (Entry("test", "hood"), "state", "leak", "leak"),
        (CHECK, "present", "no", False),
        (CHECK, "certainty", "unsure", "unsure"),
        (CHECK, "at", "lower, rear", ("lower", "rear")),
        (CHECK, "at", "none", ()),
        (CHECK, "item", "3", 3),
        (
            CHECK,
            "quantities",
            "length 2 in, count 3",
            (Quantity("length", 2.0, "in"), Quantity("count", 3.0, "")),
        ),
        (CHECK, "quantities", "duration = 1,5 minutes", (Quantity("duration", 1.5, "min"),)),
        (CHECK, "quantities", "none", ()),
        (Entry("test", "hood"), "masked", "tail-lamp, hood", ("tail-lamp", "hood")),
        (Entry("test", "hood"), "clocked_s", "300", 300.0),
        (FACT, "value", "62350", 62350),
        (Entry("fact", what="unit-number", value="41"), "value", "42", "42"),
        (FACT, "unit", "km", "km"),
    ],
    ids=lambda value: str(value)[:30],
)
def test_a_typed_value_becomes_what_the_field_holds(
    pack: Pack, entry: Entry, field: str, typed: str, value: Any
) -> None:
    """Ids, names and spoken forms are understood; numbers and lists get their types."""
    assert parse_value(entry, field, typed, pack) == value


@pytest.mark.parametrize(
    ("entry", "field", "typed", "told"),
    [
        (CHECK, "place", "tial-lamp", "Did you mean 'tail-lamp'"),
        (CHECK, "state", "soaked", "not in the vocabulary"),
        (CHECK, "state", "pinhol", "Did you mean 'pinhole'"),
        (CHECK, "side", "up", "left, right, both, center"),
        (CHECK, "present", "perhaps", "yes, no"),
        (CHECK, "certainty", "none", "sure, unsure"),
        (CHECK, "item", "three", "whole number"),
        (CHECK, "quantities", "about two inches", "Write it as"),
        (CHECK, "quantities", "duration 5 psi", "s, min, h"),
        (CHECK, "quote", "other words", "no such field"),
        (CHECK, "sides", "left", "Did you mean 'side'"),
        (FACT, "unit", "ft", "mi"),
    ],
    ids=lambda value: str(value)[:30],
)
def test_what_a_field_cannot_hold_is_refused_with_what_it_can(
    pack: Pack, entry: Entry, field: str, typed: str, told: str
) -> None:
    """A wrong value never reaches the store; the message names the nearest right one."""
    with pytest.raises(UserMistake) as caught:
        parse_value(entry, field, typed, pack)
    assert told in str(caught.value)


def test_correct_disregard_add_and_undo_walk_through_the_flow(store: Store, job: Job, pack: Pack) -> None:
    """Entries are named by the start of their id; every change can be taken back."""
    first, second = (entry.id for entry in job.entries)
    length = next(n for n in range(1, 14) if first[:n] != second[:n])
    correct(store, "van 3", first[:length], "side", "right", "kim", pack)
    disregard(store, "van 3", second, "kim")
    edit = add_entry(store, "van 3", Entry("test", "tail-lamp", state="dry"), "kim")
    entries = store.job(job.id).entries
    assert [(entry.kind, entry.side) for entry in entries] == [("check", "right"), ("test", None)]
    assert (entries[1].id, entries[1].origins[0].kind, entries[1].origins[0].person) == (edit.entry_id, "typed", "kim")
    for _ in range(3):
        undo(store, "van 3", "kim")
    assert store.job(job.id).entries == job.entries


def test_an_entry_that_is_not_there_is_said(store: Store, job: Job, pack: Pack) -> None:
    """A wrong id, and a start that fits two, are the user's to mend."""
    with pytest.raises(NotFound, match="no such entry"):
        correct(store, job, "zzzz", "side", "left", "kim", pack)
    with pytest.raises(UserMistake, match="several entries fit"):
        correct(store, job, "e", "side", "left", "kim", pack)


def test_the_intake_is_checked_and_amended(store: Store, pack: Pack) -> None:
    """Conditions may be given as spoken; what is not given stays; what is not in the pack is refused."""
    assert {c.id for c in conditions_of(pack, "liquid")} >= {"rain", "wash"}
    opened = open_job(store, "van 3", Intake(conditions=Conditions(liquid=("car wash",), parked=("nose-up",))), pack)
    assert opened.intake.conditions.liquid == ("wash",)
    made = amend(store, opened, Intake(vin="ZZZ7A1B2C3D004352", conditions=Conditions(liquid=("rain",))), "kim", pack)
    assert {edit.field for edit in made} == {"intake.vin", "intake.conditions.liquid"}
    after = store.job(opened.id).intake
    assert (after.vin, after.conditions.liquid, after.conditions.parked) == (
        "ZZZ7A1B2C3D004352",
        ("rain",),
        ("nose-up",),
    )
    with pytest.raises(UserMistake, match="Did you mean 'rain'"):
        open_job(store, "van 4", Intake(conditions=Conditions(liquid=("ran",))), pack)
    assert len(store.jobs()) == 1


def test_closing_twice_is_said(store: Store, job: Job) -> None:
    """A job is closed once and opened again once."""
    close_job(store, job, "kim")
    with pytest.raises(UserMistake, match="closed already"):
        close_job(store, job.id, "kim")
    reopen_job(store, job.id, "kim")
    assert store.job(job.id).status == "open"
