"""One write-up, in the format that is asked for."""

from __future__ import annotations

from collections.abc import Callable

from fieldnote.errors import DeviceMissing, UserMistake
from fieldnote.narrate.captions import captions
from fieldnote.narrate.document import lay_out
from fieldnote.narrate.export import to_csv, to_json, to_jsonl
from fieldnote.narrate.markdown import markdown
from fieldnote.narrate.wording import Vocabulary
from fieldnote.records import Job, Narrative

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


def render(narrative: Narrative, job: Job, pack: Vocabulary, to: str, *, names: bool = False) -> bytes:
    """The write-up of ``job`` as a file in format ``to``; text is UTF-8.

    Raises:
        UserMistake: there is no such format.
        DeviceMissing: the library for it is not installed.
        PackFault: the wording of the pack cannot be used.

    """
    makers: dict[str, Callable[[], bytes]] = {
        "md": lambda: markdown(lay_out(narrative, job, pack, names=names)).encode("utf-8"),
        "html": lambda: _html(narrative, job, pack, names),
        "pdf": lambda: _pdf(narrative, job, pack, names),
        "docx": lambda: _docx(narrative, job, pack, names),
        "json": lambda: to_json(narrative, job, pack, names=names).encode("utf-8"),
        "jsonl": lambda: to_jsonl(job, pack, names=names).encode("utf-8"),
        "csv": lambda: to_csv(job, pack, names=names).encode("utf-8"),
        "vtt": lambda: captions(job).encode("utf-8"),
    }
    if to not in makers:
        raise UserMistake(f"no format {to!r}", where="--to", do=f"Formats are: {', '.join(FORMATS)}.")
    return makers[to]()


def _html(narrative: Narrative, job: Job, pack: Vocabulary, names: bool) -> bytes:
    from fieldnote.narrate.page import html

    return html(lay_out(narrative, job, pack, names=names)).encode("utf-8")


def _pdf(narrative: Narrative, job: Job, pack: Vocabulary, names: bool) -> bytes:
    try:
        from fieldnote.narrate.pdf import pdf
    except ModuleNotFoundError as error:
        raise _not_installed("pdf", error) from error
    return pdf(lay_out(narrative, job, pack, names=names))


def _docx(narrative: Narrative, job: Job, pack: Vocabulary, names: bool) -> bytes:
    try:
        from fieldnote.narrate.word_document import word_document
    except ModuleNotFoundError as error:
        raise _not_installed("docx", error) from error
    return word_document(lay_out(narrative, job, pack, names=names))


def _not_installed(to: str, error: ModuleNotFoundError) -> DeviceMissing:
    return DeviceMissing(
        f"the library {error.name} is not installed",
        where=f"--to {to}",
        do="Install: pip install 'fieldnote[documents]'.",
    )


__all__ = ["FORMATS", "MEDIA_TYPES", "render"]
