"""Numbers in words and in digits."""

from __future__ import annotations

import random
from collections.abc import Callable
from functools import cache

import pytest
from hypothesis import given
from hypothesis import strategies as st
from num2words import num2words
from text_to_num import alpha2digit

from fieldnote.extract.numbers import NumberMention, find_numbers
from tests.extract.number_tables import rows

WORDS = [
    "a",
    "an",
    "and",
    "one",
    "two",
    "three",
    "nine",
    "ten",
    "twelve",
    "twenty",
    "thirty",
    "ninety",
    "hundred",
    "thousand",
    "million",
    "point",
    "oh",
    "o",
    "zero",
    "half",
    "quarter",
    "quarters",
    "third",
    "second",
    "thirds",
    "to",
    "or",
    "of",
    "the",
    "inch",
    "minus",
    "double",
    "triple",
    "couple",
    "dozen",
    "between",
    "first",
    "hundredth",
    "number",
    "3",
    "1/2",
    "1.5",
    "62,305",
    "30-inch",
    "½",
    "1½",
    "-",
    ",",
    "2-3",
    "#3",
    "-5",
    "3rd",
    "10mm",
    "eighths",
    "few",
]


def numbers(text: str) -> list[NumberMention]:
    return list(find_numbers(text.split()))


def only(text: str) -> NumberMention:
    """The one number that ``text`` is, from its first word to its last."""
    found = numbers(text)
    assert len(found) == 1, (text, found)
    assert (found[0].start, found[0].end) == (0, len(text.split())), (text, found)
    return found[0]


def magnitude(written: str) -> float:
    """The value of "5.2 million", "-60.2400", ".02"."""
    scales = {"thousand": 1e3, "million": 1e6, "billion": 1e9, "trillion": 1e12}
    value, _, scale = written.partition(" ")
    return float(value) * scales.get(scale, 1)


# ---- the public tables: NVIDIA/NeMo-text-processing, English inverse text normalisation tests --------------------


@pytest.mark.parametrize(("spoken", "written"), rows("cardinal", without=("crore", "lakh")))
def test_cardinals_of_the_public_table(spoken: str, written: str) -> None:
    """A cardinal has the value that the table writes ("zero" stays a word there)."""
    assert only(spoken).value == (0 if written == "zero" else int(written))


@pytest.mark.parametrize(("spoken", "written"), rows("ordinal"))
def test_ordinals_of_the_public_table(spoken: str, written: str) -> None:
    """An ordinal has the rank that the table writes."""
    mention = only(spoken)
    assert (mention.kind, mention.value) == ("ordinal", int(written[:-2]))


@pytest.mark.parametrize(("spoken", "written"), rows("decimal"))
def test_decimals_of_the_public_table(spoken: str, written: str) -> None:
    """A decimal has the value that the table writes, and keeps its zeros where it is one."""
    mention = only(spoken)
    assert mention.value == pytest.approx(magnitude(written), rel=1e-15)
    if "point" in spoken and " " not in written:
        assert mention.digits == written


@pytest.mark.parametrize(("spoken", "written"), rows("measure"))
def test_values_of_the_public_measure_table(spoken: str, written: str) -> None:
    """Before any unit, the number comes first and has the value that the table writes."""
    first = numbers(spoken)[0]
    assert first.start == 0
    assert first.value == pytest.approx(float(written.partition(" ")[0]), rel=1e-15)


# ---- reference libraries ------------------------------------------------------------------------------------------

SEEDED = random.Random(20_261_125).sample(range(10_001, 10_000_001), 20_000)
said = cache(num2words)
SAYINGS: dict[str, Callable[[str], str]] = {
    "with and": lambda text: text,
    "plain words without and": lambda text: text.replace("-", " ").replace(",", "").replace(" and ", " "),
}


@pytest.mark.parametrize("say", SAYINGS.values(), ids=SAYINGS)
@pytest.mark.parametrize("values", [range(10_001), SEEDED], ids=["0 to 10,000", "20,000 to ten million"])
def test_round_trip_of_cardinals(say: Callable[[str], str], values: list[int]) -> None:
    """What num2words says is read back as the same number, from the first word to the last."""
    wrong = []
    for value in values:
        tokens = say(said(value)).split()
        found = find_numbers(tokens)
        if [(m.value, m.start, m.end) for m in found] != [(value, 0, len(tokens))]:
            wrong.append((value, tokens, found))
    assert wrong == []


def test_round_trip_of_ordinals() -> None:
    """Ordinals to 1,000 as num2words says them are read back as ordinals."""
    spoken = {n: num2words(n, to="ordinal").replace("-", " ").split() for n in range(1001)}
    wrong = {n: t for n, t in spoken.items() if [(m.kind, m.value) for m in find_numbers(t)] != [("ordinal", n)]}
    assert wrong == {}


def test_round_trip_of_decimals() -> None:
    """Decimals to two places as num2words says them are read back with their value."""
    values = [n / 100 for n in range(1, 10_000, 7) if n % 100]
    wrong = [v for v in values if [m.value for m in find_numbers(num2words(v).replace("-", " ").split())] != [v]]
    assert wrong == []


def test_agrees_with_text2num() -> None:
    """On cardinals text2num, an independent parser, reads the same (it leaves 0 to 2 in words)."""
    for value in [*range(3, 3000, 7), *SEEDED[:2000]]:
        text = said(value).replace("-", " ").replace(",", "")
        assert int(alpha2digit(text, "en")) == only(text).value


# ---- how people say them: common practice, no source --------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "value", "kind"),
    [
        ("one and a half", 1.5, "fraction"),
        ("two and three quarters", 2.75, "fraction"),
        ("one and three quarter", 1.75, "fraction"),
        ("three quarters", 0.75, "fraction"),
        ("three eighths", 0.375, "fraction"),
        ("a half", 0.5, "fraction"),
        ("two thirds", 2 / 3, "fraction"),
        ("1 1/2", 1.5, "fraction"),
        ("1-1/2", 1.5, "fraction"),
        ("1½", 1.5, "fraction"),
        ("3/4", 0.75, "fraction"),
        ("one point four", 1.4, "decimal"),
        ("one point twenty five", 1.25, "decimal"),
        ("point five", 0.5, "decimal"),
        ("1.5", 1.5, "decimal"),
        ("a couple", 2, "cardinal"),
        ("half a dozen", 6, "cardinal"),
        ("two dozen", 24, "cardinal"),
        ("a hundred and four thousand", 104_000, "cardinal"),
        ("sixty two thousand three oh five", 62_305, "cardinal"),
        ("sixty two thousand four fifty", 62_450, "cardinal"),
        ("62,305", 62_305, "cardinal"),
        ("62 thousand 305", 62_305, "cardinal"),
        ("forty-one", 41, "cardinal"),
        ("three oh five", 305, "digits"),
        ("double seven", 77, "digits"),
        ("3rd", 3, "ordinal"),
        ("#3", 3, "cardinal"),
        ("-5", -5, "cardinal"),
        ("niner", 9, "cardinal"),
    ],
)
def test_ways_to_say_one_number(text: str, value: float, kind: str) -> None:
    """Fractions, informal amounts, unsaid hundreds and recognisers' spellings give one number."""
    mention = only(text)
    assert mention.value == pytest.approx(value)
    assert mention.kind == kind


@pytest.mark.parametrize(
    ("text", "low", "high"),
    [
        ("two to three", 2, 3),
        ("two or three", 2, 3),
        ("between ten and fifteen", 10, 15),
        ("thirty to thirty five", 30, 35),
        ("one and a half to two", 1.5, 2),
        ("2-3", 2, 3),
    ],
)
def test_ranges(text: str, low: float, high: float) -> None:
    """A range keeps both ends; its value is the upper one."""
    mention = only(text)
    assert (mention.kind, mention.low, mention.high, mention.value) == ("range", low, high, high)


@pytest.mark.parametrize(
    ("text", "values"),
    [
        ("screws two and three", [2, 3]),
        ("two twelve", [2, 12]),
        ("two hundred three hundred", [200, 300]),
        ("three to two", [3, 2]),
        ("number two ten inches back", [2, 10]),
        ("seam two and a quarter panel", [2]),
        ("pulled one quarter panel", [1]),
        ("ninety eight seven", [98, 7]),
    ],
)
def test_numbers_that_stay_apart(text: str, values: list[float]) -> None:
    """Numbers beside each other are not joined without a reason."""
    assert [m.value for m in numbers(text)] == values


@pytest.mark.parametrize(
    "text",
    [
        "that one",
        "the other one is fine",
        "a few screws",
        "several of them",
        "quarter panel",
        "oh the door",
        "half of it",
        "a quarter panel",
        "double check the seam",
        "x-ray",
        "between the seams",
    ],
)
def test_words_that_are_no_number(text: str) -> None:
    """Pronouns, "a few", names of panels and exclamations give none."""
    assert numbers(text) == []


def test_a_point_in_talk_is_no_decimal() -> None:
    """ "At that point two ..." counts two and is no 0.2."""
    assert [(m.value, m.kind) for m in numbers("at that point two of the screws")] == [(2, "cardinal")]


# ---- properties ---------------------------------------------------------------------------------------------------


@given(st.lists(st.one_of(st.sampled_from(WORDS), st.text(max_size=8)), max_size=14))
def test_any_words_give_spans_in_order(tokens: list[str]) -> None:
    """No list of words raises; spans lie inside it, hold at least a word and do not overlap."""
    last = 0
    for mention in find_numbers(tokens):
        assert last <= mention.start < mention.end <= len(tokens)
        # Two numbers may share a token that is cut ("2-3", "1½" after "point"): the next may begin in that token.
        last = mention.end if tokens[mention.end - 1].isalpha() else mention.end - 1


@given(st.lists(st.sampled_from(WORDS), max_size=10))
def test_a_second_reading_gives_the_same(tokens: list[str]) -> None:
    """Reading has no memory, and letter case carries nothing."""
    assert find_numbers(tokens) == find_numbers([token.upper() for token in tokens])
