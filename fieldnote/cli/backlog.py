"""``fieldnote take --many``: a folder of recordings, on all cores, with one line of progress."""

from __future__ import annotations

import json
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

import typer
from rich.console import Console
from rich.markup import escape

from fieldnote.errors import UserMistake

if TYPE_CHECKING:
    from fieldnote.flow import Rooms
    from fieldnote.flow.backlog import Backlog, Report
    from fieldnote.flow.crew import Crew

_STOPPED_EXIT = 130
_BAD_FILES_EXIT = 2
_LINE_EVERY_S = 30.0
"""How often a line is written where nobody watches, such as into a log."""


class ProgressLine:
    """One line that is written over: how many recordings are done, and how long the rest will take."""

    def __init__(self, console: Console) -> None:
        self._console = console
        self._started = time.monotonic()
        self._last = 0.0
        self._already_bytes: float | None = None

    def __call__(self, report: Report) -> None:
        """Show how far it is."""
        now = time.monotonic()
        if self._console.is_terminal:
            self._console.print(f"\r{self.text(report, now)}", end="\x1b[K", highlight=False, soft_wrap=True)
        elif now - self._last >= _LINE_EVERY_S or report.files_done == report.files:
            self._console.print(self.text(report, now), highlight=False, soft_wrap=True)
        else:
            return
        self._last = now

    def text(self, report: Report, now: float) -> str:
        """The line itself; the time left follows from the bytes done, those that were there already not counted."""
        skipped = report.already * (report.bytes_done / report.files_done) if report.files_done else 0.0
        heard = report.bytes_done - skipped
        left = ""
        if heard > 0 and report.files_done < report.files:
            seconds = (now - self._started) * (report.bytes - report.bytes_done) / heard
            left = f", about {span(seconds)} left"
        failed = f", {report.failed} failed" if report.failed else ""
        return f"{report.files_done} of {report.files} recordings{failed}{left}"

    def end(self) -> None:
        """Leave the line."""
        if self._console.is_terminal:
            self._console.print()


def span(seconds: float) -> str:
    """A length of time in the largest units that matter."""
    minutes = round(seconds / 60)
    if minutes < 1:
        return f"{max(round(seconds), 1)} s"
    if minutes < 60:
        return f"{minutes} min"
    return f"{minutes // 60} h {minutes % 60:02d} min"


def crew_of(workers: int | None, scheduler: str | None) -> Callable[[], Crew]:
    """Who will hear: processes here, or the workers of a cluster; gathered when the work begins."""
    from fieldnote.flow.crew import LocalCrew, cores

    if scheduler is None:
        return lambda: LocalCrew(workers or cores())
    if workers is not None:
        raise UserMistake("a cluster has the workers that it has", where="--workers", do="Leave it out.")
    from fieldnote.flow.cluster import ClusterCrew

    return lambda: ClusterCrew(scheduler)


def work_off(rooms: Rooms, folder: Path, into: str | None, crew: Callable[[], Crew], as_json: bool) -> None:
    """Work off a backlog and say what came of it."""
    from fieldnote.flow.backlog import list_backlog, take_many

    into = rooms.store.job(into).name if into else None
    items = list_backlog(folder, into=into)
    line = ProgressLine(Console(stderr=True))
    try:
        backlog = take_many(rooms, items, crew(), progress=line)
    except KeyboardInterrupt:
        line.end()
        print("fieldnote: stopped; what was heard is kept. Run the same again to go on.", file=sys.stderr)
        raise typer.Exit(_STOPPED_EXIT) from None
    line.end()
    if as_json:
        print(json.dumps(_json(rooms, backlog), ensure_ascii=False, indent=2))
    else:
        _show(rooms, backlog)
    if backlog.errors:
        raise typer.Exit(_BAD_FILES_EXIT)


def _json(rooms: Rooms, backlog: Backlog) -> dict[str, object]:
    jobs = [rooms.store.job(job_id) for job_id in backlog.jobs]
    return {
        "jobs": [
            {"job": job.id, "name": job.name, "clips": len(job.clips), "entries": len(job.entries)} for job in jobs
        ],
        "added": backlog.report.added,
        "already": backlog.report.already,
        "errors": [{"what": error.what, "where": error.where, "do": error.do} for error in backlog.errors],
    }


def _show(rooms: Rooms, backlog: Backlog) -> None:
    console = Console(highlight=False)
    for error in backlog.errors:
        print(f"fieldnote: {error}", file=sys.stderr)
    for job_id in backlog.jobs:
        job = rooms.store.job(job_id)
        counts = f"{len(job.clips)} recordings, {len(job.entries)} entries"
        console.print(f"[bold]{escape(job.name)}[/bold] [dim]({job.id})[/dim]: {counts}")
    report = backlog.report
    console.print(f"{report.added} new, {report.already} there already, {report.failed} failed.")
