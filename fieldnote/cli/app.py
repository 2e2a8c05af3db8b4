"""The ``fieldnote`` command: puts the command groups together and turns errors into one line and an exit code."""

from __future__ import annotations

import sys
from typing import Annotated, Any, Optional

import typer

from fieldnote import __version__
from fieldnote.cli import job, models, people, store, vocab
from fieldnote.cli.certificate import certificate
from fieldnote.cli.demo import demo
from fieldnote.cli.extract import extract
from fieldnote.cli.failures import report
from fieldnote.cli.guide import guide
from fieldnote.cli.handover import handover
from fieldnote.cli.hear import hear
from fieldnote.cli.listen import listen
from fieldnote.cli.narrate import narrate
from fieldnote.cli.next import next_checks
from fieldnote.cli.patterns import patterns
from fieldnote.cli.serve import serve
from fieldnote.cli.take import take
from fieldnote.errors import FieldnoteError, UserMistake

app = typer.Typer(
    name="fieldnote",
    help="Dictated leak diagnosis: from sound to entries, the next place to check, and the write-up. Works offline.",
    no_args_is_help=True,
    rich_markup_mode="rich",
    pretty_exceptions_enable=False,
)


STOPPED = 130
"""What a shell expects of a command that was interrupted (128 + SIGINT)."""
_UsageError: Any = typer.BadParameter.__mro__[1]
"""What the command library raises for an unknown option or a missing argument."""


def _version(wanted: bool) -> None:
    if wanted:
        typer.echo(f"fieldnote {__version__}")
        raise typer.Exit()


@app.callback()
def top(
    version: Annotated[
        Optional[bool], typer.Option("--version", callback=_version, is_eager=True, help="Show the version and stop.")
    ] = None,
) -> None:
    """Dictated leak diagnosis: from sound to entries, the next place to check, and the write-up. Works offline."""


app.command()(certificate)
app.command()(demo)
app.command()(extract)
app.command()(guide)
app.command()(hear)
app.command()(listen)
app.command()(narrate)
app.command("next")(next_checks)
app.command()(patterns)
app.command()(serve)
app.command()(take)
job.app.command("handover")(handover)
app.add_typer(job.app)
app.add_typer(people.app)
app.add_typer(store.app)
app.add_typer(models.app)
app.add_typer(vocab.app)


def main() -> None:
    """Run the installed command. Exit codes: 0 done, 1 user mistake, 2 bad data, 3 device or model missing."""
    arguments = sys.argv[1:]
    try:
        code = app(standalone_mode=False)
    except FieldnoteError as error:
        sys.exit(report(error, as_json="--json" in arguments))
    except typer.Abort:
        sys.exit(STOPPED)
    except _UsageError as error:
        if error.ctx is not None and not error.format_message().strip():  # a group without a command: show its help
            typer.echo(error.ctx.get_help())
            sys.exit(UserMistake.exit_code)
        # The library's own exit code for a wrong option is 2, which here means bad data.
        where = error.ctx.command_path if error.ctx is not None else "fieldnote"
        mistake = UserMistake(error.format_message().rstrip("."), where=where, do=f"See: {where} --help.")
        sys.exit(report(mistake, as_json="--json" in arguments))
    sys.exit(code if isinstance(code, int) else 0)


if __name__ == "__main__":
    main()
