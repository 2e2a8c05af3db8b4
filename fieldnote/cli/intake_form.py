"""The intake of a job at the command line: options, or one question at a time, and every one can be skipped."""

from __future__ import annotations

import re
import sys
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Annotated, Any, Optional

import typer

from fieldnote.errors import UserMistake
from fieldnote.records import Conditions, Intake

if TYPE_CHECKING:
    from fieldnote.vocabulary import Pack

_MONTH = re.compile(r"(?P<year>\d{4})-(?P<month>0[1-9]|1[0-2])")
_ODOMETER = re.compile(r"(?P<number>\d[\d,. ]*)\s*(?P<unit>mi|miles|km|kilometers|kilometres)?", re.IGNORECASE)
_KNOWN_YEARS = range(1950, 2100)

Vehicle = Annotated[Optional[str], typer.Option(help="What it is called in the shop, such as a unit number.")]
Family = Annotated[Optional[str], typer.Option(help="Vehicle family or model line; groups jobs later.")]
ModelYear = Annotated[Optional[int], typer.Option("--model-year", help="Model year, four digits.")]
BuildMonth = Annotated[Optional[str], typer.Option("--build-month", metavar="YYYY-MM", help="Month it was built.")]
Vin = Annotated[Optional[str], typer.Option("--vin", help="Vehicle identification number.")]
Odometer = Annotated[Optional[str], typer.Option(help='Reading with its unit: "62,305 mi" or "100200 km".')]
Order = Annotated[Optional[str], typer.Option("--order", help="The repair order's number.")]
Complaint = Annotated[Optional[str], typer.Option(help="The customer's words.")]
Steering = Annotated[Optional[str], typer.Option(help="Side that the driver sits on: left or right.")]
Liquid = Annotated[Optional[list[str]], typer.Option(help="Which water gets in: rain, wash, …; may be repeated.")]
Parked = Annotated[Optional[list[str]], typer.Option(help="How it stood: nose-up, nose-down, …; may be repeated.")]
When = Annotated[Optional[list[str]], typer.Option(help="When: parked, driving, air-conditioning-on, …")]
EarlierWork = Annotated[Optional[list[str]], typer.Option("--earlier-work", help="glass, collision, rack, …")]
Since = Annotated[Optional[str], typer.Option(help="Since when, as said.")]
Technician = Annotated[Optional[str], typer.Option(help="Who works on it.")]
Role = Annotated[Optional[str], typer.Option(help="In which role, as the shop calls it: apprentice, lead, …")]


@dataclass(frozen=True, slots=True)
class Answers:
    """What was given on the command line, as typed."""

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
        model_year=_year(answers.model_year),
        build_month=_month(answers.build_month),
        vin=_vin(answers.vin),
        odometer=number,
        odometer_unit=unit,
        order_number=_text(answers.order),
        complaint=_text(answers.complaint),
        steering=_steering(answers.steering),  # type: ignore[arg-type]
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


def ask(answers: Answers, pack: Pack) -> Answers:
    """Ask for everything that was not given, one question at a time; Enter skips one, a dot skips the rest.

    Raises:
        UserMistake: nobody is at the terminal.

    """
    if not sys.stdin.isatty():
        raise UserMistake("nobody is here to be asked", where="--ask", do="Give the answers as options instead.")
    typer.echo("Enter skips a question, a dot skips the rest.", err=True)
    for field, question, check in _QUESTIONS:
        if getattr(answers, field) is not None:
            continue
        group = field if field in ("liquid", "parked", "when", "earlier_work") else ""
        answer = _one(question + _choices(pack, group), _condition_check(pack, group) if group else check)
        if answer is _STOP:
            break
        if answer is not None:
            answers = replace(answers, **{field: answer})
    return answers


_STOP: Any = object()


def _one(question: str, check: Callable[[str], Any]) -> Any:
    """One answer: None where it was skipped, ``_STOP`` where the rest is. A wrong answer is asked for again."""
    while True:
        typed = typer.prompt(question, default="", show_default=False, err=True).strip()
        if not typed:
            return None
        if typed == ".":
            return _STOP
        try:
            return check(typed)
        except UserMistake as error:
            typer.echo(f"  {error}", err=True)


def _choices(pack: Pack, group: str) -> str:
    if not group:
        return ""
    from fieldnote.flow.jobs import conditions_of

    return f" ({', '.join(condition.id for condition in conditions_of(pack, group))})"


def _condition_check(pack: Pack, group: str) -> Callable[[str], list[str]]:
    from fieldnote.flow.jobs import condition_id

    return lambda typed: [condition_id(pack, group, word) for word in re.split(r"\s*,\s*", typed) if word]


def _as_typed(check: Callable[[Any], Any]) -> Callable[[str], str]:
    """Check an answer, and keep it as it was typed."""

    def kept(typed: str) -> str:
        check(typed)
        return typed

    return kept


def _text(given: str | None) -> str | None:
    return " ".join(given.split()) or None if given else None


def _year(given: int | str | None) -> int | None:
    if given is None:
        return None
    try:
        year = int(given)
    except ValueError:
        year = 0
    if year not in _KNOWN_YEARS:
        raise UserMistake(f"{given!r} is not a model year", where="model year", do="Write four digits, such as 2019.")
    return year


def _month(given: str | None) -> str | None:
    if not given:
        return None
    if not _MONTH.fullmatch(given.strip()):
        raise UserMistake(f"{given!r} is not a month", where="build month", do="Write it as 2019-04.")
    return given.strip()


def _vin(given: str | None) -> str | None:
    return "".join(given.split()).upper() or None if given else None


def _steering(given: str | None) -> str | None:
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


_QUESTIONS: tuple[tuple[str, str, Callable[[str], Any]], ...] = (
    ("vehicle", "Which vehicle", str),
    ("family", "Family or model line", str),
    ("model_year", "Model year", _year),
    ("build_month", "Built in (YYYY-MM)", _as_typed(_month)),
    ("vin", "VIN", str),
    ("odometer", "Odometer, with mi or km", _as_typed(read_odometer)),
    ("order", "Repair order number", str),
    ("complaint", "What the customer says", str),
    ("steering", "Driver sits on the (left, right)", _as_typed(_steering)),
    ("liquid", "Which water gets in", str),
    ("parked", "How it stood", str),
    ("when", "When it gets in", str),
    ("earlier_work", "Earlier work", str),
    ("since", "Since when", str),
    ("technician", "Who works on it", str),
    ("role", "In which role", str),
)


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
