"""The arithmetic of a VIN: check digit, model year, form.

Source: 49 CFR 565.15 (letter values, weights, year code, position 7). The rule also prints decimal remainders, some of
them rounded wrongly; the check digit here is the integer remainder of 11, and 10 is X.
"""

from __future__ import annotations

LENGTH = 17
_VALUES = {
    **{str(n): n for n in range(10)},
    **dict(zip("ABCDEFGH", range(1, 9), strict=True)),
    **dict(zip("JKLMN", range(1, 6), strict=True)),
    "P": 7,
    "R": 9,
    **dict(zip("STUVWXYZ", range(2, 10), strict=True)),
}
_WEIGHTS = (8, 7, 6, 5, 4, 3, 2, 10, 0, 9, 8, 7, 6, 5, 4, 3, 2)
# I, O, Q, U, Z and 0 are no year codes; the 30 codes repeat from 2010 on.
_YEAR_CODES = "ABCDEFGHJKLMNPRSTVWXY123456789"
_FIRST_CYCLE, _CYCLE = 1980, 30
_SERIAL_DIGITS = 4


def weighted_sum(vin: str) -> int | None:
    """The sum of value times weight over 17 characters; None where the length is wrong or a character has no value."""
    if len(vin) != LENGTH or not all(c in _VALUES for c in vin):
        return None
    return sum(_VALUES[c] * weight for c, weight in zip(vin, _WEIGHTS, strict=True))


def check_digit(vin: str) -> str | None:
    """The character that belongs at position 9 of ``vin`` (upper case), whatever is there now."""
    total = weighted_sum(vin)
    if total is None:
        return None
    return "X" if total % 11 == 10 else str(total % 11)


def model_year(vin: str) -> int | None:
    """The model year of a light vehicle: the code at position 10, in the cycle that position 7 tells.

    Position 7 is a letter from 2010 on and a digit before.
    """
    if len(vin) != LENGTH or vin[9] not in _YEAR_CODES:
        return None
    return _FIRST_CYCLE + _YEAR_CODES.index(vin[9]) + (_CYCLE if vin[6].isalpha() else 0)


def other_year(vin: str) -> int | None:
    """The year of the other cycle: above 4536 kg and for trailers position 7 says nothing."""
    year = model_year(vin)
    if year is None:
        return None
    return year - _CYCLE if year >= _FIRST_CYCLE + _CYCLE else year + _CYCLE


def faults(vin: str) -> int:
    """How many things about the form of ``vin`` are not as North American makers write it.

    Position 9 is a digit or X, position 10 a year code, the last four are digits (565.15(d), from memory).
    """
    return (
        (vin[8] not in "0123456789X")
        + (vin[9] not in _YEAR_CODES)
        + sum(not c.isdigit() for c in vin[-_SERIAL_DIGITS:])
        + sum(c in "IOQ" for c in vin)
    )
