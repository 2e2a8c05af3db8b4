"""Charts of patterns as files in a folder."""

from __future__ import annotations

from pathlib import Path

from fieldnote.errors import StoreFault, UserMistake
from fieldnote.patterns.drawings import Name, drawings
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
    made = []
    for stem, drawing in found.items():
        path = folder / f"{stem}.{to}"
        data = picture(drawing, to)
        try:
            folder.mkdir(parents=True, exist_ok=True)
            path.write_bytes(data)
        except OSError as error:
            raise StoreFault(
                f"cannot be written ({error.strerror})", where=str(path), do="Choose another folder."
            ) from error
        made.append(path)
    return tuple(made)


__all__ = ["Name", "Picture", "draw"]
