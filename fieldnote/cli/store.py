"""``fieldnote store``: the kept jobs as a whole: check them, back them up."""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Annotated, Optional

import typer
from rich.console import Console
from rich.markup import escape

from fieldnote.cli.bars import bar
from fieldnote.errors import UserMistake

app = typer.Typer(
    name="store", help="The kept jobs as a whole: check, back up, let old sound go.", no_args_is_help=True
)

AsJson = Annotated[bool, typer.Option("--json", help="Print JSON.")]


@app.command()
def check(
    quick: Annotated[
        bool, typer.Option("--quick", help="Compare sizes of sound instead of hashes, and leave summaries out.")
    ] = False,
    mend: Annotated[bool, typer.Option("--mend", help="Make anew what can be made from what is kept.")] = False,
    as_json: AsJson = False,
) -> None:
    """Look through everything kept: the database, every sound by its hash, and what was made of them.

    Nothing is changed without --mend, and --mend never touches what was said or changed. Exit code 2 where
    something is wrong.

    Examples:

      fieldnote store check

      fieldnote store check --mend
    """
    from fieldnote.flow.rooms import Rooms
    from fieldnote.store import checking
    from fieldnote.wire import plain

    rooms = Rooms()
    store, summarizer = rooms.store, None if quick else rooms.summarizer
    with bar() as tell:
        report = checking.check(store, hashes=not quick, summarizer=summarizer, progress=tell)
        mended = checking.mend(store, report, progress=tell) if mend else 0
        left = checking.check(store, hashes=not quick, summarizer=summarizer, progress=tell) if mended else report
    if as_json:
        print(json.dumps({**plain(left), "mended": mended}, ensure_ascii=False, indent=2))
    else:
        console = Console(highlight=False, soft_wrap=True)
        for finding in left.findings:
            console.print(escape(f"{finding.where}: {finding.what}. {finding.do}"))
        if mended:
            console.print(f"Mended: {mended}.")
        away = f", {left.sounds_elsewhere} let go or on another machine" if left.sounds_elsewhere else ""
        verdict = f"{len(left.findings)} found" if left.findings else "all is well"
        console.print(f"{left.jobs} jobs, {left.sounds} sounds{away}: {verdict}.")
    if left.findings:
        raise typer.Exit(2)


@app.command("let-go")
def let_go_sound(
    days: Annotated[
        Optional[int],
        typer.Option(min=1, help="Days since a job was closed; else keep.sound_days of the settings."),
    ] = None,
    look: Annotated[bool, typer.Option("--look", help="Only say what would go.")] = False,
    as_json: AsJson = False,
) -> None:
    """Delete the sound of jobs closed long enough ago. Words, entries and changes stay.

    Examples:

      fieldnote store let-go --days 365 --look

      fieldnote store let-go
    """
    from fieldnote.flow.rooms import Rooms
    from fieldnote.store.retention import let_go
    from fieldnote.wire import plain

    rooms = Rooms()
    wanted = days if days is not None else rooms.settings.keep.sound_days
    if wanted <= 0:
        raise UserMistake(
            "sound is kept until it is deleted by hand",
            where="[keep] sound_days",
            do="Set a number of days there, or give --days.",
        )
    gone = let_go(rooms.store, wanted, only_look=look)
    if as_json:
        print(json.dumps({**plain(gone), "days": wanted, "deleted": not look}, indent=2))
        return
    verb = "would go" if look else "let go"
    print(f"{gone.sounds} sounds of jobs closed {wanted} days ago or earlier {verb} ({gone.bytes / 1e6:.1f} MB).")


@app.command()
def backup(
    folder: Annotated[Path, typer.Argument(help="A new folder, or one that holds an earlier backup.")],
    as_json: AsJson = False,
) -> None:
    """Copy everything kept into a folder, while it is in use. A second backup there copies only what is new.

    The copy is a data folder: set FIELDNOTE_HOME to it to work from it.

    Example:

      fieldnote store backup /media/usb/fieldnote
    """
    from fieldnote.flow.rooms import Rooms
    from fieldnote.store.backup import back_up

    store = Rooms().store
    with bar() as tell:
        made = back_up(store, folder, progress=tell)
    if as_json:
        body = {"folder": str(made.folder), "jobs": made.jobs, "sounds": made.sounds, "copied": made.copied}
        print(json.dumps(body | {"missing": made.missing}, ensure_ascii=False, indent=2))
    else:
        console = Console(highlight=False, soft_wrap=True)
        console.print(escape(f"{made.jobs} jobs and {made.sounds} sounds are in {folder} ({made.copied} sounds new)."))
    if made.missing:
        lack = f"{made.missing} sounds are missing in the store itself"
        print(f"fieldnote: {lack}. `fieldnote store check` names them.", file=sys.stderr)
        raise typer.Exit(2)
