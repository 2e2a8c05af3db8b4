"""``fieldnote listen``: dictate hands-free from a microphone."""

from __future__ import annotations

import dataclasses
import json
import sys
import threading
import time
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Optional

import typer

from fieldnote.errors import UserMistake
from fieldnote.flow.who import logged_in

if TYPE_CHECKING:
    from fieldnote.capture.microphone import Source
    from fieldnote.cli.listen_screen import PlainLog, Seen
    from fieldnote.flow.conversation import Happened
    from fieldnote.flow.rooms import Rooms
    from fieldnote.flow.session import Session
    from fieldnote.records import Advice, Entry, Job

_POLL_S = 0.1
_TWICE_S = 0.5
_STOPPED_EXIT = 130
"""What a shell expects of a command that was interrupted (128 + SIGINT)."""
_ANSWERS = ("off", "tones", "speech")


def listen(
    job: Annotated[
        Optional[str], typer.Argument(metavar="JOB", help="The job's name or id, or the start of either.")
    ] = None,
    device: Annotated[
        Optional[str], typer.Option("--device", help="A microphone's number, or part of its name.")
    ] = None,
    devices: Annotated[bool, typer.Option("--devices", help="List the microphones of this machine, and stop.")] = False,
    from_file: Annotated[
        Optional[Path], typer.Option("--from", metavar="FILE", help="Play a sound file as if it were spoken now.")
    ] = None,
    plain: Annotated[bool, typer.Option("--plain", help="Lines instead of a screen: a log, a screen reader.")] = False,
    answers: Annotated[Optional[str], typer.Option("--answers", help="Answer aloud: off, tones, speech.")] = None,
    later: Annotated[
        bool, typer.Option("--later", help="Leave what an earlier, stopped session left for another time.")
    ] = False,
    as_json: Annotated[bool, typer.Option("--json", help="Print the entries as JSON at the end.")] = False,
) -> None:
    """Listen to a microphone and write down what is dictated, as it is said.

    Sound is on disk before anything is made of it: after a power cut the same command goes on with what was not yet
    processed. Speak as to a colleague; an utterance ends with half a second of silence.

    Say "read back" to hear the last entries, "what next" for the next check, "correction …" or "disregard" to mend,
    "stand by" and "listen" to pause and go on, "water on", "it's in", "water off" for the test clock, "off the record"
    and "on the record" for what must not be kept.

    Keep an ear free for the shop: no headset on both ears where vehicles move. Keep water away from connectors and live
    parts; the maker's procedure and local rules come first.

    Examples:

      fieldnote listen "unit 12"

      fieldnote listen "unit 12" --device headset --answers speech

      fieldnote listen --devices

      fieldnote listen "unit 12" --from memo.wav --plain
    """
    if devices:
        _list_devices(as_json)
        return
    if job is None:
        raise UserMistake("no job was named", where="listen", do="See: fieldnote listen --help.")
    rooms = _rooms(answers, device)
    found = rooms.store.job(job)
    rooms = rooms.for_pack(found.pack)
    _Sitting(rooms, found, from_file, plain=plain or as_json or not sys.stdout.isatty(), as_json=as_json).run(not later)


def _rooms(answers: str | None, device: str | None) -> Rooms:
    from fieldnote.flow import Rooms
    from fieldnote.settings import load_settings

    settings = load_settings()
    chosen: dict[str, Any] = {k: v for k, v in (("answers", answers), ("device", device)) if v is not None}
    wanted = dataclasses.replace(settings.listen, **chosen)
    if wanted.answers not in _ANSWERS:
        choices = ", ".join(_ANSWERS)
        raise UserMistake(f"{wanted.answers!r} is no way to answer", where="answers", do=f"It can be: {choices}.")
    return Rooms(settings=dataclasses.replace(settings, listen=wanted))


class _Sitting:
    """One call of the command: its session, and what is shown of it."""

    def __init__(self, rooms: Rooms, job: Job, from_file: Path | None, *, plain: bool, as_json: bool) -> None:
        from rich.console import Console

        from fieldnote.capture.microphone import play
        from fieldnote.cli.listen_screen import PlainLog, Seen
        from fieldnote.flow.answering import open_voice, spoken
        from fieldnote.flow.session import Session, live_engine

        def words_of(entry: Entry) -> str:
            return spoken(entry, rooms.pack)

        self._rooms, self._job, self._as_json = rooms, job, as_json
        self._console = Console(highlight=False, stderr=as_json)
        self._log: PlainLog | None = PlainLog(self._console, words_of) if plain else None
        self._seen: Seen = Seen(words_of)
        self._entries: tuple[Entry, ...] = ()
        self._error: BaseException | None = None
        # Not Thread.join: interrupted from the keyboard, it may take a running thread for an ended one.
        self._over = threading.Event()
        source = self._source(from_file)
        self._session: Session = Session(
            rooms,
            job,
            source,
            notice=self._notice,
            happened=self._happened(),
            voice=open_voice(rooms.settings.listen.answers, play),
            live=live_engine(rooms) if source.live else None,
        )

        self._seen.entries = {entry.id: entry for entry in job.entries}

    def run(self, catch_up: bool) -> None:
        left_s = self._session.left_s()
        if left_s:
            what = "taking it first" if catch_up else "leaving it for later"
            self._notice(f"{left_s:.0f} s of sound from an earlier session were not processed yet: {what}", False)
        self._notice(self._about_sound(), False)
        listening = threading.Thread(target=self._listen, args=(catch_up,), name="listener", daemon=True)
        listening.start()
        try:
            self._watch()
        except KeyboardInterrupt:
            self._finish()
        if self._error is not None:
            raise self._error
        self._report()

    def _finish(self) -> None:
        """End after Ctrl-C: what was said is still written down, unless it is pressed again."""
        self._notice("ending: what was said is still being written down", False)
        self._session.stop()
        asked_s = time.monotonic()
        while not self._over.is_set():
            try:
                self._over.wait()
            except KeyboardInterrupt:
                # Shells and programs that end others at times send it twice at once.
                if time.monotonic() - asked_s > _TWICE_S:
                    self._notice("ended; the rest is taken the next time", True)
                    raise typer.Exit(_STOPPED_EXIT) from None

    def _listen(self, catch_up: bool) -> None:
        try:
            self._entries = self._session.run(catch_up=catch_up)
        except BaseException as error:  # noqa: BLE001 -- shown by the thread that waits
            self._error = error
        finally:
            self._over.set()

    def _watch(self) -> None:
        """Show what happens, and obey the keys, until it is over."""
        from contextlib import nullcontext

        from rich.live import Live

        from fieldnote.cli.keys import keys
        from fieldnote.cli.listen_screen import screen

        def picture() -> Any:
            width, height = min(100, self._console.width), self._console.height
            behind_s = self._session.listening.behind_s
            return screen(self._seen, self._session.recorder, behind_s=behind_s, width=width, height=height)

        shown: Any = nullcontext(None)
        if not self._log:
            shown = Live(picture(), console=self._console, screen=True, auto_refresh=False)
        with keys() as pressed, shown as live:
            while not self._over.wait(_POLL_S):
                if live is not None:
                    live.update(picture(), refresh=True)
                self._obey(pressed())

    def _obey(self, key: str) -> None:
        if key in (" ", "p"):
            self._session.pause()
        elif key in ("\x7f", "\b", "u"):
            self._session.type(self._wording("disregard"), logged_in())
        elif key == "m":
            self._session.mark()
        elif key == "q":
            self._notice("ending: what was said is still being written down", False)
            self._session.stop()

    def _wording(self, command: str) -> str:
        return self._session.conversation.wording(command)

    def _source(self, from_file: Path | None) -> Source:
        if from_file is not None:
            from fieldnote.capture.played_file import PlayedFile

            return PlayedFile(from_file)
        from fieldnote.capture.microphone import microphone

        opened = microphone(self._rooms.settings.listen)
        # Opened here once, so that a missing device is told before the screen comes up.
        opened.open()
        return opened

    def _happened(self) -> Happened:
        from fieldnote.cli.listen_screen import CHECKS
        from fieldnote.flow.answering import checks
        from fieldnote.flow.conversation import Happened

        seen, log = self._seen, self._log

        def answered(text: str) -> None:
            seen.answer = text
            if log:
                log.line("answer", text)

        def mode(now: Any) -> None:
            seen.mode = now
            if log:
                log.line("mode", now.replace("-", " "))

        def advice(found: Advice) -> None:
            before, seen.checks = seen.checks, checks(found, self._rooms.pack, CHECKS)
            if log and seen.checks[:1] != before[:1] and seen.checks:
                log.line("check next", seen.checks[0])

        def said(utterance: Any, changes: Any) -> None:
            seen.take_changes(utterance, changes)
            if log:
                log.said(utterance, changes)

        return Happened(
            said=said,
            answered=answered,
            caption=lambda text: setattr(seen, "caption", text),
            mode=mode,
            advice=advice,
            clock=lambda seconds: setattr(seen, "clock_s", seconds),
        )

    def _notice(self, text: str, warning: bool) -> None:
        self._seen.notice = text
        if self._log:
            self._log.line("warning" if warning else "notice", text)

    def _about_sound(self) -> str:
        days = self._rooms.settings.keep.sound_days
        until = f"{days} days after the job is closed" if days else "it is deleted by hand"
        word = self._wording("off-the-record")
        return f'sound is kept in {self._rooms.home / "sound"} until {until}; say "{word}" for what must not be'

    def _report(self) -> None:
        recorder = self._session.recorder
        if self._as_json:
            from fieldnote.wire import entry_to_wire

            body = {
                "job": self._job.id,
                "seconds": round(recorder.taken_s, 2),
                "lost_s": round(recorder.lost_s, 2),
                "entries": [entry_to_wire(entry, with_origins=True) for entry in self._entries],
            }
            print(json.dumps(body, ensure_ascii=False, indent=2))
            return
        from fieldnote.cli.entry_table import entry_table

        if self._entries:
            self._console.print(entry_table(self._entries))
        count = len(self._entries)
        lost = f", {recorder.lost_s:.1f} s lost on the way here" if recorder.lost_s else ""
        self._console.print(
            f"{self._job.name}: {count} {'entry' if count == 1 else 'entries'}; {recorder.taken_s:.0f} s heard{lost}.",
            markup=False,
        )


def _list_devices(as_json: bool) -> None:
    from fieldnote.capture.microphone import choose
    from fieldnote.capture.microphone import devices as inputs

    found = inputs()
    if as_json:
        print(json.dumps({"devices": [dataclasses.asdict(device) for device in found]}, ensure_ascii=False, indent=2))
        return
    choose("", found)
    for one in found:
        chosen = "  (the system's choice)" if one.is_default else ""
        print(f"{one.number:3}  {one.name}, {one.channels} channels, {one.rate_hz} Hz{chosen}")
