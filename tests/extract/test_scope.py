"""Negation, doubt, conditions and plans, and how far they reach. Wording is common practice, no source."""

from __future__ import annotations

import pytest

from fieldnote.extract import Extractor
from tests.extract.telling import told

CASES: dict[str, tuple[str, list[str]]] = {
    "no, over a list": (
        "no skips or pinholes in the trough seam but the grommet is torn",
        [
            "check liftgate-trough/seam no skip",
            "check liftgate-trough/seam no pinhole",
            "check liftgate-trough/grommet torn",
        ],
    ),
    "neither": ("neither body plug is missing", ["check body-plug both no missing"]),
    "neither nor": (
        "left sliding door water shield neither torn nor lifted",
        ["check sliding-door/water-shield left no torn", "check sliding-door/water-shield left no lifted"],
    ),
    "nothing wrong": ("couldn't find anything wrong with the left front door", ["check front-door left ok"]),
    "not, with what is": (
        "carpet in the left front footwell's only damp not soaked",
        ["evidence front-footwell/carpet left damp", "evidence front-footwell/carpet left no soaked"],
    ),
    "did not see": ("did not see any rust on the cowl seam", ["check cowl/seam no rusted"]),
    "not sealed is unsealed": ("the roof joint has not been sealed", ["check roof-joint unsealed"]),
    "might be": ("grommet in the firewall might be torn", ["check firewall/grommet torn?"]),
    "i think": ("I think there is a pinhole in the cowl seam", ["check cowl/seam pinhole?"]),
    "possibly": ("center floor possibly damp", ["evidence center-floor damp?"]),
    "doubt behind": ("torn weatherstrip on the hood maybe", ["check hood/weatherstrip torn?"]),
    "looks fine is no doubt": ("cowl seam looks fine", ["check cowl/seam ok"]),
    "about a minute is no doubt": (
        "hose on the antenna leaked in maybe a minute",
        ["test antenna leak hose time-to-leak 1min"],
    ),
    "condition": ("if the heater was on the windshield would fog", []),
    "condition at the end": ("cowl seam is cracked if I see it right", ["check cowl/seam cracked"]),
    "question inside": ("cowl seam is fine should we check the firewall", ["check cowl/seam ok"]),
    "plan with doubt": ("I might still tape the hood seal", ["plan hood/weatherstrip tape?"]),
    "plan for tomorrow": ("retest tomorrow once it's cured", ["plan test"]),
    "nothing was done": ("didn't pull the headliner", []),
    "others' work is not ours": ("somebody resealed the trough", []),
}


@pytest.mark.parametrize(("said", "expected"), CASES.values(), ids=list(CASES))
def test_scope(extractor: Extractor, said: str, expected: list[str]) -> None:
    """Each word reaches as far as it does in speech, and no further."""
    assert told(extractor, said) == expected
