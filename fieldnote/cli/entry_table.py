"""Entries and jobs as tables that fit 80 columns."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from rich.markup import escape
from rich.table import Table

from fieldnote.records import Edit, Entry, JobLine, Quantity
from fieldnote.store.fields import CONFIRMED, HANDOVER, JOB_FIELDS

_SHORTEST = 4


def short_ids(ids: Iterable[str]) -> dict[str, str]:
    """The shortest start of each id that means it alone, all of one length."""
    known = list(dict.fromkeys(ids))
    length = _SHORTEST
    while len({name[:length] for name in known}) < len(known):
        length += 1
    return {name: name[:length] for name in known}


def entry_table(entries: Sequence[Entry], *, with_ids: bool = True) -> Table:
    """One row an entry: id, kind, place and part, side, state, and what else was said."""
    table = Table(box=None, pad_edge=False, header_style="dim")
    if with_ids:
        table.add_column("id", style="dim", no_wrap=True)
    table.add_column("kind", no_wrap=True)
    table.add_column("place / part", overflow="fold", max_width=28)
    table.add_column("side", no_wrap=True)
    table.add_column("state", no_wrap=True)
    table.add_column("more", overflow="fold")
    ids = short_ids(entry.id for entry in entries)
    for entry in entries:
        cells = [ids[entry.id]] if with_ids else []
        if entry.kind == "fact":
            unit = f" {entry.unit}" if entry.unit else ""
            cells += ["fact", entry.what or "", "", "", f"{entry.value}{unit}{odd_text(entry)}"]
        else:
            where = " / ".join(filter(None, (entry.place, entry.part)))
            cells += [entry.kind, where, entry.side or "", state_text(entry), more_text(entry)]
        table.add_row(*(escape(cell) for cell in cells))
    return table


def odd_text(entry: Entry) -> str:
    """What is odd about a fact as it was heard, and the value that is proposed instead."""
    if not entry.odd:
        return ""
    return f" ({entry.odd})" + (f" PROPOSED, not taken: {entry.proposed}" if entry.proposed else "")


def state_text(entry: Entry) -> str:
    """The state, as denied or doubted."""
    if not entry.state:
        return ""
    return entry.state + ("" if entry.present else ": no") + (" ?" if entry.certainty == "unsure" else "")


def more_text(entry: Entry) -> str:
    """Finer position, number, method, material, measured values."""
    parts = [
        "retest" if entry.kind == "test" and entry.stage == "verify" else "",
        entry.method or "",
        f"with {entry.material}" if entry.material else "",
        " ".join(entry.at),
        f"no. {entry.item}" if entry.item is not None else "",
        *(quantity_text(quantity) for quantity in entry.quantities),
        f"clock {entry.clocked_s:g} s" if entry.clocked_s is not None else "",
        f"masked {', '.join(entry.masked)}" if entry.masked else "",
    ]
    return ", ".join(filter(None, parts))


def quantity_text(quantity: Quantity) -> str:
    """A measured value, such as ``leaked after 40 s`` without its name where the unit says it all."""
    return f"{quantity.what} {quantity.value:g}{' ' + quantity.unit if quantity.unit else ''}"


def job_table(lines: Sequence[JobLine]) -> Table:
    """One row a job, newest first; an excerpt goes under its job."""
    table = Table(box=None, pad_edge=False, header_style="dim")
    table.add_column("job", overflow="fold", max_width=26)
    table.add_column("vehicle", overflow="fold", max_width=16)
    table.add_column("opened", no_wrap=True)
    table.add_column("state", no_wrap=True)
    table.add_column("entries", justify="right", no_wrap=True)
    table.add_column("id", style="dim", no_wrap=True)
    for line in lines:
        row = (line.name, line.vehicle or "", line.created_at[:10], line.status, str(line.entries), line.id)
        table.add_row(*(escape(cell) for cell in row))
    return table


def edit_table(edits: Sequence[Edit], in_force: frozenset[str]) -> Table:
    """One row a change: who, when, what it was and became; changes taken back are struck out."""
    table = Table(box=None, pad_edge=False, header_style="dim")
    table.add_column("change", style="dim", no_wrap=True)
    table.add_column("when", no_wrap=True)
    table.add_column("who", overflow="fold", max_width=12)
    table.add_column("what", overflow="fold")
    ids = short_ids(edit.id for edit in edits)
    for edit in edits:
        when = edit.at[:16].replace("T", " ")
        style = None if edit.id in in_force else "strike dim"
        table.add_row(ids[edit.id], when, escape(edit.person), escape(edit_text(edit, ids)), style=style)
    return table


def edit_text(edit: Edit, ids: dict[str, str] | None = None) -> str:
    """A change in words."""
    quote = f' ("{edit.quote}")' if edit.quote and edit.field not in JOB_FIELDS else ""
    if edit.action == "undo":
        return f"took back {(ids or {}).get(edit.after or '', edit.after)}{quote}"
    if edit.action == "remove":
        return f"disregarded{quote}"
    if edit.action == "add":
        return f"added{quote}"
    if (edit.field or "").startswith(CONFIRMED):
        return f"confirmed by ear{quote}"
    if edit.field == HANDOVER:
        return "handover accepted"
    name = (edit.field or "").removeprefix("intake.").removeprefix("conditions.").replace("_", " ")
    return f"{name}: {edit.before or 'none'} → {edit.after or 'none'}{quote}"
