"""The short form keeps to set numbers of characters, in whole sentences, and tells what it leaves out."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from fieldnote.narrate.payers import Payer
from fieldnote.narrate.short_form import in_plain_letters, short_form, short_text
from fieldnote.records import Narrative, Paragraph, Sentence


def story(*causes: str) -> Narrative:
    """A write-up whose cause has these sentences."""
    return Narrative((Paragraph("Cause", tuple(Sentence(text, ("e1",)) for text in causes)),), ())


WORDS = st.text("abcdefgh ½é–.", min_size=1, max_size=60).map(lambda text: " ".join(text.split()) or "a")


@given(st.lists(WORDS, max_size=6), st.integers(0, 120), st.sampled_from(["any", "plain"]))
def test_it_never_is_longer_than_the_form_takes(texts: list[str], limit: int, letters: str) -> None:
    """Whatever is said: within the limit; kept and left out together are all that was said, in order."""
    part = short_form(story(*texts), Payer("p", "p", cause=limit, letters=letters))[1]
    assert not limit or len(part.text) <= limit
    said = [in_plain_letters(text) if letters == "plain" else text for text in texts]
    if part.cut:
        assert part.left_out == tuple(said)
    else:
        assert " ".join(said) == " ".join((*filter(None, [part.text]), *part.left_out))


def test_whole_sentences_are_left_out_from_the_end() -> None:
    """The second does not fit, so the third stays out too, short as it is."""
    part = short_form(story("The gasket was torn.", "It had been so for long.", "Yes."), Payer("p", "p", cause=26))[1]
    assert (part.text, part.left_out) == ("The gasket was torn.", ("It had been so for long.", "Yes."))


def test_one_sentence_that_is_too_long_is_cut_at_a_word_and_marked() -> None:
    """The end shows that something is missing."""
    part = short_form(story("The gasket was torn at its lower edge."), Payer("p", "p", cause=20))[1]
    assert part.cut and part.text == "The gasket was ..."


def test_without_a_limit_nothing_is_left_out() -> None:
    """Nor without a payer."""
    assert short_form(story("A.", "B."))[1].text == "A. B."
    assert short_form(story("A.", "B."), Payer("p", "p"))[1].left_out == ()


def test_plain_letters() -> None:
    """ASCII for forms that take nothing else; fractions as they are spoken of, unknown letters as question marks."""
    assert in_plain_letters("1½ in – “naïve” … 3⁄8″ × 2, 20 °C 漢") == '1 1/2 in - "naive" ... 3/8" x 2, 20 degrees C ?'


def test_as_text_each_part_has_its_count() -> None:
    """What is pasted stands alone between its heading and what was left out."""
    told = short_text(short_form(story("The gasket was torn.", "It leaked at once."), Payer("p", "p", cause=22)))
    assert "CAUSE (20 of 22 characters)\nThe gasket was torn.\n\n  left out: It leaked at once." in told
    assert "COMPLAINT\nNot recorded." in told
