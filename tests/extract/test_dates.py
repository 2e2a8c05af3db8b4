"""Years and dates as said."""

from __future__ import annotations

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st
from num2words import num2words

from fieldnote.extract.dates import MONTHS, find_dates, read_build_date, read_model_year, year_at
from tests.extract.number_tables import rows

# Left out of the public table (NVIDIA/NeMo-text-processing): decades, quarters of a year, years before Christ.
TABLE = rows("date", without=("eighties", "quarter", "c"))
NAMED = [row for row in TABLE if set(row[0].split()) & set(MONTHS)]
YEARS = [row for row in TABLE if row not in NAMED]


def written_iso(written: str) -> str:
    """ISO form of the table's "july 25 2012", "25 july 2012", "15 january", "july 2012"."""
    month = next(MONTHS[word] for word in written.split() if word in MONTHS)
    day = re.search(r"\b\d{1,2}\b", written)
    year = re.search(r"\d{4}", written)
    return "-".join([year[0] if year else "-", f"{month:02d}", *([f"{int(day[0]):02d}"] if day else [])])


@pytest.mark.parametrize(("spoken", "written"), NAMED)
def test_dates_of_the_public_table(spoken: str, written: str) -> None:
    """A date with a named month is the one that the table writes, over all its words."""
    found = find_dates(spoken.split())
    assert [(date.iso, date.start, date.end) for date in found] == [(written_iso(written), 0, len(spoken.split()))]


@pytest.mark.parametrize(("spoken", "written"), YEARS)
def test_years_of_the_public_table(spoken: str, written: str) -> None:
    """A year said alone is the one that the table writes."""
    assert year_at(spoken.split(), 0) == (int(written), len(spoken.split()))


def test_round_trip_of_model_years() -> None:
    """Every model year that a VIN can code is read back from what num2words says."""
    wrong = []
    for year in range(1980, 2040):
        for text in (num2words(year, to="year"), num2words(year), num2words(year).replace(" and ", " "), str(year)):
            tokens = text.replace("-", " ").replace(",", "").split()
            found = read_model_year(tokens)
            if found is None or (found.year, found.end) != (year, len(tokens)):
                wrong.append((year, text))
    assert wrong == []


# How people say them: common practice, no source.
@pytest.mark.parametrize(
    ("text", "year"),
    [
        ("twenty nineteen", 2019),
        ("oh nine", 2009),
        ("two thousand nine", 2009),
        ("'19", 2019),
        ("19", 2019),
        ("20 19", 2019),
        ("nineteen ninety eight", 1998),
        ("ninety eight", 1998),
        ("twenty two", 2022),
        ("is twenty twenty one", 2021),
    ],
)
def test_model_years(text: str, year: int) -> None:
    """Years in full, short years and written ones."""
    found = read_model_year(text.split())
    assert found is not None
    assert (found.year, found.end, found.iso) == (year, len(text.split()), str(year))


@pytest.mark.parametrize("text", ["", "white", "three", "one thousand", "sixty two thousand", "nine"])
def test_no_model_year(text: str) -> None:
    """Other numbers are no model year."""
    assert read_model_year(text.split()) is None


@pytest.mark.parametrize(
    ("text", "iso"),
    [
        ("march twenty twenty three", "2023-03"),
        ("march twenty three", "2023-03"),
        ("march of twenty three", "2023-03"),
        ("march 2023", "2023-03"),
        ("mar 23", "2023-03"),
        ("june of oh nine", "2009-06"),
        ("march fifth twenty twenty three", "2023-03-05"),
        ("march 5th, 2023", "2023-03-05"),
        ("oh six twenty two", "2022-06"),
        ("zero six twenty twenty two", "2022-06"),
        ("six twenty two", "2022-06"),
        ("six of twenty two", "2022-06"),
        ("six slash twenty two", "2022-06"),
        ("ten nineteen", "2019-10"),
        ("ten twenty nineteen", "2019-10"),
        ("twelve oh nine", "2009-12"),
        ("oh three oh nine", "2009-03"),
        ("one twenty three", "2023-01"),
        ("is september nineteen ninety eight", "1998-09"),
        ("06/22", "2022-06"),
        ("6/2022", "2022-06"),
        ("06 22", "2022-06"),
        ("0622", "2022-06"),
        ("2022-06", "2022-06"),
        ("2022 06", "2022-06"),
        ("2022 june", "2022-06"),
        ("3/14/2023", "2023-03-14"),
    ],
)
def test_build_dates(text: str, iso: str) -> None:
    """Month and year in words, in digits and in the short forms of door labels."""
    found = read_build_date(text.split())
    assert found is not None
    assert (found.iso, found.end) == (iso, len(text.split()))


@pytest.mark.parametrize(
    "text", ["", "march", "thirteen twenty two", "twenty twenty", "in the shop", "sixty two", "13/22", "99/99"]
)
def test_no_build_date(text: str) -> None:
    """A month without a year, a year alone and impossible months are none."""
    assert read_build_date(text.split()) is None


@pytest.mark.parametrize(
    "text", ["it may leak", "may have two skips", "the second door", "two of them", "third of the bolts"]
)
def test_verbs_and_ordinals_are_no_dates(text: str) -> None:
    """ "May" and ordinals in other talk give no date."""
    assert find_dates(text.split()) == ()


def test_dates_inside_a_sentence() -> None:
    """Spans count in the whole list of words, "the" included."""
    tokens = [
        "came",
        "in",
        "on",
        "the",
        "fifth",
        "of",
        "may",
        "twenty",
        "twenty",
        "five",
        "and",
        "again",
        "june",
        "second",
    ]
    assert [(d.start, d.end, d.iso) for d in find_dates(tokens)] == [(3, 10, "2025-05-05"), (12, 14, "--06-02")]


WORDS = [
    "march",
    "may",
    "june",
    "the",
    "of",
    "oh",
    "six",
    "twenty",
    "two",
    "thousand",
    "nineteen",
    "first",
    "fifth",
    "second",
    "2022",
    "06/22",
    "-",
    "3rd",
    "'",
    ",",
    "19",
]


@given(st.lists(st.one_of(st.sampled_from(WORDS), st.text(max_size=6)), max_size=10))
def test_any_words_are_safe(tokens: list[str]) -> None:
    """No list of words raises; months and days are possible ones; spans lie inside the list."""
    for date in (*find_dates(tokens), read_build_date(tokens), read_model_year(tokens)):
        if date is not None:
            assert 0 <= date.start < date.end <= len(tokens)
            assert date.month is None or 1 <= date.month <= 12
            assert date.day is None or 1 <= date.day <= 31
