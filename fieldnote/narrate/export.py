"""The write-up and its job as data: JSON, JSON Lines and CSV, each of which can be read back.

No sound goes out with them. Names of people stay behind unless they are asked for.
"""

from __future__ import annotations

import csv
import dataclasses
import io
import json
from collections.abc import Iterable, Mapping
from typing import Any

from fieldnote.errors import BadData
from fieldnote.narrate.compose import numbered, shown
from fieldnote.narrate.wording import Vocabulary, load_wording
from fieldnote.records import Edit, Entry, Job, Narrative, Quantity
from fieldnote.wire import entry_from_wire, entry_to_wire, plain

FORMAT = 1
"""Number of the export's shape, as published in ``docs/schema``."""


# ---- JSON -----------------------------------------------------------------------------------------------------


def story_to_wire(narrative: Narrative) -> dict[str, Any]:
    """A write-up as JSON values."""
    return {
        "paragraphs": [
            {"heading": p.heading, "sentences": [{"text": s.text, "entries": list(s.entries)} for s in p.sentences]}
            for p in narrative.paragraphs
        ],
        "open_points": [{"text": p.text, "entries": list(p.entries)} for p in narrative.open_points],
        "cautions": list(narrative.cautions),
        "version": narrative.version,
        "hash": narrative.hash,
    }


def to_json(narrative: Narrative, job: Job, pack: Vocabulary, *, names: bool = False) -> str:
    """The write-up with its job, as one JSON object."""
    wire = {"format": FORMAT, **story_to_wire(narrative), "job": job_to_wire(job, pack, names=names)}
    return json.dumps(wire, ensure_ascii=False, indent=2) + "\n"


def job_to_wire(job: Job, pack: Vocabulary, *, names: bool = False) -> dict[str, Any]:
    """A job as JSON values, people's names only where asked for."""
    return plain(job if names else nameless(job, pack))  # type: ignore[no-any-return]


_ABOUT_PEOPLE = ("intake.technician", "intake.role")
"""Fields whose changes say who worked on the job."""


def nameless(job: Job, pack: Vocabulary) -> Job:
    """The job without the names of people and without paths of sound."""
    entries = shown(numbered(job.entries), load_wording(pack))
    bare = tuple(
        dataclasses.replace(e, origins=tuple(dataclasses.replace(o, person=None) for o in e.origins)) for e in entries
    )
    gone = {e.id for e in numbered(job.entries)} - {e.id for e in entries}

    def told(edits: Iterable[Edit]) -> tuple[Edit, ...]:
        kept = (e for e in edits if e.entry_id not in gone and e.field not in _ABOUT_PEOPLE)
        return tuple(dataclasses.replace(e, person="") for e in kept)

    return dataclasses.replace(
        job,
        entries=bare,
        intake=dataclasses.replace(job.intake, technician=None, role=None),
        edits=told(job.edits),
        stranded_edits=told(job.stranded_edits),
        differences=tuple(
            dataclasses.replace(d, stands=told([d.stands])[0], other=told([d.other])[0])
            for d in job.differences
            if told([d.stands]) and told([d.other])
        ),
        photos=tuple(dataclasses.replace(photo, person="") for photo in job.photos),
    )


def job_from_json(text: str, *, where: str = "export") -> Job:
    """The job in an exported JSON object.

    Raises:
        BadData: it is no such export.

    """
    from fieldnote.store.rows import record_from_json

    wire = parsed(text, where)
    if "job" not in wire:
        raise BadData("no job in it", where=where, do="Give a file written by: fieldnote narrate JOB --to json.")
    if wire.get("format") != FORMAT:
        raise BadData(
            f"format {wire.get('format')!r} is not {FORMAT}", where=where, do="Export it again with this version."
        )
    try:
        return record_from_json(Job, wire["job"])
    except (KeyError, TypeError, ValueError, AttributeError) as error:
        raise BadData(f"a job that cannot be read ({error})", where=where, do="Export it again.") from error


def parsed(text: str, where: str) -> dict[str, Any]:
    """A JSON object.

    Raises:
        BadData: it is none.

    """
    try:
        wire = json.loads(text)
    except (json.JSONDecodeError, RecursionError) as error:
        spot = f"{where}:{error.lineno}" if isinstance(error, json.JSONDecodeError) else where
        reason = error.msg if isinstance(error, json.JSONDecodeError) else "nested too deep"
        raise BadData(f"not JSON ({reason})", where=spot, do="Give a file of JSON.") from error
    if not isinstance(wire, dict):
        raise BadData("not a JSON object", where=where, do='It begins with {"entries": […]} or {"paragraphs": […]}.')
    return wire


def entries_from_json(text: str, *, where: str = "entries") -> tuple[Entry, ...]:
    """The entries of ``{"entries": [ENTRY, …]}``.

    Raises:
        BadData: it is not of that shape.

    """
    found = parsed(text, where).get("entries")
    if not isinstance(found, list):
        raise BadData('no list "entries" in it', where=where, do='It looks like {"entries": [ENTRY, …]}.')
    return numbered(_entry(e, f"{where}: entry {i}") for i, e in enumerate(found, 1))


def _entry(wire: Any, where: str) -> Entry:
    if not isinstance(wire, Mapping):
        raise BadData("not an object", where=where, do="Each entry is a JSON object.")
    return checked(entry_from_wire(wire, where=where), where)


_TEXTS = ("place", "part", "state", "method", "material", "quote", "what", "unit", "id", "odd", "proposed")


def checked(entry: Entry, where: str) -> Entry:
    """The entry, its fields of the right types.

    Raises:
        BadData: one is not.

    """
    for name in _TEXTS:
        if getattr(entry, name) is not None and not isinstance(getattr(entry, name), str):
            raise BadData(f"{name} {getattr(entry, name)!r} is not text", where=where, do="Put it in quotes.")
    if entry.certainty not in ("sure", "unsure"):
        raise BadData(f"certainty {entry.certainty!r}", where=where, do="It is sure or unsure.")
    if entry.stage not in ("find", "verify"):
        raise BadData(f"stage {entry.stage!r}", where=where, do="It is find or verify.")
    if not isinstance(entry.present, bool):
        raise BadData(f"present {entry.present!r}", where=where, do="It is true or false.")
    if entry.item is not None and (isinstance(entry.item, bool) or not isinstance(entry.item, int)):
        raise BadData(f"item {entry.item!r} is not a whole number", where=where, do="Give a whole number or null.")
    if not all(isinstance(word, str) for word in (*entry.at, *entry.masked)):
        raise BadData("at or masked holds something that is not text", where=where, do="Give lists of texts.")
    for q in entry.quantities:
        good = isinstance(q.value, (int, float)) and not isinstance(q.value, bool) and abs(q.value) < 1e15
        if not good or not isinstance(q.what, str) or not isinstance(q.unit, str):
            raise BadData(f"quantity {q.value!r} {q.unit!r}", where=where, do="Give what, a number, and a unit.")
    return entry


# ---- JSON Lines -----------------------------------------------------------------------------------------------


def to_jsonl(job: Job, pack: Vocabulary, *, names: bool = False) -> str:
    """One entry a line, with its origins."""
    entries = job.entries if names else nameless(job, pack).entries
    lines = (json.dumps(entry_to_wire(e, with_origins=True), ensure_ascii=False) for e in numbered(entries))
    return "".join(f"{line}\n" for line in lines)


def entries_from_jsonl(text: str, *, where: str = "entries") -> tuple[Entry, ...]:
    """The entries of a JSON Lines file.

    Raises:
        BadData: a line is no entry.

    """
    out = [
        _entry(parsed(line, f"{where}:{i}"), f"{where}:{i}")
        for i, line in enumerate(text.split("\n"), 1)
        if line.strip()
    ]
    return numbered(out)


# ---- CSV ------------------------------------------------------------------------------------------------------

COLUMNS = (
    "id",
    "kind",
    "place",
    "part",
    "side",
    "state",
    "present",
    "certainty",
    "stage",
    "method",
    "material",
    "at",
    "item",
    "quantities",
    "masked",
    "what",
    "value",
    "unit",
    "quote",
    "confidence",
    "misheard_risk",
    "heard_from",
    "heard_to",
    "clocked_s",
    "clocked_leak_s",
    "odd",
    "proposed",
)
_ARMED = ("=", "+", "-", "@", "\t", "\r", "'")
_NUMBERS = ("confidence", "misheard_risk", "heard_from", "heard_to", "clocked_s", "clocked_leak_s")


def to_csv(job: Job, pack: Vocabulary, *, names: bool = False) -> str:
    """One entry a row, by RFC 4180. Cells that a spreadsheet would take for a formula begin with an apostrophe."""
    entries = job.entries if names else nameless(job, pack).entries
    buffer = io.StringIO()
    writer = csv.writer(buffer, lineterminator="\r\n")
    writer.writerow(COLUMNS)
    for entry in numbered(entries):
        writer.writerow([defused(cell) for cell in _cells(entry)])
    return buffer.getvalue()


def defused(cell: str) -> str:
    """The cell, made harmless where it begins like a formula; ``armed`` gives it back."""
    return f"'{cell}" if cell.startswith(_ARMED) else cell


def armed(cell: str) -> str:
    """The cell as it was before ``defused``."""
    return cell[1:] if cell.startswith("'") else cell


def _cells(entry: Entry) -> Iterable[str]:
    for name in COLUMNS:
        value = getattr(entry, name)
        if name == "quantities":
            yield "; ".join(f"{q.what}={q.value!r} {q.unit}".strip() for q in value)
        elif name in ("at", "masked"):
            yield " ".join(value)
        elif name == "present":
            yield "yes" if value else "no"
        elif name == "value":
            # Text that looks like a number keeps its quotes, so that unit "41" does not come back as 41.
            yield "" if value is None else json.dumps(value, ensure_ascii=False) if _looks_like_json(value) else value
        else:
            yield "" if value is None else repr(value) if isinstance(value, float) else str(value)


def _looks_like_json(value: object) -> bool:
    if not isinstance(value, str):
        return True
    try:
        json.loads(value)
    except json.JSONDecodeError:
        return value == "" or value.startswith('"')
    return True


def entries_from_csv(text: str, *, where: str = "entries") -> tuple[Entry, ...]:
    """The entries of a CSV file written by ``to_csv`` (columns in any order, some may be left out).

    Raises:
        BadData: a column is unknown or a cell cannot be read; the line is named.

    """
    reader = csv.reader(io.StringIO(text.removeprefix("\ufeff"), newline=""), strict=True)
    try:
        heads = next(reader, [])
        unknown = [h for h in heads if h not in COLUMNS]
        if unknown or "kind" not in heads:
            wrong = f"unknown column {unknown[0]!r}" if unknown else "no column 'kind'"
            raise BadData(wrong, where=f"{where}:1", do=f"Columns are: {', '.join(COLUMNS)}.")
        out = []
        for row in reader:
            if row:
                out.append(_entry_of(heads, row, f"{where}:{reader.line_num}"))
    except csv.Error as error:
        raise BadData(f"not CSV ({error})", where=f"{where}:{reader.line_num}", do="Mend the line.") from error
    return numbered(out)


def _entry_of(heads: list[str], row: list[str], where: str) -> Entry:
    if len(row) != len(heads):
        raise BadData(f"{len(row)} cells under {len(heads)} columns", where=where, do="Mend the line.")
    cells = {h: armed(c) for h, c in zip(heads, row, strict=True)}
    wire: dict[str, Any] = {}
    try:
        for name, cell in cells.items():
            if name == "quantities":
                wire[name] = [dataclasses.asdict(_quantity(q)) for q in cell.split("; ") if q]
            elif name in ("at", "masked"):
                wire[name] = cell.split()
            elif name == "present":
                wire[name] = {"yes": True, "no": False, "": True}[cell]
            elif cell == "":
                continue
            elif name == "value":
                wire[name] = _json_or_text(cell)
            else:
                wire[name] = float(cell) if name in _NUMBERS else int(cell) if name == "item" else cell
    except (ValueError, KeyError) as error:
        raise BadData(f"{name} {cell!r} cannot be read", where=where, do="Mend the cell.") from error
    return _entry(wire, where)


def _quantity(text: str) -> Quantity:
    what, _, rest = text.partition("=")
    value, _, unit = rest.partition(" ")
    return Quantity(what, _number(value), unit)


def _number(text: str) -> float | int:
    try:
        return int(text)
    except ValueError:
        return float(text)


def _json_or_text(cell: str) -> Any:
    try:
        return json.loads(cell)
    except json.JSONDecodeError:
        return cell


__all__ = [
    "COLUMNS",
    "FORMAT",
    "armed",
    "checked",
    "defused",
    "entries_from_csv",
    "entries_from_json",
    "entries_from_jsonl",
    "job_from_json",
    "job_to_wire",
    "nameless",
    "parsed",
    "story_to_wire",
    "to_csv",
    "to_json",
    "to_jsonl",
]
