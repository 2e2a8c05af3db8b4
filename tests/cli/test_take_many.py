from __future__ import annotations

import io
from pathlib import Path

import pytest
from rich.console import Console
from typer.testing import CliRunner

from fieldnote.cli.app import app
from fieldnote.cli.backlog import ProgressLine, span
from fieldnote.errors import UserMistake
from fieldnote.flow.backlog import Report


@pytest.mark.parametrize(
    ("seconds", "text"),
    [(0.2, "1 s"), (29, "29 s"), (90, "2 min"), (3540, "59 min"), (3600, "1 h 00 min"), (9000, "2 h 30 min")],
)
def test_a_length_of_time_is_short(seconds: float, text: str) -> None:
    """Seconds, minutes or hours, as it matters."""
    assert span(seconds) == text


def test_the_time_left_follows_from_what_was_heard() -> None:
    """Half of the bytes in ten minutes: ten more; what was there already does not make it look faster."""
    line = ProgressLine(Console(file=io.StringIO()))
    start = line._started
    assert "10 min left" in line.text(Report(10, 1000, 5, 500, added=5), start + 600)
    assert "left" not in line.text(Report(10, 1000, 5, 500, already=5), start + 1)
    assert "20 min left" in line.text(Report(10, 1000, 5, 500, added=2, already=3), start + 480)
    assert line.text(Report(10, 1000, 10, 1000, added=9, failed=1), start + 900) == "10 of 10 recordings, 1 failed"


def test_progress_is_one_line(monkeypatch: pytest.MonkeyPatch) -> None:
    """At a terminal the line is written over; in a log it is written now and then."""
    shown = io.StringIO()
    line = ProgressLine(Console(file=shown, force_terminal=True))
    for done in range(1, 4):
        line(Report(3, 300, done, 100 * done, added=done))
    assert "\n" not in shown.getvalue()
    log = io.StringIO()
    line = ProgressLine(Console(file=log, force_terminal=False))
    for done in range(1, 101):
        line(Report(100, 300, done, 3 * done, added=done))
    assert len(log.getvalue().splitlines()) <= 3


def test_a_backlog_of_notes_needs_no_recogniser(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Typed notes in folders become jobs; files beside --many are refused."""
    from fieldnote.flow import Rooms
    from tests.flow.doubles import Copier, SmallPack

    monkeypatch.setenv("FIELDNOTE_HOME", str(tmp_path / "home"))
    monkeypatch.setattr(Rooms, "extractor", Copier())
    monkeypatch.setattr(Rooms, "pack", SmallPack())
    (tmp_path / "archive" / "unit 5").mkdir(parents=True)
    (tmp_path / "archive" / "unit 5" / "a.txt").write_text("seam has a gap\n")
    words = ["take", "--many", str(tmp_path / "archive")]
    done = CliRunner().invoke(app, words, catch_exceptions=False)
    assert (done.exit_code, "1 new, 0 there already, 0 failed" in done.stdout) == (0, True)
    assert "1 there already" in CliRunner().invoke(app, words, catch_exceptions=False).stdout
    with pytest.raises(UserMistake, match="no files beside"):
        CliRunner().invoke(app, ["take", "unit 5", "x.wav", "--many", str(tmp_path)], catch_exceptions=False)
    with pytest.raises(UserMistake, match="no job was named"):
        CliRunner().invoke(app, ["take"], catch_exceptions=False)
