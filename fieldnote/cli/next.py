"""``fieldnote next``: where to check next, and why."""

from __future__ import annotations

import dataclasses
import json
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Optional

import typer

from fieldnote.errors import BadData, NotFound, UserMistake

if TYPE_CHECKING:
    from fieldnote.flow import Rooms
    from fieldnote.records import Advice, Conditions, Entry
    from fieldnote.suggest import LeakMap


def next_checks(
    job: Annotated[
        Optional[str], typer.Argument(metavar="JOB", help="A kept job: its name, id, or the start of either.")
    ] = None,
    entries: Annotated[
        Optional[str],
        typer.Option("--entries", metavar="FILE", help="Entries as JSON instead of a kept job; - for standard input."),
    ] = None,
    pack: Annotated[Optional[str], typer.Option("--pack", help="Vocabulary pack for --entries.")] = None,
    everything: Annotated[bool, typer.Option("--all", help="Every candidate, reason and step.")] = False,
    learning: Annotated[
        bool, typer.Option("--learning/--no-learning", help="Use what closed jobs taught, or the map's own rates.")
    ] = True,
    changes: Annotated[
        bool, typer.Option("--changes", help="Show how far closed jobs have moved the base rates, and stop.")
    ] = False,
    as_json: Annotated[bool, typer.Option("--json", help="Print JSON.")] = False,
) -> None:
    """Where the water may come in, and what to check or test next, in the order that takes the fewest minutes.

    Examples:

      fieldnote next "Unit 217"

      fieldnote next "Unit 217" --all

      fieldnote next --changes

      fieldnote extract notes.txt --json | fieldnote next --entries -
    """
    if changes:
        _show_changes(as_json)
        return
    if (job is None) == (entries is None):
        raise UserMistake(
            "a job or --entries FILE is needed, and not both", where="next", do="See: fieldnote next --help."
        )
    advice, leak_map = _of_entries(entries, pack) if entries is not None else _of_job(str(job), learning)
    if as_json:
        print(json.dumps(_wire(advice), ensure_ascii=False, indent=2))
        return
    from rich.console import Console

    from fieldnote.cli.next_view import show_advice

    show_advice(Console(highlight=False), advice, leak_map, everything=everything)


def _of_job(ref: str, learning: bool) -> tuple[Advice, LeakMap]:
    from fieldnote.flow import Rooms, learned_rates, next_checks

    rooms = Rooms()
    found = rooms.store.job(ref)
    rooms = rooms.for_pack(found.pack)
    rates = learned_rates(rooms.store, rooms.leak_map, found.pack, found) if learning else None
    return next_checks(rooms.store, found, rooms.leak_map, cautions=rooms.cautions, rates=rates), rooms.leak_map


def _of_entries(source: str, pack: str | None) -> tuple[Advice, LeakMap]:
    from fieldnote.flow import Rooms, advise_on

    found, conditions = read_entries(source)
    rooms: Rooms = Rooms(pack=pack)
    return advise_on(found, rooms.leak_map, conditions=conditions, cautions=rooms.cautions), rooms.leak_map


def read_entries(source: str) -> tuple[tuple[Entry, ...], Conditions]:
    """Entries and conditions from a JSON file or standard input (``-``).

    Raises:
        NotFound: no such file.
        BadData: it is no JSON of entries.

    """
    from fieldnote.wire import entry_from_wire

    where = "standard input" if source == "-" else source
    data = _parsed(source, where)
    if isinstance(data, list):
        data = {"entries": data}
    if not isinstance(data, dict) or not isinstance(data.get("entries"), list):
        raise BadData(
            'no "entries" list', where=where, do='Give {"entries": [...]} as fieldnote extract --json prints it.'
        )
    out = []
    for n, wire in enumerate(data["entries"], 1):
        spot = f"{where}, entry {n}"
        if not isinstance(wire, dict):
            raise BadData(f"{wire!r} is no entry", where=spot, do="Give an object with at least a kind.")
        out.append(entry_from_wire(wire, where=spot))
    return tuple(out), _conditions(data.get("conditions"), where)


def _parsed(source: str, where: str) -> Any:
    try:
        raw = sys.stdin.buffer.read() if source == "-" else Path(source).read_bytes()
        return json.loads(raw.decode("utf-8-sig"))
    except FileNotFoundError:
        raise NotFound("no such file", where=where, do="Check the name.") from None
    except (json.JSONDecodeError, UnicodeDecodeError) as error:
        raise BadData(f"no JSON ({error})", where=where, do="Give what fieldnote extract --json prints.") from error
    except OSError as error:
        raise BadData(f"cannot be read ({error.strerror})", where=where, do="Give a file of JSON.") from error


def _conditions(wire: Any, where: str) -> Conditions:
    """The conditions of the job; each may be one id or a list of ids."""
    from fieldnote.records import Conditions

    if wire is None:
        return Conditions()
    names = [f.name for f in dataclasses.fields(Conditions)]
    if not isinstance(wire, dict) or set(wire) - set(names):
        wrong = next(iter(set(wire) - set(names))) if isinstance(wire, dict) else wire
        raise BadData(f"conditions: {wrong!r} is unknown", where=where, do=f"Conditions are: {', '.join(names)}.")
    values: dict[str, Any] = {}
    for name, value in wire.items():
        if name == "since":
            values[name] = None if value is None else str(value)
            continue
        listed = [value] if isinstance(value, str) else value if value is not None else []
        if not isinstance(listed, list) or not all(isinstance(v, str) for v in listed):
            raise BadData(f"conditions.{name}: {value!r}", where=where, do="Give an id or a list of ids.")
        values[name] = tuple(listed)
    return Conditions(**values)


def _wire(advice: Advice) -> dict[str, Any]:
    from fieldnote.wire import plain

    order = ("suggestions", "plan", "unused", "aftercare", "notes", "cautions", "rates")
    return {name: plain(getattr(advice, name)) for name in order}


def _show_changes(as_json: bool) -> None:
    from fieldnote.cli.bars import bar
    from fieldnote.flow import Rooms, all_lessons, learned_rates
    from fieldnote.suggest import changes as moved
    from fieldnote.wire import plain

    rooms = Rooms()
    with bar("learning") as tell:
        all_lessons(rooms.store, rooms.leak_map, rooms.pack.id, tell)
    rates = learned_rates(rooms.store, rooms.leak_map, rooms.pack.id)
    rows: Sequence[Any] = moved(rooms.leak_map, rates) if rates is not None else ()
    if as_json:
        print(json.dumps({"rates": plain(rates), "changes": plain(rows)}, ensure_ascii=False, indent=2))
        return
    from rich.console import Console

    from fieldnote.cli.next_view import show_changes

    show_changes(Console(highlight=False), rates, rows)
