"""The intake of a job at the command line: options, or one question at a time, and every one can be skipped."""

from __future__ import annotations

import re
import sys
from collections.abc import Callable
from dataclasses import replace
from typing import TYPE_CHECKING, Annotated, Any, Optional

import typer

from fieldnote.errors import UserMistake
from fieldnote.flow.intake_answers import Answers, read_month, read_odometer, read_steering, read_year

if TYPE_CHECKING:
    from fieldnote.vocabulary import Pack

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


_QUESTIONS: tuple[tuple[str, str, Callable[[str], Any]], ...] = (
    ("vehicle", "Which vehicle", str),
    ("family", "Family or model line", str),
    ("model_year", "Model year", read_year),
    ("build_month", "Built in (YYYY-MM)", _as_typed(read_month)),
    ("vin", "VIN", str),
    ("odometer", "Odometer, with mi or km", _as_typed(read_odometer)),
    ("order", "Repair order number", str),
    ("complaint", "What the customer says", str),
    ("steering", "Driver sits on the (left, right)", _as_typed(read_steering)),
    ("liquid", "Which water gets in", str),
    ("parked", "How it stood", str),
    ("when", "When it gets in", str),
    ("earlier_work", "Earlier work", str),
    ("since", "Since when", str),
    ("technician", "Who works on it", str),
    ("role", "In which role", str),
)
