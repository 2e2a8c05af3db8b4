"""The claim of a job: what its payer wants beside the story, the short form to be pasted, and what the payer said."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

from fastapi import APIRouter
from fastapi.responses import HTMLResponse, Response

from fieldnote.errors import NotFound, UserMistake
from fieldnote.flow import amend
from fieldnote.flow.claim_answers import LINES, as_typed, claim_of
from fieldnote.flow.claiming import ClaimState, claim_state, payers, set_claim
from fieldnote.flow.intake_answers import Answers, intake_of
from fieldnote.narrate.payers import LABOR, REQUIREMENTS
from fieldnote.records import Edit, Entry, Job
from fieldnote.store.changes import in_force
from fieldnote.vocabulary import Pack
from fieldnote.web.asking import OnPage, Page, Sent, text_of
from fieldnote.web.entry_views import Names, changed_words
from fieldnote.web.looks import day
from fieldnote.web.roles import NotAllowed, may, needs, refusal

router = APIRouter(prefix="/jobs/{job_id}/claim")
INTAKE = {"order": "order_number", "vin": "vin", "odometer": "odometer"}
"""Fields of the form that are kept with the intake: how they are called there."""
ANSWER = ("outcome", "outcome_day", "outcome_reason")
GROUPS: tuple[tuple[str, tuple[tuple[str, str, str, tuple[str, ...]], ...]], ...] = (
    (
        "Order and vehicle",
        (
            ("payer", "Who pays", "", ()),
            ("order", "Order number", "", ("order-number",)),
            ("vin", "VIN", "17 letters and digits", ("vin",)),
            ("odometer", "Odometer, in", "with mi or km", ("odometer-in",)),
            ("odometer_out", "Odometer, out", "in the same unit", ("odometer-out",)),
            ("day_in", "Day in", "", ("day-in",)),
            ("day_out", "Day out", "", ("day-out",)),
        ),
    ),
    (
        "Parts and material",
        (
            ("failed_part", "Number of the part that failed", "", ("failed-part",)),
            ("parts", "Parts used", "one a line, as 2 x 55012-A clip", ("parts",)),
            ("sealer_batch", "Sealer: batch", "", ("sealer",)),
            ("sealer_expiry", "Sealer: good until", "", ("sealer",)),
        ),
    ),
    (
        "Labor",
        (
            ("operations", "Codes of the operations", "one a line, as the payer lists them", ("operations",)),
            *((field, f"Hours of {name}", "", ("labor-split",)) for field, name in LABOR.items()),
        ),
    ),
    (
        "Agreed and earlier",
        (
            ("authorization", "Authorization", "the number or name under which the payer agreed", ("authorization",)),
            ("other_work", "Earlier or outside work", "or that there was none", ("other-work",)),
        ),
    ),
)
"""The form: by group, each field with its label, a hint, and which requirements it answers."""
DATES = ("day_in", "day_out", "sealer_expiry")
ELSEWHERE = {"photo-before": "photos", "photo-after": "photos", "complaint": "intake"}
"""Where what is missing can be given, if not in the form; else in the write-up."""


@dataclass(frozen=True, slots=True)
class Clash:
    """Somebody else changed fields of the claim while it was filled in: label, theirs, yours."""

    person: str
    at: str
    fields: tuple[tuple[str, str, str], ...]


@router.get("")
def show(page: OnPage, job_id: str, kept: int = 0) -> HTMLResponse:
    """The form, what is missing, and the short form."""
    return _page(page, page.job(job_id), {}, kept=kept)


def _page(
    page: Page,
    job: Job,
    typed: Mapping[str, str],
    *,
    status: int = 200,
    kept: int = 0,
    error: UserMistake | None = None,
    clash: Clash | None = None,
) -> HTMLResponse:
    pack = page.house.of(job).pack
    state = state_of(job, pack)
    now = written(job)
    return page.render(
        "claim.html.j2",
        status,
        job=job,
        state=state,
        payers=[(one.id, one.name) for one in payers(pack)],
        groups=GROUPS,
        labels=LABELS,
        dates=DATES,
        lines=LINES,
        now=now,
        value={**now, **typed},
        known=known_of(job),
        today=date.today().isoformat(),
        total=sum(getattr(job.claim, field) or 0.0 for field in LABOR),
        wanted=state.payer.requires if state.payer else (),
        missing=missing_links(job, state),
        kept=kept,
        error=error,
        clash=clash,
        log=log_of(job, Names(pack)),
    )


def state_of(job: Job, pack: Pack) -> ClaimState:
    """How the claim stands; a payer that is no longer in the list is passed over, so that another can be named."""
    try:
        return claim_state(job, pack)
    except NotFound:
        return claim_state(dataclasses.replace(job, claim=dataclasses.replace(job.claim, payer=None)), pack)


LABELS = {field: label for _, fields in GROUPS for field, label, _, _ in fields} | {
    "outcome": "The payer's answer",
    "outcome_day": "Day of the answer",
    "outcome_reason": "Why it was returned",
}


def written(job: Job) -> dict[str, str]:
    """All fields of the form as a person would type them."""
    intake = job.intake
    odometer = "" if intake.odometer is None else f"{intake.odometer:.15g} {intake.odometer_unit or ''}".strip()
    given = {"order": intake.order_number or "", "vin": intake.vin or "", "odometer": odometer}
    return {field: given[field] if field in given else as_typed(job.claim, field) for field in LABELS}


FACTS = {"order": "order-number", "vin": "vin", "odometer": "odometer"}
"""Facts that answer a field of the form where they were said."""


def known_of(job: Job) -> dict[str, str]:
    """What a field counts as having though it is empty: what was said in the bay, the days of the job itself."""
    said = {entry.what: entry for entry in job.entries if entry.kind == "fact"}
    known = {field: f"said: {_value_of(said[id])}" for field, id in FACTS.items() if id in said}
    known["day_in"] = f"else the day on which the job was opened, {day(job.created_at)}"
    if job.closed_at:
        known["day_out"] = f"else the day on which it was closed, {day(job.closed_at)}"
    return known


def _value_of(fact: Entry) -> str:
    value = f"{fact.value:,}" if isinstance(fact.value, int) else str(fact.value)
    return f"{value} {fact.unit}" if fact.unit else value


def missing_links(job: Job, state: ClaimState) -> list[tuple[str, str]]:
    """What the payer wants and does not get: its label, and where it can be given."""
    fields = {id: field for _, rows in GROUPS for field, _, _, answers in reversed(rows) for id in answers}
    at = {id: f"#{field}" for id, field in fields.items()}
    elsewhere = {id: f"/jobs/{job.id}/{place}" for id, place in ELSEWHERE.items()}
    return [(REQUIREMENTS[id].label, {**at, **elsewhere}.get(id, f"/jobs/{job.id}")) for id in state.lacking]


def log_of(job: Job, names: Names) -> list[tuple[Edit, tuple[str, str, str], bool]]:
    """Changes of the claim that count, the newest first, in words; whether each is the last of its field."""
    seen: set[str] = set()
    found = []
    for edit in reversed(in_force(job.edits)):
        if edit.action == "set" and (edit.field or "").startswith("claim."):
            found.append((edit, changed_words(edit, names), edit.field not in seen))
            seen.add(edit.field or "")
    return found


@router.post("", dependencies=[needs("claim")])
def fill_in(page: OnPage, job_id: str, form: Sent) -> Response:
    """Keep the fields that were changed; one that was emptied is emptied. All or none.

    Raises:
        NotAllowed: something of the intake was changed, and the sign-in does not allow it.

    """
    job = page.job(job_id)
    sent = {field: _text(form, field) for field in LABELS if field not in ANSWER and form.get(field) is not None}
    return _keep(page, job, sent, form)


@router.post("/answer", dependencies=[needs("claim")])
def answered(page: OnPage, job_id: str, form: Sent) -> Response:
    """Keep what the payer said: paid, or returned and why, and the day; or that there is no answer yet."""
    job = page.job(job_id)
    outcome = text_of(form, "outcome")
    sent = {field: _text(form, field) for field in ANSWER}
    try:
        if outcome not in ("", "paid", "returned"):
            raise UserMistake(f"{outcome!r} is no answer", where="outcome", do="It was paid, or returned.")
        if outcome == "returned" and not sent["outcome_reason"]:
            raise UserMistake("why it was returned is missing", where="outcome_reason", do="Write what the payer said.")
    except UserMistake as error:
        return _page(page, job, sent, status=422, error=error)
    if not outcome:
        sent |= {"outcome_day": "", "outcome_reason": ""}
    elif outcome == "paid":
        sent["outcome_reason"] = ""
    return _keep(page, job, sent, form)


def _text(form: Sent, field: str) -> str:
    return text_of(form, field).replace("\r\n", "\n")


def _keep(page: Page, job: Job, sent: Mapping[str, str], form: Sent) -> Response:
    store = page.house.rooms.store
    changed = dict(sent)
    try:
        with store.atomic():
            job = store.job(job.id)
            now = written(job)
            seen = {field: _text(form, f"was-{field}") if f"was-{field}" in form else now[field] for field in sent}
            changed = {field: text for field, text in sent.items() if text not in (seen[field], now[field])}
            theirs = [field for field in changed if seen[field] != now[field]]
            if theirs:
                return _page(page, job, changed, status=409, clash=_clash(job, theirs, changed, now))
            made = _change(page, job, changed)
    except NotAllowed:
        raise
    except UserMistake as error:
        return _page(page, store.job(job.id), changed, status=422, error=error)
    return page.to(f"/jobs/{job.id}/claim?kept={len(made)}")


def _change(page: Page, job: Job, changed: Mapping[str, str]) -> list[Edit]:
    rooms = page.house.of(job)
    of_intake = {field: text for field, text in changed.items() if field in INTAKE}
    of_claim = {field: text for field, text in changed.items() if field not in INTAKE}
    made: list[Edit] = []
    if of_intake:
        if not may(page.request, "correct"):
            raise refusal(page.request, "correct")
        given = intake_of(Answers(**{field: text or None for field, text in of_intake.items()}))  # type: ignore[arg-type]
        emptied = {INTAKE[field] for field, text in of_intake.items() if not text}
        if "odometer" in emptied:
            emptied.add("odometer_unit")
        made += amend(rooms.store, job, given, page.who, rooms.pack, clear=emptied)
    job = rooms.store.job(job.id)
    claim, clear = claim_of(of_claim, job.intake.odometer_unit)
    return made + list(set_claim(rooms.store, job, claim, page.who, rooms.pack, clear=clear))


def _clash(job: Job, fields: list[str], changed: Mapping[str, str], now: Mapping[str, str]) -> Clash:
    names = {f"intake.{INTAKE[f]}" if f in INTAKE else f"claim.{f}" for f in fields}
    last = next((edit for edit in reversed(job.edits) if edit.field in names), None)
    rows = tuple((LABELS[f], now[f], changed[f]) for f in fields)
    return Clash(last.person if last else "someone", last.at if last else "", rows)


__all__ = ["router"]
