"""``fieldnote hear``: recognise only."""

from __future__ import annotations

import dataclasses
import json
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Annotated, Any, Optional

import typer
from rich.console import Console
from rich.markup import escape
from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn

from fieldnote.errors import FieldnoteError, UserMistake

_SEVERAL_EXIT = 2


def hear(
    sounds: Annotated[list[str], typer.Argument(metavar="SOUND", help="Sound files; - for standard input.")],
    as_json: Annotated[bool, typer.Option("--json", help="Print JSON.")] = False,
    words: Annotated[bool, typer.Option("--words", help="Every word with its times and confidence.")] = False,
    engine: Annotated[Optional[str], typer.Option(help="The engine: whisper or vosk.")] = None,
    model: Annotated[Optional[str], typer.Option(help="A model's name (fieldnote models list), or a folder.")] = None,
    hint: Annotated[Optional[list[str]], typer.Option(help="A word to expect; may be given several times.")] = None,
) -> None:
    """Recognise the words in sound files, and nothing more.

    WAV, FLAC, OGG, Opus, MP3 and M4A, in any rate and channel count. Nothing is kept and no entry is made.

    Examples:

      fieldnote hear memo.m4a

      fieldnote hear *.wav --json > words.json

      arecord -d 10 | fieldnote hear -
    """
    from fieldnote.flow.hearing import hear_file
    from fieldnote.recognize import chosen, open_engine
    from fieldnote.settings import load_settings

    if sounds.count("-") > 1:
        raise UserMistake("standard input was named twice", where="-", do="Name it once.")
    settings = load_settings()
    opened = open_engine(chosen(settings.recognize, engine, model), trade=settings.pack.name)
    clips: list[dict[str, Any]] = []
    failed: list[FieldnoteError] = []
    with _bars(len(sounds)) as bar:
        for number, name in enumerate(sounds, start=1):
            tell = bar(f"{name} ({number} of {len(sounds)})" if len(sounds) > 1 else name)
            data = sys.stdin.buffer.read() if name == "-" else None
            try:
                heard = hear_file(name, opened, settings.capture, data=data, hints=hint or (), progress=tell)
            except FieldnoteError as error:
                failed.append(error)
                clips.append({"file": name, "error": {"what": error.what, "where": error.where, "do": error.do}})
                continue
            clip = {
                "file": name,
                "text": heard.text,
                "utterances": [_utterance(u, words) for u in heard.utterances],
            }
            clips.append(clip | ({"warnings": list(heard.sound.warnings)} if heard.sound.warnings else {}))
    if as_json:
        print(json.dumps({"clips": clips}, ensure_ascii=False, indent=2))
    else:
        _show(clips, words)
    if failed:
        raise typer.Exit(failed[0].exit_code if len(sounds) == 1 else _SEVERAL_EXIT)


def _utterance(utterance: Any, with_words: bool) -> dict[str, Any]:
    """One utterance as JSON; times in seconds from the start of the file, confidence 0 to 1."""
    shown = {name: getattr(utterance, name) for name in ("text", "from_s", "to_s", "confidence")}
    if with_words:
        shown["words"] = [dataclasses.asdict(word) for word in utterance.words]
        shown["alternatives"] = [dataclasses.asdict(other) for other in utterance.alternatives]
    return shown


@contextmanager
def _bars(files: int) -> Iterator[Any]:
    """One progress bar a file on standard error, where somebody is watching it."""
    console = Console(stderr=True)
    columns = (TextColumn("{task.description}", markup=False), BarColumn(), TimeRemainingColumn())
    with Progress(*columns, console=console, transient=True, disable=not console.is_terminal) as progress:

        def bar(name: str) -> Any:
            for old in progress.task_ids:
                progress.remove_task(old)
            task = progress.add_task(name, total=1.0)
            return lambda share: progress.update(task, completed=share)

        yield bar


def _show(clips: list[dict[str, Any]], with_words: bool) -> None:
    out, err = Console(soft_wrap=True, highlight=False), Console(stderr=True, soft_wrap=True, highlight=False)
    for clip in clips:
        if "error" in clip:
            fault = clip["error"]
            err.print(escape(f"fieldnote: {fault['where']}: {fault['what']}. {fault['do']}"))
            continue
        out.print(f"[bold]{escape(clip['file'])}[/bold]")
        for warning in clip.get("warnings", ()):
            err.print(escape(f"fieldnote: {clip['file']}: {warning}"))
        if not clip["utterances"]:
            out.print("  [dim]no speech[/dim]")
        for utterance in clip["utterances"]:
            sure = "" if utterance["confidence"] is None else f"[dim]  {utterance['confidence']:.0%}[/dim]"
            out.print(f"  [dim]{_clock(utterance['from_s'])}[/dim]  {escape(utterance['text'])}{sure}")
            if with_words:
                for word in utterance.get("words", ()):
                    doubt = "" if word["confidence"] is None else f"{word['confidence']:.0%}"
                    out.print(
                        f"            [dim]{word['from_s']:8.2f}[/dim]  {escape(word['text']):<24}[dim]{doubt}[/dim]"
                    )


def _clock(seconds: float) -> str:
    """Minutes and seconds with tenths: 1:02.5."""
    return f"{int(seconds // 60)}:{seconds % 60:04.1f}"
