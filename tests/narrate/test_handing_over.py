"""The leaf for the colleague who takes over: what it must tell, and that it can be said in a minute."""

import dataclasses
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fieldnote.narrate import handover
from fieldnote.narrate.formats import document_as
from fieldnote.narrate.handing_over import SPOKEN_WORDS, Handover
from fieldnote.records import Advice, Entry, Reason, Step, Suggestion, Utterance

from .jobs import PACK, entries, job
from .test_documents import read_pdf, squeezed
from .test_open_points import OFF, ON
from .test_proof import RESEAL, SKIP, SOURCE, leak, retest

URETHANE = RESEAL | {"material": "urethane"}


def under(leaf: Handover, heading: str) -> str:
    part = next(p for p in leaf.parts if p.heading == heading)
    return " ".join(s.text for s in part.lines) or part.empty


def test_state_proved_and_cleared() -> None:
    """The leaf says how many leaks are cured or not, where they are, and which zones are cleared."""
    dry = retest(stage="find", place="tail-lamp", side="right")
    leaf = handover(job(dry, leak(), SKIP, SOURCE, RESEAL, retest()), PACK)
    assert under(leaf, "State") == "The job is open: 1 leak cured."
    assert "repaired, and the retest stayed dry" in under(leaf, "Proved")
    assert under(leaf, "Cleared") == "A hose test on the right tail lamp stayed dry for 10 minutes."


def test_a_zone_that_leaked_is_not_cleared() -> None:
    """A zone that was dry once and leaked once is not among the cleared ones, nor is one tested with smoke alone."""
    smoke = retest(stage="find", method="smoke", place="cowl")
    leaf = handover(job(retest(stage="find"), leak(), smoke), PACK)
    assert under(leaf, "Cleared") == "No zone was tested dry."


def test_what_is_off_until_it_is_refitted() -> None:
    """What was taken off is named until it is put back."""
    assert "trim panel on the left D-pillar was removed" in under(handover(job(OFF), PACK), "Off and not refitted")
    assert under(handover(job(OFF, ON), PACK), "Off and not refitted") == "Nothing on record."


def test_what_cures_is_named_without_guessing_a_time() -> None:
    """A material that must cure is named; until when is the maker's to say where no time was recorded."""
    text = under(handover(job(URETHANE), PACK), "Drying or curing")
    assert "with urethane" in text and "until when was not recorded" in text


@pytest.mark.parametrize(
    ("said", "heading"),
    [
        ("battery is off and the airbag light is on", "Battery and restraints"),
        ("gasket is on order", "Parts awaited"),
        ("leave the fan on it overnight", "Drying or curing"),
    ],
)
def test_what_no_entry_holds_is_repeated_word_for_word(said: str, heading: str) -> None:
    """Battery, parts awaited and drying stand in the words in which they were said, with the utterance named."""
    leaf = handover(job(utterances=(Utterance("u1", said), Utterance("u2", "the trough is dry"))), PACK)
    part = next(p for p in leaf.parts if p.heading == heading)
    assert [(s.text, s.entries) for s in part.lines] == [(f"Said: “{said}”.", ("utterance.u1",))]


def test_what_was_not_said_is_to_be_asked() -> None:
    """Silence on battery and restraints is not taken for "nothing disabled"."""
    leaf = handover(job(), PACK)
    for heading in ("Battery and restraints", "Drying or curing", "Parts awaited"):
        assert under(leaf, heading) == "Nothing recorded; ask."


def test_the_next_check_is_that_of_the_advice() -> None:
    """With advice, the next check is the first step of its plan, with what must come off."""
    step = Step(1, "test", "roof-rack", None, "left", "hose", 6.2, opens=("rack rail",))
    candidate = Suggestion(1, "s", "roof-rack", None, "left", 0.4, (Reason("r", 1.0, ("e1",)),))
    leaf = handover(job(SKIP), PACK, Advice((candidate,), (step,)))
    part = next(p for p in leaf.parts if p.heading == "Next check")
    assert [(s.text, s.entries) for s in part.lines] == [
        ("A hose test on the left roof rack, about 6 minutes, once off: rack rail.", ("e1",))
    ]


@settings(max_examples=40, deadline=None)
@given(st.lists(entries(), max_size=40))
def test_it_can_be_said_in_a_minute(found: list[Entry]) -> None:
    """However much was done, the spoken leaf has at most the words of a minute, and begins with every heading."""
    leaf = handover(job(*found), PACK)
    assert len(leaf.spoken.split()) <= SPOKEN_WORDS + 10
    assert leaf.spoken.startswith("Handover: Unit 9. State: ")


def test_it_fits_one_sheet(tmp_path: Path) -> None:
    """A long job's leaf is one page, and every line of it can be read from the PDF."""
    offs = [
        OFF | {"place": p, "side": s}
        for p in ("a-pillar", "b-pillar", "c-pillar", "d-pillar")
        for s in ("left", "right")
    ]
    rows = [leak(), SKIP, SOURCE, URETHANE, *offs]
    leaf = handover(dataclasses.replace(job(*rows), utterances=(Utterance("u1", "battery is off"),)), PACK)
    raw = document_as(leaf.document(), "pdf")
    assert raw.count(b"/Type /Page\n") == 1
    text = squeezed(read_pdf(raw, tmp_path))
    assert all(squeezed(s.text) in text for p in leaf.parts for s in p.lines)
    assert "And 3 more: see the write-up." in leaf.text
    assert "Acceptedby" in text
