"""Every change that people made to a job, and taking changes back."""

from __future__ import annotations

from fastapi import APIRouter
from fastapi.responses import HTMLResponse, RedirectResponse

from fieldnote.flow import undo
from fieldnote.records import Edit
from fieldnote.store.changes import in_force
from fieldnote.store.fields import CONFIRMED
from fieldnote.web.asking import OnPage, Sent, text_of
from fieldnote.web.entry_views import Names, by_id, changed_words, entry_views
from fieldnote.web.roles import Right, may, needs, refusal

router = APIRouter(prefix="/jobs/{job_id}/changes")
PAGES = {"bay": "/bay", "desk": "", "claim": "/claim", "sign-off": "/sign-off"}
"""From which pages of a job a change is taken back, and so where to go on."""


def right_over(edit: Edit) -> Right:
    """What somebody must be allowed to do who takes a change back."""
    field = edit.field or ""
    return "claim" if field.startswith("claim.") else "sign off" if field.startswith(CONFIRMED) else "correct"


@router.get("")
def show(page: OnPage, job_id: str) -> HTMLResponse:
    """The changes, newest first."""
    job = page.job(job_id)
    pack = page.house.of(job).pack
    counts = {edit.id for edit in in_force(job.edits)}
    names = Names(pack)
    by_edit = {edit.id: edit for edit in job.edits}
    allowed = {edit.id for edit in job.edits if may(page.request, right_over(edit)) and may(page.request, "correct")}
    rows = []
    for edit in reversed(job.edits):
        target = by_edit.get(edit.after or "") if edit.action == "undo" else None
        words = changed_words(target, names) if target else changed_words(edit, names)
        rows.append((edit, words, edit.id in counts, target))
    return page.render(
        "changes.html.j2",
        job=job,
        rows=rows,
        allowed=allowed,
        views=by_id(entry_views(job, pack)),
        stranded={edit.id for edit in job.stranded_edits},
        differences=[(d, changed_words(d.stands, names), changed_words(d.other, names)) for d in job.differences],
    )


@router.post("/{edit_id}/take-back", dependencies=[needs("correct")])
def take_back(page: OnPage, job_id: str, edit_id: str, form: Sent) -> RedirectResponse:
    """Take a change back; taking back what took one back brings it into force again."""
    job = page.job(job_id)
    for edit in job.edits:
        if edit.id.startswith(edit_id) and not may(page.request, right_over(edit)):
            raise refusal(page.request, right_over(edit))
    _, undone = undo(page.house.rooms.store, job, page.who, edit_id)
    place = PAGES.get(text_of(form, "then"), "/changes")
    tail = f"?changed={undone.id}" if place in ("", "/bay") else ""
    return page.to(f"/jobs/{job.id}{place}{tail}")
