"""``fieldnote patterns``: what recurs across jobs."""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Optional, cast

import typer

from fieldnote.cli.bars import bar
from fieldnote.errors import DeviceMissing, StoreFault, UserMistake

if TYPE_CHECKING:
    from fieldnote.narrate.proof import Grade
    from fieldnote.patterns.charts import Picture
    from fieldnote.records import Patterns
    from fieldnote.vocabulary import Pack


def patterns(
    figures: Annotated[
        Optional[list[str]],
        typer.Argument(
            metavar="[FIGURE]...",
            help="sources, paths, groups, times, repeats, weeks, empty-checks; all of them where none is named.",
            show_default=False,
        ),
    ] = None,
    since: Annotated[Optional[str], typer.Option(metavar="DATE", help="Opened on or after this day.")] = None,
    until: Annotated[Optional[str], typer.Option(metavar="DATE", help="Opened on or before this day.")] = None,
    place: Annotated[
        Optional[str], typer.Option(help="Only jobs with water in, or signs of it, at this place.")
    ] = None,
    role: Annotated[
        Optional[str], typer.Option(help="Only jobs worked on in this role, such as apprentice (never by name).")
    ] = None,
    pack: Annotated[Optional[str], typer.Option(help="The vocabulary; otherwise that of the settings.")] = None,
    grade: Annotated[
        str, typer.Option(help="The least proof for a leak to count: suspected, fault, water, cured.")
    ] = "water",
    within: Annotated[
        Optional[int], typer.Option(min=1, metavar="DAYS", help="What counts as a repeat visit; else of the settings.")
    ] = None,
    jobs: Annotated[bool, typer.Option("--jobs", help="Name the jobs behind every row.")] = False,
    everything: Annotated[bool, typer.Option("--all", help="Every row.")] = False,
    csv: Annotated[
        Optional[Path], typer.Option(metavar="FOLDER", help="Write the tables as CSV into this folder.")
    ] = None,
    parquet: Annotated[Optional[Path], typer.Option(metavar="FOLDER", help="Write the tables as Parquet.")] = None,
    charts: Annotated[Optional[Path], typer.Option(metavar="FOLDER", help="Draw charts into this folder.")] = None,
    picture: Annotated[str, typer.Option(help="What charts are drawn as: svg, png.")] = "svg",
    report: Annotated[
        Optional[Path], typer.Option(metavar="FILE", help="Write all figures with their charts as a PDF.")
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print JSON.")] = False,
) -> None:
    """What recurs across jobs: where water comes in and shows, on what, how soon found, who comes back, which weeks.

    Shares are of jobs seen here, each with its interval and its number of jobs. No figure is about a person.

    Examples:

      fieldnote patterns

      fieldnote patterns sources repeats --since 2026 --jobs

      fieldnote patterns weeks --place sunroof --all

      fieldnote patterns --csv tables --charts charts --report recurring.pdf

      fieldnote patterns --role apprentice --until 2026-06
    """
    from fieldnote.flow import Rooms
    from fieldnote.flow.recurring import recurring
    from fieldnote.patterns import Survey
    from fieldnote.patterns.grades import GRADES
    from fieldnote.patterns.tables import FIGURES

    wanted = tuple(dict.fromkeys(_choice("figure", name, FIGURES) for name in figures or ())) or FIGURES
    least = cast("Grade", _choice("--grade", grade, GRADES))
    kind = cast("Picture", _choice("--picture", picture, ("svg", "png")))
    rooms = Rooms(pack=pack)
    with bar() as tell:
        found = recurring(
            rooms, Survey(since, until, place, least, role), repeat_days=within, progress=tell, named=jobs or as_json
        )
    written = _csv(found, csv, wanted) if csv is not None else []
    if parquet is not None:
        written += _parquet(found, parquet, wanted)
    if charts is not None:
        from fieldnote.patterns.charts import draw

        written += draw(found, _naming(rooms.pack), charts, kind)
    if report is not None:
        written.append(_report(found, rooms.pack, report))
    if as_json:
        print(json.dumps(_wire(found, wanted, written), ensure_ascii=False, indent=2))
        return
    if written:
        for path in written:
            print(path)
        return
    from rich.console import Console

    from fieldnote.cli.patterns_view import View

    View(Console(highlight=False), found, _naming(rooms.pack), everything=everything, jobs=jobs).show(wanted)


def _choice(where: str, value: str, choices: tuple[str, ...]) -> str:
    """``value`` if it is one of the choices.

    Raises:
        UserMistake: it is none; the message names them.

    """
    from fieldnote.vocabulary.nearest import nearest

    if value in choices:
        return value
    close = nearest(value, list(choices))
    raise UserMistake(
        f"{value!r} is not a choice here",
        where=where,
        do=(f"Did you mean {close!r}? " if close else "") + f"It can be: {', '.join(choices)}.",
    )


def _naming(pack: Pack) -> Any:
    """The printed name of an id by its kind."""
    return lambda kind, id: pack.term(kind, id).name if id and pack.entry(kind, id) else id.replace("-", " ")


def _report(found: Patterns, pack: Pack, path: Path) -> Path:
    """Write the printed report.

    Raises:
        DeviceMissing: what it is written with is not installed.
        StoreFault: the file cannot be written.

    """
    try:
        from fieldnote.patterns.report import report
    except ImportError as error:
        raise DeviceMissing(
            f"the report needs {error.name}, which is not installed",
            where="--report",
            do="Install it with: pip install 'fieldnote[documents,patterns]'.",
        ) from error
    data = report(found, _naming(pack), pack.name)
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(data)
    except OSError as error:
        raise StoreFault(
            f"cannot be written ({error.strerror})", where=str(path), do="Choose another place."
        ) from error
    return path


def _parquet(found: Patterns, folder: Path, figures: tuple[str, ...]) -> list[Path]:
    """Write one file a figure that has rows; what its shares are shares of is in its metadata.

    Raises:
        DeviceMissing: pyarrow is not installed.
        StoreFault: the folder cannot be written.

    """
    from fieldnote.patterns.tables import as_parquet

    return _write_tables(folder, "parquet", {figure: as_parquet(found, figure) for figure in figures})


def _csv(found: Patterns, folder: Path, figures: tuple[str, ...]) -> list[Path]:
    """Write one file a figure that has rows, and what their shares are shares of.

    Raises:
        StoreFault: the folder cannot be written.

    """
    from fieldnote.patterns.tables import as_csv, denominators_csv

    texts = {figure: as_csv(found, figure) for figure in figures} | {"denominators": denominators_csv(found)}
    return _write_tables(folder, "csv", {stem: text.encode() for stem, text in texts.items()})


def _write_tables(folder: Path, suffix: str, tables: dict[str, bytes]) -> list[Path]:
    from fieldnote.patterns.files import write_files

    for stem, data in tables.items():
        if not data:
            print(f"fieldnote: {stem}: no rows, so no file", file=sys.stderr)
    return list(write_files(folder, {f"{stem}.{suffix}": data for stem, data in tables.items() if data}))


def _wire(found: Patterns, figures: tuple[str, ...], written: list[Path]) -> dict[str, Any]:
    """The figures asked for with the ids of the jobs behind every row, and the names of these jobs."""
    from fieldnote.patterns.tables import rows_of
    from fieldnote.wire import plain

    head = ("pack", "grade", "since", "until", "place", "role", "level", "repeat_days", "few", "jobs", "found")
    out: dict[str, Any] = {name: getattr(found, name) for name in head}
    out |= {figure.replace("-", "_"): plain(rows_of(found, figure)) for figure in figures}
    out |= {"denominators": plain(found.denominators), "names": plain(found.names)}
    return out | ({"written": [str(path) for path in written]} if written else {})
