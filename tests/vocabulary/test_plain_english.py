"""Phrases of plain English and those that a pack may lack, told apart by spaCy's blank pipeline."""

from __future__ import annotations

import pytest

from fieldnote.vocabulary.plain_english import phrases


@pytest.mark.parametrize(
    "text, expected",
    [
        pytest.param("the kick plate", {("kick",), ("plate",), ("kick", "plate")}, id="article"),
        pytest.param("Crud, 12 of them", {("crud",)}, id="numbers-and-stops"),
        pytest.param("cant rail of the body", {("rail",), ("body",), ("rail", "of", "the", "body")}, id="inner-stops"),
        pytest.param("x", set(), id="one-letter"),
        pytest.param("", set(), id="empty"),
    ],
)
def test_phrases_begin_and_end_with_words_of_their_own(text: str, expected: set[tuple[str, ...]]) -> None:
    """Stop words, numbers and punctuation neither begin nor end a phrase; they may stand inside one."""
    found = set(phrases(text))
    assert expected <= found
    assert all(not {gram[0], gram[-1]} & {"the", "of", "them", "12", ","} for gram in found)


def test_words_that_the_pack_knows_are_left_out() -> None:
    """What the caller calls small neither begins nor ends a phrase."""
    assert set(phrases("kick plate", small=["plate"])) == {("kick",)}
