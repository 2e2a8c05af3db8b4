"""Charts of patterns as files in a folder."""

from __future__ import annotations

from pathlib import Path

from fieldnote.errors import UserMistake
from fieldnote.patterns.drawings import Name, drawings
from fieldnote.patterns.files import write_files
from fieldnote.patterns.plotting import Picture, picture
from fieldnote.records import Patterns


def draw(patterns: Patterns, name: Name, folder: Path, to: Picture = "svg") -> tuple[Path, ...]:
    """Write the charts that ``patterns`` has rows for into ``folder``; gives the files.

    Raises:
        DeviceMissing: matplotlib is not installed.
        UserMistake: there is nothing to draw.
        StoreFault: the folder cannot be written.

    """
    found = drawings(patterns, name)
    if not found:
        raise UserMistake("no job has a leak to draw", where="--charts", do="Ask for more jobs, or a lower grade.")
    return write_files(folder, {f"{stem}.{to}": picture(drawing, to) for stem, drawing in found.items()})


__all__ = ["Name", "Picture", "draw"]
