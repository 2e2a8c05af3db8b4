"""Unit numbers and odometer readings."""

from __future__ import annotations

import random

import pytest
from hypothesis import given
from hypothesis import strategies as st
from num2words import num2words

from fieldnote.extract.digit_strings import read_digit_string, read_identifier, read_odometer
from tests.extract.number_tables import rows


# How fleets say unit numbers and read out odometers: common practice, no source.
@pytest.mark.parametrize(
    ("text", "digits", "words"),
    [
        ("forty one delivery van", "41", 2),
        ("four one", "41", 2),
        ("two twelve", "212", 2),
        ("41", "41", 1),
        ("number four oh seven", "407", 4),
        ("is 41", "41", 2),
        ("#41", "41", 1),
        ("oh seven", "07", 2),
        ("two hundred and four", "204", 4),
        ("double seven one", "771", 3),
        ("triple four", "444", 2),
        ("four to one", "421", 3),
        ("one for five", "145", 3),
        ("eleven oh three", "1103", 3),
        ("four one white van", "41", 2),
        ("uh eleven sixty the white one", "1160", 3),
        ("two seven four forty four thousand nine hundred miles", "274", 3),
        ("2, 7, 4", "274", 3),
        ("88 , 214,500 km", "88", 1),
        ("six oh two double cab", "602", 3),
        ("four one seven fifty three seats", "417", 3),
    ],
)
def test_digit_strings(text: str, digits: str, words: int) -> None:
    """Digits, pairs and hundreds said after each other are joined as text."""
    found = read_digit_string(text.split())
    assert found is not None
    assert (found.text, found.value, found.end) == (digits, int(digits), words)


@pytest.mark.parametrize(
    ("text", "characters"),
    [
        ("fifty two b", "52B"),
        ("52-b", "52B"),
        ("number kilo four one", "K41"),
        ("two twelve white", "212"),
        ("forty one a white van", "41"),
        ("four one i see", "41"),
        ("four one seven fifty three seats", "417"),
    ],
)
def test_identifiers_may_hold_letters(text: str, characters: str) -> None:
    """Letters and digits are taken together; articles and talk after them are not."""
    found = read_identifier(text.split())
    assert found is not None
    assert found[2] == characters


@pytest.mark.parametrize("text", ["white van", "", "oh well", "for sale", "to the shop", "double check"])
def test_no_digit_string(text: str) -> None:
    """Words that sound like digits begin none."""
    assert read_digit_string(text.split()) is None


def test_starts_where_it_is_told() -> None:
    """Spans count in the whole list of words."""
    found = read_digit_string(["this", "is", "unit", "forty", "one", "today"], 3)
    assert found is not None
    assert (found.start, found.end, found.text) == (3, 5, "41")


# Digit strings of the public telephone table (NVIDIA/NeMo-text-processing), the hyphens of its layout aside. Left out:
# country codes ("plus"), network addresses ("dot"), letters and model names (see test_spelled).
@pytest.mark.parametrize(
    ("spoken", "written"), rows("telephone", without=("plus", "dot", "ssn", "a", "b", "w", "x", "t", "one twenty"))
)
def test_digits_of_the_public_telephone_table(spoken: str, written: str) -> None:
    """Digits with "oh", "double" and "triple" come out as the table writes them."""
    found = read_digit_string(spoken.split())
    assert found is not None
    assert found.text == "".join(c for c in written if c.isdigit())


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("sixty two thousand three oh five", 62_305),
        ("sixty two thousand three hundred and five miles", 62_305),
        ("one twelve four fifty", 112_450),
        ("eighty four two hundred", 84_200),
        ("62,305 miles", 62_305),
        ("62305", 62_305),
        ("62k", 62_000),
        ("sixty two k", 62_000),
        ("62 thousand 305", 62_305),
        ("62,000 305", 62_305),
        ("a hundred and four thousand", 104_000),
        ("a hundred and twelve thousand four fifty", 112_450),
        ("one twelve thousand four fifty", 112_450),
        ("six two three oh five", 62_305),
        ("sixty two three oh five", 62_305),
        ("twelve thousand and five", 12_005),
        ("twelve thousand oh five", 12_005),
        ("reads nine hundred and eighty seven", 987),
        ("one hundred twenty three thousand four hundred fifty six", 123_456),
        ("sixty two thousand three hundred five point four", 62_305),
    ],
)
def test_odometer_readings(text: str, value: int) -> None:
    """Readings in full, in groups and digit by digit give whole miles or kilometres."""
    found = read_odometer(text.split())
    assert found is not None
    assert (found.value, found.text, found.certain) == (value, str(value), True)


def test_short_reading_is_not_certain() -> None:
    """ "Ninety eight seven" may be meant for 98,700: it is read as said and marked."""
    found = read_odometer(["ninety", "eight", "seven"])
    assert found is not None
    assert (found.value, found.certain) == (987, False)


@pytest.mark.parametrize("text", ["twelve million four hundred thousand five hundred", "unknown", "", "is not working"])
def test_no_odometer_reading(text: str) -> None:
    """What has too many digits or none is no reading."""
    found = read_odometer(text.split())
    assert found is None or found.value < 10_000_000


def test_round_trip_of_odometer_readings() -> None:
    """Any reading said as a cardinal (num2words), and digit by digit, is read back."""
    for value in random.Random(7).sample(range(1, 1_000_000), 2000):
        cardinal = num2words(value).replace("-", " ").replace(",", "")
        for text in (cardinal, cardinal.replace(" and ", " "), " ".join(num2words(int(d)) for d in str(value))):
            found = read_odometer(text.split())
            assert found is not None, text
            assert found.value == value, text


WORDS = ["one", "oh", "double", "forty", "thousand", "k", "hundred", "and", "a", "62", "#"]


@given(st.lists(st.one_of(st.sampled_from(WORDS), st.text(max_size=6))))
def test_any_words_are_safe(tokens: list[str]) -> None:
    """No list of words raises, and spans lie inside it."""
    identifier = read_identifier(tokens)
    assert identifier is None or (0 <= identifier[0] < identifier[1] <= len(tokens) and identifier[2].isalnum())
    for found in (read_digit_string(tokens), read_odometer(tokens)):
        assert found is None or (0 <= found.start < found.end <= len(tokens) and found.text.isdigit())
