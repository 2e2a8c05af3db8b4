"""One write-up, in the format that is asked for."""

from __future__ import annotations

from collections.abc import Callable

from fieldnote.errors import DeviceMissing, UserMistake
from fieldnote.narrate.captions import captions
from fieldnote.narrate.document import Document, lay_out
from fieldnote.narrate.export import to_csv, to_json, to_jsonl
from fieldnote.narrate.markdown import markdown
from fieldnote.narrate.page import html
from fieldnote.narrate.pictures import ReadPhoto
from fieldnote.narrate.wording import Vocabulary
from fieldnote.records import Job, Narrative

WITH_PHOTOS = ("html", "pdf", "docx")
"""Formats that hold pictures."""
FORMATS = ("md", "html", "pdf", "docx", "json", "jsonl", "csv", "vtt")
MEDIA_TYPES = {
    "md": "text/markdown; charset=utf-8",
    "html": "text/html; charset=utf-8",
    "pdf": "application/pdf",
    "docx": "application/vnd.openxmlformats-officedocument.wordprocessingml.document",
    "json": "application/json",
    "jsonl": "application/jsonl; charset=utf-8",
    "csv": "text/csv; charset=utf-8",
    "vtt": "text/vtt; charset=utf-8",
}


def render(
    narrative: Narrative,
    job: Job,
    pack: Vocabulary,
    to: str,
    *,
    names: bool = False,
    photos: ReadPhoto | None = None,
) -> bytes:
    """The write-up of ``job`` as a file in format ``to``; text is UTF-8.

    ``photos`` gives the pictures for html, pdf and docx; None leaves them out.

    Raises:
        UserMistake: there is no such format.
        DeviceMissing: the library for it is not installed.
        PackFault: the wording of the pack cannot be used.

    """
    makers: dict[str, Callable[[], str]] = {
        "json": lambda: to_json(narrative, job, pack, names=names),
        "jsonl": lambda: to_jsonl(job, pack, names=names),
        "csv": lambda: to_csv(job, pack, names=names),
        "vtt": lambda: captions(job),
    }
    if to in makers:
        return makers[to]().encode("utf-8")
    if to not in FORMATS:
        raise UserMistake(f"no format {to!r}", where="--to", do=f"Formats are: {', '.join(FORMATS)}.")
    shown = photos if to in WITH_PHOTOS else None
    return document_as(lay_out(narrative, job, pack, names=names, photos=shown), to)


def document_as(document: Document, to: str) -> bytes:
    """A laid-out document as a file: md, html, pdf or docx.

    Raises:
        UserMistake: there is no such format.
        DeviceMissing: the library for it is not installed.

    """
    if to == "md":
        return markdown(document).encode("utf-8")
    if to == "html":
        return html(document).encode("utf-8")
    if to not in ("pdf", "docx"):
        raise UserMistake(f"no format {to!r}", where="--to", do="Formats are: md, html, pdf, docx.")
    try:
        if to == "pdf":
            from fieldnote.narrate.pdf import pdf

            return pdf(document)
        from fieldnote.narrate.word_document import word_document

        return word_document(document)
    except ModuleNotFoundError as error:
        raise _not_installed(to, error) from error


def _not_installed(to: str, error: ModuleNotFoundError) -> DeviceMissing:
    return DeviceMissing(
        f"the library {error.name} is not installed",
        where=f"--to {to}",
        do="Install: pip install 'fieldnote[documents]'.",
    )


__all__ = ["FORMATS", "MEDIA_TYPES", "document_as", "render"]
