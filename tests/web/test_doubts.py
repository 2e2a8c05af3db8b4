"""What is listed to be confirmed: where a slip of the ear would turn the story round."""

from __future__ import annotations

from dataclasses import replace

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


def heard(text: str, entry: Entry, roles: dict[str, str], *, unsure: str) -> tuple[str, ...]:
    """Why an entry is doubted whose words were all heard surely but one."""
    words = tuple(Word(w, n * 0.3, n * 0.3 + 0.3, 0.4 if w == unsure else 0.95) for n, w in enumerate(text.split()))
    said = Utterance("u1", text, "c1", 0.0, 3.0, words=words)
    at = {role: (text.index(part), text.index(part) + len(part)) for role, part in roles.items()}
    origins = tuple(Origin("spoken", "u1", begin, end, role=role) for role, (begin, end) in at.items())
    found = doubts(
        Job("j1", "Unit 1", "2026-11-25T08:00:00Z", utterances=(said,), entries=(replace(entry, origins=origins),))
    )
    return found[0].why if found else ()


@pytest.mark.parametrize(
    ("unsure", "why"),
    [
        ("not", ("the “no” was heard unsurely (“not”)",)),
        ("torn", ("the “no” was heard unsurely (“torn”)",)),
        ("lamp", ()),
        ("", ()),
    ],
)
def test_a_no_that_was_heard_unsurely_is_listed(unsure: str, why: tuple[str, ...]) -> None:
    """The words before what is denied count, since one of them denies it; those further off do not."""
    entry = Entry("check", "tail-lamp", "gasket", state="torn", present=False, id="e1")
    assert heard("the lamp gasket there is not torn", entry, {"head": "torn", "part": "gasket"}, unsure=unsure) == why
    there = replace(entry, present=True)
    assert heard("the lamp gasket there is not torn", there, {"head": "torn", "part": "gasket"}, unsure=unsure) == ()


@pytest.mark.parametrize(("unsure", "why"), [("gasket", ("the source was heard unsurely (“gasket”)",)), ("is", ())])
def test_a_source_that_was_heard_unsurely_is_listed(unsure: str, why: tuple[str, ...]) -> None:
    """Its part and its place; of another kind of entry they count less."""
    entry = Entry("source", "tail-lamp", "gasket", id="e1")
    roles = {"head": "source is", "part": "gasket"}
    assert heard("source is the lamp gasket", entry, roles, unsure=unsure) == why
    assert heard("source is the lamp gasket", replace(entry, kind="check"), roles, unsure=unsure) == ()
