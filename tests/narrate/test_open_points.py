"""What a record leaves open is named, and what it does not leave open is not."""

from typing import Any

import pytest

from fieldnote.narrate import narrate
from fieldnote.records import Aftercare, Intake

from .jobs import PACK, job
from .test_proof import RESEAL, SKIP, SOURCE, leak, q, retest

CURED = [leak(), SKIP, SOURCE, RESEAL, retest()]
FINAL = {
    "kind": "test",
    "state": "dry",
    "method": "spray-booth",
    "stage": "verify",
    "quantities": [q("duration", 9, "min")],
}
PANEL = {"place": "d-pillar", "part": "trim-panel", "side": "left"}
OFF = {"kind": "access", "state": "removed", **PANEL}
ON = {"kind": "access", "state": "refitted", **PANEL}

Rows = list[dict[str, Any]]
OPEN: dict[str, tuple[Rows, str]] = {
    "no retest": ([leak(), SKIP, SOURCE, RESEAL], "No retest of the seam sealer in the liftgate trough"),
    "short retest": (
        [*CURED[:-1], retest(30, "s")],
        "ran for 30 seconds, which is less than the 40 seconds before",
    ),
    "other method": ([*CURED[:-1], retest(method="pour")], "was not by the method that had leaked before"),
    "other zone": ([*CURED[:-1], retest(side="left")], "did not take in the same zone as before"),
    "retest leaked": ([*CURED[:-1], retest(state="leak")], "leaked: another way in, or the repair did not hold"),
    "retest without time": ([*CURED[:-1], retest(None)], "The duration of the hose retest on the liftgate trough"),
    "no side": ([{"kind": "check", "place": "d-pillar", "state": "rusted"}], "side was not recorded for the D-pillar"),
    "no duration": ([retest(None, stage="find")], "The duration of the hose test on the liftgate trough"),
    "no time to leak": ([leak(None)], "After what time the hose test on the liftgate trough leaked was not recorded"),
    "no method": ([retest(method=None, stage="find")], "The method was not recorded for the test on the"),
    "no result": ([leak(state=None)], "The result of the hose test on the liftgate trough was not recorded"),
    "fault not repaired": ([SKIP], "No repair of the seam sealer in the liftgate trough, which had a skip"),
    "taken off": ([OFF], "was removed, and no refitting was recorded"),
    "the other side refitted": ([OFF, ON | {"side": "right"}], "was removed, and no refitting was recorded"),
    "no final test": (CURED, "No final test of the whole vehicle after the last repair"),
    "plan not done": ([{"kind": "plan", "place": "cowl", "state": "test"}], "Planned and not done on record: the cowl"),
    "hedged sign": (
        [{"kind": "evidence", "place": "b-pillar", "side": "left", "state": "water", "certainty": "unsure"}],
        "Not confirmed: there was possibly water on the left B-pillar",
    ),
    "nothing proved": ([SKIP], "Where the water came in was not proved"),
    "fault not found": ([leak()], "The fault at the liftgate trough was not recorded"),
    "no place": ([{"kind": "check", "part": "gasket", "state": "torn"}], "The place was not recorded for the gasket"),
    "two values": (
        [{"kind": "fact", "what": "odometer", "value": v, "unit": "km"} for v in (10, 11)],
        "More than one value was recorded for the odometer",
    ),
    "misheard": ([SKIP | {"misheard_risk": 0.7, "quote": "a skip"}], "To be confirmed by ear: “a skip”"),
    "no complaint": ([SKIP], "The complaint was not recorded"),
    "hedged result": ([leak(certainty="unsure")], "The result of the hose test on the liftgate trough was not certain"),
}  # fmt: skip

SETTLED: dict[str, tuple[Rows, str]] = {
    "retested": (CURED, "retest of"),
    "refitted": ([OFF, ON], "no refitting"),
    "all put back": ([OFF, {"kind": "access", "state": "refitted"}], "no refitting"),
    "replaced by a new one": ([OFF, OFF | {"kind": "repair", "state": "replace"}], "no refitting"),
    "both sides refitted": ([OFF, ON | {"side": "both"}], "no refitting"),
    "final test": ([*CURED, FINAL], "final test"),
    "plan done": ([{"kind": "plan", "place": "liftgate-trough", "state": "test"}, leak()], "Planned"),
    "fault repaired": ([SKIP, RESEAL], "No repair of"),
    "side at a place that has none": ([SKIP], "side was not recorded"),
    "a sound part": ([SKIP | {"state": "ok"}], "No repair of"),
    "a fault that is absent": ([SKIP | {"present": False}], "No repair of"),
    "sign seen for sure later": (
        [
            {"kind": "evidence", "place": "b-pillar", "side": "left", "state": "water", "certainty": c}
            for c in ("unsure", "sure")
        ],
        "Not confirmed",
    ),
    "proved": (CURED, "was not proved"),
    "place of a test of the whole vehicle": ([FINAL], "place was not recorded"),
    "heard well": ([SKIP | {"misheard_risk": 0.1, "quote": "a skip"}], "by ear"),
}


def points(rows: Rows, **more: Any) -> list[str]:
    return [p.text for p in narrate(job(*rows, **more), PACK).open_points]


@pytest.mark.parametrize("case", OPEN)
def test_what_is_open_is_named(case: str) -> None:
    """Each gap of the record is named in words."""
    rows, words = OPEN[case]
    assert any(words in text for text in points(rows)), points(rows)


@pytest.mark.parametrize("case", SETTLED)
def test_what_is_settled_is_not_named(case: str) -> None:
    """What the record settles is not called open."""
    rows, words = SETTLED[case]
    assert not any(words in text for text in points(rows)), points(rows)


def test_a_complaint_of_the_intake_counts() -> None:
    """A complaint given at intake is one, and is written down with where it stands."""
    story = narrate(job(SKIP, intake=Intake(complaint="wet floor")), PACK)
    complaint = story.paragraphs[1].sentences
    assert [(s.text, s.entries) for s in complaint] == [("The customer stated: “Wet floor.”", ("intake.complaint",))]
    assert "The complaint was not recorded." not in [p.text for p in story.open_points]


def test_what_follows_a_leak_is_open_until_it_is_done() -> None:
    """Aftercare that no entry reports as done is an open point that names its entries."""
    todo = Aftercare("a", "Dry the padding.", "it rots", ("e1",))
    done = Aftercare("b", "Prime the metal.", "it rusts", ("e1",), ("e2",))
    found = narrate(job(*CURED), PACK, aftercare=(todo, done)).open_points
    assert [(p.text, p.entries) for p in found if "follow" in p.text] == [
        ("Still to follow: dry the padding.", ("e1",))
    ]


def test_open_points_name_entries_that_exist() -> None:
    """Every open point but a missing complaint names the entries that raise it."""
    for rows, _ in OPEN.values():
        for point in narrate(job(*rows), PACK).open_points:
            assert set(point.entries) <= {f"e{i}" for i in range(1, len(rows) + 1)}
            assert point.entries or "complaint" in point.text
