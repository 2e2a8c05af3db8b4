"""Sentences that run on: what belongs to what was said before, and what begins anew. Common practice, no source."""

from __future__ import annotations

import pytest

from fieldnote.extract import Extractor
from tests.extract.telling import told

CASES: dict[str, tuple[list[str], list[str]]] = {
    "water runs somewhere else": (
        ["Dye on the right tail lamp", "It leaks, it's running down the right quarter panel"],
        ["test tail-lamp right leak dye", "evidence quarter-panel right water"],
    ),
    "water comes down in the test": (
        ["Ran the hose over the sunroof, and after a minute it came down the right B pillar"],
        ["test sunroof leak hose time-to-leak 1min", "evidence b-pillar right water"],
    ),
    "a sign elsewhere leaves the work where it was": (
        [
            "Hosed the left quarter glass",
            "and it did leak, there's a drip on the left D pillar",
            "patched it with urethane",
        ],
        [
            "test quarter-glass left leak hose",
            "evidence d-pillar left drip",
            "repair quarter-glass left patch with urethane",
        ],
    ),
    "a distance from a thing": (
        ["Roof joint on the driver side though, about a foot and a half behind the windshield, there's a pinhole"],
        ["check roof-joint left pinhole distance 1.5ft"],
    ),
    "where a lamp was laid": (
        ["Took the left tail lamp off and laid it on the rear bumper", "the gasket is torn"],
        ["access tail-lamp left removed", "check tail-lamp/gasket left torn"],
    ),
    "a hole that only tells a place": (
        ["The gasket at the tail lamp has come out of the hole"],
        ["check tail-lamp/gasket unseated"],
    ),
    "done, and another tomorrow": (
        ["Pulled the left scuff plate, the other one tomorrow"],
        ["access scuff-plate left removed"],
    ),
    "not there": (["Right tail lamp, no gasket behind it"], ["check tail-lamp/gasket right missing"]),
    "another side in one breath": (
        ["Tail lamp on the left, gasket ok. On the right, gasket torn"],
        ["check tail-lamp/gasket left ok", "check tail-lamp/gasket right torn"],
    ),
    "another lamp leaks": (
        ["Hosed the tail lamp, that's dry. Third brake light leaks though, in ten seconds"],
        ["test tail-lamp dry hose", "test high-stop-lamp leak time-to-leak 10s"],
    ),
    "numbers in turn": (
        ["Roof rack, screw number four on the left is slack. Number five is fine"],
        ["check roof-rack/screw left loose-fastener #4", "check roof-rack/screw left ok #5"],
    ),
    "planned, and how it is now": (
        ["Need to dry the carpet, it is soaked"],
        ["plan carpet dry-out", "evidence carpet soaked"],
    ),
    "digit by digit": (
        ["Retest right liftgate hinge, one zero minutes, no entry"],
        ["test liftgate-hinge right dry verify duration 10min"],
    ),
    "a new part with its sealant and torque": (
        ["Roof rack: new screw, dab of thread sealant, eight newton metres"],
        ["repair roof-rack/screw replace with thread-sealant torque 8N_m"],
    ),
}


@pytest.mark.parametrize(("said", "expected"), CASES.values(), ids=list(CASES))
def test_running_on(extractor: Extractor, said: list[str], expected: list[str]) -> None:
    """Each fact is told of its own place, part and side."""
    assert told(extractor, *said) == expected
