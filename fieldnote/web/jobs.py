"""The list of jobs with what is missing in each, and the form that opens one."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated
from urllib.parse import urlencode

from fastapi import APIRouter, Query
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from fieldnote.errors import UserMistake
from fieldnote.flow import open_job
from fieldnote.flow.claiming import lacking_of
from fieldnote.flow.lacking import KINDS, find
from fieldnote.narrate.payers import REQUIREMENTS, load_payers
from fieldnote.records import Job, JobLine, Narrative, OpenPoint
from fieldnote.store import Query as Search
from fieldnote.store.claim_rows import ANSWERS, Wanted
from fieldnote.store.job_rows import lines_of
from fieldnote.vocabulary import Pack
from fieldnote.web.asking import House, OnPage, Page, Sent, text_of
from fieldnote.web.intake import FIELDS, answers_of, choices, nothing, sent_values
from fieldnote.web.roles import needs

router = APIRouter()
PAGE = 25
SHOWN = ("open", "closed", "all")
MOST_SEARCHED = 2_000
"""Jobs found by words that are narrowed down further."""


@dataclass(frozen=True, slots=True)
class Row:
    """One job in the list: how far it is, and what it lacks."""

    line: JobLine
    order: str
    standing: str
    claim: str
    missing: tuple[str, ...]
    more: int


@router.get("/")
def show(
    page: OnPage,
    q: str = "",
    state: str = "open",
    lacks: str = "",
    answer: str = "",
    after: Annotated[int, Query(ge=0, le=1_000_000)] = 0,
) -> HTMLResponse:
    """The jobs, newest first; with ``q`` those that fit the words, with the others those in that state."""
    status = state if state in SHOWN else "open"
    wanted = Wanted(
        "" if status == "all" else status,
        lacks if lacks in KINDS else "",
        next((one for one in ANSWERS if one == answer), ""),
    )
    lines, back_to = lines_for(page.house, q, wanted, after + PAGE + 1)
    asked = {"q": q, "state": status, "lacks": wanted.lacks, "answer": wanted.answer}
    return page.render(
        "jobs.html.j2",
        rows=[row_of(page.house, line) for line in lines[after : after + PAGE]],
        q=q,
        state=status,
        wanted=wanted,
        kinds=KINDS,
        answers=ANSWERS,
        back_to=back_to,
        here=urlencode({**asked, "after": after}),
        newer=urlencode({**asked, "after": max(after - PAGE, 0)}) if after else "",
        older=urlencode({**asked, "after": after + PAGE}) if len(lines) > after + PAGE else "",
    )


def lines_for(house: House, q: str, wanted: Wanted, limit: int) -> tuple[list[JobLine], str]:
    """The newest jobs that fit, and how far back they were looked through ("": all)."""
    store, status = house.rooms.store, wanted.status or None
    narrowed = bool(wanted.lacks or wanted.answer)
    if any(c.isalnum() for c in q):
        lines = store.search(Search(words=q, status=status), limit=MOST_SEARCHED if narrowed else limit)
        if not narrowed:
            return lines, ""
        found = find(store, house.of_pack, wanted, limit, ids=[line.id for line in lines])
    elif narrowed:
        found = find(store, house.of_pack, wanted, limit)
        with store.reading() as db:
            lines = lines_of(db, found.ids)
    else:
        return store.jobs(status=status, limit=limit), ""  # type: ignore[arg-type]
    by_id = {line.id: line for line in lines}
    return [by_id[id] for id in found.ids], found.back_to


def row_of(house: House, line: JobLine) -> Row:
    """A line of the list with what its job lacks."""
    job = house.rooms.store.job(line.id)
    story = house.write_ups.of(house.of(job), job)
    pack = house.of(job).pack
    points = [point.text.rstrip(".") for point in story.open_points if not is_wanted(point, pack)]
    gaps = gaps_of(job, story, pack)
    missing = (*points[:1], *([gaps] if gaps else ()), *points[1:])
    claim = claim_words(job, pack)
    return Row(
        line, job.intake.order_number or "", standing(house, job, story), claim, missing[:2], max(0, len(missing) - 2)
    )


def gaps_of(job: Job, story: Narrative, pack: Pack) -> str:
    """What the payer of a job does not get, in one line; without a payer, what every claim needs of the intake."""
    payer = load_payers(pack).get(job.claim.payer or "")
    if payer is None:
        return ", ".join(f"no {name}" for name in lacks(job))
    missing = [REQUIREMENTS[id].label for id in lacking_of(job, story, payer, pack)]
    rest = f" and {len(missing) - 3} more" if len(missing) > 4 else ""
    named = ", ".join(missing[:3] if rest else missing)
    return f"{payer.name} wants {named}{rest}" if missing else ""


def is_wanted(point: OpenPoint, pack: Pack) -> bool:
    """Whether an open point only says what the payer wants."""
    return not point.entries and any(
        point.text.lower().startswith(f"{p.name} wants ") for p in load_payers(pack).values()
    )


def claim_words(job: Job, pack: Pack) -> str:
    """How the claim of a job stands, in few words; "" where no payer was named and none answered."""
    claim = job.claim
    payer = load_payers(pack).get(claim.payer or "")
    on = f" {claim.outcome_day}" if claim.outcome_day else ""
    why = f": {claim.outcome_reason}" if claim.outcome_reason else ""
    answered = f"{claim.outcome}{on}{why}" if claim.outcome else ""
    return ", ".join(filter(None, (payer.name if payer else claim.payer, answered)))


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
