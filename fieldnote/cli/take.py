"""``fieldnote take``: recordings and notes into a job."""

from __future__ import annotations

import json
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Optional

import typer
from rich.console import Console
from rich.markup import escape

from fieldnote.cli.bars import bar
from fieldnote.flow.who import logged_in

if TYPE_CHECKING:
    from fieldnote.flow import Taken, TakenFile
    from fieldnote.settings import Settings

_STANDARD_INPUT = "-"
_SEVERAL_EXIT = 2
_STOPPED_EXIT = 130
"""What a shell expects of a command that was interrupted (128 + SIGINT)."""


def take(
    job: Annotated[
        Optional[str], typer.Argument(metavar="JOB", help="The job's name or id, or the start of either.")
    ] = None,
    sounds: Annotated[
        Optional[list[str]],
        typer.Argument(metavar="SOUND…", help="Recordings, or .txt notes (a line each); - is standard input."),
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print JSON.")] = False,
    engine: Annotated[Optional[str], typer.Option(help="The engine: whisper or vosk.")] = None,
    model: Annotated[Optional[str], typer.Option(help="A model's name (fieldnote models list), or a folder.")] = None,
    anew: Annotated[bool, typer.Option("--anew", help="Make the entries anew from all words kept.")] = False,
    many: Annotated[
        Optional[Path], typer.Option("--many", metavar="FOLDER", help="A backlog: each folder in it becomes a job.")
    ] = None,
    workers: Annotated[
        Optional[int],
        typer.Option("--workers", min=1, help="With --many: how many processes hear; else one a core."),
    ] = None,
    scheduler: Annotated[
        Optional[str],
        typer.Option("--scheduler", metavar="ADDRESS", help="With --many: the workers of this Dask cluster hear."),
    ] = None,
    watch: Annotated[
        Optional[Path],
        typer.Option("--watch", metavar="FOLDER", help="Take each recording that is dropped there, until Ctrl-C."),
    ] = None,
    by: Annotated[Optional[str], typer.Option("--by", help="Who dictated; otherwise who is logged in.")] = None,
) -> None:
    """Take recordings into a job: recognise them, make entries, keep all of it.

    The sound is copied first. Safe to run again: what the job has already adds nothing, and after a stop the same
    command goes on where it was. Without SOUND it only finishes what a stop left (of listen too), or what the intake
    has changed.

    Examples:

      fieldnote take "unit 12" memo-1.wav memo-2.m4a

      fieldnote take "unit 12" notes.txt

      echo "left tail lamp gasket is torn" | fieldnote take "unit 12" -

      fieldnote take "unit 12" --watch ~/phone-memos

      fieldnote take --many recordings/

      fieldnote take --many recordings/ --scheduler tcp://10.0.0.5:8786
    """
    from fieldnote.errors import UserMistake
    from fieldnote.flow import Rooms
    from fieldnote.flow import take as take_sounds
    from fieldnote.flow.leftovers import finish_sitting

    settings = _settings(engine, model)
    rooms = Rooms(settings=settings)
    if many is not None:
        if sounds:
            raise UserMistake("--many takes a folder, and no files beside it", where=sounds[0], do="Leave them out.")
        from fieldnote.cli.backlog import crew_of, work_off

        work_off(rooms, many, job, crew_of(workers, scheduler), as_json)
        return
    if job is None:
        raise UserMistake("no job was named", where="take", do="See: fieldnote take --help.")
    found = rooms.store.job(job)
    rooms = rooms.for_pack(found.pack)
    if watch is not None:
        if sounds:
            raise UserMistake("--watch takes a folder, and no files beside it", where=sounds[0], do="Leave them out.")
        from fieldnote.cli.watch import watch_folder

        watch_folder(rooms, found, watch, as_json=as_json, person=by or logged_in())
        return
    with _files(sounds or []) as named, bar("copying") as tell:
        try:
            finish_sitting(rooms, found, _tell)
            taken = take_sounds(
                rooms.store,
                found,
                [path for _, path in named],
                rooms.engine,
                rooms.extractor,
                tell,
                settings=settings.capture,
                person=by or logged_in(),
                anew=anew,
            )
        except KeyboardInterrupt:
            print("fieldnote: stopped; what was heard is kept. Run the same again to go on.", file=sys.stderr)
            raise typer.Exit(_STOPPED_EXIT) from None
        names = {str(path): name for name, path in named}
    if as_json:
        print(json.dumps(_json(taken, names), ensure_ascii=False, indent=2))
    else:
        _show(taken, names, found.name)
    failed = [file.error for file in taken.files if file.error is not None]
    if failed:
        raise typer.Exit(failed[0].exit_code if len(taken.files) == 1 else _SEVERAL_EXIT)


def _tell(text: str, warning: bool) -> None:
    print(f"fieldnote: {text}", file=sys.stderr)


def _settings(engine: str | None, model: str | None) -> Settings:
    """The machine's settings with the engine and model that were asked for."""
    import dataclasses

    from fieldnote.settings import load_settings

    settings = load_settings()
    chosen: dict[str, Any] = {k: v for k, v in (("engine", engine), ("model", model)) if v is not None}
    return dataclasses.replace(settings, recognize=dataclasses.replace(settings.recognize, **chosen))


@contextmanager
def _files(given: list[str]) -> Iterator[list[tuple[str, Path]]]:
    """The files as named and where they lie; what comes through standard input is written down first."""
    from fieldnote.errors import UserMistake

    if given.count(_STANDARD_INPUT) > 1:
        raise UserMistake("standard input was named twice", where=_STANDARD_INPUT, do="Name it once.")
    with tempfile.TemporaryDirectory(prefix="fieldnote-") as folder:
        named = []
        for name in given:
            path = Path(name)
            if name == _STANDARD_INPUT:
                data = sys.stdin.buffer.read()
                path = Path(folder) / f"standard-input{'.txt' if _is_text(data) else ''}"
                path.write_bytes(data)
            named.append((name, path))
        yield named


def _is_text(data: bytes) -> bool:
    """Whether bytes are text and not sound: every sound format has bytes that no text has."""
    try:
        return "\x00" not in data.decode("utf-8")
    except UnicodeDecodeError:
        return False


def _json(taken: Taken, names: dict[str, str]) -> dict[str, Any]:
    from fieldnote.wire import entry_to_wire

    return {
        "job": taken.job_id,
        "clips": [_clip(file, names) for file in taken.files],
        "entries": [entry_to_wire(entry, with_origins=True) for entry in taken.entries],
        "questions": list(taken.questions),
        "added": taken.added,
        "already": taken.already,
    }


def _clip(file: TakenFile, names: dict[str, str]) -> dict[str, Any]:
    """One file as ``hear --json`` shows it, with whether the job had it."""
    name = names.get(file.file, file.file)
    if file.error is not None:
        return {
            "file": name,
            "error": {"what": file.error.what, "where": _where(file, name), "do": file.error.do},
        }
    shown: dict[str, Any] = {
        "file": name,
        "text": " ".join(said.text for said in file.utterances),
        "utterances": [
            {key: getattr(said, key) for key in ("text", "from_s", "to_s", "confidence")} for said in file.utterances
        ],
        "already": file.already,
    }
    return shown | ({"warnings": list(file.warnings)} if file.warnings else {})


def _where(file: TakenFile, name: str) -> str:
    where = file.error.where if file.error else ""
    return name if where == file.file else where


def _show(taken: Taken, names: dict[str, str], job_name: str) -> None:
    from fieldnote.cli.entry_table import entry_table

    console, err = Console(highlight=False), Console(stderr=True, highlight=False, soft_wrap=True)
    for file in taken.files:
        name = names.get(file.file, file.file)
        if file.error is not None:
            err.print(escape(f"fieldnote: {_where(file, name)}: {file.error.what}. {file.error.do}"))
            continue
        for warning in file.warnings:
            err.print(escape(f"fieldnote: {name}: {warning}"))
        note = "  [dim]the job has it already[/dim]" if file.already else ""
        console.print(f"[bold]{escape(name)}[/bold]{note}")
        if not file.utterances:
            console.print("  [dim]no speech[/dim]")
        elif not file.already:
            for said in file.utterances:
                console.print(f"  {escape(said.text)}")
    console.print()
    if taken.entries:
        console.print(entry_table(taken.entries))
    if "steering" in taken.questions:
        console.print(
            "On which side does the driver sit? Left was taken for now: "
            f'[bold]fieldnote job intake "{escape(job_name)}" --steering right[/bold] (or left) tells.'
        )
    for entry in taken.entries:
        if entry.proposed:
            console.print(
                f"{escape(str(entry.value))} cannot be right. If {entry.proposed} was meant: "
                f'[bold]fieldnote job correct "{escape(job_name)}" {entry.id} value {entry.proposed}[/bold]'
            )
    count = len(taken.entries)
    console.print(
        f"[dim]{escape(job_name)}: {count} {'entry' if count == 1 else 'entries'}; "
        f"{taken.added} of {len(taken.files)} files new, {taken.already} there already.[/dim]"
    )
