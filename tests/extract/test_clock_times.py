"""Times of day as said."""

from __future__ import annotations

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fieldnote.extract.clock_times import find_times, read_time
from tests.extract.number_tables import rows


def written_time(written: str) -> tuple[int, int]:
    """Hour and minute of the table's "02:30", "11:55 p.m."; 24-hour where the half of the day is written."""
    match = re.search(r"(\d\d):(\d\d)(?: ([ap])\.m\.)?", written)
    assert match is not None
    hour = int(match[1]) if not match[3] else int(match[1]) % 12 + (12 if match[3] == "p" else 0)
    return hour, int(match[2])


# Public table: NVIDIA/NeMo-text-processing. Time zones ("g m t", "e s t") are not read; the time before them is.
@pytest.mark.parametrize(("spoken", "written"), rows("time"))
def test_times_of_the_public_table(spoken: str, written: str) -> None:
    """A time is the one that the table writes; a bare "eight forty" only where a time is expected."""
    tokens = spoken.split()
    found = find_times(tokens) or (read_time(tokens),)
    assert found[0] is not None
    assert (found[0].hour, found[0].minute) == written_time(written)


# How people say them: common practice, no source.
@pytest.mark.parametrize(
    ("text", "time"),
    [
        ("half past nine", (9, 30)),
        ("at ten to nine", (8, 50)),
        ("quarter till one", (12, 45)),
        ("11:40", (11, 40)),
        ("11:40 a.m.", (11, 40)),
        ("7 pm", (19, 0)),
        ("three o clock", (3, 0)),
        ("twelve thirty am", (0, 30)),
        ("noon", (12, 0)),
    ],
)
def test_times_that_say_so(text: str, time: tuple[int, int]) -> None:
    """Clock words and written times are found in running text."""
    assert [(t.hour, t.minute) for t in find_times(text.split())] == [time]


@pytest.mark.parametrize(
    "text",
    [
        "ten to fifteen minutes",
        "two thirty",
        "two to three",
        "a quarter inch",
        "half of it",
        "quarter panel",
        "two a pillar",
    ],
)
def test_no_time(text: str) -> None:
    """Ranges, fractions and numbers beside each other are no times unless a time is expected."""
    assert find_times(text.split()) == ()


WORDS = [
    "half",
    "quarter",
    "past",
    "to",
    "nine",
    "ten",
    "thirty",
    "o",
    "oh",
    "clock",
    "o'clock",
    "a",
    "p",
    "m",
    "am",
    "pm",
    "11:40",
    "at",
    "noon",
    "minutes",
]


@given(st.lists(st.one_of(st.sampled_from(WORDS), st.text(max_size=6)), max_size=10))
def test_any_words_are_safe(tokens: list[str]) -> None:
    """No list of words raises; hours and minutes are possible ones; spans lie inside the list."""
    for time in (*find_times(tokens), read_time(tokens)):
        if time is not None:
            assert 0 <= time.start < time.end <= len(tokens)
            assert 0 <= time.hour <= 23
            assert 0 <= time.minute <= 59
