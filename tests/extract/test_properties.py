"""What holds for any text at all."""

from __future__ import annotations

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from fieldnote.extract import Extraction, Extractor
from fieldnote.extract.naming import utterances_of
from tests.extract.telling import tell

TRADE_TEXT = """
left right upper lower front rear both driver's side the a and or but no not of in on at with from for after
weatherstrip grommet seam sealer trough roof joint sliding door track tail lamp carpet windshield urethane
bead torn wet damp dry leak leaked pinhole gap missing loose fine good okay pulled replaced resealed hosed
hose test again two three inches minutes half an inch number screw same correction scratch that disregard
might be if need to that's the leak customer says it they one vin unit water is are was has found checked
masked off back put new 's 30 in-lb 1.5 62,305 °
"""
TRADE = TRADE_TEXT.split()
WORDS = st.lists(st.sampled_from(TRADE), max_size=14).map(" ".join)
LINES = st.lists(st.one_of(WORDS, WORDS, st.text(max_size=40)), max_size=5)
FEW = settings(max_examples=50, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])


def run(extractor: Extractor, lines: list[str]) -> Extraction:
    return extractor.run(lines)


@FEW
@given(lines=LINES)
def test_spans_slice_to_words(extractor: Extractor, lines: list[str]) -> None:
    """Every spoken origin lies in its utterance, and the quote is a slice of one that the entry comes from."""
    texts = {u.id: u.text for u in utterances_of(lines)}
    for entry in extractor.run(lines).entries:
        assert entry.origins
        for origin in entry.origins:
            assert origin.utterance_id in texts
            assert origin.start is not None
            assert origin.end is not None
            assert texts[origin.utterance_id][origin.start : origin.end].strip()
        assert any(entry.quote in texts[o.utterance_id] for o in entry.origins if o.utterance_id)


@FEW
@given(lines=LINES)
def test_leftovers_slice_and_do_not_overlap(extractor: Extractor, lines: list[str]) -> None:
    """Words that no rule took are told by their span; spans and the rest rebuild the utterance."""
    utterances = list(utterances_of(lines))
    leftovers = extractor.run(lines).leftovers
    for utterance in utterances:
        mine = sorted((o for o in leftovers if o.utterance_id == utterance.id), key=lambda o: o.start)
        rebuilt, at = "", 0
        for left in mine:
            assert left.start >= at
            assert utterance.text[left.start : left.end] == left.text
            rebuilt += utterance.text[at : left.start] + left.text
            at = left.end
        assert rebuilt + utterance.text[at:] == utterance.text


@FEW
@given(lines=LINES)
def test_same_text_twice(extractor: Extractor, lines: list[str]) -> None:
    """The same text gives the same entries, ids and leftovers."""
    assert extractor.run(lines) == extractor.run(lines)


@FEW
@given(lines=st.lists(WORDS, max_size=4))
def test_run_is_the_fold_of_steps(extractor: Extractor, lines: list[str]) -> None:
    """Live and in one go give the same."""
    state, entries = extractor.start(), {}
    for utterance in utterances_of(lines):
        state, changes = extractor.step(state, utterance)
        for id in changes.withdrawn:
            entries.pop(id, None)
        entries.update({e.id: e for e in (*changes.changed, *changes.added)})
    assert tuple(entries.values()) == extractor.run(lines).entries
    assert len({e.id for e in entries.values()}) == len(entries)


@FEW
@given(lines=st.lists(WORDS, max_size=4))
@pytest.mark.parametrize(
    "change",
    [
        pytest.param(str.upper, id="upper case"),
        pytest.param(lambda text: text + ".", id="full stop"),
        pytest.param(lambda text: ", ".join(text.split(" ")) if "'s" not in text else text, id="commas"),
        pytest.param(lambda text: "okay so " + text, id="okay so in front"),
    ],
)
def test_changes_nothing(extractor: Extractor, change, lines: list[str]) -> None:  # type: ignore[no-untyped-def]
    """Case, punctuation and an idle beginning carry nothing."""
    plain = [_letters(tell(e)) for e in extractor.run(lines).entries]
    assert [_letters(tell(e)) for e in extractor.run([change(t) for t in lines]).entries] == plain


def _letters(text: str) -> str:
    """Without what a complaint keeps as it was said: case, and marks between words."""
    return " ".join(text.lower().replace(",", " ").split())
