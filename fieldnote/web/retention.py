"""Sound is personal: how long it is kept, what is due to go, who may play it, and deleting that of one job now."""

from __future__ import annotations

from fastapi import APIRouter
from fastapi.responses import HTMLResponse, Response

from fieldnote.errors import FieldnoteError, UserMistake
from fieldnote.flow.keeping import LONGEST_DAYS, let_go_due, set_sound_days
from fieldnote.store.retention import gone, holding, jobs_due, let_go_of
from fieldnote.web.asking import OnPage, Page, Sent, text_of
from fieldnote.web.entry_views import silence
from fieldnote.web.roles import ROLES, Right, needs, rights_of

router = APIRouter()
ASKED: tuple[tuple[Right, str], ...] = (
    ("play sound", "play sound"),
    ("take names and sound", "take sound and names out with a job"),
    ("delete sound", "delete sound, and set how long it is kept"),
)
SHOWN = 200


@router.get("/kept-sound", dependencies=[needs("delete sound")])
def show(page: OnPage, done: int = -1) -> HTMLResponse:
    """The setting, what is due, and who may play sound."""
    return _page(page, done=done)


def _page(page: Page, *, done: int = -1, typed: str = "", error: FieldnoteError | None = None) -> HTMLResponse:
    rooms = page.house.rooms
    days = rooms.settings.keep.sound_days
    sign_in = page.request.app.state.sign_in
    rights = sign_in.rights if sign_in is not None else rights_of(rooms.settings.roles)
    due = jobs_due(rooms.store, days) if days > 0 else ()
    return page.render(
        "kept_sound.html.j2",
        422 if error else 200,
        days=days,
        typed=typed or str(days),
        longest=LONGEST_DAYS,
        holding=holding(rooms.store),
        due=due[:SHOWN],
        due_in_all=len(due),
        due_bytes=sum(job.bytes for job in due),
        roles=ROLES,
        may_do=[(words, rights[right]) for right, words in ASKED],
        fault=page.request.app.state.daily.fault,
        done=done,
        error=error,
    )


@router.post("/kept-sound", dependencies=[needs("delete sound")])
def set_days(page: OnPage, form: Sent) -> Response:
    """Set how long sound is kept after a job is closed. Nothing is deleted by this alone."""
    typed = text_of(form, "days")
    try:
        if not (typed.isascii() and typed.isdigit() and len(typed) < 7):
            raise UserMistake(f"{typed!r} is no number of days", where="days", do="Give a whole number; 0 for always.")
        set_sound_days(page.house.rooms, int(typed))
    except FieldnoteError as error:
        return _page(page, typed=typed, error=error)
    return page.to("/kept-sound")


@router.post("/kept-sound/let-go", dependencies=[needs("delete sound")])
def let_due_go(page: OnPage, form: Sent) -> Response:
    """Delete the sound that is due, as the page listed it."""
    return page.to(f"/kept-sound?done={let_go_due(page.house.rooms).sounds}")


@router.get("/jobs/{job_id}/sound")
def of_job(page: OnPage, job_id: str, done: int = -1) -> HTMLResponse:
    """The recordings of a job with their hashes, and which of them were deleted."""
    job = page.job(job_id)
    away = gone(page.house.rooms.store, job.id)
    clips = [(clip, silence(away.get(clip.id, ""))) for clip in job.clips]
    return page.render("job_sound.html.j2", job=job, clips=clips, done=done)


@router.post("/jobs/{job_id}/sound/let-go", dependencies=[needs("delete sound")])
def let_job_go(page: OnPage, job_id: str, form: Sent) -> Response:
    """Delete the sound of one job now; its words, hashes and the mark that it was deleted stay."""
    job = page.job(job_id)
    return page.to(f"/jobs/{job.id}/sound?done={let_go_of(page.house.rooms.store, job.id).sounds}")
