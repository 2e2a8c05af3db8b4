"""Photos in a write-up: numbered in the order of their entries, each with what it shows in words."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from fieldnote.narrate.phrases import subject
from fieldnote.narrate.wording import Wording
from fieldnote.records import Entry, Photo

PHOTOS = "Photos"
ReadPhoto = Callable[[Photo], bytes | None]
"""Gives the JPEG of a photo; None where it is not here."""


@dataclass(frozen=True, slots=True)
class Picture:
    """One photo, ready to be set. ``data`` is a JPEG; sizes are in pixels; ``entry`` is "" for the job as a whole."""

    number: int
    told: str
    entry: str
    data: bytes
    width: int
    height: int

    @property
    def caption(self) -> str:
        """Its number and what it shows (``Photo 2, close-up: left tail lamp, gasket``)."""
        return f"Photo {self.number}, {self.told}"


def pictures_of(
    photos: Sequence[Photo], entries: Sequence[Entry], wording: Wording, read: ReadPhoto
) -> tuple[Picture, ...]:
    """The photos of a job that are here: those of entries in the order of the entries, then those of the whole job."""
    order = {entry.id: number for number, entry in enumerate(entries)}
    known = {entry.id: entry for entry in entries}
    last = len(order)
    found: list[Picture] = []
    for photo in sorted(photos, key=lambda one: (order.get(one.entry_id or "", last), one.added_at, one.id)):
        data = read(photo) if photo.is_here else None
        if data is None:
            continue
        entry = known.get(photo.entry_id or "")
        where = _where(entry, wording) if entry is not None else ""
        told = f"{photo.kind}: {where}" if where else photo.kind
        found.append(Picture(len(found) + 1, told, entry.id if entry else "", data, photo.width, photo.height))
    return tuple(found)


def _where(entry: Entry, wording: Wording) -> str:
    if not (entry.place or entry.part or entry.side):
        return ""
    named = subject(entry, wording)
    return named.text.removeprefix("the ") + (f", {named.spot}" if named.spot else "")


__all__ = ["PHOTOS", "Picture", "ReadPhoto", "pictures_of"]
