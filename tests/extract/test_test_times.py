"""How long tests ran, how soon they leaked, and how long the work took. Common practice, no source."""

from __future__ import annotations

import pytest

from fieldnote.extract import Extractor
from tests.extract.telling import told

CASES: dict[str, tuple[list[str], list[str]]] = {
    "before it showed": (
        ["Played the hose on the antenna, took two and a half minutes before it showed"],
        ["test antenna leak hose time-to-leak 2.5min"],
    ),
    "a time to show": (
        ["Hosed the left tail lamp, twenty five seconds to show"],
        ["test tail-lamp left leak hose time-to-leak 25s"],
    ),
    "the unit was said before": (
        ["Hose on the sunroof for fifteen minutes, leaked after nine"],
        ["test sunroof leak hose duration 15min time-to-leak 9min"],
    ),
    "no unit was said at all": (["Hosed the cowl, leaked after four"], ["test cowl leak hose"]),
    "a time is no count": (["Hosed the cowl", "dry at ten"], ["test cowl dry hose"]),
    "dry first, then not": (
        ["Hosed the right roof joint", "nothing at three minutes, at nine it came in"],
        ["test roof-joint right leak hose time-to-leak 9min"],
    ),
    "a time in a breath of its own": (
        ["Hose on the back glass", "eight minutes", "dry"],
        ["test back-glass dry hose duration 8min"],
    ),
    "how soon, in a breath of its own": (
        ["Hosed the fuel door", "it leaks", "after about a minute and a half"],
        ["test fuel-door leak hose time-to-leak 1.5min"],
    ),
    "how long, in a breath of its own": (
        ["Hosed the fuel door", "it leaks", "ran it for three minutes"],
        ["test fuel-door leak hose duration 3min"],
    ),
    "a second time does not overwrite": (
        ["Hosed the fuel door for six minutes, dry", "four minutes"],
        ["test fuel-door dry hose duration 6min"],
    ),
}

LABOR: dict[str, tuple[str, list[str]]] = {
    "a decimal": ("diag was one point five", ["fact labor 1.5h"]),
    "below one": ("labor point seven five", ["fact labor 0.75h"]),
    "alone": ("that's point six", ["fact labor 0.6h"]),
    "what it was spent on": ("point eight to refit", ["fact labor 0.8h"]),
    "on a thing": ("point four to reseal the trough", ["fact labor 0.4h"]),
    "a word that is no verb of the trade": ("one point two to diagnose", ["fact labor 1.2h"]),
    "for a test": ("point three for the water test", ["fact labor 0.3h"]),
    "hours for work": ("an hour to dry the carpet", ["fact labor 1h"]),
    "minutes for work": ("forty five minutes to refit the trim", ["fact labor 0.75h"]),
    "an hour and ten": ("took an hour and ten", ["fact labor 1.167h"]),
    "a test that ran an hour": (
        "it ran for an hour in the booth, dry",
        ["test dry spray-booth duration 1h"],
    ),
}


@pytest.mark.parametrize(("said", "meant"), CASES.values(), ids=list(CASES))
def test_times_of_tests(extractor: Extractor, said: list[str], meant: list[str]) -> None:
    """A time belongs to its test, as how long it ran or how soon it leaked."""
    assert list(told(extractor, *said)) == meant


@pytest.mark.parametrize(("said", "meant"), LABOR.values(), ids=list(LABOR))
def test_labor(extractor: Extractor, said: str, meant: list[str]) -> None:
    """Time spent on work is labor, however it is said; a test's time is not."""
    assert list(told(extractor, said)) == meant


SECOND_THINGS: dict[str, tuple[str, list[str]]] = {
    "two sides": (
        "stain on the left headliner and on the right headliner",
        ["evidence headliner left stain", "evidence headliner right stain"],
    ),
    "two places": (
        "puddle in the left rear footwell and in the spare wheel well",
        ["evidence rear-footwell left standing-water", "evidence spare-wheel-well standing-water"],
    ),
    "only the side again": (
        "skips in the seam sealer of the left wheelhouse and on the right",
        ["check wheelhouse/seam-sealer left skip", "check wheelhouse/seam-sealer right skip"],
    ),
    "what is said of the second is its own": (
        "carpet damp in the left front footwell and in the right front footwell it is soaked",
        ["evidence front-footwell/carpet left damp", "evidence front-footwell/carpet right soaked"],
    ),
}


@pytest.mark.parametrize(("said", "meant"), SECOND_THINGS.values(), ids=list(SECOND_THINGS))
def test_and_on_the_other(extractor: Extractor, said: str, meant: list[str]) -> None:
    """ "On the left one and on the right one": the same of both."""
    assert list(told(extractor, said)) == meant


WHAT_SHOWED: dict[str, tuple[list[str], list[str]]] = {
    "smoke at the corner": (
        ["Smoke tested the left quarter glass at three psi, smoke at the upper corner"],
        ["test quarter-glass left leak smoke corner upper pressure 3psi"],
    ),
    "dye somewhere else": (
        ["dye on the right tail lamp, dye in the spare wheel well"],
        ["test tail-lamp right leak dye", "evidence spare-wheel-well water"],
    ),
    "the hose is not what shows": (
        ["hosed the left A pillar, hose at ten psi, dry"],
        ["test a-pillar left dry hose pressure 10psi"],
    ),
    "on surfaces": (
        ["Hosed the left roof joint", "water on the left carpet and on the right carpet"],
        [
            "test roof-joint left leak hose",
            "evidence roof-joint/carpet left water",
            "evidence roof-joint/carpet right water",
        ],
    ),
    "runs out": (
        ["hose on the right front door", "runs out onto the right front carpet"],
        ["test front-door right leak hose", "evidence front-footwell/carpet right water"],
    ),
    "how warm the water was": (
        ["hose on the cowl", "water at fifteen degrees celsius", "dry"],
        ["test cowl dry hose temperature 15degC"],
    ),
    "a time told with the sign": (
        ["hose on the cowl, leaks", "two minutes twenty and a drip on the headliner"],
        ["test cowl leak hose time-to-leak 140s", "evidence cowl/headliner drip"],
    ),
    "smoke comes out": (["smoke out of the right tail lamp"], ["test tail-lamp right leak smoke"]),
    "tight everywhere else": (
        ["Paper test on the tailgate seal", "slides out easily at the lower right, grips everywhere else"],
        ["test liftgate/weatherstrip right leak paper lower"],
    ),
    "mended in between": (
        ["hosed the back glass", "resealed it with urethane", "twenty minute soak, no leak"],
        [
            "test back-glass - hose",
            "repair back-glass reseal with urethane",
            "test back-glass dry verify duration 20min",
        ],
    ),
    "the right one": (
        ["poured a cup into the left sunroof drain", "fine", "poured a cup into the right one", "leaks"],
        ["test sunroof/drain-tube left dry pour", "test sunroof/drain-tube right leak pour"],
    ),
    "no more of it": (
        ["Hosed the cowl again for a quarter of an hour and no more water"],
        ["test cowl dry hose duration 0.25h"],
    ),
}


@pytest.mark.parametrize(("said", "meant"), WHAT_SHOWED.values(), ids=list(WHAT_SHOWED))
def test_what_showed(extractor: Extractor, said: list[str], meant: list[str]) -> None:
    """What was seen while a test ran is its result, and where it was seen is its outlet."""
    assert list(told(extractor, *said)) == meant


WHICH_AND_HOW_MANY: dict[str, tuple[str, list[str]]] = {
    "of how many": ("four of the nine trim clips are missing", ["check trim-clip missing count 4"]),
    "a couple of": ("a couple of studs stripped", ["check stud stripped count 2"]),
    "an ordinal": ("the fourth stud is stripped", ["check stud stripped #4"]),
}


@pytest.mark.parametrize(("said", "meant"), WHICH_AND_HOW_MANY.values(), ids=list(WHICH_AND_HOW_MANY))
def test_which_and_how_many(extractor: Extractor, said: str, meant: list[str]) -> None:
    """How many were meant, and which of them."""
    assert list(told(extractor, said)) == meant
