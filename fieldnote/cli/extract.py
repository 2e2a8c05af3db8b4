"""``fieldnote extract``: text to entries."""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Optional

import typer

from fieldnote.errors import BadData, UserMistake

if TYPE_CHECKING:
    from fieldnote.extract import Extraction, Extractor

_STANDARD_INPUT = "-"


def extract(
    file: Annotated[
        str, typer.Argument(metavar="FILE", help="A text file, one utterance a line; - for standard input.")
    ],
    as_json: Annotated[bool, typer.Option("--json", help="Print one JSON object with all entries.")] = False,
    jsonl: Annotated[
        bool, typer.Option("--jsonl", help="Read a job a line ({id, utterances}), print a job a line ({id, entries}).")
    ] = False,
    pack: Annotated[
        Optional[str], typer.Option("--pack", help="A pack's name, or a folder. Default: the settings'.")
    ] = None,
) -> None:
    """Turn dictated text into entries, and keep nothing.

    The lines of FILE are the utterances of one job, in the order spoken. Without an option the entries are shown as a
    table, with the words that no rule took below it.

    Examples:

      fieldnote extract notes.txt

      fieldnote extract notes.txt --json > entries.json

      echo "pinhole in the left roof joint" | fieldnote extract -

      fieldnote extract --jsonl jobs.jsonl > entries.jsonl
    """
    from fieldnote.flow.rooms import Rooms

    if as_json and jsonl:
        raise UserMistake("--json and --jsonl exclude each other", do="Give one of them.")
    lines = _lines(file)
    extractor = Rooms(pack=pack).extractor
    if jsonl:
        for number, line in enumerate(lines, start=1):
            print(json.dumps(_job(extractor, line, f"{file}:{number}"), ensure_ascii=False))
        return
    extraction = extractor.run(lines)
    if as_json:
        print(json.dumps({"entries": _wire(extraction)}, ensure_ascii=False, indent=2))
        return
    _show(extraction)


def _lines(file: str) -> list[str]:
    from fieldnote.flow.texts import lines_of, read_lines

    if file == _STANDARD_INPUT:
        return lines_of(sys.stdin.buffer.read(), "standard input")
    return read_lines(Path(file))


def _wire(extraction: Extraction) -> list[dict[str, Any]]:
    from fieldnote.wire import entry_to_wire

    return [entry_to_wire(entry) for entry in extraction.entries]


def _job(extractor: Extractor, line: str, where: str) -> dict[str, Any]:
    """One job of a ``--jsonl`` file."""
    try:
        job = json.loads(line)
    except json.JSONDecodeError as error:
        raise BadData(f"this line is not JSON ({error.msg})", where=where, do="Give one JSON object a line.") from error
    utterances = job.get("utterances") if isinstance(job, dict) else None
    if not isinstance(utterances, list) or not all(isinstance(u, str) for u in utterances):
        raise BadData(
            "this job has no list of utterances", where=where, do='Each line is {"id": …, "utterances": ["…", …]}.'
        )
    return {"id": job.get("id"), "entries": _wire(extractor.run(utterances))}


def _show(extraction: Extraction) -> None:
    """The entries as a table, then what was left over."""
    from rich.console import Console
    from rich.markup import escape

    from fieldnote.cli.entry_table import entry_table

    console = Console()
    if not extraction.entries:
        console.print("No entries in this text.")
    else:
        console.print(entry_table(extraction.entries, with_ids=False))
    words = [leftover.text for leftover in extraction.leftovers]
    if words:
        console.print()
        console.print(f"[dim]Not placed:[/dim] {escape(' · '.join(words))}")
