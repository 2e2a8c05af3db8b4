"""Typed or read text as utterances: one line, one utterance."""

from __future__ import annotations

from pathlib import Path

from fieldnote.errors import BadData, NotFound, UserMistake
from fieldnote.flow.understanding import Understands, understand
from fieldnote.records import Entry, Job
from fieldnote.store import Store

TEXT_SUFFIXES = frozenset((".txt", ".text", ".md"))
_MOST_BYTES = 4_000_000


def is_text(path: Path) -> bool:
    """Whether a file is taken for text, by its name."""
    return path.suffix.lower() in TEXT_SUFFIXES


def read_lines(path: Path) -> list[str]:
    """The lines of a text file that hold something.

    Raises:
        NotFound: there is no such file.
        UserMistake: it is a folder, or cannot be read.
        BadData: it is no text in UTF-8, or larger than any dictation.

    """
    if path.is_dir():
        raise UserMistake("this is a folder", where=str(path), do="Name a file.")
    try:
        data = path.read_bytes()
    except FileNotFoundError as error:
        raise NotFound("there is no such file", where=str(path), do="Check the name.") from error
    except OSError as error:
        raise UserMistake(
            f"this file cannot be read ({error.strerror})", where=str(path), do="Check its permissions."
        ) from error
    return lines_of(data, str(path))


def lines_of(data: bytes, where: str) -> list[str]:
    """The lines of a text that hold something; ``where`` names it in errors.

    Raises:
        BadData: it is no text in UTF-8, or larger than any dictation.

    """
    if len(data) > _MOST_BYTES:
        raise BadData("this text is larger than any dictation", where=where, do="Split it, or check what it is.")
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise BadData("this is not text in UTF-8", where=where, do="Save it as UTF-8 text.") from error
    if "\x00" in text:
        raise BadData("this is not text", where=where, do="Check what the file is.")
    return [line for line in (" ".join(line.split()) for line in text.splitlines()) if line]


def read_text(
    store: Store,
    job: str | Job,
    text: str,
    extractor: Understands,
    *,
    source: str = "typed",
    person: str | None = None,
    once: bool = False,
) -> tuple[Entry, ...]:
    """Take typed text into a job, one utterance a line, and give the entries in force afterwards.

    With ``once``, a text that the job has already adds nothing.

    Raises:
        NotFound: no such job.
        UserMistake: there is nothing in the text.
        StoreFault: the data folder cannot be used.

    """
    job_id = store.find_id(job if isinstance(job, str) else job.id)
    lines = [line for line in text.splitlines() if line.strip()]
    if not lines:
        raise UserMistake("there is nothing in this text", where=source, do="Write what was found or done.")
    store.add_text(job_id, lines, source=source, person=person, once=once)
    return understand(store, job_id, extractor, only_if_stale=True).entries
