"""The list of jobs with what is missing in each, and the form that opens one."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

from fastapi import APIRouter, Query
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from fieldnote.errors import UserMistake
from fieldnote.flow import open_job
from fieldnote.records import Job, JobLine, Narrative
from fieldnote.store import Query as Search
from fieldnote.web.asking import House, OnPage, Page, Sent, text_of
from fieldnote.web.intake import FIELDS, answers_of, choices, nothing, sent_values
from fieldnote.web.roles import needs

router = APIRouter()
PAGE = 25
SHOWN = ("open", "closed", "all")


@dataclass(frozen=True, slots=True)
class Row:
    """One job in the list: how far it is, and what it lacks."""

    line: JobLine
    order: str
    standing: str
    missing: tuple[str, ...]
    more: int


@router.get("/")
def show(
    page: OnPage, q: str = "", state: str = "open", after: Annotated[int, Query(ge=0, le=1_000_000)] = 0
) -> HTMLResponse:
    """The jobs, newest first; with ``q`` those that fit the words."""
    status = state if state in SHOWN else "open"
    store = page.house.rooms.store
    if any(c.isalnum() for c in q):
        query = Search(words=q, status=None if status == "all" else status)
        lines = store.search(query, limit=after + PAGE + 1)
    else:
        lines = store.jobs(status=None if status == "all" else status, limit=after + PAGE + 1)  # type: ignore[arg-type]
    rows = [row_of(page.house, line) for line in lines[after : after + PAGE]]
    return page.render(
        "jobs.html.j2", rows=rows, q=q, state=status, after=after, more=len(lines) > after + PAGE, page_size=PAGE
    )


def row_of(house: House, line: JobLine) -> Row:
    """A line of the list with what its job lacks."""
    job = house.rooms.store.job(line.id)
    story = house.write_ups.of(house.of(job), job)
    points = [point.text.rstrip(".") for point in story.open_points]
    gaps = [f"no {name}" for name in lacks(job)]
    missing = (*points[:1], *([", ".join(gaps)] if gaps else ()), *points[1:])
    return Row(line, job.intake.order_number or "", standing(house, job, story), missing[:2], max(0, len(missing) - 2))


def lacks(job: Job) -> tuple[str, ...]:
    """What a claim needs of the intake and does not have."""
    facts = {entry.what for entry in job.entries if entry.kind == "fact"}
    there = {
        "order number": bool(job.intake.order_number) or "order-number" in facts,
        "VIN": bool(job.intake.vin) or "vin" in facts,
        "odometer": job.intake.odometer is not None or "odometer" in facts,
    }
    return tuple(name for name, known in there.items() if not known)


def standing(house: House, job: Job, story: Narrative) -> str:
    """How far the write-up is: nothing yet, draft, signed, or changed since it was signed."""
    versions = house.rooms.store.versions(job.id)
    if not job.entries and not versions:
        return "nothing recorded"
    if not versions:
        return "draft"
    if versions[-1].hash == story.hash:
        return f"signed, version {versions[-1].number}"
    return f"changed since version {versions[-1].number}"


@router.get("/new")
def form(page: OnPage) -> HTMLResponse:
    """The form that opens a job."""
    return _form(page, nothing(), None)


def _form(page: Page, given: dict[str, str | list[str]], error: UserMistake | None) -> HTMLResponse:
    return page.render(
        "new_job.html.j2",
        422 if error else 200,
        fields=FIELDS,
        given=given,
        choices=choices(page.house.rooms.pack),
        error=error,
    )


@router.post("/new", dependencies=[needs("dictate")])
def open_one(page: OnPage, form: Sent) -> Response:
    """Open a job, and go to where it is worked on."""
    rooms = page.house.rooms
    try:
        name = text_of(form, "name")
        job = open_job(rooms.store, name, answers_of(form), rooms.pack)
    except UserMistake as error:
        return _form(page, sent_values(form), error)
    place = "bay" if text_of(form, "then") == "bay" else ""
    return page.to(f"/jobs/{job.id}/{place}".rstrip("/"))


@router.post("/who")
def name_yourself(page: OnPage, form: Sent) -> RedirectResponse:
    """Keep the name under which this device's changes are kept."""
    back = text_of(form, "back")
    safe = back if back.startswith("/") and not back.startswith(("//", "/\\")) else "/"
    return page.remember(page.to(safe), text_of(form, "who"))
