"""One job in the bay: dictate or write, see what was understood in large type, and what to check next."""

from __future__ import annotations

from collections.abc import Callable

from fastapi import APIRouter
from fastapi.responses import HTMLResponse, Response

from fieldnote.errors import UserMistake
from fieldnote.flow import learned_rates, next_checks
from fieldnote.flow.likely_parts import LikelyParts
from fieldnote.flow.rooms import Rooms
from fieldnote.records import Advice, Entry, Job, Step
from fieldnote.web.asking import OnPage, Page, Sent, text_of
from fieldnote.web.correcting import Met, apply, find
from fieldnote.web.correcting import mark as mark_of
from fieldnote.web.desk import drawing_of, notice_of
from fieldnote.web.entry_views import Names, entry_views
from fieldnote.web.photos import by_entry
from fieldnote.web.roles import needs
from fieldnote.web.write_ups import map_of

router = APIRouter(prefix="/jobs/{job_id}")
LAST = 4
STEPS = 3
TOUCH_SIDES = ("left", "right")
PARTS = 4


@router.get("/bay")
def show(page: OnPage, job_id: str, changed: str = "", all: bool = False) -> HTMLResponse:
    """The last entries, newest first, and the next checks."""
    job = page.job(job_id)
    rooms = page.house.of(job)
    page.house.listening.hear(job.id)
    views = [view for view in entry_views(job, rooms.pack) if view.entry.kind != "fact"]
    page.request.app.state.live.catch_up(rooms, job)
    entries = {entry.id: entry for entry in job.entries}
    shown = views[::-1] if all else views[: -LAST - 1 : -1]
    names = Names(rooms.pack)
    return page.render(
        "bay.html.j2",
        job=job,
        views=[(view, mark_of(job, entries[view.id]) if view.id in entries else "") for view in shown],
        more=len(views) - len(shown),
        facts=[view for view in entry_views(job, rooms.pack) if view.entry.kind == "fact"],
        advice=advice_of(rooms, job),
        steps=STEPS,
        heading=lambda step: heading(step, names),
        notice=notice_of(job, changed, names),
        parts_of=parts_of(rooms, job, names),
        photos=by_entry(job.photos, entries),
        hearing=page.house.listening.state(job.id),
        drawing=drawing_of(job, rooms.pack),
    )


def parts_of(rooms: Rooms, job: Job, names: Names) -> Callable[[Entry], list[tuple[str, str]]]:
    """What gives the parts that may have been meant at an entry instead of its own: ids and names."""
    likely = LikelyParts(rooms.pack, map_of(rooms))
    said = {utterance.id: utterance for utterance in job.utterances}
    return lambda entry: [(id, names.of("part", id)) for id in likely.of(entry, said, most=PARTS)]


def advice_of(rooms: Rooms, job: Job) -> Advice | None:
    """The next checks; none where the vocabulary has no leak map."""
    leak_map = map_of(rooms)
    if leak_map is None:
        return None
    rates = learned_rates(rooms.store, leak_map, rooms.pack.id, job)
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
    side = text_of(form, "side")
    if side not in TOUCH_SIDES:
        raise UserMistake(f"{side!r} is no side", where="side", do="Touch left or right.")
    return _touched(page, job_id, entry_id, form, {"side": side})


@router.post("/entries/{entry_id}/part", dependencies=[needs("correct")])
def fix_part(page: OnPage, job_id: str, entry_id: str, form: Sent) -> Response:
    """Set the part with one touch.

    Raises:
        UserMistake: this is no part, or someone changed the entry since the page was shown.

    """
    return _touched(page, job_id, entry_id, form, {"part": text_of(form, "part")})


def _touched(page: Page, job_id: str, entry_id: str, form: Sent, change: dict[str, str]) -> Response:
    job = page.job(job_id)
    entry = find(job, entry_id)
    rooms = page.house.of(job)
    done = apply(rooms, job.id, entry.id, text_of(form, "seen"), change, page.who, rooms.pack)
    if isinstance(done, Met):
        raise UserMistake(
            f"{done.person} changed this entry meanwhile, so nothing was done",
            where=entry.quote,
            do="Look at it again, then touch.",
        )
    told = f"?changed={done[-1].id}" if done else ""
    return page.to(f"/jobs/{job.id}/bay{told}#entry-{entry.id}")
