"""How phrases are found: the longest first, what is close enough, and what must never match."""

from __future__ import annotations

import pytest

from fieldnote.extract.lexicon import compile_lexicon
from fieldnote.extract.mentions import Mention, MentionFinder
from fieldnote.extract.tokens import fold, tokenize
from fieldnote.vocabulary import load_pack
from fieldnote.vocabulary.phonetics import phrase_key, sound_key


@pytest.fixture(scope="module")
def finder() -> MentionFinder:
    return MentionFinder(compile_lexicon(load_pack("body-leaks")))


def mentions(finder: MentionFinder, text: str) -> list[Mention]:
    words = finder.words(tokenize(text))
    return finder.find(words, [False] * len(words))


def values(mention: Mention, tag: str) -> set[object]:
    return {s.value for s in mention.senses if s.tag == tag}


def test_longest_first(finder: MentionFinder) -> None:
    """ "Liftgate trough" is one place, not a liftgate and a trough."""
    (found,) = mentions(finder, "liftgate trough")
    assert values(found, "place") == {"liftgate-trough"}


@pytest.mark.parametrize("text", ["weatherstrip", "weather strip", "weather-strip", "Weatherstrips", "WEATHER STRIP"])
def test_spelling_and_plural_fold(finder: MentionFinder, text: str) -> None:
    """Joined, split, hyphened, plural and upper case are one word."""
    (found,) = mentions(finder, text)
    assert values(found, "part") == {"weatherstrip"}


def test_side_inside_a_name(finder: MentionFinder) -> None:
    """ "Front left door" is the front door, and the left one."""
    found = mentions(finder, "front left door")
    assert {"front-door"} in [values(m, "place") for m in found]
    assert {"left"} in [values(m, "side") for m in found]


@pytest.mark.parametrize(
    ("heard", "part"),
    [("weatherstripp", "weatherstrip"), ("grommit", "grommet"), ("haedliner", "headliner")],
)
def test_close_enough(finder: MentionFinder, heard: str, part: str) -> None:
    """A long word that is close in letters or sound counts, and says how sure it is."""
    (found,) = mentions(finder, heard)
    assert values(found, "part") == {part}
    assert found.how in ("alike", "respelled", "exact")
    assert found.sure <= 1.0


@pytest.mark.parametrize("word", ["lift", "bowl", "nail", "doer", "sael", "raof", "rihgt", "lefty's"])
def test_short_words_and_sides_match_exactly_only(finder: MentionFinder, word: str) -> None:
    """Four letters or fewer, and every side word, must be right to the letter."""
    assert not any(m.how == "alike" for m in mentions(finder, word))


def test_apart_words_never_match(finder: MentionFinder) -> None:
    """No pair of the pack's must-not-match table is ever taken for its other word."""
    pack = load_pack("body-leaks")
    rows = pack.lists["apart"]
    assert len(rows) > 5
    for row in rows:
        for word in row.words:
            taken = [w.text for w in finder.words(tokenize(word))]
            others = {t for other in row.words if other != word for t in fold(other)}
            assert not others & set(taken), row.words


@pytest.mark.parametrize(
    ("one", "other"),
    [("weather strip", "weatherstrip"), ("seam", "seem"), ("brake", "break"), ("phone", "fone"), ("right", "write")],
)
def test_said_alike(one: str, other: str) -> None:
    """Words that sound the same share a key (homophones of English, from memory)."""
    assert phrase_key(one) == phrase_key(other)


@pytest.mark.parametrize(("one", "other"), [("seam", "seal"), ("door", "floor"), ("roof", "hood"), ("rail", "nail")])
def test_not_said_alike(one: str, other: str) -> None:
    """Words that rhyme or look alike keep keys of their own."""
    assert sound_key(one) != sound_key(other)
