"""The intake of a job as a form: every answer can be left out and given later."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from fastapi import APIRouter
from fastapi.responses import HTMLResponse, Response
from starlette.datastructures import FormData

from fieldnote.errors import Clash, UserMistake
from fieldnote.flow import amend
from fieldnote.flow.intake_answers import Answers, intake_of, vin_remark
from fieldnote.flow.jobs import CONDITION_GROUPS, conditions_of
from fieldnote.records import Intake, Job
from fieldnote.vocabulary import Pack
from fieldnote.web.answers import status_of
from fieldnote.web.asking import OnPage, Page, Sent, text_of, texts_of
from fieldnote.web.roles import needs

router = APIRouter(prefix="/jobs/{job_id}/intake")

FIELDS = (
    ("vehicle", "Vehicle", "what the shop calls it, such as a unit number"),
    ("order", "Order number", ""),
    ("vin", "VIN", "17 letters and digits"),
    ("odometer", "Odometer", "with mi or km"),
    ("complaint", "What the customer says", ""),
    ("model_year", "Model year", "four digits"),
    ("build_month", "Built in", "as 2019-04"),
    ("family", "Model line", ""),
    ("since", "Since when", "as said"),
    ("role", "Worked on by", "a role, not a name, such as apprentice or lead"),
)
GROUP_NAMES = {
    "liquid": "Which water",
    "parked": "How it stood",
    "when": "When",
    "earlier_work": "Earlier work",
}


def nothing() -> dict[str, str | list[str]]:
    """An empty form."""
    texts: dict[str, str | list[str]] = {name: "" for name, _, _ in FIELDS}
    return {"name": "", "steering": "", **texts, **{group: [] for group in CONDITION_GROUPS}}


def choices(pack: Pack) -> list[tuple[str, str, list[tuple[str, str]]]]:
    """The groups of conditions with their choices, by id and name."""
    return [(g, GROUP_NAMES[g], [(c.id, c.name) for c in conditions_of(pack, g)]) for g in CONDITION_GROUPS]


def answers_of(form: FormData) -> Intake:
    """The intake of a sent form.

    Raises:
        UserMistake: an answer cannot be what it should be.

    """
    year = text_of(form, "model_year")
    if year and not year.isdigit():
        raise UserMistake(f"{year!r} is not a model year", where="model year", do="Write four digits, such as 2019.")
    given: dict[str, Any] = {name: text_of(form, name) or None for name, _, _ in FIELDS}
    given |= {group: texts_of(form, group) or None for group in CONDITION_GROUPS}
    given |= {"steering": text_of(form, "steering") or None, "model_year": int(year) if year else None}
    return intake_of(Answers(**given))


def sent_values(form: FormData) -> dict[str, str | list[str]]:
    """What was sent, as the form shows it again."""
    return {name: texts_of(form, name) if name in CONDITION_GROUPS else text_of(form, name) for name in nothing()}


def given_of(job: Job) -> dict[str, str | list[str]]:
    """A job's intake as the form shows it."""
    intake, told = job.intake, job.intake.conditions
    odometer = "" if intake.odometer is None else f"{intake.odometer:g} {intake.odometer_unit or ''}".strip()
    values: dict[str, Any] = {
        "vehicle": intake.vehicle,
        "order": intake.order_number,
        "vin": intake.vin,
        "odometer": odometer,
        "complaint": intake.complaint,
        "model_year": intake.model_year,
        "build_month": intake.build_month,
        "family": intake.family,
        "since": told.since,
        "role": intake.role,
        "steering": intake.steering,
    }
    texts: dict[str, str | list[str]] = {name: "" if value is None else str(value) for name, value in values.items()}
    return {"name": job.name, **texts, **{group: list(getattr(told, group)) for group in CONDITION_GROUPS}}


@router.get("")
def show(page: OnPage, job_id: str) -> HTMLResponse:
    """The form with what is known."""
    job = page.job(job_id)
    return _form(page, job, given_of(job), None)


def _form(page: Page, job: Job, given: dict[str, str | list[str]], error: UserMistake | None) -> HTMLResponse:
    return page.render(
        "intake.html.j2",
        status_of(error) if error else 200,
        job=job,
        now={name: _one(value) for name, value in given_of(job).items()},
        fields=FIELDS,
        given=given,
        choices=choices(page.house.of(job).pack),
        error=error,
        remark=vin_remark(job.intake.vin),
    )


@router.post("", dependencies=[needs("correct")])
def change(page: OnPage, job_id: str, form: Sent) -> Response:
    """Keep what was changed in the form; what was emptied in it is emptied. Nobody's later change is written over."""
    rooms = page.house.of(page.job(job_id))
    try:
        with rooms.store.atomic():
            job = rooms.store.job(job_id)
            changed = changed_in(form, job)
            refuse_to_write_over(form, job, changed)
            given = answers_of(FormData([(name, text) for name, texts in changed.items() for text in texts]))
            empty = [name for name, texts in changed.items() if not any(texts)]
            emptied = {field for name in empty for field in _KEPT_AS.get(name, (name,))}
            amend(rooms.store, job, given, page.who, rooms.pack, clear=emptied)
    except UserMistake as error:
        return _form(page, page.job(job_id), sent_values(form), error)
    return page.to(f"/jobs/{job_id}")


_KEPT_AS: dict[str, tuple[str, ...]] = {
    "order": ("order_number",),
    "odometer": ("odometer", "odometer_unit"),
    "since": ("conditions.since",),
    **{group: (f"conditions.{group}",) for group in CONDITION_GROUPS},
}
"""Under which fields of the intake an answer is kept, where it is not its own name."""


def changed_in(form: FormData, job: Job) -> dict[str, list[str]]:
    """The answers that differ from those with which the form was drawn, and from those that are kept."""
    now = given_of(job)
    sent = {name: value for name, value in sent_values(form).items() if name != "name"}
    return {
        name: value if isinstance(value, list) else [value]
        for name, value in sent.items()
        if _one(value) not in (_was(form, name), _one(now[name]))
    }


def refuse_to_write_over(form: FormData, job: Job, changed: Iterable[str]) -> None:
    """Raise ``Clash`` where an answer that was changed in the form is no longer the one with which it was drawn."""
    now = given_of(job)
    for name in changed:
        if f"was-{name}" in form and _was(form, name) != _one(now[name]):
            raise Clash("somebody changed this meanwhile", where=_label(name), do=_told(_one(now[name])))


def _was(form: FormData, name: str) -> str:
    return text_of(form, f"was-{name}")


def _one(value: str | list[str]) -> str:
    return value if isinstance(value, str) else " ".join(sorted(value))


def _label(name: str) -> str:
    return {field: label for field, label, _ in FIELDS}.get(name, GROUP_NAMES.get(name, name))


def _told(now: str) -> str:
    return f"It is {now!r} now. Keep the form again to put yours in its place." if now else "It is empty now."
