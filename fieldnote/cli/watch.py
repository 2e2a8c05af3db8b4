"""``fieldnote take JOB --watch FOLDER``: recordings are taken as they are dropped into a folder."""

from __future__ import annotations

import json
import threading
from pathlib import Path
from typing import TYPE_CHECKING

from rich.console import Console
from rich.markup import escape

if TYPE_CHECKING:
    from fieldnote.flow import Rooms, Taken
    from fieldnote.records import Job


def watch_folder(rooms: Rooms, job: Job, folder: Path, *, as_json: bool, person: str | None) -> None:
    """Take what settles in ``folder`` until it is interrupted from the keyboard."""
    from fieldnote.flow import take
    from fieldnote.flow.watching import Watch

    watch = Watch(folder)
    console, err = Console(highlight=False, soft_wrap=True), Console(stderr=True, highlight=False, soft_wrap=True)
    err.print(escape(f"watching {folder} for {job.name}; each recording is taken once it is whole. Ctrl-C ends."))
    waiting = threading.Event()
    try:
        for ready in watch.forever(waiting.wait):
            taken = take(
                rooms.store,
                job,
                ready,
                rooms.engine,
                rooms.extractor,
                settings=rooms.settings.capture,
                person=person,
            )
            _show(taken, console, err, as_json)
    except KeyboardInterrupt:
        err.print(escape("ended; everything that was taken is kept."))


def _show(taken: Taken, console: Console, err: Console, as_json: bool) -> None:
    """A line a recording; with ``as_json`` one JSON object a line."""
    for file in taken.files:
        text = " ".join(said.text for said in file.utterances)
        if file.error is not None:
            err.print(escape(f"fieldnote: {file.error}"))
        if as_json:
            error = {"what": file.error.what, "do": file.error.do} if file.error else None
            body = {"file": file.file, "text": text, "already": file.already, "entries": len(taken.entries)}
            console.print(json.dumps(body | ({"error": error} if error else {}), ensure_ascii=False), markup=False)
        elif file.error is None:
            note = "the job has it already" if file.already else text or "no speech"
            console.print(escape(f"{Path(file.file).name}: {note}"))
    if not as_json:
        console.print(escape(f"  {len(taken.entries)} entries now"))
