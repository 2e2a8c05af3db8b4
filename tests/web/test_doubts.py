"""What is listed to be confirmed: where a slip of the ear would turn the story round."""

from __future__ import annotations

import pytest

from fieldnote.records import Edit, Entry, Job, Origin, Quantity, Utterance, Word
from fieldnote.web.doubts import doubts

SURE = Entry("check", "tail-lamp", "gasket", "left", "torn", id="e1", misheard_risk=0.1)


def job(entry: Entry, *, side_confidence: float = 0.9, edited: str = "") -> Job:
    words = (Word("left", 0.0, 0.3, side_confidence), Word("gasket", 0.3, 0.6, 0.9), Word("torn", 0.6, 0.9, 0.9))
    said = Utterance("u1", "left gasket torn", "c1", 0.0, 0.9, words=words)
    edits = (Edit("d1", "j1", "e1", "set", edited, None, "left", "Ada", "2026-11-25T08:00:00Z"),) if edited else ()
    return Job("j1", "Unit 1", "2026-11-25T08:00:00Z", utterances=(said,), entries=(entry,), edits=edits)


def with_(**fields: object) -> Entry:
    import dataclasses

    return dataclasses.replace(SURE, **fields)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("entry", "why"),
    [
        (SURE, ()),
        (with_(certainty="unsure"), ("said with doubt",)),
        (with_(misheard_risk=0.6), ("may be misheard",)),
        (with_(misheard_risk=0.3), ("the side may be misheard",)),
        (with_(misheard_risk=0.3, side=None), ()),
        (with_(misheard_risk=0.3, side=None, present=False), ("the “no” may be misheard",)),
        (
            with_(misheard_risk=0.3, side=None, quantities=(Quantity("length", 2, "in"),)),
            ("the number may be misheard",),
        ),
        (with_(misheard_risk=0.3, side=None, kind="source"), ("the source may be misheard",)),
    ],
)
def test_a_turning_point_is_doubted_sooner(entry: Entry, why: tuple[str, ...]) -> None:
    """Side, "no", number and source are doubted at a risk at which other things are not."""
    assert [doubt.why for doubt in doubts(job(entry))] == ([why] if why else [])


def test_an_unsure_word_for_the_side_is_doubted() -> None:
    """The word itself counts, though the whole was heard well; a corrected side is not doubted again."""
    spoken = with_(origins=(Origin("spoken", "u1", 0, 4, role="side"), Origin("spoken", "u1", 5, 16, role="head")))
    assert doubts(job(spoken)) == ()
    (doubt,) = doubts(job(spoken, side_confidence=0.4))
    assert doubt.why == ("the side was heard unsurely (“left”)",)
    assert doubts(job(spoken, side_confidence=0.4, edited="side")) == ()
