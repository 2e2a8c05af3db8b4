"""Each rule of the entry's contract, on dictation of our own. Trade wording here is common practice, no source."""

from __future__ import annotations

import pytest

from fieldnote.extract import Extractor
from tests.extract.telling import told

CASES: dict[str, tuple[list[str], list[str]]] = {
    "both of a pair is one entry": (
        ["both tail lamp gaskets are good"],
        ["check tail-lamp/gasket both ok"],
    ),
    "two parts are two entries": (
        ["the trough seam and the grommet are fine"],
        ["check liftgate-trough/seam ok", "check liftgate-trough/grommet ok"],
    ),
    "place and side hold until another is named": (
        ["left rear door", "weatherstrip is torn at the bottom"],
        ["check rear-door/weatherstrip left torn lower"],
    ),
    "a new place drops part and side": (
        ["left tail lamp gasket is cracked", "roof joint has a pinhole"],
        ["check tail-lamp/gasket left cracked", "check roof-joint pinhole"],
    ),
    "a side holds within one assembly": (
        ["left sliding door is damp", "the track has a gap"],
        ["evidence sliding-door left damp", "check sliding-door-track left gap"],
    ),
    "a test without a place is at the place of the last work": (
        ["resealed the liftgate trough", "checked the carpet", "hosed it again ten minutes dry"],
        ["repair liftgate-trough reseal", "test liftgate-trough dry hose verify duration 10min"],
    ),
    "the same on the other side repeats all slots": (
        ["left d pillar trim has a gap two inches long at the bottom", "same on the right"],
        ["check d-pillar/trim-panel left gap lower length 2in", "check d-pillar/trim-panel right gap lower length 2in"],
    ),
    "a number in words counts": (
        ["an inch and a half of standing water in the spare wheel well"],
        ["evidence spare-wheel-well standing-water length 1.5in"],
    ),
    "one gives no count and two do": (
        ["one pinhole in the roof joint", "two pinholes in the cowl seam"],
        ["check roof-joint pinhole", "check cowl/seam pinhole count 2"],
    ),
    "a question gives nothing": (["should we check the sunroof drains"], []),
    "weather and colleagues give nothing": (["hot as hell in here today", "hand me the flashlight"], []),
    "several facts in a sentence": (
        ["pulled the weatherstrip off the left front door and found a gap at the flange"],
        ["access front-door/weatherstrip left removed", "check front-door/flange left gap"],
    ),
    "the customer's words": (
        ["customer says the carpet gets wet in the back"],
        ["fact complaint the carpet gets wet in the back"],
    ),
    "a test and its result in two utterances": (
        ["hose on the cowl", "leaked after two minutes"],
        ["test cowl leak hose time-to-leak 2min"],
    ),
    "taping off gives nothing": (
        ["masked off the roof rack and ran the hose on the roof joint for five minutes dry"],
        ["test roof-joint dry hose duration 5min"],
    ),
    "a word that names a place gives the place alone": (
        ["pulled the left tail lamp"],
        ["access tail-lamp left removed"],
    ),
    "the cause after a finding": (
        ["found a skip in the trough sealer two inches long", "that is the leak"],
        ["check liftgate-trough/seam-sealer skip length 2in", "source liftgate-trough/seam-sealer skip"],
    ),
    "the cause in one sentence": (
        ["found the source at a pinhole in the left roof joint"],
        ["source roof-joint left pinhole"],
    ),
    "good and no rips": (
        ["left front door weatherstrip", "good no rips"],
        ["check front-door/weatherstrip left ok", "check front-door/weatherstrip left no torn"],
    ),
    "ways of access": (
        ["dropped the headliner", "peeled back the carpet in the left rear footwell", "put the scuff plate back on"],
        ["access headliner removed", "access rear-footwell/carpet left lifted", "access scuff-plate refitted"],
    ),
    "a new part replaces": (
        ["body plug missing in the rear floor", "put in a new plug"],
        ["check rear-floor/body-plug missing", "repair rear-floor/body-plug replace"],
    ),
    "a test after the repair verifies": (
        ["replaced the antenna gasket", "hosed the antenna six minutes dry"],
        ["repair antenna/gasket replace", "test antenna dry hose verify duration 6min"],
    ),
    "a number of one of many holds in its sentence": (
        ["roof rack left screw number four is loose and the rivet nut spins"],
        ["check roof-rack/screw left loose-fastener #4", "check roof-rack/rivet-nut left spinning #4"],
    ),
    "distance is how far from something": (
        ["pinhole in the left roof joint six inches back from the windshield"],
        ["check roof-joint left pinhole distance 6in"],
    ),
    "torque": (
        ["tightened the right rack screw to thirty inch pounds"],
        ["repair roof-rack/screw right tighten torque 30in_lb"],
    ),
    "where the water of a test came out": (
        ["hosed the cowl and water came out at the left front footwell after forty seconds"],
        ["test cowl leak hose time-to-leak 40s", "evidence front-footwell left water"],
    ),
    "still to be done": (
        ["need to reseal the left roof joint", "next I will hose the sunroof"],
        ["plan roof-joint left reseal", "plan sunroof test"],
    ),
    "command words alone": (["stand by", "read back", "water on"], []),
    "break drops side, place and part": (
        ["left rear door weatherstrip is torn", "break", "pinhole at the corner"],
        ["check rear-door/weatherstrip left torn", "check pinhole corner"],
    ),
}


@pytest.mark.parametrize(("said", "expected"), CASES.values(), ids=list(CASES))
def test_rule(extractor: Extractor, said: list[str], expected: list[str]) -> None:
    """The utterances give these entries and no others."""
    assert told(extractor, *said) == expected


FACTS = {
    "unit": ("unit number three oh seven", "fact unit-number 307"),
    "odometer in miles": ("odometer sixty two thousand three oh five miles", "fact odometer 62305mi"),
    "odometer written": ("odometer 62,305 miles", "fact odometer 62305mi"),
    "odometer in kilometres": (
        "two hundred and fourteen thousand five hundred kilometres on it",
        "fact odometer 214500km",
    ),
    "plate": ("plate is golf five two kilo tango romeo", "fact plate G52KTR"),
    "labor": ("one point two hours diagnosis", "fact labor 1.2h"),
    "labor in minutes": ("forty five minutes labor", "fact labor 0.75h"),
    "build date": ("built in march of twenty twenty three", "fact build-date 2023-03"),
    "color": ("colour's silver", "fact color silver"),
    "model year": ("model year twenty nineteen", "fact model-year 2019"),
    "technician": ("technician Quill", "fact technician Quill"),
    "vin": ("vin one M eight G D M nine A X K P zero four two seven eight eight", "fact vin 1M8GDM9AXKP042788"),
}


@pytest.mark.parametrize(("said", "expected"), FACTS.values(), ids=list(FACTS))
def test_fact(extractor: Extractor, said: str, expected: str) -> None:
    """Facts about the job are read from words and from digits."""
    assert told(extractor, said) == [expected]


def test_vin_over_two_utterances(extractor: Extractor) -> None:
    """A VIN may be spelled in two breaths; nothing is kept of a beginning alone."""
    first = "vin one M eight G D M nine A X"
    assert told(extractor, first) == []
    assert told(extractor, first, "K P zero four two seven eight eight") == ["fact vin 1M8GDM9AXKP042788"]
