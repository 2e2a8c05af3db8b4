"""Makes the pictures of the README from the demo as it runs now: ``python docs/pictures/make.py``.

Terminal pictures are SVG, recorded by rich; fonts are those of the reader's machine, none is fetched.
"""

from __future__ import annotations

import re
import tempfile
from pathlib import Path

from rich.console import Console

from fieldnote.cli.entry_table import entry_table
from fieldnote.cli.next_view import show_advice
from fieldnote.flow.demo import read_script, run
from fieldnote.flow.rooms import Rooms

HERE = Path(__file__).resolve().parent
WIDTH = 92


def _save(console: Console, name: str, title: str) -> None:
    svg = console.export_svg(title=title)
    svg = re.sub(r"@font-face \{.*?\}", "", svg, flags=re.DOTALL)
    svg = re.sub(r'<g transform="translate\(26,22\)">.*?</g>', "", svg, flags=re.DOTALL)  # no window buttons
    (HERE / name).write_text(svg, encoding="utf-8")
    print(HERE / name)  # noqa: T201


def _console() -> Console:
    return Console(record=True, width=WIDTH, file=Path("/dev/null").open("w"), highlight=False, force_terminal=True)


def main() -> None:
    """Run the demo once and save three pictures."""
    with tempfile.TemporaryDirectory() as folder:
        rooms = Rooms(Path(folder))
        told = run(rooms, read_script(), Path(folder) / "out", lambda share, doing: None)
        console = _console()
        console.print(entry_table(told.taken.entries))
        _save(console, "entries.svg", "what was said, as entries")
        console = _console()
        show_advice(console, told.midway, rooms.leak_map, everything=False)
        _save(console, "next.svg", "where to look next, asked after clip 4")


if __name__ == "__main__":
    main()
