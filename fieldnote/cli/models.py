"""``fieldnote models``: which models there are, and bringing them onto this machine."""

from __future__ import annotations

import json
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Annotated, Any, Optional

import typer
from rich.console import Console
from rich.progress import BarColumn, DownloadColumn, Progress, TextColumn, TimeRemainingColumn
from rich.table import Table

from fieldnote.errors import FieldnoteError

app = typer.Typer(
    name="models", help="The recognisers' model files: list, verify, fetch, add, remove.", no_args_is_help=True
)

AsJson = Annotated[bool, typer.Option("--json", help="Print JSON.")]


@app.command("list")
def show(as_json: AsJson = False) -> None:
    """List the models that fieldnote knows, and which of them are on this machine.

    Example:

      fieldnote models list
    """
    from fieldnote.recognize.model_files import load_manifest, locate
    from fieldnote.settings import load_settings

    used = load_settings().recognize.model
    rows: list[dict[str, Any]] = []
    for pin in load_manifest().values():
        here = locate(pin.name)
        rows.append(
            {
                "name": pin.name,
                "engine": pin.engine,
                "language": pin.language,
                "size_bytes": pin.size_bytes,
                "here": here is not None,
                "shipped": here is not None and here.shipped,
                "in_use": pin.name == used,
                "folder": str(here.path) if here else None,
                "licence": pin.licence,
                "about": pin.about,
                "origin": pin.origin,
            }
        )
    if as_json:
        print(json.dumps({"models": rows}, indent=2))
        return
    table = Table("model", "engine", "MB", "here", "licence", "what it is", box=None, pad_edge=False)
    for row in rows:
        state = "in use" if row["in_use"] and row["here"] else "yes" if row["here"] else "no"
        table.add_row(
            row["name"], row["engine"], f"{row['size_bytes'] / 1e6:,.0f}", state, row["licence"], row["about"]
        )
    Console(highlight=False).print(table)


@app.command()
def verify(
    names: Annotated[
        Optional[list[str]], typer.Argument(metavar="[MODEL]", help="By default all that are here.")
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Compare every byte of the models on this machine with their pinned SHA-256.

    Example:

      fieldnote models verify fieldnote-tiny
    """
    from fieldnote.recognize import model_files
    from fieldnote.recognize.model_install import pinned

    chosen = [pinned(name) for name in names] if names else list(model_files.load_manifest().values())
    results: list[dict[str, Any]] = []
    worst = 0
    with _bar() as tell:
        for pin in chosen:
            folder = model_files.locate(pin.name)
            if folder is None:
                if names:
                    results.append({"name": pin.name, "ok": False, "what": "not on this machine"})
                    worst = max(worst, 3)
                continue
            try:
                hashes = model_files.verify(folder, tell(pin.name, pin.size_bytes))
                results.append({"name": pin.name, "ok": True, "sha256": hashes})
            except FieldnoteError as error:
                results.append({"name": pin.name, "ok": False, "what": str(error)})
                worst = max(worst, error.exit_code)
    if as_json:
        print(json.dumps({"models": results}, indent=2))
    else:
        for result in results:
            print(f"{result['name']}: {'every byte is right' if result['ok'] else result['what']}")
    if worst:
        raise typer.Exit(worst)


@app.command()
def fetch(name: Annotated[str, typer.Argument(metavar="MODEL", help="A name from the list.")]) -> None:
    """Fetch a model over the network. What broke off is taken up again; only the pinned files are kept.

    Example:

      fieldnote models fetch vosk-small-en-us
    """
    from fieldnote.recognize import model_install

    with _file_bars() as tell:
        folder = model_install.fetch(name, tell)
    _placed(name, folder.path, folder.pin.engine if folder.pin else "")


@app.command()
def add(paths: Annotated[list[Path], typer.Argument(metavar="FILE", help="Archives, files, or folders.")]) -> None:
    """Install models from files brought to this machine: no network. Each is known by its SHA-256.

    Examples:

      fieldnote models add vosk-model-small-en-us-0.15.zip

      fieldnote models add /media/stick/base.en/
    """
    from fieldnote.recognize import model_install

    with _file_bars() as tell:
        folders = model_install.add(paths, tell)
    for folder in folders:
        if folder.pin is not None:
            _placed(folder.pin.name, folder.path, folder.pin.engine)


@app.command()
def remove(name: Annotated[str, typer.Argument(metavar="MODEL", help="A name from the list.")]) -> None:
    """Take an added model away. The one that comes with fieldnote stays.

    Example:

      fieldnote models remove vosk-small-en-us
    """
    from fieldnote.recognize import model_install

    freed = model_install.remove(name)
    print(f"{name}: removed, {freed / 1e6:,.0f} MB free")


def _placed(name: str, path: Path, engine: str) -> None:
    print(f"{name}: verified and ready in {path}")
    print(f'To use it, write into settings.toml: [recognize] engine = "{engine}" and model = "{name}"')


@contextmanager
def _bar() -> Iterator[Any]:
    """A bar for reading files; gives a function of name and size that gives the function to tell bytes."""
    with _progress() as progress:

        def of(name: str, size: int) -> Any:
            task = progress.add_task(name, total=size)
            return lambda more: progress.advance(task, more)

        yield of


@contextmanager
def _file_bars() -> Iterator[Any]:
    """One bar for each file that is told about."""
    with _progress() as progress:
        tasks: dict[str, Any] = {}

        def tell(what: str, done: int, total: int) -> None:
            if what not in tasks:
                tasks[what] = progress.add_task(what)
            progress.update(tasks[what], completed=done, total=total or None)

        yield tell


def _progress() -> Progress:
    console = Console(stderr=True)
    columns = (
        TextColumn("{task.description}", markup=False),
        BarColumn(),
        DownloadColumn(),
        TimeRemainingColumn(),
    )
    return Progress(*columns, console=console, transient=True, disable=not console.is_terminal)
