"""Spelled strings."""

from __future__ import annotations

import string

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fieldnote.extract.spelled import find_spelled, read_spelled, spelling_table
from tests.extract.number_tables import rows

# ICAO Annex 10 volume II chapter 5, in the spelling of FAA AIM 4-2-7 table 4-2-2.
ICAO = [
    "Alfa",
    "Bravo",
    "Charlie",
    "Delta",
    "Echo",
    "Foxtrot",
    "Golf",
    "Hotel",
    "India",
    "Juliett",
    "Kilo",
    "Lima",
    "Mike",
    "November",
    "Oscar",
    "Papa",
    "Quebec",
    "Romeo",
    "Sierra",
    "Tango",
    "Uniform",
    "Victor",
    "Whiskey",
    "Xray",
    "Yankee",
    "Zulu",
]


@pytest.mark.parametrize("word", ICAO)
def test_icao_words(word: str) -> None:
    """Every word of the ICAO alphabet is its first letter."""
    found = read_spelled([word.lower(), "seven"])
    assert found is not None
    assert (found.text, found.said[0]) == (word[0] + "7", "word")


def test_both_spellings_of_the_alphabet() -> None:
    """FED-STD-1037C writes Alpha and Juliet; whisky and x-ray are in use too."""
    found = read_spelled(["alpha", "juliet", "whisky", "x-ray", "x", "ray"])
    assert found is not None
    assert found.text == "AJWXX"


# Spelled lines of the public telephone table (NVIDIA/NeMo-text-processing). Left out: "a b c" (stays apart
# there), model names and numbers that are said as one ("rtx forty fifty").
@pytest.mark.parametrize(
    ("spoken", "written"),
    [row for row in rows("telephone") if row[0].split()[0] in ("five", "x") or row[0] == "a b nine"],
)
def test_spelled_lines_of_the_public_table(spoken: str, written: str) -> None:
    """Letters and digits in a row come out as the table writes them."""
    found = read_spelled(spoken.split())
    assert found is not None
    assert found.text == written.upper()


# How people spell and what recognisers make of it: common practice, no source.
@pytest.mark.parametrize(
    ("text", "characters"),
    [
        ("seven k l m two three four", "7KLM234"),
        ("7 k l m 2 3 4", "7KLM234"),
        ("7KLM234", "7KLM234"),
        ("7klm 234", "7KLM234"),
        ("kilo lima mike double seven one", "KLM771"),
        ("k l m triple four", "KLM444"),
        ("double you double u three", "WW3"),
        ("b as in boy n like nancy two", "BN2"),
        ("bee see dee for niner", "BCD49"),
        ("are you why two", "RUY2"),
        ("k, l, m, uh two", "KLM2"),
        ("k l m dash two twelve", "KLM212"),
        ("k-l-m 2", "KLM2"),
        ("K.L.M. 2", "KLM2"),
        ("1 HGCM 82", "1HGCM82"),
        ("oh seven b", "07B"),
        ("twenty six b", "26B"),
        ("k four hundred", "K400"),
        ("n h seven three one p", "NH731P"),
        ("q z six eight i o u", "QZ68IOU"),
        ("k l o two", "KL02"),
    ],
)
def test_ways_to_spell(text: str, characters: str) -> None:
    """Letters, words, doubles, numbers, slips and glued forms give the characters that were meant."""
    found = read_spelled(text.split())
    assert found is not None
    assert (found.text, found.start, found.end) == (characters, 0, len(text.split()))


@pytest.mark.parametrize(
    ("text", "characters"),
    [
        ("k l m for the van", "KLM"),
        ("seven k l see if it leaks", "7KL"),
        ("four one white van", "41"),
        ("k l m you can see", "KLM"),
        ("k l m a nice one", "KLM"),
        ("k l two to the left", "KL2"),
        ("k l two i see", "KL2"),
        ("um golf five two kilo tango romeo", "G52KTR"),
        ("k two forty four thousand nine hundred miles", "K2"),
    ],
)
def test_spelling_stops_at_talk(text: str, characters: str) -> None:
    """A word that only sounds like a letter is none where talk goes on."""
    found = read_spelled(text.split())
    assert found is not None
    assert found.text == characters


@pytest.mark.parametrize(
    "text",
    [
        "d pillar and a pillar",
        "screw two and three are see through",
        "a b pillar is in the way",
        "one two three four five",
        "hotel for the night",
        "i see you are in the b pillar",
        "two ten minute tests",
    ],
)
def test_talk_is_not_spelled(text: str) -> None:
    """Without context, single letters, digits alone and sound-alike words are no spelled string."""
    assert find_spelled(text.split()) == ()


def test_a_clear_run_is_found_in_talk() -> None:
    """A plate in running text is found with its span."""
    found = find_spelled(["the", "van", "with", "seven", "k", "l", "m", "two", "three", "four", "came", "back"])
    assert [(run.text, run.start, run.end) for run in found] == [("7KLM234", 3, 10)]


def test_at_most() -> None:
    """Reading stops at the length that was asked for."""
    found = read_spelled(["k", "l", "m", "two", "three"], 0, 4)
    assert found is not None
    assert (found.text, found.end) == ("KLM2", 4)


def test_every_letter_has_a_word_and_pairs_are_mutual() -> None:
    """The table knows a word for each letter, and a said-alike pair both ways."""
    table = spelling_table()
    words = {character for character, said in (*table.words.values(), *table.pairs.values()) if said == "word"}
    assert words == set(string.ascii_uppercase)
    for character, others in table.alike.items():
        for other, why in others:
            assert character in [back for back, _ in table.alike[other]]
            assert why


WORDS = [
    "a",
    "b",
    "see",
    "x",
    "ray",
    "double",
    "u",
    "twenty",
    "six",
    "seven",
    "oh",
    "k-l-m",
    "for",
    "and",
    "1HG",
    "the",
    "alpha",
    "as",
    "in",
    "boy",
    "to",
    "hundred",
    ",",
    "V.I.N.",
]


@given(st.lists(st.one_of(st.sampled_from(WORDS), st.text(max_size=6)), max_size=14))
def test_any_words_are_safe(tokens: list[str]) -> None:
    """No list of words raises; what is spelled is letters and digits, told one by one."""
    for run in (*find_spelled(tokens), read_spelled(tokens)):
        if run is not None:
            assert 0 <= run.start < run.end <= len(tokens)
            assert len(run.text) == len(run.said) > 0
            assert set(run.text) <= set(string.ascii_uppercase + string.digits)
