"""Corrections, take-backs and repeats; sides by the steering. Wording is common practice, no source."""

from __future__ import annotations

import pytest

from fieldnote.extract import Extractor
from fieldnote.records import Intake, Utterance
from tests.extract.telling import told

BASE = "left rear door weatherstrip torn two inches at the bottom"
CASES: dict[str, tuple[list[str], list[str]]] = {
    "side": ([BASE, "correction right side"], ["check rear-door/weatherstrip right torn lower length 2in"]),
    "side, everyday": ([BASE, "sorry the right"], ["check rear-door/weatherstrip right torn lower length 2in"]),
    "side, i mean": ([BASE, "I mean the right"], ["check rear-door/weatherstrip right torn lower length 2in"]),
    "measure": ([BASE, "make that three inches"], ["check rear-door/weatherstrip left torn lower length 3in"]),
    "place": (
        ["pinhole in the left roof joint", "correction roof rack"],
        ["check roof-rack left pinhole"],
    ),
    "number": (
        ["roof rack screw number two is loose", "make that number three"],
        ["check roof-rack/screw loose-fastener #3"],
    ),
    "heading, no correction": (
        ["pinhole in the trough seam", "correction resealed the trough with urethane"],
        ["check liftgate-trough/seam pinhole", "repair liftgate-trough reseal with urethane"],
    ),
    "taken back": ([BASE, "disregard"], []),
    "taken back, everyday": ([BASE, "scratch that"], []),
    "taken back and said anew": (
        [BASE, "strike that the weatherstrip is fine"],
        ["check rear-door/weatherstrip left ok"],
    ),
    "taken back in mid-utterance": (
        ["grommet in the firewall is torn no wait scratch that the cowl seam is cracked"],
        ["check cowl/seam cracked"],
    ),
    "false start": (
        ["the left no the right liftgate hinge gasket is pinched"],
        ["check liftgate-hinge/gasket right pinched"],
    ),
    "measure mended in mid-utterance": (
        ["hose on the cowl for two no call it three minutes dry"],
        ["test cowl dry hose duration 3min"],
    ),
    "other side the same": (
        [BASE, "other side the same"],
        [
            "check rear-door/weatherstrip left torn lower length 2in",
            "check rear-door/weatherstrip right torn lower length 2in",
        ],
    ),
    "a fault that sounds like a command": (
        ["break in the sealer at the left roof joint"],
        ["check roof-joint/seam-sealer left skip"],
    ),
    "a pedal that sounds like a command": (["water on the brake pedal"], ["evidence pedals water"]),
}


@pytest.mark.parametrize(("said", "expected"), CASES.values(), ids=list(CASES))
def test_correction(extractor: Extractor, said: list[str], expected: list[str]) -> None:
    """What was changed or taken back is told as it stands in the end."""
    assert told(extractor, *said) == expected


def test_two_take_backs_go_back_two_utterances(extractor: Extractor) -> None:
    """Each take-back goes one utterance further back."""
    said = ["cowl seam is cracked", "firewall grommet is torn", "disregard", "disregard"]
    assert told(extractor, *said) == []


SIDES = {
    ("driver's side front door is wet", "left"): "left",
    ("driver's side front door is wet", "right"): "right",
    ("passenger side front door is wet", "left"): "right",
    ("nearside front door is wet", "right"): "left",
    ("offside front door is wet", "right"): "right",
    ("kerb side front door is wet", "left"): "right",
    ("street side front door is wet", "left"): "left",
    ("left front door is wet", "right"): "left",
    ("lr door is wet", "right"): "left",
}


@pytest.mark.parametrize(("said", "steering"), list(SIDES), ids=[f"{s} {w}" for w, s in SIDES])
def test_side_follows_steering(extractor: Extractor, said: str, steering: str) -> None:
    """Driver's and passenger's side, in all their names, follow the steering; left and right never do."""
    entries = extractor.run([said], Intake(steering=steering)).entries  # type: ignore[arg-type]
    assert [e.side for e in entries] == [SIDES[said, steering]]


def test_unknown_steering_is_asked_for(extractor: Extractor) -> None:
    """A job without a steering side asks once it was leaned on; a text alone takes left and asks nothing."""
    said = "driver's side front door is wet"
    assert extractor.run([said], Intake()).questions == ("steering",)
    assert extractor.run(["left front door is wet"], Intake()).questions == ()
    alone = extractor.run([said])
    assert alone.questions == ()
    assert alone.entries[0].side == "left"


def test_step_tells_what_changed(extractor: Extractor) -> None:
    """A step says what it added, changed and withdrew, by ids that stay."""
    state, first = extractor.step(extractor.start(), Utterance("a", BASE))
    state, second = extractor.step(state, Utterance("b", "correction right side"))
    state, third = extractor.step(state, Utterance("c", "disregard"))
    (entry,) = first.added
    assert [e.id for e in second.changed] == [entry.id]
    assert (second.changed[0].side, second.command) == ("right", "correction")
    assert (third.withdrawn, third.command) == ((entry.id,), "disregard")
