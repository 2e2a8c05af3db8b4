"""``fieldnote job``: jobs opened, listed, shown, closed, found; entries corrected, and corrections taken back."""

from __future__ import annotations

import json
import re
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Optional

import typer
from rich.console import Console
from rich.markup import escape

from fieldnote.cli import intake_form as form
from fieldnote.cli.job_claim import claim
from fieldnote.errors import UserMistake
from fieldnote.flow.intake_answers import Answers, intake_of, vin_remark
from fieldnote.flow.who import person_of
from fieldnote.records import Edit, Job, JobLine

if TYPE_CHECKING:
    from fieldnote.flow import Rooms

app = typer.Typer(
    name="job",
    help="Jobs: open, show, find, close, correct, move between machines.",
    no_args_is_help=True,
)

app.command()(claim)

JobName = Annotated[str, typer.Argument(metavar="JOB", help="The job's name or id, or the start of either.")]
AsJson = Annotated[bool, typer.Option("--json", help="Print JSON.")]
By = Annotated[Optional[str], typer.Option("--by", help="Who says so; otherwise who is logged in.")]
Status = Annotated[Optional[str], typer.Option("--state", help="Only open, or only closed jobs.")]
Limit = Annotated[int, typer.Option(min=1, help="At most this many, newest first.")]
SinceDay = Annotated[Optional[str], typer.Option("--since", metavar="DATE", help="Opened on or after this day.")]
UntilDay = Annotated[Optional[str], typer.Option("--until", metavar="DATE", help="Opened on or before this day.")]


@app.command()
def new(
    name: Annotated[str, typer.Argument(help="What to call the job.")],
    vehicle: form.Vehicle = None,
    family: form.Family = None,
    model_year: form.ModelYear = None,
    build_month: form.BuildMonth = None,
    vin: form.Vin = None,
    odometer: form.Odometer = None,
    order: form.Order = None,
    complaint: form.Complaint = None,
    steering: form.Steering = None,
    liquid: form.Liquid = None,
    parked: form.Parked = None,
    when: form.When = None,
    earlier_work: form.EarlierWork = None,
    since: form.Since = None,
    technician: form.Technician = None,
    role: form.Role = None,
    pack: Annotated[Optional[str], typer.Option(help="The vocabulary; otherwise that of the settings.")] = None,
    ask: Annotated[bool, typer.Option("--ask", help="Ask for what is not given; Enter skips.")] = False,
    as_json: AsJson = False,
) -> None:
    """Open a job. All that is asked can be skipped, and given later with `fieldnote job intake`.

    Examples:

      fieldnote job new "unit 12"

      fieldnote job new "unit 12" --liquid rain --parked nose-down --odometer "62,305 mi"

      fieldnote job new "unit 12" --ask
    """
    from fieldnote.flow import open_job

    rooms = _rooms(pack)
    given = Answers(
        vehicle, family, model_year, build_month, vin, odometer, order, complaint, steering, liquid, parked, when,
        earlier_work, since, technician, role,
    )  # fmt: skip
    if ask:
        given = form.ask(given, rooms.pack)
    intake = intake_of(given)
    # The vocabulary is read only where an answer has to be looked up in it, or another one was asked for.
    checked = rooms.pack if pack or given.needs_pack() else None
    job = open_job(rooms.store, name, intake, checked, pack_name=rooms.settings.pack.name)
    _remark(vin_remark(intake.vin))
    if as_json:
        _print({"job": _header(job)})
    else:
        _console().print(f"Opened [bold]{escape(job.name)}[/bold] [dim]({job.id})[/dim]")


@app.command()
def intake(
    job: JobName,
    vehicle: form.Vehicle = None,
    family: form.Family = None,
    model_year: form.ModelYear = None,
    build_month: form.BuildMonth = None,
    vin: form.Vin = None,
    odometer: form.Odometer = None,
    order: form.Order = None,
    complaint: form.Complaint = None,
    steering: form.Steering = None,
    liquid: form.Liquid = None,
    parked: form.Parked = None,
    when: form.When = None,
    earlier_work: form.EarlierWork = None,
    since: form.Since = None,
    technician: form.Technician = None,
    role: form.Role = None,
    name: Annotated[Optional[str], typer.Option(help="Another name for the job.")] = None,
    by: By = None,
    as_json: AsJson = False,
) -> None:
    """Add to a job's intake, or change it; what is not given stays.

    Example:

      fieldnote job intake "unit 12" --order 48813 --earlier-work glass
    """
    from fieldnote.flow import amend, rename

    rooms = _rooms()
    found = rooms.store.job(job)
    given = Answers(
        vehicle, family, model_year, build_month, vin, odometer, order, complaint, steering, liquid, parked, when,
        earlier_work, since, technician, role,
    )  # fmt: skip
    wanted = intake_of(given)
    made = amend(
        rooms.store, found, wanted, person_of(by), rooms.for_pack(found.pack).pack if given.needs_pack() else None
    )
    if name is not None:
        made = (*made, rename(rooms.store, found, name, person_of(by)))
    if not made:
        raise UserMistake("nothing was given that differs", where=found.name, do="Name what to change: see --help.")
    _remark(vin_remark(wanted.vin))
    _changed(rooms.store.job(found.id), made, as_json)


@app.command("list")
def show_list(
    state: Status = None, limit: Limit = 50, since: SinceDay = None, until: UntilDay = None, as_json: AsJson = False
) -> None:
    """List the jobs, newest first.

    Examples:

      fieldnote job list

      fieldnote job list --state open --since 2026-11
    """
    store = _rooms().store
    lines = store.jobs(status=_state(state), limit=limit + 1, since=since, until=until)
    _jobs(lines[:limit], as_json, more=len(lines) > limit, none="No jobs yet. `fieldnote job new NAME` opens one.")


@app.command()
def find(
    words: Annotated[Optional[list[str]], typer.Argument(help='Words; "…" keeps words together.')] = None,
    place: Annotated[Optional[str], typer.Option(help="An entry is about this place.")] = None,
    part: Annotated[Optional[str], typer.Option(help="An entry is about this part.")] = None,
    finding: Annotated[Optional[str], typer.Option(help="An entry has this sign, finding, result or action.")] = None,
    side: Annotated[Optional[str], typer.Option(help="The entry's side.")] = None,
    state: Status = None,
    since: SinceDay = None,
    until: UntilDay = None,
    limit: Limit = 20,
    as_json: AsJson = False,
) -> None:
    """Find jobs by words said, places, findings, dates, VIN or its end, order number; newest first.

    All words must occur; endings do not matter. Place, part, finding and side must be those of one entry.

    Examples:

      fieldnote job find musty carpet

      fieldnote job find --place liftgate-trough --finding skip --since 2026

      fieldnote job find 004352
    """
    from fieldnote.store import Query

    query = Query(
        words=" ".join(f'"{word}"' if " " in word.strip() else word for word in words or ()),
        place=place,
        part=part,
        state=finding,
        side=side,
        status=_state(state),
        since=since,
        until=until,
    )
    lines = _rooms().store.search(query, limit=limit + 1)
    _jobs(lines[:limit], as_json, more=len(lines) > limit, none="No job fits.")


@app.command()
def show(
    job: JobName,
    words: Annotated[bool, typer.Option("--words", help="The words too, with those that no entry took.")] = False,
    changes: Annotated[bool, typer.Option("--changes", help="Every change too: who, when, before and after.")] = False,
    as_json: AsJson = False,
) -> None:
    """Show one job: intake, entries, and what people changed.

    Examples:

      fieldnote job show "unit 12"

      fieldnote job show "unit 12" --words --changes
    """
    from fieldnote.cli import job_view

    store = _rooms().store
    found = store.job(job)
    if as_json:
        _print(job_view.as_json(found))
        return
    console = _console()
    for part in job_view.parts(found, words=words, changes=changes):
        console.print(part)
    if store.is_stale(found.id):
        renew = escape(f'fieldnote take "{found.name}"')
        console.print(f"The entries are older than the words or the intake; [bold]{renew}[/bold] makes them anew.")


@app.command()
def close(job: JobName, by: By = None, as_json: AsJson = False) -> None:
    """Close a job.

    Example:

      fieldnote job close "unit 12"
    """
    from fieldnote.flow import close_job
    from fieldnote.narrate.handing_over import left_off

    rooms = _rooms()
    edit = close_job(rooms.store, job, person_of(by))
    closed = rooms.store.job(edit.job_id)
    _changed(closed, (edit,), as_json)
    if closed.entries:
        for sentence in left_off(closed, rooms.for_pack(closed.pack).pack):
            _remark(f"closed with this still off: {sentence.text}")


@app.command()
def reopen(job: JobName, by: By = None, as_json: AsJson = False) -> None:
    """Open a closed job again.

    Example:

      fieldnote job reopen "unit 12"
    """
    from fieldnote.flow import reopen_job

    rooms = _rooms()
    edit = reopen_job(rooms.store, job, person_of(by))
    _changed(rooms.store.job(edit.job_id), (edit,), as_json)


@app.command()
def correct(
    job: JobName,
    entry: Annotated[str, typer.Argument(help="The entry's id, or the start of it (see job show).")],
    field: Annotated[str, typer.Argument(help="place, part, side, state, present, quantities, …")],
    value: Annotated[str, typer.Argument(help='The right value; "none" empties the field.')],
    by: By = None,
    as_json: AsJson = False,
) -> None:
    """Correct one field of an entry. The entry as it was said is kept, and `undo` goes back to it.

    Examples:

      fieldnote job correct "unit 12" e3k9 side right

      fieldnote job correct "unit 12" e3k9 quantities "duration 10 min"
    """
    from fieldnote.flow import correct as correct_entry

    rooms = _rooms()
    found = rooms.store.job(job)
    edit = correct_entry(rooms.store, found, entry, field, value, person_of(by), rooms.for_pack(found.pack).pack)
    _changed(rooms.store.job(found.id), (edit,), as_json)


@app.command()
def disregard(
    job: JobName,
    entry: Annotated[str, typer.Argument(help="The entry's id, or the start of it (see job show).")],
    by: By = None,
    as_json: AsJson = False,
) -> None:
    """Take an entry out of the job. It stays in the log, and `undo` brings it back.

    Example:

      fieldnote job disregard "unit 12" e3k9
    """
    from fieldnote.flow import disregard as disregard_entry

    rooms = _rooms()
    edit = disregard_entry(rooms.store, job, entry, person_of(by))
    _changed(rooms.store.job(edit.job_id), (edit,), as_json)


@app.command()
def undo(
    job: JobName,
    change: Annotated[Optional[str], typer.Argument(help="Which (see job show --changes); else the last.")] = None,
    by: By = None,
    as_json: AsJson = False,
) -> None:
    """Take back the last change to a job or its entries, or the one named. Undoing an undo brings it back.

    Examples:

      fieldnote job undo "unit 12"

      fieldnote job undo "unit 12" d7t6
    """
    from fieldnote.flow import undo as take_back

    rooms = _rooms()
    taken_back, edit = take_back(rooms.store, job, person_of(by), change)
    if as_json:
        _changed(rooms.store.job(edit.job_id), (edit,), as_json)
        return
    from fieldnote.cli.entry_table import edit_text

    _console().print(f"Took back: {escape(edit_text(taken_back))}")


@app.command("export")
def export_bundle(
    jobs: Annotated[Optional[list[str]], typer.Argument(metavar="JOB…", help="Which jobs; none: all.")] = None,
    out: Annotated[Optional[Path], typer.Option("--out", help="The file to write.")] = None,
    sound: Annotated[bool, typer.Option("--sound/--no-sound", help="With the recordings, or without.")] = True,
    photos: Annotated[bool, typer.Option("--photos/--no-photos", help="With the photos, or without.")] = False,
    as_json: AsJson = False,
) -> None:
    """Write jobs into one file, to take them in on another machine: sound, words, entries, every change.

    Examples:

      fieldnote job export "unit 12"

      fieldnote job export --out all.zip --no-sound
    """
    from fieldnote.cli.bars import bar
    from fieldnote.flow.moving import export_jobs

    store = _rooms().store
    target = out if out is not None else Path(f"{_file_name(jobs or [])}.zip")
    with bar("writing") as tell:
        ids = export_jobs(store, jobs or [], target, sound=sound, photos=photos, progress=tell)
    if as_json:
        _print({"file": str(target), "jobs": list(ids), "bytes": target.stat().st_size})
    else:
        count = f"{len(ids)} job{'s' if len(ids) != 1 else ''}"
        _console().print(f"Wrote {count} to [bold]{escape(str(target))}[/bold]")


def _file_name(jobs: list[str]) -> str:
    plain = re.sub(r"[^\w-]+", "-", jobs[0].strip().lower()).strip("-") if len(jobs) == 1 else ""
    return plain or "jobs"


@app.command("import")
def import_bundle(
    bundle: Annotated[Path, typer.Argument(metavar="FILE", help="What `job export` wrote.")], as_json: AsJson = False
) -> None:
    """Take in the jobs of a file from another machine. Taking it in twice adds nothing.

    Where both machines changed the same entry, both changes are kept and `job show` marks them.

    Example:

      fieldnote job import unit-12.zip
    """
    from fieldnote.cli.bars import bar
    from fieldnote.flow.moving import import_jobs
    from fieldnote.wire import plain

    with bar("reading") as tell:
        arrived = import_jobs(_rooms(), bundle, progress=tell)
    if as_json:
        _print({"jobs": [plain(job) | {"added": job.added} for job in arrived.jobs], "sounds": arrived.sounds})
        return
    console = _console()
    for job in arrived.jobs:
        console.print(f"[bold]{escape(job.name)}[/bold] [dim]({job.job_id})[/dim]: {_arrival(job)}")
        if job.differences:
            console.print(f"  {job.differences} changed on both machines: [bold]fieldnote job show {job.job_id}[/bold]")


def _arrival(job: Any) -> str:
    """What came in of a job, in words."""
    if not job.added:
        return "nothing new"
    counts = ((job.clips, "recording"), (job.utterances, "utterance"), (job.edits, "change"))
    parts = [f"{count} {name}{'s' if count != 1 else ''}" for count, name in counts if count]
    return f"{'new' if job.new else 'added'}{': ' if parts else ''}{', '.join(parts)}"


# ---- what the commands share ------------------------------------------------------------------------------------


def _rooms(pack: str | None = None) -> Rooms:
    from fieldnote.flow import Rooms

    return Rooms(pack=pack)


def _console() -> Console:
    return Console(highlight=False, soft_wrap=False)


def _state(given: str | None) -> Any:
    if given not in (None, "open", "closed"):
        raise UserMistake(f"{given!r} is not a state of a job", where="--state", do="Write open or closed.")
    return given


def _remark(text: str | None) -> None:
    if text:
        print(f"fieldnote: {text}", file=sys.stderr)


def _print(value: Any) -> None:
    print(json.dumps(value, ensure_ascii=False, indent=2))


def _header(job: Job) -> dict[str, Any]:
    from fieldnote.cli.job_view import header

    return header(job)


def _jobs(lines: list[JobLine], as_json: bool, *, more: bool, none: str) -> None:
    from fieldnote.cli.entry_table import job_table
    from fieldnote.wire import plain

    if as_json:
        _print({"jobs": [plain(line) for line in lines], "more": more})
        return
    console = _console()
    if not lines:
        console.print(none)
        return
    console.print(job_table(lines))
    for line in lines:
        if line.excerpt:
            console.print(f"[dim]{escape(line.name)}:[/dim] {escape(line.excerpt)}")
    if more:
        console.print("[dim]There are more; --limit shows more of them.[/dim]")


def _changed(job: Job, made: tuple[Edit, ...], as_json: bool) -> None:
    from fieldnote.cli.entry_table import edit_text, entry_table
    from fieldnote.wire import plain

    if as_json:
        _print({"job": _header(job), "edits": [plain(edit) for edit in made]})
        return
    console = _console()
    for edit in made:
        console.print(escape(edit_text(edit)))
    touched = {edit.entry_id for edit in made}
    shown = [entry for entry in job.entries if entry.id in touched]
    if shown:
        console.print(entry_table(shown))
