"""One job in the bay: dictate or write, see what was understood in large type, and what to check next."""

from __future__ import annotations

from fastapi import APIRouter
from fastapi.responses import HTMLResponse, Response

from fieldnote.errors import UserMistake
from fieldnote.flow import learned_rates, next_checks
from fieldnote.flow.rooms import Rooms
from fieldnote.records import Advice, Job, Step
from fieldnote.web.asking import OnPage, Sent, text_of
from fieldnote.web.correcting import Met, apply, find
from fieldnote.web.correcting import mark as mark_of
from fieldnote.web.desk import drawing_of, notice_of
from fieldnote.web.entry_views import Names, entry_views
from fieldnote.web.roles import needs
from fieldnote.web.write_ups import map_of

router = APIRouter(prefix="/jobs/{job_id}")
LAST = 4
STEPS = 3
TOUCH_SIDES = ("left", "right")


@router.get("/bay")
def show(page: OnPage, job_id: str, changed: str = "", all: bool = False) -> HTMLResponse:
    """The last entries, newest first, and the next checks."""
    job = page.job(job_id)
    rooms = page.house.of(job)
    page.house.listening.hear(job.id)
    views = [view for view in entry_views(job, rooms.pack) if view.entry.kind != "fact"]
    entries = {entry.id: entry for entry in job.entries}
    shown = views[::-1] if all else views[: -LAST - 1 : -1]
    return page.render(
        "bay.html.j2",
        job=job,
        views=[(view, mark_of(job, entries[view.id]) if view.id in entries else "") for view in shown],
        more=len(views) - len(shown),
        facts=[view for view in entry_views(job, rooms.pack) if view.entry.kind == "fact"],
        advice=advice_of(rooms, job),
        steps=STEPS,
        heading=lambda step: heading(step, Names(rooms.pack)),
        notice=notice_of(job, changed, Names(rooms.pack)),
        hearing=page.house.listening.state(job.id),
        drawing=drawing_of(job, rooms.pack),
    )


def advice_of(rooms: Rooms, job: Job) -> Advice | None:
    """The next checks; none where the vocabulary has no leak map."""
    leak_map = map_of(rooms)
    if leak_map is None:
        return None
    rates = learned_rates(rooms.store, leak_map, rooms.pack.id)
    return next_checks(rooms.store, job, leak_map, cautions=rooms.cautions, rates=rates)


def heading(step: Step, names: Names) -> str:
    """What to do, in a line."""
    where = step.name
    if step.place:
        side = f"{step.side} " if step.side in ("left", "right") else ""
        where = side + names.of("place", step.place) + (f", {names.of('part', step.part)}" if step.part else "")
    if step.do == "look":
        return f"Look at {where}"
    again = " again" if step.stage == "verify" else ""
    return f"{names.of('method', step.method)} test{again}: {where}".strip()


@router.post("/entries/{entry_id}/side", dependencies=[needs("correct")])
def fix_side(page: OnPage, job_id: str, entry_id: str, form: Sent) -> Response:
    """Set the side with one touch.

    Raises:
        UserMistake: this is no side, or someone changed the entry since the page was shown.

    """
    job = page.job(job_id)
    entry = find(job, entry_id)
    side = text_of(form, "side")
    if side not in TOUCH_SIDES:
        raise UserMistake(f"{side!r} is no side", where="side", do="Touch left or right.")
    rooms = page.house.of(job)
    done = apply(rooms, job.id, entry.id, text_of(form, "seen"), {"side": side}, page.who, rooms.pack)
    if isinstance(done, Met):
        raise UserMistake(
            f"{done.person} changed this entry meanwhile, so nothing was done",
            where=entry.quote,
            do="Go back, look at it again, then touch the side.",
        )
    told = f"?changed={done[-1].id}" if done else ""
    return page.to(f"/jobs/{job.id}/bay{told}#entry-{entry.id}")
