"""``fieldnote listen`` from the command line: a file played as if live, the screen, the lines, the refusals."""

from __future__ import annotations

import dataclasses
import json
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from rich.console import Console
from typer.testing import CliRunner

from fieldnote.capture import microphone
from fieldnote.capture.live_cutting import Loudness
from fieldnote.cli.app import app
from fieldnote.cli.big_letters import LINES, big
from fieldnote.cli.listen_screen import HEIGHT, WIDTH, Seen, screen
from fieldnote.errors import MicrophoneMissing, NotFound, UserMistake
from fieldnote.records import Entry, Utterance

SAMPLES = Path(__file__).parents[2] / "sample_audio"
WATER = Entry("evidence", "tail-lamp", "carpet", "left", "water", id="e1")
DOUBTED = dataclasses.replace(WATER, id="e2", certainty="unsure")
MISHEARD = dataclasses.replace(WATER, id="e3", misheard_risk=0.9)


@pytest.fixture(autouse=True)
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("FIELDNOTE_HOME", str(tmp_path))
    return tmp_path


def run(*arguments: str) -> Any:
    return CliRunner().invoke(app, list(arguments), catch_exceptions=True)


@pytest.mark.slow
def test_a_file_is_played_as_if_it_were_spoken_now(home: Path) -> None:
    """One sentence, one entry, as JSON; the lines tell where sound is kept; the journal is empty afterwards."""
    run("job", "new", "bay 3", "--steering", "left")
    done = run("listen", "bay 3", "--from", str(SAMPLES / "08-rack-screw.flac"), "--json")
    assert done.exit_code == 0, done.output
    said = json.loads(done.stdout)
    assert (said["entries"][0]["part"], said["entries"][0]["side"], said["entries"][0]["item"]) == ("screw", "right", 3)
    assert said["lost_s"] == 0
    assert "sound is kept in" in done.stderr and "entry: right roof rack, screw three loose" in done.stderr
    assert not list((home / "journal").rglob("*.raw"))


@pytest.mark.parametrize(
    ("arguments", "error"),
    [
        pytest.param(["listen"], UserMistake, id="no job named"),
        pytest.param(["listen", "nobody"], NotFound, id="no such job"),
        pytest.param(["listen", "bay 3", "--answers", "loud"], UserMistake, id="no such way to answer"),
        pytest.param(["listen", "bay 3", "--from", "none.wav"], NotFound, id="no such file"),
    ],
)
def test_what_cannot_be_is_refused(arguments: list[str], error: type[Exception]) -> None:
    """An error of the tree, which the command turns into one line."""
    run("job", "new", "bay 3")
    assert isinstance(run(*arguments).exception, error)


def test_without_a_microphone_the_way_out_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    """Listing and listening both say what to do."""
    monkeypatch.setattr(microphone, "devices", lambda: ())
    monkeypatch.setattr(
        microphone, "_library", lambda: SimpleNamespace(_terminate=lambda: None, _initialize=lambda: None)
    )
    run("job", "new", "bay 3")
    for arguments in (["listen", "--devices"], ["listen", "bay 3"]):
        error = run(*arguments).exception
        assert isinstance(error, MicrophoneMissing) and "--from FILE" in str(error)


def pictured(seen: Seen, **recorder: Any) -> list[str]:
    given = {"waiting": False, "taken_s": 65.0, "lost_s": 0.0, "level": Loudness(-20.0)} | recorder
    console = Console(width=WIDTH, height=HEIGHT, color_system=None)
    with console.capture() as got:
        console.print(screen(seen, SimpleNamespace(**given), behind_s=0.0))  # type: ignore[arg-type]
    return got.get().splitlines()


@pytest.mark.parametrize("entries", [0, 3, 40])
@pytest.mark.parametrize("notice", ["", "word " * 60])
def test_the_screen_is_80_by_24_whatever_is_on_it(entries: int, notice: str) -> None:
    """As many entries, as long a notice and as many checks as may be."""
    seen = Seen(lambda entry: "long words " * 12)
    seen.entries = {str(n): dataclasses.replace(WATER, id=str(n)) for n in range(entries)}
    seen.checks, seen.caption, seen.answer, seen.notice = ("check " * 40,) * 4, "said " * 90, "answer " * 40, notice
    lines = pictured(seen, lost_s=1.2)
    assert len(lines) == HEIGHT
    assert max(map(len, lines)) <= WIDTH


def test_what_is_unsure_is_marked_by_signs_and_not_by_colour_alone() -> None:
    """The speaker's doubt and the recogniser's look different without any colour."""
    seen = Seen(lambda entry: entry.id)
    for entry in (WATER, DOUBTED, MISHEARD):
        seen.take_changes(Utterance("u", ""), SimpleNamespace(withdrawn=(), changed=(), added=(entry,)))  # type: ignore[arg-type]
    lines = [line.strip() for line in pictured(seen)]
    assert [line for line in lines if line.startswith("e")] == ["e1", "e2  ?", "e3  ?? heard right?"]


@pytest.mark.parametrize(
    ("mode", "waiting", "title"),
    [
        ("listening", False, "listening"),
        ("standing-by", False, "stand by"),
        ("off-the-record", False, "not kept"),
        ("listening", True, "no mic"),
    ],
)
def test_the_mode_is_told_in_letters_three_lines_high(mode: Any, waiting: bool, title: str) -> None:
    """So that it is read from two metres."""
    seen = Seen(lambda entry: "")
    seen.mode = mode
    lines = pictured(seen, waiting=waiting)
    assert [line[1:].startswith(row) for line, row in zip(lines, big(title), strict=False)] == [True] * LINES


def test_every_big_letter_is_told_from_all_others() -> None:
    """No two letters or digits look alike."""
    letters = "ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789:"
    alike = {a + b for a in letters for b in letters if a < b and big(a) == big(b)}
    assert alike <= {"0O", "5S"}, "a zero and an O, a five and an S may look alike, as on many displays"
