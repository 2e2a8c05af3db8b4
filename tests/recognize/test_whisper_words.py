"""From tokens to words, and the check for loops."""

from __future__ import annotations

import pytest

from fieldnote.recognize.whisper_words import looping, said_twice, words_from_alignment


@pytest.mark.parametrize(
    "text",
    [
        "the seam the seam the seam the seam the seam",
        "no no no no no no no no",
        "left rear door is wet left rear door is wet left rear door is wet",
        "water " * 12 + "in the left",
        "a b a c a d a e a a a f a a a g a a h",
    ],
)
def test_loops(text: str) -> None:
    """A run that follows on itself, or one word all over, is a loop."""
    assert looping(text)


@pytest.mark.parametrize(
    "text",
    [
        "",
        "no no no",
        "zero zero zero zero zero",
        "seven seven seven four one one one",
        "left side dry right side dry left rear dry right rear dry",
        "the grommet is good the seam is good and the plug is good",
        "ask not what your country can do for you ask what you can do for your country",
    ],
)
def test_what_people_do_say(text: str) -> None:
    """Digits said thrice, and sentences built alike, are no loop."""
    assert not looping(text)


@pytest.mark.parametrize(
    ("text", "length_s", "once"),
    [
        ("Right. Right.", 0.75, "right"),
        ("Dry. Dry. Dry.", 0.8, "dry"),
        ("No sin, no sin.", 1.0, "no sin"),
        ("Seven, seven.", 1.3, None),
        ("Right.", 0.3, None),
        ("Right rear.", 0.5, None),
        ("", 0.5, None),
    ],
)
def test_a_word_written_twice(text: str, length_s: float, once: str | None) -> None:
    """A repetition faster than anybody speaks is found; digits said twice at a speaker's pace are not."""
    assert said_twice(text, length_s) == once


def test_words_times_and_confidences() -> None:
    """Tokens join to words; a word lasts until the next begins and is as sure as its least sure token."""
    pieces = ["ĠLeft", "ĠD", "-", "p", "illar", "."]
    probs = [0.9, 0.8, 0.95, 0.99, 0.4, 0.97]
    path = [(0, 5), (0, 6), (1, 20), (2, 25), (3, 28), (4, 30), (5, 45), (6, 50)]
    words = words_from_alignment(
        pieces, lambda a, b: "".join(pieces[a:b]).replace("Ġ", " ").strip(), probs, path, ends_at_s=3.0
    )
    assert [(w.text, w.from_s, w.to_s, w.confidence) for w in words] == [
        ("Left", 0.1, 0.4, 0.9),
        ("D-pillar.", 0.4, 1.0, 0.4),
    ]


def test_no_word_outlasts_the_sound() -> None:
    """Alignments into the silence after the speech are cut to its end."""
    words = words_from_alignment(["Ġdry"], lambda a, b: "dry", [0.9], [(0, 10), (0, 200)], ends_at_s=0.9)
    assert (words[0].from_s, words[0].to_s) == (0.2, 0.9)
