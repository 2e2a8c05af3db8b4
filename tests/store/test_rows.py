from __future__ import annotations

import json
from typing import Any, get_args

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fieldnote.records import (
    Alternative,
    Certainty,
    Conditions,
    Edit,
    Entry,
    Intake,
    Kind,
    Narrative,
    OpenPoint,
    Origin,
    OriginKind,
    Paragraph,
    Quantity,
    Sentence,
    Side,
    Utterance,
    Word,
)
from fieldnote.store import rows
from fieldnote.store.fields import ENTRY_FIELDS, read_value, write_value
from fieldnote.wire import plain

text = st.text(max_size=12)
word = st.none() | text
number = st.floats(allow_nan=False, allow_infinity=False)
seconds = st.none() | number

quantities = st.builds(Quantity, text, number, text)
origins = st.builds(
    Origin,
    st.sampled_from(get_args(OriginKind)),
    utterance_id=word,
    start=st.none() | st.integers(0, 99),
    end=st.none() | st.integers(0, 99),
    from_s=seconds,
    to_s=seconds,
    role=text,
    person=word,
    at=word,
)
entries = st.builds(
    Entry,
    st.sampled_from(get_args(Kind)),
    place=word,
    part=word,
    side=st.none() | st.sampled_from(get_args(Side)),
    state=word,
    present=st.booleans(),
    certainty=st.sampled_from(get_args(Certainty)),
    stage=st.sampled_from(["find", "verify"]),
    method=word,
    material=word,
    at=st.lists(text, max_size=2).map(tuple),
    item=st.none() | st.integers(-(2**40), 2**40),
    quantities=st.lists(quantities, max_size=2).map(tuple),
    quote=text,
    what=word,
    value=st.none() | text | st.integers(-(2**53), 2**53) | number,
    unit=word,
    id=text,
    origins=st.lists(origins, max_size=2).map(tuple),
    confidence=seconds,
    misheard_risk=seconds,
    heard_from=seconds,
    heard_to=seconds,
    masked=st.lists(text, max_size=2).map(tuple),
    clocked_s=seconds,
)


@given(entries)
def test_an_entry_survives_its_row(entry: Entry) -> None:
    """What is written into a row and read back is the same entry, field by field."""
    row = rows.entry_to_row(entry, "job", 0, added=False, as_said=entry)
    assert rows.entry_from_row(row) == entry
    assert rows.entry_from_json(json.loads(row["as_said"])) == entry


@given(
    st.builds(
        Utterance,
        text,
        text,
        clip_id=word,
        from_s=seconds,
        to_s=seconds,
        confidence=seconds,
        words=st.lists(st.builds(Word, text, number, number, seconds), max_size=3).map(tuple),
        alternatives=st.lists(st.builds(Alternative, text, number), max_size=2).map(tuple),
        engine=text,
        settings=st.dictionaries(text, text, max_size=2),
    )
)
def test_an_utterance_survives_its_row(utterance: Utterance) -> None:
    """Words, times, alternatives and settings come back."""
    row = rows.utterance_to_row(utterance, "h", "j", "k", "s")
    assert rows.utterance_from_row(row, utterance.clip_id, utterance.settings) == utterance


@given(
    st.builds(
        Intake,
        vehicle=word,
        model_year=st.none() | st.integers(1950, 2100),
        odometer=seconds,
        steering=st.none() | st.sampled_from(["left", "right"]),
        conditions=st.builds(Conditions, liquid=st.lists(text, max_size=3).map(tuple), since=word),
    )
)
def test_an_intake_survives_json(intake: Intake) -> None:
    """Skipped answers stay skipped, given ones come back."""
    assert rows.intake_from_json(json.loads(json.dumps(rows.intake_to_json(intake)))) == intake


def test_a_narrative_survives_json() -> None:
    """Paragraphs, sentences and their entries come back as records."""
    story = Narrative(
        (Paragraph("Cause", (Sentence("The seam has a gap.", ("e1", "e2")),)), Paragraph("Correction", ())),
        (OpenPoint("No retest was recorded.", ("e3",)),),
        ("Wear eye protection.",),
        version=2,
        hash="abc",
    )
    assert rows.record_from_json(Narrative, json.loads(json.dumps(plain(story)))) == story


def test_a_change_survives_its_row() -> None:
    """A change comes back with what it follows."""
    edit = Edit("d1", "j1", "e1", "set", "side", "left", None, "kim", "2026-01-05T08:00:00Z", "q", "m1", 3, ("a", "b"))
    assert rows.edit_from_row(rows.edit_to_row(edit)) == edit


@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("side", "left"),
        ("place", None),
        ("present", False),
        ("item", 3),
        ("at", ["lower", "rear"]),
        ("quantities", [{"what": "length", "value": 2.0, "unit": "in"}]),
        ("value", "12"),
        ("value", 12),
        ("clocked_s", 40.5),
        ("intake.model_year", 2019),
        ("intake.vin", "12"),
        ("intake.conditions.liquid", ["rain"]),
        ("name", "12"),
    ],
    ids=lambda value: str(value),
)
def test_a_changed_value_keeps_its_type(field: str, value: Any) -> None:
    """The text that a change keeps gives the very value back: a number stays a number, "12" stays text."""
    again = read_value(field, write_value(field, value))
    assert again == value
    assert type(again) is type(value)


def test_every_field_that_can_be_corrected_is_a_field_of_an_entry() -> None:
    """No correction names a field that entries do not have, and what was said is not among them."""
    assert set(ENTRY_FIELDS) < set(Entry.__dataclass_fields__)
    assert {"quote", "origins", "id", "kind"}.isdisjoint(ENTRY_FIELDS)
