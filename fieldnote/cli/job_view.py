"""One job as JSON and as what ``fieldnote job show`` prints."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from rich.console import RenderableType
from rich.markup import escape
from rich.table import Table

from fieldnote.cli.entry_table import edit_table, edit_text, entry_table
from fieldnote.records import Job
from fieldnote.store.changes import in_force
from fieldnote.store.rows import intake_to_json, sparse
from fieldnote.wire import entry_to_wire, plain, utterance_to_wire


def header(job: Job) -> dict[str, Any]:
    """The job itself, without what was said in it."""
    return {
        "id": job.id,
        "name": job.name,
        "status": job.status,
        "created_at": job.created_at,
        "closed_at": job.closed_at,
        "pack": job.pack,
        "intake": intake_to_json(job.intake),
        "claim": sparse(job.claim),
    }


def as_json(job: Job) -> dict[str, Any]:
    """The whole job: ``job``, ``utterances``, ``entries`` with ids and origins, ``edits``, and what is beside them."""
    return {
        "job": header(job),
        "utterances": [utterance_to_wire(utterance) for utterance in job.utterances],
        "entries": [entry_to_wire(entry, with_origins=True) for entry in job.entries],
        "edits": [plain(edit) for edit in job.edits],
        "stranded_edits": [plain(edit) for edit in job.stranded_edits],
        "differences": [plain(difference) for difference in job.differences],
        "leftovers": [plain(leftover) for leftover in job.leftovers],
        "clips": [plain(clip) for clip in job.clips],
    }


def parts(job: Job, *, words: bool, changes: bool) -> Iterator[RenderableType]:
    """What is printed, piece by piece."""
    state = job.status if job.status == "open" else f"closed {(job.closed_at or '')[:10]}"
    yield f"[bold]{escape(job.name)}[/bold]  {state}, opened {job.created_at[:10]}  [dim]{job.id}[/dim]"
    facts = _intake(job)
    if facts:
        yield facts
    if words:
        yield ""
        yield _words(job)
    yield ""
    yield entry_table(job.entries) if job.entries else "[dim]No entries yet: `fieldnote take` adds them.[/dim]"
    if job.leftovers and not words:
        count = len(job.leftovers)
        yield f"[dim]{count} {'phrase' if count == 1 else 'phrases'} in no entry: --words shows them.[/dim]"
    if job.differences:
        yield ""
        yield "[bold]Changed on two machines[/bold] (correct the entry again to settle it)"
        for met in job.differences:
            both = met.stands.field != met.other.field and met.other.action == "set" and met.stands.action == "set"
            verdict = "both stand" if both else "the first stands"
            yield escape(
                f"  {met.stands.person}: {edit_text(met.stands)}  /  {met.other.person}: {edit_text(met.other)}"
                f"  ({verdict})"
            )
    if job.stranded_edits:
        yield ""
        yield "[bold]Changes whose entry no longer comes out of the words[/bold]"
        for edit in job.stranded_edits:
            yield escape(f"  {edit.at[:10]} {edit.person}: {edit_text(edit)}")
    if job.edits and changes:
        yield ""
        yield edit_table(job.edits, frozenset(edit.id for edit in in_force(job.edits)))
    elif job.edits:
        count = len(job.edits)
        yield f"[dim]{count} {'change' if count == 1 else 'changes'} by people: --changes shows them.[/dim]"


def _intake(job: Job) -> Table | None:
    """The answers that were given, two columns."""
    answers = intake_to_json(job.intake)
    conditions = answers.pop("conditions", {})
    unit = answers.pop("odometer_unit", None)
    table = Table(box=None, pad_edge=False, show_header=False)
    table.add_column(style="dim", no_wrap=True)
    table.add_column(overflow="fold")
    for name, value in (*answers.items(), *conditions.items()):
        if name == "odometer":
            value = f"{value:,.0f} {unit or ''}".strip()
        shown = ", ".join(value) if isinstance(value, list) else str(value)
        table.add_row(name.replace("_", " "), escape(shown))
    return table if table.row_count else None


def _words(job: Job) -> Table:
    """What was said, line by line; words that are in no entry are underlined."""
    table = Table(box=None, pad_edge=False, show_header=False)
    table.add_column(style="dim", no_wrap=True, justify="right")
    table.add_column(overflow="fold")
    left: dict[str, list[tuple[int, int]]] = {}
    for leftover in job.leftovers:
        left.setdefault(leftover.utterance_id, []).append((leftover.start, leftover.end))
    for utterance in job.utterances:
        when = "" if utterance.from_s is None else f"{int(utterance.from_s // 60)}:{utterance.from_s % 60:04.1f}"
        table.add_row(when, _underlined(utterance.text, sorted(left.get(utterance.id, ()))))
    return table


def _underlined(text: str, spans: list[tuple[int, int]]) -> str:
    out, done = [], 0
    for start, end in spans:
        out += [escape(text[done:start]), f"[underline]{escape(text[start:end])}[/underline]"]
        done = end
    return "".join([*out, escape(text[done:])])
