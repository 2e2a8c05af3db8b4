"""``fieldnote narrate``: the write-up of a job, on the screen or as a file."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Optional

import typer

from fieldnote.errors import BadData, NotFound, UserMistake

if TYPE_CHECKING:
    from fieldnote.flow import Rooms
    from fieldnote.narrate.document import Document, Section
    from fieldnote.records import Job, Narrative
    from fieldnote.suggest import LeakMap
    from fieldnote.vocabulary import Pack

BINARY = ("pdf", "docx")
LINE = 92


def narrate(
    job: Annotated[
        Optional[str], typer.Argument(metavar="JOB", help="A kept job: its name, id, or the start of either.")
    ] = None,
    entries: Annotated[
        Optional[str],
        typer.Option(
            "--entries",
            metavar="FILE",
            help="Entries or an export as JSON instead of a kept job; - for standard input.",
        ),
    ] = None,
    to: Annotated[
        Optional[str],
        typer.Option("--to", help="Format: md, html, pdf, docx, json, jsonl, csv or vtt. Without it: text to read."),
    ] = None,
    out: Annotated[
        Optional[Path], typer.Option("--out", help="Write to this file (its ending tells the format) or folder.")
    ] = None,
    names: Annotated[bool, typer.Option("--names", help="Let in the names of people.")] = False,
    photos: Annotated[
        bool, typer.Option("--photos/--no-photos", help="With the job's photos, in html, pdf and docx.")
    ] = True,
    pack: Annotated[Optional[str], typer.Option("--pack", help="Vocabulary pack for --entries.")] = None,
    as_json: Annotated[bool, typer.Option("--json", help="The same as --to json.")] = False,
) -> None:
    """Write up a job: complaint, cause, correction, the order of work, and what was not established.

    Every sentence rests on entries and names them; a cause is stated no more surely than it was proved.

    Examples:

      fieldnote narrate "Unit 217"

      fieldnote narrate "Unit 217" --out unit-217.pdf

      fieldnote extract notes.txt --json | fieldnote narrate --entries - --to md
    """
    if (job is None) == (entries is None):
        raise UserMistake(
            "a job or --entries FILE is needed, and not both", where="narrate", do="See: fieldnote narrate --help."
        )
    wanted = format_of(to or ("json" if as_json else None), out)
    found, words, story = _from_entries(entries, pack, names) if entries is not None else _from_store(str(job), names)
    if wanted is None and out is None:
        from fieldnote.narrate.document import lay_out

        show_document(lay_out(story, found, words, names=names))
        return
    from fieldnote.narrate import render

    pictures = None
    if photos and entries is None:
        from fieldnote.flow import Rooms
        from fieldnote.flow.writing import photo_reader

        pictures = photo_reader(Rooms().store)
    data = render(story, found, words, wanted or "md", names=names, photos=pictures)
    put(data, wanted or "md", out, found.name)


def format_of(to: str | None, out: Path | None) -> str | None:
    """The format that is asked for, in words or by the ending of the file.

    Raises:
        UserMistake: there is no such format.

    """
    from fieldnote.narrate.formats import FORMATS

    ending = out.suffix.lstrip(".").lower() if out is not None and not out.is_dir() else ""
    wanted = to.lower().lstrip(".") if to else {"markdown": "md", "htm": "html"}.get(ending, ending)
    if not wanted:
        return None
    if wanted not in FORMATS:
        where = "--to" if to else str(out)
        raise UserMistake(f"no format {wanted!r}", where=where, do=f"Formats are: {', '.join(FORMATS)}.")
    return wanted


def put(data: bytes, to: str, out: Path | None, name: str) -> None:
    """Write to a file, into a folder, or to standard output.

    Raises:
        UserMistake: a document that is no text would go to the screen.
        BadData: the file cannot be written.

    """
    if out is None:
        if to in BINARY and sys.stdout.isatty():
            raise UserMistake(
                f"a {to} file cannot be shown here", where="--to", do=f"Give a file: --out write-up.{to}."
            )
        sys.stdout.buffer.write(data)
        sys.stdout.buffer.flush()
        return
    path = out / f"{_file_name(name)}.{to}" if out.is_dir() else out
    part = path.with_name(f".{path.name}.part")
    try:
        part.write_bytes(data)
        part.replace(path)
    except OSError as error:
        part.unlink(missing_ok=True) if part.parent.is_dir() else None
        raise BadData(
            f"cannot be written ({error.strerror})", where=str(path), do="Check the folder and its permissions."
        ) from error
    print(path, file=sys.stderr)


def _file_name(name: str) -> str:
    kept = "".join(c if c.isalnum() or c in "-_" else "-" for c in name.strip().lower())
    return "-".join(x for x in kept.split("-") if x) or "write-up"


# ---- where the job comes from ---------------------------------------------------------------------------------


def _from_store(ref: str, names: bool) -> tuple[Job, Pack, Narrative]:
    from fieldnote.flow import Rooms, write_up

    rooms = Rooms()
    found = rooms.store.job(ref)
    rooms = rooms.for_pack(found.pack)
    story = write_up(rooms.store, found, rooms.pack, cautions=rooms.cautions, names=names, leak_map=_map_of(rooms))
    return found, rooms.pack, story


def _from_entries(source: str, pack: str | None, names: bool) -> tuple[Job, Pack, Narrative]:
    from fieldnote.flow import Rooms
    from fieldnote.narrate import narrate as write
    from fieldnote.narrate.export import entries_from_json, job_from_json, parsed
    from fieldnote.records import Job
    from fieldnote.suggest.aftercare import aftercare

    text, where = read_text(source)
    if "job" in parsed(text, where):
        found = job_from_json(text, where=where)
        rooms = Rooms(pack=pack or found.pack)
    else:
        rooms = Rooms(pack=pack)
        label = "Job" if source == "-" else Path(source).stem
        found = Job("", label, "", pack=rooms.pack.id, entries=entries_from_json(text, where=where))
    leak_map = _map_of(rooms)
    story = write(
        found,
        rooms.pack,
        rooms.cautions.of_entries(found.entries),
        names=names,
        aftercare=aftercare(leak_map, found.entries) if leak_map is not None else (),
    )
    return found, rooms.pack, story


def _map_of(rooms: Rooms) -> LeakMap | None:
    """The leak map of the pack; none where the pack has no such file, for a write-up needs none."""
    if not any((folder / "leak_map.toml").is_file() for folder in rooms.pack.folders):
        return None
    return rooms.leak_map


def read_text(source: str) -> tuple[str, str]:
    """The text of a file or of standard input, and what to call it.

    Raises:
        NotFound: no such file.
        BadData: it cannot be read as UTF-8 text.

    """
    where = "standard input" if source == "-" else source
    try:
        raw = sys.stdin.buffer.read() if source == "-" else Path(source).read_bytes()
        return raw.decode("utf-8-sig"), where
    except FileNotFoundError:
        raise NotFound("no such file", where=where, do="Check the name.") from None
    except UnicodeDecodeError as error:
        raise BadData(f"byte {error.start} is no UTF-8", where=where, do="Give a text file in UTF-8.") from error
    except OSError as error:
        raise BadData(f"cannot be read ({error.strerror})", where=where, do="Give a file of JSON.") from error


# ---- on the screen --------------------------------------------------------------------------------------------


def show_document(document: Document) -> None:
    """Print a write-up in the terminal."""
    from rich.console import Console
    from rich.text import Text

    console = Console(highlight=False)
    console.width = min(console.width, LINE)
    console.print(Text(document.title, style="bold"))
    console.print(Text(" · ".join(x for x in (document.kind, document.foot) if x), style="dim"))
    for label, value in document.facts:
        console.print(Text.assemble((f"{label}: ", "dim"), value))
    for section in document.sections:
        console.print()
        console.print(Text(section.heading, style="bold underline"))
        _show_section(console, section)


def _show_section(console: object, section: Section) -> None:
    from rich.console import Console
    from rich.padding import Padding
    from rich.table import Table as Grid
    from rich.text import Text

    from fieldnote.narrate.document import spans

    assert isinstance(console, Console)
    if section.table is not None and section.table.rows:
        grid = Grid(box=None, padding=(0, 2, 0, 0), header_style="dim", show_edge=False)
        for head, share in zip(section.table.heads, section.table.widths, strict=True):
            grid.add_column(head, ratio=round(share * 100), overflow="fold")
        for row in section.table.rows:
            grid.add_row(*(Text(cell) for cell in row))
        console.print(grid)
        return
    if not section.lines:
        console.print(Text(section.empty, style="italic"))
        return
    lines = [Text.assemble(x.text, (f" {spans(x.refs)}" if x.refs else "", "dim")) for x in section.lines]
    if section.shape == "prose":
        console.print(Text(" ").join(lines))
        return
    for index, line in enumerate(lines, 1):
        mark = f"{index:>2}. " if section.shape == "steps" else "  - "
        grid = Grid.grid()
        grid.add_column(width=4)
        grid.add_column()
        grid.add_row(mark, line)
        console.print(Padding(grid, 0))


__all__ = ["format_of", "narrate", "put", "read_text", "show_document"]
