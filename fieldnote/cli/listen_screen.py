"""What is seen while listening: a screen of 80 by 24 that is read from two metres, or plain lines for a log."""

from __future__ import annotations

import textwrap
from collections import deque
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import TYPE_CHECKING

from rich.console import Console, Group
from rich.text import Text

from fieldnote.cli.big_letters import big
from fieldnote.records import MISHEARD_FROM

if TYPE_CHECKING:
    from fieldnote.capture.journal import Mode
    from fieldnote.extract import Changes
    from fieldnote.flow.recording import Recorder
    from fieldnote.records import Entry, Utterance

WIDTH, HEIGHT = 80, 24
CHECKS, _CAPTION, _NOTICE, _ANSWER = 5, 2, 3, 4
_BAR = 20
_QUIETEST_DB = -60.0
_TITLES: dict[str, str] = {
    "listening": "listening",
    "standing-by": "stand by",
    "off-the-record": "not kept",
}
_KEYS = "space stand by / go on    backspace take back    m mark    q end"


@dataclass(slots=True)
class Seen:
    """What is to be shown; written by the listener's thread, read by the screen's."""

    words_of: Callable[[Entry], str]
    mode: Mode = "listening"
    caption: str = ""
    last_said: str = ""
    entries: dict[str, Entry] = field(default_factory=dict)
    checks: tuple[str, ...] = ()
    answer: str = ""
    notice: str = ""
    clock_s: float | None = None

    def take_changes(self, said: Utterance, changes: Changes) -> None:
        """An utterance changed the entries."""
        self.last_said = said.text
        for id in changes.withdrawn:
            self.entries.pop(id, None)
        for entry in (*changes.changed, *changes.added):
            self.entries[entry.id] = entry


def doubt_mark(entry: Entry) -> str:
    """What is unsure about an entry, in words: the speaker's own doubt, or that of the recogniser."""
    if entry.misheard_risk is not None and entry.misheard_risk >= MISHEARD_FROM:
        return "?? heard right?"
    return "?" if entry.certainty == "unsure" else ""


def screen(seen: Seen, recorder: Recorder, *, behind_s: float, width: int = WIDTH, height: int = HEIGHT) -> Group:
    """One picture of everything, exactly ``height`` lines of at most ``width`` columns."""
    lines = [*_head(seen, recorder, width), _level(recorder, behind_s)]
    lines.append(_rule("heard", width))
    caption = textwrap.wrap(seen.caption or seen.last_said, width - 2)[-_CAPTION:]
    style = "bold" if seen.caption else ""
    lines += [Text(f" {line}", style) for line in (*caption, *[""] * (_CAPTION - len(caption)))]
    lines.append(_rule("written down", width))
    # Wrapped and not shortened: where sound is kept, and cautions, are told whole.
    told = textwrap.wrap(seen.notice, width - 2)[:_NOTICE] or [""]
    answer = textwrap.wrap(seen.answer, width - 2)[:_ANSWER] or [""]
    rest = height - len(lines) - CHECKS - 2 - len(told) - len(answer)
    shown = list(seen.entries.values())[-max(1, rest) :]
    lines += [_entry(entry, seen.words_of(entry), width) for entry in shown]
    lines += [Text("")] * (rest - len(shown))
    lines.append(_rule("check next", width))
    # Wrapped and not shortened: a caution that is cut off is none.
    wrapped = [(line, n == 0) for n, check in enumerate(seen.checks) for line in textwrap.wrap(check, width - 2)]
    checks = wrapped[:CHECKS]
    lines += [Text(f" {line}", "bold" if first else "") for line, first in checks]
    lines += [Text("")] * (CHECKS - len(checks))
    lines += [Text(f" {line}", "italic") for line in answer]
    lines += [Text(f" {line}", "bold yellow") for line in told]
    lines.append(Text(f" {_KEYS}", "dim"))
    return Group(*lines[:height])


def _head(seen: Seen, recorder: Recorder, width: int) -> list[Text]:
    """The mode at the left and the time at the right, in letters that are read from two metres."""
    title = "no mic" if recorder.waiting else _TITLES[seen.mode]
    watch = f"water {minutes(seen.clock_s)}" if seen.clock_s is not None else minutes(recorder.taken_s)
    style = "bold" if seen.mode == "listening" and not recorder.waiting else "bold reverse"
    left, right = _even(big(title)), _even(big(watch))
    room = max(1, width - 2 - len(left[0]) - len(right[0]))
    return [Text.assemble(" ", (a, style), " " * room, b) for a, b in zip(left, right, strict=True)]


def _even(lines: Sequence[str]) -> list[str]:
    """Lines filled up to the width of the widest."""
    widest = max(map(len, lines))
    return [line.ljust(widest) for line in lines]


def _level(recorder: Recorder, behind_s: float) -> Text:
    level = recorder.level.level_db
    filled = round(_BAR * min(1.0, max(0.0, 1 - level / _QUIETEST_DB)))
    text = Text(f" level {'▮' * filled}{'▯' * (_BAR - filled)} {level:4.0f} dB")
    if recorder.level.clipped > 0:
        text.append("  clipped", "bold")
    if recorder.lost_s:
        text.append(f"  lost {recorder.lost_s:.1f} s", "bold yellow")
    if behind_s >= 1:
        text.append(f"  {behind_s:.0f} s behind")
    return text


def _entry(entry: Entry, words: str, width: int) -> Text:
    mark = doubt_mark(entry)
    room = width - 2 - (len(mark) + 2 if mark else 0)
    text = Text(f" {_short(words, room)}")
    if mark:
        text.append(f"  {mark}", "bold yellow")
    return text


def _rule(title: str, width: int) -> Text:
    return Text(f"── {title} {'─' * max(0, width - len(title) - 5)}", "dim")


def _short(text: str, room: int) -> str:
    return text if len(text) <= room else f"{text[: max(0, room - 1)]}…"


def minutes(seconds: float) -> str:
    """ "12:05"."""
    whole = int(seconds)
    return f"{whole // 60}:{whole % 60:02d}"


class PlainLog:
    """One line for each thing that happened, with the time: for a log, and for screen readers."""

    def __init__(self, console: Console, words_of: Callable[[Entry], str]) -> None:
        self._console = console
        self._words_of = words_of
        self.warnings: deque[str] = deque(maxlen=100)

    def line(self, what: str, text: str) -> None:
        """Print one line."""
        self._console.print(f"{datetime.now():%H:%M:%S} {what}: {text}", markup=False, soft_wrap=True)

    def said(self, said: Utterance, changes: Changes) -> None:
        """An utterance was kept."""
        self.line("command" if changes.command else "heard", said.text)
        for name, entries in (("entry", changes.added), ("changed", changes.changed)):
            for entry in entries:
                mark = doubt_mark(entry)
                self.line(name, self._words_of(entry) + (" (heard right?)" if mark.startswith("??") else ""))
        for _ in changes.withdrawn:
            self.line("taken back", "one entry")
