"""``fieldnote demo``: the main job on the shipped recordings, from sound to write-up."""

from __future__ import annotations

import tempfile
import time
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer
from rich.console import Console
from rich.markup import escape
from rich.rule import Rule

from fieldnote.cli.bars import bar

if TYPE_CHECKING:
    from fieldnote.flow.demo import Script, Told
    from fieldnote.flow.rooms import Rooms

WIDTH = 92


def demo(
    out: Annotated[Path, typer.Option("--out", help="The folder for the write-up.")] = Path("demo-out"),
    keep: Annotated[
        bool, typer.Option("--keep", help="Keep the job in your own data folder, to look at with other commands.")
    ] = False,
) -> None:
    """Run the main job on twelve recorded clips: words, entries, the next checks, the write-up.

    The voice is synthetic and the job is invented. Without --keep nothing is left but the documents.

    Examples:

      fieldnote demo

      fieldnote demo --keep && fieldnote next "Unit 217" --all
    """
    from fieldnote.flow.demo import read_script, run
    from fieldnote.flow.rooms import Rooms

    began = time.monotonic()
    script = read_script()
    console = Console(highlight=False)
    console.width = min(console.width, WIDTH)
    console.print(
        f"[bold]A recorded job: {escape(script.name)}[/bold] ({len(script.clips)} clips from {script.clips[0].parent}; "
        "the voice is synthetic)\n"
    )
    with tempfile.TemporaryDirectory(prefix="fieldnote-demo-") as folder:
        rooms = Rooms() if keep else Rooms(Path(folder))
        with bar("reading the demo job") as tell:
            told = run(rooms, script, out, tell)
        _show(console, told, script, rooms)
    console.print(f"\n[dim]From sound to write-up in {time.monotonic() - began:.0f} s, without a network.[/dim]")


def _show(console: Console, told: Told, script: Script, rooms: Rooms) -> None:
    from fieldnote.cli.entry_table import entry_table
    from fieldnote.cli.narrate import show_document
    from fieldnote.cli.next_view import show_advice
    from fieldnote.narrate.document import lay_out

    _heading(console, "1. What was heard")
    for file in told.taken.files:
        words = " ".join(said.text for said in file.utterances) or "no speech"
        console.print(f"[dim]{escape(Path(file.file).name):<22}[/dim] {escape(words)}")
    _heading(console, "2. What it means: the entries")
    console.print(entry_table(told.taken.entries))
    _heading(console, f"3. Where to look next, asked after clip {script.asks_after}")
    show_advice(console, told.midway, rooms.leak_map, everything=False)
    _heading(console, "4. The write-up")
    show_document(lay_out(told.narrative, told.job, rooms.pack))
    _heading(console, "5. The files")
    for path in told.files:
        console.print(str(path), soft_wrap=True)


def _heading(console: Console, text: str) -> None:
    console.print()
    console.print(Rule(f"[bold]{text}[/bold]", align="left", style="dim"))
