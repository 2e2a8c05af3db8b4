"""One entry: its words and its sound, the form that corrects it, one touch for its side, and taking it out."""

from __future__ import annotations

from collections.abc import Mapping

from fastapi import APIRouter
from fastapi.responses import HTMLResponse, Response

from fieldnote.errors import UserMistake
from fieldnote.flow import disregard
from fieldnote.records import SIDES, Entry, Job
from fieldnote.vocabulary import Pack
from fieldnote.vocabulary.pack import FactKind, State
from fieldnote.web.asking import OnPage, Page, Sent, text_of
from fieldnote.web.correcting import FIELDS, Met, apply, as_written, find, mark, wanted
from fieldnote.web.desk import audible, back_to
from fieldnote.web.entry_views import Names, by_id, changed_words, entry_views
from fieldnote.web.roles import needs

router = APIRouter(prefix="/jobs/{job_id}/entries/{entry_id}")
LABELS = {
    "side": "Side",
    "place": "Place",
    "part": "Part",
    "state": "Finding or action",
    "present": "Was it there?",
    "certainty": "How sure was it said?",
    "method": "Test method",
    "stage": "Which test",
    "material": "Material",
    "quantities": "Measured",
    "at": "Finer position",
    "item": "Number",
    "masked": "Taped off",
    "value": "Value",
    "unit": "Unit",
}
_KIND_OF_STATE = {"source": "check", "plan": "repair"}


@router.get("")
def show(page: OnPage, job_id: str, entry_id: str) -> HTMLResponse:
    """The form with the entry as it is now."""
    job = page.job(job_id)
    return _form(page, job, find(job, entry_id), {})


def _form(
    page: Page,
    job: Job,
    entry: Entry,
    typed: Mapping[str, str],
    *,
    status: int = 200,
    error: UserMistake | None = None,
    met: Met | None = None,
) -> HTMLResponse:
    pack = page.house.of(job).pack
    now = {field: as_written(entry, field) for field in FIELDS[entry.kind]}
    return page.render(
        "entry.html.j2",
        status,
        job=job,
        view=by_id(audible(page, job, entry_views(job, pack)))[entry.id],
        fields=[(field, LABELS[field], options(entry, field, pack)) for field in FIELDS[entry.kind]],
        now=now,
        value={**now, **typed},
        seen=mark(job, entry),
        error=error,
        met=met,
        labels=LABELS,
        positions=tuple(pack.at),
        log=[(edit, *changed_words(edit, Names(pack))) for edit in job.edits if edit.entry_id == entry.id],
    )


def options(entry: Entry, field: str, pack: Pack) -> list[tuple[str, str]]:
    """The choices of a field by value and name; none where it is written freely."""
    if field == "side":
        return [("", "not said"), *((side, side) for side in SIDES)]
    if field == "present":
        return [("yes", "yes"), ("no", "no, it was said not to be there")]
    if field == "certainty":
        return [("sure", "surely"), ("unsure", "with doubt")]
    if field == "stage":
        return [("find", "a test to find the leak"), ("verify", "a retest after the repair")]
    if field in ("place", "part", "method", "material"):
        return _with_own(entry, field, [(term.id, term.name) for term in pack.terms(field)])
    if field == "state":
        kind = _KIND_OF_STATE.get(entry.kind, entry.kind)
        return _with_own(entry, field, [(s.id, s.name) for s in pack.rows(State) if kind in s.kinds])
    if field == "unit" and entry.what and pack.entry("fact", entry.what):
        term = pack.term("fact", entry.what)
        units = term.units if isinstance(term, FactKind) else ()
        return [(unit, unit) for unit in units]
    return []


def _with_own(entry: Entry, field: str, found: list[tuple[str, str]]) -> list[tuple[str, str]]:
    """The choices in alphabetical order, with what the entry has now although the pack does not know it."""
    own = getattr(entry, field)
    rest = [] if own is None or own in {id for id, _ in found} else [(own, own.replace("-", " "))]
    return [("", "not said"), *sorted([*found, *rest], key=lambda pair: pair[1].lower())]


@router.post("", dependencies=[needs("correct")])
def change(page: OnPage, job_id: str, entry_id: str, form: Sent) -> Response:
    """Keep what was changed, unless someone else changed the entry meanwhile."""
    job = page.job(job_id)
    entry = find(job, entry_id)
    changes = wanted(entry.kind, lambda name: text_of(form, name))
    rooms = page.house.of(job)
    try:
        done = apply(rooms, job.id, entry.id, text_of(form, "seen"), changes, page.who, rooms.pack)
    except UserMistake as error:
        return _form(page, job, entry, changes, status=422, error=error)
    if isinstance(done, Met):
        job = page.job(job_id)
        return _form(page, job, find(job, entry_id), changes, status=409, met=done)
    told = f"?changed={done[-1].id}" if done else ""
    return back_to(page, job, form, f"{told}#entry-{entry.id}")


@router.post("/remove", dependencies=[needs("correct")])
def take_out(page: OnPage, job_id: str, entry_id: str, form: Sent) -> Response:
    """Take the entry out; it stays among the changes and can be brought back."""
    job = page.job(job_id)
    entry = find(job, entry_id)
    if mark(job, entry) != text_of(form, "seen"):
        met = apply(page.house.of(job), job.id, entry.id, "", {}, page.who, page.house.of(job).pack)
        assert isinstance(met, Met)
        return _form(page, job, entry, {}, status=409, met=met)
    edit = disregard(page.house.rooms.store, job, entry.id, page.who)
    return back_to(page, job, form, f"?changed={edit.id}")
