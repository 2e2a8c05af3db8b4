"""Photos that come in: decoded and drawn anew in a child with limits, then kept by their hash."""

from __future__ import annotations

import hashlib
import json
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import IO, Any

from fieldnote.errors import BadData, UserMistake
from fieldnote.records import Job, Photo, PhotoKind
from fieldnote.store import Store

_CHECK_S = 40
_CHUNK = 1 << 20


def keep_photo(
    store: Store, job: Job, reader: IO[bytes], kind: PhotoKind, entry_id: str | None, person: str
) -> tuple[Photo, str]:
    """Keep a photo; gives it, and the SHA-256 of what was sent (which is not what is kept).

    Raises:
        UserMistake: nothing was sent.
        BadData: it is no picture that can be used; nothing of it is kept.
        StoreFault: the data folder cannot be used.

    """
    with _as_file(reader) as (sent, digest):
        out = sent.with_name("out.jpg")
        told = _child("keep", sent, out)
        with out.open("rb") as made:
            kept = store.pictures.keep_stream(made, ".jpg")
    there = entry_id if entry_id in {entry.id for entry in job.entries} else None
    size = (int(told["width"]), int(told["height"]))
    return store.add_photo(job.id, kept, size, kind, there, person), digest


def codes_in(reader: IO[bytes]) -> list[tuple[str, str]]:
    """The bar codes in a photo, as kind and text; the photo is not kept.

    Raises:
        UserMistake: nothing was sent.
        BadData: it is no picture that can be used.

    """
    with _as_file(reader) as (sent, _):
        return [(str(kind), str(text)) for kind, text in _child("read", sent)["codes"]]


@contextmanager
def _as_file(reader: IO[bytes]) -> Iterator[tuple[Path, str]]:
    """What was sent, as a file for the child, with its SHA-256; gone afterwards: it may hold a position."""
    with tempfile.TemporaryDirectory(prefix="fieldnote-photo-") as folder:
        path, digest, size = Path(folder) / "sent", hashlib.sha256(), 0
        with path.open("xb") as writer:
            while chunk := reader.read(_CHUNK):
                digest.update(chunk)
                writer.write(chunk)
                size += len(chunk)
        if not size:
            raise UserMistake("no photo was chosen", where="photo", do="Take or choose a picture, then send it.")
        yield path, digest.hexdigest()


def _child(todo: str, *paths: Path) -> dict[str, Any]:
    run = [sys.executable, "-m", "fieldnote.web.photo_check", todo, *map(str, paths)]
    try:
        done = subprocess.run(run, capture_output=True, text=True, timeout=_CHECK_S, check=False)
        told: dict[str, Any] = json.loads(done.stdout)
    except (subprocess.TimeoutExpired, json.JSONDecodeError):
        raise BadData(
            "this cannot be read as a picture within the time and memory that a photo may take",
            where="photo",
            do="Take it again, smaller. Nothing was kept.",
        ) from None
    if "what" in told:
        raise BadData(told["what"], where="photo", do=told["do"])
    return told


__all__ = ["codes_in", "keep_photo"]
