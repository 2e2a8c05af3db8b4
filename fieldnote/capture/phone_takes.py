"""How much of each take of a phone has arrived: what the phone may forget, and from where it goes on after a break.

A *take* is what a phone records from one touch to the next. Its sound lies in stretches of the journal; beside them
stands, for each take, a line of JSON that says how many samples lie before its present stretch. The size of the
stretch's own file gives the rest, so that after a kill the count is that of what is really on the disk.
"""

from __future__ import annotations

import json
import os
import re
import time
from dataclasses import asdict, dataclass
from pathlib import Path

from fieldnote.capture.journal import StretchInfo
from fieldnote.errors import StoreFault, UserMistake

TAKE_ID = re.compile(r"[0-9a-f]{8}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{12}")
"""A UUID (RFC 9562) as browsers write it: safe as the name of a file."""
_SUFFIX = ".take"
_BYTES = 2
_KEPT_DAYS = 30
"""So long a phone that missed the last answer may ask again."""


@dataclass(frozen=True, slots=True)
class Tally:
    """``base`` samples lie before ``stretch`` ("" where none is open); ``total``: all of a take that has ended."""

    base: int = 0
    stretch: str = ""
    total: int | None = None


def read_tally(folder: Path, take_id: str) -> Tally:
    """What is known of a take; nothing where it has never been heard of.

    Raises:
        UserMistake: this is no id of a take.

    """
    path = _path(folder, take_id)
    try:
        return Tally(**json.loads(path.read_text(encoding="utf-8")))
    except FileNotFoundError:
        return Tally()
    except (OSError, ValueError, TypeError):
        # Written whole or not at all: another hand was here. The phone still has what was not confirmed.
        return Tally()


def write_tally(folder: Path, take_id: str, tally: Tally) -> None:
    """Keep it, whole or not at all, forced to disk.

    Raises:
        StoreFault: the disk refuses.

    """
    path = _path(folder, take_id)
    part = path.with_suffix(".part")
    try:
        with part.open("w", encoding="utf-8") as file:
            json.dump(asdict(tally), file)
            file.flush()
            os.fsync(file.fileno())
        part.replace(path)
    except OSError as error:
        raise StoreFault(
            f"the sound journal cannot be written ({error.strerror or error})",
            where=str(path),
            do="Free some space on the disk, or check its permissions.",
        ) from error


def settle(folder: Path) -> None:
    """After a stop: count what is on the disk of each take whose stretch was left open; old lines are let go.

    To be called when the journal is held and before what was left in it is processed.

    Raises:
        StoreFault: the disk refuses.

    """
    infos = _infos(folder)
    for path in folder.glob(f"*{_SUFFIX}"):
        if not TAKE_ID.fullmatch(path.stem):
            continue
        tally = read_tally(folder, path.stem)
        if tally.stretch:
            write_tally(folder, path.stem, Tally(tally.base + _samples(folder, infos, tally.stretch)))
        elif time.time() - path.stat().st_mtime > _KEPT_DAYS * 86_400:
            path.unlink(missing_ok=True)


def _samples(folder: Path, infos: dict[str, StretchInfo], stretch: str) -> int:
    """Samples on disk of a stretch and of those that were split from it."""
    raw = folder / f"{stretch}.raw"
    size = raw.stat().st_size // _BYTES if raw.is_file() else 0
    follower = next((info for info in infos.values() if info.follows == stretch), None)
    if follower is None:
        return size
    return follower.follows_at + _samples(folder, infos, follower.id)


def _infos(folder: Path) -> dict[str, StretchInfo]:
    found = {}
    for path in folder.glob("*.json"):
        try:
            info = StretchInfo(**json.loads(path.read_text(encoding="utf-8")))
        except (OSError, ValueError, TypeError):
            continue
        found[info.id] = info
    return found


def _path(folder: Path, take_id: str) -> Path:
    if not TAKE_ID.fullmatch(take_id):
        raise UserMistake("this is no recording of a phone", where="take", do="Load the page again.")
    return folder / f"{take_id}{_SUFFIX}"


__all__ = ["TAKE_ID", "Tally", "read_tally", "settle", "write_tally"]
