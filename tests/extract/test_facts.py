"""Facts of the job as they are said: what the vehicle is, what its counter shows, who worked.

Common practice, no source.
"""

from __future__ import annotations

import pytest

from fieldnote.extract import Extractor
from tests.extract.telling import told

FACTS: dict[str, tuple[str, list[str]]] = {
    "odometer on her": ("she's got 98,310 on her", ["fact odometer 98310"]),
    "odometer on the dash": ("sixty one thousand four hundred on the dash", ["fact odometer 61400"]),
    "too few to be an odometer": ("put two new clips on it", ["repair trim-clip replace count 2"]),
    "odometer with a hundred thousand": ("clock shows a hundred and seven thousand", ["fact odometer 107000"]),
    "odometer in tenths of thousands": ("odometer thirty eight point two thousand", ["fact odometer 38200"]),
    "a short unit": ("odometer: 41,070 mi", ["fact odometer 41070mi"]),
    "a year with an article": ("it's a twenty sixteen", ["fact model-year 2016"]),
    "an oh eight": ("this one's an oh eight", ["fact model-year 2008"]),
    "an article and a count": ("it's a fifteen minute walk", []),
    "a name behind one word": ("tech: Ottoline", ["fact technician Ottoline"]),
    "a name behind another fact": (
        "unit 4417 tech Ottoline",
        ["fact unit-number 4417", "fact technician Ottoline"],
    ),
    "no name": ("the last tech forgot the grommet", []),
    "a mechanic in a sentence": ("some mechanic fudged it", []),
}


@pytest.mark.parametrize(("said", "meant"), FACTS.values(), ids=list(FACTS))
def test_facts(extractor: Extractor, said: str, meant: list[str]) -> None:
    """A fact is read where it is told, and nothing is made one that is told of something else."""
    assert [t for t in told(extractor, said) if not t.startswith("check")] == meant


AGAIN: dict[str, tuple[list[str], list[str]]] = {
    "the same again": (["unit 12 B", "unit number twelve bravo"], ["fact unit-number 12B"]),
    "another one": (["odometer 41,070", "odometer 41,090"], ["fact odometer 41070", "fact odometer 41090"]),
    "a VIN that could not be right, said again": (
        [
            "VIN one k l d h four one j x m n one zero nine one eight six",
            "the vin again, one kilo lima bravo hotel four one juliet x-ray mike november one zero nine one eight six",
        ],
        ["fact vin 1KLBH41JXMN109186"],
    ),
}


@pytest.mark.parametrize(("said", "meant"), AGAIN.values(), ids=list(AGAIN))
def test_facts_said_again(extractor: Extractor, said: list[str], meant: list[str]) -> None:
    """A fact that is said again is one; what could not be right as heard is replaced by what can."""
    assert list(told(extractor, *said)) == meant
