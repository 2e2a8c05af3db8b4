"""Vehicle identification numbers."""

from __future__ import annotations

import tomllib
from importlib.resources import files

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from fieldnote.extract.vin import continue_vin, find_vin, read_vin, read_vin_over, vin_at
from fieldnote.extract.vin_rules import check_digit, model_year, other_year, weighted_sum

# ---- 49 CFR 565.15: published vectors -----------------------------------------------------------------------------

# VIN, weighted sum, check digit, where published.
VALID = [
    pytest.param("1G4AH59H45G118341", 411, "4", id="49 CFR 565 sample calculation"),
    pytest.param("1J9RP1A36A1644345", 314, "6", id="NHTSA outline for new manufacturers"),
    pytest.param("1M8GDM9AXKP042788", 351, "X", id="Wikibooks worked example"),
    pytest.param("11111111111111111", 89, "1", id="straight ones, Wikipedia"),
    pytest.param("5GZCZ43D13S812715", 408, "1", id="Wikipedia"),
    pytest.param("JH2RC3605MM101581", 280, "5", id="teaching pages on the calculation"),
]


@pytest.mark.parametrize(("vin", "total", "digit"), VALID)
def test_published_vins_are_valid(vin: str, total: int, digit: str) -> None:
    """Sum and check digit are the published ones."""
    assert (weighted_sum(vin), check_digit(vin), vin[8]) == (total, digit, digit)
    assert read_vin(vin).status == "valid"


def test_published_invalid_vins() -> None:
    """What Wikipedia copies call a colliding pair has sum 384, digit X; Y for X in the worked example fails."""
    assert (weighted_sum("SGZCZ43D13S812715"), check_digit("SGZCZ43D13S812715")) == (384, "X")
    assert read_vin("SGZCZ43D13S812715").status == "unchecked"
    assert read_vin("1M8GDM9AYKP042788").status == "wrong"


@pytest.mark.parametrize("position", [n for n in range(17) if n != 8])
def test_weights_by_position(position: int) -> None:
    """Weights are 8 7 6 5 4 3 2 10 0 9 8 7 6 5 4 3 2 (49 CFR 565.15): a 2 for a 1 adds the weight once."""
    weights = [8, 7, 6, 5, 4, 3, 2, 10, 0, 9, 8, 7, 6, 5, 4, 3, 2]
    assert weighted_sum("1" * position + "2" + "1" * (16 - position)) == 89 + weights[position]


def test_letter_values() -> None:
    """A1-H8, J1-N5, P7, R9, S2-Z9 (49 CFR 565.15); I, O and Q have none."""
    values = dict(zip("ABCDEFGHJKLMNPRSTUVWXYZ", [*range(1, 9), *range(1, 6), 7, 9, *range(2, 10)], strict=True))
    for letter, value in values.items():
        assert weighted_sum(letter + "1" * 16) == 89 - 8 + 8 * value
    for letter in "IOQ":
        assert weighted_sum(letter + "1" * 16) is None


@pytest.mark.parametrize(
    ("code", "position_7", "year"),
    [
        ("A", "1", 1980),
        ("H", "1", 1987),
        ("J", "1", 1988),
        ("P", "1", 1993),
        ("R", "1", 1994),
        ("Y", "1", 2000),
        ("1", "1", 2001),
        ("9", "1", 2009),
        ("A", "A", 2010),
        ("K", "B", 2019),
        ("R", "C", 2024),
        ("S", "C", 2025),
        ("T", "C", 2026),
    ],
)
def test_year_codes(code: str, position_7: str, year: int) -> None:
    """Position 10 tells the year; position 7, a letter from 2010 on, which of the two cycles (565.15(b))."""
    vin = "111111" + position_7 + "11" + code + "1111111"
    assert model_year(vin) == year
    assert other_year(vin) == (year + 30 if year < 2010 else year - 30)


@pytest.mark.parametrize("code", ["I", "O", "Q", "U", "Z", "0"])
def test_letters_that_are_no_year(code: str) -> None:
    """I, O, Q, U, Z and 0 code no year."""
    assert model_year("1" * 9 + code + "1" * 7) is None


# ---- as said: common practice, no source --------------------------------------------------------------------------

WORKED = "1M8GDM9AXKP042788"


@pytest.mark.parametrize(
    "text",
    [
        "vin one mike eight golf delta mike nine alpha x-ray kilo papa zero four two seven double eight",
        "vin is one m eight g d m nine a x k p oh four two seven eight eight",
        "the v i n is one em ate gee dee m niner ay ex kay pea oh for to seven double ate",
        "vehicle identification number one m as in mike eight g d m nine a x ray k p oh forty two seven eighty eight",
        "vin 1 m 8 g d m 9 a x k p 0 4 2 7 8 8",
        "VIN: 1M8GD M9AXK P042788.",
        "VIN 1-M-8-G-D-M-9-A-X-K-P-0-4-2-7-8-8.",
        "1M8GDM9AXKP042788",
        "1m8gdm9axkp042788",
        "1M8GDM9AXKP042788 is the vin",
        "one m eight g d m nine a x k p oh four two seven eight eight",
        "vin one m eight g d m nine a x k p oh four two seven eight eight two thousand nineteen model",
        "vin one, m, eight, g, d, m, nine, a, x, k, p, zero, four, two, seven, eight, eight.",
    ],
)
def test_ways_to_spell_a_vin(text: str) -> None:
    """Letters, words, slips of the recogniser, numbers and written forms give the VIN and its year."""
    reading = read_vin(text)
    assert (reading.vin, reading.status, reading.year, reading.warnings) == (WORKED, "valid", 1989, ())


def test_and_heard_for_n() -> None:
    """ "And" between two characters is the letter N where that makes the VIN right, and a pause else."""
    vin = "1M8GDN9A2KP042788"
    assert check_digit(vin) == "2"
    assert read_vin("vin one m eight g d and nine a two k p zero four two seven eight eight").vin == vin
    assert read_vin("vin one m eight g d m and nine a x k p zero four two seven eight eight").vin == WORKED


def test_over_two_utterances() -> None:
    """Utterances join; what is said again at the seam counts once; a whole VIN said again replaces the first."""
    first, second = "vin one m eight g d m nine a", "x k p oh four two seven eight eight"
    assert read_vin(first).status == "incomplete"
    assert read_vin_over([first, second]).vin == WORKED
    assert read_vin_over([first, "continuing a x k p oh four two seven eight eight"]).vin == WORKED
    assert read_vin_over([first, "vin " + WORKED]).vin == WORKED
    assert read_vin_over([first, "hose on the door"]).status == "incomplete"
    assert continue_vin(read_vin(first), ["one", "pinhole", "in", "the", "seam"]) is None
    assert read_vin_over([first, "x k p", "oh four two", "seven eight eight"]).vin == WORKED
    again = continue_vin(read_vin(first), ["then", *second.split(), "hose"])
    assert again is not None
    assert (again.start, again.end, again.reading.status) == (1, 10, "valid")


@pytest.mark.parametrize(
    ("text", "status"),
    [
        ("vin ends in two seven eight eight", "incomplete"),
        ("vin one m eight g d m nine a x k p oh four two seven eight eight nine nine nine zero" + " one" * 3, "valid"),
        ("vin one m eight g d m nine a x k p oh four two seven eight nine nine nine", "too-long"),
        ("vin is unreadable", "none"),
        ("", "none"),
    ],
)
def test_other_lengths(text: str, status: str) -> None:
    """Too few or too many characters are said to be so."""
    reading = read_vin(text)
    assert reading.status == status
    assert reading.warnings or status == "valid"


def test_a_vin_without_check_digit_is_warned_of() -> None:
    """A VIN as European makers write it (fillers in 4 to 6 and 9; made up) is kept and warned of, not refused."""
    reading = read_vin("vin x x x zulu zulu zulu three b zulu w e six eight nine seven two five")
    assert (reading.vin, reading.status, reading.year, reading.proposal) == (
        "XXXZZZ3BZWE689725",
        "unchecked",
        None,
        None,
    )
    assert "outside North America" in reading.warnings[0]


def test_letters_that_no_vin_has() -> None:
    """O is zero; I and Q are never taken, and mended only as a proposal."""
    assert read_vin(WORKED.replace("0", "O")).vin == WORKED
    reading = read_vin("vin i m eight g d m nine a x k p zero four two seven eight eight")
    assert (reading.vin, reading.status) == ("I" + WORKED[1:], "wrong")
    assert reading.proposal is not None
    assert reading.proposal.vin == WORKED


def test_one_slip_is_proposed_and_not_taken() -> None:
    """Nine for five makes the CFR's sample fail; five is the only said-alike mend, and only proposed."""
    reading = read_vin("vin one g four a h nine nine h four five g one one eight three four one")
    assert (reading.vin, reading.status, reading.year) == ("1G4AH99H45G118341", "wrong", None)
    assert reading.proposal is not None
    proposal = reading.proposal
    assert (proposal.vin, proposal.position, proposal.heard, proposal.instead) == ("1G4AH59H45G118341", 6, "9", "5")
    assert proposal.year == 2005
    assert any("proposed" in warning for warning in reading.warnings)


def test_several_slips_are_listed_and_none_is_chosen() -> None:
    """Where several said-alike letters would fit, all are candidates and none is proposed."""
    reading = read_vin("vin one m eight g t m nine a x k p zero four two seven eight eight")
    assert reading.proposal is None
    assert len(reading.candidates) > 1
    assert WORKED in [candidate.vin for candidate in reading.candidates]


def test_words_of_the_alphabet_are_not_doubted() -> None:
    """What was said as November is no slip for Mike."""
    reading = read_vin(
        "vin one mike eight golf delta november nine alpha x-ray kilo papa zero four two seven eight eight"
    )
    assert reading.status == "wrong"
    assert "M" not in [candidate.instead for candidate in reading.candidates]


@pytest.mark.parametrize(
    "text", ["the seam is fine", "unit four one", "vin", "one two three four five six seven eight", ""]
)
def test_no_vin_in_talk(text: str) -> None:
    """Without the word and without 17 characters in a row there is none."""
    assert find_vin(text.split()) is None


def test_span_and_other_words_for_vin() -> None:
    """The span runs from the word to the last character; callers may know another word for it."""
    tokens = ["okay", "vin", "is", "1M8GDM9AXKP042788", "hose", "on"]
    found = find_vin(tokens)
    assert found is not None
    assert (found.start, found.end) == (1, 4)
    at = vin_at(["chassis", "number", "is", "1M8GDM9AXKP042788"], 2)
    assert at is not None
    assert (at.start, at.end, at.reading.status) == (3, 4, "valid")


# ---- properties ---------------------------------------------------------------------------------------------------

LETTERS = "ABCDEFGHJKLMNPRSTUVWXYZ"
YEARS = "ABCDEFGHJKLMNPRSTVWXY123456789"
DIGIT_WORDS = ["zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine"]
TABLE = tomllib.loads(files("fieldnote.extract").joinpath("spelling.toml").read_text(encoding="utf-8"))


@st.composite
def vins(draw: st.DrawFn) -> str:
    """A well-formed VIN of a North American maker with its check digit."""
    body = draw(st.text(LETTERS + "0123456789", min_size=17, max_size=17))
    year = draw(st.sampled_from(YEARS))
    serial = draw(st.text("0123456789", min_size=4, max_size=4))
    vin = draw(st.sampled_from("12345")) + body[1:9] + year + body[10:13] + serial
    digit = check_digit(vin)
    assert digit is not None
    return vin[:8] + digit + vin[9:]


def ways(character: str) -> list[str]:
    """All that the table knows for one character, and the character itself."""
    if character.isdigit():
        slips = TABLE["slip"].get(character, [])
        zero = ["oh", "o"] if character == "0" else []
        return [DIGIT_WORDS[int(character)], character, *zero, *slips]
    return [character.lower(), *(w for kind in ("word", "letter", "slip") for w in TABLE[kind].get(character, []))]


@st.composite
def sayings(draw: st.DrawFn, vin: str, *, slips: bool = True) -> list[list[str]]:
    """``vin`` spelled in any mix: the words for each character, or for two alike with "double"."""
    out: list[list[str]] = []
    i = 0
    while i < len(vin):
        choices = [w for w in ways(vin[i]) if slips or w not in TABLE["slip"].get(vin[i], [])]
        said = draw(st.sampled_from(choices)).split()
        twice = vin[i : i + 2] == vin[i] * 2
        # "Double u" is how W is said, so nobody says it for two of U.
        if twice and said[0] not in ("u", "you", "double") and draw(st.booleans()):
            out.append(["double", *said])
            i += 2
            continue
        if out and out[-1][-1] == "x" and said[0] == "ray":
            said = [vin[i].lower()]
        out.append(said)
        i += 1
    return out


@given(st.data())
def test_any_valid_vin_spelled_in_any_mix_reads_back(data: st.DataObject) -> None:
    """Letters, words, names of letters, slips and doubles, mixed: the VIN comes back and is valid."""
    vin = data.draw(vins())
    words = [word for part in data.draw(sayings(vin)) for word in part]
    reading = read_vin(" ".join(["vin", *words]))
    assert (reading.vin, reading.status) == (vin, "valid")


@given(st.data())
def test_any_valid_vin_in_two_utterances_reads_back(data: st.DataObject) -> None:
    """Cut anywhere, with two characters or more on each side."""
    vin = data.draw(vins())
    parts = data.draw(sayings(vin, slips=False))
    assume(len(parts) > 4)
    cut = data.draw(st.integers(2, len(parts) - 2))
    texts = [" ".join(word for part in half for word in part) for half in (parts[:cut], parts[cut:])]
    reading = read_vin_over(["vin " + texts[0], texts[1]])
    assert (reading.vin, reading.status) == (vin, "valid")


@given(st.data())
def test_any_valid_vin_written_in_pieces_reads_back(data: st.DataObject) -> None:
    """As recognisers write it: capitals cut anywhere."""
    vin = data.draw(vins())
    cuts = sorted(data.draw(st.sets(st.integers(1, 16), max_size=8)))
    pieces = [vin[a:b] for a, b in zip([0, *cuts], [*cuts, 17], strict=True)]
    assert read_vin("VIN is " + " ".join(pieces)).vin == vin


@given(st.data())
def test_any_single_slip_that_is_unique_is_proposed(data: st.DataObject) -> None:
    """A said-alike character in a valid VIN: the true one is among the candidates, and proposed where it is alone."""
    vin = data.draw(vins())
    pairs = {pair["pair"] for pair in TABLE["alike"]} | {pair["pair"][::-1] for pair in TABLE["alike"]}
    slips = [(i, b) for i, c in enumerate(vin) for a, b in pairs if a == c]
    assume(slips)
    i, instead = data.draw(st.sampled_from(sorted(slips)))
    slipped = vin[:i] + instead + vin[i + 1 :]
    # C and 3, T and 3, H and 8 have the same value: no check digit can tell them apart.
    assume(check_digit(slipped) != slipped[8])
    reading = read_vin("vin " + " ".join(slipped.lower()))
    assert (reading.vin, reading.status, reading.year) == (
        slipped,
        "wrong" if slipped[0] in "12345" else "unchecked",
        None,
    )
    assert vin in [candidate.vin for candidate in reading.candidates]
    for candidate in reading.candidates:
        assert check_digit(candidate.vin) == candidate.vin[8]
    assert (reading.proposal is not None) == (len(reading.candidates) == 1)
    if reading.proposal:
        assert reading.proposal.vin == vin


WORDS = [
    "vin",
    "v",
    "i",
    "n",
    "one",
    "m",
    "x",
    "ray",
    "double",
    "oh",
    "and",
    "is",
    "1M8GDM9AXKP042788",
    "for",
    "twenty",
    "VIN",
]


@given(st.lists(st.one_of(st.sampled_from(WORDS), st.text(max_size=6)), max_size=24))
def test_any_words_are_safe(tokens: list[str]) -> None:
    """No list of words raises; spans lie inside it; a valid reading has 17 characters."""
    found = find_vin(tokens)
    for reading in (read_vin(" ".join(tokens)), *([found.reading] if found else [])):
        assert (len(reading.vin) == 17) == (reading.status in ("valid", "unchecked", "wrong"))
        assert len(reading.said) == len(reading.vin)
    assert found is None or 0 <= found.start < found.end <= len(tokens)
