"""Words that the pack lacks come out by frequency, as people said them."""

from pathlib import Path

from fieldnote.vocabulary import load_pack
from fieldnote.vocabulary.unknown import Left, unknown_phrases
from tests.vocabulary.small_pack import write_pack


def left(*texts: str) -> list[Left]:
    return [Left(text, f"um {text} today", f"job-{n % 2}") for n, text in enumerate(texts)]


def test_phrases_come_most_frequent_first_with_examples(tmp_path: Path) -> None:
    """The team adds what comes up most."""
    pack = load_pack(write_pack(tmp_path / "p"))
    found = unknown_phrases(left("stern gland", "the stern gland", "stern gland", "keel cooler"), pack)
    assert [(u.phrase, u.times, u.jobs) for u in found] == [("stern gland", 3, 2), ("keel cooler", 1, 1)]
    assert found[0].examples == ("um stern gland today", "um the stern gland today")


def test_a_word_that_also_comes_alone_stands_for_itself(tmp_path: Path) -> None:
    """ "Gland" is said more often than any phrase that holds it."""
    pack = load_pack(write_pack(tmp_path / "p"))
    found = unknown_phrases(left("stern gland", "gland", "gland"), pack)
    assert next((u.phrase, u.times) for u in found) == ("gland", 3)


def test_small_words_sides_units_and_numbers_are_no_phrases(tmp_path: Path) -> None:
    """They carry nothing by themselves."""
    pack = load_pack(write_pack(tmp_path / "p"))
    assert unknown_phrases(left("um", "not", "left", "upper", "minute", "12", "x"), pack) == ()


def test_a_known_term_that_is_spelled_or_sounds_alike_is_named(tmp_path: Path) -> None:
    """Most unknown words are known ones, misspelled."""
    pack = load_pack(write_pack(tmp_path / "p"))
    assert [u.near for u in unknown_phrases(left("billge", "rubberseal"), pack)] == [
        "bilge (place bilge)",
        "rubber seal (part seal)",
    ]


def test_rare_ones_can_be_left_out(tmp_path: Path) -> None:
    """At least so many times."""
    pack = load_pack(write_pack(tmp_path / "p"))
    assert [u.phrase for u in unknown_phrases(left("gland", "gland", "cooler"), pack, at_least=2)] == ["gland"]
