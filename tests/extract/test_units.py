"""Quantities as spoken, and conversions."""

from __future__ import annotations

import itertools

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fieldnote.extract.conversions import convert, dimension
from fieldnote.extract.units import QuantityMention, UnitTable, compile_units, find_quantities
from tests.extract.number_tables import rows

PHRASES = {
    "in": ["inch", "inches", "in", '"'],
    "mm": ["millimeter", "millimeters", "millimetres", "mm"],
    "cm": ["centimeter", "centimeters", "cm"],
    "ft": ["foot", "feet", "ft"],
    "s": ["second", "seconds", "sec"],
    "min": ["minute", "minutes", "min"],
    "h": ["hour", "hours"],
    "in_lb": ["inch pound", "inch pounds", "in lb", "in lbs"],
    "ft_lb": ["foot pound", "foot pounds", "ft lbs"],
    "N_m": ["newton meter", "newton meters", "newton metres", "n m", "n·m"],
    "psi": ["psi", "p s i", "pounds of pressure"],
    "kPa": ["kilopascal", "kilopascals", "kpa"],
    "bar": ["bar"],
    "degF": ["degrees", "degrees fahrenheit", "fahrenheit", "°f"],
    "degC": ["degrees celsius", "celsius", "°c"],
    "mi": ["mile", "miles"],
    "km": ["kilometer", "kilometers"],
}
UNITS: UnitTable = compile_units({phrase: symbol for symbol, phrases in PHRASES.items() for phrase in phrases})


def quantities(text: str) -> list[QuantityMention]:
    return list(find_quantities(text.split(), UNITS))


def said(text: str) -> list[tuple[float, str]]:
    return [(q.value, q.unit) for q in quantities(text)]


# ---- the public table: NVIDIA/NeMo-text-processing, measures ------------------------------------------------------

TABLE_UNITS = {
    "feet": "ft",
    "foot": "ft",
    "hours": "h",
    "millimeters": "mm",
    "centimeters": "cm",
    "kilometers": "km",
    "miles": "mi",
}
# Left out: rates, areas, compounds and the units that the table above does not know.
TABLE = [
    (spoken, written)
    for spoken, written in rows("measure", without=("per", "square", "cubic", "watt"))
    if spoken.split()[-1] in TABLE_UNITS
]


@pytest.mark.parametrize(("spoken", "written"), TABLE)
def test_measures_of_the_public_table(spoken: str, written: str) -> None:
    """Value and unit are those that the table writes, over all words."""
    found = quantities(spoken)
    assert [(q.value, q.unit) for q in found] == [(float(written.split()[0]), TABLE_UNITS[spoken.split()[-1]])]
    assert (found[0].start, found[0].end) == (0, len(spoken.split()))


# ---- how people say them: common practice, no source --------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "value", "unit"),
    [
        ("one point four inches", 1.4, "in"),
        ("an inch and a half", 1.5, "in"),
        ("inch and a half", 1.5, "in"),
        ("an inch and three quarters", 1.75, "in"),
        ("three quarters of an inch", 0.75, "in"),
        ("one and three quarter inch", 1.75, "in"),
        ("a quarter inch", 0.25, "in"),
        ("quarter of an inch", 0.25, "in"),
        ("half an inch", 0.5, "in"),
        ("a half inch", 0.5, "in"),
        ("half a minute", 0.5, "min"),
        ("half hour", 0.5, "h"),
        ("three eighths of an inch", 0.375, "in"),
        ("three eights of an inch", 0.375, "in"),
        ("three eight of an inch", 0.375, "in"),
        ("five sixteenth of an inch", 0.3125, "in"),
        ("one thirty second of an inch", 1 / 32, "in"),
        ("seven sixteenths inch", 7 / 16, "in"),
        ("one and one half inches", 1.5, "in"),
        ("two inches and a quarter", 2.25, "in"),
        ("point five inches", 0.5, "in"),
        ("a couple of minutes", 2, "min"),
        ("couple inches", 2, "in"),
        ("ten more minutes", 10, "min"),
        ("two minutes thirty seconds", 150, "s"),
        ("two minutes and thirty seconds", 150, "s"),
        ("a minute and ten seconds", 70, "s"),
        ("two minutes thirty", 2.5, "min"),
        ("one hour fifteen minutes", 75, "min"),
        ("an hour ten", 70, "min"),
        ("to inches of it", 2, "in"),
        ("for ate minutes", 8, "min"),
        ("three in aft of the door", 3, "in"),
        ("half in deep", 0.5, "in"),
        ("a minute thirty", 1.5, "min"),
        ("two feet six inches", 30, "in"),
        ("a good inch", 1, "in"),
        ("a full minute", 1, "min"),
        ("five foot six", 5.5, "ft"),
        ("thirty second soak", 30, "s"),
        ("forty seconds", 40, "s"),
        ("ninety seconds", 90, "s"),
        ("one twenty psi", 120, "psi"),
        ("one thirty inch pounds", 130, "in_lb"),
        ("one hundred twenty psi", 120, "psi"),
        ("hundred psi", 100, "psi"),
        ("thirty five inch pounds", 35, "in_lb"),
        ("twelve foot pounds", 12, "ft_lb"),
        ("four newton meters", 4, "N_m"),
        ("fifteen p s i", 15, "psi"),
        ("two hundred kilopascals", 200, "kPa"),
        ("one point five bar", 1.5, "bar"),
        ("sixty eight degrees", 68, "degF"),
        ("twenty degrees celsius", 20, "degC"),
        ("minus five degrees celsius", -5, "degC"),
        ("35 inch-pounds", 35, "in_lb"),
        ("35 in-lbs", 35, "in_lb"),
        ("30-inch gap", 30, "in"),
        ("half-inch gap", 0.5, "in"),
        ("1 1/2 inches", 1.5, "in"),
        ("1½ inches", 1.5, "in"),
        ("3/4-inch", 0.75, "in"),
        ('2" gap', 2, "in"),
        ("2in gap", 2, "in"),
        ("10mm", 10, "mm"),
        ("1.5 in-lb", 1.5, "in_lb"),
    ],
)
def test_ways_to_say_one_quantity(text: str, value: float, unit: str) -> None:
    """Amount and unit are read with what people and recognisers put around them."""
    assert said(text) == [(pytest.approx(value), unit)]


@pytest.mark.parametrize(
    ("text", "low", "high", "unit"),
    [
        ("two to three inches", 2, 3, "in"),
        ("two inches to three inches", 2, 3, "in"),
        ("two and a half to three inches", 2.5, 3, "in"),
        ("between two and three inches", 2, 3, "in"),
        ("ten or fifteen minutes", 10, 15, "min"),
        ("five six minutes", 5, 6, "min"),
        ("ten fifteen minutes", 10, 15, "min"),
        ("a minute or two", 1, 2, "min"),
        ("a minute to a minute and a half", 1, 1.5, "min"),
        ("30-35 psi", 30, 35, "psi"),
        ("2 - 3 inches", 2, 3, "in"),
    ],
)
def test_ranges_share_a_unit(text: str, low: float, high: float, unit: str) -> None:
    """A range is one quantity with both ends; its value is the upper one."""
    found = quantities(text)
    assert [(q.low, q.high, q.value, q.unit) for q in found] == [(low, high, high, unit)]
    assert (found[0].start, found[0].end) == (0, len(text.split()))


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("two ten minute tests", [(10, "min")]),
        ("one thirty second soak", [(30, "s")]),
        ("number two ten inches back", [(10, "in")]),
        ("six inch and eight inch", [(6, "in"), (8, "in")]),
        ("two three inch gaps", [(3, "in")]),
        ("one two inch split", [(2, "in")]),
        ("two by three inches", [(2, "in"), (3, "in")]),
        ("forty seconds and a gap", [(40, "s")]),
        ("an inch and quarter panel", [(1, "in")]),
        ("in two minutes ten inches down", [(2, "min"), (10, "in")]),
        ("one inch no half an inch", [(1, "in"), (0.5, "in")]),
        ("two minutes at forty psi", [(2, "min"), (40, "psi")]),
    ],
)
def test_quantities_beside_other_numbers(text: str, expected: list[tuple[float, str]]) -> None:
    """Counts, item numbers and names of parts stay out of a quantity."""
    assert said(text) == expected


VAGUE = [
    "a few minutes",
    "2 in the corner",
    "a second grommet",
    "the second hinge",
    "inches of it",
    "leaked for minutes",
    "close to inches",
    "torqued to inch pounds",
    "two in the corner",
    "went to foot",
    "moved the hose to feet",
    "half past nine",
    "",
]


@pytest.mark.parametrize("text", VAGUE)
def test_no_quantity(text: str) -> None:
    """Vague amounts, ordinals and "in" as a preposition give none."""
    assert said(text) == []


def test_plurals_made_of_plurals_do_no_harm() -> None:
    """A table to which plurals of everything were added ("minuteses") reads as before."""
    table = compile_units({"minute": "min", "minutes": "min", "minuteses": "min", "psi": "psi", "psis": "psi"})
    assert [q.value for q in find_quantities(["one", "twenty", "minutes"], table)] == [120]
    assert [q.value for q in find_quantities(["two", "ten", "minute", "tests"], table)] == [10]
    assert [q.value for q in find_quantities(["one", "twenty", "psi"], table)] == [120]


def test_an_article_is_weaker_evidence() -> None:
    """ "A minute" is 1 min and says that only an article was heard."""
    assert [(q.value, q.unit, q.how) for q in quantities("leaked in a minute")] == [(1, "min", "article")]
    assert [(q.value, q.how) for q in quantities("one minute")] == [(1, "number")]


WORDS = [
    "a",
    "an",
    "one",
    "two",
    "thirty",
    "second",
    "half",
    "quarter",
    "of",
    "and",
    "to",
    "or",
    "inch",
    "inches",
    "minutes",
    "foot",
    "psi",
    "1/2",
    "30-inch",
]


@given(st.lists(st.one_of(st.sampled_from(WORDS), st.text(max_size=6)), max_size=14))
def test_any_words_are_safe(tokens: list[str]) -> None:
    """No list of words raises; spans lie inside it and are in order; ranges run upward."""
    last = 0
    for q in find_quantities(tokens, UNITS):
        assert last <= q.start < q.end <= len(tokens)
        assert q.low is None or q.low < q.value == q.high
        last = q.end - 1


# ---- conversions --------------------------------------------------------------------------------------------------

PINT = {
    "m": "meter", "mm": "millimeter", "cm": "centimeter", "in": "inch", "ft": "foot", "mi": "mile", "km": "kilometer",
    "s": "second", "min": "minute", "h": "hour",
    "N_m": "newton * meter", "in_lb": "inch * force_pound", "ft_lb": "foot * force_pound",
    "Pa": "pascal", "kPa": "kilopascal", "bar": "bar", "psi": "psi",
    "degC": "degC", "degF": "degF",
}  # fmt: skip
REGISTRY = pint.UnitRegistry()
PAIRS = [(a, b) for a, b in itertools.permutations(PINT, 2) if dimension(a) == dimension(b)]


@pytest.mark.parametrize(("unit", "to"), PAIRS)
def test_conversions_agree_with_pint(unit: str, to: str) -> None:
    """Every pair of like units converts as pint, an independent library, does."""
    for value in (0.25, 1.0, 35.0, 212.0):
        expected = REGISTRY.Quantity(value, PINT[unit]).to(PINT[to]).magnitude
        assert convert(value, unit, to) == pytest.approx(expected, rel=1e-12, abs=1e-9)


@pytest.mark.parametrize(
    ("value", "unit", "to", "expected"),
    [
        # The 1959 yard and pound and standard gravity; NIST SP 811 appendix B prints them rounded.
        (1, "in", "mm", 25.4),
        (1, "ft", "m", 0.3048),
        (1, "mi", "km", 1.609344),
        (1, "in_lb", "N_m", 0.1129848290276167),
        (1, "ft_lb", "N_m", 1.3558179483314004),
        (1, "psi", "kPa", 6.894757293168361),
        (32, "degF", "degC", 0),
        (212, "degF", "degC", 100),
        (-40, "degF", "degC", -40),
        (98.6, "degF", "degC", 37),
    ],
)
def test_exact_definitions(value: float, unit: str, to: str, expected: float) -> None:
    """The definitions come out to the last digit of a float."""
    assert convert(value, unit, to) == pytest.approx(expected, rel=4e-16, abs=1e-13)


@pytest.mark.parametrize(("unit", "to"), [("in", "s"), ("furlong", "m"), ("m", "furlong"), ("psi", "N_m")])
def test_unlike_units_are_refused(unit: str, to: str) -> None:
    """Units that are unknown or measure different things raise an error that names them."""
    with pytest.raises(ValueError, match=f"{unit}|{to}"):
        convert(1, unit, to)
