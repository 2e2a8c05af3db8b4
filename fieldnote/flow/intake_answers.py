"""The intake of a job as people answer: text is read, odd answers are refused or remarked on."""

from __future__ import annotations

import re
from dataclasses import dataclass

from fieldnote.errors import UserMistake
from fieldnote.records import Conditions, Intake

_MONTH = re.compile(r"(?P<year>\d{4})-(?P<month>0[1-9]|1[0-2])")
_ODOMETER = re.compile(r"(?P<number>\d[\d,. ]*)\s*(?P<unit>mi|miles|km|kilometers|kilometres)?", re.IGNORECASE)
_KNOWN_YEARS = range(1950, 2100)


@dataclass(frozen=True, slots=True)
class Answers:
    """What was given, as typed."""

    vehicle: str | None = None
    family: str | None = None
    model_year: int | None = None
    build_month: str | None = None
    vin: str | None = None
    odometer: str | None = None
    order: str | None = None
    complaint: str | None = None
    steering: str | None = None
    liquid: list[str] | None = None
    parked: list[str] | None = None
    when: list[str] | None = None
    earlier_work: list[str] | None = None
    since: str | None = None
    technician: str | None = None
    role: str | None = None

    def needs_pack(self) -> bool:
        """Whether anything has to be looked up in the vocabulary."""
        return any((self.liquid, self.parked, self.when, self.earlier_work))


def intake_of(answers: Answers) -> Intake:
    """The intake that the answers give; conditions are still as typed.

    Raises:
        UserMistake: an answer cannot be what it should be.

    """
    number, unit = read_odometer(answers.odometer) if answers.odometer else (None, None)
    return Intake(
        vehicle=_text(answers.vehicle),
        family=_text(answers.family),
        model_year=read_year(answers.model_year),
        build_month=read_month(answers.build_month),
        vin=_vin(answers.vin),
        odometer=number,
        odometer_unit=unit,
        order_number=_text(answers.order),
        complaint=_text(answers.complaint),
        steering=read_steering(answers.steering),  # type: ignore[arg-type]
        conditions=Conditions(
            liquid=tuple(answers.liquid or ()),
            parked=tuple(answers.parked or ()),
            when=tuple(answers.when or ()),
            earlier_work=tuple(answers.earlier_work or ()),
            since=_text(answers.since),
        ),
        technician=_text(answers.technician),
        role=_text(answers.role),
    )


def _text(given: str | None) -> str | None:
    return " ".join(given.split()) or None if given else None


def read_year(given: int | str | None) -> int | None:
    """A model year of four digits.

    Raises:
        UserMistake: it is none.

    """
    if given is None:
        return None
    try:
        year = int(given)
    except ValueError:
        year = 0
    if year not in _KNOWN_YEARS:
        raise UserMistake(f"{given!r} is not a model year", where="model year", do="Write four digits, such as 2019.")
    return year


def read_month(given: str | None) -> str | None:
    """A month as ``2019-04``.

    Raises:
        UserMistake: it is none.

    """
    if not given:
        return None
    if not _MONTH.fullmatch(given.strip()):
        raise UserMistake(f"{given!r} is not a month", where="build month", do="Write it as 2019-04.")
    return given.strip()


def _vin(given: str | None) -> str | None:
    return "".join(given.split()).upper() or None if given else None


def read_steering(given: str | None) -> str | None:
    """Left or right.

    Raises:
        UserMistake: it is none.

    """
    if given is None:
        return None
    side = given.strip().lower()
    if side not in ("left", "right"):
        raise UserMistake(f"{given!r} is no side to sit on", where="steering", do="Write left or right.")
    return side


def read_odometer(given: str) -> tuple[float, str | None]:
    """A reading and its unit (``mi``, ``km`` or None where it was left out).

    Raises:
        UserMistake: it is not a number.

    """
    match = _ODOMETER.fullmatch(given.strip())
    if match is None:
        raise UserMistake(f"{given!r} is not a reading", where="odometer", do='Write it as "62305 mi" or "100200 km".')
    digits = match["number"].replace(" ", "").replace(",", "")
    # "62.305" is a thousands point where three digits follow: no odometer shows thousandths.
    digits = re.sub(r"\.(?=\d{3}(?:\D|$))", "", digits).rstrip(".")
    unit = (match["unit"] or "").lower()
    return float(digits), {"m": "mi", "k": "km"}.get(unit[:1])


def vin_remark(vin: str | None) -> str | None:
    """What is odd about a VIN, if anything: it is kept as given all the same."""
    if not vin:
        return None
    if len(vin) != 17:
        return f"the VIN has {len(vin)} characters instead of 17; it was kept as given"
    wrong = sorted(set(vin) - set("0123456789ABCDEFGHJKLMNPRSTUVWXYZ"))
    if wrong:
        return f"a VIN has no {' or '.join(wrong)} (letters I, O and Q are never used); it was kept as given"
    return None
